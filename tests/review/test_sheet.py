"""The printed sheet: everything that people wrote is text on it, and nothing comes from outside."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from monitor.cli import main
from monitor.errors import LedgerError
from monitor.review import review_wheel
from monitor.review.sheet import review_sheet
from tests.test_site import GOOD
from tests.twins.samples import Rooms, breathe, day
from tests.wheels.samples import NOW

ZONE = ZoneInfo("Europe/Dublin")
HOSTILE = '<script>alert(1)</script>"><img src=x onerror=alert(2)> &amp; \u202e'


class Tags(HTMLParser):
    """Counts the tags and their attributes."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.seen: dict[str, int] = {}
        self.attributes: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen[tag] = self.seen.get(tag, 0) + 1
        self.attributes |= {name for name, _ in attrs}


def hostile_document(folder: Path) -> dict[str, Any]:
    """A wheel whose name, place of an ironing, inspection and reason are markup, with everything a sheet can show."""
    rooms = Rooms(folder)
    ledger, name = rooms.ledger, f"X {HOSTILE}"[:250]
    ledger.add_make(
        f"M {HOSTILE}"[:250],
        "clothed",
        day(0),
        [name],
        author="Nora",
        mass_kg=22,
        room="vault",
        place="low-rack",
    )
    breathe(rooms.store, "low-rack", 0, 8.5, 13.5, 70)
    ledger.iron(name, day(2), author="Nora", sealed=False, where=HOSTILE)
    ledger.inspect(name, day(2.5), author="Nora", cracks=4, cloth=2, where=HOSTILE, mites=3)
    ledger.weigh(name, 21.8, day(4), author="Nora")
    rooms.settle()
    return review_wheel(ledger.site, rooms.store, ledger, name, NOW)


def test_what_people_wrote_is_text_never_markup(tmp_path: Path) -> None:
    """A name full of markup stands on the sheet as it was typed; no tag or attribute comes of it, nothing is fetched."""
    page = review_sheet([hostile_document(tmp_path)], ZONE, address="http://127.0.0.1:8501")
    tags = Tags(page)
    assert not {"script", "img", "iframe", "link", "object"} & set(tags.seen)
    assert not {a for a in tags.attributes if a.startswith("on")} | {"src", "href"} & tags.attributes
    assert "&lt;script&gt;alert(1)" in page
    assert not re.search(r"url\(|@import|https?://(?!www\.w3\.org/2000/svg)", page)
    assert "\u202e" not in page


def test_a_sheet_of_a_wheel_of_which_hardly_anything_is_known(tmp_path: Path) -> None:
    """No air, no twin, no weighing: the sheet says so and still has room to write."""
    rooms = Rooms(tmp_path)
    document = review_wheel(rooms.ledger.site, rooms.store, rooms.ledger, "HF-01", NOW)
    page = review_sheet([document, document], ZONE, paper="letter")
    assert page.count('class="sheet"') == 2
    assert "size: letter" in page
    assert "No air is known" in page
    assert "Back of the iron" in page


def test_an_address_that_is_none_is_refused(tmp_path: Path) -> None:
    """A QR code is only made for an address of pages."""
    rooms = Rooms(tmp_path)
    document = review_wheel(rooms.ledger.site, rooms.store, rooms.ledger, "HF-01", NOW)
    with pytest.raises(LedgerError, match="no address"):
        review_sheet([document], ZONE, address="javascript:alert(1)")


def test_the_command_writes_a_page_a_wheel(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A whole make in one file; a wheel that is not there fails and says so."""
    Rooms(tmp_path)
    (tmp_path / "site.toml").write_text(GOOD, encoding="utf-8")
    target = tmp_path / "march.html"
    assert (
        main(["sheet", str(tmp_path / "site.toml"), "--make", "HF", "--to", str(target), "--paper", "a4"])
        == 0
    )
    assert target.read_text(encoding="utf-8").count('class="sheet"') == 3
    assert main(["sheet", str(tmp_path / "site.toml"), "HF-77", "--to", str(target)]) == 1
    assert "HF-77" in capsys.readouterr().err
