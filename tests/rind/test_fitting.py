"""A rind learnt from weighings: coverage, sharpness, and honesty about what is not known.

Losses to learn from are invented: each of 200 wheels is a twin of its own, with all that is not known of it drawn
from the prior, weighed with 5 g of noise. All 200 are one twin, lived through once.
"""

from __future__ import annotations

import functools
import itertools

import numpy as np
import pytest

from monitor.errors import PhysicsError
from monitor.rind.fitting import HARDLY, Case, Weighing, _Wheel, fit_weighings, fit_wheels
from monitor.rind.loss_emulator import DIMENSIONS, LossEmulator, Prior
from monitor.rind.presets import PRESETS
from monitor.rind.replay import AirSeries
from monitor.rind.twin import Twin

CLOTH = PRESETS["cloth-bound"]
DAY = 86_400.0
SEEDS = 200
MONTHS = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
TIMES = 30.0 * MONTHS * DAY
EARLY, LATE, END = (0, 1, 2), (2, 3, 4), 5
"""Weighed in the first three months, or in the three before the month asked for."""
PRIOR = Prior()
STEADY = Prior(wander=0.0, rh_wander_pct=0.0, ageing=0.0)
"""Wheels that keep the pace that air and rind give them, so that only the scale is in doubt."""
NOISE_KG = 0.005


@functools.cache
def half_year() -> AirSeries:
    """Half-daily air of an invented cellar."""
    generator, i = np.random.default_rng(3), np.arange(360)
    rh = 83.0 + 3.0 * np.sin(i / 60.0 + 1.0) + generator.normal(0.0, 1.0, 360)
    return AirSeries(np.full(360, DAY / 2), 11.0 + np.sin(i / 40.0), rh)


@functools.cache
def emulator(months: tuple[int, ...] = (*EARLY, END)) -> LossEmulator:
    """Of the loss at the ends of some months."""
    if months != tuple(range(6)):
        return emulator(tuple(range(6))).at(months)
    return LossEmulator(CLOTH, half_year(), TIMES, PRIOR)


@functools.cache
def unknowns() -> np.ndarray:
    """Of 200 wheels, as the prior has them."""
    return np.clip(np.random.default_rng(11).standard_normal((SEEDS, DIMENSIONS)), -3.0, 3.0)


@functools.cache
def twins_losses() -> np.ndarray:
    """What the twins of the 200 wheels lose by the ends of the months [kg]."""
    z, series = unknowns(), half_year()
    twin = Twin([PRIOR.apply(CLOTH, q) for q in z], start_temperature_c=11.0, longest_step_s=DAY)
    found = []
    for i in range(360):
        rh = np.clip(series.rh_pct[i] - PRIOR.rh_bias_pct * z[:, 2], 0.0, 100.0)
        twin.advance(DAY / 2, series.temperature_c[i], rh)
        if (i + 1) * DAY / 2 in TIMES:
            found.append(twin.loss_kg)
    return np.array(found).T


@functools.cache
def true_losses() -> np.ndarray:
    """Losses of the 200 wheels, with what is particular to each [kg]."""
    z, everything = unknowns(), emulator(tuple(range(6)))
    return particular(everything.aged(z) * twins_losses(), z, np.random.default_rng(12))


def particular(loss: np.ndarray, z: np.ndarray, generator: np.random.Generator) -> np.ndarray:
    """Losses of wheels of the style with scatter and straying paces of their own [kg]."""
    whole = emulator(tuple(range(6)))
    columns = _Wheel(Case(CLOTH, half_year()), whole).columns(z, loss, whole.loss_and_slope(z)[1], PRIOR)
    return loss - np.einsum("sti,si->st", columns, generator.standard_normal(columns[:, 0].shape))


def weighed(loss: np.ndarray, seed: int | list[int], months: tuple[int, ...] = EARLY) -> _Wheel:
    """A wheel weighed at the ends of three months, and asked for at the end of the sixth."""
    noise = np.random.default_rng(seed).normal(0.0, NOISE_KG, 3)
    weighings = tuple(
        Weighing(TIMES[k], CLOTH.mass_kg - loss[k] + e, NOISE_KG) for k, e in zip(months, noise, strict=True)
    )
    return _Wheel(Case(CLOTH, half_year(), weighings), emulator((*months, END)))


