"""Text made harmless and numbers made readable."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from dashboard import plain
from tests.dashboard.samples import HOSTILE

DUBLIN = ZoneInfo("Europe/Dublin")
NOON = datetime(2026, 7, 1, 11, 0, tzinfo=UTC)


@given(st.text())
def test_no_text_can_open_a_tag_or_leave_an_attribute(value: str) -> None:
    """Whatever a name holds, HTML sees neither a tag nor the end of an attribute in it."""
    assert not set(plain.text(value)) & set("<>\"'")


def test_endless_names_are_cut() -> None:
    """A name of 10,000 characters takes no more room than 400."""
    assert len(plain.text("x" * 10_000)) == plain.LONGEST


def test_writing_direction_cannot_be_turned() -> None:
    """Characters that turn the writing direction or ring a bell are left out."""
    assert plain.text("North\u202evault\x07") == "Northvault"


def test_labels_hold_no_markdown() -> None:
    """Links, colours, formulas and icon short-codes in a label stay letters."""
    label = plain.label(HOSTILE)
    assert "](" not in label
    assert ":smile:" not in label
    assert "$" not in label.replace("\\$", "")


def test_unknown_is_a_dash_and_not_a_zero() -> None:
    """What is not known is never shown as a number."""
    assert plain.temperature(None, "degC") == "–"
    assert plain.age(None) == "never"


def test_temperatures_follow_the_site() -> None:
    """11 degC is 51.8 degF; a little below zero that rounds to zero has no minus."""
    assert plain.temperature(11.0, "degF") == "51.8"
    assert plain.temperature(-0.04, "degC") == "0.0"
    assert plain.temperature(-1.5, "degC") == "−1.5"


def test_times_are_the_sites_own() -> None:
    """11:00 UTC in July is noon in Dublin; yesterday and other years are named."""
    assert plain.when("2026-07-01T11:00:00Z", DUBLIN, NOON) == "12:00"
    assert plain.when("2026-06-30T21:40:00Z", DUBLIN, NOON) == "yesterday 22:40"
    assert plain.when("2025-11-03T22:40:00Z", DUBLIN, NOON) == "3 Nov 2025 22:40"
    assert plain.when("no time at all", DUBLIN, NOON) == "–"


def test_ages_are_coarse() -> None:
    """Ages use the coarsest unit that still tells something."""
    assert [plain.age(s) for s in (40, 120, 7500, 200_000)] == [
        "40 s ago",
        "2 min ago",
        "2 h ago",
        "2 days ago",
    ]
