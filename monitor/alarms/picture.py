"""A small picture of the last 24 hours of a room's air, as PNG bytes for a message."""

from __future__ import annotations

import io
import itertools
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from monitor.clock import DAY_MS, from_ms, to_ms

WIDTH, PANEL, GAP, LEFT, RIGHT, TOP, BOTTOM = 960, 170, 44, 110, 24, 46, 48
INK, SOFT, BAND, ALERT, PAPER = "#222222", "#6b6b6b", "#e4e4df", "#b3261e", "#ffffff"
LONGEST_GAP_MS = 1_800_000


@dataclass(frozen=True)
class Course:
    """One quantity over the picture's span: its name, unit, values (NaN where not known) and band, if any."""

    name: str
    unit: str
    values: NDArray[np.float64]
    band: tuple[float, float] | None


def picture(
    time_ms: NDArray[np.int64], courses: list[Course], end_ms: int, zone: tzinfo, since_ms: int | None = None
) -> bytes | None:
    """Courses over the 24 hours before ``end_ms``, one under another; None where there is nothing to show.

    What lies outside the band is drawn in another colour and thicker; a line marks ``since_ms``.
    """
    shown = [c for c in courses if np.isfinite(c.values).any()]
    if not shown:
        return None
    height = TOP + len(shown) * (PANEL + GAP) - GAP + BOTTOM
    image = Image.new("RGB", (WIDTH, height), PAPER)
    draw = ImageDraw.Draw(image)
    begin_ms = end_ms - DAY_MS
    for number, course in enumerate(shown):
        top = TOP + number * (PANEL + GAP)
        _panel(draw, course, time_ms, begin_ms, top)
        if since_ms is not None and begin_ms < since_ms < end_ms:
            x = _x(since_ms, begin_ms)
            for y in range(top, top + PANEL, 14):
                draw.line([(x, y), (x, y + 7)], fill=INK, width=2)
    _hours(draw, begin_ms, end_ms, zone, TOP + len(shown) * (PANEL + GAP) - GAP)
    stream = io.BytesIO()
    image.quantize(64, Image.Quantize.MAXCOVERAGE).save(stream, "PNG", optimize=True)
    return stream.getvalue()


def _font(size: int) -> ImageFont.ImageFont | ImageFont.FreeTypeFont:
    return ImageFont.load_default(size)


def _x(time_ms: float, begin_ms: int) -> float:
    return LEFT + (time_ms - begin_ms) / DAY_MS * (WIDTH - LEFT - RIGHT)


def _panel(
    draw: ImageDraw.ImageDraw, course: Course, time_ms: NDArray[np.int64], begin_ms: int, top: int
) -> None:
    known = course.values[np.isfinite(course.values)]
    low, high = float(known.min()), float(known.max())
    if course.band is not None:
        low, high = min(low, course.band[0]), max(high, course.band[1])
    room = max((high - low) * 0.12, 0.2)
    low, high = low - room, high + room

    def y(value: float) -> float:
        return top + PANEL - (value - low) / (high - low) * PANEL

    if course.band is not None:
        draw.rectangle([LEFT, y(course.band[1]), WIDTH - RIGHT, y(course.band[0])], fill=BAND)
    draw.rectangle([LEFT, top, WIDTH - RIGHT, top + PANEL], outline=SOFT)
    latest = f"{course.name} {known[-1]:.1f} {course.unit}"
    wanted = f"   wanted {course.band[0]:g}-{course.band[1]:g} {course.unit}" if course.band else ""
    draw.text((LEFT, top - 32), latest + wanted, fill=INK, font=_font(24))
    for value in (low + room, high - room):
        draw.text((LEFT - 10, y(value)), f"{value:.1f}", fill=SOFT, font=_font(22), anchor="rm")
    points = [(int(t), float(v)) for t, v in zip(time_ms, course.values, strict=True) if np.isfinite(v)]
    for (t0, v0), (t1, v1) in itertools.pairwise(points):
        if t1 - t0 <= LONGEST_GAP_MS:
            out = course.band is not None and not course.band[0] <= (v0 + v1) / 2 <= course.band[1]
            ends = [(_x(t0, begin_ms), y(v0)), (_x(t1, begin_ms), y(v1))]
            draw.line(ends, fill=ALERT if out else INK, width=6 if out else 3)


def _hours(draw: ImageDraw.ImageDraw, begin_ms: int, end_ms: int, zone: tzinfo, top: int) -> None:
    moment: datetime = from_ms(begin_ms).astimezone(zone).replace(minute=0, second=0, microsecond=0)
    while to_ms(moment) <= end_ms:
        x = _x(to_ms(moment), begin_ms)
        if moment.hour % 6 == 0 and LEFT <= x <= WIDTH - RIGHT:
            draw.line([(x, top), (x, top + 8)], fill=SOFT, width=2)
            if x < WIDTH - RIGHT - 30:
                draw.text((x, top + 12), f"{moment:%H:%M}", fill=SOFT, font=_font(22), anchor="ma")
        moment = (moment.astimezone(from_ms(0).tzinfo) + timedelta(hours=1)).astimezone(zone)
