"""The dairy in its own numbers: counts, intervals that own up to makes, and makes dealt out anew."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.link.counting import chance_of_as_much, contrast, design_effect, effect_beyond


def wheels(makes: int, each: int) -> np.ndarray:
    return np.repeat(np.array([f"M-{i:02d}" for i in range(makes)], dtype=object), each)


def test_a_table_is_what_counting_by_hand_gives() -> None:
    """6 of 14 against 4 of 31: 42.9 % against 12.9 %, 3.3 times as often."""
    found = np.array([True] * 6 + [False] * 8 + [True] * 4 + [False] * 27)
    exposed = np.array([True] * 14 + [False] * 31)
    group = contrast(found, exposed, np.arange(45).astype(object))
    assert (group.more.found, group.more.of, group.less.found, group.less.of) == (6, 14, 4, 31)
    assert group.ratio is not None
    assert group.ratio.value == pytest.approx(6 / 14 / (4 / 31))
    assert group.ratio.low < group.ratio.value < group.ratio.high
    assert group.difference.value == pytest.approx(6 / 14 - 4 / 31)


def test_wheels_that_stand_and_fall_with_their_make_count_as_one() -> None:
    """Ten makes of five, each all or nothing: five wheels of one make tell as much as one, and intervals widen."""
    makes, exposed = wheels(10, 5), np.repeat(np.arange(10) < 5, 5)
    together = np.repeat(np.array([1, 0, 1, 0, 1, 0, 0, 0, 1, 0], dtype=bool), 5)
    apart = np.tile(np.array([1, 0, 1, 0, 0], dtype=bool), 10)
    assert design_effect(together, exposed, makes) == pytest.approx(5.0, rel=0.25)
    assert design_effect(apart, exposed, makes) == 1.0
    wide, narrow = contrast(together, exposed, makes), contrast(apart, exposed, makes)
    assert wide.more.share.high - wide.more.share.low > narrow.more.share.high - narrow.more.share.low


def test_dealing_out_makes_tells_a_link_from_luck() -> None:
    """Faults on the exposed makes only: hardly ever by luck. Faults spread evenly: as good as always."""
    makes, exposed = wheels(20, 5), np.repeat(np.arange(20) < 8, 5).astype(float)
    linked, even = exposed - exposed.mean(), np.tile([1.0, 0.0, 0.0, 0.0, -1.0], 20)
    assert chance_of_as_much(exposed, linked, makes) < 0.001
    assert chance_of_as_much(exposed, even, makes) > 0.2


def test_one_odd_make_is_no_link_however_many_wheels_it_has() -> None:
    """All 12 wheels of one exposed make cracked, none of 11 others: as one make of two exposed, that is luck."""
    makes = wheels(12, 12)
    number = np.repeat(np.arange(12), 12)
    surprises = np.where(number == 0, 1.0, 0.0) - 1 / 12
    assert chance_of_as_much((number < 2).astype(float), surprises, makes) > 0.05


def test_what_makes_differ_by_because_of_their_air_is_no_luck_of_the_draw() -> None:
    """Ten makes of five; half had twice the air. As far as that explains their cracks, makes add no doubt; beyond it they do."""
    makes = wheels(10, 5)
    half = np.repeat(np.arange(10) % 2 == 0, 5)
    exposed = np.repeat(np.arange(10) < 8, 5)
    found = np.where(half, np.tile([1, 1, 1, 1, 0], 10), np.tile([1, 0, 0, 0, 0], 10)).astype(bool)
    by_air, unaware = np.where(half, 0.8, 0.2), np.full(50, 0.5)
    assert design_effect(found, exposed, makes) > 1.5
    assert effect_beyond(by_air, found, exposed, makes) == pytest.approx(0.64)
    assert effect_beyond(unaware, found, exposed, makes) > 1.5
    with_air = contrast(found, exposed, makes, expected=by_air).difference
    without = contrast(found, exposed, makes).difference
    assert with_air.high - with_air.low < without.high - without.low
