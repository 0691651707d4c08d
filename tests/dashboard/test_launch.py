"""The command that serves the pages: on this machine alone, telling nobody."""

from __future__ import annotations

import pytest

from dashboard.launch import command, environment
from monitor.errors import MonitorError


def test_the_pages_stay_on_this_machine() -> None:
    """Without an address the pages listen on loopback, and send no usage figures."""
    line = command("site.toml", 8501)
    assert "--server.address=127.0.0.1" in line
    assert "--browser.gatherUsageStats=false" in line
    assert "--client.showErrorLinks=false" in line
    assert environment({})["STREAMLIT_BROWSER_GATHER_USAGE_STATS"] == "false"


@pytest.mark.parametrize("address", ["0.0.0.0", "192.168.1.20", "::", "", "dairy.invalid"])
def test_other_machines_are_not_let_in_without_signing_in(address: str) -> None:
    """An address that others can reach is refused with the reason and what to do."""
    with pytest.raises(MonitorError, match="reverse proxy"):
        command("site.toml", 8501, address)
