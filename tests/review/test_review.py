"""The review of a wheel: the air it lived in, its doses, and what to check."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from monitor import air
from monitor.clock import DAY_MS, TEN_MINUTES_MS, to_ms
from monitor.errors import UnknownWheel
from monitor.records import AirRecord
from monitor.review import review_wheel
from monitor.site import Site
from monitor.store.embedded import EmbeddedStore
from monitor.wheels import Ledger
from tests.wheels.samples import MADE, NOW, make_ledger, make_site


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return make_site(tmp_path)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    return make_ledger(tmp_path)


@pytest.fixture
def store(tmp_path: Path) -> EmbeddedStore:
    return EmbeddedStore(tmp_path / "readings.sqlite")


def breathe(
    store: EmbeddedStore, place: str, from_day: float, to_day: float, temperature_c: float, rh_pct: float
) -> None:
    """Steady air at a place of the vault, between two days of the wheels' age."""
    start = to_ms(MADE)
    dew, deficit = air.dew_point(temperature_c, rh_pct), air.vapour_pressure_deficit(temperature_c, rh_pct)
    values = (
        temperature_c,
        temperature_c - 0.2,
        temperature_c + 0.2,
        rh_pct,
        rh_pct - 1,
        rh_pct + 1,
        1.0,
        dew,
        deficit,
        0.3,
        2.0,
    )
    slots = np.arange(start + from_day * DAY_MS, start + to_day * DAY_MS, TEN_MINUTES_MS).astype(int)
    store.write_air([AirRecord("vault", place, int(slot), *values) for slot in slots])


def dose(document: dict, name: str) -> dict:
    return next(d for d in document["doses"] if d["name"] == name)


def test_air_as_intended_is_told_as_intended(site: Site, store: EmbeddedStore, ledger: Ledger) -> None:
    """A wheel in its reference climate all along dries at a pace of one and has no days out of band."""
    breathe(store, "low-rack", 0, 60, 11.5, 88)
    breathe(store, "low-rack", 60, 100, 10.5, 84)
    document = review_wheel(site, store, ledger, "HF-01", NOW)
    assert document["air"]["coverage"] == pytest.approx(1.0, abs=0.001)
    assert dose(document, "drying")["pace"]["value"] == pytest.approx(1.0, abs=1e-3)
    assert dose(document, "mould")["pace"]["value"] == pytest.approx(1.0, abs=1e-3)
    (span,) = document["air"]["spans"]
    assert [span[f"days_too_{way}"] for way in ("warm", "cold", "damp", "dry")] == [0, 0, 0, 0]
    assert document["look_at"] == []
    json.dumps(document)


def test_the_review_follows_the_wheel_from_place_to_place(
    site: Site, store: EmbeddedStore, ledger: Ledger
) -> None:
    """Fifty days low and fifty days high are two spans, each with the air of its own place."""
    ledger.move("HF-01", "vault", "high-rack", MADE + timedelta(days=50), author="Piet")
    breathe(store, "low-rack", 0, 100, 11.5, 88)
    breathe(store, "high-rack", 0, 100, 11.0, 78)
    low, high = review_wheel(site, store, ledger, "HF-01", NOW)["air"]["spans"]
    assert (low["place"], low["rh_pct"]["mean"], low["days"]) == ("low-rack", 88.0, 50.0)
    assert (high["place"], high["rh_pct"]["mean"], high["days"]) == ("high-rack", 78.0, 50.0)
    assert high["days_too_dry"] == pytest.approx(50, abs=0.1)


def test_a_back_dated_move_changes_the_air_it_lived_in(
    site: Site, store: EmbeddedStore, ledger: Ledger
) -> None:
    """A move entered today for day 20 takes eighty days of dry air into the wheel's history."""
    breathe(store, "low-rack", 0, 100, 11.5, 88)
    breathe(store, "high-rack", 0, 100, 11.5, 74)
    before = dose(review_wheel(site, store, ledger, "HF-01", NOW), "drying")["value"]
    ledger.move("HF-01", "vault", "high-rack", MADE + timedelta(days=20), author="Piet")
    after = dose(review_wheel(site, store, ledger, "HF-01", NOW), "drying")["value"]
    assert after > 1.5 * before


def test_a_dry_life_says_where_to_look_for_cracks(site: Site, store: EmbeddedStore, ledger: Ledger) -> None:
    """A wheel at 72 % since it was made is said to have dried too fast, and where cracks would be."""
    breathe(store, "low-rack", 0, 100, 11.5, 72)
    document = review_wheel(site, store, ledger, "HF-01", NOW)
    assert any("cracks" in sentence for sentence in document["statement"])
    assert any("cracks" in spot["where"] for spot in document["look_at"])
    pace = dose(document, "drying")["pace"]
    assert pace["low"] <= pace["value"] <= pace["high"]
    assert pace["value"] > 1.5


def test_old_plugs_are_kept_from_and_unsealed_ones_looked_at(
    site: Site, store: EmbeddedStore, ledger: Ledger
) -> None:
    """An unsealed plug lets air in (common practice, no source): look there, and do not push the iron there again."""
    ledger.iron("HF-01", NOW - timedelta(days=5), author="Nora", where="side, middle", sealed=False)
    document = review_wheel(site, store, ledger, "HF-01", NOW)
    assert document["holes"] == 1
    assert document["keep_the_iron_from"][0]["where"] == "side, middle"
    assert "side, middle" in document["look_at"][0]["where"]


def test_missing_air_is_said_and_never_taken_for_nothing(
    site: Site, store: EmbeddedStore, ledger: Ledger
) -> None:
    """A month without readings lowers the coverage, is told, and leaves the pace of what is known."""
    breathe(store, "low-rack", 0, 60, 11.5, 88)
    document = review_wheel(site, store, ledger, "HF-01", NOW)
    assert document["air"]["coverage"] == pytest.approx(0.6, abs=0.01)
    assert dose(document, "drying")["pace"]["value"] == pytest.approx(1.0, abs=1e-3)
    assert any("60 %" in sentence for sentence in document["statement"])


def test_without_any_air_doses_are_not_known(site: Site, store: EmbeddedStore, ledger: Ledger) -> None:
    """No reading is None, not a dose of zero."""
    document = review_wheel(site, store, ledger, "HF-01", NOW)
    assert dose(document, "drying")["value"] is None
    assert dose(document, "mould")["pace"] is None
    assert document["air"]["course"] == []


def test_a_place_without_a_sensor_takes_the_rooms_air(
    site: Site, store: EmbeddedStore, ledger: Ledger
) -> None:
    """Where nothing measures at the rack, the room's own record stands in."""
    breathe(store, "", 0, 100, 11.5, 88)
    document = review_wheel(site, store, ledger, "HF-01", NOW)
    assert document["air"]["spans"][0]["rh_pct"]["mean"] == 88.0


def test_the_weighings_give_the_loss(site: Site, store: EmbeddedStore, ledger: Ledger) -> None:
    """From 22 kg to 20.9 kg is a loss of five percent."""
    ledger.weigh("HF-01", 20.9, NOW - timedelta(days=1), author="Nora")
    assert review_wheel(site, store, ledger, "HF-01", NOW)["weight"]["loss_pct"] == pytest.approx(5.0)


def test_an_unknown_wheel_is_an_error_that_names_it(site: Site, store: EmbeddedStore, ledger: Ledger) -> None:
    """A review of a wheel that is not there says so."""
    with pytest.raises(UnknownWheel, match="HF-77"):
        review_wheel(site, store, ledger, "HF-77", NOW)
