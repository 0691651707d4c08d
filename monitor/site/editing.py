"""Changing a site file on a person's behalf: the change is shown as a diff, checked, and written with a backup.

Comments and the order of keys stay as they were (tomlkit).
"""

from __future__ import annotations

import difflib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import tomlkit
from tomlkit.exceptions import TOMLKitError

from monitor.clock import now
from monitor.errors import SiteFileError
from monitor.site.check import check_text


@dataclass(frozen=True)
class Change:
    """A site file as it stands and as it is to be."""

    path: Path
    before: str
    after: str

    @property
    def diff(self) -> str:
        """The change in unified form, empty where there is none."""
        lines = difflib.unified_diff(
            self.before.splitlines(keepends=True),
            self.after.splitlines(keepends=True),
            f"{self.path.name} as it is",
            f"{self.path.name} as it will be",
        )
        return "".join(lines)


def proposed(path: Path, edit: Callable[[tomlkit.TOMLDocument], None]) -> Change:
    """The change that an edit would make; nothing is written.

    Raises
    ------
    SiteFileError
        The file cannot be read, or would have faults after the change (which are told).
    """
    try:
        before = path.read_text(encoding="utf-8")
        document = tomlkit.parse(before)
        edit(document)
        after = tomlkit.dumps(document)
    except (OSError, UnicodeDecodeError, TOMLKitError) as error:
        raise SiteFileError(f"{path}: cannot be changed: {error}") from error
    site, faults = check_text(after, path)
    if site is None:
        raise SiteFileError(
            f"the change is refused: {'; '.join(str(fault) for fault in faults[:3])}", list(faults)
        )
    return Change(path, before, after)


def write(change: Change) -> Path:
    """Write a change, keeping the file as it was beside it; the path of that backup.

    Raises
    ------
    SiteFileError
        The file has been changed by somebody else since, or cannot be written.
    """
    try:
        if change.path.read_text(encoding="utf-8") != change.before:
            raise SiteFileError(
                f"{change.path} was changed by somebody else meanwhile; look at the change again"
            )
        backup = _free_name(change.path, now().strftime("%Y-%m-%dT%H%M%S"))
        backup.write_text(change.before, encoding="utf-8")
        fresh = change.path.with_name(f"{change.path.name}.new")
        with fresh.open("w", encoding="utf-8") as file:
            file.write(change.after)
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, change.path)
    except OSError as error:
        raise SiteFileError(f"{change.path} cannot be written: {error.strerror}") from error
    return backup


def _free_name(path: Path, stamp: str) -> Path:
    candidate, number = path.with_name(f"{path.name}.{stamp}.bak"), 1
    while candidate.exists():
        number += 1
        candidate = path.with_name(f"{path.name}.{stamp}-{number}.bak")
    return candidate
