"""Routes looked over before they are needed: who is reached twice, and the outcome of a test as JSON."""

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


def test_a_check_notes_who_is_reached_twice(
    path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nora's mailbox stands on two routes that tell at once; on one that tells later it may be meant as a reminder."""
    for name in ("PHONE", "SECOND"):
        monkeypatch.setenv(
            f"MATURING_ROUTE_{name}", "mailto://m.example?from=a@b.example&to=nora@home.example"
        )
    second = '\n[[route]]\nname = "second"\naddress_env = "MATURING_ROUTE_SECOND"\n'
    path.write_text(GOOD + second, "utf-8")
    assert main(["check", str(path)]) == 0
    assert "routes phone and second reach 1 of the same" in capsys.readouterr().err
    path.write_text(f"{GOOD}{second}after_min = 20\n", "utf-8")
    assert main(["check", str(path)]) == 0
    assert "of the same" not in capsys.readouterr().err
