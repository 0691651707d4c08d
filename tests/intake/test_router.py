"""Messages into readings and rejects: every format, every unit, and every kind of rubbish with its reason."""

from __future__ import annotations

import json

import pytest

from monitor.intake.router import Router
from monitor.records import Flag, Reading
from monitor.site import FieldSettings
from tests.intake.samples import sensor, site_with

ARRIVED = 1_772_366_400_000
"""2026-03-01T12:00:00Z in milliseconds."""
SENML = "maturing/rack-1/senml"

router = Router(
    site_with(
        sensor("rack-1"),
        sensor("rack-2", topic="gateway/one"),
        sensor("rack-3", topic="gateway/one"),
        sensor("door", payload="json", units={"temperature": "degF"}),
        sensor(
            "logger",
            payload="pointer",
            fields={
                "temperature": FieldSettings(pointer="/d/0/t~1a", unit="K"),
                "humidity": FieldSettings(pointer="/d/0/rh", unit="/"),
                "time": FieldSettings(pointer="/stamp", unit="ms"),
            },
        ),
        sensor("probe", payload="number", quantities=("surface_temperature",)),
        sensor("pair", payload="number"),
    )
)


def read(topic: str, payload: object) -> list[Reading]:
    raw = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
    readings, rejects = router.read(topic, raw, ARRIVED)
    assert rejects == []
    return readings


def refused(topic: str, payload: bytes) -> str:
    readings, rejects = router.read(topic, payload, ARRIVED)
    assert readings == []
    assert len(rejects) == 1
    assert rejects[0].topic == topic
    assert rejects[0].time_ms == ARRIVED
    return rejects[0].reason


def test_senml_base_fields_are_resolved() -> None:
    """Base name, time, unit and value apply from where they stand until they are replaced (RFC 8428 section 4.1)."""
    pack = [
        {
            "bn": "urn:dev:id:rack-1:",
            "bt": 1772366000.0,
            "bu": "Cel",
            "bv": 10.0,
            "bver": 10,
            "n": "temperature",
            "v": 2.5,
        },
        {"n": "temperature", "t": 60, "v": 2.75},
        {"n": "humidity", "u": "%RH", "v": 76.0, "t": 60},
        {"bt": 1772366200.5, "bv": 0, "n": "humidity", "u": "/", "v": 0.875},
    ]
    assert [(r.quantity, r.time_ms, r.value) for r in read(SENML, pack)] == [
        ("temperature", 1772366000000, 12.5),
        ("temperature", 1772366060000, 12.75),
        ("humidity", 1772366060000, 86.0),
        ("humidity", 1772366200500, 87.5),
    ]


def test_rfc_8428_multiple_measurements_example() -> None:
    """The relative times of RFC 8428 section 5.1.3 (its current readings, here as temperatures) count back from bt."""
    pack = [
        {
            "bn": "urn:dev:id:rack-1:",
            "bt": 1.276020076001e9,
            "bu": "Cel",
            "bver": 5,
            "n": "temperature",
            "v": 12.0,
        }
    ]
    pack += [{"n": "temperature", "t": -n, "v": 12.0 + n / 10} for n in range(1, 6)]
    times = [r.time_ms for r in read(SENML, pack)]
    assert times == [1276020076001 - 1000 * n for n in range(6)]


def test_senml_times_below_2_to_the_28_are_relative_to_now() -> None:
    """A time of -5 is five seconds before arrival; no time is now (RFC 8428 section 4.5.3)."""
    pack = [{"n": "temperature", "u": "Cel", "v": 12, "t": -5}, {"n": "temperature", "u": "Cel", "v": 12}]
    assert [r.time_ms for r in read(SENML, pack)] == [ARRIVED - 5000, ARRIVED]


