"""What a model may know of a wheel between two looks: doses of its air so far and of late, and ways in for air.

The lists are laid down here, before any wheel is looked at: few enough that some dozens of wheels can bear them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from monitor.clock import DAY_MS
from monitor.link.exposure import YOUNG_DAYS, Exposures
from monitor.link.life import Life
from monitor.link.sightings import Look, Sight, looks_for, sight_of
from monitor.link.twin_course import HARD_POWER

LEAST_COVERAGE = 0.5
"""A dose of which less than this share of its time is known says nothing."""
LEAST_HARD = 0.3
"""Added to drying before its log is taken, so that it makes no difference how little a rind at ease dries [-]."""
FAULTS: dict[str, str] = {
    "cracks": "cracks",
    "blue_under_cloth": "blue under the cloth",
    "mites": "mites",
    "slip": "slip",
}
"""The faults that are related to the air, by the name of their scale, in words."""
MITES_FROM_STEP = 2


@dataclass(frozen=True)
class Moment:
    """A wheel between two looks."""

    exposures: Exposures
    life: Life
    from_ms: int
    to_ms: int
    way_in_ms: int | None

    def rate(self, dose: str, from_ms: int, to_ms: int) -> float:
        """Mean rate of a dose [1/d]; NaN where too little of the span is known."""
        span = self.exposures.between(self.life, dose, from_ms, to_ms)
        mean = span.mean_rate
        return np.nan if mean is None or span.coverage < LEAST_COVERAGE else mean

    def late(self, dose: str) -> float:
        """Mean rate since the last look."""
        return self.rate(dose, self.from_ms, self.to_ms)

    def so_far(self, dose: str, from_ms: int | None = None) -> float:
        """The dose since the make, or since a moment; unknown time counts at the mean rate."""
        start = self.life.made_ms if from_ms is None else min(from_ms, self.to_ms)
        days = (self.to_ms - start) / DAY_MS
        return self.rate(dose, start, self.to_ms) * days if days > 0 else 0.0

    def young(self, dose: str) -> float:
        """The dose of the first two months as far as they are past."""
        end = min(self.to_ms, self.life.made_ms + YOUNG_DAYS * DAY_MS)
        return self.rate(dose, self.life.made_ms, end) * (end - self.life.made_ms) / DAY_MS

    def hardest(self) -> float:
        """Drying since the last look over the intended course's mean, hard days counting most [-]."""
        return self.late("twin_hard") ** (1.0 / HARD_POWER)

    def since_way_in(self, dose: str) -> float:
        """The dose since air is known to get in; 0 where it is not."""
        return 0.0 if self.way_in_ms is None else self.so_far(dose, self.way_in_ms)


@dataclass(frozen=True)
class Feature:
    """One thing a model may know: its name, what more of it means in words, and how it is had."""

    name: str
    words: str
    of: Callable[[Moment], float]


_SPAN = Feature("span", "longer since the last look", lambda m: np.log((m.to_ms - m.from_ms) / DAY_MS))
_AGE = Feature("age", "older", lambda m: np.log1p((m.to_ms - m.life.made_ms) / DAY_MS / 30.0))

_FRESH = Feature("fresh", "fresh rind", lambda m: np.exp(-(m.to_ms - m.life.made_ms) / DAY_MS / 15.0))
_LOSS = Feature("loses more", "loses more weight than its air says", lambda m: m.exposures.looseness(m.life))

FEATURES: Mapping[str, Sequence[Feature]] = {
    "cracks": (
        _SPAN,
        _AGE,
        Feature("drying late", "hard drying of late", lambda m: np.log(LEAST_HARD + m.hardest())),
        _FRESH,
        _LOSS,
    ),
    "blue_under_cloth": (
        _SPAN,
        _AGE,
        Feature("way in", "air is known to get in", lambda m: float(m.way_in_ms is not None)),
        Feature(
            "mould since way in", "mould dose since air gets in", lambda m: np.log1p(m.since_way_in("mould"))
        ),
        Feature(
            "drying young", "drying above intended when young", lambda m: np.log1p(m.young("twin_excess"))
        ),
        Feature("mould so far", "mould dose so far", lambda m: np.log1p(m.so_far("mould"))),
    ),
    "mites": (
        _SPAN,
        _AGE,
        Feature("mites so far", "mite growth so far", lambda m: m.so_far("mites")),
        Feature("mites late", "mite growth of late", lambda m: m.late("mites")),
    ),
    "slip": (
        _SPAN,
        _AGE,
        Feature("damp late", "wet air of late", lambda m: m.late("damp")),
        Feature("damp so far", "wet days so far", lambda m: np.log1p(m.so_far("damp"))),
    ),
}


