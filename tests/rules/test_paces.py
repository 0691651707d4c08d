"""Drying and mould pace: against the style's own intended climate, with the sensors' doubt."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.rules.drying_pace import DryingPaceRule
from monitor.rules.mould_pace import MouldPaceRule
from monitor.rules.paces import paces
from tests.rules.samples import OLD, make_site, moment, record

SITE = make_site()
ROOM = SITE.rooms[0]


def test_in_the_intended_climate_both_paces_are_one() -> None:
    """10.5 degC and 84 % is what the stage intends: drying and mould at 1.0, with room for doubt around it."""
    found = paces(SITE, ROOM, record(0), OLD)
    for name in ("drying", "mould"):
        value, low, high = found[name] or (0, 0, 0)
        assert value == pytest.approx(1.0, abs=1e-9)
        assert low < value < high


def test_drier_air_dries_faster_and_damper_air_favours_mould() -> None:
    """At 74 % wheels dry faster than intended; at 90 % mould grows faster than intended."""
    dry, damp = paces(SITE, ROOM, record(0, 10.5, 74.0), OLD), paces(SITE, ROOM, record(0, 10.5, 90.0), OLD)
    assert dry["drying"] is not None
    assert damp["mould"] is not None
    assert dry["drying"][0] > 1.3
    assert damp["mould"][0] > 1.5


@given(st.floats(60, 95), st.floats(0.1, 4))
def test_drier_never_dries_slower(rh_pct: float, drier_by: float) -> None:
    """Less humidity at the same temperature never lowers the drying pace."""
    damp, dry = (paces(SITE, ROOM, record(0, 10.5, rh), OLD)["drying"] for rh in (rh_pct, rh_pct - drier_by))
    assert damp is not None
    assert dry is not None
    assert dry[0] >= damp[0]


def test_nothing_known_is_none_never_zero() -> None:
    """Without a reading, or without wheels, there is no pace."""
    assert paces(SITE, ROOM, record(0, None, None), OLD) == {"drying": None, "mould": None}
    assert paces(SITE, ROOM, record(0), ()) == {"drying": None, "mould": None}


def test_fast_drying_is_a_finding_after_its_delay() -> None:
    """Thirteen hours at 70 % give one finding that says how fast, for which wheels; an hour gives none."""
    rule = DryingPaceRule(SITE, ROOM)
    for minute in range(0, 61, 10):
        rule.update(moment(SITE, minute, record(minute, 10.5, 70.0)))
    assert rule.findings() == []
    for minute in range(70, 781, 10):
        rule.update(moment(SITE, minute, record(minute, 10.5, 70.0)))
    (finding,) = rule.findings()
    assert "dries too fast" in finding.what
    assert "times their intended pace" in finding.effect
    assert len(finding.wheels) == 41
    low, high = finding.numbers["drying_pace"][1:]  # type: ignore[index]
    assert low < high


def test_an_hour_of_dry_air_a_day_is_no_pace() -> None:
    """60 % while the door stands open for an hour a day: the mean hardly moves."""
    rule = DryingPaceRule(SITE, ROOM)
    for minute in range(0, 3 * 1440, 10):
        dry = 600 <= minute % 1440 < 660
        rule.update(moment(SITE, minute, record(minute, 10.5, 60.0 if dry else 84.0)))
        assert rule.findings() == []


def test_what_the_styles_own_band_allows_is_never_too_fast() -> None:
    """A style that may have 70 to 88 % is told nothing of two days at 72 %, one that wants 80 % is."""
    wide = make_site(**{"rh_pct = [80, 88]": "rh_pct = [70, 88]"})
    for site, told in ((wide, 0), (SITE, 1)):
        rule = DryingPaceRule(site, site.rooms[0])
        for minute in range(0, 2 * 1440, 10):
            rule.update(moment(site, minute, record(minute, 10.5, 72.0)))
        assert len(rule.findings()) == told


def test_still_damp_air_is_a_finding_of_mould_pace() -> None:
    """A day at 93 % lets unwanted mould grow too fast on wheels meant for 84 %."""
    rule = MouldPaceRule(SITE, ROOM)
    for minute in range(0, 1451, 10):
        rule.update(moment(SITE, minute, record(minute, 10.5, 93.0)))
    (finding,) = rule.findings()
    assert "unwanted mould" in finding.effect
    assert finding.check_first


def test_creep_widens_one_side_only() -> None:
    """A humidity that may read 2 % too high may mean faster drying, never slower; the pace itself stays."""
    plain = record(0, 10.5, 84.0)
    crept = replace(plain, rh_creep_pct=2.0)
    before, after = (paces(SITE, SITE.rooms[0], air, OLD)["drying"] for air in (plain, crept))
    assert before is not None
    assert after is not None
    assert after[:2] == before[:2]
    assert after[2] > before[2] + 0.08
    mould_before, mould_after = (paces(SITE, SITE.rooms[0], air, OLD)["mould"] for air in (plain, crept))
    assert mould_before is not None
    assert mould_after is not None
    assert mould_after[2] == mould_before[2]
    assert mould_after[1] < mould_before[1]
