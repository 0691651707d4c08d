"""The pages as keyboard and screen reader meet them, checked by axe-core (npm, MPL-2.0) in a real Chromium."""

from __future__ import annotations

import subprocess
import tarfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.system.browser import chromium, page_of, ready
from tests.system.parts import need
from tests.system.test_pages import PAGES, sample_dashboard

pytestmark = pytest.mark.system
WANTED = "axe-core@4.14.1"


@pytest.fixture(scope="module")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The checker's script, fetched by the ordinary npm client."""
    folder: Path = tmp_path_factory.mktemp("axe")
    subprocess.run([need("npm"), "pack", "--silent", WANTED], cwd=folder, check=True, timeout=120)
    with tarfile.open(next(folder.glob("axe-core-*.tgz"))) as archive:
        script = archive.extractfile("package/axe.min.js")
        assert script is not None
        return script.read().decode()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


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


@pytest.mark.parametrize("state", ["alarmed", "broken"])
@pytest.mark.parametrize("width", [390, 1440])
def test_no_serious_fault(browser: Browser, axe: str, state: str, width: int) -> None:
    """No page has a serious fault, with colour on it or with hollow numbers, nor the longest form when open."""
    with sample_dashboard(state) as address, page_of(browser, width) as page:
        for name in PAGES:
            page.goto(f"{address}/{name}")
            ready(page)
            if "wheel=" in name:
                page.get_by_role("radio", name="Inspection").click()
                page.get_by_text("What do you see?").wait_for()
            assert faults(page, axe) == [], (name, state)


def test_the_check_can_fail(browser: Browser, axe: str) -> None:
    """Pale text and a nameless button, put in on purpose, are found."""
    with sample_dashboard("normal") as address, page_of(browser) as page:
        page.goto(address)
        ready(page)
        page.evaluate(
            "document.querySelector('main.rooms').insertAdjacentHTML('afterbegin', "
            "'<p style=\"color:#ccc;background:#fff\">pale words</p><button></button>')"
        )
        found = " ".join(faults(page, axe))
        assert "color-contrast" in found
        assert "button-name" in found
