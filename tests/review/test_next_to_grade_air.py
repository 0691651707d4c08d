"""Reasons from the air: dry air lately, a way in for air, and faults that the link expects."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from monitor.clock import DAY_MS, TEN_MINUTES_MS, from_ms, to_ms
from monitor.link.exposure import Exposures
from monitor.link.life import Life
from monitor.link.skill import Ranged
from monitor.link.study import Study
from monitor.review.next_to_grade_air import reasons_of
from monitor.wheels import Entry
from tests.link import known

MADE = to_ms(datetime(2026, 1, 1, tzinfo=UTC))
NOW = MADE + 90 * DAY_MS


def air(humid_pct: float, dry_pct: float) -> Exposures:
    """Ninety days at 11.5 degC: the middle rack as intended, the mouth dry over the last month."""
    starts = np.arange(MADE, NOW, TEN_MINUTES_MS)
    t = np.full(len(starts), 11.5)
    mouth = np.where(starts < NOW - 30 * DAY_MS, humid_pct, dry_pct)
    return Exposures(
        known.site(),
        {
            ("cave", "mid-rack"): (starts, t, np.full(len(starts), humid_pct)),
            ("cave", "mouth"): (starts, t, mouth),
        },
    )


def wheel(name: str, place: str, *entries: Entry) -> Life:
    return Life(name, "M", "thornwick", MADE, NOW, (("cave", place, MADE, NOW),), entries)


def looked(day: int, **seen: int) -> Entry:
    at = MADE + day * DAY_MS
    return Entry(day, "inspection", at, at, "Nora", "W", "M", dict(seen))


def keys(lives: list[Life], link: Study | None = None) -> dict[str, dict[str, str | None]]:
    exposures = air(87.0, 70.0)
    exposures.live_again(lives)
    found = reasons_of(lives, exposures, link or Study(), from_ms(NOW))
    return {name: {reason.key: reason.act for reason in reasons} for name, reasons in found.items()}


def test_dry_air_lately_asks_for_a_look_and_where_nobody_weighed_for_the_scale() -> None:
    at = NOW - 5 * DAY_MS
    weighed = Entry(1, "weighing", at, at, "Nora", "W", "M", {"mass_kg": 18.0})
    found = keys(
        [wheel("as intended", "mid-rack"), wheel("dry", "mouth"), wheel("weighed", "mouth", weighed)]
    )
    assert found == {
        "dry": {"drying": "look at the rind", "weigh": "weigh"},
        "weighed": {"drying": "look at the rind"},
    }


def test_a_crack_lets_air_in_and_clear_looks_take_the_worry_off() -> None:
    """Cracked since day 20, seen again on day 34: the wheel nobody looked under worries more than the one seen clear."""
    cracked = [looked(20, cracks=1), looked(34, cracks=1)]
    clear = [looked(day, cracks=1, blue_under_cloth=0) for day in (70, 76, 83, 88)]
    lives = [wheel("open", "mid-rack", *cracked), wheel("seen", "mid-rack", *cracked, *clear)]
    exposures = air(87.0, 87.0)
    exposures.live_again(lives)
    found = reasons_of(lives, exposures, Study(), from_ms(NOW))
    (worry,), (less,) = found["open"], found["seen"]
    assert worry.key == less.key == "way in"
    assert less.weight <= worry.weight


def test_what_the_link_expects_calls_for_the_iron_where_it_hides_under_the_cloth() -> None:
    link = Study(
        chances={"likely": {"blue_under_cloth": Ranged(0.4, 0.2, 0.6), "cracks": Ranged(0.02, 0.0, 0.1)}}
    )
    assert keys([wheel("likely", "mid-rack")], link) == {"likely": {"expected": "iron"}}


def test_a_wheel_that_is_gone_has_no_reasons() -> None:
    gone = Life("gone", "M", "thornwick", MADE, NOW, (("cave", "mouth", MADE, NOW),), (), gone=True)
    assert keys([gone]) == {}
