"""Charts over time: time runs to the right, bands are clear windows, gaps stay gaps, intervals are soft bands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from dashboard.look import picture
from dashboard.plain import number, text

Point = tuple[datetime, float]
Between = tuple[datetime, float, float]
MOST_POINTS = 5000
INK, QUIET, STONE = "#2b2a28", "#a59e92", "#e6e2da"


@dataclass(frozen=True)
class Chart:
    """What one chart shows.  ``bands`` and ``soft`` are (time, low, high); bands are wanted, soft is doubt."""

    name: str
    points: Sequence[Point] = ()
    bands: Sequence[Between] = ()
    soft: Sequence[Between] = ()
    dots: Sequence[Point] = ()
    sign: str = ""
    gap_s: float = math.inf
    low: bool = False
    words: str = ""
    more: Sequence[Sequence[Point]] = field(default=())


@dataclass(frozen=True)
class Frame:
    """The stretch of time and of values a chart covers; places in percent of its width and height."""

    start: datetime
    end: datetime
    bottom: float
    top: float

    def x(self, at: datetime) -> float:
        return 100 * (at - self.start).total_seconds() / max(1.0, (self.end - self.start).total_seconds())

    def y(self, value: float) -> float:
        return 100 * (self.top - value) / (self.top - self.bottom)


def frame_of(chart: Chart, start: datetime, end: datetime) -> Frame | None:
    """The frame that holds everything a chart shows; None where it shows nothing."""
    values = (
        [v for _, v in chart.points]
        + [v for _, v in chart.dots]
        + [v for line in chart.more for _, v in line]
    )
    values += [v for _, low, high in [*chart.bands, *chart.soft] for v in (low, high)]
    if not values:
        return None
    low, high = min(values), max(values)
    margin = max(0.08 * (high - low), 0.02 * abs(high), 0.1)
    return Frame(start, end, low - margin, high + margin)


def draw(chart: Chart, start: datetime, end: datetime, zone: ZoneInfo) -> str:
    """A chart as HTML: a drawing that stretches, with its figures as text beside it."""
    frame = frame_of(chart, start, end)
    if frame is None:
        return f'<p class="quiet">{text(chart.name)}: nothing to draw yet.</p>'
    layers = [*_windows(chart, frame), _soft(chart, frame), *_lines(chart.points, frame, chart.gap_s, INK)]
    for line in chart.more:
        layers += _lines(line, frame, chart.gap_s, "#7a7368")
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100" preserveAspectRatio="none">'
        f'<rect width="100" height="100" fill="{STONE}"/>{"".join(layers)}</svg>'
    )
    dots = "".join(
        f'<span class="dot" style="left:{frame.x(at):.2f}%;top:{frame.y(v):.2f}%"></span>'
        for at, v in chart.dots
    )
    return (
        f'<figure class="figure-of-time" style="margin:0"><figcaption><b>{text(chart.name)}</b> <span class="quiet">{text(chart.words)}</span></figcaption>'
        f'<div class="chart{" low" if chart.low else ""}"><div class="plot">{picture(svg, _in_words(chart))}{dots}</div>'
        f"{_up(frame, chart.sign)}{_across(frame, zone)}</div></figure>"
    )


def _windows(chart: Chart, frame: Frame) -> list[str]:
    """The wanted bands as clear rectangles, one for each stretch in which they do not change."""
    rectangles = []
    for index, (at, low, high) in enumerate(chart.bands):
        first = index == 0 or chart.bands[index - 1][1:] != (low, high)
        if first:
            begin = frame.x(at)
        last = index == len(chart.bands) - 1 or chart.bands[index + 1][1:] != (low, high)
        if last:
            until = frame.x(chart.bands[index + 1][0]) if index + 1 < len(chart.bands) else frame.x(at)
            rectangles.append(
                f'<rect x="{begin:.2f}" y="{frame.y(high):.2f}" width="{max(0.1, until - begin):.2f}" height="{frame.y(low) - frame.y(high):.2f}" fill="#fff"/>'
            )
    return rectangles


def _soft(chart: Chart, frame: Frame) -> str:
    drawn, run = [], list[Between]()
    for between in chart.soft:
        if run and (between[0] - run[-1][0]).total_seconds() > chart.gap_s:
            drawn.append(_soft_run(run, frame))
            run = []
        run.append(between)
    return "".join([*drawn, _soft_run(run, frame)])


def _soft_run(run: Sequence[Between], frame: Frame) -> str:
    if len(run) < 2:
        return ""
    upper = [f"{frame.x(at):.3f},{frame.y(high):.2f}" for at, _, high in run]
    lower = [f"{frame.x(at):.3f},{frame.y(low):.2f}" for at, low, _ in reversed(run)]
    return f'<polygon points="{" ".join(upper + lower)}" fill="{QUIET}" fill-opacity="0.45"/>'


def _lines(points: Sequence[Point], frame: Frame, gap_s: float, colour: str) -> list[str]:
    runs: list[list[str]] = [[]]
    before: datetime | None = None
    for at, value in points:
        if before is not None and (at - before).total_seconds() > gap_s:
            runs.append([])
        runs[-1].append(f"{frame.x(at):.3f},{frame.y(value):.2f}")
        before = at
    return [
        f'<polyline points="{" ".join(run)}" fill="none" stroke="{colour}" stroke-width="1.6" stroke-linejoin="round" vector-effect="non-scaling-stroke"/>'
        for run in runs
        if len(run) > 1
    ]


def _up(frame: Frame, sign: str) -> str:
    ticks = nice_steps(frame.bottom, frame.top, 5)
    digits = 0 if all(abs(t - round(t)) < 1e-9 for t in ticks) else 1
    places = [t for t in ticks if 4 <= frame.y(t) <= 97]
    return "".join(
        f'<span class="tick up" style="top:{frame.y(t):.2f}%">{number(t, digits)}{" " + text(sign) if t == places[-1] else ""}</span>'
        for t in places
    )


def nice_steps(low: float, high: float, about: int) -> list[float]:
    """Round values between two others, about so many of them."""
    raw = (high - low) / about
    power = 10 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= raw * 0.999)
    first = math.ceil(low / step)
    return [round(k * step, 9) for k in range(first, math.floor(high / step) + 1)]


def _across(frame: Frame, zone: ZoneInfo) -> str:
    marks = time_steps(frame.start, frame.end, zone)
    return '<div class="across">' + "".join(_time_tick(frame.x(at), words) for at, words in marks) + "</div>"


def _time_tick(place: float, words: str) -> str:
    edge = " first" if place < 6 else " last" if place > 94 else ""
    return f'<span class="tick{edge}" style="left:{place:.2f}%">{text(words)}</span>'


def time_steps(start: datetime, end: datetime, zone: ZoneInfo, most: int = 5) -> list[tuple[datetime, str]]:
    """Times worth naming under a chart, in the site's own zone: hours, days, months or years, at most so many."""
    hours = (end - start).total_seconds() / 3600
    for step in (1, 2, 3, 6, 12):
        if hours / step <= most:
            return _hours(start.astimezone(zone), end, step)
    for days in (1, 2, 7, 14):
        if hours / 24 / days <= most:
            return _days(start.astimezone(zone), end, days)
    for months in (1, 2, 3, 6, 12, 24, 60):
        if hours / 24 / 30.4 / months <= most:
            return _months(start.astimezone(zone), end, months)
    return []


