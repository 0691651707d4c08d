"""The ledger as CSV: read whole or not at all, with every fault by row and column; written so it can be read again."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.errors import LedgerError
from monitor.wheels import Ledger
from monitor.wheels.csv_files import rows_of
from monitor.wheels.writing import Refused
from tests.wheels.samples import make_ledger

HEAD = "at,kind,author,make,wheel,style,room,place,mass_kg,cracks,note\n"
MAKE = "2026-01-05T08:00:00Z,make,Nora,K1,K1-01,clothed,,,22,,\n"


def rows(*lines: str) -> list[dict[str, str]]:
    return rows_of((HEAD + "".join(lines)).encode())


def test_a_file_with_a_make_and_its_moves_is_entered(ledger: Ledger) -> None:
    ledger.load(rows(MAKE, "2026-01-06T08:00:00Z,move,Nora,,K1-01,,vault,low-rack,,,\n"))
    assert ledger.wheel("K1-01").place == "low-rack"


def test_one_bad_row_among_ten_thousand_is_named_and_nothing_is_written(ledger: Ledger) -> None:
    """Row 5,002 says a crack of 7 on a scale of 0 to 4."""
    good = "2026-01-20T08:00:00Z,note,Nora,,HF-01,,,,,,fine\n"
    bad = "2026-01-20T08:00:00Z,inspection,Nora,,HF-01,,,,,7,\n"
    before = ledger.revision()
    with pytest.raises(
        Refused, match="row 5002, inspection: cracks: 7 is outside the scale of 0 to 4"
    ) as refused:
        ledger.load(rows(*[good] * 5000, bad, *[good] * 4999))
    assert len(refused.value.faults) == 1
    assert ledger.revision() == before


def test_every_fault_is_listed_at_once(ledger: Ledger) -> None:
    """A wrong time, a wrong kind and an unknown wheel in one file."""
    with pytest.raises(Refused) as refused:
        ledger.load(
            rows("yesterday,note,Nora,,HF-01,,,,,,x\n", "2026-01-20T08:00:00Z,polishing,Nora,,HF-01,,,,,,\n")
        )
    assert [fault.row for fault in refused.value.faults] == [2, 3]
    with pytest.raises(Refused, match="row 2: no wheel is called 'HF-99'"):
        ledger.load(rows("2026-01-20T08:00:00Z,note,Nora,,HF-99,,,,,,x\n"))


def test_a_doubtful_weighing_in_a_file_names_its_row(ledger: Ledger) -> None:
    with pytest.raises(LedgerError, match="row 3: 'HF-01': weighing of 220 kg"):
        ledger.load(
            rows(
                "2026-01-20T08:00:00Z,note,Nora,,HF-01,,,,,,x\n",
                "2026-01-20T08:00:00Z,weighing,Nora,,HF-01,,,,220,,\n",
            )
        )


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        ("at,kind,author,wheel\n2026,note,Zo\u00eb,x\n".encode("latin-1"), "row 2, author: not UTF-8"),
        ((HEAD + MAKE).encode("utf-16"), "not UTF-8"),
        (b"at,kind,author\n", "lacks the column 'wheel'"),
        (b"at,kind,author,wheel,weight\n", "no column is called 'weight'"),
        (b"", "lacks the column"),
        (b'at,kind,author,wheel\n"a,b', "not CSV"),
    ],
)
def test_a_file_that_is_not_such_a_csv_is_refused_with_the_reason(content: bytes, reason: str) -> None:
    with pytest.raises(LedgerError, match=reason):
        rows_of(content)


def test_one_letter_of_another_encoding_among_ten_thousand_rows_is_named(ledger: Ledger) -> None:
    """Row 5,002 was typed on an old machine: an e with two dots in the column "author"."""
    good = "2026-01-20T08:00:00Z,note,Nora,,HF-01,,,,,,fine\n"
    content = "".join([HEAD, *[good] * 5000, good.replace("Nora", "Zo\u00eb"), *[good] * 4999])
    before = ledger.revision()
    with pytest.raises(LedgerError, match="row 5002, author: not UTF-8 text; save it as CSV UTF-8"):
        ledger.load(rows_of(content.encode("latin-1")))
    assert ledger.revision() == before


def test_a_check_says_what_a_load_would_and_writes_nothing(ledger: Ledger) -> None:
    before = ledger.revision()
    assert ledger.check_rows(rows(MAKE)) == 1
    assert ledger.revision() == before
    ledger.load(rows(MAKE))


def test_what_is_written_reads_back_the_same(ledger: Ledger, tmp_path: Path) -> None:
    """Formula-like, quoted, many-line and emoji text comes through a file unchanged, and only what stands does."""
    hostile = ["=1+1", "'=1", "-2", "@x", 'a "b", c', "line\nline", "\U0001f9c0", "'twas"]
    for note in hostile:
        ledger.remark("HF-01", note, author="Nora")
    (wrong,) = ledger.weigh("HF-01", 21, author="Nora")
    ledger.correct(wrong, author="Nora", mass_kg=21.25)
    ledger.iron("HF-02", author="Nora", where="top face", sealed=False, aroma=["hay", "broth"], body=3)
    text = ledger.as_csv()
    with make_ledger_empty(tmp_path / "again") as again:
        again.load(rows_of(text.encode()))
        for wheel in ("HF-01", "HF-02", "HF-03"):
            stands = [(e.kind, e.at_ms, e.author, e.details) for e in ledger.history(wheel) if e.effective]
            assert sorted(map(str, stands)) == sorted(
                str((e.kind, e.at_ms, e.author, e.details)) for e in again.history(wheel) if e.effective
            )


def make_ledger_empty(folder: Path) -> Ledger:
    """A ledger of the same site without any wheels."""
    folder.mkdir()
    ledger = make_ledger(folder)
    ledger.undo_batch(ledger.history("HF-01")[0].batch, author="Nora")
    return ledger
