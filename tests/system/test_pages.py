"""The pages in a real Chromium, drawn from sample documents: whole, harmless, calling nothing outside, usable by all.

One browser and one server a state serve every test, each page is opened once and then shown on every screen.
What keyboard and screen reader meet is checked by axe-core (npm, MPL-2.0).
"""

from __future__ import annotations

import subprocess
import tarfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from dashboard.launch import command
from tests.dashboard import samples
from tests.system.browser import WIDTHS, chromium, page_of, ready, served
from tests.system.parts import free_port, need

pytestmark = pytest.mark.system
ROOT = Path(__file__).parents[2]
SITE = ROOT / "tests" / "dashboard" / "sample_site.toml"
PAGES = (
    "", "alarms", "room?room=north", "shelves", "next", "wheel", "wheel?wheel=K-114", "evidence", "setup",
)  # fmt: skip
WANTED = "axe-core@4.14.1"


def sample_dashboard(state: str, further: dict[str, str] | None = None):  # type: ignore[no-untyped-def]
    """The dashboard over the sample documents of one state."""
    port = free_port()
    more = (further or {}) | {
        "MATURING_ANSWERS": "tests.dashboard.samples",
        "MATURING_SAMPLE": state,
        "PYTHONPATH": str(ROOT),
    }
    return served(command(SITE, port), port, more)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@pytest.fixture(scope="module")
def sample() -> Iterator[Callable[[str], str]]:
    """The address of the dashboard in a state, started when first asked for."""
    addresses: dict[str, str] = {}
    with ExitStack() as stack:

        def started(state: str) -> str:
            if state not in addresses:
                addresses[state] = stack.enter_context(sample_dashboard(state))
            return addresses[state]

        yield started


@pytest.fixture(scope="module")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The checker's script, fetched by the ordinary npm client."""
    folder: Path = tmp_path_factory.mktemp("axe")
    subprocess.run([need("npm"), "pack", "--silent", WANTED], cwd=folder, check=True, timeout=120)
    with tarfile.open(next(folder.glob("axe-core-*.tgz"))) as archive:
        script = archive.extractfile("package/axe.min.js")
        assert script is not None
        return script.read().decode()


