"""The air field: a room's air drawn against the bands of what it holds, with the last day as a trail."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dashboard.language import say
from dashboard.look import picture, shape
from dashboard.plain import moment, number, shown_temperature, text, unit_sign

GAP_S = 1500.0
"""A longer silence between two points of the trail is a gap; air records come every 600 s."""
NINETY_PCT = 1.645
"""Standard uncertainties to each side that hold 90 % of a normal distribution."""
TRAIL_STEPS = 16
"""Shades in which the trail fades into the past."""


@dataclass(frozen=True)
class Window:
    """What part of the air is drawn: from left to right [degC], from bottom to top [%]."""

    left_c: float
    right_c: float
    bottom_pct: float
    top_pct: float

    def x(self, temperature_c: float) -> float:
        return 100 * (temperature_c - self.left_c) / (self.right_c - self.left_c)

    def y(self, rh_pct: float) -> float:
        return 100 * (self.top_pct - rh_pct) / (self.top_pct - self.bottom_pct)


def window_of(room: dict[str, Any]) -> Window | None:
    """The part of the air that shows the bands, the trail and the present with room around them."""
    across, up = [], []
    for band in room["bands"]:
        across += band["temperature_c"]
        up += band["rh_pct"]
    for point in [*room["trail"], room]:
        if point["temperature_c"] is not None and point["rh_pct"] is not None:
            across.append(point["temperature_c"])
            up.append(point["rh_pct"])
    if not across:
        return None
    left, right = _wide(min(across), max(across), least=4.2)
    bottom, top = _wide(min(up), max(up), least=13.0)
    return Window(left, right, max(0.0, bottom - max(0.0, top - 102.0)), min(102.0, top))


def _wide(low: float, high: float, least: float) -> tuple[float, float]:
    margin = max((least - (high - low)) / 2, 0.24 * (high - low))
    return low - margin, high + margin


def field(room: dict[str, Any], unit: str, state: str) -> str:
    """The air field of a room as HTML; ``state`` gives the present its shape."""
    window = window_of(room)
    if window is None:
        words = text(say("No air to draw yet"))
        return f'<div class="field" style="background:#e6e2da"><div class="none">{words}</div></div>'
    drawing = picture(_drawing(room, window), _in_words(room, unit))
    return f'<div class="field">{drawing}{_ticks(room, window, unit)}{_mark(room, window, state)}</div>'


def _drawing(room: dict[str, Any], window: Window) -> str:
    parts = ['<rect width="100" height="100" fill="#e6e2da"/>']
    boxes = [_box(band, window) for band in room["bands"]]
    parts += [f'<rect {box} fill="#fff"/>' for box in boxes]
    parts += [
        f'<rect {box} fill="none" stroke="#625d55" stroke-dasharray="5 4" stroke-width="1.3" vector-effect="non-scaling-stroke"/>'
        for box in boxes
    ]
    parts += _trail([*room["trail"], *_present(room)], window)
    parts.append(_doubt(room, window))
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100" preserveAspectRatio="none">{"".join(parts)}</svg>'


def _present(room: dict[str, Any]) -> list[dict[str, Any]]:
    """The present as the trail's last point, where there is one."""
    known = room["trail"] and room["temperature_c"] is not None and room["rh_pct"] is not None
    return (
        [{"at": room["trail"][-1]["at"], "temperature_c": room["temperature_c"], "rh_pct": room["rh_pct"]}]
        if known
        else []
    )


def _box(band: dict[str, Any], window: Window) -> str:
    (cold, warm), (dry, damp) = band["temperature_c"], band["rh_pct"]
    x, y = window.x(cold), window.y(damp)
    return f'x="{x:.2f}" y="{y:.2f}" width="{window.x(warm) - x:.2f}" height="{window.y(dry) - y:.2f}"'


def _trail(points: list[dict[str, Any]], window: Window) -> list[str]:
    lines: list[str] = []
    run: list[str] = []
    shade_before = 0
    before = None
    for index, point in enumerate(points):
        at, shade = moment(point["at"]), TRAIL_STEPS * index // max(1, len(points))
        here = f"{window.x(point['temperature_c']):.2f},{window.y(point['rh_pct']):.2f}"
        gap = before is not None and at is not None and (at - before).total_seconds() > GAP_S
        if gap or shade != shade_before:
            lines.append(_stretch(run if gap else [*run, here], shade_before))
            run = []
        run.append(here)
        before, shade_before = at, shade
    return [line for line in [*lines, _stretch(run, shade_before)] if line]


