"""The running twins: the same rind whether air and ledger came in time, late, or around a restart."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from monitor import air as humid_air
from monitor.clock import DAY_MS, to_ms
from monitor.errors import StoreAway
from monitor.records import RindNow
from monitor.rind.twin import Twin
from monitor.twins import kept_rind
from monitor.twins.hourly import HOUR_MS
from monitor.twins.learning import Learnt, parameters_of
from monitor.twins.weight import weight_law
from tests.twins.samples import START, Rooms, breathe, day
from tests.wheels.samples import NOW

DRY, DAMP = 78.0, 90.0


@pytest.fixture
def rooms(tmp_path: Path) -> Rooms:
    found = Rooms(tmp_path)
    breathe(found.store, "low-rack", 0, 8.5, 11.5, DAMP)
    breathe(found.store, "high-rack", 0, 8.5, 11.5, DRY)
    return found


def same(one: RindNow, other: RindNow) -> bool:
    a, b = dataclasses.astuple(one), dataclasses.astuple(other)
    return all(
        x == pytest.approx(y, rel=1e-9) if isinstance(x, float) else x == y for x, y in zip(a, b, strict=True)
    )


def test_a_running_twin_is_the_rinds_twin_in_the_same_air(rooms: Rooms) -> None:
    """Eight days hour by hour come to what one twin says that is carried through the same hours by hand."""
    rooms.settle()
    rind = rooms.twins.rinds["HF-01"]
    site, life = rooms.ledger.site, rooms.twins._lives["HF-01"]
    pressure = float(humid_air.pressure_at_altitude(site.site.altitude_m))
    twin = Twin([parameters_of(site.style_by_id["clothed"], life, Learnt())], pressure_pa=pressure)
    first, last = START // HOUR_MS, rind.at_ms // HOUR_MS
    celsius, rh = rooms.twins._air.span(("vault", "low-rack"), first, last)
    for t, h in zip(celsius, rh, strict=True):
        twin.advance(3600.0, t, h, site.room_by_id["vault"].air_speed_at("low-rack"))
    assert last == (to_ms(NOW) - 300_000) // HOUR_MS
    assert rind.mass_kg == pytest.approx(float(twin.mass_kg[0]), rel=1e-9)
    assert rind.water_activity == pytest.approx(float(twin.rind_water_activity[0]), rel=1e-9)
    assert rind.mass_low_kg < rind.mass_kg < rind.mass_high_kg < 22.8
    assert rind.unknown_hours == 0.0


def test_late_air_ends_in_the_same_rind(rooms: Rooms, tmp_path: Path) -> None:
    """Two days at another humidity that arrive after they were lived through as they were known before."""
    rooms.settle()
    before = rooms.twins.rinds["HF-01"]
    breathe(rooms.store, "low-rack", 3, 4, 11.5, 70)
    rooms.settle()
    late = rooms.twins.rinds["HF-01"]
    assert late.mass_kg < before.mass_kg
    rooms.begin()
    rooms.twins._past._kept.clear()
    rooms.settle()
    assert same(rooms.twins.rinds["HF-01"], late)


def test_a_back_dated_move_takes_one_wheel_back_and_leaves_the_others(rooms: Rooms) -> None:
    """Entered today for day 2.5: that wheel dries from day 5 on as if it had been entered then."""
    rooms.settle()
    before = dict(rooms.twins.rinds)
    rooms.ledger.move("HF-01", "vault", "high-rack", day(2.5), author="Piet")
    rooms.settle()
    after = rooms.twins.rinds
    assert after["HF-01"].mass_kg < before["HF-01"].mass_kg - 0.01
    assert same(after["HF-02"], before["HF-02"])
    rooms.ledger.move("HF-02", "vault", "high-rack", day(2.5), author="Piet")
    rooms.twins._past._before.clear()
    rooms.settle()
    assert same(dataclasses.replace(rooms.twins.rinds["HF-02"], wheel="HF-01"), after["HF-01"])


def test_a_restart_goes_on_from_what_was_kept(rooms: Rooms, monkeypatch: pytest.MonkeyPatch) -> None:
    """After a restart the twins live through the hours since, not through eight days again."""
    rooms.settle(to_ms(NOW) - 6 * HOUR_MS)
    rooms.begin()
    lived = []
    monkeypatch.setattr("monitor.twins.past.Past.lived", lambda past, house, target: lived.append(house.hour))
    rooms.settle(to_ms(NOW))
    assert len(lived) == 6
    monkeypatch.undo()
    gone_on = rooms.twins.rinds["HF-03"]
    rooms.begin()
    rooms.settle()
    assert same(rooms.twins.rinds["HF-03"], gone_on)
    rooms.begin()
    rooms.twins._past._kept.clear()
    rooms.settle()
    assert same(rooms.twins.rinds["HF-03"], gone_on)


@pytest.mark.parametrize("what", ["air long ago", "air of yesterday", "move"])
def test_what_changed_while_nothing_ran_is_noticed(rooms: Rooms, what: str) -> None:
    """A logger's file read in, or a move entered, between two runs of the service."""
    rooms.settle()
    before = rooms.twins.rinds["HF-01"]
    if what == "move":
        rooms.ledger.move("HF-01", "vault", "high-rack", day(2.5), author="Piet")
    else:
        since = 1.5 if what == "air long ago" else 7.2
        breathe(rooms.store, "low-rack", since, since + 0.25, 11.5, 60)
    rooms.begin()
    rooms.settle()
    after = rooms.twins.rinds["HF-01"]
    assert after.mass_kg < before.mass_kg - 1e-4
    rooms.begin()
    rooms.twins._past._kept.clear()
    rooms.settle()
    assert same(rooms.twins.rinds["HF-01"], after)