@functools.cache
def learnt(seed: int, months: tuple[int, ...] = EARLY) -> tuple[float, float, float]:
    """Forecast of the loss at six months from three weighings of one wheel: low, median, high [kg]."""
    wheel = weighed(true_losses()[seed], 1000 + seed, months)
    forecast = fit_wheels([wheel], PRIOR, draws=400, seed=seed).forecast_from(wheel, TIMES[END:], 0.9)
    return forecast.loss_low_kg[0], forecast.loss_kg[0], forecast.loss_high_kg[0]


def test_emulator_follows_the_twin() -> None:
    """Between its points, over three deviations of the prior, within 0.5 % of the mean loss, in every month."""
    loss = twins_losses()
    error = emulator(tuple(range(6))).loss_kg(unknowns()[:, :3]) - loss
    assert np.max(np.abs(error) / loss.mean(axis=0)) < 0.005


@pytest.mark.parametrize("rind", ["natural", "washed"])
def test_emulator_follows_the_twin_over_a_wide_prior_too(rind: str) -> None:
    """Wraps known to a factor of e only, seven times either way: within 3 % of the mean loss."""
    prior, base, air = Prior.of(rind), PRESETS[rind], AirSeries.steady(40, 12.0, 88.0)
    z = np.random.default_rng(8).uniform(-2.0, 2.0, (60, 3))
    twin = Twin([prior.apply(base, q) for q in z], longest_step_s=DAY)
    for _ in range(40):
        twin.advance(DAY, 12.0, np.clip(88.0 - prior.rh_bias_pct * z[:, 2], 0.0, 100.0))
    error = LossEmulator(base, air, np.array([40 * DAY]), prior).loss_kg(z)[:, 0] - twin.loss_kg
    assert np.max(np.abs(error)) < 0.03 * twin.loss_kg.mean()


@pytest.mark.parametrize("months", [EARLY, LATE])
def test_ninety_per_cent_intervals_cover_ninety_per_cent(months: tuple[int, ...]) -> None:
    """Over 200 wheels drawn from the prior, 85-95 % of the true losses lie inside."""
    truth = true_losses()[:, END]
    low, _, high = np.array([learnt(seed, months) for seed in range(SEEDS)]).T
    covered = np.mean((low <= truth) & (truth <= high))
    print(f"coverage {covered:.1%}")
    assert 0.85 <= covered <= 0.95


def three_per_cent(months: tuple[int, ...], together: int, prior: Prior) -> tuple[float, float]:
    """Median error of the six months' loss and share of wheels within 3 %, 40 styles drawn from the prior, so many
    wheels of each weighed in these months and the first of them asked for."""
    whole, generator, error = emulator(tuple(range(6))), np.random.default_rng([together, *months]), []
    for seed in range(40):
        z = np.repeat(np.clip(generator.standard_normal((1, DIMENSIONS)), -3.0, 3.0), together, axis=0)
        scatter = prior.scatter(z)[:, None] * generator.standard_normal((together, 1))
        losses = whole.loss_kg(z[:, :3]) * (1.0 + scatter)
        wheels = [weighed(loss, [seed, i], months) for i, loss in enumerate(losses)]
        forecast = fit_wheels(wheels, prior, draws=300).forecast_from(wheels[0], TIMES[END:], 0.9)
        error.append(abs(forecast.loss_kg[0] / losses[0, END] - 1.0))
    found = float(np.median(error)), float(np.mean(np.array(error) < 0.03))
    print(
        f"weighed in months {[m + 1 for m in months]}, {together} wheels: median {found[0]:.2%}, {found[1]:.0%}"
    )
    return found


