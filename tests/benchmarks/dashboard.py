"""The pages over 20 rooms and two years of minutes, in a real browser: how soon, at what cost, and for how long.

The invented air goes straight into the store's tables, one room's two years copied to the others; wheels are
entered as ever.  DASHBOARD_ROOMS, DASHBOARD_DAYS and DASHBOARD_REFRESHES make it smaller.  Baseline of the waits
is the same server's page that says "no such wheel": what the browser and Streamlit cost by themselves.  Each figure
says what else the machine was doing; the waits are the best of so many rounds, and the middle one beside it.
"""

from __future__ import annotations

import os
import sqlite3
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
from playwright.sync_api import Browser, Page

from dashboard.launch import command, environment
from dashboard.screens.rooms_now import REFRESH_S
from monitor import answers
from monitor.clock import DAY_MS, now, now_ms
from monitor.site import Site, load
from monitor.store.bulk import Series, write_series
from monitor.store.numbers import ROW_TYPE
from tests.benchmarks import Figure
from tests.system.browser import _wait_until_healthy, chromium, counts, page_of, ready
from tests.system.parts import free_port

ROOMS = int(os.environ.get("DASHBOARD_ROOMS", 20))
DAYS = int(os.environ.get("DASHBOARD_DAYS", 730))
REFRESHES = int(os.environ.get("DASHBOARD_REFRESHES", 720))
WHEELS_A_ROOM, ROUNDS, TEN, WATCHED_S = 20, 5, 10, 30.0
STYLE = """
[[style]]
id = "clothed"
name = "Cloth-bound"
rind = "cloth-bound"
geometry = { diameter_m = 0.36, height_m = 0.2, mass_kg = 22 }
[[style.stage]]
name = "all its life"
from_day = 0
temperature_c = [10, 13]
rh_pct = [82, 90]
reference_temperature_c = 11
reference_rh_pct = 86
"""
WATCH = """
window.sent = []; window.drawn = [];
const send = WebSocket.prototype.send;
WebSocket.prototype.send = function (...what) { window.sent.push(performance.now()); return send.apply(this, what); };
new MutationObserver(() => {
  const at = document.querySelector('#root [data-drawn]')?.dataset.drawn;
  if (at && at !== window.last) { window.last = at; window.drawn.push(performance.now()); }
}).observe(document, {subtree: true, childList: true, attributes: true});
"""


def run() -> list[Figure]:
    """All figures."""
    with tempfile.TemporaryDirectory() as folder:
        site = _fill(Path(folder))
        with _served(site.path) as (address, pid), chromium() as browser:
            return [
                *_waits(browser, address),
                *_ten_pages(browser, address, pid),
                *_an_hour(browser, address, pid),
                *_every_wheel(browser, address, pid),
            ]


# -- what there is to show -----------------------------------------------------------------------------


def _fill(folder: Path) -> Site:
    path = folder / "site.toml"
    path.write_text(_site_text(), encoding="utf-8")
    site = load(path)
    parts = answers.parts(site)
    _readings(parts.store)
    for number in range(ROOMS):
        names = [f"W{number:02}-{n:02}" for n in range(WHEELS_A_ROOM)]
        made = now() - timedelta(days=min(500, DAYS - 2))
        parts.ledger.add_make(
            f"M{number:02}",
            "clothed",
            made,
            names,
            author="Nora",
            mass_kg=22,
            room=f"room-{number}",
            place="low",
        )
    _copy(site.data_folder / "readings.sqlite")
    return site


def _site_text() -> str:
    rooms = "".join(
        f'[[room]]\nid = "room-{n}"\nname = "Room {n}"\nkind = "cellar"\n[[room.place]]\nid = "low"\n'
        f'[[sensor]]\nid = "s-{n}"\nroom = "room-{n}"\nplace = "low"\n'
        for n in range(ROOMS)
    )
    return f'version = 1\n[site]\nname = "Benchmark rooms"\n{rooms}{STYLE}'


def _readings(store: Any) -> None:
    end = now_ms() // 60_000 * 60_000
    times = end - 60_000 * np.arange(DAYS * 1440)[::-1]
    chance = np.random.default_rng(1)
    for quantity, middle, swing in (("temperature", 11.3, 0.4), ("humidity", 86.0, 2.0)):
        rows = np.zeros(len(times), ROW_TYPE)
        rows["time_ms"], rows["flag"] = times, 1
        rows["value"] = np.round(
            middle + swing * np.sin(times / 13_751_000) + chance.normal(0, swing / 20, len(times)), 2
        )
        for _ in write_series(store, "s-0", quantity, Series(rows), end - 7 * DAY_MS):
            pass


