"""The `maturing-room` command: help that teaches, errors in one line, exit status."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor import __version__
from monitor.cli import cli, main
from tests.system.running import write_site
from tests.test_site import GOOD


@pytest.fixture
def site_path(tmp_path: Path) -> Path:
    path = tmp_path / "site.toml"
    path.write_text(GOOD, encoding="utf-8")
    return path


def names() -> list[str]:
    import click

    return cli.list_commands(click.Context(cli))


def test_check_of_a_good_file_says_what_is_in_it(site_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file without faults exits 0 and is summed up in a line."""
    assert main(["check", str(site_path)]) == 0
    assert "1 rooms, 1 sensors, 1 styles" in capsys.readouterr().out


def test_check_lists_all_faults_on_stderr_and_exits_with_2(
    site_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two faults give two lines with file, line and key, and a last line that says what to do."""
    site_path.write_text(
        GOOD.replace('kind = "cave"', 'kind = "shed"').replace("mass_kg", "mas_kg"), encoding="utf-8"
    )
    assert main(["check", str(site_path)]) == 2
    captured = capsys.readouterr()
    lines = captured.err.strip().splitlines()
    assert captured.out == ""
    assert len([line for line in lines if line.startswith(f"{site_path}:")]) == 3
    assert "3 faults" in lines[-1]


def test_a_command_on_a_faulty_site_file_is_wrong_use(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Any command on a file that is not there says so in one line, without a traceback, and exits 2."""
    assert main(["rooms", str(tmp_path / "none.toml")]) == 2
    error = capsys.readouterr().err
    assert "no such file" in error
    assert len(error.strip().splitlines()) == 1
    assert "Traceback" not in error


def test_an_unknown_wheel_fails_with_1_and_a_line_that_helps(
    site_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Asking for a wheel that is not in the ledger exits 1 and names it."""
    assert main(["review", str(site_path), "no-such-wheel"]) == 1
    error = capsys.readouterr().err
    assert "no-such-wheel" in error
    assert "Traceback" not in error


def test_debug_shows_where_an_error_came_from(site_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With --debug, wherever it stands, the traceback is there."""
    assert main(["review", str(site_path), "no-such-wheel", "--debug"]) == 1
    assert "Traceback" in capsys.readouterr().err


@pytest.mark.parametrize(
    "arguments", [["nonsense"], ["check"], ["rooms", "--jso"], ["demo", "--port", "many"]]
)
def test_wrong_use_exits_with_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """A command, argument or option that does not exist is wrong use."""
    assert main(arguments) == 2
    assert "Usage" in capsys.readouterr().err


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    """--version prints the version and exits 0."""
    assert main(["--version"]) == 0
    assert __version__ in capsys.readouterr().out


@pytest.mark.parametrize("name", names())
def test_every_command_teaches_by_example(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each command's --help has a sentence on what it does and an example of its use."""
    assert main([name, "--help"]) == 0
    text = capsys.readouterr().out
    assert "xample" in text
    assert f"maturing-room {name}" in text
    assert len(cli.commands[name].help or "") > 20


@pytest.mark.parametrize("name", ["run", "read", "calibrate"])
def test_several_examples_stand_on_lines_of_their_own(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Two commands run together on one line could not be copied."""
    main([name, "--help"])
    examples = capsys.readouterr().out.partition("Examples:\n")[2].strip().splitlines()
    assert len(examples) == 2
    assert all(line.count(f"maturing-room {name}") == 1 for line in examples)


def test_rooms_of_a_new_site_are_an_honest_empty_answer(
    site_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On day one there is no reading and no wheel: null and words for it, never a zero."""
    assert main(["rooms", str(site_path), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    (room,) = document["rooms"]
    assert document["version"] == 1
    assert document["monitor"]["running"] is False
    assert room["state"] == "no-reading"
    assert room["temperature_c"] is None
    assert room["drying_pace"] is None
    assert room["sensors"][0]["silent"] is True
    assert main(["rooms", str(site_path)]) == 0
    assert "not running" in capsys.readouterr().out


def test_alarms_of_a_new_site_are_none(site_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing stands before the first reading."""
    assert main(["alarms", str(site_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["standing"] == []
    assert main(["alarms", str(site_path)]) == 0
    assert "Nothing stands." in capsys.readouterr().out


def test_check_names_a_fault_in_a_reader(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A slip under [sensor.reader] is a fault of the site file like any other."""
    path = write_site(tmp_path, 1883, ["rack-1"])
    path.write_text(path.read_text() + '[sensor.reader]\nkind = "kernal"\n')
    assert main(["check", str(path)]) == 2
    assert "sensor 'rack-1': reader.kind: choose from kernel, modbus" in capsys.readouterr().err
