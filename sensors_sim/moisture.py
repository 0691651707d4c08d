"""The moisture of wheels in two dimensions: radius and height, each wheel with its own size and paste.

A finite-volume grid with thin cells at the rind; water diffuses through paste whose diffusivity falls as it
dries, and leaves through side and faces by exactly the amounts that the room's air took up.  Isotherm: Oswin
(1946), J Chem Ind 65:419 (form; coefficients invented, near cheese) times the lowering by salt of about 0.033
per mol NaCl in a kg of water (moist cheese; J Dairy Sci, 1981).  Invented coefficients, not measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
RADIAL_CELLS, HEIGHT_CELLS = 9, 8
RIND_CELL_M = 0.0018
OSWIN_A, OSWIN_B = 0.11, 0.45
SALT_KG_MOL, SALT_LOWERING, SALT_SATURATION_MOL_KG = 0.05844, 0.033, 6.1
ACTIVATION_J_MOL, GAS_J_MOL_K, REFERENCE_K = 35_000.0, 8.314, 285.15
"""Temperature dependence of diffusion; size of the activation energy from memory."""


@dataclass
class Paste:
    """What wheels are made of, one entry a wheel."""

    radius_m: Array
    height_m: Array
    dry_kg_m3: Array
    water_ratio: Array
    salt_share: Array
    diffusivity_m2_s: Array


def rind_water_activity(water_ratio: Array, salt_share: Array) -> Array:
    """Water activity [fraction] of paste with ``water_ratio`` kg water and ``salt_share`` kg salt per kg dry."""
    ratio = np.maximum(water_ratio, 1e-4)
    sorbed = 1.0 / (1.0 + (OSWIN_A / ratio) ** (1.0 / OSWIN_B))
    molality = np.minimum(salt_share / SALT_KG_MOL / ratio, SALT_SATURATION_MOL_KG)
    result: Array = sorbed * (1.0 - SALT_LOWERING * molality)
    return result


def _edges(half_m: float, cells: int) -> Array:
    """Cell edges from the centre [m]: a rind cell of `RIND_CELL_M`, each one inward thicker by one ratio."""
    thin = min(RIND_CELL_M, half_m / cells)
    low, high = 1.0, 8.0
    for _ in range(60):
        ratio = 0.5 * (low + high)
        total = thin * (cells if ratio == 1.0 else (ratio**cells - 1.0) / (ratio - 1.0))
        low, high = (low, ratio) if total > half_m else (ratio, high)
    thickness = thin * ratio ** np.arange(cells)
    depth = np.concatenate(([0.0], np.cumsum(thickness)))
    return (half_m * (1.0 - depth / depth[-1]))[::-1]


class MoistureField:
    """Water in many wheels at once.  ``water_ratio`` has the shape (wheels, radial cells, height cells)."""

    def __init__(self, paste: Paste) -> None:
        self.paste = paste
        radial = np.array([_edges(r, RADIAL_CELLS) for r in paste.radius_m])
        height = np.array([_edges(h / 2, HEIGHT_CELLS) for h in paste.height_m])
        ring = np.pi * (radial[:, 1:] ** 2 - radial[:, :-1] ** 2)
        thick = np.diff(height, axis=1)
        self.dry_kg = 2.0 * ring[:, :, None] * thick[:, None, :] * paste.dry_kg_m3[:, None, None]
        self.side_m2 = 4.0 * np.pi * paste.radius_m[:, None] * thick
        self.face_m2 = 2.0 * ring
        centre_r, centre_z = 0.5 * (radial[:, 1:] + radial[:, :-1]), 0.5 * (height[:, 1:] + height[:, :-1])
        between_r = 4.0 * np.pi * radial[:, 1:-1] / np.diff(centre_r, axis=1)
        self._radial = between_r[:, :, None] * thick[:, None, :] * paste.dry_kg_m3[:, None, None]
        self._height = (
            2.0 * ring[:, :, None] / np.diff(centre_z, axis=1)[:, None, :] * paste.dry_kg_m3[:, None, None]
        )
        shape = self.dry_kg.shape
        self.water_ratio = np.broadcast_to(paste.water_ratio[:, None, None], shape).copy()
        self._fresh_ratio = paste.water_ratio[:, None, None]
        self._radial_first = True

    def water_kg(self) -> Array:
        """Water in each wheel [kg]."""
        result: Array = (self.dry_kg * self.water_ratio).sum(axis=(1, 2))
        return result

    def surface_activity(self, which: Array) -> tuple[Array, Array]:
        """Water activity along the side (wheels, height cells) and the faces (wheels, radial cells)."""
        salt = self.paste.salt_share[which, None]
        ratio = self.water_ratio[which]
        return rind_water_activity(ratio[:, -1, :], salt), rind_water_activity(ratio[:, :, -1], salt)

    def advance(self, which: Array, side_kg: Array, face_kg: Array, temperature_c: Array, dt: float) -> None:
        """Take the evaporated water from the rind cells of the wheels ``which`` and let the rest diffuse.

        ``side_kg`` (wheels, height cells) and ``face_kg`` (wheels, radial cells): water that left [kg];
        ``temperature_c`` (wheels,).
        """
        ratio, dry = self.water_ratio[which], self.dry_kg[which]
        ratio[:, -1, :] -= side_kg / dry[:, -1, :]
        ratio[:, :, -1] -= face_kg / dry[:, :, -1]
        diffusivity = self._diffusivity(which, ratio, temperature_c)
        radial = self._radial[which] * 0.5 * (diffusivity[:, 1:, :] + diffusivity[:, :-1, :])
        height = self._height[which] * 0.5 * (diffusivity[:, :, 1:] + diffusivity[:, :, :-1])
        for is_radial in (self._radial_first, not self._radial_first):
            if is_radial:
                ratio = _diffuse(
                    ratio.transpose(1, 0, 2), dry.transpose(1, 0, 2), radial.transpose(1, 0, 2), dt
                ).transpose(1, 0, 2)
            else:
                ratio = _diffuse(
                    ratio.transpose(2, 0, 1), dry.transpose(2, 0, 1), height.transpose(2, 0, 1), dt
                ).transpose(1, 2, 0)
        self._radial_first = not self._radial_first
        self.water_ratio[which] = ratio

    def _diffusivity(self, which: Array, ratio: Array, temperature_c: Array) -> Array:
        wetness = np.clip(ratio / self._fresh_ratio[which], 0.0, 1.2)
        warm = np.exp(-ACTIVATION_J_MOL / GAS_J_MOL_K * (1.0 / (temperature_c + 273.15) - 1.0 / REFERENCE_K))
        result: Array = (self.paste.diffusivity_m2_s[which] * warm)[:, None, None] * (
            0.12 + 0.88 * wetness**1.5
        )
        return result


def _diffuse(ratio: Array, dry_kg: Array, conductance: Array, dt: float) -> Array:
    """One implicit step along the first axis, no flux at its ends; keeps the water exactly."""
    count = ratio.shape[0]
    flow = conductance * dt
    upper, value = np.empty_like(flow), np.empty_like(ratio)
    total = dry_kg[0] + flow[0]
    upper[0] = flow[0] / total
    value[0] = dry_kg[0] * ratio[0] / total
    for j in range(1, count - 1):
        total = dry_kg[j] + flow[j] + flow[j - 1] * (1.0 - upper[j - 1])
        upper[j] = flow[j] / total
        value[j] = (dry_kg[j] * ratio[j] + flow[j - 1] * value[j - 1]) / total
    last = count - 1
    total = dry_kg[last] + flow[last - 1] * (1.0 - upper[last - 1])
    value[last] = (dry_kg[last] * ratio[last] + flow[last - 1] * value[last - 1]) / total
    for j in range(last - 1, -1, -1):
        value[j] += upper[j] * value[j + 1]
    return value
