"""What a review says beyond the air: the rind now, weight with its interval, ripeness, mites, and what to expect."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from monitor.review import review_wheel
from monitor.review.expectations import expectations
from monitor.rind import mites
from monitor.rind.ripening import rate_factor
from tests.twins.samples import Rooms, breathe, day
from tests.wheels.samples import NOW


@pytest.fixture(scope="module")
def rooms(tmp_path_factory: pytest.TempPathFactory) -> Rooms:
    """Three wheels of eight days: one brushed, one moved high and dry, one weighed and ironed without a seal."""
    found = Rooms(tmp_path_factory.mktemp("depth"))
    breathe(found.store, "low-rack", 0, 8.5, 13.0, 88)
    breathe(found.store, "high-rack", 0, 8.5, 11.5, 70)
    found.ledger.work("HF-01", "brushing", day(4), author="Nora")
    found.ledger.move("HF-02", "vault", "high-rack", day(0.5), author="Nora")
    found.ledger.weigh("HF-03", 21.97, day(5), author="Nora", sigma_kg=0.01)
    found.ledger.iron("HF-03", day(6), author="Nora", sealed=False, where="side, middle")
    found.settle()
    return found


def review(rooms: Rooms, name: str = "HF-01") -> dict[str, Any]:
    document = review_wheel(rooms.ledger.site, rooms.store, rooms.ledger, name, NOW)
    json.dumps(document, allow_nan=False)
    return document


def dose(document: dict[str, Any], name: str) -> dict[str, Any]:
    return next(d for d in document["doses"] if d["name"] == name)


def test_the_review_tells_the_rind_that_the_rules_read(rooms: Rooms) -> None:
    """What is kept in the store is what the service's rules have in memory, and the rind is driest at its face."""
    rind, told = review(rooms)["rind"], rooms.twins.rinds["HF-01"]
    assert rind["water_activity"] == pytest.approx(told.water_activity, abs=1e-4)
    assert rind["blue_index"] == pytest.approx(told.blue_index, abs=1e-3)
    assert rind["late"] is False
    depths, moistures = ([point[k] for point in rind["profile"]] for k in ("depth_mm", "moisture_pct"))
    assert depths == sorted(depths)
    assert moistures == sorted(moistures)
    assert rind["profile"][0]["water_activity"] < rind["profile"][-1]["water_activity"] < 1.0


def test_weight_is_expected_with_an_interval_that_weighings_narrow(rooms: Rooms) -> None:
    """From 22 kg down, low below high; the wheel that was weighed is known better."""
    plain, weighed = review(rooms)["weight"], review(rooms, "HF-03")["weight"]
    masses = [point["mass_kg"] for point in plain["expected"]]
    assert masses == sorted(masses, reverse=True)
    assert all(point["low_kg"] <= point["mass_kg"] <= point["high_kg"] for point in plain["expected"])
    assert weighed["now"]["high"] - weighed["now"]["low"] < 0.3 * (plain["now"]["high"] - plain["now"]["low"])
    assert "weighing of its own" in weighed["note"]


def test_a_warm_wheel_is_older_than_its_days(rooms: Rooms) -> None:
    """At 13 instead of 11.5 degC eight days ripen as far as its rate factor says, within the sensors' doubt."""
    found = review(rooms)["wheel"]["equivalent_age_days"]
    assert found["value"] == pytest.approx(8 * rate_factor(13.0, 11.5), rel=0.005)
    assert found["low"] < found["value"] < found["high"]


def test_mites_are_counted_from_the_last_brushing(rooms: Rooms) -> None:
    """Brushed four days ago: the doublings of four days at 13 degC and 88 %, by the published rate."""
    found = dose(review(rooms), "mites")
    by_hand = 4 * float(mites.growth_rate(13.0, 88.0)) / math.log(2.0)
    assert found["value"] == pytest.approx(by_hand, rel=0.01)
    assert found["since_at"].startswith(f"{day(4):%Y-%m-%dT%H:%M}")
    assert found["pace"]["low"] < found["pace"]["value"] < found["pace"]["high"]


