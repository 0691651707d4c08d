"""What every kind of reader keeps to, whoever wrote it: run over all that are found."""

from __future__ import annotations

import inspect

import pytest

from monitor.errors import SiteFileError
from monitor.readers import Reader, open_reader, reader_kinds
from monitor.records import QUANTITIES
from monitor.site import Sensor, Settings

KINDS = sorted(reader_kinds().values(), key=lambda kind: kind.kind)


def sensor_with(reader: dict[str, object] | None) -> Sensor:
    return Sensor.model_validate({"id": "rack-1", "room": "vault", "place": "low-rack", "reader": reader})


def test_both_kinds_are_found() -> None:
    """A reader in a file of its own is found without being named anywhere else."""
    assert {"kernel", "modbus"} <= set(reader_kinds())


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.kind)
def test_options_are_strict_and_told(kind: type[Reader]) -> None:
    """Options refuse unknown keys, and say in words what stands in them."""
    assert issubclass(kind.Options, Settings)
    assert inspect.getdoc(kind.Options)
    assert inspect.getdoc(kind)
    with pytest.raises(SiteFileError, match="sensor 'rack-1': reader"):
        open_reader(sensor_with({"kind": kind.kind, "nonsense": True}))


def test_an_unknown_kind_names_those_there_are() -> None:
    """A slip in the kind shows the choice."""
    with pytest.raises(SiteFileError, match="choose from kernel, modbus"):
        open_reader(sensor_with({"kind": "kernal"}))


def test_every_canonical_unit_has_a_senml_symbol() -> None:
    """A quantity that can be measured can be sent."""
    from monitor.readers.rounds import SENML_UNITS

    assert {quantity.unit for quantity in QUANTITIES.values()} <= set(SENML_UNITS)
