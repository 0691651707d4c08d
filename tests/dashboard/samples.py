"""Answers from sample documents, in place of the monitor's: MATURING_ANSWERS=tests.dashboard.samples, MATURING_SAMPLE=STATE."""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from monitor.clock import now, rfc3339, to_ms
from monitor.errors import LedgerDoubt, LedgerError, StoreAway, UnknownWheel
from monitor.records import Reject
from monitor.site import Site
from tests.dashboard.sample_documents import (
    HOSTILE,
    STATES,
    Document,
    alarms,
    health,
    next_to_grade,
    planned_work,
    review,
    rooms,
    statistics,
    wheels,
)
from tests.dashboard.sample_link import link

__all__ = ["HOSTILE", "STATES", "alarms", "next_to_grade", "review", "rooms", "wheels"]


class SampleAnswers:
    """Answers a dashboard source's questions with the samples of one state."""

    def __init__(self, state: str) -> None:
        self._state = state

    @property
    def state(self) -> str:
        """As it was made; or what MATURING_SAMPLE_FROM, a file that a test writes while pages are open, says now."""
        file = os.environ.get("MATURING_SAMPLE_FROM")
        return Path(file).read_text(encoding="utf-8").strip() if file else self._state

    def rooms_document(self, site: Site) -> Document:
        return rooms(self.state)

    def alarms_document(self, site: Site) -> Document:
        self.need_store()
        return alarms(self.state)

    def wheels_document(self, site: Site) -> Document:
        self.need_store()
        return wheels(self.state)

    def need_store(self) -> None:
        """In the broken house the monitor stopped two hours ago and then the disk went: only the rooms were kept."""
        if self.state == "broken":
            raise StoreAway("readings.sqlite cannot be read: disk I/O error; check the disk, then try again")

    def review_document(self, site: Site, wheel: str) -> Document:
        self.need_store()
        if wheel not in {w["name"] for w in wheels(self.state)["wheels"]}:
            raise UnknownWheel(f"no wheel {wheel} is in the ledger")
        return review(wheel, self.state)


class SampleLedger:
    """Takes entries into a list; refuses a note that says so, doubts a mass above 100 kg."""

    def __init__(self) -> None:
        self.entries: list[tuple[Any, ...]] = []

    def enter(
        self,
        kind: str,
        wheel: str | list[str],
        at: datetime | None,
        author: str,
        said: Document,
        *,
        sure: bool = False,
    ) -> list[int]:
        if said.get("note") == "refuse me":
            raise LedgerError("the ledger refuses this note")
        if (said.get("mass_kg") or 0) > 100 and not sure:
            raise LedgerDoubt("a wheel of this style weighs about 25 kg")
        names = [wheel] if isinstance(wheel, str) else list(wheel)
        self.entries += [(kind, name, author, said) for name in names]
        return [101 + len(self.entries) - len(names) + n for n in range(len(names))]

    def undo(self, entries: list[int], *, author: str) -> None:
        self.entries.pop()


class SampleAlarms:
    """Keeps what was acknowledged."""

    def __init__(self) -> None:
        self.acknowledged: dict[int, tuple[str, str]] = {}
        self.shelved: dict[int, int] = {}
        self.works: list[tuple[str, str, str]] = []

    def acknowledge(self, alarm: int, person: str, note: str) -> None:
        self.acknowledged[alarm] = (person, note)

    def shelve(self, alarm: int, person: str, until_ms: int, note: str) -> None:
        self.shelved[alarm] = until_ms

    def plan_work(self, room: str, kind: str, until_ms: int, person: str, note: str) -> None:
        self.works.append((room, kind, person))