def test_three_monthly_weighings_foretell_six_months_within_three_per_cent() -> None:
    """With 5 g of noise, after three, four and five months: nine wheels in ten alone, and all where four of the
    style were weighed so."""
    median, within = three_per_cent(LATE, 1, STEADY)
    assert median < 0.01
    assert within >= 0.85
    median, within = three_per_cent(LATE, 4, STEADY)
    assert median < 0.01
    assert within >= 0.97


def test_weighed_in_the_first_three_months_most_wheels_are_foretold_so_at_six() -> None:
    """Three months further ahead the scale itself sets the limit: half of the wheels, and a little more.

    No method does better on average: wheels are drawn from the very prior that is updated. A slope and a bend put
    through three weighings of 5 g leave 45 g at six months without any prior, some 4 % of 1.1 kg.
    """
    median, within = three_per_cent(EARLY, 1, STEADY)
    assert median < 0.03
    assert within > 0.5


def test_sixteen_wheels_weighed_early_teach_each_other() -> None:
    """The bend of the style's loss is shared, so its wheels are foretold at six months as well as three wheels in four."""
    median, within = three_per_cent(EARLY, 16, STEADY)
    assert median < 0.02
    assert within > 0.7


def test_wheels_that_stray_are_foretold_less_well_and_said_so() -> None:
    """As wheels are held to be (their pace strays for months): the median of 200 after 3-5 months is below 2 %."""
    truth = true_losses()[:, END]
    error = np.array([abs(learnt(s, LATE)[1] / truth[s] - 1.0) for s in range(SEEDS)])
    print(f"median {np.median(error):.2%}, within 3 %: {np.mean(error < 0.03):.0%}")
    assert np.median(error) < 0.02
    assert np.mean(error < 0.03) > 0.7


def test_no_weighing_gives_the_wide_prior_and_says_so() -> None:
    """90 % of what is held beforehand spans more than a factor of two, and the note tells why."""
    fit = fit_weighings([Case(CLOTH, half_year())])
    forecast = fit.forecast(Case(CLOTH, half_year()), [TIMES[END]])
    assert forecast.loss_high_kg[0] > 2.0 * forecast.loss_low_kg[0]
    assert "no weighing yet" in forecast.note
    assert forecast.weighings == 0
    low, middle, high = fit.wrap_factor
    assert middle == pytest.approx(1.0, abs=0.05)
    assert high / low == pytest.approx(np.exp(2 * 1.645 * 0.5), rel=0.1)


def test_every_further_weighing_narrows_the_forecast() -> None:
    """None, one, two, three."""
    loss = true_losses()[0]
    widths = []
    for count in range(4):
        weighings = tuple(Weighing(TIMES[k], CLOTH.mass_kg - loss[k], NOISE_KG) for k in range(count))
        wheel = _Wheel(Case(CLOTH, half_year(), weighings), emulator())
        # the same emulator serves: times that carry no weighing are forecasts
        forecast = fit_wheels([wheel] if count else [], PRIOR).forecast_from(
            wheel, TIMES[[0, 1, 2, END]][count:], 0.9
        )
        widths.append(forecast.loss_high_kg[-1] - forecast.loss_low_kg[-1])
    assert all(b < a for a, b in itertools.pairwise(widths)), widths


def test_many_wheels_of_a_style_teach_it_better_than_one() -> None:
    """Six wheels of one truth, three weighings each: the wrap is known better, and near what it was."""
    truth = np.array([0.8, 0.0, 0.0])
    loss = emulator().loss_kg(truth[None, :])[0]
    generator = np.random.default_rng(2)
    wheels = []
    for _ in range(6):
        own = loss * (1.0 + PRIOR.wheel_scatter * generator.standard_normal())
        seen = CLOTH.mass_kg - own[:3] + generator.normal(0.0, NOISE_KG, 3)
        weighings = tuple(Weighing(TIMES[k], seen[k], NOISE_KG) for k in range(3))
        wheels.append(_Wheel(Case(CLOTH, half_year(), weighings), emulator()))
    one, six = fit_wheels(wheels[:1], PRIOR), fit_wheels(wheels, PRIOR)
    assert six.weighings == 18
    assert np.ptp(np.log(six.wrap_factor)) < np.ptp(np.log(one.wrap_factor))
    assert six.wrap_factor[0] <= np.exp(0.5 * 0.8) <= six.wrap_factor[2]
    learnt_wheel = six.parameters(CLOTH)
    assert learnt_wheel.wrap_resistance > CLOTH.wrap_resistance


