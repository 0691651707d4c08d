"""What the rules cost a tick: 20 rooms of 8 places and 50 wheels, against nothing but the air records being made.

The baseline is the tick's own budget: the judge looks four times a second.
"""

from __future__ import annotations

import time
from pathlib import Path

from monitor.clock import TEN_MINUTES_MS
from monitor.records import AirRecord, Contents, Reading
from monitor.rules.engine import Engine
from monitor.rules.moment import Moment
from monitor.site import Site, check_text
from tests.benchmarks import Figure
from tests.rules.samples import START, record, rind
from tests.test_site import GOOD

ROOMS, PLACES, WHEELS = 20, 8, 50
TICK_S = 0.25
SLOTS = 60


def run() -> list[Figure]:
    """A tick in which every place has new air and readings, and one in which nothing is new."""
    site = _site()
    engine, rinds = (
        Engine(site),
        {f"w-{r}-{w}": rind(0, f"w-{r}-{w}") for r in range(ROOMS) for w in range(WHEELS)},
    )
    contents = tuple(
        Contents(
            f"room-{r}", f"p-{p}", "clothed", "old", tuple(f"w-{r}-{w}" for w in range(p, WHEELS, PLACES))
        )
        for r in range(ROOMS)
        for p in range(PLACES)
    )
    busy, idle = [], []
    for slot in range(SLOTS):
        moment = _moment(site, slot, contents, rinds)
        busy.append(_timed(engine, moment))
        still = Moment(moment.now_ms + 250, site, (), contents, moment.last_seen, rinds=rinds)
        idle.append(_timed(engine, still))
    return [
        Figure(
            "rules, all places new",
            _middle(busy) * 1e3,
            "ms",
            "a tick",
            TICK_S * 1e3,
            _middle(busy) / TICK_S,
            "< 1",
        ),
        Figure(
            "rules, nothing new",
            _middle(idle) * 1e3,
            "ms",
            "a tick",
            TICK_S * 1e3,
            _middle(idle) / TICK_S,
            "< 0.1",
        ),
    ]


def _timed(engine: Engine, moment: Moment) -> float:
    begun = time.process_time()
    engine.update(moment)
    return time.process_time() - begun


def _middle(values: list[float]) -> float:
    return sorted(values)[len(values) // 2]


def _moment(site: Site, slot: int, contents: tuple[Contents, ...], rinds: dict) -> Moment:  # type: ignore[type-arg]
    start_ms = START + slot * TEN_MINUTES_MS
    now_ms = start_ms + TEN_MINUTES_MS
    air = tuple(_air(f"room-{r}", place, slot) for r in range(ROOMS) for place in ("", *_places()))
    names = [f"s-{r}-{p}" for r in range(ROOMS) for p in range(PLACES)]
    readings = tuple(Reading(name, "temperature", now_ms - 1000, 10.5 + slot % 7 * 0.05) for name in names)
    return Moment(now_ms, site, air, contents, dict.fromkeys(names, now_ms), readings=readings, rinds=rinds)


def _air(room: str, place: str, slot: int) -> AirRecord:
    made = record(slot * 10, 10.5 + slot % 5 * 0.02 + len(place) * 0.01, 84.0 + slot % 3 * 0.1, place)
    values = {name: getattr(made, name) for name in AirRecord.__slots__}
    return AirRecord(**{**values, "room": room})


def _places() -> list[str]:
    return [f"p-{p}" for p in range(PLACES)]


def _site() -> Site:
    head, _, rest = GOOD.partition("[[room]]")
    styles = "[[style]]" + rest.partition("[[style]]")[2]
    rooms = "".join(
        f'[[room]]\nid = "room-{r}"\nname = "Room {r}"\nkind = "cave"\n'
        + "".join(f'[[room.place]]\nid = "p-{p}"\n' for p in range(PLACES))
        for r in range(ROOMS)
    )
    sensors = "".join(
        f'[[sensor]]\nid = "s-{r}-{p}"\nroom = "room-{r}"\nplace = "p-{p}"\n'
        for r in range(ROOMS)
        for p in range(PLACES)
    )
    site, faults = check_text(head + rooms + sensors + styles, Path("site.toml"))
    assert site is not None, faults
    return site
