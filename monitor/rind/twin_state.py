"""What a rind twin remembers between air records, and how that is written down and read back.

Arrays have wheels along their last axis, so wheels can be taken out, added and joined without knowing what
an array means. The written form is a NumPy archive without pickled objects, with a version in its header.
"""

from __future__ import annotations

import dataclasses
import io
import json
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitor.errors import PhysicsError, StoreDamaged

Array: TypeAlias = NDArray[np.float64]

VERSION = 1


@dataclass
class TwinState:
    """State of many wheels; every field but ``moisture`` has shape (wheels,).

    Attributes
    ----------
    moisture : of each shell, outermost first, (shells, wheels) [kg water/kg initial dry matter]
    face_moisture : at the surface itself [kg/kg]
    surface_c, core_c : temperatures [degC]
    film_kg : free water lying on the rind [kg]
    left_kg : water given to the air so far, less what condensed [kg]
    breathed_kg : water made by the rind's own life [kg]
    burnt_kg : dry matter used up by it [kg]
    flux : water leaving in the last step per exposed area [kg/m2/s]
    loss_rate : smoothed over a week, for guessing what happens in a gap [kg/s]
    elapsed_s : time lived, gaps included [s]
    gap_s, gap_run_s : time without air so far, and at one stretch up to now [s]
    longest_gap_s : longest stretch since the last weighing [s]
    unseen_kg : loss that the gaps since the last weighing may have hidden [kg]
    """

    moisture: Array
    face_moisture: Array
    surface_c: Array
    core_c: Array
    film_kg: Array
    left_kg: Array
    breathed_kg: Array
    burnt_kg: Array
    flux: Array
    loss_rate: Array
    elapsed_s: Array
    gap_s: Array
    gap_run_s: Array
    longest_gap_s: Array
    unseen_kg: Array

    @classmethod
    def fresh(cls, initial_moisture: Array, shells: int, temperature_c: float) -> TwinState:
        """Wheels evenly moist throughout, at one temperature, that have lived no time yet."""
        wheels = initial_moisture.size
        names = [f.name for f in dataclasses.fields(cls)]
        state = {name: np.zeros(wheels) for name in names}
        state["moisture"] = np.tile(initial_moisture, (shells, 1))
        state["face_moisture"] = initial_moisture.copy()
        state["surface_c"] = np.full(wheels, float(temperature_c))
        state["core_c"] = np.full(wheels, float(temperature_c))
        return cls(**state)

    def arrays(self) -> dict[str, Array]:
        return {f.name: getattr(self, f.name) for f in dataclasses.fields(self)}

    def selected(self, wheels: Sequence[int] | NDArray[Any]) -> TwinState:
        """A copy of some wheels, in the order given."""
        index = np.asarray(wheels)
        return TwinState(**{name: np.ascontiguousarray(a[..., index]) for name, a in self.arrays().items()})

    @staticmethod
    def joined(states: Sequence[TwinState]) -> TwinState:
        """Wheels of several states side by side."""
        parts = [state.arrays() for state in states]
        return TwinState(**{name: np.concatenate([p[name] for p in parts], axis=-1) for name in parts[0]})


def pack(header: dict[str, Any], state: TwinState) -> bytes:
    """Write header and state as bytes."""
    text = json.dumps({"version": VERSION, **header}, sort_keys=True)
    stream = io.BytesIO()
    np.savez(stream, header=np.frombuffer(text.encode(), dtype=np.uint8), **state.arrays())  # type: ignore[arg-type]
    return stream.getvalue()


def unpack(data: bytes) -> tuple[dict[str, Any], TwinState]:
    """Read back what `pack` wrote.

    Raises
    ------
    StoreDamaged : torn, foreign, of a newer version, or with impossible numbers in it.
    """
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as archive:
            header = json.loads(bytes(archive["header"]).decode())
            found = {name: archive[name] for name in archive.files if name != "header"}
    except (ValueError, KeyError, OSError, EOFError, UnicodeDecodeError, zipfile.BadZipFile) as error:
        raise StoreDamaged(
            f"the saved rind twin cannot be read ({error}); rebuild it from the air records"
        ) from error
    if not isinstance(header, dict) or header.get("version") != VERSION:
        version = header.get("version") if isinstance(header, dict) else None
        raise StoreDamaged(
            f"the saved rind twin is of version {version!r}, this program reads {VERSION}; rebuild it"
        )
    return header, _checked(found)


def _checked(found: dict[str, Array]) -> TwinState:
    names = {f.name for f in dataclasses.fields(TwinState)}
    if set(found) != names:
        raise StoreDamaged(
            f"the saved rind twin lacks or has too many parts: {sorted(set(found) ^ names)}; rebuild it"
        )
    wheels = found["face_moisture"].shape
    for name, array in found.items():
        shape = array.shape[1:] if name == "moisture" else array.shape
        if array.dtype != np.float64 or len(wheels) != 1 or shape != wheels or not np.all(np.isfinite(array)):
            raise StoreDamaged(
                f"the saved rind twin has a spoilt part: {name}; rebuild it from the air records"
            )
    if np.any(found["moisture"] < 0) or np.any(found["film_kg"] < 0):
        raise StoreDamaged("the saved rind twin holds less than no water; rebuild it from the air records")
    return TwinState(**{name: array.copy() for name, array in found.items()})


def require_same_build(headers: Sequence[dict[str, Any]]) -> None:
    """Raise PhysicsError unless twins have the same shells, and so may be joined."""
    if len({json.dumps(header, sort_keys=True) for header in headers}) > 1:
        raise PhysicsError("twins of different shells, pressure or step cannot be joined")
