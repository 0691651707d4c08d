"""Benchmarks: figures taken against a named baseline in one and the same run."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """One measured figure beside its baseline.

    ``ratio`` says how the figure compares with the baseline, in the sense that ``goal`` states.
    """

    name: str
    value: float
    unit: str
    baseline_name: str
    baseline: float
    ratio: float
    goal: str = ""
    note: str = ""
