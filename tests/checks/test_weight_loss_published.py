"""Weight loss of cheddar in curing rooms, as published in 1903, against the twin: the anchor of the cloth-bound rind.

Van Slyke et al. 1903, NY Agric. Exp. Sta. Bul. 234, in Thom & Fisk 1918, The Book of Cheese, Table XIX: four
sizes at three temperatures, 140 days, loss in % of the first weight. Humidity, air speed and shapes are not
stated there. Shapes are taken from Table XIII of the same book; 37 % moisture and 1.7 % salt are assumed.

Three shared parameters (wrap, diffusivity, one humidity for all rooms) are fitted to six cases, chosen beforehand
like the fields of a chessboard, so that every size and every temperature is among them. The other six are
predicted. Priors: wrap 1e9 (ln sd 1.5), diffusivity 1.7e-11, between Simal et al. 2001 (0.78e-11) and Castell-Palou
et al. 2011 (3.71e-11) (ln sd 1), humidity 80 +- 5 %. Run with -s to see the tables.

How much hangs on the choice (found once): fitting the other half predicts this one with a median error of 12.5 %;
of 25 halves drawn at random two thirds stay below 20 %, the worst has 32 %. Other priors for wrap, diffusivity or
humidity leave 17.7 to 18.5 %; with hardly any prior the diffusivity runs off to 1.2e-10.
"""

from __future__ import annotations

import functools
import re

import numpy as np
import pytest
from scipy.optimize import least_squares

from monitor.rind.presets import PRESETS, VAN_SLYKE_DIFFUSIVITY, VAN_SLYKE_WRAP
from monitor.rind.twin import Twin
from tests.checks.published import rows

SHAPES = {"70": (0.3619, 0.2794), "45": (0.3683, 0.1758), "35": (0.3746, 0.1270), "12.5": (0.1524, 0.3048)}
"""Diameter and height by nominal weight in lb [m]."""
SIZES, TEMPERATURES = list(SHAPES), [4.44, 10.0, 15.56]
FITTED = np.array([[(i + j) % 2 == 0 for j in range(3)] for i in range(4)])
OUT_OF_LINE = (0, 1)
"""70 lb at 10 degC: it lost less than its fellow at 4.4 degC; it is among the predicted."""
PRIOR, PRIOR_SD = np.array([np.log(1e9), np.log(1.7e-11), 80.0]), np.array([1.5, 1.0, 5.0])
ERROR = 0.15
"""How well any model can follow the table, ln."""


def published() -> np.ndarray:
    """The table, sizes by temperatures [%]."""
    table = np.full((4, 3), np.nan)
    for row in rows("drying"):
        found = re.match(r"m0=([\d.]+) lb .*T=([\d.]+) degC; 140 d", row.inputs)
        if found:
            table[SIZES.index(found[1]), TEMPERATURES.index(float(found[2]))] = float(row.expected)
    assert not np.isnan(table).any()
    return table


def losses(points: list[np.ndarray], days: int = 140) -> np.ndarray:
    """Loss of all twelve cases at some (ln wrap, ln diffusivity, humidity): (points, sizes, temperatures) [%]."""
    wheels, celsius, rh = [], [], []
    for log_wrap, log_diffusivity, humidity in points:
        for size in SIZES:
            values = {
                "diameter_m": SHAPES[size][0],
                "height_m": SHAPES[size][1],
                "mass_kg": float(size) * 0.45359,
                "wrap_resistance": float(np.exp(log_wrap)),
                "diffusivity_m2_s": float(np.exp(log_diffusivity)),
            }
            wheels += [PRESETS["cloth-bound"].with_values(values)] * 3
            celsius += TEMPERATURES
            rh += [humidity] * 3
    twin = Twin(wheels, longest_step_s=86_400.0)
    twin.state.surface_c = np.array(celsius)
    twin.state.core_c = np.array(celsius)
    for _ in range(days):
        twin.advance(86_400.0, np.array(celsius), np.array(rh), 0.1)
    return 100.0 * twin.loss_fraction.reshape(len(points), 4, 3)


