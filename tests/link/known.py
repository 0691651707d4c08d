"""What a monitor would know of a simulated dairy: its site file, its wheels' entries, and the air it sensed."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

from monitor.clock import from_ms, to_ms
from monitor.link.exposure import Airs, Exposures
from monitor.link.life import Life
from monitor.site import Site, check_text
from monitor.wheels import Entry, Wheel
from sensors_sim.outcomes import DAY_S
from sensors_sim.wheels import Wheel as SimulatedWheel
from tests.link.sites import READY_DAY, Simulated

SITE = f"""
version = 1
[site]
name = "Thornwick rooms (invented)"
time_zone = "Europe/Dublin"
altitude_m = 200

[[room]]
id = "cold-room"
name = "Young room"
kind = "cold-room"
place = [
  {{ id = "middle", name = "Middle shelves", height_m = 1.3, air_speed_m_s = 0.12 }},
  {{ id = "coil-end", name = "Shelves at the coil", height_m = 1.6, air_speed_m_s = 0.25 }},
  {{ id = "bottom", name = "Bottom shelf", height_m = 0.4, air_speed_m_s = 0.08 }},
]

[[room]]
id = "cave"
name = "Cave"
kind = "cave"
place = [
  {{ id = "mid-rack", name = "Middle rack", height_m = 1.3, air_speed_m_s = 0.08 }},
  {{ id = "mouth", name = "Rack at the mouth", height_m = 1.3, air_speed_m_s = 0.2 }},
  {{ id = "low-rack", name = "Low rack", height_m = 0.6, air_speed_m_s = 0.06 }},
]

[[style]]
id = "thornwick"
name = "Thornwick cloth"
rind = "cloth-bound"
geometry = {{ diameter_m = 0.3, height_m = 0.25, mass_kg = 19.0 }}
grading_from_day = {READY_DAY}

[[style.stage]]
name = "young"
from_day = 0
to_day = 30
temperature_c = [10.0, 13.0]
rh_pct = [84.0, 94.0]
reference_temperature_c = 11.5
reference_rh_pct = 89.0

[[style.stage]]
name = "maturing"
from_day = 30
temperature_c = [10.0, 13.0]
rh_pct = [80.0, 92.0]
reference_temperature_c = 11.5
reference_rh_pct = 86.0
"""
LISTS = ("aroma", "flavour")


def site() -> Site:
    """The dairy's site file."""
    result, faults = check_text(SITE, Path("/nowhere/site.toml"))
    assert result is not None, faults
    return result


def lives(run: Simulated, truth: str, until_day: float) -> list[Life]:
    """Every wheel made by a day, with what the ledger of that truth says of it until then."""
    until_s = until_day * DAY_S
    entries: dict[str, list[Entry]] = {}
    for number, row in enumerate(sorted(run.rows[truth], key=lambda r: r["at_s"])):
        if row["at_s"] <= until_s:
            entries.setdefault(row["wheel"], []).append(_entry(run, number, row))
    there = [wheel for wheel in run.wheels if wheel.made_s <= until_s]
    return [_life(run, wheel, until_s, tuple(entries.get(wheel.id, ()))) for wheel in there]


def onlookers(run: Simulated) -> list[Life]:
    """The wheels that nobody looks at, to the end of the run; only their air is known."""
    return [_life(run, wheel, run.scenario.length_s, ()) for wheel in run.onlookers]


def _life(run: Simulated, wheel: SimulatedWheel, until_s: float, entries: tuple[Entry, ...]) -> Life:
    end_s = min(until_s, wheel.leaves_s)
    legs = [(leg[0], leg[1], leg[2]) for leg in wheel.route if leg[0] < end_s]
    ends = [leg[0] for leg in legs[1:]] + [end_s]
    stays = tuple(
        (room, place, _ms(run, start), _ms(run, end))
        for (start, room, place), end in zip(legs, ends, strict=True)
    )
    made_ms, end_ms = _ms(run, wheel.made_s), _ms(run, end_s)
    return Life(
        wheel.id, wheel.make, wheel.style.id, made_ms, end_ms, stays, entries, wheel.leaves_s <= until_s
    )


def exposures(run: Simulated) -> Exposures:
    """The doses of the dairy's sensed air."""
    airs: Airs = {key: (run.start_ms, t, rh) for key, (t, rh) in run.air.items()}
    return Exposures(site(), airs)


def _ms(run: Simulated, at_s: float) -> int:
    return to_ms(run.scenario.start + timedelta(seconds=at_s))


def _entry(run: Simulated, number: int, row: dict[str, Any]) -> Entry:
    at_ms = _ms(run, row["at_s"])
    details = {k: v for k, v in row.items() if k not in ("at_s", "kind", "author", "make", "wheel")}
    if "sealed" in details:
        details["sealed"] = details["sealed"] == "yes"
    for name in LISTS:
        if name in details:
            details[name] = details[name].split("; ")
    return Entry(number, row["kind"], at_ms, at_ms, row["author"], row["wheel"], row["make"], details)


def wheel_of(life: Life) -> Wheel:
    """A life as the ledger's wheel."""
    gradings = [e for e in life.entries if e.kind == "grading"]
    room, place, since_ms, _ = life.stays[-1] if life.stays else (None, None, None, None)
    return Wheel(
        name=life.name,
        make=life.make,
        style=life.style,
        made_at=from_ms(life.made_ms),
        mass_at_make_kg=None,
        raw_milk=None,
        room=room,
        place=place,
        shelf="",
        since=from_ms(since_ms) if since_ms is not None else None,
        holes=sum(e.kind == "ironing" for e in life.entries),
        decision=gradings[-1].details.get("decision") if gradings else None,
        look_again_on=None,
        promised_on=None,
        gone_at=from_ms(life.until_ms) if life.gone else None,
        gone_why="sold" if life.gone else None,
    )