def test_a_gap_in_the_air_widens_the_forecast_and_is_named() -> None:
    """Twenty days of silence just before the end."""
    series = half_year()
    rh = series.rh_pct.copy()
    rh[300:340] = np.nan
    holed = AirSeries(series.seconds, series.temperature_c, rh)
    loss = true_losses()[0]
    weighings = tuple(Weighing(TIMES[k], CLOTH.mass_kg - loss[k], NOISE_KG) for k in range(3))
    forecasts = []
    for known in (series, holed):
        case = Case(CLOTH, known, weighings)
        forecasts.append(fit_weighings([case], STEADY).forecast(case, [TIMES[END]]))
    whole, gapped = forecasts
    width = [f.loss_high_kg[0] - f.loss_low_kg[0] for f in forecasts]
    assert width[1] > 1.2 * width[0]
    assert "gaps in the air" in gapped.note
    assert "gaps" not in whole.note
    assert gapped.loss_low_kg[0] < whole.loss_kg[0] < gapped.loss_high_kg[0]


@pytest.mark.parametrize("kg", [15.0, 22.0, 25.3, 30.0])
def test_weighings_that_no_such_wheel_could_have_are_called_out(kg: float) -> None:
    """25 kg a month ago: the wrong wheel, or the scale not zeroed. A forecast is given, but not without saying so."""
    wheel = _Wheel(Case(CLOTH, half_year(), (Weighing(TIMES[0], kg),)), emulator())
    assert "hardly fit" in fit_wheels([wheel], PRIOR).forecast_from(wheel, TIMES[[1, 2, END]], 0.9).note


def test_true_wheels_are_hardly_ever_called_out() -> None:
    """Of 200 wheels as the prior has them, not more than a few in a hundred."""
    losses, called = true_losses(), 0
    for seed in range(SEEDS):
        wheel = weighed(losses[seed], seed)
        called += fit_wheels([wheel], PRIOR, draws=300, seed=seed).chance < HARDLY
    assert called <= 6


def test_doubt_about_the_first_mass_is_carried() -> None:
    """A wheel first weighed to 50 g: its weighings no longer fix its loss to 5 g."""
    weighings = (Weighing(TIMES[0], CLOTH.mass_kg - 0.15, NOISE_KG),)
    case = Case(CLOTH, half_year(), weighings)
    sure, unsure = fit_weighings([case]), fit_weighings([case], Prior(first_mass_kg=0.05))
    assert np.ptp(np.log(unsure.wrap_factor)) > 1.3 * np.ptp(np.log(sure.wrap_factor))


def test_the_same_weighings_give_the_same_answer() -> None:
    """Random numbers are seeded: a report printed twice reads the same."""
    case = Case(CLOTH, half_year(), (Weighing(TIMES[1], 24.6),))
    a, b = (fit_weighings([case]).forecast(case, [TIMES[END]]) for _ in range(2))
    assert np.array_equal(a.mass_low_kg, b.mass_low_kg)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Weighing(-1.0, 24.0),
        lambda: Weighing(DAY, 0.0),
        lambda: Weighing(DAY, 24.0, 0.0),
        lambda: Weighing(float("nan"), 24.0),
        lambda: Prior(log_wrap=-1.0),
        lambda: fit_weighings([Case(CLOTH, half_year(), (Weighing(400 * DAY, 24.0),))]),
        lambda: fit_weighings([]).forecast(Case(CLOTH, half_year()), [400 * DAY]),
        lambda: fit_weighings([]).forecast(Case(CLOTH, half_year()), [DAY], level=90.0),
    ],
)
def test_impossible_weighings_and_times_are_refused(make) -> None:
    """A clear error, not a strange posterior."""
    with pytest.raises(PhysicsError):
        make()
