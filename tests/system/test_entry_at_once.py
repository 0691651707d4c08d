"""Three browsers and the command line enter into one ledger at once: nothing is lost, nothing overwritten unseen."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path

import pytest

from monitor.errors import LedgerError
from monitor.wheels import open_ledger
from tests.system.browser import chromium, dashboard, page_of, ready
from tests.system.parts import wait_for
from tests.test_site import GOOD
from tests.wheels.samples import make_ledger, make_site

PEOPLE = ("Nora", "Piet", "Imelda")
BY_COMMAND = 2


@pytest.mark.system
def test_three_browsers_and_the_command_line_at_once(tmp_path: Path) -> None:
    """Three people save a weighing each of one wheel while a shell enters two remarks: all five entries stand."""
    make_ledger(tmp_path).close()
    site_path = tmp_path / "site.toml"
    site_path.write_text(GOOD, encoding="utf-8")
    command = [sys.executable, "-m", "monitor.cli", "enter", str(site_path), "note", "HF-01", "--as", "shell"]
    with ExitStack() as stack:
        browser, address = stack.enter_context(chromium()), stack.enter_context(dashboard(site_path))
        pages = [stack.enter_context(page_of(browser)) for _ in PEOPLE]
        for person, page in zip(PEOPLE, pages, strict=True):
            page.goto(f"{address}/wheel?wheel=HF-01")
            ready(page)
            page.get_by_role("radio", name="Weighing").click()
            page.get_by_label("Mass, kg").fill("21.90")
            page.get_by_label("Note").fill(f"weighed by {person}")
            page.get_by_label("Your name").fill(person)
            page.get_by_label("Your name").press("Tab")
            ready(page)
        shells = [
            subprocess.Popen([*command, "--say", f"note=remark {n}"], stdout=subprocess.DEVNULL)
            for n in range(BY_COMMAND)
        ]
        for page in pages:
            page.get_by_role("button", name="Save weighing").click()
        assert [shell.wait(60) for shell in shells] == [0] * BY_COMMAND
        ledger = stack.enter_context(open_ledger(make_site(tmp_path)))
        wait_for(
            lambda: _notes(ledger, "weighing") == {f"weighed by {p}" for p in PEOPLE}, 60, "the weighings"
        )
        assert _notes(ledger, "note") == {f"remark {n}" for n in range(BY_COMMAND)}
        assert {e.author for e in ledger.history("HF-01") if e.kind == "weighing"} == set(PEOPLE)


def test_one_of_several_corrections_at_once_stands(tmp_path: Path) -> None:
    """Four people correct one weighing at the same moment: one correction stands, three are told to look again."""
    with make_ledger(tmp_path) as ledger:
        (entry,) = ledger.weigh("HF-01", 21.5, author="Nora")
    site = make_site(tmp_path)

    def correct(mass: float) -> str:
        with open_ledger(site) as own:
            try:
                own.correct(entry, author=f"person {mass}", mass_kg=mass)
            except LedgerError as error:
                return str(error)
            return ""

    with ThreadPoolExecutor(4) as pool:
        said = sorted(pool.map(correct, (21.1, 21.2, 21.3, 21.4)))
    assert said[0] == ""
    assert all("look again" in refusal for refusal in said[1:])
    with open_ledger(site) as ledger:
        standing = [e for e in ledger.history("HF-01") if e.kind == "weighing" and e.effective]
    assert len(standing) == 1


def _notes(ledger, kind: str) -> set[str]:
    return {e.details["note"] for e in ledger.history("HF-01") if e.kind == kind and e.effective}
