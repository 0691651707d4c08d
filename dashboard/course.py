"""Charts over time: time runs to the right, bands are clear windows, gaps stay gaps, intervals are soft bands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from dashboard.language import say, written
from dashboard.look import picture
from dashboard.plain import number, text

Point = tuple[datetime, float]
Between = tuple[datetime, float, float]
Mark = tuple[datetime, datetime, float]
"""From when until when something was so, and in what share of that time."""
MOST_POINTS = 5000
INK, QUIET, STONE = "#2b2a28", "#a59e92", "#e6e2da"
DASHES = ("", "7 4", "2 3", "10 3 2 3", "5 2", "1 5")
"""How the lines of a chart with several are told apart: by their strokes, the first one whole."""


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
    more: Sequence[tuple[str, Sequence[Point]]] = field(default=())


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
        + [v for _, line in chart.more for _, v in line]
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
        return f'<p class="quiet">{text(chart.name)}: {text(say("nothing to draw yet"))}.</p>'
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100" preserveAspectRatio="none">'
        f"{_layers(chart, frame)}</svg>"
    )
    dots = "".join(
        f'<span class="dot" style="left:{frame.x(at):.2f}%;top:{frame.y(v):.2f}%"></span>'
        for at, v in chart.dots
    )
    return (
        f'<figure class="figure-of-time" style="margin:0"><figcaption><b>{text(chart.name)}</b> <span class="quiet">{text(chart.words)}</span>{_which(chart)}</figcaption>'
        f'<div class="chart{" low" if chart.low else ""}"><div class="plot">{picture(svg, _in_words(chart))}{dots}</div>'
        f"{_up(frame, chart.sign)}{_across(frame, zone)}</div></figure>"
    )


def _layers(chart: Chart, frame: Frame) -> str:
    """What stands in the frame, from the back to the front."""
    each = MOST_POINTS // (1 + len(chart.more))
    layers = [*_windows(chart, frame), _soft(chart, frame)]
    layers += _lines(thinned(chart.points, each), frame, chart.gap_s, INK)
    for (_, line), dash in zip(chart.more, DASHES[1:], strict=False):
        layers += _lines(thinned(line, each), frame, chart.gap_s, "#5d574e", dash)
    return f'<rect width="100" height="100" fill="{STONE}"/>{"".join(layers)}'


def _which(chart: Chart) -> str:
    """The names of the further lines beside a piece of their stroke; nothing where there is only one line."""
    pieces = (
        f'<span class="stroke"><svg width="42" height="8" aria-hidden="true"><line x1="1" x2="41" y1="4" y2="4" stroke="{INK}" stroke-width="2" stroke-dasharray="{dash}"/></svg> {text(name)}</span>'
        for (name, _), dash in zip(chart.more, DASHES[1:], strict=False)
    )
    return "".join(pieces)


def ticks_below(ticks: Sequence[tuple[datetime, str]], start: datetime, end: datetime, most: int = 24) -> str:
    """Moves, entries and alarms as small labelled ticks under a chart; those too close share one."""
    frame, drawn, before = Frame(start, end, 0.0, 1.0), list[str](), -100.0
    for at, words in sorted(ticks):
        place = frame.x(at)
        if not 0 <= place <= 100 or place - before < 100 / most:
            continue
        before = place
        edge = " last" if place > 80 else ""
        row = len(drawn) % 3
        drawn.append(
            f'<span class="event row{row}{edge}" style="left:{place:.2f}%"><span>{text(words, 40)}</span></span>'
        )
    return f'<div class="events">{"".join(drawn)}</div>' if drawn else ""


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


def thinned(points: Sequence[Point], most: int) -> Sequence[Point]:
    """At most so many points of a line, in order: of each stretch of it the lowest and the highest."""
    if len(points) <= most:
        return points
    stretch = math.ceil(2 * len(points) / most)
    kept: list[Point] = []
    for start in range(0, len(points), stretch):
        part = points[start : start + stretch]
        ends = {min(part, key=lambda p: p[1]), max(part, key=lambda p: p[1])}
        kept += sorted(ends)
    return kept


def _lines(points: Sequence[Point], frame: Frame, gap_s: float, colour: str, dash: str = "") -> list[str]:
    runs: list[list[str]] = [[]]
    before: datetime | None = None
    for at, value in points:
        if before is not None and (at - before).total_seconds() > gap_s:
            runs.append([])
        runs[-1].append(f"{frame.x(at):.3f},{frame.y(value):.2f}")
        before = at
    return [
        f'<polyline points="{" ".join(run)}" fill="none" stroke="{colour}" stroke-width="1.6" stroke-dasharray="{dash}" stroke-linejoin="round" vector-effect="non-scaling-stroke"/>'
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
        steps.append((at.astimezone(UTC), written(at, "MMMd")))
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
            steps.append((at.astimezone(UTC), written(at, "yMMM" if month == 1 or not steps else "MMM")))
        month += 1


def _in_words(chart: Chart) -> str:
    values = [v for _, v in chart.points] or [v for _, v in chart.dots]
    if not values:
        return f"{chart.name}: " + say("no values")
    return f"{chart.name}: " + say(
        "from {low} to {high} {sign}, {last} at the end",
        low=number(min(values)),
        high=number(max(values)),
        sign=chart.sign,
        last=number(values[-1]),
    )


def picture_of(
    title: str, charts: Sequence[Chart], start: datetime, end: datetime, zone: ZoneInfo,
    marked: Sequence[tuple[str, Sequence[Mark]]] = (),
) -> str:  # fmt: skip
    """The charts as one SVG picture of its own, with their scales written in, to take along.

    ``marked`` are marks by the words for what was so in them: a strip each, below the charts.
    """
    width, height, left = 1200, 300, 80
    drawn = [f'<text x="{left}" y="36" font-size="26" font-weight="700">{text(title)}</text>']
    for row, chart in enumerate(charts):
        frame = frame_of(chart, start, end)
        if frame:
            drawn.append(
                _for_picture(chart, frame, zone, left, 80 + row * (height + 90), width - left - 20, height)
            )
    total = 80 + len(charts) * (height + 90)
    for words, spans in marked:
        drawn.append(_marked(words, spans, Frame(start, end, 0.0, 1.0), left, total, width - left - 20))
        total += 70
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {total}" font-family="Atkinson Hyperlegible, DejaVu Sans, sans-serif" '
        f'font-size="17" fill="{INK}"><rect width="{width}" height="{total}" fill="#efece6"/>{"".join(drawn)}</svg>'
    )


def _marked(words: str, spans: Sequence[Mark], frame: Frame, left: int, top: int, width: int) -> str:
    drawn = []
    for begin, until, share in spans:
        x, height = left + frame.x(begin) * width / 100, 18 * share
        wide = max(2.0, (frame.x(until) - frame.x(begin)) * width / 100)
        drawn.append(
            f'<rect x="{x:.1f}" y="{top + 18 - height:.1f}" width="{wide:.1f}" height="{height:.1f}" fill="{INK}"/>'
        )
    ground = f'<rect x="{left}" y="{top}" width="{width}" height="18" fill="{STONE}"/>'
    return f'<text x="{left}" y="{top - 8}">{text(words)}</text>{ground}{"".join(drawn)}'


def _for_picture(
    chart: Chart, frame: Frame, zone: ZoneInfo, left: int, top: int, width: int, height: int
) -> str:
    marks = [
        f'<text x="{left - 8}" y="{top + frame.y(t) * height / 100 + 5:.1f}" text-anchor="end">{number(t, 1)}</text>'
        for t in nice_steps(frame.bottom, frame.top, 5)
    ] + [
        f'<text x="{left + frame.x(at) * width / 100:.1f}" y="{top + height + 24}" text-anchor="middle">{text(words)}</text>'
        for at, words in time_steps(frame.start, frame.end, zone)
    ]
    names = ", ".join(text(name) for name, _ in chart.more)
    return (
        f'<text x="{left}" y="{top - 10}">{text(chart.name)}, {text(chart.sign)} {names}</text>'
        f'<svg x="{left}" y="{top}" width="{width}" height="{height}" viewBox="0 0 100 100" preserveAspectRatio="none">'
        f"{_layers(chart, frame)}</svg>{''.join(marks)}"
    )