def _hours(local: datetime, end: datetime, step: int) -> list[tuple[datetime, str]]:
    at = local.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    steps = []
    while at <= end:
        if at.hour % step == 0:
            steps.append((at.astimezone(UTC), f"{at:%H:%M}"))
        at += timedelta(hours=1)
    return steps


def _days(local: datetime, end: datetime, step: int) -> list[tuple[datetime, str]]:
    at = local.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    steps = []
    while at <= end:
        steps.append((at.astimezone(UTC), f"{at.day} {at:%b}"))
        at += timedelta(days=step)
    return steps


def _months(local: datetime, end: datetime, step: int) -> list[tuple[datetime, str]]:
    year, month = local.year, local.month + 1
    steps: list[tuple[datetime, str]] = []
    while True:
        year, month = year + (month - 1) // 12, (month - 1) % 12 + 1
        at = local.replace(year=year, month=month, day=1, hour=0, minute=0, second=0, microsecond=0)
        if at > end:
            return steps
        if (month - 1) % min(step, 12) == 0 and (step <= 12 or year % (step // 12) == 0):
            steps.append((at.astimezone(UTC), f"{at:%b %Y}" if month == 1 or not steps else f"{at:%b}"))
        month += 1


def _in_words(chart: Chart) -> str:
    values = [v for _, v in chart.points] or [v for _, v in chart.dots]
    if not values:
        return f"{chart.name}: no values."
    return f"{chart.name}: from {number(min(values))} to {number(max(values))} {chart.sign}, {number(values[-1])} at the end."