def test_blue_follows_air_getting_in(rooms: Rooms) -> None:
    """Common practice, no source: blue under a cloth follows air getting in, and an unsealed plug is at more risk
    than a sealed one, a wheel with a lifted cloth and an unsealed plug at most."""
    rooms.ledger.iron("HF-01", day(2), author="Nora", sealed=True)
    rooms.ledger.iron("HF-02", day(2), author="Nora", sealed=False)
    rooms.ledger.iron("HF-03", day(2), author="Nora", sealed=False)
    rooms.ledger.inspect("HF-03", day(2), author="Nora", cloth=2)
    rooms.settle()
    sealed, unsealed, worst = (rooms.twins.rinds[f"HF-0{n}"] for n in (1, 2, 3))
    assert sealed.blue_index < unsealed.blue_index < worst.blue_index
    assert (sealed.way_in, unsealed.way_in, worst.way_in) == ("", "plug", "plug")
    assert sealed.mass_kg == unsealed.mass_kg


def test_more_rind_drying_goes_with_a_higher_cracking_index(rooms: Rooms) -> None:
    """Common practice, no source: the rind that dries more is the one that cracks."""
    rooms.ledger.move("HF-01", "vault", "high-rack", day(1), author="Nora")
    rooms.settle()
    dry, damp = rooms.twins.rinds["HF-01"], rooms.twins.rinds["HF-02"]
    assert dry.cracking_index > 1.3 * damp.cracking_index
    assert dry.water_activity < damp.water_activity


def test_brushing_starts_mites_and_blue_anew(rooms: Rooms) -> None:
    """Brushed half a day ago, a wheel has the dose of half a day, whatever hour the brush was entered for."""
    rooms.ledger.work("HF-01", "brushing", day(7.5), author="Nora")
    rooms.settle()
    brushed, other = rooms.twins.rinds["HF-01"], rooms.twins.rinds["HF-02"]
    assert brushed.mite_index == pytest.approx(other.mite_index / 16, rel=0.1)
    assert brushed.mass_kg == other.mass_kg


def test_unknown_air_is_counted(rooms: Rooms) -> None:
    """Moved to where nothing is measured, in a room with no reading: its hours there are unknown, its rind is held."""
    rooms.ledger.move("HF-01", "vault", "high-rack", day(1.5), author="Nora")
    rooms.store.write_air([])
    breathe(rooms.store, "high-rack", 1.5, 8.5, float("nan"), float("nan"))
    rooms.settle()
    rind = rooms.twins.rinds["HF-01"]
    assert rind.unknown_hours == pytest.approx(6.5 * 24, abs=2)
    assert rind.mass_high_kg - rind.mass_low_kg > 0.0


def test_a_sold_wheel_is_let_go_and_its_rind_kept(rooms: Rooms) -> None:
    """Sold on day 5, it is no longer carried on; what its rind was like then can still be read."""
    rooms.ledger.sell("HF-01", day(5), author="Nora")
    rooms.settle()
    assert "HF-01" not in rooms.twins._live.names
    site, life = rooms.ledger.site, rooms.twins._lives["HF-01"]
    plain = parameters_of(site.style_by_id["clothed"], life, Learnt())
    kept = kept_rind(rooms.store, "HF-01", plain, float(humid_air.pressure_at_altitude(site.site.altitude_m)))
    assert kept is not None
    assert kept.at_ms <= to_ms(day(5.5)) + DAY_MS
    assert kept.track[-1, 1] > 0.0


def test_weighings_teach_wheels_that_were_never_weighed(rooms: Rooms) -> None:
    """Two wheels that lose far less than the style says make the third heavier too, with a narrower interval."""
    rooms.settle()
    before = rooms.twins.rinds["HF-03"]
    lost = 22.0 - before.mass_kg
    for name in ("HF-01", "HF-02"):
        for age in (3, 5, 7):
            rooms.ledger.weigh(name, round(22.0 - 0.5 * lost * (age / 8) ** 0.7, 3), day(age), author="Nora", sigma_kg=0.002)  # fmt: skip
    rooms.settle()
    after = rooms.twins.rinds["HF-03"]
    assert 22.0 - after.mass_kg < 0.8 * lost
    weighed = rooms.twins.rinds["HF-01"]
    assert weighed.mass_high_kg - weighed.mass_low_kg < 0.25 * (after.mass_high_kg - after.mass_low_kg)


def test_a_store_that_is_away_stops_nothing_for_good(rooms: Rooms, monkeypatch: pytest.MonkeyPatch) -> None:
    """While the store cannot be read the twins say so and stay as they are; then they go on."""

    def away(*_args: object) -> None:
        raise StoreAway("gone")

    with monkeypatch.context() as patch:
        patch.setattr(rooms.store, "air_days", away)
        with pytest.raises(StoreAway):
            rooms.twins.work(rooms.now_ms)
        rooms.twins.tick(rooms.now_ms)
    rooms.settle()
    assert len(rooms.twins.rinds) == 3


def test_a_wheels_own_weighing_narrows_its_interval() -> None:
    """A twin that lost 1 kg in doubt by half, and a weighing that says 1.2 kg: factor 1.2, and little doubt left."""
    before, after = weight_law(22, 0.02, 0.5), weight_law(22, 0.02, 0.5, [(1.0, 20.8, 0.01)])
    assert before.mass(1.0)[1] < 20.3
    assert after.factor == pytest.approx(1.2, abs=0.01)
    _, low, high = after.mass(2.0)
    assert low < 19.6 < high
    assert high - low < 0.3 * (before.mass(2.0)[2] - before.mass(2.0)[1])
