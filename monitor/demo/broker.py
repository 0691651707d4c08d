"""An MQTT broker inside the process, for the demo: loopback only, one authenticated account."""

from __future__ import annotations

import asyncio
import logging
import socket
import tempfile
import threading
from pathlib import Path
from typing import Any

from argon2 import PasswordHasher

from monitor.errors import MonitorError

logger = logging.getLogger(__name__)


class EmbeddedBroker:
    """amqtt in a thread of its own, listening on a free loopback port.

    It speaks MQTT 3.1.1, keeps sessions of authenticated clients while it runs, and has no shared
    subscriptions; a site of one's own wants a real broker.
    """

    def __init__(self, username: str, password: str) -> None:
        self.username, self.password = username, password
        self._loop: asyncio.AbstractEventLoop | None = None
        self._thread: threading.Thread | None = None
        self._broker: Any = None
        self.port = free_port()

    def start(self, timeout_s: float = 10.0) -> None:
        """Start it and return once it listens.

        Raises
        ------
        MonitorError
            It did not listen in time.
        """
        ready = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(ready,), name="broker", daemon=True)
        self._thread.start()
        if not ready.wait(timeout_s):
            raise MonitorError(f"the embedded broker did not start on port {self.port}; try again")

    def stop(self) -> None:
        """Shut it down and wait for its thread."""
        loop, thread = self._loop, self._thread
        if loop is not None and thread is not None and thread.is_alive():
            loop.call_soon_threadsafe(loop.stop)
            thread.join(5)

    def _run(self, ready: threading.Event) -> None:
        from amqtt.broker import Broker

        logging.getLogger("amqtt").setLevel(logging.ERROR)
        logging.getLogger("transitions").setLevel(logging.ERROR)
        with tempfile.TemporaryDirectory(prefix="maturing-broker-") as folder:
            self._loop = asyncio.new_event_loop()
            asyncio.set_event_loop(self._loop)
            # A client that goes away in the middle of a word is no fault of the demo.
            self._loop.set_exception_handler(
                lambda _, context: logger.debug("broker: %s", context.get("message"))
            )
            self._broker = Broker(self._settings(Path(folder)), loop=self._loop)
            self._loop.run_until_complete(self._broker.start())
            ready.set()
            self._loop.run_forever()
            self._loop.run_until_complete(self._broker.shutdown())
            self._loop.close()

    def _settings(self, folder: Path) -> dict[str, Any]:
        accounts = folder / "accounts"
        accounts.write_text(f"{self.username}:{PasswordHasher().hash(self.password)}\n", encoding="utf-8")
        accounts.chmod(0o600)
        return {
            "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{self.port}"}},
            "plugins": {
                "amqtt.plugins.authentication.FileAuthPlugin": {"password_file": str(accounts)},
            },
        }


def free_port() -> int:
    """A loopback TCP port that is free at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