@functools.cache
def fit() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Best parameters, their standard deviations, and the losses they give."""
    target, step = published(), np.array([0.02, 0.02, 0.1])

    def misfit(point: np.ndarray) -> np.ndarray:
        return np.r_[np.log(losses([point])[0] / target)[FITTED] / ERROR, (point - PRIOR) / PRIOR_SD]

    def slopes(point: np.ndarray) -> np.ndarray:
        runs = np.log(losses([point, *(point + np.diag(step))]))
        return np.vstack(
            [((runs[1:] - runs[0])[:, FITTED] / step[:, None] / ERROR).T, np.diag(1.0 / PRIOR_SD)]
        )

    best = least_squares(misfit, PRIOR, jac=slopes)
    assert best.success
    return best.x, np.sqrt(np.diag(np.linalg.inv(best.jac.T @ best.jac))), losses([best.x])[0]


def test_six_cases_predict_the_other_six() -> None:
    """Median error of the six predicted at most 20 %: found 17.9 %, with the out-of-line case (+52 %) among them."""
    table, (best, doubt, computed) = published(), fit()
    error = computed / table - 1.0
    print("\n  case            published  computed   error")
    for i, size in enumerate(SIZES):
        for j, t in enumerate(TEMPERATURES):
            word = "fitted" if FITTED[i, j] else "predicted"
            word += ", out of line in the table itself" if (i, j) == OUT_OF_LINE else ""
            name = f"{size} lb, {t:.1f} degC"
            print(
                f"  {name:<18}{table[i, j]:6.1f} %  {computed[i, j]:6.2f} %  {100 * error[i, j]:+5.0f} %  {word}"
            )
    medians = [np.median(np.abs(error[cases])) for cases in (FITTED, ~FITTED, FITTED | True)]
    print("  median error: fitted {:.1%}, predicted {:.1%}, all {:.1%}".format(*medians))
    print(
        f"  wrap {np.exp(best[0]):.3g} Pa m2 s/kg (ln sd {doubt[0]:.2f}), diffusivity {np.exp(best[1]):.3g} m2/s ",
        end="",
    )
    print(f"(ln sd {doubt[1]:.2f}), humidity {best[2]:.1f} +- {doubt[2]:.1f} %")
    print("  published diffusivities: 7.8e-12 (Simal et al. 2001), 3.71e-11 (Castell-Palou et al. 2011)")
    assert medians[1] <= 0.20
    assert not FITTED[OUT_OF_LINE]
    assert np.argmax(np.abs(error)) == np.ravel_multi_index(OUT_OF_LINE, error.shape)


def test_default_cloth_bound_rind_is_this_fit() -> None:
    """The preset's wrap and diffusivity are what the fit gives, to two figures, and it says where they come from."""
    best, _, _ = fit()
    assert np.exp(best[0]) == pytest.approx(VAN_SLYKE_WRAP, rel=0.01)
    assert np.exp(best[1]) == pytest.approx(VAN_SLYKE_DIFFUSIVITY, rel=0.02)
    cloth = PRESETS["cloth-bound"]
    assert (cloth.wrap_resistance, cloth.diffusivity_m2_s) == (VAN_SLYKE_WRAP, VAN_SLYKE_DIFFUSIVITY)
    assert "Van Slyke" in cloth.source


def test_the_table_settles_the_wrap_more_than_the_diffusivity() -> None:
    """What was learnt: the wrap's prior doubt shrinks to a third, the diffusivity's hardly; the preset says so."""
    _, doubt, _ = fit()
    assert doubt[0] < 0.35 * PRIOR_SD[0]
    assert doubt[1] > 0.6 * PRIOR_SD[1]


def test_losses_published_in_the_same_year_do_not_all_agree() -> None:
    """Three of Van Slyke's losses, quoted in a newspaper of 1903, lie far above what this fit gives for any size.

    Sizes, wraps and (for two) temperatures are not stated there. The one at 0 degC cannot be had from the table
    either: it is more in five weeks than the two largest sizes lost in 140 days at 4.4 degC. Where no temperature is
    stated the warmest room of the table is taken. They are three to thirteen times what the default gives: for
    young or moist cheese it is no more than a start, until its own weighings are in.
    """
    best, _, _ = fit()
    quoted = {row.inputs: row.expected for row in rows("drying") if row.quantity.startswith("weight loss")}
    cold = float(quoted["T=32 degF (0 degC); 5 weeks"])
    moist = float(quoted["55 % water at start; 4 weeks"].split()[0])
    firm = float(quoted["35 % water at start; 4 weeks"])
    print()
    for name, loss, celsius, days, water in (
        ("0 degC, 5 weeks", cold, 0.0, 35, 0.37),
        ("55 % water, 4 weeks", moist, 15.56, 28, 0.55),
        ("35 % water, 4 weeks", firm, 15.56, 28, 0.35),
    ):
        found = sizes_at(best, celsius, days, water)
        print(f"  {name}: {found.min():.1f} to {found.max():.1f} % computed; {loss:.1f} % published")
        assert found.max() < loss
    assert np.sum(published()[:, 0] < cold) == 2


def sizes_at(point: np.ndarray, celsius: float, days: int, water: float) -> np.ndarray:
    """Loss of the four sizes with this much water at the start [%]."""
    wheels = [
        PRESETS["cloth-bound"].with_values(
            {
                "diameter_m": SHAPES[size][0],
                "height_m": SHAPES[size][1],
                "mass_kg": float(size) * 0.45359,
                "moisture_fraction": water,
                "wrap_resistance": float(np.exp(point[0])),
                "diffusivity_m2_s": float(np.exp(point[1])),
            }
        )
        for size in SIZES
    ]
    twin = Twin(wheels, longest_step_s=86_400.0, start_temperature_c=celsius)
    for _ in range(days):
        twin.advance(86_400.0, celsius, float(point[2]), 0.1)
    return 100.0 * twin.loss_fraction


def test_losses_published_elsewhere_beside_the_presets() -> None:
    """Half a year at 12.8 degC cost 8.1 % (Van Slyke, size not stated): the sizes of the table lie on both sides.

    Camembert and the blue type are what two presets were set by (Thom & Fisk 1918); they must still give it.
    """
    best, _, _ = fit()
    half_year = losses([best], days=183)[0]
    span = half_year[:, 1].min(), half_year[:, 2].max()
    print(
        f"\n  183 days: {span[0]:.1f} % (70 lb, 10 degC) to {span[1]:.1f} % (12.5 lb, 15.6 degC); published 8.1 % at 12.8"
    )
    assert span[0] < 8.1 < span[1]
    for rind, days, celsius, rh, low, high in (
        ("bloomy", 28, 12.8, 87.0, 16.3, 18.3),
        ("natural", 150, 10.0, 87.5, 3.3, 6.4),
    ):
        twin = Twin([PRESETS[rind]])
        for _ in range(4 * days):
            twin.advance(21_600.0, celsius, rh, 0.2)
        found = 100.0 * twin.loss_fraction[0]
        print(f"  {rind}: {found:.1f} % in {days} days; published {low} to {high} %")
        assert low <= found <= high
