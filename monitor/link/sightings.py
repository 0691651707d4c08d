"""When a fault was first seen: between the last clear look and the look that found it, and no closer.

A single faint sighting may be a mistake, and a look may miss what is there.  So a fault counts as found at a look
that saw it at step 2 or more, or at step 1 where one of the next two looks saw it too; a faint sighting that no
later look could confirm yet leaves the wheel open from its last clear look on (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.wheels import Entry

SURE_STEP = 2
CONFIRMED_WITHIN = 2
Look = tuple[int, int]
"""When somebody looked for a fault [ms], and the step seen, 0 to 4."""


@dataclass(frozen=True)
class Sight:
    """A wheel's course for one fault.

    ``clear_ms``: the last look without it before it was found, None where no look was clear; ``found_ms``: the look
    that found it, None where it was not found; ``known_ms``: the look at which that was sure.
    """

    clear_ms: int | None
    found_ms: int | None
    known_ms: int | None = None

    def known_by(self, at_ms: int) -> bool:
        """Whether at a moment it was known that the wheel has the fault."""
        return self.known_ms is not None and self.known_ms <= at_ms


def looks_for(fault: str, entries: Sequence[Entry]) -> list[Look]:
    """Every look for a fault, in order of time; an iron's first hole is a look for blue under the cloth too."""
    looks, holes = [], 0
    for entry in entries:
        step = None
        if entry.kind == "inspection":
            step = entry.details.get(fault)
        elif entry.kind == "ironing":
            if fault == "blue_at_plug" or (fault == "blue_under_cloth" and holes == 0):
                step = entry.details.get("blue_at_plug")
            holes += 1
        if step is not None:
            looks.append((entry.at_ms, int(step)))
    return looks


def sight_of(looks: Sequence[Look]) -> Sight:
    """When a fault was first found by these looks, by the rule at the top of this file."""
    clear: int | None = None
    for index, (at_ms, step) in enumerate(looks):
        if step == 0:
            clear = at_ms
            continue
        if step >= SURE_STEP:
            return Sight(clear, at_ms, at_ms)
        after = looks[index + 1 : index + 1 + CONFIRMED_WITHIN]
        again = next((later_ms for later_ms, later in after if later > 0), None)
        if again is not None:
            return Sight(clear, at_ms, again)
        if len(after) < CONFIRMED_WITHIN:
            return Sight(clear, None)
        clear = at_ms
    return Sight(clear, None)