def _copy(path: Path) -> None:
    """The first room's readings to the other rooms, and air records of all of them."""
    with sqlite3.connect(path, isolation_level=None) as base:
        base.execute("PRAGMA synchronous = OFF")
        base.execute("BEGIN")
        (changes,) = base.execute("SELECT name FROM sqlite_master WHERE name LIKE 'chang%'").fetchone() or (
            "",
        )
        if changes:
            base.execute(f"DELETE FROM {changes}")
        _copy_series(base)
        _air(base)
        base.execute("COMMIT")


def _copy_series(base: sqlite3.Connection) -> None:
    first = base.execute("SELECT * FROM series ORDER BY id").fetchall()
    names = [column[1] for column in base.execute("PRAGMA table_info(series)")]
    for number in range(1, ROOMS):
        for row in first:
            new = {**dict(zip(names, row, strict=True)), "sensor": f"s-{number}"}
            old = new.pop("id")
            marks = ", ".join("?" * len(new))
            key = base.execute(
                f"INSERT INTO series ({', '.join(new)}) VALUES ({marks})", list(new.values())
            ).lastrowid
            base.execute(
                "INSERT INTO sealed SELECT ?, day, count, hours, data FROM sealed WHERE series = ?",
                (key, old),
            )
            base.execute(
                "INSERT INTO reading SELECT ?, time_ms, value, flag, reason FROM reading WHERE series = ?",
                (key, old),
            )


def _air(base: sqlite3.Connection) -> None:
    slots = now_ms() // 600_000 * 600_000 - 600_000 * np.arange(1, DAYS * 144)[::-1]
    swing = np.sin(slots / 13_751_000)
    rows = [
        ("room-0", "", int(t), 11.3 + 0.4 * s, 11.1 + 0.4 * s, 11.5 + 0.4 * s, 86 + 2 * s, 85 + 2 * s, 87 + 2 * s, 1.0, 9.0, 190.0, 0.3, 1.4)
        for t, s in zip(slots.tolist(), swing.tolist(), strict=True)
    ]  # fmt: skip
    names = "room, place, start_ms, temperature_c, temperature_min_c, temperature_max_c, rh_pct, rh_min_pct, rh_max_pct, coverage, dew_point_c, vapour_pressure_deficit_pa, temperature_sigma_k, rh_sigma_pct"
    base.executemany(f"INSERT OR REPLACE INTO air ({names}) VALUES ({', '.join('?' * 14)})", rows)
    rest = names.removeprefix("room, place, ")
    for number in range(ROOMS):
        for place in ("", "low"):
            if (number, place) != (0, ""):
                base.execute(
                    f"INSERT INTO air ({names}) SELECT ?, ?, {rest} FROM air WHERE room = 'room-0' AND place = ''",
                    (f"room-{number}", place),
                )
    base.execute(
        "INSERT OR REPLACE INTO air_day SELECT DISTINCT room, place, start_ms / 86400000, 1 FROM air"
    )


# -- measuring -----------------------------------------------------------------------------------------


@contextmanager
def _served(site: Path) -> Iterator[tuple[str, int]]:
    port = free_port()
    with tempfile.TemporaryFile() as log:
        process = subprocess.Popen(command(site, port), env=environment(), stdout=log, stderr=log)
        try:
            _wait_until_healthy(process, port, log)
            yield f"http://127.0.0.1:{port}", process.pid
        finally:
            process.terminate()
            process.wait(20)


def _waits(browser: Browser, address: str) -> list[Figure]:
    with page_of(browser) as page:
        page.set_default_timeout(180_000)

        def opened(name: str, mark: str) -> Callable[[], None]:
            def go() -> None:
                page.goto(f"{address}/{name}", wait_until="commit")
                page.wait_for_selector(mark)

            return go

        bare = _rounds(opened("wheel?wheel=none", ".notice"))
        glance = _rounds(opened("", "main.rooms .figure"))
        drawn = _rounds(opened("", "#root main.rooms .figure"))
        refreshed = _refreshes(page)
        wheel = _rounds(opened("wheel?wheel=W03-04", "td"))
        page.goto(f"{address}/room?room=room-3")
        ready(page)
        year = _rounds(lambda: _span(page, "year"), before=lambda: _span(page, "day"))
        return [
            _wait("the glance readable after navigation", glance, bare, "<= 1.5 s"),
            _wait("the glance drawn by its scripts", drawn, bare),
            _wait("the glance refreshed", refreshed, bare, "<= 0.3 s"),
            _wait("a year of a room", year, bare, "<= 2 s"),
            _wait("a wheel", wheel, bare, "<= 2 s"),
        ]  # fmt: skip


def _wait(name: str, seconds: list[float], bare: list[float], goal: str = "") -> Figure:
    best = min(seconds)
    note = (
        f"{ROOMS} rooms, {DAYS} days of minutes, warm; best of {len(seconds)}, middle {statistics.median(seconds):.2f} s, "
        f"worst {max(seconds):.2f} s; {_load()}"
    )
    return Figure(name, best, "s", "a page with one sentence", min(bare), best / min(bare), goal, note)


