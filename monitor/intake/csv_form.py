"""How a logger's CSV file is written: delimiter, decimal sign, times, columns and units, told from its first part."""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from monitor.errors import ReadingError
from monitor.intake.csv_words import quantity_of
from monitor.intake.units import conversion

SAMPLE_BYTES = 400_000
SAMPLE_ROWS = 2_000
Order = Literal["year-first", "day-first", "month-first", "epoch-s", "epoch-ms"]

_DELIMITERS = (";", "\t", ",", "|")
_CLOCK = r"\d{1,2}[:.]\d{2}(?:[:.]\d{2}(?:[.,]\d+)?)?(?:\s*[AaPp]\.?[Mm]\.?)?"
_ZONE = r"(?:\s*(?:Z|[+-]\d{2}:?\d{2}))?"
_YEAR_FIRST = re.compile(rf"\d{{4}}[-/.]\d{{1,2}}[-/.]\d{{1,2}}(?:[T ,]+{_CLOCK}{_ZONE})?")
_YEAR_LAST = re.compile(rf"(\d{{1,2}})[-/. ](\d{{1,2}})[-/. ](?:\d{{4}}|\d{{2}})(?:[T ,]+{_CLOCK})?")
_ONLY_CLOCK = re.compile(_CLOCK)
_EPOCH = re.compile(r"(\d{10})(?:\.\d+)?|(\d{13})")
_NUMBER = re.compile(r"[+-]?\d{1,9}(?:[.,]\d{1,12})?")


@dataclass(frozen=True)
class Column:
    """A column that is read: its place (from 0), its heading, and what it measures in which unit."""

    at: int
    heading: str
    quantity: str
    unit: str


@dataclass(frozen=True)
class Form:
    """How a file is written.

    ``times`` are one column (date and time together) or two (date, then time); ``doubts`` say what could be taken
    more than one way and has to be stated or confirmed.
    """

    encoding: str
    delimiter: str
    decimal: str
    first_row: int
    fields: int
    times: tuple[int, ...]
    order: Order
    has_offset: bool
    columns: tuple[Column, ...]
    sensor_column: int | None = None
    quantity_column: int | None = None
    doubts: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class Stated:
    """What the user states; it goes before what the file looks like."""

    delimiter: str | None = None
    decimal: str | None = None
    order: Order | None = None
    units: dict[str, str] = field(default_factory=dict)
    columns: dict[str, str] = field(default_factory=dict)
    """Heading or number (from 1) of the column that holds a quantity, by quantity."""


def form_of(path: Path, stated: Stated | None = None) -> Form:
    """How a file is written.

    Raises
    ------
    ReadingError
        It cannot be told; the text says what to state.
    """
    wanted = stated or Stated()
    encoding, text = _text_of(path)
    candidates = [wanted.delimiter] if wanted.delimiter else list(_DELIMITERS)
    formed = [f for d in candidates if (f := _with_delimiter(text, encoding, d, wanted))]
    if not formed:
        raise ReadingError(
            f"{path}: no column of dates with a column of numbers beside it; is it a CSV file with a date in every row?"
        )
    best = max(
        formed, key=lambda f: (len(f.columns) > 0, f.quantity_column is not None, len(f.columns), f.fields)
    )
    if not best.columns:
        raise ReadingError(
            f"{path}: no column's heading says temperature, humidity or another quantity; "
            "state it, for example: --column humidity=3"
        )
    return best


def _text_of(path: Path) -> tuple[str, str]:
    try:
        with path.open("rb") as stream:
            data = stream.read(SAMPLE_BYTES)
    except OSError as error:
        raise ReadingError(f"{path}: cannot be read: {error.strerror}") from error
    if not data.strip():
        raise ReadingError(f"{path}: the file is empty")
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return encoding, data.decode(encoding, "ignore")
    if b"\x00" in data:
        raise ReadingError(f"{path}: this is no text file (it holds zero bytes); save it as CSV first")
    try:
        return "utf-8", data.decode("utf-8", "strict" if len(data) < SAMPLE_BYTES else "ignore")
    except UnicodeDecodeError:
        return "cp1252", data.decode("cp1252", "replace")


