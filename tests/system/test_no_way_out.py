"""The pages on a machine whose network ends at itself, as the kernel sees to it."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from tests.system.no_way_out import PAGES
from tests.system.parts import absent, need
from tests.system.test_pages import ROOT

pytestmark = pytest.mark.system


def test_pages_are_whole_without_any_network() -> None:
    """In a network namespace with loopback alone every page is drawn to its end, in our typeface, asking nobody."""
    need("chromium")
    alone = [need("unshare"), "--map-root-user", "--net"]
    if subprocess.run([*alone, "true"], capture_output=True).returncode:
        absent("this machine lets nobody make a network namespace")
    done = subprocess.run(
        [*alone, sys.executable, "-m", "tests.system.no_way_out"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=180,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["devices"] == ["lo"]
    assert "unreachable" in found["outside"]
    assert all("Rooms now" in found[f"page {name}"] for name in PAGES)
    assert any("Atkinson Hyperlegible" in face for face in found["faces"])
    assert found["asked outside"] == []
