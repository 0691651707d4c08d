"""The life of a wheel: what its standing entries come to, and from when on two tellings of it differ."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from monitor.clock import to_ms
from monitor.errors import LedgerError
from monitor.wheels import Ledger
from monitor.wheels.bulk import enter_many, wheels_of
from monitor.wheels.life import Life, life_of
from tests.wheels.samples import MADE, NOW, make_ledger


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return make_ledger(tmp_path)


def life(ledger: Ledger, name: str = "HF-01") -> Life:
    found = life_of(name, ledger.history(name))
    assert found is not None
    return found


def day(number: float):
    return MADE + timedelta(days=number)


def test_a_life_has_stays_weighings_and_ways_in(ledger: Ledger) -> None:
    """Moved on day 40, weighed on day 50, ironed without a seal on day 60, greased on day 70."""
    ledger.move("HF-01", "vault", "high-rack", day(40), author="Nora")
    ledger.weigh("HF-01", 21.2, day(50), author="Nora", sigma_kg=0.01)
    ledger.iron("HF-01", day(60), author="Nora", sealed=False)
    ledger.work("HF-01", "greasing", day(70), author="Nora")
    ledger.work("HF-01", "brushing", day(80), author="Nora")
    found = life(ledger)
    assert [s[:2] for s in found.stays] == [("vault", "low-rack"), ("vault", "high-rack")]
    assert found.weighings == ((to_ms(day(50)), 21.2, 0.01),)
    assert (found.ways_at(to_ms(day(59))), found.ways_at(to_ms(day(65)))) == (frozenset(), {"plug"})
    assert found.ways_at(to_ms(day(75))) == frozenset()
    assert found.last_brushed(to_ms(NOW)) == to_ms(day(80))
    assert (found.first_mass_kg, found.own_first_mass) == (22, False)


def test_lives_differ_from_the_back_dated_entry_on(ledger: Ledger) -> None:
    """A move entered today for day 20 changes the wheel from day 20; a weighing changes nothing in its rind."""
    before = life(ledger)
    ledger.weigh("HF-01", 21.2, day(50), author="Nora")
    assert before.differs_from(life(ledger)) is None
    ledger.move("HF-01", "vault", "high-rack", day(20), author="Piet")
    assert before.differs_from(life(ledger)) == to_ms(day(20))


def test_only_the_wheels_spoken_of_are_told_as_changed(ledger: Ledger) -> None:
    """An entry about one wheel names it alone; one about the make names all of its wheels."""
    names, revision = ledger.changed_wheels()
    assert names == ["HF-01", "HF-02", "HF-03"]
    assert ledger.changed_wheels(revision) == ([], revision)
    ledger.remark("HF-02", "leans", author="Nora")
    names, later = ledger.changed_wheels(revision)
    assert (names, later > revision) == (["HF-02"], True)
    assert ledger.whereabouts(["HF-02"])["HF-02"].stays[0][:2] == ("vault", "low-rack")


def test_a_whole_make_is_entered_at_once_with_one_that_differs(ledger: Ledger) -> None:
    """All three inspected: two sound, one cracked; and none is written where one is refused."""
    ids = enter_many(ledger, "inspection", wheels_of(ledger, make="HF"), None, "Nora", {"cracks": 0},
                     {"HF-03": {"cracks": 3}})  # fmt: skip
    steps = [ledger.history(f"HF-0{n}")[-1].details["cracks"] for n in (1, 2, 3)]
    assert steps == [0, 0, 3]
    assert len({ledger.entry(i).batch for i in ids}) == 1
    revision = ledger.revision()
    with pytest.raises(LedgerError, match="outside the scale"):
        enter_many(ledger, "inspection", wheels_of(ledger, room="vault"), None, "Nora", {"cracks": 0},
                   {"HF-02": {"cracks": 9}})  # fmt: skip
    with pytest.raises(LedgerError, match="HF-77: not among"):
        enter_many(ledger, "inspection", ["HF-01"], None, "Nora", {}, {"HF-77": {}})
    assert ledger.revision() == revision
    assert len(enter_many(ledger, "turning", ["HF-01", "HF-02"], None, "Nora", {}, {"HF-02": None})) == 1


def test_a_shelf_is_entered_at_once(ledger: Ledger) -> None:
    """Two wheels were put on shelf 3: turning that shelf turns those two and not the third."""
    ledger.move("HF-01", "vault", "high-rack", day(40), author="Nora", shelf="3")
    ledger.move("HF-02", "vault", "high-rack", day(40), author="Nora", shelf="3")
    names = wheels_of(ledger, room="vault", place="high-rack", shelf="3")
    enter_many(ledger, "turning", names, None, "Nora", {})
    turned = [w.name for w in ledger.wheels() if ledger.history(w.name)[-1].kind == "turning"]
    assert turned == ["HF-01", "HF-02"]


def test_an_empty_shelf_is_said(ledger: Ledger) -> None:
    """Entering for a shelf where nothing lies, or for nothing at all, is refused with the words."""
    with pytest.raises(LedgerError, match="'top'"):
        wheels_of(ledger, room="vault", shelf="top")
    with pytest.raises(LedgerError, match="name a make"):
        wheels_of(ledger)
