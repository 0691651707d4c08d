"""The monitor's own parts as findings."""

from __future__ import annotations

import pytest

from monitor.rules.engine import Engine
from monitor.rules.finding import Priority
from monitor.rules.own_parts import WORDS, part_findings
from tests.rules.samples import make_site, moment

NOW = 1_772_366_400_000


def ill(name: str, since_s: float, ok: bool = False) -> dict[str, dict[str, object]]:
    return {name: {"ok": ok, "since_ms": NOW - round(since_s * 1000), "detail": "12 MB left"}}


def test_a_disk_that_fills_up_is_told_at_once() -> None:
    """What, what it does, and what to check first, before the disk is full."""
    (finding,) = part_findings(ill("disk", 0), NOW)
    assert finding.what == "The disk that holds the readings is nearly full (12 MB left)"
    assert finding.effect == "once it is full no reading is kept any more"
    assert finding.priority is Priority.HIGH


@pytest.mark.parametrize("name", sorted(WORDS))
def test_a_part_is_told_only_after_its_delay(name: str) -> None:
    """A broker restarted within two minutes wakes nobody; one that stays away does, and being well ends it."""
    after_s = WORDS[name].after_ms / 1000
    assert after_s == 0 or list(part_findings(ill(name, after_s - 1), NOW)) == []
    (finding,) = part_findings(ill(name, after_s + 1), NOW)
    assert finding.key == f"monitor//////part-{name}"
    assert list(part_findings(ill(name, after_s + 1, ok=True), NOW)) == []


def test_the_engine_tells_of_its_parts_once() -> None:
    """A site of several rooms has one finding about the broker, not one for each room."""
    site = make_site()
    now = moment(site, 60)
    told = Engine(site).update(
        type(now)(now.now_ms, site, parts={"broker": {"ok": False, "since_ms": 0, "detail": "no connection"}})
    )
    assert [f.aspect for f in told if f.rule == "monitor"] == ["part-broker"]
