"""Child processes that end with their parent, whatever ends the parent."""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import IO

_SET_PARENT_DEATH_SIGNAL = 1


class Children:
    """Starts child processes, notices when one ends by itself, and stops them all.

    Each child's output goes to a file of its own in ``log_folder``.  On Linux a child also ends when its parent
    is killed, so that nothing is left running.
    """

    def __init__(self, log_folder: Path) -> None:
        self._log_folder = log_folder
        self._running: dict[str, subprocess.Popen[bytes]] = {}
        self._logs: list[IO[bytes]] = []
        log_folder.mkdir(parents=True, exist_ok=True)

    def start(self, name: str, command: Sequence[str], environment: Mapping[str, str] | None = None) -> None:
        """Start a child under a name."""
        log = (self._log_folder / f"{name}.log").open("ab")
        self._logs.append(log)
        self._running[name] = subprocess.Popen(
            list(command),
            env={**os.environ, **(environment or {})},
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            start_new_session=True,
            preexec_fn=_die_with_parent if sys.platform == "linux" else None,
        )

    def ended(self) -> tuple[str, int] | None:
        """A child that ended by itself, with its exit status, or None."""
        for name, child in self._running.items():
            if child.poll() is not None:
                return name, child.returncode
        return None

    def last_words(self, name: str) -> str:
        """The last line a child wrote."""
        text = (self._log_folder / f"{name}.log").read_text("utf-8", "replace").strip()
        return text.splitlines()[-1] if text else "nothing"

    def stop(self, patience_s: float = 8.0) -> None:
        """Ask every child to stop, newest first; kill those that have not within their patience."""
        for child in reversed(self._running.values()):
            _signal(child, signal.SIGTERM)
        for child in self._running.values():
            try:
                child.wait(patience_s)
            except subprocess.TimeoutExpired:
                _signal(child, signal.SIGKILL)
                child.wait()
        self._running.clear()
        for log in self._logs:
            log.close()
        self._logs.clear()


def _signal(child: subprocess.Popen[bytes], number: int) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child.pid, number)


def _die_with_parent() -> None:
    ctypes.CDLL(None).prctl(_SET_PARENT_DEATH_SIGNAL, signal.SIGTERM)
