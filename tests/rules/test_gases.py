"""Gases: over the limits for people, at once where it is deadly, and said so that nobody walks in."""

from __future__ import annotations

import pytest

from monitor.rules.finding import Finding, Priority
from monitor.rules.gases import GasesRule
from tests.rules.samples import make_site, moment, reading

SITE = make_site()


def told(quantity: str, values: list[float], step_min: float = 5.0) -> list[Finding]:
    rule = GasesRule(SITE, SITE.rooms[0])
    for number, value in enumerate(values):
        minute = number * step_min
        rule.update(moment(SITE, minute, readings=(reading(minute, quantity, value),)))
    return rule.findings()


def test_a_deadly_amount_is_critical_with_its_first_reading() -> None:
    """Carbon dioxide of 15,000 ppm (the UK's limit over 15 min) is told at once, in capitals where it is read first."""
    (short,) = [f for f in told("carbon_dioxide", [15_000.0]) if f.priority is Priority.CRITICAL]
    assert short.short.startswith("STAY OUT")
    assert "never go in alone" in short.check_first
    assert "local rules" in short.check_first


def test_the_long_limit_counts_after_its_delay() -> None:
    """6,000 ppm is over the 5,000 ppm of a working day, but a person breathing out beside the sensor is not told."""
    assert told("carbon_dioxide", [6_000.0, 900.0, 900.0]) == []
    (finding,) = told("carbon_dioxide", [6_000.0] * 4)
    assert finding.priority is Priority.HIGH


@pytest.mark.parametrize(("quantity", "value"), [("ammonia", 36.0), ("oxygen", 17.5)])
def test_ammonia_and_lack_of_oxygen_are_critical_too(quantity: str, value: float) -> None:
    """35 ppm of ammonia (NIOSH, over 15 min), and air with less oxygen than 18 %."""
    assert Priority.CRITICAL in {f.priority for f in told(quantity, [value])}


def test_ordinary_air_is_silent() -> None:
    """1,200 ppm, a trace of ammonia and 20.9 % are what a maturing room has."""
    for quantity, value in (("carbon_dioxide", 1200.0), ("ammonia", 4.0), ("oxygen", 20.9)):
        assert told(quantity, [value] * 10) == []
