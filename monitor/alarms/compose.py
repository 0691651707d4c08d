"""What a message says, put together at the moment it first leaves, from what is true then."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from monitor import air
from monitor.alarms.alarms import Alarms
from monitor.alarms.daily import Day, daily_words
from monitor.alarms.lifecycle import QUIET, State
from monitor.alarms.picture import Course, picture
from monitor.alarms.record import Alarm
from monitor.alarms.words import Context, Words, words_of
from monitor.clock import DAY_MS, TEN_MINUTES_MS
from monitor.errors import MonitorError
from monitor.rind.drying import drying_pace
from monitor.rules.finding import Finding
from monitor.rules.words import place_name, span_text
from monitor.site import Site, Stage
from monitor.store.protocol import Store

logger = logging.getLogger(__name__)
COUNTS_FROM = 1.15
"""A mean pace under this times the intended is not worth a sentence; common practice, no source."""


class Composer:
    """Composes messages for a site.

    Parameters
    ----------
    open_store : opens the store that pictures and costs are read from; where it is away, messages go without
    """

    def __init__(self, site: Site, alarms: Alarms, open_store: Callable[[], Store] | None = None) -> None:
        self._site, self._alarms, self._open_store = site, alarms, open_store
        self._store: Store | None = None

    def compose(self, message: dict[str, Any], at_ms: int, always: bool = False) -> Words | str:
        """A message's words, or why it is not to leave (``always``: it leaves whatever became of its alarms)."""
        if message["about"] == "daily":
            return self._daily(at_ms)
        every = self._alarms.of_message(message["id"])
        told = every if always else still_true(message["about"], every)
        if not told:
            return "it stands again" if message["about"] == "over" else "over, or seen to, before it left"
        over = message["about"] == "over"
        context = Context(
            at_ms,
            cost=next((c for a in told if (c := self._quietly(self._cost, a))), "") if over else "",
            page=self._page(),
            may_acknowledge=self._site.alarms.acknowledge is not None,
            picture=None if always else self._quietly(self._picture, told, at_ms),
            over_meanwhile=0 if over else sum(not a.active for a in every),
        )
        return words_of(self._site, told, message["about"], context)

    def _page(self) -> str:
        page = self._site.alarms.page
        return f"{page.rstrip('/')}/alarms" if page else ""

    def _quietly(self, how: Callable[..., Any], *given: Any) -> Any:
        """What a message can do without is left out where it cannot be had."""
        try:
            return how(*given)
        except (MonitorError, OSError, ValueError, KeyError, TypeError):
            logger.warning("a message goes without %s", how.__name__.strip("_"), exc_info=True)
            return None

    def _opened(self) -> Store | None:
        if self._store is None and self._open_store is not None:
            self._store = self._open_store()
        return self._store

    def _picture(self, alarms: Sequence[Alarm], at_ms: int) -> bytes | None:
        """The air where the most pressing alarm is, in the band of the first that knows one; none of several rooms."""
        store, finding = self._opened(), alarms[0].finding
        room = self._site.room_by_id.get(finding.room)
        if store is None or room is None or len({a.finding.room for a in alarms}) > 1:
            return None
        frame = store.read_air(finding.room, finding.place, at_ms - DAY_MS, at_ms + 1)
        if frame.empty:
            return None
        bands = self._bands(alarms)
        where = place_name(room, finding.place)
        courses = [
            Course(f"{where}: temperature", "°C", frame["temperature_c"].to_numpy(float), bands[0]),
            Course(f"{where}: humidity", "%", frame["rh_pct"].to_numpy(float), bands[1]),
        ]
        since_ms = min(a.since_ms for a in alarms)
        return picture(_times(frame), courses, at_ms, self._site.site.zone, since_ms)

    def _bands(self, alarms: Sequence[Alarm]) -> list[tuple[float, float] | None]:
        """The band of temperature and of humidity that the first alarm with one speaks of."""
        bands: list[tuple[float, float] | None] = [None, None]
        for alarm in alarms:
            stage, numbers = self._stage(alarm.finding), dict[str, Any](alarm.finding.numbers)
            given = [numbers.get("band_c"), numbers.get("band_pct")]
            if stage is not None:
                given = [given[0] or stage.temperature_c, given[1] or stage.rh_pct]
            bands = [band or _band(value) for band, value in zip(bands, given, strict=True)]
        return bands

    def _cost(self, alarm: Alarm) -> str:
        """What it cost the wheels: how much drying the time stood for, by the air records of the span."""
        store, finding = self._opened(), alarm.finding
        stage = self._stage(finding)
        until_ms = alarm.returned_ms or alarm.ended_ms
        if store is None or stage is None or until_ms is None or until_ms - alarm.since_ms < TEN_MINUTES_MS:
            return ""
        frame = store.read_air(finding.room, finding.place, alarm.since_ms, until_ms)
        frame = frame.dropna(subset=["temperature_c", "rh_pct"])
        if frame.empty:
            return ""
        pace = drying_pace(
            frame["temperature_c"].to_numpy(float),
            frame["rh_pct"].to_numpy(float),
            stage.reference_temperature_c,
            stage.reference_rh_pct,
            air_speed_m_s=self._site.room_by_id[finding.room].air_speed_at(finding.place),
            pressure_pa=float(air.pressure_at_altitude(self._site.site.altitude_m)),
        )
        return cost_words(float(np.nanmean(pace)), until_ms - alarm.since_ms)

    def _stage(self, finding: Finding) -> Stage | None:
        style = self._site.style_by_id.get(finding.style)
        name = finding.numbers.get("stage")
        return next((stage for stage in style.stages if stage.name == name), None) if style else None

    def _daily(self, at_ms: int) -> Words:
        ended = [a for a in self._alarms.recent(100) if (a.ended_ms or 0) >= at_ms - DAY_MS]
        newest = self._quietly(self._newest) or {}
        return daily_words(
            self._site,
            Day(self._alarms.standing(), ended, newest),
            Context(at_ms, page=self._page()),
        )

    def _newest(self) -> dict[str, Any]:
        store = self._opened()
        return {r.room: r for r in store.latest_air() if not r.place} if store is not None else {}


def still_true(about: str, alarms: Sequence[Alarm]) -> list[Alarm]:
    """Of a message's alarms those it still speaks truly of; none where it is not to leave."""
    if about == "over":
        standing = any(a.active and a.state not in QUIET and a.ended_ms is None for a in alarms)
        return [] if standing else list(alarms)
    live = [a for a in alarms if a.active and a.ended_ms is None and a.state not in QUIET]
    if about in ("reminder", "escalated"):
        live = [a for a in live if a.state is State.UNACKNOWLEDGED]
    return live


def cost_words(pace: float, lasted_ms: int) -> str:
    """What a mean drying pace over a span meant for the wheels; empty where it is not worth a sentence."""
    if pace <= 0:
        return f"the wheels took up water for {span_text(lasted_ms)} instead of drying"
    if pace >= COUNTS_FROM:
        return (
            f"in {span_text(lasted_ms)} the wheels dried as much as meant for {span_text(lasted_ms * pace)}"
        )
    if pace <= 1 / COUNTS_FROM:
        return f"in {span_text(lasted_ms)} the wheels dried only as much as meant for {span_text(lasted_ms * pace)}"
    return ""


def _band(value: Any) -> tuple[float, float] | None:
    return (float(value[0]), float(value[1])) if isinstance(value, list | tuple) and len(value) == 2 else None


def _times(frame: pd.DataFrame) -> Any:
    return pd.DatetimeIndex(frame.index).as_unit("ms").asi8
