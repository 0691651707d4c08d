"""Next to grade: wheels by why they deserve attention now, each with reasons and what tells most."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from monitor.review.next_to_grade import Ranked, next_to_grade
from monitor.wheels import Ledger
from tests.wheels.samples import NOW, make_ledger

DAY = timedelta(days=1)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    """Three wheels looked at and weighed yesterday, with nothing wrong."""
    with make_ledger(tmp_path) as ledger:
        names = ["HF-01", "HF-02", "HF-03"]
        ledger.inspect(names, NOW - DAY, author="Nora", cracks=0)
        ledger.weigh(names, 21.5, NOW - DAY, author="Nora")
        ledger.grade(names, "hold back", at=NOW - DAY, author="Nora")
        yield ledger


def ranked(ledger: Ledger) -> list[Ranked]:
    return next_to_grade(ledger.site, ledger, NOW)


def test_a_wheel_that_is_as_it_should_be_is_not_in_the_list(ledger: Ledger) -> None:
    assert ranked(ledger) == []


def test_deep_cracks_come_before_a_missing_weighing(ledger: Ledger) -> None:
    """HF-02 cracked 3 of 4 stands first and is to be looked at; what is only unknown stands behind."""
    ledger.inspect("HF-02", NOW, author="Nora", cracks=3)
    ledger.undo([e.id for e in ledger.history("HF-03") if e.kind == "weighing"], author="Nora")
    first, second = ranked(ledger)
    assert (first.wheel.name, first.act) == ("HF-02", "look at the rind")
    assert first.reasons[0].words.startswith("cracks 3 of 4")
    assert (second.wheel.name, second.act) == ("HF-03", "weigh")


def test_the_date_to_look_again_and_a_promise_call_for_the_iron(ledger: Ledger) -> None:
    ledger.grade("HF-01", "hold back", "young", NOW.date(), at=NOW, author="Nora")
    ledger.promise("HF-01", (NOW + 7 * DAY).date(), author="Nora")
    (only,) = ranked(ledger)
    assert only.act == "iron"
    assert {reason.key for reason in only.reasons} == {"look again", "promised"}


def test_an_unsealed_plug_asks_for_a_look_and_a_sealed_one_does_not(ledger: Ledger) -> None:
    ledger.iron("HF-01", NOW, author="Nora", sealed=False)
    ledger.iron("HF-02", NOW, author="Nora", sealed=True)
    (only,) = ranked(ledger)
    assert (only.wheel.name, only.act) == ("HF-01", "look at the rind")


def test_a_hole_makes_the_next_one_less_wanted(ledger: Ledger) -> None:
    """Two wheels alike but for a hole: the whole one comes first."""
    ledger.iron("HF-01", NOW, author="Nora", sealed=True)
    for name in ("HF-01", "HF-02"):
        ledger.promise(name, NOW.date(), author="Nora")
    assert [r.wheel.name for r in ranked(ledger)] == ["HF-02", "HF-01"]


def test_a_sold_wheel_is_out_of_the_list(ledger: Ledger) -> None:
    ledger.inspect("HF-02", NOW - DAY, author="Nora", cracks=4)
    ledger.sell("HF-02", NOW, author="Nora")
    assert ranked(ledger) == []
