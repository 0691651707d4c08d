"""The small drawings of a printed review: air, weight and rind as SVG in greys, drawn from numbers alone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any

WIDTH, STRIP = 186.0, 12.0
HALF, TALL = 88.0, 22.0
LEFT, BELOW = 9.0, 4.0
MOST_POINTS = 300

Point = tuple[float, float]


def air_strips(course: Sequence[dict[str, Any]]) -> str:
    """Temperature and humidity over the wheel's life, the band behind them."""
    points = course[:: max(1, len(course) // MOST_POINTS)]
    if len(points) < 2:
        return '<p class="quiet">No air is known.</p>'
    times = [_seconds(p["at"]) for p in points]
    height = 2 * (STRIP + 2.0) + BELOW
    parts = []
    for number, (name, unit) in enumerate((("temperature", "c"), ("rh", "pct"))):
        top = number * (STRIP + 2.0)
        values = [p[f"{name}_{unit}"] for p in points]
        low, high = [p[f"{name}_low_{unit}"] for p in points], [p[f"{name}_high_{unit}"] for p in points]
        across, up = _scale(times, LEFT, WIDTH - LEFT), _scale([*values, *low, *high], top + STRIP, -STRIP)
        parts.append(_area(times, low, high, across, up))
        parts.append(_line([(across(t), up(v)) for t, v in zip(times, values, strict=True)], _gap(times)))
        parts.append(_ends(up, min(*values, *low), max(*values, *high), top))
    parts.append(_dates(points, height))
    return _svg(WIDTH, height, "".join(parts))


def weight_drawing(weight: dict[str, Any]) -> str:
    """What the twin expects with its interval, and the weighings as rings."""
    expected, weighings = weight["expected"], weight["weighings"]
    if len(expected) < 2 and not weighings:
        return '<p class="quiet">Not known yet.</p>'
    times = [_seconds(p["at"]) for p in [*expected, *weighings]]
    values = [p[k] for p in expected for k in ("low_kg", "high_kg")] + [w["mass_kg"] for w in weighings]
    across, up = _scale(times, LEFT, HALF - LEFT - 2), _scale(values, TALL - BELOW - 1, -(TALL - BELOW - 3))
    parts = [_ends(up, min(values), max(values), 1.0)]
    if len(expected) > 1:
        t = times[: len(expected)]
        low, mass, high = ([p[k] for p in expected] for k in ("low_kg", "mass_kg", "high_kg"))
        parts.append(_area(t, low, high, across, up))
        parts.append(_line([(across(a), up(b)) for a, b in zip(t, mass, strict=True)]))
    parts += [
        f'<circle cx="{across(_seconds(w["at"])):.2f}" cy="{up(w["mass_kg"]):.2f}" r="1" fill="#fff" stroke="#000" stroke-width=".35"/>'
        for w in weighings
    ]
    return _svg(HALF, TALL, "".join(parts) + _dates([*expected, *weighings], TALL, HALF))


def profile_drawing(profile: Sequence[dict[str, float]]) -> str:
    """Water activity from the surface inwards."""
    if len(profile) < 2:
        return '<p class="quiet">Not known yet.</p>'
    depth, activity = [p["depth_mm"] for p in profile], [p["water_activity"] for p in profile]
    across, up = (
        _scale(depth, LEFT, HALF - LEFT - 4),
        _scale(activity, TALL - BELOW - 1, -(TALL - BELOW - 3), least=0.02),
    )
    line = _line([(across(d), up(a)) for d, a in zip(depth, activity, strict=True)])
    foot = f'<text x="{LEFT}" y="{TALL - 0.6}">0</text><text x="{HALF - 4}" y="{TALL - 0.6}" text-anchor="end">{max(depth):.0f}</text>'
    return _svg(HALF, TALL, line + _ends(up, min(activity), max(activity), 1.0) + foot)


def wheel_outline() -> str:
    """A wheel from above and from the side, to mark on."""
    style = 'fill="none" stroke="#000" stroke-width=".3"'
    return _svg(
        HALF,
        22.0,
        f'<circle cx="12" cy="11" r="10" {style}/><rect x="30" y="4" width="52" height="14" rx="1" {style}/>',
    )


def _scale(
    values: Sequence[float], start: float, length: float, least: float = 1e-6
) -> Callable[[float], float]:
    low, span = min(values), max(max(values) - min(values), least)
    return lambda value: start + length * (value - low) / span


def _area(t: Sequence[float], low: Sequence[float], high: Sequence[float], across: Any, up: Any) -> str:
    there = [f"{across(a):.2f},{up(b):.2f}" for a, b in zip(t, high, strict=True)]
    back = [f"{across(a):.2f},{up(b):.2f}" for a, b in zip(reversed(t), reversed(low), strict=True)]
    return f'<polygon points="{" ".join(there + back)}" fill="#ddd"/>'


def _gap(times: Sequence[float]) -> list[bool]:
    """Where nothing was known for long, and the line breaks."""
    steps = sorted(b - a for a, b in pairwise(times))
    usual = steps[len(steps) // 2]
    return [False, *(b - a > 3.0 * usual for a, b in pairwise(times))]


def _line(points: Sequence[Point], breaks: Sequence[bool] | None = None) -> str:
    path = " ".join(
        f"{'M' if i == 0 or (breaks and breaks[i]) else 'L'}{x:.2f} {y:.2f}"
        for i, (x, y) in enumerate(points)
    )
    return f'<path d="{path}" fill="none" stroke="#000" stroke-width=".3"/>'


def _ends(up: Callable[[float], float], low: float, high: float, top: float) -> str:
    digits = 1 if high - low >= 1.0 else 2
    return (
        f'<text x="0" y="{up(high) + 2.2:.2f}">{high:.{digits}f}</text>'
        f'<text x="0" y="{max(up(low), top):.2f}">{low:.{digits}f}</text>'
    )


def _dates(points: Sequence[dict[str, Any]], height: float, width: float = WIDTH) -> str:
    days = sorted(p["at"] for p in points)
    first, last = (f"{datetime.fromisoformat(at):%d %b %Y}" for at in (days[0], days[-1]))
    y = height - 0.6
    return f'<text x="{LEFT}" y="{y}">{first}</text><text x="{width - 2}" y="{y}" text-anchor="end">{last}</text>'


def _svg(width: float, height: float, inside: str) -> str:
    return f'<svg viewBox="0 0 {width:g} {height:g}" style="width:{width:g}mm" role="img">{inside}</svg>'


def _seconds(at: str) -> float:
    return datetime.fromisoformat(at).timestamp()
