"""The running twins as they are kept in the store: written by the keeper, read by whoever reviews a wheel.

Wheels are spread over a fixed number of documents by their name, so that a reader of one wheel reads one of them.
"""

from __future__ import annotations

import base64
import binascii
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from monitor.errors import StoreDamaged
from monitor.rind import twin_state
from monitor.rind.presets import RindParameters
from monitor.rind.twin import Twin
from monitor.rind.twin_state import TwinState
from monitor.store.protocol import Store
from monitor.twins.hourly import HOUR_MS
from monitor.twins.house import Beside
from monitor.twins.learning import Learnt

Floats = NDArray[np.float64]

SHELVES = 64
VERSION = 1
Track = Sequence[tuple[int, float, float]]
"""Hour, loss [kg] and loss that gaps may hide [kg], now and then since a wheel was made."""


@dataclass(frozen=True)
class Kept:
    """One wheel as kept: the hour up to which it has lived, its rind, and the course of its loss."""

    name: str
    hour: int
    state: TwinState
    beside: Beside
    wrap_resistance: float
    diffusivity_m2_s: float
    signature: str
    track: list[tuple[int, float, float]] = field(default_factory=list)


@dataclass(frozen=True)
class KeptRind:
    """One wheel's running twin for a review; see `kept_rind`.

    Attributes
    ----------
    twin : of this wheel alone; at_ms : up to when it has lived [ms]
    beside : what its rind has gathered
    track : (hours, 3): hour, loss [kg], loss that gaps may hide [kg]
    """

    twin: Twin
    at_ms: int
    beside: Beside
    track: Floats


def shelf_of(name: str) -> str:
    """The document that a wheel is kept in."""
    return f"twins/{zlib.crc32(name.encode()) % SHELVES}"


def shelf_document(kept: Sequence[Kept]) -> dict[str, Any]:
    """Some wheels as a document."""
    state = TwinState.joined([k.state for k in kept])
    beside = Beside.joined([k.beside for k in kept])
    header = {
        "wheels": [
            [k.name, k.hour, k.wrap_resistance, k.diffusivity_m2_s, k.signature, len(k.track)] for k in kept
        ],
    }
    rows = [row for k in kept for row in k.track]
    parts = {**beside.arrays(), "track": np.array(rows, dtype=np.float64).reshape(-1, 3)}
    return {
        "version": VERSION,
        "state": base64.b64encode(twin_state.pack(header, state)).decode(),
        "parts": {name: base64.b64encode(values.tobytes()).decode() for name, values in parts.items()},
    }


class Shelf:
    """A document of `shelf_document`, opened: wheels are read one by one, since a review wants only one.

    Raises
    ------
    StoreDamaged : torn, foreign or of another version; then rebuild the twins from the air records.
    """

    def __init__(self, document: Any) -> None:
        try:
            if document["version"] != VERSION:
                raise StoreDamaged(f"kept twins of version {document['version']!r}: rebuild them")
            header, self._state = twin_state.unpack(base64.b64decode(document["state"]))
            parts = {k: np.frombuffer(base64.b64decode(v)) for k, v in document["parts"].items()}
            self._track = parts.pop("track").reshape(-1, 3)
            self._beside = Beside(**parts)
            self._rows = {str(row[0]): (i, *row[1:]) for i, row in enumerate(header["wheels"])}
            self._ends = np.cumsum([int(row[5]) for row in header["wheels"]])
        except (KeyError, TypeError, ValueError, IndexError, AttributeError, binascii.Error) as error:
            raise StoreDamaged(
                f"the kept twins cannot be read ({error}); rebuild them from the air records"
            ) from error

    @property
    def names(self) -> list[str]:
        """Of the wheels in it."""
        return list(self._rows)

    def of(self, name: str) -> Kept | None:
        """One wheel, None where it is not in this document; StoreDamaged as above."""
        if name not in self._rows:
            return None
        i, hour, wrap, diffusivity, signature, rows = self._rows[name]
        try:
            track = self._track[self._ends[i] - rows : self._ends[i]].tolist()
            steps = [(int(h), float(a), float(b)) for h, a, b in track]
            state, beside = self._state.selected([i]), self._beside.selected([i])
            return Kept(
                name, int(hour), state, beside, float(wrap), float(diffusivity), str(signature), steps
            )
        except (TypeError, ValueError, IndexError) as error:
            raise StoreDamaged(
                f"the kept twin of {name!r} cannot be read ({error}); rebuild it from the air records"
            ) from error


def shelf_read(document: Any) -> dict[str, Kept]:
    """All wheels of a document by name, none where there is no document; StoreDamaged as `Shelf`."""
    if document is None:
        return {}
    shelf = Shelf(document)
    return {name: kept for name in shelf.names if (kept := shelf.of(name)) is not None}


def twin_of(kept: Kept, plain: RindParameters, pressure_pa: float) -> Twin:
    """A twin of one kept wheel, given its rind before anything was learnt and the pressure where it lies [Pa]."""
    values = {"wrap_resistance": kept.wrap_resistance, "diffusivity_m2_s": kept.diffusivity_m2_s}
    twin = Twin([plain.with_values(values)], pressure_pa=pressure_pa)
    twin.state = kept.state.selected([0])
    return twin


def kept_rind(store: Store, name: str, plain: RindParameters, pressure_pa: float) -> KeptRind | None:
    """A wheel's running twin as last kept; None where none is, or none that can be read."""
    document = store.document(shelf_of(name))
    try:
        kept = Shelf(document).of(name) if document is not None else None
    except StoreDamaged:
        return None
    if kept is None:
        return None
    return KeptRind(
        twin_of(kept, plain, pressure_pa),
        kept.hour * HOUR_MS,
        kept.beside,
        np.array(kept.track).reshape(-1, 3),
    )


def learnt_document(learnt: Mapping[tuple[str, str], Learnt]) -> dict[str, Any]:
    """What was learnt, as a document."""
    return {"version": VERSION, "learnt": [[*where, known.document()] for where, known in learnt.items()]}


def learnt_read(document: Any) -> dict[tuple[str, str], Learnt]:
    """What was learnt by style and room; nothing where the document cannot be read."""
    try:
        return {(style, room): msgspec.convert(known, Learnt) for style, room, known in document["learnt"]}
    except (TypeError, KeyError, ValueError, msgspec.ValidationError):
        return {}
