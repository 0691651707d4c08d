"""Signing in, in a real browser: roles, an ending in the middle of a form, and authors that cannot be chosen."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from dashboard.launch import command
from dashboard.people import keep_person
from tests.system.browser import chromium, page_of, ready, served
from tests.system.parts import free_port
from tests.system.test_pages import ROOT, SITE

pytestmark = pytest.mark.system
MORE = '\n[pages]\nsign_in = "people"\n'


@pytest.fixture
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    site, port = tmp_path / "site.toml", free_port()
    site.write_text(SITE.read_text(encoding="utf-8") + MORE, encoding="utf-8")
    keep_person(tmp_path / "people.toml", "Imelda", "record", "rind and patience")
    keep_person(tmp_path / "people.toml", "Guest", "look", "only looking today")
    more = {
        "MATURING_ANSWERS": "tests.dashboard.samples",
        "MATURING_SAMPLE": "alarmed",
        "PYTHONPATH": str(ROOT),
    }
    with served(command(site, port), port, more) as running:
        yield running


def sign_in(page: Page, name: str, password: str) -> None:
    page.get_by_label("Your name").fill(name)
    page.get_by_label("Password", exact=True).fill(password)
    page.get_by_role("button", name="Sign in").click()


def test_people_sign_in_and_an_ended_sign_in_loses_nothing(browser: Browser, address: str) -> None:
    """The form leads on to the page asked for; a reader who may only look has no forms and no set-up; when a
    sign-in ends in the middle of an entry (here from another tab), signing in again on the page saves it under the
    signed name."""
    with page_of(browser) as page:
        page.goto(f"{address}/alarms")
        sign_in(page, "Guest", "only looking today")
        ready(page)
        page.get_by_text("Too warm").first.wait_for()
        assert page.get_by_role("button", name="Acknowledge").count() == 0
        assert page.get_by_role("link", name="Set-up").count() == 0
        page.get_by_role("link", name="Sign out").click()

        sign_in(page, "Imelda", "rind and patience")
        ready(page)
        page.goto(f"{address}/wheel?wheel=K-114")
        ready(page)
        page.get_by_role("radio", name="Weighing").click()
        page.get_by_label("Mass, kg").fill("22.70")
        page.get_by_label("Note").fill("dry and firm")
        page.get_by_label("Note").blur()
        page.get_by_text("Recorded as Imelda").wait_for()
        other = page.context.new_page()
        other.goto(f"{address}/sign-out")
        page.get_by_role("button", name="Save weighing").click()
        page.get_by_text("Your sign-in has ended").first.wait_for()
        page.get_by_label("Password", exact=True).fill("rind and patience")
        page.get_by_role("button", name="Sign in again").click()
        page.get_by_text("Your sign-in has ended").first.wait_for(state="detached")
        assert page.get_by_label("Note").input_value() == "dry and firm"
        page.get_by_role("button", name="Save weighing").click()
        page.get_by_text("Saved:").wait_for()
        page.get_by_role("row", name="dry and firm").get_by_text("Imelda").wait_for()
        assert page.outside == []  # type: ignore[attr-defined]
