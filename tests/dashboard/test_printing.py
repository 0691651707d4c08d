"""The sheet of a wheel at an address of its own."""

from __future__ import annotations

from pathlib import Path

from starlette.applications import Starlette
from starlette.routing import Route
from starlette.testclient import TestClient

from dashboard.printing import SHEET, Sheet
from dashboard.source import Source
from monitor.site import load
from tests.dashboard import samples


def client(answers: object = samples) -> TestClient:
    source = Source(load(Path(__file__).with_name("sample_site.toml")), answers)  # type: ignore[arg-type]
    return TestClient(
        Starlette(routes=[Route(SHEET, Sheet(lambda: source).answer)]), base_url="http://rooms.invalid"
    )


def test_a_wheel_has_a_sheet_to_print() -> None:
    """The sheet tells the wheel and where to look, and has a code that leads back; nobody keeps a copy of it."""
    answer = client().get("/sheet?wheel=K-114")
    assert answer.status_code == 200
    assert "the top edge under the cloth" in answer.text
    assert "<header>" in answer.text
    assert "<svg" in answer.text.split("</header>")[0]
    assert answer.headers["cache-control"] == "no-store"


def test_no_wheel_has_no_sheet() -> None:
    """A name that is no wheel's, even one meant to do harm, is answered in words."""
    answer = client().get("/sheet", params={"wheel": "<script>alert(1)</script>"})
    assert answer.status_code == 404
    assert "no wheel &lt;script&gt;" in answer.text


def test_a_store_that_is_away_says_so() -> None:
    """While the store cannot be read there is no sheet, and the reason stands there."""
    answer = client(samples.SampleAnswers("broken")).get("/sheet?wheel=K-114")
    assert answer.status_code == 503
    assert "disk I/O error" in answer.text
