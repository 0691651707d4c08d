"""Transmitters on Modbus, read from pymodbus' own server."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from monitor.errors import ReaderAway, SiteFileError
from monitor.readers import open_reader
from tests.readers.hardware import (
    AIR_HUMIDITY,
    AIR_TEMPERATURE,
    CARBON_DIOXIDE,
    WALL_TEMPERATURE,
    Transmitter,
    modbus_sensor,
)
from tests.system.parts import free_port


@pytest.fixture(scope="module")
def transmitter() -> Iterator[Transmitter]:
    server = Transmitter()
    yield server
    server.stop()


def test_scaled_integers_of_both_tables_are_read(transmitter: Transmitter) -> None:
    """118 tenths is 11.8 degC, 8734 hundredths is 87.34 %, from input and holding registers alike."""
    sensor = modbus_sensor(
        transmitter.port,
        temperature={"address": AIR_TEMPERATURE, "scale": 0.1},
        humidity={"address": AIR_HUMIDITY, "table": "holding", "type": "uint16", "scale": 0.01},
    )
    assert open_reader(sensor).read() == {
        "temperature": pytest.approx(11.8),
        "humidity": pytest.approx(87.34),
    }


def test_a_float_with_its_low_word_first_is_read(transmitter: Transmitter) -> None:
    """Makers differ in the order of words; the site file says which."""
    little = {"address": WALL_TEMPERATURE, "type": "float32", "word_order": "little"}
    sensor = modbus_sensor(transmitter.port, surface_temperature=little)
    assert open_reader(sensor).read() == {"surface_temperature": pytest.approx(10.25)}


def test_thirty_two_bits_and_a_unit_are_read(transmitter: Transmitter) -> None:
    """1450 ppb of ammonia is 1.45 ppm."""
    register = {"address": CARBON_DIOXIDE, "type": "uint32", "unit": "ppb"}
    sensor = modbus_sensor(transmitter.port, ammonia=register)
    assert open_reader(sensor).read() == {"ammonia": pytest.approx(1.45)}


def test_what_stands_for_no_value_is_left_out() -> None:
    """A transmitter with a broken probe sends -32768; its humidity still counts."""
    server = Transmitter(temperature_tenths=-32768)
    try:
        sensor = modbus_sensor(
            server.port,
            temperature={"address": AIR_TEMPERATURE, "scale": 0.1, "no_value": [-32768]},
            humidity={"address": AIR_HUMIDITY, "scale": 0.01},
        )
        assert open_reader(sensor).read() == {"humidity": pytest.approx(87.34)}
    finally:
        server.stop()


def test_a_register_it_does_not_have_is_said(transmitter: Transmitter) -> None:
    """The answer "illegal data address" points to the manual."""
    sensor = modbus_sensor(transmitter.port, temperature={"address": 9000})
    with pytest.raises(ReaderAway, match=r"refuses register 9000.*manual"):
        open_reader(sensor).read()


def test_nothing_listening_is_said() -> None:
    """A gateway without power names host and port."""
    port = free_port()
    sensor = modbus_sensor(port, temperature={"address": 0})
    with pytest.raises(ReaderAway, match=rf"no connection to 127\.0\.0\.1:{port}"):
        open_reader(sensor).read()


def test_it_answers_again_after_a_restart() -> None:
    """A transmitter that was away is read again without help."""
    server = Transmitter()
    reader = open_reader(modbus_sensor(server.port, temperature={"address": 0, "scale": 0.1}))
    reader.read()
    server.stop()
    with pytest.raises(ReaderAway):
        reader.read()
    server.start()
    try:
        assert reader.read() == {"temperature": pytest.approx(11.8)}
    finally:
        server.stop()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"host": ""}, "either host"),
        ({"serial": "/dev/ttyUSB0"}, "either host"),
        ({"registers": {"mites": {"address": 1}}}, "registers.mites"),
        ({"registers": {"temperature": {"address": 70_000}}}, "reader.registers.temperature.address"),
        ({"registers": {"temperature": {"address": 1, "unit": "furlong"}}}, "registers.temperature.unit"),
        ({"parity": "odd"}, "reader.parity"),
    ],
)
def test_options_that_cannot_be_are_named_by_key(change: dict[str, object], said: str) -> None:
    """A fault under [sensor.reader] says which sensor and which key."""
    sensor = modbus_sensor(502, temperature={"address": 0})
    sensor = sensor.model_copy(update={"reader": {**(sensor.reader or {}), **change}})
    with pytest.raises(SiteFileError, match=said):
        open_reader(sensor)
