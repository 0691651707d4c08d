"""The ledger: dated, authored, corrected by a new entry and never overwritten; nonsense is refused whole."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, timedelta
from pathlib import Path

import pytest

from monitor.errors import LedgerDoubt, LedgerError, UnknownWheel
from monitor.records import Contents
from monitor.wheels import Ledger
from tests.wheels.samples import MADE, NOW, make_ledger


def kinds(ledger: Ledger, wheel: str) -> list[str]:
    return [e.kind for e in ledger.history(wheel) if e.effective]


def test_a_make_gives_its_wheels_their_style_place_and_age(ledger: Ledger) -> None:
    """A wheel knows its make, its style, where it lies, and how old it is."""
    wheel = ledger.wheel("HF-02")
    assert (wheel.make, wheel.style, wheel.room, wheel.place) == ("HF", "clothed", "vault", "low-rack")
    assert wheel.age_days(NOW) == pytest.approx(100)
    assert wheel.mass_at_make_kg == 22


def test_the_contents_of_a_room_are_told_by_style_and_stage(ledger: Ledger) -> None:
    """Three wheels of 100 days are in the stage 'old'; before day 60 they were 'young'."""
    wheels = ("HF-01", "HF-02", "HF-03")
    assert ledger.contents() == [Contents("vault", "low-rack", "clothed", "old", wheels)]
    assert ledger.contents(MADE + timedelta(days=30)) == [
        Contents("vault", "low-rack", "clothed", "young", wheels)
    ]


def test_a_move_ends_one_stay_and_begins_the_next(ledger: Ledger) -> None:
    """Where a wheel was follows from its moves, the last stay still open."""
    moved = NOW - timedelta(days=10)
    ledger.move("HF-01", "vault", "high-rack", moved, author="Piet")
    first, second = ledger.locations("HF-01")
    assert first[1] == "low-rack"
    assert first[3] == second[2]
    assert second[3] is None
    assert ledger.wheel("HF-01").place == "high-rack"


def test_a_move_entered_late_goes_where_its_date_says(ledger: Ledger) -> None:
    """A move of day 50 entered after one of day 90 lies before it."""
    ledger.move("HF-01", "vault", "high-rack", MADE + timedelta(days=90), author="Piet")
    ledger.move("HF-01", "vault", "high-rack", MADE + timedelta(days=50), author="Piet")
    starts = [start for _, _, start, _ in ledger.locations("HF-01")]
    assert starts == sorted(starts)
    assert len(starts) == 3


def test_what_was_seen_and_judged_stands_with_its_author(ledger: Ledger) -> None:
    """An inspection, an ironing and a grading are there with who said so and when."""
    ledger.inspect("HF-01", author="Nora", cracks=1, blue_under_cloth=0, where="top face")
    ledger.iron("HF-01", author="Nora", where="side, middle", sealed=False, back_of_iron=2, aroma=["nutty"])
    ledger.grade("HF-01", "hold back", "short at the back", date(2026, 6, 1), author="Nora")
    entries = {e.kind: e for e in ledger.history("HF-01")}
    assert entries["inspection"].details["cracks"] == 1
    assert entries["ironing"].details["sealed"] is False
    assert entries["grading"].details == {
        "decision": "hold back",
        "reason": "short at the back",
        "look_again_on": "2026-06-01",
    }
    assert {e.author for e in entries.values()} == {"Nora"}
    assert all(e.at.tzinfo is UTC for e in entries.values())
    wheel = ledger.wheel("HF-01")
    assert (wheel.holes, wheel.decision, wheel.look_again_on) == (1, "hold back", "2026-06-01")


def test_a_correction_is_a_new_entry_and_the_old_one_stays(ledger: Ledger) -> None:
    """A weighing mistyped is corrected; both are in the history, one of them stands."""
    (wrong,) = ledger.weigh("HF-01", 21.2, author="Nora")
    right = ledger.correct(wrong, author="Piet", mass_kg=21.02)
    history = {e.id: e for e in ledger.history("HF-01")}
    assert history[wrong].details["mass_kg"] == 21.2
    assert history[wrong].corrected_by == right
    assert not history[wrong].effective
    assert history[right].effective
    with pytest.raises(LedgerError):
        ledger.correct(wrong, author="Nora", mass_kg=21.1)


def test_an_undo_takes_back_and_can_itself_be_taken_back(ledger: Ledger) -> None:
    """A grading taken back no longer counts; undoing the undo brings it back."""
    (graded,) = ledger.grade("HF-01", "ready", "long and clean", author="Nora")
    (undone,) = ledger.undo(graded, author="Nora")
    assert ledger.wheel("HF-01").decision is None
    ledger.undo(undone, author="Nora")
    assert ledger.wheel("HF-01").decision == "ready"


def test_one_to_five_points_may_stand_beside_a_decision(ledger: Ledger) -> None:
    """Points in the style of ISO 22935-3, 5 as intended: given with a grading, or left out."""
    points = {"appearance": 4, "consistency": 5, "flavour": 3}
    ledger.grade("HF-01", "ready", "long and clean", author="Nora", scores=points)
    ledger.grade("HF-02", "ready", "long and clean", author="Nora")
    assert ledger.history("HF-01")[-1].details["scores"] == points
    assert "scores" not in ledger.history("HF-02")[-1].details


def test_a_sold_wheel_is_gone_from_its_room_but_not_from_the_ledger(ledger: Ledger) -> None:
    """After the sale the room holds two; the wheel's history stays."""
    ledger.sell("HF-03", NOW - timedelta(hours=1), author="Nora", mass_kg=20.4)
    assert [w.name for w in ledger.wheels()] == ["HF-01", "HF-02"]
    assert ledger.wheel("HF-03").gone_why == "sold"
    with pytest.raises(LedgerError):
        ledger.iron("HF-03", author="Nora", where="top")


