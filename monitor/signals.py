"""Ctrl-C and SIGTERM as a call to stop."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable


def on_stop(action: Callable[[], object]) -> None:
    """Call ``action`` on SIGINT and SIGTERM, from a thread of its own.

    A handler runs in the middle of whatever the main thread does.  Setting an event there that the main thread is
    just about to wait for would take the event's lock a second time, and neither would ever go on.
    """

    def handler(_number: int, _frame: object) -> None:
        threading.Thread(target=action, name="stopping", daemon=True).start()

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, handler)
