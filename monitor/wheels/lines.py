"""Which lines of the ledger stand, and what they make of a wheel: the reading side of the ledger, without a database.

A line is corrected or taken back by a later line that names it; that line can itself be taken back, and then
the first stands again.  Everything here is computed from lines, never stored.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

import msgspec

from monitor.clock import DAY_MS, from_ms
from monitor.wheels.entries import GONE_KINDS


@dataclass(frozen=True, slots=True)
class Line:
    """A row of the ledger as kept; ``details`` is JSON.  ``row`` is where it stood in a file, if it came from one."""

    id: int
    kind: str
    at_ms: int
    recorded_ms: int
    author: str
    make_id: int
    wheel_id: int | None
    details: str
    corrects: int | None = None
    batch: str = ""
    row: int | None = None
    new: bool = False
    sure: bool = False

    def said(self) -> dict[str, Any]:
        """The details, decoded."""
        return msgspec.json.decode(self.details)


def corrected_by(lines: Iterable[Line]) -> dict[int, int]:
    """For each line that no longer stands, the line that corrects it or takes it back."""
    by: dict[int, int] = {}
    for line in sorted(lines, key=lambda line: -line.id):
        if line.corrects is not None and line.id not in by:
            by.setdefault(line.corrects, line.id)
    return by


def standing(lines: Sequence[Line]) -> list[Line]:
    """The lines that stand, in order of the time they speak of."""
    gone = corrected_by(lines)
    return sorted(
        (line for line in lines if line.id not in gone and line.kind != "undo"),
        key=lambda line: (line.at_ms, line.id),
    )


@dataclass(frozen=True)
class Stay:
    """A span in one place; ``to_ms`` is None while it lasts."""

    room: str
    place: str
    shelf: str
    from_ms: int
    to_ms: int | None


@dataclass
class Track:
    """What the lines of one wheel and of its make come to."""

    wheel_id: int
    make_id: int
    name: str
    make: str
    make_lines: list[Line] = field(default_factory=list)
    own_lines: list[Line] = field(default_factory=list)

    @cached_property
    def make_line(self) -> Line | None:
        """The make's standing line; None where the make was taken back."""
        stands = standing(self.make_lines)
        return stands[-1] if stands else None

    @cached_property
    def own(self) -> list[Line]:
        """The wheel's standing lines in order of time."""
        return standing(self.own_lines)

    @cached_property
    def gone(self) -> Line | None:
        return next((line for line in self.own if line.kind in GONE_KINDS), None)

    @cached_property
    def stays(self) -> list[Stay]:
        """Where the wheel was, span by span, from its first move until it went."""
        moves = [line for line in self.own if line.kind == "move"]
        end = self.gone.at_ms if self.gone else None
        stays = []
        for index, line in enumerate(moves):
            until = moves[index + 1].at_ms if index + 1 < len(moves) else end
            if until is None or until > line.at_ms:
                said = line.said()
                stays.append(Stay(said["room"], said["place"], said.get("shelf", ""), line.at_ms, until))
        return stays

    def stay_at(self, at_ms: int) -> Stay | None:
        """Where the wheel was at a time."""
        for stay in reversed(self.stays):
            if stay.from_ms <= at_ms and (stay.to_ms is None or at_ms < stay.to_ms):
                return stay
        return None


@dataclass(frozen=True)
class Wheel:
    """A wheel as the ledger has it at a moment."""

    name: str
    make: str
    style: str
    made_at: datetime
    mass_at_make_kg: float | None
    raw_milk: bool | None
    room: str | None
    place: str | None
    shelf: str
    since: datetime | None
    holes: int
    decision: str | None
    look_again_on: str | None
    promised_on: str | None
    gone_at: datetime | None
    gone_why: str | None

    def age_days(self, at: datetime) -> float:
        """Age at a moment [days]."""
        return (at - self.made_at).total_seconds() * 1000 / DAY_MS


def wheel_of(track: Track, at_ms: int) -> Wheel | None:
    """The wheel a track comes to at a time; None where it was not yet made or its make was taken back."""
    make = track.make_line
    if make is None or make.at_ms > at_ms:
        return None
    said = make.said()
    past = [line for line in track.own if line.at_ms <= at_ms]
    stay = track.stay_at(at_ms)
    gone = track.gone if track.gone and track.gone.at_ms <= at_ms else None
    grading = _last(past, "grading")
    return Wheel(
        name=track.name,
        make=track.make,
        style=said["style"],
        made_at=from_ms(make.at_ms),
        mass_at_make_kg=said.get("mass_kg"),
        raw_milk=said.get("raw_milk"),
        room=stay.room if stay else None,
        place=stay.place if stay else None,
        shelf=stay.shelf if stay else "",
        since=from_ms(stay.from_ms) if stay else None,
        holes=sum(line.kind == "ironing" for line in past),
        decision=grading.get("decision"),
        look_again_on=grading.get("look_again_on"),
        promised_on=_last(past, "promise").get("on"),
        gone_at=from_ms(gone.at_ms) if gone else None,
        gone_why=_why(gone),
    )


def _last(lines: Sequence[Line], kind: str) -> dict[str, Any]:
    return next((line.said() for line in reversed(lines) if line.kind == kind), {})


def _why(gone: Line | None) -> str | None:
    if gone is None:
        return None
    return "sold" if gone.kind == "sale" else str(gone.said().get("reason", "gone"))
