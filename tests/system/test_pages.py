"""The pages in a real Chromium, drawn from sample documents: whole, harmless, calling nothing outside."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from dashboard.launch import command
from tests.dashboard import samples
from tests.system.browser import WIDTHS, chromium, page_of, ready, served
from tests.system.parts import free_port

pytestmark = pytest.mark.system
ROOT = Path(__file__).parents[2]
SITE = ROOT / "tests" / "dashboard" / "sample_site.toml"
PAGES = (
    "",
    "alarms",
    "room?room=north",
    "shelves",
    "next",
    "wheel",
    "wheel?wheel=K-114",
    "evidence",
    "setup",
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@pytest.fixture(params=samples.STATES)
def address(request: pytest.FixtureRequest) -> Iterator[str]:
    with sample_dashboard(request.param) as running:
        yield running


def sample_dashboard(state: str):  # type: ignore[no-untyped-def]
    """The dashboard over the sample documents of one state."""
    port = free_port()
    more = {"MATURING_ANSWERS": "tests.dashboard.samples", "MATURING_SAMPLE": state, "PYTHONPATH": str(ROOT)}
    return served(command(SITE, port), port, more)


def test_every_page_is_whole_on_every_screen(browser: Browser, address: str) -> None:
    """In every state and on phone, tablet and desk: drawn to the end, no sideways scrolling, no error, no call outside."""
    for width in WIDTHS:
        with page_of(browser, width) as page:
            for name in PAGES:
                page.goto(f"{address}/{name}")
                ready(page)
                assert page.get_by_text("could not be drawn").count() == 0, name
                assert page.locator('[data-testid="stException"]').count() == 0, name
                assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (name, width)
                assert page.title() != "owned"
                assert page.locator(".stHtml script").count() == 0
            assert page.outside == []  # type: ignore[attr-defined]


def test_the_typeface_comes_from_this_machine(browser: Browser) -> None:
    """Atkinson Hyperlegible is loaded, from the page's own server."""
    with sample_dashboard("normal") as address, page_of(browser) as page:
        page.goto(address)
        ready(page)
        faces = page.evaluate("[...document.fonts].filter(f => f.status == 'loaded').map(f => f.family)")
        assert any("Atkinson Hyperlegible" in face for face in faces)


def test_a_page_without_its_server_says_so(browser: Browser) -> None:
    """A page left open when the server dies turns its numbers hollow and says that it is old, without any script."""
    with page_of(browser) as page:
        with sample_dashboard("normal") as address:
            page.goto(address)
            ready(page)
            assert not page.locator(".lost-touch").is_visible()
        page.locator(".lost-touch").wait_for(state="visible", timeout=60_000)
        colour = page.locator(".figure .digits").first.evaluate("e => getComputedStyle(e).color")
        assert colour == "rgba(0, 0, 0, 0)"


def test_what_was_typed_survives_a_refusal_and_another_page(browser: Browser) -> None:
    """A refused note stays in its field; after a look at the alarms it is still there; once taken it is in the ledger."""
    with sample_dashboard("normal") as address, page_of(browser, 390) as page:
        page.goto(f"{address}/wheel?wheel=K-114")
        ready(page)
        page.get_by_role("radio", name="Weighing").click()
        page.get_by_label("Mass, kg").fill("22.70")
        page.get_by_label("Note").fill("refuse me")
        page.get_by_label("Your name").fill("Imelda")
        page.get_by_role("button", name="Save weighing").click()
        page.get_by_text("Not saved.").wait_for()
        assert page.get_by_label("Note").input_value() == "refuse me"
        page.get_by_role("link", name="Alarms").click()
        page.get_by_role("heading", name="Alarms").wait_for()
        page.go_back()
        page.get_by_label("Note").wait_for()
        assert page.get_by_label("Note").input_value() == "refuse me"
        assert page.get_by_label("Mass, kg").input_value() == "22.70"
        page.get_by_label("Note").fill("dry and firm")
        page.get_by_role("button", name="Save weighing").click()
        page.get_by_text("Saved:").wait_for()
        page.get_by_role("cell", name="dry and firm").wait_for()


def test_two_people_record_at_once(browser: Browser) -> None:
    """Two people save about the same wheel from two machines; both entries stand, each with its author."""
    with sample_dashboard("normal") as address, page_of(browser) as one, page_of(browser, 390) as other:
        for page, person in ((one, "Imelda"), (other, "Tadhg")):
            page.goto(f"{address}/wheel?wheel=K-115")
            ready(page)
            page.get_by_role("radio", name="Weighing").click()
            page.get_by_label("Mass, kg").fill("23.10")
            page.get_by_label("Note").fill(f"weighed by {person}")
            page.get_by_label("Your name").fill(person)
        for page in (one, other):
            page.get_by_role("button", name="Save weighing").click()
            page.get_by_text("Saved:").wait_for()
        for person in ("Imelda", "Tadhg"):
            other.get_by_role("cell", name=f"weighed by {person}").or_(
                other.get_by_text(f"weighed by {person}")
            ).first.wait_for()


def test_a_wheel_that_does_not_exist_is_said_so(browser: Browser) -> None:
    """A link to no wheel leads to clear words and the wheels there are."""
    with sample_dashboard("normal") as address, page_of(browser) as page:
        page.goto(f"{address}/wheel?wheel=K-999")
        ready(page)
        page.get_by_text("No such wheel").wait_for()
        assert page.get_by_role("link", name="K-114").is_visible()
