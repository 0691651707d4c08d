"""The life of a wheel as the ledger tells it: what its doses and its rind twin start from."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.clock import DAY_MS
from monitor.wheels.entries import GONE_KINDS, Entry

BRUSHED = ("brushing", "washing")
CRACKED_FROM = 2
"""Cracks of this step and above (one that catches a fingernail) let air in: common practice, no source."""
LIFTED_FROM = 1
"""A cloth of this step and above is lifted somewhere."""
WAYS_IN = ("crack", "plug", "cloth")


@dataclass(frozen=True)
class Life:
    """What one wheel's standing entries come to.

    Attributes
    ----------
    name, make, style : as the ledger has them; made_ms : make date [ms]
    first_mass_kg : its own mass when made (else the mean of its make) [kg]; None where nobody weighed it
    own_first_mass : whether that mass is its own
    stays : (room, place, from [ms], to [ms] or None while it is there), in order
    brushed_ms : when its rind was brushed or washed
    ways : (from [ms], the ways in for air known from then on), in order
    weighings : (time [ms], mass [kg], standard uncertainty [kg] or None), in order
    gone_ms : when it was sold or lost
    """

    name: str
    make: str
    style: str
    made_ms: int
    first_mass_kg: float | None
    own_first_mass: bool
    stays: tuple[tuple[str, str, int, int | None], ...] = ()
    brushed_ms: tuple[int, ...] = ()
    ways: tuple[tuple[int, frozenset[str]], ...] = ()
    weighings: tuple[tuple[int, float, float | None], ...] = ()
    gone_ms: int | None = None

    def ways_at(self, at_ms: int) -> frozenset[str]:
        """The ways in for air that were known at a time."""
        return next((ways for since, ways in reversed(self.ways) if since <= at_ms), frozenset())

    def last_brushed(self, at_ms: int) -> int | None:
        """When it was last brushed or washed before a time [ms]; None where never."""
        return max((ms for ms in self.brushed_ms if ms <= at_ms), default=None)

    def stays_until(self, at_ms: int) -> list[tuple[str, str, int, int]]:
        """Its stays up to a time, each with an end."""
        return [
            (room, place, start, at_ms if end is None else min(end, at_ms))
            for room, place, start, end in self.stays
            if start < at_ms
        ]

    def differs_from(self, other: Life) -> int | None:
        """The earliest time [ms] from which two lives of one wheel differ for its rind; None where they do not.

        A weighing makes no difference: it teaches about rinds and does not change one.
        """
        if (self.style, self.made_ms, self.first_mass_kg) != (
            other.style,
            other.made_ms,
            other.first_mass_kg,
        ):
            return min(self.made_ms, other.made_ms)
        changed = self._happenings() ^ other._happenings()
        return min((at_ms for at_ms, *_ in changed), default=None)

    def signature(self, until_ms: int) -> str:
        """In short what happened to its rind before a time; differs where anything does."""
        past = sorted(
            repr((at, what, sorted(said) if isinstance(said, frozenset) else said))
            for at, what, said in self._happenings()
            if at < until_ms
        )
        text = repr((self.style, self.made_ms, self.first_mass_kg, past))
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    def _happenings(self) -> set[tuple[int, str, object]]:
        found: set[tuple[int, str, object]] = {(s[2], "to", s[:2]) for s in self.stays}
        found |= {(at, "brushed", None) for at in self.brushed_ms} | {(at, "ways", w) for at, w in self.ways}
        return found | ({(self.gone_ms, "gone", None)} if self.gone_ms is not None else set())


def life_of(name: str, entries: Sequence[Entry]) -> Life | None:
    """The life that a wheel's history (`Ledger.history`) tells; None where its make no longer stands."""
    standing = sorted((e for e in entries if e.effective), key=lambda e: (e.at_ms, e.id))
    make = next((e for e in standing if e.kind == "make"), None)
    if make is None:
        return None
    own = [e for e in standing if e.wheel is not None]
    gone = next((e.at_ms for e in own if e.kind in GONE_KINDS), None)
    weighings = tuple(
        (e.at_ms, float(e.details["mass_kg"]), e.details.get("sigma_kg")) for e in own if e.kind == "weighing"
    )
    first = next((mass for at, mass, _ in weighings if at - make.at_ms < DAY_MS), None)
    return Life(
        name=name,
        make=make.make,
        style=str(make.details["style"]),
        made_ms=make.at_ms,
        first_mass_kg=first or make.details.get("mass_kg"),
        own_first_mass=first is not None,
        stays=_stays(own, gone),
        brushed_ms=tuple(e.at_ms for e in own if e.kind in BRUSHED),
        ways=_ways(own),
        weighings=weighings,
        gone_ms=gone,
    )


def _stays(own: Sequence[Entry], gone_ms: int | None) -> tuple[tuple[str, str, int, int | None], ...]:
    moves = [e for e in own if e.kind == "move"]
    ends = [*(e.at_ms for e in moves[1:]), gone_ms]
    return tuple(
        (str(e.details["room"]), str(e.details["place"]), e.at_ms, end)
        for e, end in zip(moves, ends, strict=False)
        if end is None or end > e.at_ms
    )


def _ways(own: Sequence[Entry]) -> tuple[tuple[int, frozenset[str]], ...]:
    """Ways in from inspections (cracks, the cloth) and ironings (a plug left unsealed), each time they change."""
    known: set[str] = set()
    found: list[tuple[int, frozenset[str]]] = []
    for entry in own:
        before = frozenset(known)
        if entry.kind == "inspection":
            for way, field, least in (("crack", "cracks", CRACKED_FROM), ("cloth", "cloth", LIFTED_FROM)):
                step = entry.details.get(field)
                if step is not None:
                    (known.add if step >= least else known.discard)(way)
        elif entry.kind == "ironing" and entry.details.get("sealed") is False:
            known.add("plug")
        elif entry.kind == "wrapping":
            known.discard("cloth")
        elif entry.kind == "greasing":
            known.discard("plug")
        if frozenset(known) != before:
            found.append((entry.at_ms, frozenset(known)))
    return tuple(found)
