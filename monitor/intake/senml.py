"""SenML in JSON (RFC 8428): packs of records, resolved by its base-field rules."""

from __future__ import annotations

from typing import Any

import msgspec

from monitor.errors import ReadingError

RELATIVE_BELOW_S = 2**28
"""Times below this are relative to now (RFC 8428 section 4.5.3)."""
HIGHEST_VERSION = 10
MOST_RECORDS = 2_000


class Record(msgspec.Struct, forbid_unknown_fields=False):
    """One record as it stands in a pack; the names are the labels of RFC 8428 table 4."""

    bn: str | None = None
    bt: float = 0.0
    bu: str | None = None
    bv: float | None = None
    bs: float | None = None
    bver: int | None = None
    n: str | None = None
    u: str | None = None
    v: Any = None
    vs: str | None = None
    vb: bool | None = None
    vd: str | None = None
    s: float | None = None
    t: float = 0.0

    @property
    def has_base_only(self) -> bool:
        if self.v is not None or self.n is not None:
            return False
        values = (self.u, self.vs, self.vb, self.vd, self.s)
        return all(part is None for part in values) and not self.t


Resolved = tuple[str, str, Any, int | None]
"""A record by itself: name, unit, value (`NO_VALUE` where it has neither number nor boolean), and time [ms] or None."""
NO_VALUE = object()


_decoder = msgspec.json.Decoder(list[Record])


def resolve(payload: bytes, arrived_ms: int) -> list[Resolved]:
    """The resolved records of a pack.

    Raises
    ------
    ReadingError
        The pack cannot be used as a whole.
    msgspec.MsgspecError
        It is not a JSON list of records.
    """
    records = _decoder.decode(payload)
    if not records:
        raise ReadingError("SenML: the pack is empty")
    if len(records) > MOST_RECORDS:
        raise ReadingError(f"SenML: more than {MOST_RECORDS} records in one pack")
    if b'_"' in payload:
        _refuse_must_understand(payload)
    return _resolve_all(records, arrived_ms)


def _resolve_all(records: list[Record], arrived_ms: int) -> list[Resolved]:
    base_name, base_unit, base_time, base_value = "", "", 0.0, None
    resolved = []
    for record in records:
        if record.bver is not None and record.bver > HIGHEST_VERSION:
            raise ReadingError(f"SenML: bver above {HIGHEST_VERSION} is not understood")
        base_name = base_name if record.bn is None else record.bn
        base_unit = base_unit if record.bu is None else record.bu
        base_time = record.bt or base_time
        base_value = base_value if record.bv is None else record.bv
        if record.has_base_only:
            continue
        value = record.v
        if value is None:
            # Text and data are values too (section 4.2), but none that a quantity can have; only contacts have booleans.
            value = NO_VALUE if record.vb is None else record.vb
        elif base_value is not None and isinstance(value, int | float) and not isinstance(value, bool):
            value += base_value
        unit = base_unit if record.u is None else record.u
        resolved.append(
            (base_name + (record.n or ""), unit, value, _time_of(base_time + record.t, arrived_ms))
        )
    return resolved


def _time_of(seconds: float, arrived_ms: int) -> int | None:
    if seconds == 0.0:
        return None
    if not abs(seconds) < 1e12:
        raise ReadingError("the time is not a possible one")
    if seconds < RELATIVE_BELOW_S:
        return arrived_ms + round(seconds * 1000)
    return round(seconds * 1000)


def _refuse_must_understand(payload: bytes) -> None:
    """Labels that end in an underscore must be understood, or the pack be refused (RFC 8428 section 4.4)."""
    for record in msgspec.json.decode(payload):
        if any(label.endswith("_") for label in record):
            raise ReadingError(
                "SenML: the pack has a label that must be understood (it ends in _) and is not"
            )


def split_name(name: str) -> tuple[str, str]:
    """A resolved name's sensor part and quantity: ``urn:dev:id:rack-1:temperature`` gives rack-1 and temperature."""
    cut = max(name.rfind(":"), name.rfind("/"))
    owner, quantity = (name[:cut], name[cut + 1 :]) if cut >= 0 else ("", name)
    for prefix in ("urn:dev:id:", "urn:dev:", "id:"):
        if owner.startswith(prefix):
            return owner[len(prefix) :], quantity
    return owner, quantity
