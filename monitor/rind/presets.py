"""What a rind twin needs to know of a wheel, with a documented default for every kind of rind.

Every value can be overridden (`RindParameters.with_values`); each says where it comes from. Only the
cloth-bound wrap and diffusivity rest on a fit to published weight losses; weigh wheels and fit your own.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from monitor.errors import PhysicsError
from monitor.rind import sorption as relations

REFERENCE_TEMPERATURE_C = 12.0
"""At which ``diffusivity_m2_s`` is stated [degC]."""


@dataclass(frozen=True)
class RindParameters:
    """One wheel, its rind and its wrap.

    Attributes
    ----------
    rind : kind of rind, a name only
    diameter_m, height_m, mass_kg : of the wheel when its twin starts [m], [kg]
    moisture_fraction : water in the whole cheese then [kg/kg]
    salt_fraction : NaCl in the whole cheese [kg/kg]; taken as equally strong in all its water, since salt
        moves through cheese about ten times as fast as water (1-5e-10 against 1e-11 m2/s: Floury et al. 2010,
        Dairy Sci. Technol. 90:477; Simal et al. 2001, J. Food Eng. 48:269)
    wrap_resistance : of cloth, fat or rind against vapour, 0 is bare [Pa m2 s/kg]
    diffusivity_m2_s : of moisture at 12 degC and the initial moisture [m2/s]
    diffusivity_slope : b, how strongly it falls as the cheese dries, 0 <= b < 1 [-]
    diffusivity_activation_j_mol : its rise with temperature (Arrhenius) [J/mol]
    sorption : relation of moisture and water activity, a name in `sorption.RELATIONS`
    sorption_constants : what that relation needs
    exposed_fraction : share of the surface that air reaches, the rest lying on the board, 0..1 [-]
    respiration_mol_kg_day : CO2 from the rind's own life per kg of cheese at 12 degC [mol/kg/d]
    respiration_q10 : its rise for 10 K [-]
    specific_heat_j_kg_k, conductivity_w_m_k : of the cheese [J/kg/K], [W/m/K]
    crack_strain : mismatch strain at which the cracking index is 1 [-]
    edges : "free" is a whole wheel; "sealed" is a sheet that dries from its two flat faces only
    source : where the values come from, in words
    """

    rind: str
    diameter_m: float
    height_m: float
    mass_kg: float
    moisture_fraction: float
    salt_fraction: float
    wrap_resistance: float
    diffusivity_m2_s: float
    diffusivity_slope: float = 0.5
    diffusivity_activation_j_mol: float = 30_000.0
    sorption: str = "oswin-salt"
    sorption_constants: tuple[float, ...] = relations.OSWIN_CHEESE
    exposed_fraction: float = 1.0
    respiration_mol_kg_day: float = 0.0
    respiration_q10: float = 2.0
    specific_heat_j_kg_k: float = 2_700.0
    conductivity_w_m_k: float = 0.35
    crack_strain: float = 0.05
    edges: str = "free"
    source: str = ""

    def __post_init__(self) -> None:
        check(self)

    @property
    def volume_m3(self) -> float:
        return math.pi * 0.25 * self.diameter_m**2 * self.height_m

    @property
    def molality(self) -> float:
        """Salt in the cheese's water at the start [mol/kg]."""
        return float(relations.molality(self.salt_fraction, self.moisture_fraction))

    @property
    def initial_moisture(self) -> float:
        """Dry basis [kg water/kg dry matter]."""
        return self.moisture_fraction / (1.0 - self.moisture_fraction)

    def with_values(self, values: Mapping[str, Any]) -> RindParameters:
        """A copy with some values replaced, as from a style's ``rind_parameters``.

        Raises
        ------
        PhysicsError : an unknown name or an impossible value.
        """
        unknown = sorted(set(values) - {f.name for f in dataclasses.fields(self)})
        if unknown:
            known = ", ".join(f.name for f in dataclasses.fields(self))
            raise PhysicsError(f"no rind parameter is named {', '.join(unknown)}; there are: {known}")
        return dataclasses.replace(self, **values)


