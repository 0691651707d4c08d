"""A call to stop is heard whatever the main thread is doing."""

from __future__ import annotations

import subprocess
import sys

SCRIPT = """
import signal, threading
from monitor.signals import on_stop
stop = threading.Event()
on_stop(stop.set)
with stop._cond:  # as the main thread does on its way into wait()
    signal.raise_signal(signal.SIGTERM)
print("stopped" if stop.wait(10) else "deaf")
"""


def test_a_signal_in_the_middle_of_waiting_stops_and_does_not_lock_up() -> None:
    """SIGTERM at the moment the main thread takes the event's lock is heard, and nothing waits for itself."""
    done = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, timeout=30)
    assert done.stdout.strip() == "stopped", done.stderr