def _load() -> str:
    """What the machine was busy with, as the system counts it."""
    return f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"


def _rounds(work: Callable[[], None], before: Callable[[], None] = lambda: None) -> list[float]:
    seconds = []
    for _ in range(ROUNDS + 1):
        before()
        started = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - started)
    return seconds[1:]


def _span(page: Page, words: str) -> None:
    before = page.locator(".chart img").first.get_attribute("src")
    page.get_by_role("radio", name=words, exact=True).click()
    page.wait_for_function(
        "before => { const i = document.querySelector('.chart img'); return i && i.src !== before; }",
        arg=before,
    )


def _refreshes(page: Page) -> list[float]:
    """From the page's asking to its being drawn anew, of some refreshes [s]."""
    page.add_init_script(WATCH)
    page.reload()
    ready(page)
    page.wait_for_function("() => window.drawn.length > 8", timeout=120_000)
    found: list[float] = page.evaluate(
        "() => window.drawn.slice(1).map(t => (t - Math.max(...window.sent.filter(s => s < t))) / 1000)"
    )
    return found


def _ten_pages(browser: Browser, address: str, pid: int) -> list[Figure]:
    def share(count: int) -> tuple[float, float]:
        """Of a core, and how often a page was drawn anew meanwhile [1/s]."""
        with ExitStack() as stack:
            pages = [stack.enter_context(page_of(browser)) for _ in range(count)]
            for page in pages:
                page.set_default_timeout(120_000)
                page.add_init_script(WATCH)
                page.goto(address)
                ready(page)
            time.sleep(5)
            begun, cpu, before = time.perf_counter(), _cpu_s(pid), sum(_drawings(p) for p in pages)
            time.sleep(WATCHED_S)
            took = time.perf_counter() - begun
            spent = (_cpu_s(pid) - cpu) / took
            return spent, (sum(_drawings(p) for p in pages) - before) / took / count

    (one, _), (ten, often) = share(1), share(TEN)
    note = f"the server's own time over {WATCHED_S:.0f} s, each page drawn anew every {1 / often:.1f} s; {_load()}"
    return [
        Figure(
            "ten open glance pages",
            100 * ten,
            "% of a core",
            "one open page",
            100 * one,
            ten / one,
            "<= 20 %",
            note,
        )
    ]


def _drawings(page: Page) -> int:
    return int(page.evaluate("() => window.drawn.length"))


def _an_hour(browser: Browser, address: str, pid: int) -> list[Figure]:
    """A page left open through so many refreshes, its clock wound on by hand."""
    with page_of(browser) as page:
        page.set_default_timeout(120_000)
        page.clock.install()
        page.add_init_script(WATCH)
        page.goto(address)
        ready(page)
        _wind(page, 20)
        before, memory = counts(page), _memory_mb(pid)
        _wind(page, REFRESHES)
        after, memory_after = counts(page), _memory_mb(pid)
        note = f"{REFRESHES} refreshes; {_load()}"
        return [
            Figure("page memory after an hour open", after["JSHeapUsedSize"] / 1e6, "MB", "after its first minutes", before["JSHeapUsedSize"] / 1e6, after["JSHeapUsedSize"] / before["JSHeapUsedSize"], "flat", note),
            Figure("nodes of the page after an hour open", after["Nodes"], "nodes", "after its first minutes", before["Nodes"], after["Nodes"] / before["Nodes"], "flat", note),
            Figure("server memory", memory_after, "MB", "before that hour", memory, memory_after / memory, "<= 500 MB", "resident, all the above done"),
        ]  # fmt: skip


def _every_wheel(browser: Browser, address: str, pid: int) -> list[Figure]:
    """A wheel of every room looked at, then the list of all: what the server then holds."""
    with page_of(browser) as page:
        page.set_default_timeout(180_000)
        before = _memory_mb(pid)
        for number in range(ROOMS):
            page.goto(f"{address}/wheel?wheel=W{number:02}-07")
            page.wait_for_selector("td")
        wheels = _memory_mb(pid)
        page.goto(f"{address}/next")
        ready(page)
        after = _memory_mb(pid)
        return [
            Figure("server memory, a wheel of every room seen", wheels, "MB", "before", before, wheels / before, "<= 500 MB", "resident"),
            Figure("server memory, and Next to grade", after, "MB", "before", before, after / before, "<= 500 MB", "resident, the study of all wheels kept"),
        ]  # fmt: skip


def _wind(page: Page, refreshes: int) -> None:
    for _ in range(refreshes):
        before = _drawings(page)
        page.clock.run_for(REFRESH_S * 1000 + 100)
        page.wait_for_function(
            "before => window.drawn.length > before", arg=before, timeout=30_000, polling=20
        )


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _memory_mb(pid: int) -> float:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024