class SampleStore:
    """Air records of any room: a swing by the day, half a day of silence in the middle of the span."""

    def rejects(self, limit: int) -> list[Reject]:
        _answers.need_store()
        topics = ("maturing/wash-2/senml", "greenhouse/7/air", "maturing/" + HOSTILE)
        if os.environ.get("MATURING_SAMPLE") == "empty":
            return []
        return [
            Reject(to_ms(now()) - 60_000 * n, topics[n % 3], "unknown topic", b'{"t": 12.1}')
            for n in range(9)
        ]

    def read_air(self, room: str, place: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        _answers.need_store()
        times = np.arange(start_ms - start_ms % 600_000, end_ms, 600_000)
        middle = (start_ms + end_ms) / 2
        times = times[(times < middle) | (times > middle + 43_200_000)]
        if os.environ.get("MATURING_SAMPLE") == "empty":
            times = times[:0]
        swing = np.sin(times / 86_400_000 * 2 * np.pi)
        frame = pd.DataFrame({"temperature_c": 11 + 0.6 * swing, "rh_pct": 85 + 2 * swing})
        for name, unit, spread in (("temperature", "_c", 0.2), ("rh", "_pct", 1.0)):
            frame[f"{name}_min{unit}"] = frame[f"{name}{unit}"] - spread
            frame[f"{name}_max{unit}"] = frame[f"{name}{unit}"] + spread
        frame.index = pd.DatetimeIndex(times.astype("datetime64[ms]"), name="start").tz_localize("UTC")
        return frame

    def read(self, sensor: str, quantity: str, start_ms: int, end_ms: int) -> pd.DataFrame:
        """A contact that is on for the first 40 minutes of every sixth hour, and for three hours in the middle; silent for a twentieth."""
        _answers.need_store()
        times = np.arange(start_ms - start_ms % 600_000, end_ms, 600_000)
        share = (times - start_ms) / (end_ms - start_ms)
        times = times[(share < 0.7) | (share > 0.75)]
        if os.environ.get("MATURING_SAMPLE") == "empty":
            times = times[:0]
        long = np.abs(times - (start_ms + end_ms) / 2) < 5_400_000
        on = long | ((times % 21_600_000 < 2_400_000) & (quantity == "door_open"))
        index = pd.DatetimeIndex(times.astype("datetime64[ms]"), name="time").tz_localize("UTC")
        columns = {
            "value": on.astype(float),
            "flag": np.full(len(times), 1, np.uint8),
            "reason": [""] * len(times),
        }
        return pd.DataFrame(columns, index=index)


class SampleParts:
    """What entries are written to."""

    def __init__(self) -> None:
        self.ledger, self.alarms, self.store = SampleLedger(), SampleAlarms(), SampleStore()


_parts = SampleParts()
_answers = SampleAnswers(os.environ.get("MATURING_SAMPLE", "normal"))


def parts(site: Site) -> SampleParts:
    return _parts


def rooms_document(site: Site) -> Document:
    return _answers.rooms_document(site)


def link_document(site: Site) -> Document:
    _answers.need_store()
    return link(_answers.state)


def next_to_grade_document(site: Site) -> Document:
    _answers.need_store()
    return next_to_grade(_answers.state)


def monitor_document(site: Site) -> Document:
    return health(_answers.state)


def planned_work_document(site: Site) -> Document:
    return planned_work(_answers.state)


def alarm_statistics_document(site: Site, days: float) -> Document:
    return statistics(_answers.state)


def alarm_history_document(site: Site, alarm: int) -> Document:
    at = now()
    steps = [
        {"at": rfc3339(at - timedelta(hours=3 - n)), "event": event, "state": "unacknowledged", "person": person, "note": note, "until_at": None, "what": None}
        for n, (event, person, note) in enumerate((("raise", None, None), ("acknowledge", "Imelda", HOSTILE), ("return", None, None)))
    ]  # fmt: skip
    return {"version": 1, "alarm": {"id": alarm}, "steps": steps}


def wheels_document(site: Site) -> Document:
    return _answers.wheels_document(site)


def alarms_document(site: Site) -> Document:
    document = _answers.alarms_document(site)
    for alarm in document["standing"]:
        if alarm["id"] in _parts.alarms.shelved:
            alarm.update(state="shelved", until_at=rfc3339(_parts.alarms.shelved[alarm["id"]]))
        if alarm["id"] in _parts.alarms.acknowledged:
            person, note = _parts.alarms.acknowledged[alarm["id"]]
            alarm.update(
                state="acknowledged", acknowledged_by=person, acknowledged_at=document["at"], note=note
            )
    return document


def review_document(site: Site, wheel: str) -> Document:
    document = _answers.review_document(site, wheel)
    for number, (kind, about, author, said) in enumerate(_parts.ledger.entries, start=101):
        if about == wheel:
            document["ledger"].append(
                {
                    "id": number,
                    "at": document["at"],
                    "kind": kind,
                    "author": author,
                    "summary": said.get("note") or str(said),
                    "details": {},
                    "corrects": None,
                }
            )
    return document
