"""Many wheels in few words: those that are numbered through stand as a run."""

from __future__ import annotations

import re
from collections.abc import Iterable

_NUMBERED = re.compile(r"(.*?)(\d+)")


def runs(names: Iterable[str]) -> list[str]:
    """Names with those numbered through brought together: ``HF-01 to HF-24``; two in a row stay two."""
    found: list[list[str]] = []
    for name in sorted(set(names), key=_parts):
        if found and _follows(found[-1][-1], name):
            found[-1].append(name)
        else:
            found.append([name])
    return [text for run in found for text in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else run)]


def _parts(name: str) -> tuple[str, int, int]:
    match = _NUMBERED.fullmatch(name)
    return (match[1], len(match[2]), int(match[2])) if match else (name, 0, -1)


def _follows(one: str, other: str) -> bool:
    (begin, width, number), after = _parts(one), _parts(other)
    return number >= 0 and after == (begin, width, number + 1)
