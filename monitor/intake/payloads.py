"""Messages into measurements: SenML, flat JSON, JSON by pointers (RFC 6901), and a bare value."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from monitor.errors import ReadingError
from monitor.intake import senml
from monitor.intake.measurement import Measurement, stated_time
from monitor.records import QUANTITIES
from monitor.site import FieldSettings, Sensor

LARGEST_PAYLOAD = 65_536
MOST_NAMES = 256
"""How many SenML names a topic's table remembers; names are chosen by senders, so it must not grow for ever."""
Part = Measurement | ReadingError
"""One part of a message: what it says, or why that part cannot be used."""

_generic = msgspec.json.Decoder()
_NOT_FINITE = re.compile(rb"(?<![\w\"])-?(NaN|nan|Infinity|inf)\b")
_ARRAY_INDEX = re.compile(r"0|[1-9][0-9]{0,8}")
MISSING = object()


class Route:
    """Who sends on a topic: several sensors where the messages name them (SenML), else one; ``quantity`` is the one
    that the topic itself names (bare numbers only)."""

    def __init__(self, sensors: Sequence[Sensor], quantity: str = "") -> None:
        self.sensors, self.quantity = tuple(sensors), quantity
        self.form = sensors[0].payload
        self._by_id = {sensor.id: sensor for sensor in sensors}
        self._names: dict[str, tuple[str, str, str]] = {}

    def named(self, name: str) -> tuple[str, str, str]:
        """The sensor, quantity and usual unit that a resolved SenML name means.

        Raises
        ------
        ReadingError
            It is the name of no sensor on this topic, or of no quantity.
        """
        known = self._names.get(name)
        if known is None:
            known = self._look_up(name)
            if len(self._names) < MOST_NAMES:
                self._names[name] = known
        return known

    def _look_up(self, name: str) -> tuple[str, str, str]:
        owner, quantity = senml.split_name(name)
        sensor = self._by_id.get(owner)
        if sensor is None and not owner and len(self.sensors) == 1:
            sensor = self.sensors[0]
        if sensor is None:
            raise ReadingError("unknown sensor: the SenML name is not that of a sensor on this topic")
        if quantity not in QUANTITIES:
            raise ReadingError(
                f"unknown quantity: the SenML name does not end in one of {', '.join(QUANTITIES)}"
            )
        return sensor.id, quantity, sensor.units.get(quantity, "")


def parts_of(payload: bytes, route: Route, arrived_ms: int) -> list[Part]:
    """Every part of a message that came by a route.

    Raises
    ------
    ReadingError
        The message as a whole cannot be used.
    """
    _check_size(payload)
    form = route.form
    try:
        if form == "senml":
            return _senml(payload, route, arrived_ms)
        if form == "number":
            return [_bare_number(payload, route.sensors[0], route.quantity)]
        return list(_json(payload, route.sensors[0]))
    except (msgspec.MsgspecError, RecursionError, UnicodeDecodeError) as error:
        raise ReadingError(_decoding_reason(payload, error, form)) from None


def _check_size(payload: bytes) -> None:
    if len(payload) > LARGEST_PAYLOAD:
        raise ReadingError("over 64 kB: larger than any reading")
    if not payload or payload.isspace():
        raise ReadingError("the message is empty")


def _decoding_reason(payload: bytes, error: Exception, form: str) -> str:
    if _NOT_FINITE.search(payload):
        return "NaN or infinity is no value (and no JSON)"
    if "out of range" in str(error):
        return "a number too large to be a value"
    if isinstance(error, msgspec.ValidationError):
        return "not SenML: not a list of records with fields of the right kinds (RFC 8428)"
    if isinstance(error, RecursionError):
        return "JSON nested too deeply"
    return "not JSON" if form != "senml" else "not JSON, so not SenML"


def _senml(payload: bytes, route: Route, arrived_ms: int) -> list[Part]:
    parts: list[Part] = []
    for name, unit, value, time_ms in senml.resolve(payload, arrived_ms):
        try:
            sensor, quantity, usual = route.named(name)
        except ReadingError as error:
            parts.append(error)
            continue
        boolean = isinstance(value, bool)
        if value is senml.NO_VALUE:
            parts.append(ReadingError("SenML: the record has no numeric value"))
        else:
            # A boolean needs no unit; a base unit before it is that of other records.
            parts.append(Measurement(sensor, quantity, value, "" if boolean else unit or usual, time_ms))
    return parts


def _bare_number(payload: bytes, sensor: Sensor, quantity: str) -> Part:
    text = payload[:64].decode("ascii").strip()
    wanted = quantity or sensor.quantities[0]
    return Measurement(sensor.id, wanted, text, sensor.units.get(wanted, ""), None)


def _json(payload: bytes, sensor: Sensor) -> Iterator[Part]:
    document = _generic.decode(payload)
    if sensor.payload == "json" and not isinstance(document, dict):
        raise ReadingError('flat JSON is an object such as {"temperature": 12.1, "humidity": 86}')
    time_ms = _time_in(document, sensor)
    found = False
    for quantity in sensor.quantities:
        field = sensor.fields.get(quantity) or FieldSettings(pointer=f"/{quantity}")
        value = at_pointer(document, field.pointer)
        if value is MISSING:
            continue
        found = True
        yield Measurement(sensor.id, quantity, value, field.unit or sensor.units.get(quantity, ""), time_ms)
    if not found:
        raise ReadingError("none of the sensor's quantities is in the message")


def _time_in(document: Any, sensor: Sensor) -> int | None:
    field = sensor.fields.get("time")
    value = at_pointer(document, field.pointer if field else "/time")
    if value is MISSING:
        return None
    if field and field.unit == "ms" and isinstance(value, int | float):
        value = value / 1000
    return stated_time(value)


def at_pointer(document: Any, pointer: str) -> Any:
    """What a JSON pointer (RFC 6901) points at, or `MISSING`."""
    if not pointer:
        return document
    for token in pointer.split("/")[1:]:
        key = token.replace("~1", "/").replace("~0", "~")
        if isinstance(document, dict):
            document = document.get(key, MISSING)
        elif isinstance(document, list) and _ARRAY_INDEX.fullmatch(key) and int(key) < len(document):
            document = document[int(key)]
        else:
            return MISSING
    return document


def check_pointer(pointer: str) -> None:
    """Refuse what is no JSON pointer.

    Raises
    ------
    ReadingError
        It does not begin with a slash, or has a tilde that is followed by neither 0 nor 1.
    """
    if pointer and not pointer.startswith("/"):
        raise ReadingError(f"{pointer!r} is no JSON pointer: it begins with a slash (RFC 6901)")
    if re.search(r"~(?![01])", pointer):
        raise ReadingError(
            f"{pointer!r} is no JSON pointer: write ~0 for a tilde and ~1 for a slash (RFC 6901)"
        )
