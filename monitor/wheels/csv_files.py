"""The ledger as CSV: checked whole before anything is written, every fault named by row and column.

One row is one entry about one wheel; the columns are in `COLUMNS` and described in docs/wheels.md.  A make
takes one row per wheel (kind ``make``, the same ``make``, ``style`` and ``at`` in each).  Cells that a
spreadsheet would take for a formula are written with a leading apostrophe and read back without it.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from monitor.clock import parse_rfc3339, rfc3339
from monitor.errors import LedgerError
from monitor.wheels.entries import KINDS, Entry
from monitor.wheels.lines import Wheel
from monitor.wheels.writing import Draft, Fault, NewMake, Refused

Drafter = Callable[..., Draft]
"""Makes a draft of what is said of one wheel or make, as `monitor.wheels.ledger.Ledger.draft` does."""
KEY_COLUMNS = ("id", "at", "kind", "author", "make", "wheel", "corrects")
LIST_COLUMNS = ("aroma", "flavour", "photos")
"""Cells holding several words, parted by ``;``."""
YES_NO_COLUMNS = ("sealed", "raw_milk")
WHOLE_COLUMNS = frozenset(
    {
        "cloth",
        "cracks",
        "blue_surface",
        "blue_under_cloth",
        "blue_at_plug",
        "mites",
        "slip",
        "soft_spots",
        "weeping",
        "bulging",
        "moulds",
        "rind_colour",
        "back_of_iron",
        "body",
        "texture",
        "paste_colour",
        "crystals",
        "off_aroma",
    }
)
DETAIL_COLUMNS = tuple(dict.fromkeys(name for model in KINDS.values() for name in model.model_fields))
COLUMNS = KEY_COLUMNS + DETAIL_COLUMNS
"""Every column, in the order written.  A file may leave out any but ``at``, ``kind``, ``author`` and ``wheel``."""
NEEDED_COLUMNS = ("at", "kind", "author", "wheel")
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "'")
LARGEST_FILE_BYTES = 50_000_000
UTF8_MARK = b"\xef\xbb\xbf".decode("latin-1")
FIRST_ROW = 2
"""The row number of the first row under the header, as a spreadsheet counts."""


def read_rows(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file (UTF-8, comma or semicolon).

    Raises
    ------
    LedgerError
        It cannot be read, is not UTF-8 (says where), lacks a column, or has one that is not known.
    """
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise LedgerError(f"{path}: over {LARGEST_FILE_BYTES // 1_000_000} MB; split the file")
        return rows_of(path.read_bytes(), str(path))
    except OSError as error:
        raise LedgerError(f"{path}: cannot be read: {error.strerror}") from None


def rows_of(content: bytes, name: str = "file") -> list[dict[str, str]]:
    """As `read_rows`, for bytes already read."""
    text = _decoded(content, name)
    head = text.split("\n", 1)[0]
    reader = csv.reader(
        io.StringIO(text, newline=""),
        delimiter=_delimiter(head),
        strict=True,
    )
    rows: list[dict[str, str]] = []
    faults: list[Fault] = []
    try:
        header = [cell.strip() for cell in next(reader, [])]
        _check_header(header, name)
        for number, cells in enumerate(reader, start=FIRST_ROW):
            if len(cells) > len(header):
                faults.append(Fault(number, f"row {number}: {len(cells)} cells under {len(header)} columns"))
            rows.append({key: _plain(cell) for key, cell in zip(header, cells, strict=False)})
    except csv.Error as error:
        raise LedgerError(f"{name}, line {reader.line_num}: not CSV: {error}") from None
    if faults:
        raise Refused(faults)
    return rows


