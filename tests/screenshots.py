"""Takes a picture of every page in every state on three screens: ``python -m tests.screenshots FOLDER``."""

from __future__ import annotations

import argparse
from pathlib import Path

from playwright.sync_api import Browser

from tests.dashboard import samples
from tests.system.browser import WIDTHS, chromium, page_of, ready
from tests.system.test_pages import PAGES, sample_dashboard

TALLEST = 6000


def main() -> None:
    """Write FOLDER/STATE-PAGE-WIDTH.png for all of them, or for the states and pages named."""
    parser = argparse.ArgumentParser(prog="python -m tests.screenshots", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument(
        "--state", action="append", choices=samples.STATES, help="only this one; may be given again"
    )
    parser.add_argument("--page", action="append", metavar="WORD", help="only pages with this in their name")
    said = parser.parse_args()
    said.folder.mkdir(parents=True, exist_ok=True)
    pages = [name for name in PAGES if not said.page or any(word in short(name) for word in said.page)]
    with chromium() as browser:
        for state in said.state or samples.STATES:
            take(browser, state, pages, said.folder)


def short(name: str) -> str:
    """A page's address as part of a file's name."""
    return (name or "rooms-now").replace("?", "-").replace("=", "-")


def take(browser: Browser, state: str, pages: list[str], folder: Path) -> None:
    """The pictures of one state."""
    with sample_dashboard(state) as address:
        for width, height in WIDTHS.items():
            with page_of(browser, width) as page:
                for name in pages:
                    page.set_viewport_size({"width": width, "height": height})
                    page.goto(f"{address}/{name}")
                    ready(page)
                    page.wait_for_timeout(300)
                    whole = page.locator('[data-testid="stMainBlockContainer"]').evaluate(
                        "e => e.scrollHeight"
                    )
                    page.set_viewport_size({"width": width, "height": min(max(whole, height), TALLEST)})
                    page.wait_for_timeout(200)
                    page.screenshot(path=str(folder / f"{state}-{short(name)}-{width}.png"))


if __name__ == "__main__":
    main()
