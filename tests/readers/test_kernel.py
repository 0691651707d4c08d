"""Chips that the Linux kernel reads, through sysfs."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.errors import ReaderAway, SiteFileError
from monitor.readers import open_reader
from tests.readers.hardware import chip, kernel_sensor


def test_a_ready_value_in_thousandths_is_read(tmp_path: Path) -> None:
    """Industrial I/O gives thousandths of a degree and of a percent: 11840 is 11.84 degC, 86215 is 86.215 %."""
    chip(tmp_path / "iio:device0", in_temp_input="11840", in_humidityrelative_input="86215")
    values = open_reader(kernel_sensor(str(tmp_path / "iio:device0"))).read()
    assert values == {"temperature": pytest.approx(11.84), "humidity": pytest.approx(86.215)}


def test_a_raw_number_takes_offset_then_scale(tmp_path: Path) -> None:
    """The ABI says (raw + offset) * scale: (5200 - 1000) * 2.7 thousandths is 11.34 degC."""
    chip(tmp_path / "d", in_temp_raw="5200", in_temp_offset="-1000", in_temp_scale="2.7")
    assert open_reader(kernel_sensor(str(tmp_path / "d"), ("temperature",))).read() == {
        "temperature": pytest.approx(11.34)
    }


def test_hardware_monitoring_files_are_read(tmp_path: Path) -> None:
    """A chip under hwmon names its channels temp1 and humidity1."""
    chip(tmp_path / "hwmon3", temp1_input="9990", humidity1_input="91000")
    values = open_reader(kernel_sensor(str(tmp_path / "hwmon3"))).read()
    assert values == {"temperature": pytest.approx(9.99), "humidity": pytest.approx(91.0)}


def test_pressure_comes_in_kilopascal(tmp_path: Path) -> None:
    """Industrial I/O gives pressure in kilopascal: 98.41 is 98,410 Pa."""
    chip(tmp_path / "d", in_pressure_input="98.41")
    assert open_reader(kernel_sensor(str(tmp_path / "d"), ("pressure",))).read() == {
        "pressure": pytest.approx(98_410)
    }


def test_the_chip_is_told_by_its_name(tmp_path: Path) -> None:
    """Device numbers change from start to start; the name says which chip is meant."""
    chip(tmp_path / "iio:device0", name="adc", in_temp_input="45000")
    chip(tmp_path / "iio:device1", name="rh-probe", in_temp_input="12000")
    sensor = kernel_sensor(str(tmp_path / "iio:device*"), ("temperature",), name="rh-probe")
    assert open_reader(sensor).read() == {"temperature": pytest.approx(12.0)}


def test_two_chips_that_fit_are_refused(tmp_path: Path) -> None:
    """Where the path fits two chips, neither is guessed at."""
    for number in (0, 1):
        chip(tmp_path / f"iio:device{number}", in_temp_input="12000")
    with pytest.raises(ReaderAway, match="2 chips at"):
        open_reader(kernel_sensor(str(tmp_path / "iio:device*"))).read()


def test_another_channel_can_be_named(tmp_path: Path) -> None:
    """A chip with a probe on a lead gives it as a second temperature."""
    chip(tmp_path / "d", temp1_input="21000", temp3_input="11500")
    sensor = kernel_sensor(str(tmp_path / "d"), ("temperature",), channels={"temperature": "temp3"})
    assert open_reader(sensor).read() == {"temperature": pytest.approx(11.5)}


@pytest.mark.parametrize(
    ("files", "said"),
    [
        ({}, "none of its quantities"),
        ({"in_temp_input": "ERR"}, "holds no number"),
    ],
)
def test_a_chip_without_a_number_is_away(tmp_path: Path, files: dict[str, str], said: str) -> None:
    """An empty folder or a file without a number is said in words, with what to look at."""
    chip(tmp_path / "d", **files)
    with pytest.raises(ReaderAway, match=said):
        open_reader(kernel_sensor(str(tmp_path / "d"))).read()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"path": "sys/bus"}, "reader.path"),
        ({"path": "/sys/../etc"}, "reader.path"),
        ({"path": "/sys", "channels": {"mites": "temp1"}}, "reader.channels"),
        ({"path": "/sys", "channels": {"temperature": "../../etc/passwd"}}, "reader.channels.temperature"),
        ({"path": "/sys", "colour": "red"}, "reader.colour: unknown key"),
        ({}, "reader.path: is missing"),
    ],
)
def test_options_that_cannot_be_are_named_by_key(options: dict[str, object], said: str) -> None:
    """A fault under [sensor.reader] says which sensor and which key."""
    sensor = kernel_sensor("/sys").model_copy(update={"reader": {"kind": "kernel", **options}})
    with pytest.raises(SiteFileError, match=f"sensor 'rack-1': {said}"):
        open_reader(sensor)
