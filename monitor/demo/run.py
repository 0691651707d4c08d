"""The demo: an invented site on embedded parts, from broker to page, with nothing left running afterwards."""

from __future__ import annotations

import http.client
import secrets
import sys
import tempfile
import threading
import time
from pathlib import Path

import click

from monitor.clock import now, parse_rfc3339
from monitor.demo.broker import EmbeddedBroker, free_port
from monitor.demo.children import Children
from monitor.demo.history import History
from monitor.errors import MonitorError
from monitor.signals import on_stop
from monitor.site import Site, load

USER_ENV, PASSWORD_ENV = "MATURING_DEMO_USER", "MATURING_DEMO_PASSWORD"
SIMULATED_SPEED = 20.0
READY_WITHIN_S = 60.0


class Demo:
    """Runs the whole monitor on an invented site.

    Parameters
    ----------
    folder
        Where the site file, the store, the ledger and the logs go; None for a new folder under the system's
        temporary folder.  A folder that already holds a demo goes on with what is in it.
    port
        The page's port; 0 for a free one.
    seconds
        Stop after so long [s]; None to run until Ctrl-C.
    with_page
        Whether to serve the page.
    """

    def __init__(
        self, folder: Path | None, port: int = 0, seconds: float | None = None, with_page: bool = True
    ) -> None:
        self._folder = (folder or Path(tempfile.mkdtemp(prefix="maturing-demo-"))).resolve()
        self._port, self._seconds, self._with_page = port or free_port(), seconds, with_page
        self._stop = threading.Event()
        self._children = Children(self._folder / "logs")
        self._history: History | None = None
        self._broker = EmbeddedBroker("demo", secrets.token_urlsafe(16))

    def run(self) -> None:
        """Start everything, say where to look, and stop everything at the end.

        Raises
        ------
        MonitorError
            A part did not start, or ended by itself.
        """
        on_stop(self._stop.set)
        started = time.monotonic()
        try:
            site = self._prepare()
            self._start(site)
            self._wait_until_ready(site)
            self._say_where_to_look(site, time.monotonic() - started)
            if self._history is not None:
                self._history.carry_on()
            self._stay(started)
        finally:
            if self._history is not None:
                self._history.stop()
            self._children.stop()
            self._broker.stop()
        click.echo("Stopped; nothing is left running.")

    def _prepare(self) -> Site:
        self._folder.mkdir(parents=True, exist_ok=True)
        path = self._folder / "site.toml"
        path.write_text(site_text(self._broker.port), encoding="utf-8")
        site = load(path)
        click.echo(f"Invented site in {self._folder}")
        self._history = History(site)
        self._history.begin()
        return site

    def _start(self, site: Site) -> None:
        self._broker.start()
        account = {USER_ENV: self._broker.username, PASSWORD_ENV: self._broker.password}
        python = (sys.executable, "-m")
        self._children.start("monitor", (*python, "monitor.cli", "run", str(site.path)), account)
        self._children.start("sensors", (*python, *self._simulator()), account)
        if self._with_page:
            from dashboard.launch import command, environment

            self._children.start("page", command(site.path, self._port), environment())

    def _simulator(self) -> tuple[str, ...]:
        from demo_data import LIVE_SCENARIO

        return (
            "sensors_sim",
            "run",
            str(LIVE_SCENARIO),
            "--broker",
            f"127.0.0.1:{self._broker.port}",
            "--username-env",
            USER_ENV,
            "--password-env",
            PASSWORD_ENV,
            "--speed",
            f"{SIMULATED_SPEED:g}",
        )

    def _wait_until_ready(self, site: Site) -> None:
        from monitor.answers import rooms_document

        deadline, started = time.monotonic() + READY_WITHIN_S, now()
        while not self._stop.is_set():
            self._check_children()
            document = rooms_document(site)
            seen = [room["reading_at"] for room in document["rooms"]]
            fresh = document["monitor"]["running"] and all(at and parse_rfc3339(at) >= started for at in seen)
            if fresh and (not self._with_page or _answers(self._port)):
                return
            if time.monotonic() > deadline:
                raise MonitorError(f"the demo was not ready in time; see the logs in {self._folder / 'logs'}")
            self._stop.wait(0.2)

    def _say_where_to_look(self, site: Site, seconds: float) -> None:
        click.echo(f"Ready after {seconds:.0f} s. Everything you see is invented.")
        if self._with_page:
            click.echo(f"\n  Look at:  http://127.0.0.1:{self._port}\n")
            click.echo("  Rooms now  three rooms and their air; within two minutes one of them will need you")
            click.echo("  Alarms     what it does to which wheels; acknowledge it")
            click.echo("  Wheel      what a wheel has been through; record an ironing and a grading")
        click.echo(f"\n  From another terminal:  maturing-room rooms {site.path}")
        click.echo(f"  Messages a person would get:  {site.data_folder / 'messages.log'}")
        click.echo(
            "  Ctrl-C stops everything." if self._seconds is None else f"  Stops after {self._seconds:g} s."
        )

    def _stay(self, started: float) -> None:
        while not self._stop.wait(0.25):
            self._check_children()
            if self._seconds is not None and time.monotonic() - started >= self._seconds:
                return

    def _check_children(self) -> None:
        if (ended := self._children.ended()) is not None:
            name, status = ended
            words = self._children.last_words(name)
            raise MonitorError(
                f"the {name} part ended by itself with status {status} ({words}); "
                f"see {self._folder / 'logs' / name}.log"
            )


def site_text(broker_port: int) -> str:
    """The demo's site file, for a broker on that port."""
    from demo_data import SITE_FILE

    template = Path(SITE_FILE).read_text("utf-8")
    return template.replace("port = 1883", f"port = {broker_port}")


def _answers(port: int) -> bool:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=1)
    try:
        connection.request("GET", "/_stcore/health")
        return connection.getresponse().status == 200
    except OSError:
        return False
    finally:
        connection.close()