@pytest.mark.parametrize(
    ("quantity", "unit", "sent", "kept"),
    [
        ("temperature", "Cel", 12.5, 12.5),
        ("temperature", "K", 285.65, 12.5),
        ("temperature", "degF", 50.0, 10.0),
        ("temperature", "degF", 32.0, 0.0),
        ("humidity", "%RH", 86.0, 86.0),
        ("humidity", "/", 0.86, 86.0),
        ("pressure", "hPa", 1013.25, 101325.0),
        ("battery", "%EL", 71, 71.0),
        ("battery_voltage", "mV", 2980, 2.98),
        ("carbon_dioxide", "ppm", 800, 800.0),
        ("oxygen", "%", 20.9, 20.9),
    ],
)
def test_units_are_converted(quantity: str, unit: str, sent: float, kept: float) -> None:
    """Each quantity may come in any of its units and is kept in its canonical one."""
    (reading,) = read(SENML, [{"n": quantity, "u": unit, "v": sent}])
    assert reading.value == pytest.approx(kept, abs=1e-9)
    assert reading.flag == Flag.NOT_EVALUATED


def test_senml_names_tell_sensors_on_one_topic_apart() -> None:
    """Sensors that share a topic are told apart by name; a name of another topic's sensor is refused."""
    pack = [
        {"bn": "urn:dev:id:rack-2:", "n": "temperature", "v": 12},
        {"bn": "rack-3/", "n": "temperature", "v": 13},
    ]
    assert [r.sensor for r in read("gateway/one", pack)] == ["rack-2", "rack-3"]
    assert "unknown sensor" in refused("gateway/one", b'[{"n":"urn:dev:id:rack-1:temperature","v":12}]')
    assert "unknown sensor" in refused("gateway/one", b'[{"n":"temperature","v":12}]')


def test_flat_json_with_text_time_and_stated_units() -> None:
    """Flat JSON is read by quantity name, in the sensor's units, at its own time."""
    message = {"temperature": 50.0, "humidity": "86.5", "time": "2026-03-01T13:00:00+01:00", "rssi": -70}
    temperature, humidity = read("maturing/door/json", message)
    assert (temperature.value, temperature.time_ms) == (pytest.approx(10.0), ARRIVED)
    assert humidity.value == 86.5


def test_json_pointers() -> None:
    """Values stand where the site file's JSON pointers say, escapes and array indices included (RFC 6901)."""
    message = {"stamp": ARRIVED - 1000, "d": [{"t/a": 285.15, "rh": 0.9}]}
    temperature, humidity = read("maturing/logger/pointer", message)
    assert temperature.value == pytest.approx(12.0)
    assert humidity.value == 90.0
    assert humidity.time_ms == ARRIVED - 1000


def test_bare_numbers() -> None:
    """A bare number is the sensor's only quantity, or the one its topic names."""
    assert read("maturing/probe/number", b" 11.25\n")[0].quantity == "surface_temperature"
    assert read("maturing/pair/number/humidity", b"86")[0].quantity == "humidity"


def test_null_is_missing_and_never_zero() -> None:
    """A JSON null is a reading without a value, flag 9."""
    temperature, _ = read("maturing/door/json", {"temperature": None, "humidity": 86})
    assert temperature.value is None
    assert temperature.flag == Flag.MISSING


@pytest.mark.parametrize(
    ("quantity", "value"), [("temperature", 900.0), ("humidity", -3.0), ("humidity", 140.0)]
)
def test_impossible_values_are_kept_with_flag_4(quantity: str, value: float) -> None:
    """What cannot be is kept as it came, flagged 4, with a reason."""
    (reading,) = read(SENML, [{"n": quantity, "v": value}])
    assert (reading.value, reading.flag) == (value, Flag.FAIL)
    assert "impossible" in reading.reason


