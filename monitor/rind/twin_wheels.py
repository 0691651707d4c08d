"""Wheels of a twin as arrays: what never changes while they age, worked out once from their parameters."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitor.rind import sorption
from monitor.rind.diffusion import ShellSolver
from monitor.rind.presets import RindParameters
from monitor.rind.shells import ShellGrid, cylinder_shells, slab_shells

Array: TypeAlias = NDArray[np.float64]

GAS_CONSTANT = 8.314462618
"""[J/mol/K] (CODATA 2018)."""


class WheelArrays:
    """One value a wheel, in the order of ``parameters``; see `RindParameters` for what they mean.

    Attributes
    ----------
    count : number of wheels
    grid : their shells
    dry_kg, water_kg : dry matter (with salt) and water at the start [kg]
    salt_mol : [mol]; start_moisture : [kg/kg]; dry_density : [kg/m3]
    exposed_m2 : surface that air reaches [m2]
    reach : conduction area over distance times dry density, (shells, wheels) [kg/m]
    capacity : dry matter by shell, (shells, wheels) [kg]
    """

    def __init__(self, parameters: Sequence[RindParameters], shells: int, grading: float) -> None:
        self.parameters = list(parameters)
        self.count = len(self.parameters)
        value = self._column
        self.diameter_m = value("diameter_m")
        self.grid = self._shells(value("height_m"), shells, grading)
        self.mass_kg = value("mass_kg")
        wet = value("moisture_fraction")
        self.start_moisture = wet / (1.0 - wet)
        self.dry_kg = self.mass_kg * (1.0 - wet)
        self.water_kg = self.mass_kg * wet
        self.salt_mol = self.mass_kg * value("salt_fraction") / sorption.SALT_MOLAR_MASS
        self.dry_density = self.dry_kg / self.grid.volume.sum(axis=0)
        self.capacity = self.grid.volume * self.dry_density
        exposed = value("exposed_fraction")
        self.exposed_m2 = self.grid.area * exposed
        self.reach = self.grid.reach * self.dry_density
        self.reach[0] *= exposed
        self.solver = ShellSolver(self.capacity, self.reach, self.start_moisture, value("diffusivity_slope"))
        self.wrap = value("wrap_resistance")
        self.diffusivity = value("diffusivity_m2_s")
        self.activation_k = value("diffusivity_activation_j_mol") / GAS_CONSTANT
        self.breath_mol_s = value("respiration_mol_kg_day") * self.mass_kg / 86_400.0
        self.breathes = bool(np.any(self.breath_mol_s > 0.0))
        self.breath_rise_k = 0.1 * np.log(value("respiration_q10"))
        self.inner_transfer = 2.0 * value("conductivity_w_m_k") / self.grid.edges[-1]
        self.heat_capacity = self.mass_kg * value("specific_heat_j_kg_k")
        self.crack_strain = value("crack_strain")
        self._relations = self._group_relations()
        self._group, self._row = (np.zeros(self.count, dtype=np.intp) for _ in range(2))
        for k, (_, index, _) in enumerate(self._relations):
            self._group[index], self._row[index] = k, np.arange(len(index))

    def water_activity(
        self, moisture: Array, molality: Array, where: NDArray[np.intp] | slice = slice(None)
    ) -> tuple[Array, Array]:
        """Water activity [-] and its slope with moisture [per kg/kg], each wheel by its own relation.

        ``where`` says which wheels moisture and molality belong to; all unless given.
        """
        if len(self._relations) == 1:
            relation, _, constants = self._relations[0]
            return relation(moisture, molality, constants[:, where])
        activity, slope = np.empty_like(moisture), np.empty_like(moisture)
        group, row = self._group[where], self._row[where]
        for k, (relation, _, constants) in enumerate(self._relations):
            mine = group == k
            activity[mine], slope[mine] = relation(moisture[mine], molality[mine], constants[:, row[mine]])
        return activity, slope

    def _column(self, name: str) -> Array:
        return np.array([getattr(p, name) for p in self.parameters], dtype=np.float64)

    def _shells(self, height: Array, shells: int, grading: float) -> ShellGrid:
        grid = cylinder_shells(self.diameter_m, height, shells, grading)
        sealed = np.array([p.edges == "sealed" for p in self.parameters], dtype=bool)
        if sealed.any():
            sheet = slab_shells(0.25 * np.pi * self.diameter_m**2, height, shells, grading)
            for part in ("edges", "volume", "reach", "area"):
                getattr(grid, part)[..., sealed] = getattr(sheet, part)[..., sealed]
        return grid

    def _group_relations(self) -> list[tuple[sorption.Relation, Any, Array]]:
        groups: dict[tuple[str, int], list[int]] = {}
        for i, p in enumerate(self.parameters):
            groups.setdefault((p.sorption, len(p.sorption_constants)), []).append(i)
        return [
            (
                sorption.RELATIONS[name],
                np.array(index),
                np.array([self.parameters[i].sorption_constants for i in index], dtype=np.float64).T.copy(),
            )
            for (name, _), index in sorted(groups.items())
        ]
