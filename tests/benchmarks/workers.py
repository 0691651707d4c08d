"""Two intake workers on one shared subscription against one: into one file, and each into its own as on two machines."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from monitor.site import load
from monitor.store import open_store
from tests.benchmarks import Figure
from tests.system.parts import Mosquitto, wait_for
from tests.system.running import publisher, write_site

MESSAGES, SENSORS, ROUNDS = 40_000, 50, 3


@dataclass
class Run:
    """Messages/s, and what a message cost of processor time [s] in workers and in the broker."""

    rate: float
    worker_s: float
    broker_s: float


def run() -> list[Figure]:
    # In turns and the best of each, since other work on the machine comes and goes.
    kinds = ((1, False), (2, False), (2, True))
    rounds = [[_measured(*kind) for kind in kinds] for _ in range(ROUNDS)]
    one, shared, apart = (max(runs, key=lambda r: r.rate) for runs in zip(*rounds, strict=True))
    return [_figure(shared, one, False), _figure(apart, one, True)]


def _measured(count: int, apart: bool) -> Run:
    with tempfile.TemporaryDirectory() as folder:
        return _rate(Path(folder), count, apart)


def _figure(two: Run, one: Run, apart: bool) -> Figure:
    cores = os.cpu_count() or 1
    most = min(2.0, cores * one.worker_s / (one.worker_s + one.broker_s))
    note = (
        f"a backlog of {MESSAGES} messages, each worker a process. A message costs {one.worker_s * 1e6:.0f} us of a worker and "
        f"{one.broker_s * 1e6:.0f} us of the broker, so on {cores} cores with no other work the most is {most:.2f} times"
    )
    name = "two workers, a file each" if apart else "two workers, one file"
    return Figure(
        name,
        two.rate,
        "messages/s",
        "one worker",
        one.rate,
        two.rate / one.rate,
        "> 1.6 if the cores allow",
        note,
    )


def _rate(folder: Path, count: int, apart: bool) -> Run:
    with Mosquitto(folder / "broker") as broker:
        paths = [_site(folder / (str(n) if apart else "all"), broker.port) for n in range(count)]
        stores = [open_store(load(path)) for path in dict.fromkeys(paths)]
        with _workers(paths) as processes:
            log = folder / "broker" / "mosquitto.log"
            wait_for(lambda: log.read_text().count("as maturing-room-monitor-") >= count, what="the workers")
            time.sleep(1.0)
            client = publisher(broker.port)
            _signal(processes, signal.SIGSTOP)  # so that what bounds it is the workers, not the publisher
            infos = []
            for number in range(MESSAGES):
                record = f'[{{"bt":{1_772_366_400 + number},"n":"temperature","u":"Cel","v":12.{number % 100:02}}}]'
                infos.append(client.publish(f"maturing/rack-{number % SENSORS}/senml", record, qos=1))
            wait_for(lambda: all(i.is_published() for i in infos), 120, "the backlog")
            brokers = [broker.process] if broker.process else []
            used, used_by_broker = _cpu(processes), _cpu(brokers)
            started = time.perf_counter()
            _signal(processes, signal.SIGCONT)
            while sum(s.count for store in stores for s in store.series()) < MESSAGES:
                time.sleep(0.1)  # looking more often would take from what is measured
            seconds = time.perf_counter() - started
            used, used_by_broker = _cpu(processes) - used, _cpu(brokers) - used_by_broker
            client.disconnect()
            client.loop_stop()
        for store in stores:
            store.close()
    return Run(MESSAGES / seconds, used / MESSAGES, used_by_broker / MESSAGES)


def _site(folder: Path, port: int) -> Path:
    folder.mkdir(exist_ok=True)
    return write_site(folder, port, [f"rack-{n}" for n in range(SENSORS)], broker_more='share_name = "crew"')


@contextlib.contextmanager
def _workers(paths: list[Path]) -> Iterator[list[subprocess.Popen[bytes]]]:
    command = [sys.executable, "-m", "monitor.cli", "run", "--part", "intake", "--worker"]
    processes = [
        subprocess.Popen([*command, f"w{n}", str(path)], stderr=subprocess.DEVNULL)
        for n, path in enumerate(paths)
    ]
    try:
        yield processes
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            process.wait(20)


def _signal(processes: list[subprocess.Popen[bytes]], what: signal.Signals) -> None:
    for process in processes:
        process.send_signal(what)


def _cpu(processes: list[subprocess.Popen[bytes]]) -> float:
    """Seconds of processor time that processes have used so far."""
    ticks = 0
    for process in processes:
        fields = Path(f"/proc/{process.pid}/stat").read_text().rsplit(")", 1)[1].split()
        ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")
