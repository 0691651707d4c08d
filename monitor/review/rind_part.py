"""What the running twin says of a wheel now: its rind by depth, its indices, and its weight against weighings."""

from __future__ import annotations

from typing import Any

import numpy as np

from monitor import air
from monitor.clock import rfc3339
from monitor.errors import PhysicsError
from monitor.records import RindNow
from monitor.rind import sorption
from monitor.rind.twin import Twin
from monitor.site import Site, Style
from monitor.store.protocol import Store
from monitor.twins.hourly import HOUR_MS
from monitor.twins.kept import KeptRind, kept_rind, learnt_read
from monitor.twins.learning import Learnt, parameters_of, room_of
from monitor.twins.rinds import law_of
from monitor.twins.weight import WeightLaw
from monitor.wheels.life import WAYS_IN, Life

MOST_EXPECTED = 120
WATCH_CRACKING = 1.0
LATE_MS = 3 * HOUR_MS


class Rind:
    """A wheel's kept rind with its weight law.

    Attributes
    ----------
    kept : its running twin; law : its weight; learnt : what is held of its style in its room
    """

    def __init__(self, life: Life, style: Style, kept: KeptRind, learnt: Learnt) -> None:
        self.life, self.kept, self.learnt = life, kept, learnt
        self.law: WeightLaw = law_of(style, life, learnt, [tuple(row) for row in kept.track.tolist()])

    @property
    def lived(self) -> bool:
        """Whether it lived through any known air."""
        return bool(self.kept.twin.gap_s[0] < self.kept.twin.state.elapsed_s[0])

    def now(self) -> RindNow:
        """The rind as the rules read it."""
        twin, beside, life = self.kept.twin, self.kept.beside, self.life
        mass, low, high = (float(v) for v in self.law.mass(twin.loss_kg[0], twin.state.unseen_kg[0]))
        ways = life.ways_at(self.kept.at_ms)
        known = self.lived

        def value(number: float) -> float | None:
            return float(number) if known else None

        return RindNow(
            wheel=life.name,
            at_ms=self.kept.at_ms,
            mass_kg=value(mass),
            mass_low_kg=value(low),
            mass_high_kg=value(high),
            water_activity=value(twin.rind_water_activity[0]),
            surface_temperature_c=value(twin.rind_temperature_c[0]),
            loss_kg_per_day=value(twin.state.loss_rate[0] * 86_400.0 * self.law.factor),
            cracking_index=value(twin.cracking_index[0]),
            blue_index=value(beside.blue[0]),
            mite_index=value(beside.mites[0]),
            free_water_hours=value(beside.wet_hours[0]),
            way_in=next((way for way in WAYS_IN if way in ways), ""),
            unknown_hours=float(twin.gap_s[0] / 3600.0),
        )


def rind_of(site: Site, store: Store, life: Life) -> Rind | None:
    """A wheel's rind as last kept; None where no twin of it was kept yet."""
    style = site.style_by_id[life.style]
    learnt = learnt_read(store.document("rinds learnt")).get((life.style, room_of(life)), Learnt())
    try:
        plain = parameters_of(style, life, Learnt())
        kept = kept_rind(store, life.name, plain, float(air.pressure_at_altitude(site.site.altitude_m)))
    except PhysicsError:
        return None
    return Rind(life, style, kept, learnt) if kept is not None else None


def rind_part(rind: Rind | None, end_ms: int) -> dict[str, Any] | None:
    """The ``rind`` of a review."""
    if rind is None or not rind.lived:
        return None
    now, twin = rind.now(), rind.kept.twin
    document = {
        "at": rfc3339(now.at_ms),
        "late": end_ms - now.at_ms > LATE_MS,
        "water_activity": _round(now.water_activity, 4),
        "surface_temperature_c": _round(now.surface_temperature_c, 2),
        "core_temperature_c": round(float(twin.core_temperature_c[0]), 2),
        "moisture_gradient": round(float(twin.moisture_gradient[0]), 2),
        "cracking_index": _round(now.cracking_index, 3),
        "blue_index": _round(now.blue_index, 3),
        "mite_index": _round(now.mite_index, 3),
        "free_water_hours": now.free_water_hours,
        "way_in": now.way_in or None,
        "loss_kg_per_day": _round(now.loss_kg_per_day, 5),
        "unknown_hours": round(now.unknown_hours, 1),
        "needs_weighing": bool(twin.needs_weighing[0]),
        "profile": profile(twin),
    }
    return document | {"words": _words(document)}