@pytest.mark.parametrize(
    "attempt",
    [
        lambda book: book.add_make("HX", "clothed", MADE, ["HF-01"], author="Nora"),
        lambda book: book.add_make("HX", "clothed", MADE, ["HX-1", "HX-1"], author="Nora"),
        lambda book: book.grade("HF-01", "ready", author="Nora", scores={"appearance": 6}),
        lambda book: book.grade("HF-01", "ready", author="Nora", scores={"charm": 5}),
        lambda book: book.add_make("HX", "blue-veined", MADE, ["HX-1"], author="Nora"),
        lambda book: book.move("HF-01", "vault", "high-rack", MADE - timedelta(days=1), author="Nora"),
        lambda book: book.move("HF-01", "attic", "high-rack", author="Nora"),
        lambda book: book.move("HF-01", "vault", "attic", author="Nora"),
        lambda book: book.weigh("HF-01", 215.0, author="Nora"),
        lambda book: book.weigh("HF-01", float("nan"), author="Nora"),
        lambda book: book.weigh("HF-01", 21.0, NOW + timedelta(days=3), author="Nora"),
        lambda book: book.inspect("HF-01", author="Nora", cracks=5),
        lambda book: book.inspect("HF-01", author="Nora", holes=1),
        lambda book: book.grade("HF-01", "perfect", author="Nora"),
        lambda book: book.remark("HF-01", "x" * 10_001, author="Nora"),
        lambda book: book.remark("HF-01", "zero \x00 byte", author="Nora"),
        lambda book: book.remark("HF-01", "who?", author="  "),
    ],
)
def test_nonsense_is_refused_whole(ledger: Ledger, attempt) -> None:
    """Each of seventeen impossible entries is refused with a reason, and nothing is written."""
    before = ledger.revision()
    with pytest.raises(LedgerError) as refusal:
        attempt(ledger)
    assert str(refusal.value)
    assert ledger.revision() == before


def test_a_surprising_weight_is_asked_about(ledger: Ledger) -> None:
    """A wheel that lost half since it was made may be so, but only if the person is sure."""
    with pytest.raises(LedgerDoubt):
        ledger.weigh("HF-01", 11.0, author="Nora")
    assert ledger.weigh("HF-01", 11.0, author="Nora", sure=True)


def test_one_bad_name_among_many_writes_for_none(ledger: Ledger) -> None:
    """Turning forty wheels with one name misspelt turns none in the ledger."""
    with pytest.raises(UnknownWheel, match="HF-99"):
        ledger.work(["HF-01", "HF-02", "HF-99"], "turning", author="Nora")
    assert "turning" not in kinds(ledger, "HF-01")