def faults(page: Page, axe: str) -> list[str]:
    """The serious and critical faults of the page as it stands."""
    page.evaluate(axe)
    found: dict[str, Any] = page.evaluate("() => axe.run(document)")
    assert len(found["passes"]) > 5
    return [
        f"{v['id']}: {v['nodes'][0]['html'][:200]}"
        for v in found["violations"]
        if v["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("state", samples.STATES)
def test_every_page_is_whole_on_every_screen(
    browser: Browser, sample: Callable[[str], str], axe: str, state: str
) -> None:
    """In every state and on phone, tablet and desk: drawn to the end, no sideways scrolling, no error, no call outside;
    and with colour on it or with hollow numbers, no serious fault for keyboard and screen reader."""
    with page_of(browser) as page:
        for name in PAGES:
            page.goto(f"{sample(state)}/{name}")
            ready(page)
            assert page.get_by_text("could not be drawn").count() == 0, name
            assert page.locator('[data-testid="stException"]').count() == 0, name
            assert page.title() != "owned"
            assert page.locator(".stHtml script").count() == 0
            for width, height in WIDTHS.items():
                page.set_viewport_size({"width": width, "height": height})
                page.wait_for_function(
                    "() => document.documentElement.scrollWidth <= innerWidth", timeout=5000
                )
                if state in ("alarmed", "broken") and width != 820:
                    assert faults(page, axe) == [], (name, width)
        assert page.outside == []  # type: ignore[attr-defined]


def test_the_check_can_fail(browser: Browser, sample: Callable[[str], str], axe: str) -> None:
    """Pale text and a nameless button, put in on purpose, are found."""
    with page_of(browser) as page:
        page.goto(sample("normal"))
        ready(page)
        faces = page.evaluate("[...document.fonts].filter(f => f.status == 'loaded').map(f => f.family)")
        assert any("Atkinson Hyperlegible" in face for face in faces), "the typeface comes from this server"
        page.evaluate(
            "document.querySelector('main.rooms').insertAdjacentHTML('afterbegin', "
            "'<p style=\"color:#ccc;background:#fff\">pale words</p><button></button>')"
        )
        found = " ".join(faults(page, axe))
        assert "color-contrast" in found
        assert "button-name" in found


def test_the_rooms_are_read_before_any_script_runs(browser: Browser, sample: Callable[[str], str]) -> None:
    """With scripts forbidden the rooms stand there, and their links lead on; with scripts the page takes their place."""
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(sample("alarmed"))
    page.get_by_text("17.4").first.wait_for()
    assert page.get_by_role("link", name="Alarms").get_attribute("href") == "alarms"
    context.close()
    with page_of(browser) as page:
        page.goto(sample("alarmed"))
        ready(page)
        assert page.locator("#first-sight").count() == 0
        assert page.locator("main.rooms").count() == 1


def test_a_page_without_its_server_says_so(browser: Browser) -> None:
    """A page left open when the server dies turns its numbers hollow and says that it is old, without any script."""
    with page_of(browser) as page:
        with sample_dashboard("normal") as address:
            page.goto(address)
            ready(page)
            assert not page.locator(".lost-touch").is_visible()
            page.context.new_cdp_session(page).send("Animation.enable")
            page.context.new_cdp_session(page).send("Animation.setPlaybackRate", {"playbackRate": 20})
        page.locator(".lost-touch").wait_for(state="visible", timeout=60_000)
        colour = page.locator(".figure .digits").first.evaluate("e => getComputedStyle(e).color")
        assert colour == "rgba(0, 0, 0, 0)"


def test_what_was_typed_survives_a_refusal_and_another_page(
    browser: Browser, sample: Callable[[str], str]
) -> None:
    """A refused note stays in its field; after a look at the alarms it is still there; once taken it is in the ledger."""
    with page_of(browser, 390) as page:
        page.goto(f"{sample('normal')}/wheel?wheel=K-114")
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


def test_two_people_record_at_once(browser: Browser, sample: Callable[[str], str]) -> None:
    """Two people save about the same wheel from two machines; both entries stand, each with its author."""
    with page_of(browser) as one, page_of(browser, 390) as other:
        for page, person in ((one, "Imelda"), (other, "Tadhg")):
            page.goto(f"{sample('normal')}/wheel?wheel=K-115")
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


def test_bad_links_two_tabs_and_the_way_back(browser: Browser, sample: Callable[[str], str]) -> None:
    """Links to no wheel, no room or a script lead to clear words; the way back leads back; what is typed in one tab
    stays while the same wheel is saved in another."""
    with page_of(browser) as page:
        page.goto(f"{sample('normal')}/wheel?wheel=K-999")
        ready(page)
        page.get_by_text("No such wheel").wait_for()
        page.get_by_role("link", name="K-114").click()
        page.get_by_text("11 months").first.wait_for()
        page.go_back()
        page.get_by_text("No such wheel").wait_for()
        page.goto(f"{sample('normal')}/room?room=%3Cscript%3Ealert(1)%3C/script%3E")
        ready(page)
        page.get_by_text("No such room").wait_for()
        page.goto(f"{sample('normal')}/wheel?wheel={'x' * 10_000}")
        ready(page)
        page.get_by_text("No such wheel").wait_for()
        other = page.context.new_page()
        for tab, mass in ((page, "22.50"), (other, "22.60")):
            tab.goto(f"{sample('normal')}/wheel?wheel=K-115")
            ready(tab)
            tab.get_by_role("radio", name="Weighing").click()
            tab.get_by_label("Mass, kg").fill(mass)
            tab.get_by_label("Your name").fill("Imelda")
        other.get_by_role("button", name="Save weighing").click()
        other.get_by_text("Saved:").wait_for()
        assert page.get_by_label("Mass, kg").input_value() == "22.50"
        page.get_by_label("Mass, kg").fill("-3")
        page.get_by_role("button", name="Save weighing").click()
        page.get_by_text("A wheel weighs more than 0").wait_for()
        assert page.get_by_label("Mass, kg").input_value() == "-3.00"


HOSTILE = "<script>document.title='owned'</script> =1+1 $\\frac12$ \U0001f9c0 "


def test_a_hostile_entry_with_a_photo_too_large(
    browser: Browser, sample: Callable[[str], str], axe: str, tmp_path: Path
) -> None:
    """Ten thousand characters of script and emoji are taken as text; a photo of 50 MB is refused in words, and
    what was typed stays until the entry is saved without it."""
    heavy = tmp_path / "wheel.jpg"
    heavy.write_bytes(b"\xff\xd8\xff" + bytes(50_000_000))
    note = (HOSTILE * 300)[:9_500]  # an emoji is two of the 10,000 characters that a browser counts
    with page_of(browser, 390) as page:
        page.goto(f"{sample('normal')}/wheel?wheel=K-114")
        ready(page)
        page.get_by_role("radio", name="Inspection").click()
        page.get_by_text("What do you see?").wait_for()
        assert faults(page, axe) == []
        page.get_by_label("Note").fill(note)
        page.get_by_label("Your name").fill(HOSTILE)
        page.locator('input[type="file"]').set_input_files(heavy)
        page.get_by_text("50.0MB").wait_for()
        page.get_by_role("button", name="Save inspection").click()
        page.get_by_text("20 MB is the most").wait_for(timeout=60_000)
        assert page.get_by_label("Note").input_value() == note
        page.get_by_role("button", name="Remove wheel.jpg").click()
        page.get_by_text("wheel.jpg").first.wait_for(state="detached")
        page.get_by_role("button", name="Save inspection").click()
        page.get_by_text("Saved:").wait_for()
        assert page.title() != "owned"


def test_german(browser: Browser, sample: Callable[[str], str]) -> None:
    """The language chosen at a page's foot holds from there on, on every page."""
    with page_of(browser) as page:
        page.goto(f"{sample('normal')}/wheel?wheel=K-114")
        ready(page)
        page.get_by_role("link", name="Deutsch").click()
        page.get_by_text("11 Monate").first.wait_for()
        page.get_by_role("link", name="Räume jetzt").click()
        page.get_by_text("3 Räume sind wie gewollt").wait_for()
        page.get_by_text("Was der Monitor selbst schreibt, steht auf Englisch.").wait_for()
