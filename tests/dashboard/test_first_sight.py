"""The rooms within the first page's own HTML: for whoever may read them, and never in the way of the page itself."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route
from starlette.testclient import TestClient

from dashboard import gate
from dashboard.first_sight import FirstSight
from dashboard.people import keep_person
from dashboard.signing import Door
from dashboard.source import Source
from monitor.errors import StoreAway
from monitor.site import load
from tests.dashboard import samples

SAMPLE = Path(__file__).with_name("sample_site.toml")
PAGE = '<html><body><div id="root"></div></body></html>'


async def page(request: Request) -> Response:
    return HTMLResponse(PAGE, headers={"etag": '"as it was"'})


def client(source: Callable[[], Source], *before: Middleware) -> TestClient:
    laid = Middleware(FirstSight, source=source, links=lambda: [("", "Rooms now"), ("alarms", "Alarms")])
    routes = [Route("/", page), Route("/alarms", page), Route("/sign-in", page)]
    return TestClient(Starlette(routes=routes, middleware=[*before, laid]), follow_redirects=False)


def of_sample() -> Source:
    return Source(load(SAMPLE), samples)


def test_the_rooms_stand_in_the_first_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked for the first page, in German, the server answers with the rooms in it, harmless, and a script that takes
    them away; nobody keeps that answer.  Other pages are left as they are."""
    monkeypatch.setenv("MATURING_SAMPLE", "alarmed")
    asked = client(of_sample)
    answer = asked.get("/", headers={"Cookie": "maturing_language=de", "If-None-Match": '"as it was"'})
    assert "Wash room" in answer.text
    assert ">Alarme</a>" in answer.text
    assert "<script>document.title" not in answer.text
    assert "MutationObserver" in answer.text
    assert answer.headers["cache-control"] == "no-store"
    assert "etag" not in answer.headers
    assert asked.get("/alarms").text == PAGE


def test_a_wall_has_no_bar() -> None:
    """On a wall there is nothing to tap."""
    asked = client(of_sample)
    assert "<nav>" in asked.get("/").text
    assert "<nav>" not in asked.get("/?wall=1").text


def test_without_rooms_the_page_is_left_as_it_is() -> None:
    """Where nothing can be read, the page itself will say so."""

    def broken() -> Source:
        raise StoreAway("the disk is gone")

    assert client(broken).get("/").text == PAGE


def test_who_has_not_signed_in_sees_no_rooms(tmp_path: Path) -> None:
    """Behind the gate the first page leads to the form, and nothing of the rooms is in the answer."""
    site = tmp_path / "site.toml"
    site.write_text(SAMPLE.read_text(encoding="utf-8"), encoding="utf-8")
    keep_person(tmp_path / "people.toml", "Imelda", "record", "rind and patience")
    answer = client(of_sample, Middleware(gate.Gate, door=Door(load(site), "people"))).get("/")
    assert answer.status_code == 303
    assert "room" not in answer.text
