"""Real parts for tests that need them: a mosquitto of their own on a free port, with persistence."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

import pytest


def need(program: str) -> str:
    """The path of a program; where it is absent the test is skipped, or fails where skips are not allowed."""
    path = shutil.which(program, path=os.environ.get("PATH", "") + ":/usr/sbin:/usr/local/sbin")
    if path is not None:
        return path
    absent(f"{program} is not on this machine", f"; install it with: apt-get install {program}")


def absent(message: str, advice: str = "") -> NoReturn:
    """Skip a test for want of something, or fail it where skips are not allowed."""
    if os.environ.get("MATURING_NO_SKIPS") == "1":
        pytest.fail(f"{message}, and MATURING_NO_SKIPS=1 turns skips into failures")
    pytest.skip(message + advice)


def free_port() -> int:
    """A TCP port that nothing listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(condition: Callable[[], object], seconds: float = 20.0, what: str = "the condition") -> None:
    """Wait until a condition holds; fail the test with ``what`` where it does not in time."""
    deadline = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > deadline:
            pytest.fail(f"{what} did not come within {seconds:g} s")
        time.sleep(0.02)


def listens(port: int) -> bool:
    """Whether something accepts connections on a port of this machine."""
    with socket.socket() as probe:
        probe.settimeout(0.5)
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Mosquitto:
    """A mosquitto with its own folder and port; it keeps its sessions and queues over a restart.

    ``users`` maps names to passwords; without it anyone may connect.  ``more`` is further configuration text.
    """

    def __init__(self, folder: Path, users: dict[str, str] | None = None, more: str = "") -> None:
        self.program = need("mosquitto")
        self.folder, self.port = folder, free_port()
        self.process: subprocess.Popen[bytes] | None = None
        folder.mkdir(parents=True, exist_ok=True)
        access = "allow_anonymous true"
        if users is not None:
            access = f"allow_anonymous false\npassword_file {self._password_file(users)}"
        (folder / "mosquitto.conf").write_text(
            f"listener {self.port} 127.0.0.1\n{access}\nuser {_own_name()}\n"
            f"persistence true\npersistence_location {folder}/\nautosave_interval 1\n"
            f"set_tcp_nodelay true\nmax_queued_messages 0\n{more}\n"
        )

    def _password_file(self, users: dict[str, str]) -> Path:
        path = self.folder / "passwords"
        path.touch(mode=0o600)
        for name, password in users.items():
            subprocess.run([need("mosquitto_passwd"), "-b", str(path), name, password], check=True)
        return path

    def start(self) -> Mosquitto:
        """Start it and wait until it listens."""
        log = open(self.folder / "mosquitto.log", "ab")  # noqa: SIM115 - belongs to the child
        self.process = subprocess.Popen(
            [self.program, "-c", str(self.folder / "mosquitto.conf")], stdout=log, stderr=log
        )
        log.close()
        wait_for(lambda: listens(self.port), what="mosquitto's port")
        return self

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        """Stop it; SIGTERM lets it save its queues."""
        if self.process is not None:
            self.process.send_signal(how)
            self.process.wait(20)
            self.process = None

    def restart(self, how: signal.Signals = signal.SIGTERM, away_s: float = 0.0) -> None:
        """Stop it, stay away, start it again on the same port with what it had saved."""
        self.stop(how)
        time.sleep(away_s)
        self.start()

    def __enter__(self) -> Mosquitto:
        return self.start()

    def __exit__(self, *_: object) -> None:
        self.stop()


def _own_name() -> str:
    import pwd

    return pwd.getpwuid(os.getuid()).pw_name


@contextmanager
def victoria_metrics(folder: Path) -> Iterator[str]:
    """A server of one's own that takes InfluxDB's write protocol; its address."""
    port = free_port()
    process = subprocess.Popen(
        [need("victoria-metrics"), f"-storageDataPath={folder / 'vm'}", f"-httpListenAddr=127.0.0.1:{port}",
         "-retentionPeriod=100y"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        wait_for(lambda: listens(port), what="victoria-metrics' port")
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(20)
