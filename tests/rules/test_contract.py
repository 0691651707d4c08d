"""What every rule must do, whichever it is: found by introspection, so that a new one cannot dodge it."""

from __future__ import annotations

import inspect
import json
import random
from pathlib import Path

import pytest

from monitor.rules.base import Rule
from monitor.rules.engine import Engine, rule_classes
from monitor.site import Rules
from tests.rules.samples import make_site, moment, record, rind, trouble

SITE = make_site(
    **{
        "interval_s = 60": 'interval_s = 60\nquantities = ["temperature", "humidity", "door_open", "water_low"]',
        "[[route]]": '[rules.shelf_mould]\nhighest_index = 0.01\nmaterial = "very sensitive"\n'
        "[rules.unusual_air]\nusual_days = 4\n[rules.place_apart]\nusual_days = 3\n[[route]]",
    }
)
TROUBLE = trouble(SITE)
UNITS = ("_c", "_k", "_pct", "_ms", "_s", "_m_s", "_ppm", "_v", "_per_h", "_per_day", "_per_h", "_g_per_day")
PURE = {"drying_pace", "mould_pace", "share", "defrosts", "mould_index", "cracking_index", "blue_index",
        "mite_index", "hours_to_limit"}  # fmt: skip
"""Numbers without a unit, or with it in words."""
CLASSES = rule_classes()


def course(seed: int, minutes: int = 600) -> list:
    """Moments of ten hours in which air and sensor do all sorts of things."""
    chance, now, moments = random.Random(seed), [], []
    for minute in range(0, minutes, 5):
        t, rh = 10.5 + chance.gauss(0, 2), min(100.0, max(20.0, 84 + chance.gauss(0, 12)))
        now = [record(minute, t, rh), record(minute, t, rh, "")] if chance.random() < 0.9 else []
        known = {"rinds": {"clothed-01": rind(minute, "clothed-01", cracking_index=chance.uniform(0, 2))}}
        moments.append(moment(SITE, minute, *now, **known))
    return moments


def run(rule: Rule, moments: list) -> list:
    told = []
    for each in moments:
        rule.update(each)
        told.append(rule.findings())
    return told


def test_there_is_a_rule_for_each_setting() -> None:
    """Every settings table of the site file has its rule, and every rule its settings."""
    assert {kind.name for kind in CLASSES} == set(Rules.model_fields)


