"""A span of air lived through again."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.errors import PhysicsError
from monitor.rind.presets import PRESETS
from monitor.rind.replay import AirSeries, replay
from monitor.rind.twin import Twin

CLOTH = PRESETS["cloth-bound"]


def two_places(records: int = 240) -> AirSeries:
    """A dry shelf and a damp one, the damp one's sensor silent for a while."""
    hour = np.arange(records)
    rh = np.stack([78.0 + np.sin(hour / 9.0), 92.0 + np.cos(hour / 7.0)], axis=1)
    rh[50:60, 1] = np.nan
    return AirSeries(np.full(records, 3600.0), np.full((records, 2), 12.0), rh)


def test_replay_is_advancing_record_by_record() -> None:
    """The same air by hand and by replay: the same bytes; each wheel in the air of its own place."""
    series, place = two_places(), np.array([1, 0, 1])
    by_replay, by_hand = Twin([CLOTH] * 3), Twin([CLOTH] * 3)
    replay(by_replay, series, place)
    for i in range(240):
        by_hand.advance(3600.0, series.temperature_c[i, place], series.rh_pct[i, place])
    assert by_replay.to_bytes() == by_hand.to_bytes()
    assert by_replay.loss_kg[1] > by_replay.loss_kg[0] == by_replay.loss_kg[2]
    assert list(by_replay.gap_s) == [36_000.0, 0.0, 36_000.0]


def test_a_span_in_two_halves_is_the_whole() -> None:
    """Checkpoint anywhere."""
    series, place = two_places(), np.array([0, 1])
    whole, halves = Twin([CLOTH] * 2), Twin([CLOTH] * 2)
    replay(whole, series, place)
    for part in (slice(0, 97), slice(97, None)):
        replay(
            halves, AirSeries(series.seconds[part], series.temperature_c[part], series.rh_pct[part]), place
        )
    assert whole.to_bytes() == halves.to_bytes()


def test_kept_losses_are_those_at_the_records_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    """Rows by time, columns by wheel; a bar only when wanted."""
    seen = replay(Twin([CLOTH] * 2), two_places(), np.array([0, 1]), keep=np.array([23, 239]), progress=True)
    assert list(seen.at_s) == [24 * 3600.0, 240 * 3600.0]
    assert seen.loss_kg.shape == (2, 2)
    assert seen.loss_kg[1, 0] > seen.loss_kg[0, 0]
    assert seen.unseen_kg[0, 1] == 0.0 < seen.unseen_kg[1, 1]
    assert "240/240" in capsys.readouterr().err
    replay(Twin([CLOTH]), AirSeries.steady(2, 12.0, 85.0))
    assert capsys.readouterr().err == ""


def test_air_may_be_carried_on_by_what_is_expected() -> None:
    """Measured, then the reference climate, for a forecast."""
    series = AirSeries.steady(10, 12.0, 85.0, 3600.0).then(AirSeries.steady(20, 11.0, 83.0))
    assert series.ends_s[-1] == pytest.approx(30 * 86_400.0)
    assert series.rh_pct[0] == 85.0
    assert series.rh_pct[-1] == 83.0
    both = two_places().then(AirSeries.steady(3, 12.0, 85.0))
    assert both.rh_pct.shape == (243, 2)


def test_air_that_does_not_fit_is_refused() -> None:
    """Unequal lengths, times of zero, a place that is not there."""
    with pytest.raises(PhysicsError, match="rh_pct"):
        AirSeries(np.ones(3), np.ones(3), np.ones(2))
    with pytest.raises(PhysicsError, match="seconds"):
        AirSeries(np.zeros(3), np.ones(3), np.ones(3))
    with pytest.raises(PhysicsError, match="place"):
        replay(Twin([CLOTH]), two_places(), np.array([2]))
    with pytest.raises(PhysicsError, match="place"):
        replay(Twin([CLOTH]), two_places(), np.array([-1]))