def _stretch(run: list[str], shade: int) -> str:
    if len(run) < 2:
        return ""
    strength = 0.16 + 0.74 * ((shade + 1) / TRAIL_STEPS) ** 1.6
    return f'<polyline points="{" ".join(run)}" fill="none" stroke="#2b2a28" stroke-opacity="{strength:.2f}" stroke-width="2.6" stroke-linecap="round" stroke-linejoin="round" vector-effect="non-scaling-stroke"/>'


def _doubt(room: dict[str, Any], window: Window) -> str:
    temperature, humidity = room["temperature_c"], room["rh_pct"]
    sigma_k, sigma_pct = room.get("temperature_sigma_k"), room.get("rh_sigma_pct")
    if temperature is None or humidity is None or sigma_k is None or sigma_pct is None:
        return ""
    across = window.x(temperature + NINETY_PCT * sigma_k) - window.x(temperature)
    up = window.y(humidity) - window.y(humidity + NINETY_PCT * sigma_pct)
    return f'<ellipse cx="{window.x(temperature):.2f}" cy="{window.y(humidity):.2f}" rx="{across:.2f}" ry="{up:.2f}" fill="#2b2a28" fill-opacity="0.15"/>'


def _mark(room: dict[str, Any], window: Window, state: str) -> str:
    if room["temperature_c"] is None or room["rh_pct"] is None:
        return ""
    x, y = window.x(room["temperature_c"]), window.y(room["rh_pct"])
    drawn = "as-intended" if state == "no-wheels" else state
    return shape(drawn).replace('class="shape', f'style="left:{x:.2f}%;top:{y:.2f}%" class="mark shape')


def _ticks(room: dict[str, Any], window: Window, unit: str) -> str:
    """Ways in words at the edges, figures only where a band begins and ends (or at the present, without bands)."""
    across = {t for band in room["bands"] for t in band["temperature_c"]}
    up = {h for band in room["bands"] for h in band["rh_pct"]}
    if not across and room["temperature_c"] is not None:
        across, up = {room["temperature_c"]}, {room["rh_pct"]}
    ways = {"damper": say("damper"), "drier": say("drier"), "colder": say("colder"), "warmer": say("warmer")}
    words = [f'<span class="way {way}">{text(said)}</span>' for way, said in ways.items()]
    words += [
        f'<span class="tick across" style="left:{window.x(t):.2f}%">{number(shown_temperature(t, unit), 0)}°</span>'
        for t in _apart(across, window.x, 11)
    ]
    words += [
        f'<span class="tick up" style="top:{window.y(h):.2f}%">{number(h, 0)} %</span>'
        for h in _apart(up, window.y, 9)
    ]
    return "".join(words)


def _apart(values: set[float], place: Any, least: float) -> list[float]:
    """Of several values those that can be written without touching one another or the edges."""
    kept: list[float] = []
    for value in sorted(values):
        inside = 8 <= place(value) <= 92
        if inside and all(abs(place(value) - place(other)) >= least for other in kept):
            kept.append(value)
    return kept


def _in_words(room: dict[str, Any], unit: str) -> str:
    if room["temperature_c"] is None or room["rh_pct"] is None:
        return say("Air field without a present reading.")
    temperature = f"{number(shown_temperature(room['temperature_c'], unit))} {unit_sign(unit)}"
    bands = "; ".join(
        f"{text(b['style_name'])}: {number(shown_temperature(b['temperature_c'][0], unit), 0)} to "
        f"{number(shown_temperature(b['temperature_c'][1], unit), 0)} {unit_sign(unit)}, {number(b['rh_pct'][0], 0)} to {number(b['rh_pct'][1], 0)} %"
        for b in room["bands"]
    )
    return say(
        "Air field: {temperature} and {humidity} % humidity now. Bands: {bands}.",
        temperature=temperature, humidity=number(room["rh_pct"], 0), bands=bands or say("none"),
    )  # fmt: skip
