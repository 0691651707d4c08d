"""The dairy in its own numbers: two groups of wheels, how many of each had a fault, and intervals that own up to makes.

Wheels of one make are alike, so counts are weighted down by the design effect before an interval is put round them
(Kish 1965, Survey Sampling, ch. 5).  What makes of one group differ by because their air differed is no luck of the draw:
where a model says what each wheel's air let one expect, only what makes have beyond it counts, as the residuals of a
regression estimator do (Särndal, Swensson and Wretman 1992, Model Assisted Survey Sampling, ch. 6).  Shares: Wilson (1927), J Am Stat Assoc 22:209.  Differences: Newcombe (1998), Stat
Med 17:873, method 10.  Ratios: on the log scale with a half
added to each count (Walter 1975, Biometrika 62:371).  All through statsmodels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from statsmodels.duration.survfunc import SurvfuncRight
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from monitor.clock import DAY_MS
from monitor.link.features import Course
from monitor.link.skill import Ranged

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Names = npt.NDArray[np.object_]
ALPHA = 0.10
PERMUTATIONS = 2000
FITTED = 6
"""Features that a model may have bent to the makes it was fitted to."""


@dataclass(frozen=True)
class Group:
    """So many of so many wheels had the fault."""

    found: int
    of: int
    share: Ranged


@dataclass(frozen=True)
class Contrast:
    """Wheels with more of an exposure against those with less; intervals are 90 %."""

    more: Group
    less: Group
    difference: Ranged
    ratio: Ranged | None
    design_effect: float


def contrast(
    found: Flags, exposed: Flags, makes: Names, alpha: float = ALPHA, expected: Floats | None = None
) -> Contrast:
    """Count a fault among exposed and other wheels; both groups must have wheels.  ``ratio`` is None over nothing.

    ``alpha``: what the intervals leave out, 0.10 for those of 90 %; ``expected``: as for `effect_beyond`, where known.
    """
    effect = (
        design_effect(found, exposed, makes)
        if expected is None
        else effect_beyond(expected, found, exposed, makes)
    )
    more, less = (_group(found[side], effect, alpha) for side in (exposed, ~exposed))
    counts = [more.found / effect, more.of / effect, less.found / effect, less.of / effect]
    low, high = confint_proportions_2indep(*counts, method="newcomb", compare="diff", alpha=alpha)
    a, b = more.found / more.of, less.found / less.of
    ratio = None
    if more.found and less.found:
        bottom, top = confint_proportions_2indep(*counts, method="log-adjusted", compare="ratio", alpha=alpha)
        ratio = Ranged(a / b, float(bottom), float(top))
    return Contrast(more, less, Ranged(a - b, float(low), float(high)), ratio, effect)


def _group(found: Flags, effect: float, alpha: float) -> Group:
    low, high = proportion_confint(found.sum() / effect, len(found) / effect, alpha=alpha, method="wilson")
    return Group(int(found.sum()), len(found), Ranged(float(found.mean()), float(low), float(high)))


def design_effect(found: Flags, exposed: Flags, makes: Names) -> float:
    """Variance of shares between makes over that of as many independent wheels, pooled over both groups; at least 1."""
    between, within, freedom = 0.0, 0.0, 0.0
    for side in (exposed, ~exposed):
        share = found[side].mean() if side.any() else 0.0
        names = sorted(set(makes[side]))
        if len(names) < 2 or share in (0.0, 1.0):
            continue
        members = [found[side & (makes == make)] for make in names]
        between += sum((m.sum() - len(m) * share) ** 2 for m in members) * len(names) / (len(names) - 1)
        wheels = int(side.sum())
        within += wheels * share * (1.0 - share) * wheels / (wheels - 1)
        freedom += len(names) - 1
    return max(1.0, float(between / within)) if freedom else 1.0


def effect_beyond(expected: Floats, found: Flags, exposed: Flags, makes: Names) -> float:
    """As `design_effect`, of what makes have beyond the chances that a model gives their wheels.

    Never below the variance that wheels would have if each stood for itself at its chance, which is below 1 where chances
    within a group differ.

    Parameters
    ----------
    expected : chance of each wheel by a model fitted to these wheels with `FITTED` features, 0..1
    """
    between, alone, within = 0.0, 0.0, 0.0
    for side in (exposed, ~exposed):
        share = found[side].mean() if side.any() else 0.0
        rest = found[side] - expected[side]
        number = np.unique(makes[side], return_inverse=True)[1]
        between += float((np.bincount(number, rest) ** 2).sum()) if side.any() else 0.0
        alone += float((expected[side] * (1.0 - expected[side])).sum())
        within += float(side.sum() * share * (1.0 - share))
    count = len(set(makes))
    if within == 0.0 or count <= FITTED:
        return design_effect(found, exposed, makes)
    return max(between * count / (count - FITTED), alone) / within


def surprise(courses: list[Course]) -> Floats:
    """Of each wheel: found (1) or not (0), less what its time under the eye let one expect from wheels of its style.

    Log-rank scores (martingale residuals), so that a wheel looked at for longer is not held guilty of more finds.
    """
    found = np.array([course.found for course in courses], dtype=float)
    ages = np.array([_age_days(course) for course in courses])
    styles = np.array([course.life.style for course in courses], dtype=object)
    result = np.zeros(len(courses))
    for style in set(styles):
        mine = styles == style
        curve = SurvfuncRight(ages[mine], found[mine])
        hazard = np.concatenate(([0.0], np.cumsum(curve.n_events / curve.n_risk)))
        result[mine] = (
            found[mine] - hazard[np.searchsorted(curve.surv_times, ages[mine] + 1e-9, side="right")]
        )
    return result


def _age_days(course: Course) -> float:
    end = course.sight.found_ms if course.found else course.followed_ms
    assert end is not None
    return max(0.01, (end - course.life.made_ms) / DAY_MS)


def chance_of_as_much(score: Floats, surprises: Floats, makes: Names, seed: int = 0) -> float:
    """One-sided p of a link between a score and surprises: how often whole makes dealt out anew show as much.

    Makes, not wheels, are dealt: air is shared within a make, and so may be what nobody wrote down.
    """
    names = sorted(set(makes))
    if len(names) < 2:
        return 1.0
    number = np.searchsorted(names, makes)
    sizes = np.bincount(number)
    mean = np.bincount(number, score) / sizes
    total = np.bincount(number, surprises)
    mean = mean - np.average(mean, weights=sizes)
    rng = np.random.default_rng(seed)
    dealt = np.array([rng.permutation(mean) for _ in range(PERMUTATIONS)]) @ total
    return float((1 + (dealt >= mean @ total - 1e-12).sum()) / (PERMUTATIONS + 1))
