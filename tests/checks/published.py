"""Reads the tables of published values that the checks are made against."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path

DATA = Path(__file__).parent / "data"


@dataclass(frozen=True)
class Row:
    """One published value: what, for which inputs, how near it must come, and from where."""

    quantity: str
    inputs: str
    expected: str
    unit: str
    tolerance: str
    source: str

    def number(self, name: str) -> float:
        """The input called so, as in ``t=12 degC; RH=85 %``."""
        found = re.search(rf"(?:^|[;\s]){re.escape(name)}=(-?[\d.]+)", self.inputs)
        assert found, f"no {name} in {self.inputs!r}"
        return float(found[1])

    def matches(self, computed: float) -> bool:
        """Whether a computed number is within the row's own tolerance.

        Where the value was printed with fewer digits than its tolerance, half its last digit is allowed.
        """
        kind, size, *_ = self.tolerance.split()
        expected = float(self.expected)
        allowed = float(size) * (abs(expected) if kind == "rel" else 1.0)
        return abs(computed - expected) <= max(allowed, 0.5001 * self.last_digit())

    def last_digit(self) -> float:
        """The worth of the last digit printed."""
        mantissa, _, exponent = self.expected.lower().partition("e")
        return 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2]))


def rows(table: str) -> list[Row]:
    """Every row of one table."""
    with (DATA / f"{table}.csv").open(encoding="utf-8") as handle:
        return [
            Row(*(line[k] for k in ("quantity", "inputs", "expected", "unit", "tolerance", "source")))
            for line in csv.DictReader(handle)
        ]


def label(row: Row) -> str:
    """A test name that says what is checked."""
    return f"{row.quantity}|{row.inputs}"
