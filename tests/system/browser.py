"""A real browser for tests: Debian's Chromium, headless, driven by playwright, with nothing called outside."""

from __future__ import annotations

import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, sync_playwright

from dashboard.launch import command, environment
from tests.system.parts import free_port, need, wait_for

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
"""Switches that let Chromium run as root and keep it from calling its maker's servers at every start."""

LOCAL_HOSTS = ("127.0.0.1", "localhost")
WIDTHS = {390: 844, 820: 1180, 1440: 900}
"""The three screens pages are looked at on: width and height [px] of a phone, a tablet and a desk."""


@contextmanager
def chromium() -> Iterator[Browser]:
    """A headless Chromium; skips the test where there is none (fails where MATURING_NO_SKIPS=1)."""
    program = need("chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, headless=True, args=list(FLAGS))
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def page_of(browser: Browser, width: int = 1440, height: int | None = None) -> Iterator[Page]:
    """A page in a context of its own.  Requests to other machines are refused and kept in ``page.outside``."""
    context: BrowserContext = browser.new_context(
        viewport={"width": width, "height": height or WIDTHS.get(width, 900)}
    )
    outside: list[str] = []

    def guard(route: Route) -> None:
        parts = urlsplit(route.request.url)
        if parts.scheme in ("data", "blob") or parts.hostname in LOCAL_HOSTS:
            route.continue_()
        else:
            outside.append(route.request.url)
            route.abort()

    context.route("**/*", guard)
    page: Any = context.new_page()
    page.outside = outside
    page.set_default_timeout(20_000)
    try:
        yield page
    finally:
        context.close()


@contextmanager
def served(arguments: list[str], port: int, more: dict[str, str] | None = None) -> Iterator[str]:
    """A dashboard started by a command line, ready to be asked; its address.  Stopped at the end."""
    with tempfile.TemporaryFile() as log:
        process = subprocess.Popen(arguments, env={**environment(), **(more or {})}, stdout=log, stderr=log)
        try:
            _wait_until_healthy(process, port, log)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait_until_healthy(process: subprocess.Popen[bytes], port: int, log: Any) -> None:
    from urllib.request import urlopen

    def healthy() -> bool:
        if process.poll() is not None:
            log.seek(0)
            pytest.fail(
                f"the dashboard stopped with code {process.returncode}:\n{log.read()[-3000:].decode(errors='replace')}"
            )
        try:
            with urlopen(f"http://127.0.0.1:{port}/_stcore/health", timeout=2) as answer:
                return bool(answer.status == 200)
        except OSError:
            time.sleep(0.1)
            return False

    wait_for(healthy, 60, "the dashboard")


NAMES = ("Nodes", "JSEventListeners", "JSHeapUsedSize")


@contextmanager
def dashboard(site_path: Path, more: dict[str, str] | None = None) -> Iterator[str]:
    """The dashboard of a site, served on a free port; its address."""
    port = free_port()
    with served(command(site_path, port), port, more) as address:
        yield address


def ready(page: Page) -> None:
    """Wait until the page has drawn itself whole: its end mark stands and the server is not running it."""
    page.wait_for_selector("[data-page-whole]", state="attached")
    page.wait_for_function(
        "() => document.querySelector('[data-testid=\"stApp\"]')?.getAttribute('data-test-script-state') !== 'running'"
    )
    page.evaluate("() => document.fonts.ready.then(() => true)")


def counts(page: Page) -> dict[str, float]:
    """What the browser counts of the page once its garbage is gone: the lowest of several looks, since what it has not
    got round to collecting only adds."""
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable")
    looks = []
    for _ in range(5):
        session.send("HeapProfiler.collectGarbage")
        time.sleep(0.2)
        looks.append(session.send("Performance.getMetrics")["metrics"])
    session.detach()
    return {
        name: min(float(m["value"]) for look in looks for m in look if m["name"] == name) for name in NAMES
    }
