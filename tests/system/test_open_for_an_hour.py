"""A glance page left open for an hour, its clock wound on: it stays true, and takes no more memory than at first."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page

from dashboard.screens.rooms_now import REFRESH_S
from tests.system.browser import chromium, counts, page_of, ready
from tests.system.test_pages import sample_dashboard

pytestmark = pytest.mark.system
HOUR = 3600 // REFRESH_S
WARM = 60
WORDS = {
    "alarmed": "Now, since",
    "broken": "The monitor is not running.",
    "normal": "3 rooms are as intended",
}
"""What the page says of the rooms in each state."""
COUNTED = """
window.drawn = 0;
document.addEventListener('DOMContentLoaded', () => new MutationObserver(() => {
  const at = document.querySelector('#root [data-drawn]')?.dataset.drawn;
  if (at && at !== window.last) { window.last = at; window.drawn += 1; }
}).observe(document, {subtree: true, childList: true, attributes: true}));
"""


def wind(page: Page, refreshes: int) -> None:
    """Let the page's clock run on, refresh by refresh, each drawn before the next is asked for."""
    for _ in range(refreshes):
        before = page.evaluate("() => window.drawn")
        page.clock.run_for(REFRESH_S * 1000 + 50)
        page.wait_for_function("before => window.drawn > before", arg=before, polling=5)


def show(page: Page, state: Path, shown: str, refreshes: int) -> None:
    """Let the rooms turn to a state, and the page run on for so many refreshes and then until it shows that state: the
    monitor's own clock is not wound, and a page wound quickly on a busy machine is ahead of it."""
    state.write_text(shown)
    wind(page, refreshes)
    words = page.get_by_text(WORDS[shown]).first
    for _ in range(HOUR):
        if words.is_visible():
            return
        wind(page, 1)
    pytest.fail(f"the page does not show the rooms {shown}")


def test_an_hour_open(tmp_path: Path) -> None:
    """All refreshes of an hour, every one drawn: a room that goes bad shows it, a monitor that stops is said to have,
    and back; nodes and listeners stay as many, and the heap as large as after the first minutes."""
    state = tmp_path / "state"
    state.write_text("normal")
    with (
        sample_dashboard("normal", {"MATURING_SAMPLE_FROM": str(state)}) as address,
        chromium() as browser,
        page_of(browser) as page,
    ):
        page.clock.install()
        page.add_init_script(COUNTED)
        page.goto(address)
        ready(page)
        for shown in WORDS:  # what a browser keeps of a first sight is not counted
            show(page, state, shown, WARM // 6)
        looks = []
        for _ in range(3):
            wind(page, WARM // 6)
            looks.append(counts(page))
        before = {name: max(look[name] for look in looks) for name in looks[0]}
        for shown in WORDS:
            show(page, state, shown, (HOUR - WARM) // 3)
        looks = [counts(page) for _ in range(3)]
        after = {name: min(look[name] for look in looks) for name in looks[0]}
        assert page.evaluate("() => window.drawn") >= HOUR
        assert after["Nodes"] <= 1.02 * before["Nodes"]
        assert after["JSEventListeners"] <= 1.02 * before["JSEventListeners"]
        assert after["JSHeapUsedSize"] <= 1.15 * before["JSHeapUsedSize"]
