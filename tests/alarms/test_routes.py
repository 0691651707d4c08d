"""Routes tried before they are needed: the outcome of a test as JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli import main
from tests.alarms.servers import MailServer
from tests.test_site import GOOD


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "site.toml"
    file.write_text(GOOD, "utf-8")
    return file


def test_the_outcome_of_a_test_message_as_json(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nora took it, Piet's mailbox refused it and why; the exit status is 1."""
    with MailServer() as mail:
        mail.refused = {"piet@home.example"}
        monkeypatch.setenv("MATURING_ROUTE_PHONE", mail.address("nora@home.example", "piet@home.example"))
        assert main(["test-message", str(path), "phone", "--json"]) == 1
    nora, piet = json.loads(capsys.readouterr().out)["recipients"]
    assert (nora["taken"], nora["reason"]) == (True, None)
    assert piet["reason"] == "the mail server refused the recipient (550 no such mailbox)"
