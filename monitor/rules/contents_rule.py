"""What rules share that judge air by what lies in it: one watch for each entry of a room's contents and aspect."""

from __future__ import annotations

from collections.abc import Iterable
from statistics import NormalDist

from monitor.records import AirRecord, Contents
from monitor.rules.base import Rule
from monitor.rules.finding import Finding
from monitor.rules.moment import Moment

_NORMAL = NormalDist()


class ContentsRule(Rule):
    """Follows aspects of the entries of a room's contents; findings of one style and aspect become one."""

    def key_of(self, record: AirRecord, entry: Contents, aspect: str) -> str:
        """The key of a watch; its parts are read again by `alive`."""
        return f"{entry.style}|{entry.stage}|{record.place}|{entry.place}|{aspect}"

    def alive(self, moment: Moment, key: str) -> bool:
        style, stage, _, entry_place, _ = key.split("|")
        return any(
            entry.style == style and entry.stage == stage and entry.place == entry_place
            for entry in moment.contents_by_room.get(self.room.id, ())
        )

    def merge(self, findings: list[Finding]) -> Iterable[Finding]:
        groups: dict[tuple[str, str], list[Finding]] = {}
        for finding in findings:
            groups.setdefault((finding.style, finding.aspect), []).append(finding)
        return [group[0] if len(group) == 1 else self.merged(group) for group in groups.values()]

    def merged(self, group: list[Finding]) -> Finding:
        """One finding out of several of one style and aspect; the first unless a rule knows better."""
        return group[0]


def all_wheels(group: Iterable[Finding]) -> tuple[str, ...]:
    """The wheels of several findings, each once."""
    return tuple(dict.fromkeys(wheel for finding in group for wheel in finding.wheels))


def sureness(excess: float, sigma: float | None) -> float | None:
    """How sure it is that a limit is passed: the normal probability of an excess with its standard uncertainty [-].

    None where the uncertainty is not known.
    """
    if sigma is None:
        return None
    return round(_NORMAL.cdf(excess / sigma) if sigma > 0 else float(excess > 0), 3)