def looks_of(fault: str, life: Life) -> list[Look]:
    """Looks for a fault; a little dust of mites is no fault."""
    looks = looks_for(fault, life.entries)
    if fault == "mites":
        return [(at, step if step >= MITES_FROM_STEP else 0) for at, step in looks]
    return looks


def ways_in(life: Life) -> list[int]:
    """Moments from which air is known to get in [ms]: a crack, a cloth lifted or torn, a plug not sealed."""
    moments = [
        sight.known_ms
        for sight in (sight_of(looks_for(fault, life.entries)) for fault in ("cracks", "cloth"))
        if sight.known_ms is not None
    ]
    plugs = [e.at_ms for e in life.entries if e.kind == "ironing" and e.details.get("sealed") is False]
    return sorted([*moments, *plugs])


def way_in_at(moments: Sequence[int], at_ms: int) -> int | None:
    """The first way in known by a moment [ms]."""
    return next((moment for moment in moments if moment <= at_ms), None)


@dataclass(frozen=True)
class Course:
    """A wheel's looks for one fault as spans between looks, and how it came out."""

    life: Life
    sight: Sight
    looks: tuple[Look, ...]

    @property
    def found(self) -> bool:
        return self.sight.found_ms is not None

    @property
    def followed_ms(self) -> int | None:
        """The last look whose answer is known [ms]: the last of all, or the last clear one of an open wheel."""
        is_open = not self.found and any(at > (self.sight.clear_ms or -1) for at, _ in self.looks)
        if is_open:
            return self.sight.clear_ms
        return self.looks[-1][0] if self.looks else None


def courses_of(fault: str, lives: Sequence[Life]) -> list[Course]:
    """The course of every wheel that somebody looked at for the fault."""
    courses = []
    for life in lives:
        looks = looks_of(fault, life)
        course = Course(life, sight_of(looks), tuple(looks))
        if course.followed_ms is not None:
            courses.append(course)
    return courses


def table_of(fault: str, courses: Sequence[Course], exposures: Exposures) -> pd.DataFrame:
    """One row for each span between looks, up to the last look of each wheel whose answer is known.

    Returns
    -------
    DataFrame : ``wheel`` (index into ``courses``), ``make``, ``style``, ``from_ms``, ``to_ms``, ``at_risk`` (the fault
        was not found before the span's end), ``found`` (it was found at the end), and the fault's features.
    """
    rows = [row for number, course in enumerate(courses) for row in _rows(fault, number, course, exposures)]
    names = ["wheel", "make", "style", "from_ms", "to_ms", "at_risk", "found"]
    return pd.DataFrame(rows, columns=[*names, *(feature.name for feature in FEATURES[fault])])


def _rows(fault: str, number: int, course: Course, exposures: Exposures) -> list[tuple[object, ...]]:
    found_ms, last = course.sight.found_ms, course.followed_ms or 0
    ends = [at_ms for at_ms, _ in course.looks if at_ms <= last]
    return [
        (*row[:5], found_ms is None or row[4] <= found_ms, row[4] == found_ms, *row[5:])
        for row in spans_of(fault, number, course.life, ends, exposures)
    ]


def spans_of(
    fault: str, number: int, life: Life, ends_ms: Sequence[int], exposures: Exposures
) -> list[tuple[Any, ...]]:
    """(number, make, style, from_ms, to_ms, features...) of a wheel's spans that end at moments [ms], from its make on."""
    ways, rows, before = ways_in(life), [], life.made_ms
    for end_ms in ends_ms:
        if end_ms > before:
            moment = Moment(exposures, life, before, end_ms, way_in_at(ways, end_ms))
            rows.append((number, life.make, life.style, before, end_ms, *values_of(fault, moment)))
            before = end_ms
    return rows


def values_of(fault: str, moment: Moment) -> list[float]:
    """The features of a fault at a moment."""
    return [float(feature.of(moment)) for feature in FEATURES[fault]]