@pytest.mark.parametrize("kind", CLASSES, ids=lambda k: k.name)
class TestEveryRule:
    """The contract."""

    def test_it_states_its_basis(self, kind: type[Rule]) -> None:
        """The docstring names a published source, or says that it is common practice without one."""
        text = inspect.getdoc(kind) or ""
        assert "no source" in text or any(year in text for year in ("19", "20", "IEC", "ISO"))

    def test_its_settings_are_documented(self, kind: type[Rule]) -> None:
        """The settings have a sentence on what they are for, and the page on rules names the rule and each of them."""
        settings = type(getattr(Rules(), kind.name))
        assert settings.__doc__
        page = Path("monitor/docs/rules.md").read_text(encoding="utf-8")
        section = page.partition(f"## `{kind.name}`")[2].partition("\n## ")[0]
        for name, field in settings.model_fields.items():
            default = getattr(getattr(Rules(), kind.name), name)
            assert f"`{name}` = {default}" in section, f"{name}: {field}"

    def test_too_little_data_is_silence(self, kind: type[Rule]) -> None:
        """Before anything is known nothing is found."""
        rule = kind(SITE, SITE.rooms[0])
        rule.update(moment(SITE, 0))
        assert rule.findings() == []

    def test_it_is_deterministic(self, kind: type[Rule]) -> None:
        """The same moments give the same findings."""
        assert run(kind(SITE, SITE.rooms[0]), course(3)) == run(kind(SITE, SITE.rooms[0]), course(3))

    def test_a_restart_changes_nothing(self, kind: type[Rule]) -> None:
        """Saved as JSON and restored at any point, it finds what it would have found."""
        moments = course(5)
        whole = run(kind(SITE, SITE.rooms[0]), moments)
        for cut in (1, 40, 90):
            first, second = kind(SITE, SITE.rooms[0]), kind(SITE, SITE.rooms[0])
            told = run(first, moments[:cut])
            second.restore(json.loads(json.dumps(first.state())))
            assert told + run(second, moments[cut:]) == whole

    def test_reset_makes_it_new(self, kind: type[Rule]) -> None:
        """After a reset nothing of the past is left."""
        rule = kind(SITE, SITE.rooms[0])
        run(rule, course(7))
        rule.reset()
        assert rule.findings() == []
        assert run(rule, course(3)) == run(kind(SITE, SITE.rooms[0]), course(3))

    def test_late_air_of_hours_ago_changes_nothing(self, kind: type[Rule]) -> None:
        """A record of an earlier slot that comes late is no news about now."""
        rule = kind(SITE, SITE.rooms[0])
        run(rule, course(9))
        before = rule.findings()
        rule.update(moment(SITE, 596, record(60, 35.0, 20.0)))
        assert [f.key for f in rule.findings()] == [f.key for f in before]

    def test_each_finding_says_what_a_person_needs(self, kind: type[Rule]) -> None:
        """What, since when, what to check first, which wheels; units in the names of its numbers; JSON all through."""
        found = [f for told in run(kind(SITE, SITE.rooms[0]), TROUBLE) for f in told]
        assert found
        for finding in found:
            assert finding.what
            assert finding.check_first
            assert 0 < finding.since_ms <= finding.seen_ms
            assert finding.wheels or finding.rule in ("gases", "shelf_mould")
            assert finding.certainty is None or 0.0 <= finding.certainty <= 1.0
            json.dumps(finding.numbers)
            for name, value in finding.numbers.items():
                if isinstance(value, int | float):
                    assert name in PURE or name.endswith(UNITS), name

    def test_calm_days_are_silent(self, kind: type[Rule]) -> None:
        """Four days of ordinary air give nothing to say."""
        calm = TROUBLE[: round(4.2 * 144)]
        if kind.name == "shelf_mould":
            calm = calm[:5]
        assert not any(run(kind(SITE, SITE.rooms[0]), calm))

    def test_an_alarm_standing_survives_a_restart(self, kind: type[Rule]) -> None:
        """Saved and restored in the midst of trouble, it stands on as it was and goes on the same."""
        first, second = kind(SITE, SITE.rooms[0]), kind(SITE, SITE.rooms[0])
        run(first, TROUBLE[-230:-20])
        second.restore(json.loads(json.dumps(first.state())))
        assert second.findings() == first.findings()
        assert run(second, TROUBLE[-20:]) == run(first, TROUBLE[-20:])

    def test_a_clock_set_back_does_no_harm(self, kind: type[Rule]) -> None:
        """An hour set back neither raises an error nor leaves a finding from the future."""
        rule = kind(SITE, SITE.rooms[0])
        run(rule, course(11))
        run(rule, course(11, 300))
        assert all(f.seen_ms <= moment(SITE, 300).now_ms for f in rule.findings())


def test_what_a_failing_rule_last_found_stands_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """A band alarm does not end because its rule breaks: the last finding stands beside the one about the monitor, through a
    restart too."""
    engine = Engine(SITE)
    for minute in (0, 10, 20):
        before = engine.update(moment(SITE, minute, record(minute, 10.5, 60.0)))
    assert "band" in {f.rule for f in before}
    monkeypatch.setattr(engine.rules["band", "vault"], "update", lambda _: 1 / 0)
    after = engine.update(moment(SITE, 30, record(30, 10.5, 60.0)))
    assert {f.key for f in before} <= {f.key for f in after}
    assert "monitor" in {f.rule for f in after}
    again = Engine(SITE)
    again.restore(json.loads(json.dumps(engine.state())))
    monkeypatch.setattr(again.rules["band", "vault"], "update", lambda _: 1 / 0)
    assert {f.key for f in before} <= {f.key for f in again.update(moment(SITE, 40, record(40, 10.5, 60.0)))}


def test_a_rule_that_fails_is_told_and_the_others_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault in one rule is a finding about the monitor itself."""
    engine = Engine(SITE)
    monkeypatch.setattr(engine.rules["silence", "vault"], "update", lambda _: 1 / 0)
    findings = [
        f for minute in (0, 10, 20) for f in engine.update(moment(SITE, minute, record(minute, 10.5, 60.0)))
    ]
    assert {f.rule for f in findings} == {"monitor", "band"}
