"""Cracking, blue and mites: what the twins of the wheels in a room say, told by style."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.rules.base import Rule
from monitor.rules.blue import BlueRule
from monitor.rules.cracking import CrackingRule
from monitor.rules.drying_pace import DryingPaceRule
from monitor.rules.finding import Finding
from monitor.rules.mites import MitesRule
from tests.rules.samples import WHEELS, make_site, moment, record, rind

SITE = make_site()


def told(kind: type[Rule], hours: int = 5, **known: Any) -> list[Finding]:
    """What a rule says once the first twelve wheels have been so for some hours."""
    rule = kind(SITE, SITE.rooms[0])
    for minute in range(0, hours * 60, 60):
        rinds = {w: rind(minute, w, **(known if w in WHEELS[:12] else {})) for w in WHEELS}
        rule.update(moment(SITE, minute, rinds=rinds))
    return rule.findings()


@pytest.mark.parametrize(
    ("kind", "name"),
    [(CrackingRule, "cracking_index"), (BlueRule, "blue_index"), (MitesRule, "mite_index")],
)
def test_twelve_wheels_over_the_index_are_one_finding(kind: type[Rule], name: str) -> None:
    """Twelve of 41 wheels at 1.4 times what shows: one finding that names those twelve and where to look."""
    (finding,) = told(kind, **{name: 1.4})
    assert finding.wheels == WHEELS[:12]
    assert "12 cloth-bound wheels" in finding.effect
    assert finding.numbers[name] == 1.4
    assert "clothed-00" in finding.check_first


@pytest.mark.parametrize("kind", [CrackingRule, BlueRule, MitesRule])
def test_what_a_twin_does_not_know_is_not_told(kind: type[Rule]) -> None:
    """None is no index, and no finding."""
    assert told(kind, cracking_index=None, blue_index=None, mite_index=None) == []


def test_blue_needs_a_way_in() -> None:
    """A sound, bare rind lets no air under it, however long blue had."""
    assert told(BlueRule, blue_index=3.0, way_in="") == []
    (finding,) = told(BlueRule, blue_index=3.0, way_in="plug")
    assert "at its plug" in finding.what


def test_air_unknown_for_a_month_halves_how_sure_it_is() -> None:
    """A twin that was without air for 720 h of its life is half as sure."""
    (finding,) = told(CrackingRule, cracking_index=1.4, unknown_hours=720.0)
    assert finding.certainty == 0.5


def test_drying_pace_says_how_many_grams_by_tomorrow() -> None:
    """Half a day at 68 %, twins that lose 40 g a day: the finding says so for each wheel."""
    rule = DryingPaceRule(SITE, SITE.rooms[0])
    rinds = {w: rind(0, w, loss_kg_per_day=0.040) for w in WHEELS}
    for minute in range(0, 731, 10):
        rule.update(moment(SITE, minute, record(minute, 10.5, 68.0), rinds=rinds))
    (finding,) = rule.findings()
    assert "about 40 g each by tomorrow" in finding.effect
    assert finding.cause == "air:vault"
    assert finding.certainty is not None
    assert finding.certainty > 0.5
