"""Switches at a door and in a humidifier's tank: two states, in every form that a message or a file may have."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from monitor.intake.csv_form import form_of
from monitor.intake.csv_import import Target, import_file
from monitor.intake.csv_times import zone_named
from monitor.intake.measurement import contact_state
from monitor.intake.quality import assessed
from monitor.intake.router import Router
from monitor.records import Flag, Reading
from monitor.site import FieldSettings
from monitor.store.embedded import EmbeddedStore
from tests.intake.samples import sensor, site_with

ARRIVED = 1_772_366_400_000
BOTH = ("door_open", "water_low")
SITE = site_with(
    sensor("reed", quantities=BOTH),
    sensor("flat", payload="json", quantities=BOTH),
    sensor("deep", payload="pointer", quantities=("door_open",),
           fields={"door_open": FieldSettings(pointer="/state/contact", unit="shut")}),
    sensor("bare", payload="number", quantities=("door_open",)),
    sensor("pair", payload="number", quantities=BOTH),
)  # fmt: skip
router = Router(SITE)


def read(topic: str, payload: object) -> list[Reading]:
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    readings, rejects = router.read(topic, raw, ARRIVED)
    assert rejects == []
    return readings


def states(topic: str, payload: object) -> list[tuple[str, float | None]]:
    return [(r.quantity, r.value) for r in read(topic, payload)]


def refused(topic: str, payload: object) -> str:
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    readings, rejects = router.read(topic, raw, ARRIVED)
    assert readings == []
    return rejects[0].reason


def test_senml_booleans_are_states() -> None:
    """``vb`` of RFC 8428: true is 1, false is 0; a base unit or base value is for other records."""
    pack = [
        {"bn": "urn:dev:id:reed:", "bu": "Cel", "bv": 5, "n": "door_open", "vb": True},
        {"n": "water_low", "vb": False},
    ]
    assert states("maturing/reed/senml", pack) == [("door_open", 1.0), ("water_low", 0.0)]


def test_json_booleans_and_numbers_are_states() -> None:
    """True, false, 1, 0 and words for them, in flat JSON."""
    assert states("maturing/flat/json", {"door_open": True, "water_low": 0}) == [
        ("door_open", 1.0),
        ("water_low", 0.0),
    ]
    assert states("maturing/flat/json", {"door_open": "shut"}) == [("door_open", 0.0)]


@pytest.mark.parametrize(
    ("sent", "state"), [(b"true", 1.0), (b"false", 0.0), (b"1", 1.0), (b"0.0", 0.0), (b"open", 1.0)]
)
def test_a_bare_value_is_a_state(sent: bytes, state: float) -> None:
    """The door contact that sends one word or digit and no more."""
    assert states("maturing/bare/number", sent) == [("door_open", state)]
    assert states("maturing/pair/number/door_open", sent) == [("door_open", state)]


def test_a_contact_may_count_the_other_way() -> None:
    """A reed contact that sends 1 while its door is shut says so by its unit."""
    assert states("maturing/deep/pointer", {"state": {"contact": 1}}) == [("door_open", 0.0)]
    assert states("maturing/deep/pointer", {"state": {"contact": 0}}) == [("door_open", 1.0)]


@pytest.mark.parametrize("value", [2, 0.5, -1, 1e300, 0.9999999])
def test_anything_between_or_beyond_is_kept_as_failed(value: float) -> None:
    """A door is not half open to a contact: the reading is kept with flag 4 and the reason."""
    (reading,) = read("maturing/flat/json", {"door_open": value})
    assert reading.flag == Flag.FAIL
    assert reading.reason == "door_open is neither 0 nor 1: a contact has two states"


@pytest.mark.parametrize("value", ["ajar", "", [], {}, [True], "NaN", "1e999"])
def test_what_is_no_state_is_refused_with_a_reason(value: object) -> None:
    """Words that name no state, lists and the like."""
    assert refused("maturing/flat/json", {"door_open": value}).startswith("door_open: ")


def test_a_contact_without_a_value_is_missing() -> None:
    """Null is a reading that says nothing."""
    (reading,) = read("maturing/flat/json", {"door_open": None})
    assert (reading.value, reading.flag) == (None, Flag.MISSING)


def test_booleans_are_values_of_contacts_only() -> None:
    """A temperature that is true is refused in every form, as before."""
    plain = Router(site_with(sensor("rack-1"), sensor("flat", payload="json")))
    pack = b'[{"n":"urn:dev:id:rack-1:temperature","vb":true}]'
    assert plain.read("maturing/rack-1/senml", pack, ARRIVED)[1][0].reason.endswith("not a number")
    _, rejects = plain.read("maturing/flat/json", b'{"temperature": true}', ARRIVED)
    assert rejects[0].reason == "temperature: the value is not a number"
    assert contact_state("temperature", "open") is None


def test_a_door_shut_for_a_week_is_no_stuck_sensor() -> None:
    """Neither flat line, spike nor rate is asked of a contact: ten thousand equal states and one opening all pass."""
    times = pd.date_range("2026-03-01", periods=10_080, freq="1min", tz="UTC").as_unit("ms")
    values = np.zeros(len(times))
    values[5_000] = 1.0
    frame = assessed("door_open", pd.DataFrame({"value": values, "flag": 2}, index=times))
    assert set(frame["flag"]) == {Flag.PASS}
    half = assessed("door_open", pd.DataFrame({"value": [0.5, np.nan], "flag": [2, 9]}, index=times[:2]))
    assert list(half["flag"]) == [Flag.FAIL, Flag.MISSING]


def test_a_loggers_words_become_states(tmp_path: Path) -> None:
    """A CSV column of open and shut, found by its heading; what names no state is told by row."""
    path = tmp_path / "door.csv"
    path.write_text(
        "time,door temperature,door\n2026-03-01 06:00,10.1,shut\n2026-03-01 06:10,10.2,Open\n"
        "2026-03-01 06:20,10.3,ajar\n2026-03-01 06:30,10.2,0\n2026-03-01 06:40,10.2,2\n"
    )
    store = EmbeddedStore(tmp_path / "readings.sqlite")
    form = form_of(path)
    assert [c.quantity for c in form.columns] == ["temperature", "door_open"]
    account = import_file(store, path, form, Target(SITE, zone_named("UTC"), "reed"))
    ((row, reason),) = account.refused_rows
    assert (row, reason[:28]) == (4, "door: 'ajar' is not one of 1")
    kept = store.read("reed", "door_open", 0, 2**52)
    assert list(kept["value"]) == [0.0, 1.0, 0.0, 2.0]
    assert list(kept["flag"]) == [2, 2, 2, 4]
    store.close()