def _decoded(content: bytes, name: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row, column = _where(content, error.start)
        raise LedgerError(
            f"{name}, row {row}, {column}: not UTF-8 text; save it as CSV UTF-8 and try again"
        ) from None


def _where(content: bytes, position: int) -> tuple[int, str]:
    """Row and name of the column of a byte of a file that is not UTF-8; every byte is a letter of some kind here."""
    text = content[:position].decode("latin-1").removeprefix(UTF8_MARK)
    head = content.decode("latin-1").removeprefix(UTF8_MARK).split("\n", 1)[0].strip()
    delimiter = _delimiter(head)
    rows = list(csv.reader(io.StringIO(text + "x", newline=""), delimiter=delimiter))
    columns = head.split(delimiter)
    number = len(rows[-1]) - 1
    named = len(rows) > 1 and number < len(columns)
    return len(rows), columns[number].strip() if named else f"cell {number + 1}"


def _delimiter(head: str) -> str:
    return ";" if head.count(";") > head.count(",") else ","


def _check_header(header: Sequence[str], name: str) -> None:
    lacking = [column for column in NEEDED_COLUMNS if column not in header]
    if lacking:
        raise LedgerError(
            f"{name}: the first row lacks the column {lacking[0]!r}; it needs {', '.join(NEEDED_COLUMNS)}"
        )
    unknown = [column for column in header if column not in COLUMNS]
    if unknown:
        raise LedgerError(f"{name}: no column is called {unknown[0]!r}; the columns are {', '.join(COLUMNS)}")
    double = [column for column in header if header.count(column) > 1]
    if double:
        raise LedgerError(f"{name}: two columns are called {double[0]!r}")


@dataclass
class _Reading:
    """What has been gathered while going through the rows."""

    makes: dict[str, tuple[int, dict[str, str], list[str]]] = field(default_factory=dict)
    drafts: list[Draft] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    checked: set[tuple[str, ...]] = field(default_factory=set)


def drafts_of(
    drafter: Drafter, rows: Sequence[dict[str, str]], batch: str, sure: bool
) -> tuple[list[NewMake], list[Draft]]:
    """Makes and drafts that rows of a file come to.

    Raises
    ------
    Refused
        ``faults`` lists every fault by row and column.
    """
    reading = _Reading()
    for number, row in enumerate(rows, start=FIRST_ROW):
        for message in _take(drafter, reading, number, row, batch, sure):
            reading.faults.append(Fault(number, f"row {number}, {message}"))
    if reading.faults:
        raise Refused(reading.faults)
    makes = [NewMake(name, tuple(wheels), row) for name, (row, _, wheels) in reading.makes.items()]
    return makes, reading.drafts


def _take(
    drafter: Drafter, reading: _Reading, number: int, row: dict[str, str], batch: str, sure: bool
) -> Iterator[str]:
    """Lay one row into the reading; yield what is wrong with it, column first."""
    kind = row.get("kind", "").strip()
    if kind not in KINDS or kind == "undo":
        yield f"kind: {kind!r} is not a kind of entry; choose from {', '.join(k for k in KINDS if k != 'undo')}"
        return
    if (row.get("corrects") or "").strip():
        yield "corrects: a file can add entries, not correct them; leave it empty"
        return
    said, wrong = _said(row)
    yield from wrong
    if wrong:
        return
    try:
        at = parse_rfc3339(row.get("at", "").strip())
    except ValueError:
        yield f"at: {row.get('at', '')[:40]!r} is not a time with its offset; write for example 2026-03-01T06:00:00Z"
        return
    if kind == "make":
        yield from _take_make(drafter, reading, number, row, at, said, batch)
        return
    try:
        draft = drafter(
            kind, at, row.get("author", ""), said, wheel=row.get("wheel", ""), batch=batch, sure=sure
        )
    except LedgerError as error:
        yield str(error)
        return
    reading.drafts.append(replace(draft, row=number))


def _take_make(
    drafter: Drafter,
    reading: _Reading,
    number: int,
    row: dict[str, str],
    at: datetime,
    said: dict[str, Any],
    batch: str,
) -> Iterator[str]:
    name, wheel = row.get("make", "").strip(), row.get("wheel", "").strip()
    if not name or not wheel:
        yield "make: a row of kind make names its make and one of its wheels"
        return
    if name in reading.makes:
        first, first_row, wheels = reading.makes[name]
        for column in ("at", "style"):
            if first_row.get(column, "") != row.get(column, ""):
                yield f"{column}: {row.get(column, '')[:40]!r} differs from row {first} of the same make"
        wheels.append(wheel)
        return
    try:
        draft = drafter("make", at, row.get("author", ""), said, make=name, batch=batch)
    except LedgerError as error:
        yield str(error)
        return
    reading.makes[name] = (number, row, [wheel])
    reading.drafts.append(replace(draft, row=number))


def _said(row: dict[str, str]) -> tuple[dict[str, Any], list[str]]:
    """The details a row says, and what is wrong with its cells."""
    said: dict[str, Any] = {}
    wrong: list[str] = []
    for column in DETAIL_COLUMNS:
        cell = row.get(column, "")
        if not cell.strip():
            continue
        try:
            said[column] = _value(column, cell)
        except ValueError as error:
            wrong.append(f"{column}: {error}")
    return said, wrong


def details_of(cells: dict[str, str]) -> dict[str, Any]:
    """Details from cells named by column, as a file or a command line gives them.

    Raises
    ------
    LedgerError
        A column is not known, or a cell cannot be read.
    """
    unknown = [column for column in cells if column not in DETAIL_COLUMNS]
    if unknown:
        raise LedgerError(f"nothing is called {unknown[0]!r}; choose from {', '.join(DETAIL_COLUMNS)}")
    said, wrong = _said(cells)
    if wrong:
        raise LedgerError("; ".join(wrong))
    return said


def ledger_text(wheels: Sequence[Wheel], histories: Mapping[str, Sequence[Entry]]) -> str:
    """Every entry that stands, as CSV: makes with their wheels first, then the rest in order of time.

    Parameters
    ----------
    wheels : all of them, those that are gone too
    histories : the entries about each wheel, by its name
    """
    of_make: dict[str, list[str]] = {}
    for wheel in wheels:
        of_make.setdefault(wheel.make, []).append(wheel.name)
    unique: dict[int, Entry] = {}
    for entries in histories.values():
        unique.update({entry.id: entry for entry in entries if entry.effective})
    ordered = sorted(unique.values(), key=lambda entry: (entry.kind != "make", entry.at_ms, entry.id))
    return write_rows(ordered, of_make)


def _value(column: str, cell: str) -> Any:
    if column in LIST_COLUMNS:
        return [part.strip() for part in cell.split(";") if part.strip()]
    if column in YES_NO_COLUMNS:
        if cell.strip().lower() not in ("yes", "no"):
            raise ValueError(f"{cell[:40]!r}: write yes or no")
        return cell.strip().lower() == "yes"
    if column == "other_moulds":
        return [_mould(part) for part in cell.split(";") if part.strip()]
    if column == "scores":
        return {
            name.strip(): score.strip()
            for name, _, score in (part.partition(":") for part in cell.split(";"))
        }
    return cell


def _mould(text: str) -> dict[str, Any]:
    parts = [part.strip() for part in text.split(":")]
    if len(parts) != 3:
        raise ValueError(f"{text[:40]!r}: write colour:texture:0-4, for example grey:velvety:2")
    return {"colour": parts[0], "texture": parts[1], "how_much": parts[2]}


def write_rows(entries: Iterable[Entry], wheels_of_make: dict[str, list[str]] | None = None) -> str:
    """Entries as CSV text with every column; makes as one row per wheel where their wheels are given."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for entry in entries:
        names = (wheels_of_make or {}).get(entry.make, [""]) if entry.wheel is None else [entry.wheel]
        for name in names:
            writer.writerow({key: _guarded(cell) for key, cell in _cells(entry, name).items()})
    return out.getvalue()


def _cells(entry: Entry, wheel: str) -> dict[str, str]:
    cells = {
        "id": str(entry.id),
        "at": rfc3339(entry.at_ms) or "",
        "kind": entry.kind,
        "author": entry.author,
        "make": entry.make,
        "wheel": wheel,
        "corrects": "",
    }
    return {**cells, **{name: _cell(name, value) for name, value in entry.details.items()}}


def _cell(column: str, value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if column == "other_moulds":
        return "; ".join(
            f"{m.get('colour', '')}:{m.get('texture', '')}:{m.get('how_much', 1)}" for m in value
        )
    if column == "scores":
        return "; ".join(f"{name}:{score}" for name, score in value.items())
    if isinstance(value, list):
        return "; ".join(value)
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def _guarded(cell: str) -> str:
    return "'" + cell if cell.startswith(FORMULA_STARTS) else cell


def _plain(cell: str) -> str:
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(FORMULA_STARTS) else cell
