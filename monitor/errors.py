"""Every error the project raises on purpose, in one tree.

MonitorError
├── SiteFileError          the site file has faults (carries all of them)
├── ReadingError           a message or value cannot be used (carries the reason)
├── ReaderAway             a sensor's hardware does not answer; try again
├── StoreError             the time store cannot do what was asked
│   ├── StoreAway          it is away for now; try again
│   └── StoreDamaged       its file is torn or of a newer version
├── LedgerError            an entry about a wheel is refused (carries the reason)
│   ├── UnknownWheel
│   └── LedgerDoubt        it hardly can be right; say that you are sure
├── AlarmError             an alarm action is refused
├── SignInError            a person is not let in, or may not do this
└── PhysicsError           impossible input to the air or rind functions (also a ValueError)

Messages say what is wrong, where, and what to do, in one line each.
"""

from __future__ import annotations


class MonitorError(Exception):
    """Base of all errors raised on purpose; its text is fit to show a person."""


class SiteFileError(MonitorError):
    """The site file has faults; ``faults`` lists every one."""

    def __init__(self, message: str, faults: list[object] | None = None) -> None:
        super().__init__(message)
        self.faults = faults or []


class ReadingError(MonitorError):
    """A message or a value in it cannot be used."""


class ReaderAway(MonitorError):
    """A sensor's hardware does not answer now, or answers with a fault."""


class StoreError(MonitorError):
    """The time store cannot do what was asked."""


class StoreAway(StoreError):
    """The store cannot be reached now; nothing was written; try again."""


class StoreDamaged(StoreError):
    """The store's file is torn, or was written by a newer version."""


class LedgerError(MonitorError):
    """An entry about a wheel is refused."""


class UnknownWheel(LedgerError):
    """No wheel of that name is in the ledger."""


class LedgerDoubt(LedgerError):
    """Nothing is wrong for certain, but it hardly can be right; ``faults`` lists each doubt."""

    def __init__(self, message: str, faults: list[object] | None = None) -> None:
        super().__init__(message)
        self.faults = faults or []


class AlarmError(MonitorError):
    """An action on an alarm is refused."""


class SignInError(MonitorError):
    """A person is not let in, their sign-in has ended, or their role does not cover this."""


class PhysicsError(MonitorError, ValueError):
    """Impossible input to a function of air or rind."""
