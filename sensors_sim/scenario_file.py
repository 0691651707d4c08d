"""Reads a scenario from its TOML file or from plain data, every fault named by its key."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from sensors_sim.errors import ScenarioError
from sensors_sim.scenario import Scenario
from sensors_sim.scenario_check import check_references


def read_scenario(path: str | Path) -> Scenario:
    """Read a scenario file.

    Raises
    ------
    ScenarioError
        The file cannot be read or something in it is impossible; the message names the key.
    """
    try:
        data = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise ScenarioError(f"{path}: cannot be read: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ScenarioError(f"{path}: not TOML: {error}") from error
    return build_scenario(data, str(path))


def build_scenario(data: dict[str, Any], source: str = "scenario") -> Scenario:
    """A scenario from plain data, checked as `read_scenario` does."""
    try:
        scenario = Scenario.model_validate(data)
    except ValidationError as error:
        lines = [f"{source}: {_key(e['loc'])}: {_what(e)}" for e in error.errors(include_url=False)]
        raise ScenarioError("\n".join(lines)) from error
    check_references(scenario, source)
    return scenario


def _key(location: tuple[str | int, ...]) -> str:
    text = ""
    for part in location:
        text += f"[{part}]" if isinstance(part, int) else (f".{part}" if text else str(part))
    return text or "(whole file)"


def _what(error: Any) -> str:
    if error["type"] == "extra_forbidden":
        return "unknown key"
    if error["type"] == "missing":
        return "is missing"
    return str(error["msg"]).removeprefix("Value error, ")
