"""The gate before the pages: who passes, where the form leads, and what a wrong try gets."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route, WebSocketRoute
from starlette.testclient import TestClient
from starlette.websockets import WebSocket, WebSocketDisconnect

from dashboard import gate
from dashboard.people import keep_person
from dashboard.signing import COOKIE, Door
from monitor.site import load

SAMPLE = Path(__file__).with_name("sample_site.toml").read_text(encoding="utf-8")
RIGHT = {"name": "Imelda", "password": "rind and patience", "next": "/wheel?wheel=K-114"}


async def page(request: Request) -> PlainTextResponse:
    return PlainTextResponse("the rooms")


async def stream(socket: WebSocket) -> None:
    await socket.accept()
    await socket.send_text("the rooms")
    await socket.close()


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    (tmp_path / "site.toml").write_text(SAMPLE)
    keep_person(tmp_path / "people.toml", "Imelda", "record", "rind and patience")
    door = Door(load(tmp_path / "site.toml"), "people")
    routes = [
        *gate.routes(door),
        Route(gate.LANGUAGE, gate.choose_language),
        Route("/{rest:path}", page),
        WebSocketRoute("/_stcore/stream", stream),
    ]
    app = Starlette(routes=routes, middleware=[Middleware(gate.Gate, door=door)])
    with TestClient(app, base_url="https://rooms.invalid", follow_redirects=False) as made:
        yield made


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/wheel?wheel=K-114",
        "/media/abc.jpg",
        "/_stcore/host-config",
        "//sign-in",
        "/app/static/../alarms",
        "/sign-in/../wheel",
    ],
)
def test_nothing_passes_without_a_sign_in(client: TestClient, path: str) -> None:
    """Pages lead to the form, everything else is refused, and the stream of a page does not open."""
    answer = client.get(path)
    assert answer.status_code in (303, 401)
    assert "the rooms" not in answer.text
    with (
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect("wss://rooms.invalid/_stcore/stream") as socket,
    ):
        socket.receive_text()


def test_the_right_password_leads_on(client: TestClient) -> None:
    """The form leads back to where the reader wanted to go; the token is out of reach of scripts and of other sites."""
    assert client.get("/wheel?wheel=K-114").headers["location"] == "/sign-in?next=%2Fwheel%3Fwheel%3DK-114"
    answer = client.post("/sign-in", data=RIGHT)
    assert answer.headers["location"] == "/wheel?wheel=K-114"
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "Secure" in cookie
    assert client.get("/").text == "the rooms"
    with client.websocket_connect("wss://rooms.invalid/_stcore/stream") as socket:
        assert socket.receive_text() == "the rooms"
    client.get("/sign-out")
    assert client.get("/").status_code == 303


def test_a_wrong_password_is_said_so_and_slows_the_next(client: TestClient) -> None:
    """Four wrong tries and even the right password has to wait; the name stays in the form, as text."""
    for _ in range(4):
        answer = client.post("/sign-in", data={**RIGHT, "password": "rind"})
        assert answer.status_code == 401
        assert COOKIE not in answer.cookies
    assert "wait" in client.post("/sign-in", data=RIGHT).text
    shown = client.post(
        "/sign-in", data={"name": "<script>alert(1)</script>", "password": "x", "next": '"><script>'}
    ).text
    assert "<script>" not in shown


@pytest.mark.parametrize(
    "goal",
    [
        "//evil.invalid",
        "https://evil.invalid/",
        "/\\evil.invalid",
        "javascript:alert(1)",
        "/\nSet-Cookie: a=b",
        "\\\\evil.invalid",
        "/\t/evil.invalid",
        "",
    ],
)
def test_the_form_leads_nowhere_else(client: TestClient, goal: str) -> None:
    """Whatever a link asks for, after signing in the reader is on these pages."""
    assert gate.within(goal) == "/"


def test_a_form_of_another_site_is_refused(client: TestClient) -> None:
    """A sign-in sent from elsewhere, or far too large, is not looked at."""
    assert client.post("/sign-in", data=RIGHT, headers={"origin": "https://evil.invalid"}).status_code == 400
    assert client.post("/sign-in", data={**RIGHT, "name": "x" * 30_000}).status_code == 400


def test_a_language_is_kept_in_the_browser(client: TestClient) -> None:
    """The sign-in form speaks the language chosen; one there is no file for changes nothing."""
    assert "Sign in" in client.get("/sign-in").text
    client.get("/language?code=de&next=/sign-in")
    assert "Anmelden" in client.get("/sign-in").text
    assert client.get("/language?code=xx&next=//evil.invalid").headers["location"] == "/"
