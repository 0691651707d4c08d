"""The questions that the link asks of a dairy, laid down before any wheel is looked at, and their answers.

Few questions, one direction each, a cut that looks at the air alone, makes dealt out anew for the p, and Holm's
correction over all questions of a style: where nothing links air and rind, hardly ever is a claim made.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.proportion import samplesize_proportions_2indep_onetail

from monitor.clock import DAY_MS
from monitor.link.counting import Contrast, chance_of_as_much, contrast, surprise
from monitor.link.exposure import YOUNG_DAYS, Exposures, dry_limit_pct
from monitor.link.features import LEAST_COVERAGE, Course, way_in_at, ways_in
from monitor.link.life import Life
from monitor.site import Style

Floats = npt.NDArray[np.float64]
LEAST_WHEELS, LEAST_MAKES, LEAST_FOUND = 10, 3, 5
"""A group below this many wheels or makes, or a fault found fewer times, answers nothing."""
SURE = 0.05
LEAST_CUT = 1.0
"""A cut below a day (or one of a dose's units) parts wheels that went through the same."""
HALF_YEAR_DAYS, FOUR_MONTHS_DAYS = 180, 120
State = Literal["shown", "not shown", "not enough wheels yet"]


@dataclass(frozen=True)
class Question:
    """Does more of ``exposure`` in the first ``days`` go with more of ``fault``?

    ``words``: the wheels with more of it, with ``{cut}`` and ``{limit}`` to fill in.  ``dose`` is a dose's name, or
    "way in"; ``cut`` what counts as more, in the dose's unit.
    """

    key: str
    fault: str
    dose: str
    days: int
    cut: float
    words: str
    rinds: tuple[str, ...]


QUESTIONS = (
    Question(
        "dry when young",
        "cracks",
        "dry",
        YOUNG_DAYS,
        10.0,
        "spent more than {cut:g} days under {limit:g} % in their first two months",
        ("cloth-bound", "natural", "washed", "bloomy", "bare"),
    ),
    Question(
        "dried hard",
        "cracks",
        "twin_excess",
        FOUR_MONTHS_DAYS,
        30.0,
        "dried {cut:g} days' worth more than intended in their first four months",
        ("cloth-bound", "natural", "washed", "bloomy", "bare"),
    ),
    Question(
        "air gets in",
        "blue_under_cloth",
        "way in",
        FOUR_MONTHS_DAYS,
        0.5,
        "had a way in for air (a crack, a lifted cloth, an open plug) in their first four months",
        ("cloth-bound", "natural"),
    ),
    Question(
        "mould air",
        "blue_under_cloth",
        "mould",
        FOUR_MONTHS_DAYS,
        150.0,
        "had more than {cut:g} days' worth of mould growth in their first four months",
        ("cloth-bound", "natural"),
    ),
    Question(
        "mite air",
        "mites",
        "mites",
        FOUR_MONTHS_DAYS,
        6.0,
        "had air for more than {cut:g} e-foldings of mites in their first four months",
        ("cloth-bound", "natural", "bare"),
    ),
    Question(
        "wet air",
        "slip",
        "damp",
        30,
        5.0,
        "spent more than {cut:g} days over 95 % in their first month",
        ("washed", "bloomy"),
    ),
)


@dataclass(frozen=True)
class Answer:
    """What a question came to.

    ``needs`` says in words what more it takes where it was not shown; ``cut`` what counted as more, in the dose's unit;
    ``more`` and ``less`` name the wheels counted.
    """

    question: Question
    state: State
    words: str
    contrast: Contrast | None = None
    p: float | None = None
    p_adjusted: float | None = None
    needs: str = ""
    cut: float | None = None
    more: tuple[str, ...] = ()
    less: tuple[str, ...] = ()


def ask(
    question: Question,
    style: Style,
    courses: Sequence[Course],
    exposures: Exposures,
    expected: Mapping[str, float] | None = None,
) -> Answer:
    """Answer one question from a style's wheels, before `corrected` has looked at all answers together.

    ``expected``: the chance that a model fitted to them gives each wheel, by name, where there is one.
    """
    followed = [c for c in courses if _past(c, question)]
    values = np.array([exposure_of(question, c.life, exposures) for c in followed])
    known = np.isfinite(values)
    kept = [course for course, is_known in zip(followed, known, strict=True) if is_known]
    return answer(question, style, kept, values[known], expected)


def answer(
    question: Question,
    style: Style,
    kept: Sequence[Course],
    values: Floats,
    expected: Mapping[str, float] | None = None,
) -> Answer:
    """The answer from wheels whose exposure is known."""
    found = np.array([course.found for course in kept], dtype=bool)
    makes = np.array([course.life.make for course in kept], dtype=object)
    cut = _cut(question, values, makes)
    exposed = values > cut
    words = question.words.format(cut=cut, limit=dry_limit_pct(style))
    needs = _missing(found, exposed, makes)
    if needs:
        return Answer(question, "not enough wheels yet", words, needs=needs, cut=cut)
    return replace(asked(question, words, kept, exposed, exposed.astype(float), expected), cut=cut)


def asked(
    question: Question,
    words: str,
    kept: Sequence[Course],
    exposed: npt.NDArray[np.bool_],
    score: Floats,
    expected: Mapping[str, float] | None = None,
) -> Answer:
    """Count two groups of wheels, and let makes be dealt out for the p of the score; the verdict comes later."""
    found = np.array([course.found for course in kept], dtype=bool)
    makes = np.array([course.life.make for course in kept], dtype=object)
    names = [course.life.name for course in kept]
    more = tuple(name for name, is_more in zip(names, exposed, strict=True) if is_more)
    less = tuple(name for name, is_more in zip(names, exposed, strict=True) if not is_more)
    p = chance_of_as_much(score, surprise(list(kept)), makes)
    chances = np.array([(expected or {}).get(name, math.nan) for name in names])
    group = contrast(found, exposed, makes, expected=chances if np.isfinite(chances).all() else None)
    return Answer(question, "not shown", words, group, p, more=more, less=less)


def corrected(answers: Sequence[Answer]) -> list[Answer]:
    """The answers with Holm's correction (1979, Scand J Stat 6:65) over those that could be asked, and its verdict."""
    asked = [i for i, a in enumerate(answers) if a.p is not None]
    result = list(answers)
    if not asked:
        return result
    adjusted = multipletests([answers[i].p for i in asked], alpha=SURE, method="holm")[1]
    for i, p in zip(asked, adjusted, strict=True):
        found = answers[i].contrast
        is_shown = p <= SURE and found is not None and found.difference.value > 0
        needs = "" if is_shown else _wanted(found)
        result[i] = replace(
            answers[i], p_adjusted=float(p), state="shown" if is_shown else "not shown", needs=needs
        )
    return result


def _past(course: Course, question: Question) -> bool:
    """Whether a wheel was followed through the question's days; one found before a way in could be is no witness."""
    end = course.life.made_ms + question.days * DAY_MS
    found, followed = course.sight.found_ms, course.followed_ms or 0
    if question.dose == "way in" and found is not None and found < end:
        return False
    return followed >= end or (found is not None and course.life.until_ms >= end)


def exposure_of(question: Question, life: Life, exposures: Exposures) -> float:
    """How much of a question's dose a wheel had, in the dose's unit; NaN where too little of its air is known."""
    end = life.made_ms + question.days * DAY_MS
    if question.dose == "way in":
        return float(way_in_at(ways_in(life), end) is not None)
    span = exposures.between(life, question.dose, life.made_ms, end)
    rate = span.mean_rate
    return math.nan if rate is None or span.coverage < LEAST_COVERAGE else rate * question.days


def _cut(question: Question, values: Floats, makes: npt.NDArray[np.object_]) -> float:
    """The cut laid down; where it leaves a group too small, a round number near the upper third of the exposures."""
    exposed = values > question.cut
    if question.dose == "way in" or not len(values) or _large_enough(exposed, makes):
        return question.cut
    third = float(np.quantile(values, 2 / 3))
    if third < LEAST_CUT:
        return question.cut
    digit = 10.0 ** math.floor(math.log10(third)) / 2.0
    for candidate in (round(third / digit) * digit, third, float(np.median(values))):
        if _large_enough(values > candidate, makes):
            return float(f"{candidate:.3g}")
    return question.cut


def _large_enough(exposed: npt.NDArray[np.bool_], makes: npt.NDArray[np.object_]) -> bool:
    sides = (exposed, ~exposed)
    return all(side.sum() >= LEAST_WHEELS and len(set(makes[side])) >= LEAST_MAKES for side in sides)


def _missing(
    found: npt.NDArray[np.bool_], exposed: npt.NDArray[np.bool_], makes: npt.NDArray[np.object_]
) -> str:
    lacks = []
    for name, side in (("with more of it", exposed), ("with less of it", ~exposed)):
        wheels, of_makes = int(side.sum()), len(set(makes[side]))
        if wheels < LEAST_WHEELS or of_makes < LEAST_MAKES:
            now = f"{wheels} of {of_makes} make{'s' if of_makes != 1 else ''}"
            lacks.append(f"{LEAST_WHEELS} wheels of {LEAST_MAKES} makes {name} (now {now})")
    if found.sum() < LEAST_FOUND:
        lacks.append(f"{LEAST_FOUND} wheels with the fault (now {int(found.sum())})")
    return "it needs " + ", ".join(lacks) if lacks else ""


def _wanted(found: Contrast | None) -> str:
    """How many wheels would show a doubling with a chance of 80 %."""
    if found is None:
        return ""
    base = min(max((found.more.found + found.less.found) / (found.more.of + found.less.of), 0.01), 0.45)
    size = samplesize_proportions_2indep_onetail(diff=base, prop2=base, power=0.8, alpha=SURE)
    wheels = math.ceil(2 * float(size) * max(1.0, found.design_effect))
    return f"to show a doubling from {100 * base:.0f} % it takes about {wheels} wheels, half of them with more of it"


def questions_for(style: Style) -> list[Question]:
    """The questions that are asked of a style: those of its kind of rind that its wheels live long enough for."""
    longest = style.grading_from_day if style.grading_from_day is not None else math.inf
    return [q for q in QUESTIONS if style.rind in q.rinds and q.days <= longest]
