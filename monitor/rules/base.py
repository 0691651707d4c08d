"""What every rule is: a small streaming class for one condition in one room."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any, ClassVar

from monitor.clock import TEN_MINUTES_MS
from monitor.records import AirRecord, Contents
from monitor.rules.finding import Finding
from monitor.rules.moment import Moment
from monitor.rules.watch import Evidence, Watch
from monitor.site import Room, Site, Stage, rule_settings

MINUTE_MS = 60_000


class Rule(ABC):
    """One condition in one room: `update` with each moment, then read `findings`.

    A subclass sets ``name`` (also the name of its settings), says in `evidence` what it sees, and puts it into
    words in `finding`.  Delays, restart and a clock set back are handled here.  Its docstring states the
    basis: a published source, or "common practice, no source".
    """

    name: ClassVar[str] = ""

    def __init__(self, site: Site, room: Room) -> None:
        self.site, self.room = site, room
        self.settings: Any = rule_settings(site, room, self.name)
        self.sensors = [sensor for sensor in site.sensors if sensor.room == room.id]
        self._of_style = {s.id: rule_settings(site, room, self.name, s.id) for s in site.styles}
        self.reset()

    def settings_of(self, style: str) -> Any:
        """The settings for wheels of a style, which may have its own."""
        return self._of_style.get(style, self.settings)

    @property
    def air_cause(self) -> str:
        """The cause that findings about a room's air share, so that one message tells of all."""
        return f"air:{self.room.id}"

    def reset(self) -> None:
        """Back to the state of a new rule."""
        self.watches: dict[str, Watch] = {}
        self.newest: dict[str, int] = {}
        self.now_ms = 0
        self.memory: dict[str, Any] = {}

    def update(self, moment: Moment) -> None:
        """Take in a moment."""
        if moment.now_ms < self.now_ms:
            self._rewind(moment.now_ms)
        self.now_ms = moment.now_ms
        for key in [k for k in self.watches if not self.alive(moment, k)]:
            del self.watches[key]
        for evidence in self.evidence(moment):
            self._watch(evidence.key).update(evidence)

    def findings(self) -> list[Finding]:
        """Every condition that holds now, in a steady order."""
        standing = ((key, watch) for key, watch in sorted(self.watches.items()) if watch.on)
        return list(self.merge([self._in_words(key, watch) for key, watch in standing]))

    def _in_words(self, key: str, watch: Watch) -> Finding:
        finding = self.finding(key, watch)
        return replace(finding, what=f"{finding.what}; it comes and goes") if watch.comes_back else finding

    @abstractmethod
    def evidence(self, moment: Moment) -> Iterator[Evidence]:
        """What this rule sees at a moment."""

    @abstractmethod
    def finding(self, key: str, watch: Watch) -> Finding:
        """A standing condition in words and numbers."""

    def alive(self, moment: Moment, key: str) -> bool:
        """Whether the subject of a watch is still there; a watch whose subject is gone is dropped."""
        return True

    def merge(self, findings: list[Finding]) -> Iterable[Finding]:
        """Bring findings of one cause together; as they are unless a rule says otherwise."""
        return findings

    def on_delay_ms(self, key: str) -> int:
        return round(getattr(self.settings, "delay_min", 0.0) * MINUTE_MS)

    def off_delay_ms(self, key: str) -> int:
        return round(getattr(self.settings, "off_delay_min", 0.0) * MINUTE_MS)

    def new_air(self, moment: Moment) -> Iterator[AirRecord]:
        """The room's records that are newer than, or a new making of, the newest seen of their place.

        Late records of earlier slots are left out: rules speak of now.  So are records over ten minutes in
        the future, which only a wrong clock can make.
        """
        for record in moment.air_by_room.get(self.room.id, ()):
            known = self.newest.get(record.place, record.start_ms)
            if known <= record.start_ms <= moment.now_ms + TEN_MINUTES_MS:
                self.newest[record.place] = record.start_ms
                yield record

    def state(self) -> dict[str, Any]:
        """Everything needed to go on after a restart, fit for JSON."""
        return {
            "now_ms": self.now_ms,
            "newest": dict(self.newest),
            "memory": self.memory,
            "watches": {key: watch.state() for key, watch in self.watches.items()},
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a `state`; delays come from the settings as they are now."""
        self.reset()
        self.now_ms = int(state["now_ms"])
        self.newest = {str(k): int(v) for k, v in state["newest"].items()}
        self.memory = dict(state["memory"])
        for key, saved in state["watches"].items():
            self.watches[key] = self._delays(key, Watch.restored(saved))

    def _watch(self, key: str) -> Watch:
        if key not in self.watches:
            self.watches[key] = self._delays(key, Watch())
        return self.watches[key]

    def _delays(self, key: str, watch: Watch) -> Watch:
        watch.on_delay_ms, watch.off_delay_ms = self.on_delay_ms(key), self.off_delay_ms(key)
        watch.back_within_ms = round(getattr(self.settings, "back_within_min", 0.0) * MINUTE_MS)
        return watch

    def _rewind(self, now_ms: int) -> None:
        for watch in self.watches.values():
            watch.rewind(now_ms)
        self.newest = {
            place: min(start, now_ms - now_ms % TEN_MINUTES_MS) for place, start in self.newest.items()
        }


def contents_at(moment: Moment, room: Room, place: str, measured: Iterable[str]) -> list[Contents]:
    """What is in a room under the air of a place.

    With an empty place (the whole room): what lies at places without a record of their own.
    """
    own = set(measured) - {""}
    entries = moment.contents_by_room.get(room.id, [])
    if place:
        return [entry for entry in entries if entry.place == place]
    return [entry for entry in entries if entry.place not in own]


def wheels_at(moment: Moment, room: Room, place: str) -> list[str]:
    """The wheels in a room that a place's air may be about: those there, and those whose place is not known."""
    return [
        wheel
        for entry in moment.contents_by_room.get(room.id, ())
        if not place or entry.place in ("", place)
        for wheel in entry.wheels
    ]


def stage_of(site: Site, contents: Contents) -> Stage | None:
    """The stage that contents are in, or None where the site file no longer has it."""
    style = site.style_by_id.get(contents.style)
    if style is None:
        return None
    return next((stage for stage in style.stages if stage.name == contents.stage), None)
