"""The monitor's rind twins against wheels whose truth is known; nobody tunes the one to the other.

``python -m tests.system.twins_against_truth`` runs the demo's invented year anew, gives the twins what the
sensors said (with their drift, faults and gaps) and what a maker knows of a style, and writes the table in
``monitor/docs/twins-against-truth.md``.  The wheels' truth has its own model: two-dimensional, another
isotherm, another diffusivity law, another boundary.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tqdm import tqdm

import demo_data
from monitor.rind.fitting import Case, Weighing, fit_weighings
from monitor.rind.presets import wheel_parameters
from monitor.rind.replay import AirSeries
from monitor.site import Site
from monitor.site import load as load_site
from sensors_sim.recorder import Recorder
from sensors_sim.scenario import read_scenario
from sensors_sim.wheels import Wheel

TABLE = Path(__file__).parents[2] / "monitor" / "docs" / "twins-against-truth.md"
DAY_S, RECORD_S = 86400.0, 6 * 3600.0
LEAST_DAYS = 30
SCALE_KG = {"aldermoss": 0.02, "fenlight": 0.005, "copperbank": 0.002}
"""Standard uncertainty of the scale that each style is weighed on."""
WEIGHED_AT = {0: (), 1: (0.35,), 3: (0.2, 0.4, 0.6)}
"""At which shares of its life a wheel is weighed, for each number of weighings."""


@dataclass(frozen=True)
class Score:
    """One wheel with so many weighings: relative error of its loss at the end, and whether 90 % held the truth."""

    style: str
    weighings: int
    error: float
    held: bool


@dataclass(frozen=True)
class Subject:
    """A wheel, the days it was there, and its true mass at each of their ends [kg]."""

    wheel: Wheel
    days: np.ndarray
    mass_kg: np.ndarray


def subjects() -> list[Subject]:
    """Every wheel of the year that was there long enough, with its true course."""
    recorder = Recorder(read_scenario(demo_data.YEAR_SCENARIO))
    for _ in tqdm(recorder.days(), total=round(recorder.scenario.days), unit="day", mininterval=5):
        pass
    masses, result = np.array(recorder.mass_kg), []
    for index, wheel in enumerate(recorder.world.stock.wheels):
        there = np.where(~np.isnan(masses[:, index]))[0]
        if len(there) >= LEAST_DAYS:
            ages = (there + 1) * DAY_S - wheel.made_s
            result.append(Subject(wheel, ages, masses[there, index]))
    return result


def air_of(wheel: Wheel, until_s: float, site: Site) -> AirSeries:
    """What the sensors said at the wheel's places, in six-hour means from its make on; NaN where they were silent."""
    year = demo_data.load(demo_data.SCENARIO_START.replace(year=2027, hour=23, minute=59))
    start_ms = demo_data.SCENARIO_START.timestamp() * 1000 + wheel.made_s * 1000
    records = int(np.ceil(until_s / RECORD_S))
    temperature, humidity, speed = (np.full(records, np.nan) for _ in range(3))
    edges = start_ms + 1000 * RECORD_S * np.arange(records + 1)
    for number in range(records):
        here = wheel.where(wheel.made_s + (number + 0.5) * RECORD_S) or wheel.route[-1][1:]
        said = year.readings["-".join(here)]
        low, high = np.searchsorted(said.time_ms, edges[number : number + 2])
        if high > low:
            temperature[number] = said.temperature_c[low:high].mean()
            humidity[number] = said.rh_pct[low:high].mean()
        speed[number] = site.room_by_id[here[0]].air_speed_at(here[1])
    return AirSeries(np.full(records, RECORD_S), temperature, humidity, speed)


def scores_of(subject: Subject) -> list[Score]:
    """Forecasts of one wheel's last mass with none, one and three weighings."""
    site = load_site(demo_data.SITE_FILE)
    wheel, end_s = subject.wheel, float(subject.days[-1])
    style = site.style_by_id[wheel.style.id]
    base = wheel_parameters(
        style.rind, style.geometry.diameter_m, style.geometry.height_m, wheel.mass_kg, style.rind_parameters
    )
    air = air_of(wheel, end_s, site)
    rng = np.random.default_rng(abs(hash_of(wheel.id)))
    true_loss, result = wheel.mass_kg - float(subject.mass_kg[-1]), []
    for count, shares in WEIGHED_AT.items():
        sigma = SCALE_KG[style.id]
        weighings = []
        for share in shares:
            day = int(np.argmin(np.abs(subject.days - share * end_s)))
            weighings.append(
                Weighing(float(subject.days[day]), float(subject.mass_kg[day] + rng.normal(0, sigma)), sigma)
            )
        case = Case(base, air, tuple(weighings))
        forecast = fit_weighings([case]).forecast(case, [end_s])
        error = abs(float(forecast.loss_kg[0]) - true_loss) / true_loss
        held = float(forecast.loss_low_kg[0]) <= true_loss <= float(forecast.loss_high_kg[0])
        result.append(Score(style.id, count, error, held))
    return result


def hash_of(name: str) -> int:
    """A number from a name, the same in every run."""
    return int.from_bytes(name.encode()[-8:], "big")


def table(scores: list[Score]) -> str:
    """The scores as a document."""
    lines = [
        "# Rind twins against simulated wheels",
        "",
        "Written by `python -m tests.system.twins_against_truth`; do not edit. The wheels and their year are invented",
        "(`demo_data`), with a moisture model of their own; the twins get what the sensors said and the style's defaults,",
        "and nobody tuned one to the other. The mass when made is known. Error: of the whole weight loss, relative.",
        "Goals for the median: 15 % without a weighing, 7 % with one, 3 % with three; 90 % inside the interval.",
        "",
        "| style | weighings | wheels | median error | 90th percentile | truth inside the 90 % interval |",
        "|---|---|---|---|---|---|",
    ]
    for style in ("all", *SCALE_KG):
        for count in WEIGHED_AT:
            some = [s for s in scores if s.weighings == count and style in ("all", s.style)]
            errors = np.array([s.error for s in some])
            held = np.mean([s.held for s in some])
            lines.append(
                f"| {style} | {count} | {len(some)} | {np.median(errors):.1%} | {np.quantile(errors, 0.9):.1%} "
                f"| {held:.0%} |"
            )
    return "\n".join(lines) + "\n"


def main() -> None:
    """Run the comparison and write its table."""
    with ProcessPoolExecutor(2) as pool:
        everyone = subjects()
        done = tqdm(pool.map(scores_of, everyone), total=len(everyone), unit="wheel", mininterval=5)
        scores = [score for some in done for score in some]
    TABLE.write_text(table(scores), encoding="utf-8")
    print(TABLE.read_text("utf-8"))


if __name__ == "__main__":
    main()