@pytest.mark.parametrize(
    "name", ["<script>alert(1)</script>", "Robert'); DROP TABLE entries;--", "🧀 " * 100, "=cmd()"]
)
def test_hostile_names_are_only_names(ledger: Ledger, name: str) -> None:
    """Markup, quotes, formulas and emoji are stored as they are and read back the same."""
    ledger.add_make("H2", "clothed", MADE, [name], author=name, room="vault", place="low-rack")
    wheel = ledger.wheel(name.strip())
    assert wheel.name == name.strip()
    assert len(ledger.wheels()) == 4


def test_three_people_at_once_lose_nothing(tmp_path: Path, database: str | None) -> None:
    """Three ledgers on one database, sixty entries at once: sixty are there."""
    books = [make_ledger(tmp_path, database) for _ in range(3)]

    def write(number: int) -> None:
        books[number % 3].remark(f"HF-0{1 + number % 3}", f"note {number}", author=f"person {number % 3}")

    with ThreadPoolExecutor(6) as pool:
        list(pool.map(write, range(60)))
    notes = [
        e.details["note"]
        for w in ("HF-01", "HF-02", "HF-03")
        for e in books[0].history(w)
        if e.kind == "note"
    ]
    assert sorted(notes) == sorted(f"note {n}" for n in range(60))


def test_a_correction_of_what_another_has_corrected_is_refused(ledger: Ledger) -> None:
    """Two people correct one weighing: the second is told of the first, and nothing is overwritten unseen."""
    (weighing,) = ledger.weigh("HF-01", 21.5, NOW - timedelta(days=50), author="Nora")
    ledger.correct(weighing, author="Nora", mass_kg=21.4)
    with pytest.raises(LedgerError, match="was corrected by 'Nora'"):
        ledger.correct(weighing, author="Ewan", mass_kg=21.3)
    masses = [e.details["mass_kg"] for e in ledger.history("HF-01") if e.kind == "weighing" and e.effective]
    assert masses == [21.4]


def test_what_another_has_taken_back_is_not_taken_back_again(ledger: Ledger) -> None:
    """Two pages show one grading; the second to take it back is told who did so already."""
    (graded,) = ledger.grade("HF-01", "ready", "long and clean", author="Nora")
    ledger.undo(graded, author="Piet")
    before = ledger.revision()
    with pytest.raises(LedgerError, match=r"taken back by 'Piet' .*look again first"):
        ledger.undo(graded, author="Imelda")
    assert ledger.revision() == before


def test_the_database_itself_keeps_entries_as_they_are(ledger: Ledger) -> None:
    """A change or removal past the program is refused by the database."""
    for statement in ("UPDATE entries SET author = 'x'", "DELETE FROM entries"):
        with (
            pytest.raises(LedgerError, match="never changed or removed"),
            ledger.database.writing() as connection,
        ):
            connection.exec_driver_sql(statement)
    assert {e.author for e in ledger.history("HF-01")} == {"Nora"}


def test_a_make_added_by_mistake_goes_whole_and_frees_its_names(ledger: Ledger) -> None:
    """A make that was typed twice is taken back with all its wheels, and the names can be used again."""
    first, *_ = ledger.add_make(
        "HG", "clothed", MADE, ["HG-01"], author="Nora", room="vault", place="low-rack"
    )
    ledger.undo_batch(ledger.entry(first).batch, author="Nora")
    with pytest.raises(UnknownWheel):
        ledger.wheel("HG-01")
    ledger.add_make("HG", "clothed", MADE, ["HG-01"], author="Nora")
    assert ledger.wheel("HG-01").room is None


def test_a_ledger_of_a_newer_version_is_refused(tmp_path: Path, database: str | None) -> None:
    """A ledger that a later version has changed is left alone, with a reason."""
    with make_ledger(tmp_path, database) as ledger, ledger.database.writing() as connection:
        connection.exec_driver_sql("INSERT INTO ledger_migrations VALUES ('of the year 2099', 0)")
    with pytest.raises(LedgerError, match="newer version"):
        make_ledger(tmp_path, database)