def profile(twin: Twin) -> list[dict[str, float]]:
    """Moisture and water activity by depth below the surface, the surface itself first."""
    p, molality = twin.parameters[0], float(twin.molality[0])
    moisture = np.concatenate([twin.rind_moisture, twin.moisture[:, 0]])
    depth = np.concatenate([[0.0], twin.depth_m[:, 0]])
    constants = np.array(p.sorption_constants)[:, None]
    activity, _ = sorption.RELATIONS[p.sorption](moisture, np.full(moisture.shape, molality), constants)
    activity[0] = float(twin.rind_water_activity[0])
    return [
        {
            "depth_mm": round(1000.0 * float(d), 2),
            "moisture_pct": round(100.0 * float(m) / (1.0 + float(m)), 2),
            "water_activity": round(float(np.clip(a, 0.0, 1.0)), 4),
        }
        for d, m, a in zip(depth, moisture, activity, strict=True)
    ]


def _words(rind: dict[str, Any]) -> list[str]:
    """What the rind is like, in plain sentences."""
    words = [f"The rind stands at a water activity of {rind['water_activity']:.2f}."]
    if rind["cracking_index"] >= WATCH_CRACKING:
        words.append(
            f"It is pulled as far as a rind is taken to crack (index {rind['cracking_index']:.1f}; where a style's rinds "
            "crack, inspections settle)."
        )
    if rind["way_in"]:
        way = {"crack": "a crack", "plug": "an unsealed plug", "cloth": "a lifted cloth"}[rind["way_in"]]
        words.append(f"Air gets in by {way}: blue may follow (common practice, no source).")
    if rind["free_water_hours"]:
        words.append(f"Free water lay on it for {rind['free_water_hours']:.0f} hours.")
    if rind["needs_weighing"]:
        words.append("Its air was unknown for more than a week at a stretch: weigh it.")
    return words


def weight_part(life: Life, weighings: list[dict[str, Any]], rind: Rind | None) -> dict[str, Any]:
    """The ``weight`` of a review: what was weighed, and what the twin expects with its 90 % interval."""
    first = life.first_mass_kg or (weighings[0]["mass_kg"] if weighings else None)
    loss = 100.0 * (1 - weighings[-1]["mass_kg"] / first) if weighings and first else None
    document: dict[str, Any] = {
        "weighings": weighings,
        "expected": [],
        "now": None,
        "note": None,
        "loss_pct": None if loss is None else round(loss, 2),
    }
    if rind is None or not rind.lived:
        return document
    track = _thinned(rind)
    mass, low, high = rind.law.mass(track[:, 1], track[:, 2])
    times = [max(life.made_ms, int(hour) * HOUR_MS) for hour in track[:, 0]]
    document["expected"] = [
        {"at": rfc3339(at), "mass_kg": round(m, 3), "low_kg": round(a, 3), "high_kg": round(b, 3)}
        for at, m, a, b in zip(times, mass.tolist(), low.tolist(), high.tolist(), strict=True)
    ]
    last = document["expected"][-1]
    document["now"] = {"value": last["mass_kg"], "low": last["low_kg"], "high": last["high_kg"]}
    many = rind.law.weighings
    own = f"; {many} weighing{'' if many == 1 else 's'} of its own" if many else ""
    document["note"] = rind.learnt.note + own
    return document


def _thinned(rind: Rind) -> Any:
    twin = rind.kept.twin
    now = [rind.kept.at_ms // HOUR_MS, float(twin.loss_kg[0]), float(twin.state.unseen_kg[0])]
    track = rind.kept.track[rind.kept.track[:, 0] < now[0]]
    if len(track) > MOST_EXPECTED:
        track = track[np.unique(np.linspace(0, len(track) - 1, MOST_EXPECTED).round().astype(int))]
    return np.vstack([track, now])


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