def test_more_rind_drying_goes_with_more_cracks(rooms: Rooms) -> None:
    """Common practice, no source: cracks are expected of the wheel that dried fast, with no probability made up."""
    (cracks,) = [e for e in review(rooms, "HF-02")["expect"] if e["what"] == "cracks"]
    assert (cracks["probability"], cracks["ground"]) == (None, "common practice, no source")
    assert not [e for e in review(rooms)["expect"] if e["what"] == "cracks"]


def test_the_dairys_own_findings_take_the_place_of_common_practice(rooms: Rooms) -> None:
    """Where wheels like this one were related to what was found, their number and words stand in the review."""
    told = {
        "probability": {"value": 0.4, "low": 0.2, "high": 0.6},
        "words": "6 of 14 cracked",
        "ground": "14 wheels",
    }
    document = review_wheel(
        rooms.ledger.site, rooms.store, rooms.ledger, "HF-02", NOW, ground=lambda _wheel: {"cracks": told}
    )
    (cracks,) = [e for e in document["expect"] if e["what"] == "cracks"]
    assert cracks["words"] == "6 of 14 cracked"
    assert cracks["probability"]["high"] == 0.6


@pytest.mark.parametrize(("days", "promised"), [(200, False), (364, False), (400, True)])
def test_crystals_are_not_promised_before_twelve_months(rooms: Rooms, days: int, promised: bool) -> None:
    """Common practice, no source: crystals from twelve to eighteen months on, in a hard cheese."""
    document = review(rooms)
    document["wheel"]["age_days"] = days
    assert any(e["what"] == "crystals" for e in expectations(document)) is promised


def test_colour_deepens_as_water_leaves(rooms: Rooms) -> None:
    """Common practice, no source: a wheel that has lost 8 % is expected deeper in colour, one that lost 1 % is not."""
    document = review(rooms)
    for loss, expected in ((1.0, False), (8.0, True)):
        document["weight"]["loss_pct"] = loss
        assert any(e["what"] == "paste_colour" for e in expectations(document)) is expected


def test_a_review_of_the_past_does_not_tell_the_rind_of_today(rooms: Rooms) -> None:
    """Asked for day 4.5, the review ends there: no later entry, no later rind."""
    document = review_wheel(rooms.ledger.site, rooms.store, rooms.ledger, "HF-03", day(4.5))
    assert document["rind"] is None
    assert document["weight"]["weighings"] == []
    assert document["air"]["spans"][-1]["to_at"].startswith(f"{day(4.5):%Y-%m-%d}")


def test_air_near_saturation_is_told_in_hours(tmp_path: Path) -> None:
    """Six hours at 98.5 % among days at 88 %: the doses say so, the statement says what to look for."""
    rooms = Rooms(tmp_path)
    breathe(rooms.store, "low-rack", 0, 8.5, 11.5, 88)
    breathe(rooms.store, "low-rack", 2.5, 2.75, 11.5, 98.5)
    document = review(rooms)
    assert dose(document, "wetness")["value"] == pytest.approx(6, abs=0.2)
    assert any("near saturation" in sentence for sentence in document["statement"])
    assert document["rind"] is None
    assert document["weight"]["now"] is None


def test_a_back_dated_move_is_followed_by_doses_twin_and_review(tmp_path: Path) -> None:
    """Entered today for day 2: the air, the drying, the rind and the weight are those of a wheel that moved then."""
    rooms = Rooms(tmp_path)
    breathe(rooms.store, "low-rack", 0, 8.5, 11.5, 88)
    breathe(rooms.store, "high-rack", 0, 8.5, 11.5, 72)
    rooms.settle()
    before, other = review(rooms), review(rooms, "HF-02")
    rooms.ledger.move("HF-01", "vault", "high-rack", day(2), author="Piet")
    rooms.settle()
    after = review(rooms)
    assert [span["place"] for span in after["air"]["spans"]] == ["low-rack", "high-rack"]
    assert dose(after, "drying")["pace"]["value"] > 1.5 * dose(before, "drying")["pace"]["value"]
    assert after["rind"]["water_activity"] < before["rind"]["water_activity"]
    assert after["weight"]["now"]["value"] < before["weight"]["now"]["value"]
    assert any("too dry" in sentence for sentence in after["statement"])
    assert review(rooms, "HF-02")["rind"] == other["rind"]
