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
    """Write FOLDER/STATE-PAGE-WIDTH.png for all of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.screenshots", description=__doc__)
    parser.add_argument("folder", type=Path)
    folder: Path = parser.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    with chromium() as browser:
        for state in samples.STATES:
            take(browser, state, folder)


def take(browser: Browser, state: str, folder: Path) -> None:
    """The pictures of one state."""
    with sample_dashboard(state) as address:
        for width, height in WIDTHS.items():
            for name in PAGES:
                with page_of(browser, width) as page:
                    page.goto(f"{address}/{name}")
                    ready(page)
                    page.wait_for_timeout(400)
                    whole = page.locator('[data-testid="stMainBlockContainer"]').evaluate(
                        "e => e.scrollHeight"
                    )
                    page.set_viewport_size({"width": width, "height": min(max(whole, height), TALLEST)})
                    page.wait_for_timeout(200)
                    short = (name or "rooms-now").replace("?", "-").replace("=", "-")
                    page.screenshot(path=str(folder / f"{state}-{short}-{width}.png"))


if __name__ == "__main__":
    main()
