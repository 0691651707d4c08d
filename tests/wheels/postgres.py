"""A PostgreSQL server of a test run's own, on a free port, in a folder of its own."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from psycopg import sql

from tests.system.parts import free_port


def _binaries() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


@contextmanager
def server() -> Iterator[str]:
    """The address of a running, empty server; skips (fails where skips are not allowed) without PostgreSQL."""
    binaries = _binaries()
    if binaries is None:
        if os.environ.get("MATURING_NO_SKIPS") == "1":
            pytest.fail(
                "PostgreSQL is not on this machine, and MATURING_NO_SKIPS=1 turns skips into failures"
            )
        pytest.skip("PostgreSQL is not on this machine; install it with: apt-get install postgresql")
    folder = Path(tempfile.mkdtemp(prefix="ledger-postgres-"))
    account = {"user": "postgres", "group": "postgres"} if os.geteuid() == 0 else {}
    if account:
        shutil.chown(folder, **account)
    run = {"check": True, "capture_output": True, "cwd": "/", **({"user": "postgres"} if account else {})}
    data = folder / "data"
    port = free_port()
    try:
        subprocess.run(
            [binaries / "initdb", "-D", data, "-U", "ledger", "-A", "trust", "-E", "UTF8", "--locale=C"],
            **run,
        )
        options = f"-p {port} -c listen_addresses=127.0.0.1 -k {folder} -c fsync=off"
        subprocess.run(
            [binaries / "pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", options, "start"], **run
        )
        yield f"postgresql://ledger@127.0.0.1:{port}"
    finally:
        if (data / "postmaster.pid").exists():
            subprocess.run(
                [binaries / "pg_ctl", "-D", data, "-m", "immediate", "stop"], **{**run, "check": False}
            )
        shutil.rmtree(folder, ignore_errors=True)


def fresh_database(server_address: str, name: str) -> str:
    """The address of a new, empty database on the server."""
    with psycopg.connect(f"{server_address}/postgres", autocommit=True) as connection:
        connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
    return f"{server_address}/{name}"