RANGES: dict[str, tuple[float, float, str]] = {
    "diameter_m": (0.01, 2.0, "m"),
    "height_m": (0.005, 2.0, "m"),
    "mass_kg": (0.01, 500.0, "kg"),
    "moisture_fraction": (0.05, 0.90, "kg/kg"),
    "salt_fraction": (0.0, 0.20, "kg/kg"),
    "wrap_resistance": (0.0, 1e15, "Pa m2 s/kg"),
    "diffusivity_m2_s": (1e-18, 1e-6, "m2/s"),
    "diffusivity_slope": (0.0, 0.99, ""),
    "diffusivity_activation_j_mol": (0.0, 150_000.0, "J/mol"),
    "exposed_fraction": (0.01, 1.0, ""),
    "respiration_mol_kg_day": (0.0, 1.0, "mol/kg/d"),
    "respiration_q10": (1.0, 5.0, ""),
    "specific_heat_j_kg_k": (500.0, 4_300.0, "J/kg/K"),
    "conductivity_w_m_k": (0.05, 1.0, "W/m/K"),
    "crack_strain": (1e-4, 1.0, ""),
}
"""What is possible, by name: lowest, highest, unit."""
DENSITY_RANGE = (500.0, 1_500.0)
"""Of a cheese [kg/m3]; outside it, mass and size do not belong together."""


def check(parameters: RindParameters) -> None:
    """Raise PhysicsError naming the first value that no wheel can have, and the range."""
    for name, (low, high, unit) in RANGES.items():
        value = getattr(parameters, name)
        if not isinstance(value, (int, float)) or isinstance(value, bool) or not low <= value <= high:
            raise PhysicsError(f"{name} {value!r} {unit} is impossible for a wheel: expected {low:g} to {high:g}")
    if parameters.sorption not in relations.RELATIONS:
        known = ", ".join(sorted(relations.RELATIONS))
        raise PhysicsError(f"no sorption relation is named {parameters.sorption!r}; there are: {known}")
    if not all(isinstance(c, (int, float)) and math.isfinite(c) for c in parameters.sorption_constants):
        raise PhysicsError(f"sorption_constants {parameters.sorption_constants!r}: finite numbers are expected")
    if parameters.edges not in ("free", "sealed"):
        raise PhysicsError(f"edges {parameters.edges!r}: expected 'free' or 'sealed'")
    if parameters.molality > relations.SATURATED_MOLALITY:
        raise PhysicsError(
            f"salt_fraction {parameters.salt_fraction:g} is above saturation in the cheese's water: "
            f"{parameters.molality:.2f} mol/kg, a saturated brine has {relations.SATURATED_MOLALITY:g}"
        )
    if parameters.salt_fraction + parameters.moisture_fraction >= 1.0:
        raise PhysicsError("salt_fraction and moisture_fraction together leave no cheese")
    density = parameters.mass_kg / parameters.volume_m3
    if not DENSITY_RANGE[0] <= density <= DENSITY_RANGE[1]:
        raise PhysicsError(
            f"a wheel of {parameters.mass_kg:g} kg, {parameters.diameter_m:g} m across and {parameters.height_m:g} m "
            f"high would have {density:.0f} kg/m3: expected {DENSITY_RANGE[0]:g} to {DENSITY_RANGE[1]:g}"
        )


PRESETS: dict[str, RindParameters] = {
    "cloth-bound": RindParameters(
        rind="cloth-bound",
        diameter_m=0.35,
        height_m=0.24,
        mass_kg=25.0,
        moisture_fraction=0.37,
        salt_fraction=0.017,
        wrap_resistance=1.0e9,
        diffusivity_m2_s=2.0e-11,
        source="",
    ),
}
