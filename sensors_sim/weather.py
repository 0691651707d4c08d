"""A synthetic outdoor year: season, day and night, fronts that last days, and spells the scenario asks for.

Invented, not measured.  The shape (annual and daily sine, red noise with a time constant of two days for
fronts) is common practice for test weather; no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from sensors_sim.randomness import generator
from sensors_sim.scenario import Scenario, Spell

Array = NDArray[Any]
HOUR_S = 3600.0
FRONT_TIME_CONSTANT_H = 48.0
WARMEST_HOUR = 14.5
BEFORE_START_S = 40 * 86400.0
"""Weather is also made for this long before the start, so that rooms can settle in it."""


@dataclass(frozen=True)
class WeatherYear:
    """Hourly outdoor air; read between the hours by straight lines."""

    first_s: float
    temperature_c: Array
    dew_point_c: Array

    def at(self, times_s: Array) -> tuple[Array, Array]:
        """Temperature and dew point [degC] at times [s from the scenario's start]."""
        hours = (np.asarray(times_s, dtype=float) - self.first_s) / HOUR_S
        grid = np.arange(len(self.temperature_c), dtype=float)
        hours = np.mod(hours, len(grid) - 1)
        return np.interp(hours, grid, self.temperature_c), np.interp(hours, grid, self.dew_point_c)


def make_weather(scenario: Scenario) -> WeatherYear:
    """The outdoor air of a scenario, hour by hour; the same seed gives the same weather."""
    weather = scenario.weather
    count = int((scenario.length_s + BEFORE_START_S) / HOUR_S) + 49
    seconds = -BEFORE_START_S + HOUR_S * np.arange(count)
    midnight = scenario.start.hour * HOUR_S + scenario.start.minute * 60.0
    day_of_year = scenario.start.timetuple().tm_yday + (seconds + midnight) / 86400.0
    hour_of_day = np.mod((seconds + midnight) / HOUR_S, 24.0)
    fronts = _red_noise(generator(scenario.seed, "weather fronts"), count)
    clouds = _red_noise(generator(scenario.seed, "weather clouds"), count)
    season = weather.season_amplitude_k * np.cos(2 * np.pi * (day_of_year - weather.warmest_day) / 365.25)
    clear = np.clip(0.7 - 0.5 * clouds, 0.15, 1.4)
    day = weather.day_amplitude_k * clear * np.cos(2 * np.pi * (hour_of_day - WARMEST_HOUR) / 24.0)
    temperature = weather.mean_c + season + day + weather.front_amplitude_k * fronts
    depression = weather.dew_point_depression_k * (1.0 - 0.45 * clouds)
    dew_point = temperature - 0.75 * day - np.clip(depression, 0.3, None)
    for spell in weather.spells:
        share = _share_of(spell, seconds)
        temperature = temperature + spell.temperature_offset_k * share
        dew_point = dew_point + spell.dew_point_offset_k * share
    return WeatherYear(float(seconds[0]), temperature, np.minimum(dew_point, temperature - 0.05))


def _red_noise(rng: np.random.Generator, count: int) -> Array:
    """Noise of unit variance whose memory fades with `FRONT_TIME_CONSTANT_H`."""
    keep = float(np.exp(-1.0 / FRONT_TIME_CONSTANT_H))
    kicks = rng.standard_normal(count)
    kicks[0] /= np.sqrt(1 - keep**2)
    result: Array = lfilter([np.sqrt(1 - keep**2)], [1.0, -keep], kicks)
    return result


def _share_of(spell: Spell, seconds: Array) -> Array:
    """How much of a spell is felt at each time: it comes and goes over half a day."""
    since = (seconds - spell.start) / 43200.0
    until = (spell.start + spell.days * 86400.0 - seconds) / 43200.0
    return np.clip(np.minimum(since, until), 0.0, 1.0)