def test_a_fraction_sent_as_percent_is_suspect() -> None:
    """A humidity of 0.86 % in a room is a unit mix-up, not a desert."""
    (reading,) = read(SENML, [{"n": "humidity", "u": "%RH", "v": 0.86}])
    assert reading.flag == Flag.SUSPECT
    assert "fraction" in reading.reason


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "empty"),
        (b"  \n", "empty"),
        (b"\xff\xfe\x00", "not JSON"),
        (b"hello", "not JSON"),
        (b"x" * 1_000_000, "over 64 kB"),
        (b'[{"n":"temperature","v":NaN}]', "NaN or infinity"),
        (b'[{"n":"temperature","v":-Infinity}]', "NaN or infinity"),
        (b'[{"n":"temperature","v":"NaN"}]', "NaN or infinity"),
        (b'[{"n":"temperature","v":1e999}]', "number too large|NaN or infinity"),
        (b'[{"n":"temperature","v":true}]', "not a number"),
        (b'[{"n":"temperature","vs":"warm"}]', "no numeric value"),
        (b'[{"n":"temperature"}]', "no numeric value"),
        (b'[{"n":"temperature","v":[1]}]', "not a number"),
        (b'[{"n":"temperature","u":"lx","v":12}]', "unit is not one of"),
        (b'[{"n":"humidity","u":"Cel","v":12}]', "unit is not one of"),
        (b'[{"n":"smell","v":12}]', "unknown quantity"),
        (b'[{"n":"urn:dev:id:rack-9:temperature","v":12}]', "unknown sensor"),
        (b'[{"n":"temperature","v":12,"t":268435456}]', "before the year 1980"),
        (b'[{"n":"temperature","v":12,"t":4102444800}]', "ahead of the monitor's clock"),
        (b'[{"n":"temperature","v":12,"t":1e300}]', "not a possible one"),
        (b'[{"n":"temperature","v":12,"must_":1}]', "must be understood"),
        (b'[{"bver":11,"n":"temperature","v":12}]', "bver"),
        (b"[]", "empty"),
        (b'{"n":"temperature","v":12}', "not SenML"),
        (b'[{"n":7,"v":12}]', "not SenML"),
        (b"[" * 50_000, "nested too deeply|not JSON|not SenML"),
    ],
)
def test_what_cannot_be_read_is_refused_with_a_reason(payload: bytes, reason: str) -> None:
    """Each kind of rubbish gets a reason that a person can act on."""
    import re

    assert re.search(reason, refused(SENML, payload))


@pytest.mark.parametrize(
    ("topic", "payload", "reason"),
    [
        ("maturing/nobody/senml", b"[]", "unknown topic"),
        ("", b"12", "unknown topic"),
        ("maturing/door/json", b"[1]", "flat JSON is an object"),
        ("maturing/door/json", b'{"a":1}', "none of the sensor's quantities"),
        ("maturing/door/json", b'{"temperature":12,"time":"yesterday"}', "RFC 3339"),
        ("maturing/door/json", b'{"temperature":12,"time":"2026-03-01T12:00:00"}', "offset"),
        ("maturing/door/json", b'{"temperature":12,"time":0}', "before the year 1980"),
        ("maturing/door/json", b'{"temperature":12,"time":"2100-01-01T00:00:00Z"}', "ahead of"),
        ("maturing/door/json", b'{"temperature":12,"time":[]}', "neither RFC 3339"),
        ("maturing/door/json", b'{"temperature":NaN}', "NaN or infinity"),
        ("maturing/probe/number", b"12,5", "not a number"),
        ("maturing/probe/number", b"nan", "NaN or infinity"),
        ("maturing/probe/number", b"\xff", "not JSON|not a number"),
    ],
)
def test_other_formats_are_refused_with_a_reason(topic: str, payload: bytes, reason: str) -> None:
    """Flat JSON, pointers and bare numbers say why, too."""
    import re

    assert re.search(reason, refused(topic, payload))


def test_the_good_half_of_a_pack_is_kept() -> None:
    """One bad record does not cost the others of its pack."""
    readings, rejects = router.read(SENML, b'[{"n":"temperature","v":12},{"n":"smell","v":1}]', ARRIVED)
    assert len(readings) == 1
    assert len(rejects) == 1


def test_a_retained_message_without_a_time_is_refused() -> None:
    """How old a retained message is cannot be told unless it says so."""
    readings, rejects = router.read(SENML, b'[{"n":"temperature","v":12}]', ARRIVED, retained=True)
    assert readings == []
    assert "retained" in rejects[0].reason
    timed = b'[{"n":"temperature","v":12,"bt":1772366000}]'
    assert len(router.read(SENML, timed, ARRIVED, retained=True)[0]) == 1


def test_the_filters_cover_every_topic() -> None:
    """One filter for everything below maturing/, and each other topic by itself."""
    assert router.filters() == ["maturing/#", "gateway/one"]
