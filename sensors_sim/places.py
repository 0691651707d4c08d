"""How the air at a place differs from the middle of its room.

Warm air lies above cold where no fan stirs; by the coil it is colder and drier while the coil runs; by the
door it leans to what comes in; along a wall it leans to the wall.  The shares are invented; the directions
are common practice, no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.air import saturation_vapour_pressure
from sensors_sim.room import TRACE
from sensors_sim.scenario import Place, Room

Array = NDArray[Any]
GRADIENT_STIRRED_K_M, GRADIENT_STILL_K_M = 0.06, 0.35
COIL_SHARE, DOOR_SHARE, WALL_SHARE = 0.15, 0.20, 0.12
_COLUMN = {name: index for index, name in enumerate(TRACE)}


def place_air(
    place: Place, room: Room, trace: Array, outside_c: Array, outside_pa: Array
) -> tuple[Array, Array]:
    """Temperature [degC] and vapour pressure [Pa] of the air at a place, for each step of a room's trace."""
    air_c, vapour_pa = trace[:, _COLUMN["air_c"]], trace[:, _COLUMN["vapour_pa"]]
    gradient = np.where(trace[:, _COLUMN["fan"]] > 0, GRADIENT_STIRRED_K_M, GRADIENT_STILL_K_M)
    temperature = air_c + gradient * (place.height_m - 0.5 * room.height_m)
    vapour = vapour_pa.copy()
    if place.near == "coil":
        coil_c = trace[:, _COLUMN["coil_c"]]
        share = COIL_SHARE * trace[:, _COLUMN["fan"]]
        temperature = temperature + share * (coil_c - air_c)
        vapour += share * np.minimum(saturation_vapour_pressure(np.clip(coil_c, -40, 60)) - vapour_pa, 0.0)
    elif place.near == "door":
        share = DOOR_SHARE * trace[:, _COLUMN["door"]]
        temperature = temperature + share * (outside_c - air_c)
        vapour += share * (outside_pa - vapour_pa)
    elif place.near == "wall":
        temperature = temperature + WALL_SHARE * (trace[:, _COLUMN["shell_c"]] - air_c)
    return temperature, np.minimum(vapour, saturation_vapour_pressure(np.clip(temperature, -40, 60)))


def relative_humidity(temperature_c: Array, vapour_pa: Array) -> Array:
    """Relative humidity [%] from temperature [degC] and vapour pressure [Pa]."""
    result: Array = 100.0 * vapour_pa / saturation_vapour_pressure(np.clip(temperature_c, -40, 60))
    return np.clip(result, 0.0, 100.0)
