"""Checks what comes into the air functions, so that impossible values raise and unknown ones stay unknown.

``None`` and NaN both mean "not known" and come out as NaN; nothing else is repaired or guessed.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitor.errors import PhysicsError

Values: TypeAlias = Any
"""What goes in and out of the air functions: a float for scalars, an array for arrays; None is NaN."""

Array: TypeAlias = NDArray[np.float64]
Mask: TypeAlias = NDArray[np.bool_]

LOWEST_TEMPERATURE_C = -40.0
HIGHEST_TEMPERATURE_C = 60.0
RH_TOLERANCE_PCT = 1e-6
"""Rounding allowed beyond 0..100 %; such values are brought back to the limit."""

LOWEST_PRESSURE_PA = 20_000.0
"""No maturing room is higher than about 11 km; a lower pressure is most likely a figure in kPa or hPa."""
HIGHEST_PRESSURE_PA = 200_000.0

BLOCK = 16384
"""Points worked on at a time: the working arrays of one block stay in a core's own cache."""


class HumidityLooksLikeFraction(UserWarning):
    """A humidity in percent is expected, and every value given lies above 0 and at or below 1."""


def as_floats(values: Values, name: str) -> Array:
    """Turn a scalar, list or array into floats; None becomes NaN; text and the like raise PhysicsError."""
    try:
        array = np.asarray(values)
        if array.dtype.kind in "USMmcb":
            raise TypeError(f"not a number but {array.dtype}")
        if array.dtype.kind == "O" and any(isinstance(v, (str, bytes, bool)) for v in array.ravel()):
            raise TypeError("text among the numbers")
        return array.astype(np.float64, copy=False)
    except (TypeError, ValueError, OverflowError) as error:
        raise PhysicsError(f"{name}: numbers are expected, got {values!r:.80} ({error})") from error


def extremes(array: Array) -> tuple[float, float]:
    """The least and the greatest of the known values; NaN and NaN if there are none."""
    if array.size == 0:
        return math.nan, math.nan
    return float(np.fmin.reduce(array, axis=None)), float(np.fmax.reduce(array, axis=None))


def require_range(
    array: Array, low: float, high: float, name: str, unit: str, tolerance: float = 0.0
) -> None:
    """Raise PhysicsError naming the first value outside low..high [unit] by more than the tolerance."""
    lowest, highest = extremes(array)
    if lowest >= low - tolerance and highest <= high + tolerance:
        return
    outside = (array < low - tolerance) | (array > high + tolerance)
    if outside.any():
        value = array[outside].flat[0]
        raise PhysicsError(
            f"{name} {value:.10g} {unit} is impossible here: expected {low:g} to {high:g} {unit}"
        )


def temperatures(values: Values, name: str = "temperature_c") -> Array:
    """Checked temperatures [degC]; outside -40..60 raises PhysicsError."""
    array = as_floats(values, name)
    require_range(array, LOWEST_TEMPERATURE_C, HIGHEST_TEMPERATURE_C, name, "degC")
    return array


def humidities(values: Values, name: str = "rh_pct") -> Array:
    """Checked relative humidities [%]; outside 0..100 raises PhysicsError, a fraction warns."""
    array = as_floats(values, name)
    low, high = extremes(array)
    if 0.0 < high <= 1.0:
        warnings.warn(
            f"{name} is at most {high:g} %: percent is expected, this looks like a fraction",
            HumidityLooksLikeFraction,
            stacklevel=4,
        )
    if not (low >= 0.0 and high <= 100.0):
        require_range(array, 0.0, 100.0, name, "%", RH_TOLERANCE_PCT)
        return np.clip(array, 0.0, 100.0)
    return array


def one_number(value: Values, name: str) -> float:
    """One number, NaN where it is not known; anything else raises PhysicsError."""
    array = as_floats(value, name)
    if array.ndim:
        raise PhysicsError(f"{name}: one number is expected, got {value!r:.80}")
    return float(array)


def span_hours(hours: float, name: str = "hours") -> float:
    """Checked length of a span of steady air [h]; negative, over 10 million, or not known raises PhysicsError."""
    array = as_floats(hours, name)
    require_range(array, 0.0, 1e7, name, "h")
    if array.ndim or np.isnan(array):
        raise PhysicsError(f"{name}: one known number of hours is expected, got {hours!r:.80}")
    return float(array)


def pressures(values: Values, name: str = "pressure_pa") -> Array:
    """Checked air pressures [Pa]; outside 20,000..200,000 raises PhysicsError (hPa and kPa do, too)."""
    array = as_floats(values, name)
    require_range(array, LOWEST_PRESSURE_PA, HIGHEST_PRESSURE_PA, name, "Pa")
    return array


def in_blocks(function: Callable[..., Array], *arrays: Array, working_arrays: int = 0) -> Values:
    """Apply a point-by-point function to arrays of any (broadcastable) shape, a cache-sized block at a time.

    With ``working_arrays`` the function is also given that many arrays to write in, the first being the
    block's place in the result, which spares the asking for memory and the copying. Returns a float if
    every input is a scalar, else an array.
    """
    flat, shape = _flattened(arrays)
    size = int(np.prod(shape))
    result = np.empty(size)
    spare = [np.empty(min(size, BLOCK)) for _ in range(working_arrays - 1)]
    for start in range(0, size, BLOCK):
        place = result[start : start + BLOCK]
        parts = (a if a.size == 1 else a[start : start + BLOCK] for a in flat)
        work = (place, *(array[: place.size] for array in spare)) if working_arrays else ()
        answer = function(*parts, *work)
        if answer is not place:
            place[:] = answer
    return result.reshape(shape) if shape else float(result[0])


def _flattened(arrays: tuple[Array, ...]) -> tuple[list[Array], tuple[int, ...]]:
    """Arrays of one dimension, scalars left at one element, and the shape of the answer."""
    if not all(array.ndim == 0 or array.shape == arrays[0].shape for array in arrays):
        try:
            arrays = tuple(np.broadcast_arrays(*arrays))
        except ValueError as error:
            raise PhysicsError(f"shapes do not fit together: {[a.shape for a in arrays]}") from error
    return [array.reshape(-1) for array in arrays], max((a.shape for a in arrays), key=len)
