"""The link's statistics against published worked examples, through the code that the link uses."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.datasets import heart, spector
from statsmodels.duration.survfunc import SurvfuncRight

from monitor.link.counting import contrast
from monitor.link.hazard import penalised_logistic
from monitor.link.skill import area_under_roc, logistic_fit
from monitor.link.turnbull import shares_by_age


def counted(a: int, m: int, b: int, n: int):
    """A table of a of m against b of n, every wheel a make of its own, with intervals of 95 %."""
    found = np.concatenate([np.arange(m) < a, np.arange(n) < b])
    return contrast(found, np.arange(m + n) < m, np.arange(m + n).astype(object), alpha=0.05)


@pytest.mark.parametrize(
    ("a", "m", "low", "high"), [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611)]
)
def test_shares_have_the_printed_wilson_intervals(a: int, m: int, low: float, high: float) -> None:
    """Newcombe (1998), Stat Med 17:857, table I, method 3 (score); read from memory, agree to the printed digits."""
    share = counted(a, m, 5, 10).more.share
    assert (share.low, share.high) == pytest.approx((low, high), abs=6e-5)


@pytest.mark.parametrize(
    ("table", "low", "high"), [((56, 70, 48, 80), 0.0524, 0.3339), ((9, 10, 3, 10), 0.1705, 0.8090)]
)
def test_differences_have_the_printed_newcombe_intervals(
    table: tuple[int, int, int, int], low: float, high: float
) -> None:
    """Newcombe (1998), Stat Med 17:873, table II, method 10; read from memory, agree to the printed digits."""
    difference = counted(*table).difference
    assert (difference.low, difference.high) == pytest.approx((low, high), abs=6e-5)


def test_spector_and_mazzeo_s_pupils_have_their_printed_coefficients() -> None:
    """Spector and Mazzeo (1980), J Econ Educ 11:37, as in Greene, Econometric Analysis, table 21.1 (from memory)."""
    data = spector.load_pandas()
    features = data.exog[["GPA", "TUCE", "PSI"]].to_numpy(float)
    coefficients, errors = logistic_fit(data.endog.to_numpy(float), features)
    assert coefficients == pytest.approx([-13.0213, 2.8261, 0.0952, 2.3787], abs=1e-4)
    assert errors == pytest.approx([4.931, 1.263, 0.142, 1.065], abs=1e-3)


def test_with_hardly_any_penalty_the_penalised_model_is_the_printed_one() -> None:
    """The same data with scikit-learn at an inverse penalty of a million."""
    data = spector.load_pandas()
    features = data.exog[["GPA", "TUCE", "PSI"]].to_numpy(float)
    fitted = penalised_logistic(features, data.endog.to_numpy(float) > 0, 1e6)
    assert fitted.coef_[0] == pytest.approx([2.8261, 0.0952, 2.3787], abs=2e-3)


def test_turnbull_is_kaplan_and_meier_where_times_are_exact() -> None:
    """Survival of the heart-transplant patients of Miller (1976), Biometrika 63:449, against statsmodels' own estimate."""
    data = heart.load_pandas()
    days, died = data.endog.to_numpy(float), data.censors.to_numpy(float)
    ages, shares = shares_by_age(days, np.where(died > 0, days, np.inf))
    curve = SurvfuncRight(days, died)
    expected = 1.0 - np.interp(ages, curve.surv_times, curve.surv_prob)
    assert shares == pytest.approx(expected, abs=2e-3)


def test_the_breast_cosmesis_trial_has_its_printed_interval_censored_curve() -> None:
    """Finkelstein and Wolfe (1985), Biometrics 41:933, radiotherapy alone: months between visits in which the breast drew
    in first; curve as printed by Klein and Moeschberger, Survival Analysis, example 5.2. Data and curve from memory; that
    the one gives the other to the printed digits is what speaks for both.
    """
    between = [(0, 7), (0, 8), (0, 5), (4, 11), (5, 12), (5, 11), (6, 10), (7, 16), (7, 14), (11, 15), (11, 18),
               (17, 25), (17, 25), (19, 35), (18, 26), (25, 37), (26, 40), (27, 34), (36, 44), (36, 48), (37, 44)]  # fmt: skip
    never = [15, 17, 18, 22, 24, 24, 32, 33, 34, 36, 36, 37, 37, 37, 38, 40, 45, *[46] * 8]
    low = [*(a for a, _ in between), *never]
    months, shares = shares_by_age(low, [*(float(b) for _, b in between), *[np.inf] * len(never)])
    assert len(low) == 46
    printed = {5: 0.954, 7: 0.920, 8: 0.832, 12: 0.761, 25: 0.668, 34: 0.586, 40: 0.467}
    curve = {month: 1.0 - share for month, share in zip(months, shares, strict=True) if month in printed}
    assert curve == pytest.approx(printed, abs=2e-3)


def test_turnbull_by_hand() -> None:
    """(0, 1], (1, 2], (0, 2], (2, inf): the third shares itself out evenly, so 3/8, 3/8 and 1/4."""
    ages, shares = shares_by_age([0.0, 1.0, 0.0, 2.0], [1.0, 2.0, 2.0, np.inf])
    assert list(ages) == [1.0, 2.0]
    assert shares == pytest.approx([0.375, 0.75], abs=1e-4)


def test_area_under_the_curve_by_hand() -> None:
    """0.9 and 0.4 had it, 0.5 and 0.4 not: of four pairs two are right and one is a tie."""
    found, chance = np.array([1.0, 1.0, 0.0, 0.0]), np.array([0.9, 0.4, 0.5, 0.4])
    assert area_under_roc(found, chance) == pytest.approx(2.5 / 4)