def _with_delimiter(text: str, encoding: str, delimiter: str, stated: Stated) -> Form | None:
    rows = list(_rows(text, delimiter))
    widths = Counter(len(row) for row in rows[len(rows) // 2 :] if len(row) > 1)
    if not widths:
        return None
    fields = widths.most_common(1)[0][0]
    first = next((n for n, row in enumerate(rows) if len(row) == fields and _times_in(row)), None)
    if first is None:
        return None
    body = [row for row in rows[first:] if len(row) == fields]
    times = _times_in(body[0])
    order, doubt = _order(body, times, stated.order)
    headings = rows[first - 1] if first and len(rows[first - 1]) == fields else [""] * fields
    headings = [h.strip() for h in headings]
    decimal = stated.decimal or _decimal(body, times, delimiter)
    columns, doubts = _columns(headings, body, times, decimal, stated)
    lower = [h.lower() for h in headings]
    long = {"sensor", "quantity", "value"} <= set(lower)
    return Form(
        encoding=encoding,
        delimiter=delimiter,
        decimal=decimal,
        first_row=first,
        fields=fields,
        times=times,
        order=order,
        has_offset=bool(re.search(r"(Z|[+-]\d{2}:?\d{2})$", body[0][times[-1]].strip()))
        and order == "year-first",
        columns=(Column(lower.index("value"), "value", "", ""),) if long else columns,
        sensor_column=lower.index("sensor") if "sensor" in lower else None,
        quantity_column=lower.index("quantity") if long else None,
        doubts=tuple(d for d in (doubt, *(() if long else doubts)) if d),
    )


def _rows(text: str, delimiter: str) -> Iterator[list[str]]:
    lines = text.splitlines()
    whole = lines if text.endswith(("\n", "\r")) or len(lines) < 3 else lines[:-1]
    try:
        yield from csv.reader(io.StringIO("\n".join(whole[:SAMPLE_ROWS])), delimiter=delimiter)
    except csv.Error:
        return


def _times_in(row: Sequence[str]) -> tuple[int, ...]:
    """The column of date and time in a row, or the two columns that hold them, or nothing."""
    for at, cell in enumerate(row):
        text = cell.strip()
        if _EPOCH.fullmatch(text):
            return (at,)
        if not (_YEAR_FIRST.fullmatch(text) or _YEAR_LAST.fullmatch(text)):
            continue
        if ":" in text or re.search(r"[T ,]+\d{1,2}\.\d{2}", text):
            return (at,)
        following = row[at + 1].strip() if at + 1 < len(row) else ""
        if ":" in following and _ONLY_CLOCK.fullmatch(following):
            return (at, at + 1)
    return ()


def _order(body: Sequence[Sequence[str]], times: tuple[int, ...], stated: Order | None) -> tuple[Order, str]:
    cells = [row[times[0]].strip() for row in body]
    if match := _EPOCH.fullmatch(cells[0]):
        return ("epoch-s" if match[1] else "epoch-ms"), ""
    if _YEAR_FIRST.fullmatch(cells[0]):
        return "year-first", ""
    if stated is not None:
        return stated, ""
    pairs = [(int(m[1]), int(m[2])) for cell in cells if (m := _YEAR_LAST.fullmatch(cell))]
    if any(first > 12 for first, _ in pairs):
        return "day-first", ""
    if any(second > 12 for _, second in pairs):
        return "month-first", ""
    # Time goes on a day at a time: the number that changes more often is the day.
    first_moves = sum(a[0] != b[0] for a, b in itertools.pairwise(pairs))
    second_moves = sum(a[1] != b[1] for a, b in itertools.pairwise(pairs))
    if first_moves != second_moves:
        return ("day-first" if first_moves > second_moves else "month-first"), ""
    return (
        "day-first",
        f"{cells[0]!r} may be day/month or month/day: state --order day-first or --order month-first",
    )


def _decimal(body: Sequence[Sequence[str]], times: tuple[int, ...], delimiter: str) -> str:
    if delimiter == ",":
        return "."
    cells = [c.strip() for row in body[:200] for at, c in enumerate(row) if at not in times]
    numbers = [c for c in cells if _NUMBER.fullmatch(c)]
    return "," if sum("," in c for c in numbers) > sum("." in c for c in numbers) else "."


def _columns(
    headings: Sequence[str],
    body: Sequence[Sequence[str]],
    times: tuple[int, ...],
    decimal: str,
    stated: Stated,
) -> tuple[tuple[Column, ...], list[str]]:
    columns: list[Column] = []
    doubts: list[str] = []
    for quantity, named in stated.columns.items():
        at = _column_named(named, headings)
        unit = stated.units.get(quantity) or (quantity_of(headings[at]) or ("", ""))[1]
        columns.append(Column(at, headings[at] or f"column {at + 1}", quantity, unit))
    for at, heading in enumerate(headings):
        found = quantity_of(heading)
        if at in times or found is None or any(c.at == at for c in columns):
            continue
        if any(c.quantity == found[0] for c in columns):
            if found[0] not in stated.columns:
                doubts.append(
                    f"{heading!r} is a second column of {found[0]} and is left out: state --column {found[0]}=..."
                )
            continue
        columns.append(Column(at, heading, found[0], stated.units.get(found[0]) or found[1]))
    guessed = [_with_unit(c, body, decimal) for c in columns]
    doubts += [doubt for _, doubt in guessed if doubt]
    return tuple(c for c, _ in guessed), doubts


def _column_named(named: str, headings: Sequence[str]) -> int:
    if named.isdigit() and 1 <= int(named) <= len(headings):
        return int(named) - 1
    fitting = [n for n, heading in enumerate(headings) if heading.strip().lower() == named.strip().lower()]
    if len(fitting) != 1:
        raise ReadingError(
            f"no one column is called {named!r}; the columns are {', '.join(h or '(no name)' for h in headings)}"
        )
    return fitting[0]


def _with_unit(column: Column, body: Sequence[Sequence[str]], decimal: str) -> tuple[Column, str]:
    """The column with a unit; guessed from its values where neither heading nor user says it."""
    if column.unit:
        if conversion(column.quantity, column.unit) is None:
            raise ReadingError(f"{column.unit!r} is not a unit of {column.quantity}")
        return column, ""
    values = [
        float(c.replace(decimal, ".")) for row in body if _NUMBER.fullmatch(c := row[column.at].strip())
    ]
    middle = sorted(values)[len(values) // 2] if values else 0.0
    guess = ""
    if column.quantity in ("temperature", "surface_temperature"):
        guess = "K" if middle > 200 else "degF" if middle > 32 else ""
    if column.quantity == "humidity" and values and max(values) <= 1.0:
        guess = "/"
    doubt = (
        f"{column.heading!r} names no unit and looks like {guess}: state --unit {column.quantity}=..."
        if guess
        else ""
    )
    return Column(column.at, column.heading, column.quantity, guess), doubt
