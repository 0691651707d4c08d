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
            raise PhysicsError(
                f"{name} {value!r} {unit} is impossible for a wheel: expected {low:g} to {high:g}"
            )
    if parameters.sorption not in relations.RELATIONS:
        known = ", ".join(sorted(relations.RELATIONS))
        raise PhysicsError(f"no sorption relation is named {parameters.sorption!r}; there are: {known}")
    relations.check_constants(parameters.sorption, parameters.sorption_constants)
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


VAN_SLYKE_WRAP = 8.8e8
VAN_SLYKE_DIFFUSIVITY = 2.8e-11
"""Wrap [Pa m2 s/kg] and diffusivity [m2/s] that fit six of the twelve weight losses of Van Slyke et al. 1903 (NY
Agric. Exp. Sta. Bul. 234, as Table XIX of Thom & Fisk 1918); they predict the other six with a median error of
18 %. The table mostly settles the wrap; the diffusivity stays near its prior, the two published fits:
tests/checks/test_weight_loss_published.py makes the fit anew and prints it. Three losses quoted from the same author
in 1903, sizes and wraps not stated, are three to thirteen times higher than this gives: see there."""
CAMEMBERT_WRAP = 1.5e8
"""With which 300 g of Camembert fall from 57 to 48 % water (17.3 % of mass) in four weeks at 12.8 degC and 87 %,
the middle of what Thom & Fisk 1918 tell of practice there [Pa m2 s/kg]."""
BLUE_WRAP = 1.0e9
"""With which a wheel of Roquefort type falls from 41.5 to about 38.5 % water (4.8 % of mass) in five months at 10
degC and 87.5 %, the middle of what Thom & Fisk 1918 tell (4-6 months, 85-90 %) [Pa m2 s/kg]."""
CASTELL_PALOU_DIFFUSIVITY = 3.71e-11
"""Of moisture at 16 degC in a fresh cheese, Castell-Palou et al. 2011 (read as abstract) [m2/s]."""

PRESETS: dict[str, RindParameters] = {
    p.rind: p
    for p in (
        RindParameters(
            rind="cloth-bound",
            diameter_m=0.35,
            height_m=0.24,
            mass_kg=25.0,
            moisture_fraction=0.37,
            salt_fraction=0.017,
            wrap_resistance=VAN_SLYKE_WRAP,
            diffusivity_m2_s=VAN_SLYKE_DIFFUSIVITY,
            source="wrap and diffusivity fitted to Van Slyke et al. 1903; moisture and salt within Hickey et al. "
            "2013 (Cheddar); size assumed",
        ),
        RindParameters(
            rind="natural",
            diameter_m=0.19,
            height_m=0.09,
            mass_kg=2.7,
            moisture_fraction=0.415,
            salt_fraction=0.025,
            wrap_resistance=BLUE_WRAP,
            diffusivity_m2_s=VAN_SLYKE_DIFFUSIVITY,
            source="wrap from the water loss of a blue cheese in Thom & Fisk 1918, the only published figure found "
            "for months without cloth; diffusivity as cloth-bound; size assumed",
        ),
        RindParameters(
            rind="washed",
            diameter_m=0.20,
            height_m=0.06,
            mass_kg=2.0,
            moisture_fraction=0.48,
            salt_fraction=0.018,
            wrap_resistance=2.0e8,
            diffusivity_m2_s=CASTELL_PALOU_DIFFUSIVITY,
            respiration_mol_kg_day=0.0029,
            source="wrap assumed near that of a bloomy rind, no source; diffusivity Castell-Palou et al. 2011; "
            "breathing 102 mmol CO2 a day per whole Gruyere (Agroscope abstract), taken as 35 kg; rest assumed",
        ),
        RindParameters(
            rind="bloomy",
            diameter_m=0.11,
            height_m=0.03,
            mass_kg=0.30,
            moisture_fraction=0.57,
            salt_fraction=0.017,
            wrap_resistance=CAMEMBERT_WRAP,
            diffusivity_m2_s=1.0e-10,
            source="wrap from the water loss of Camembert in Thom & Fisk 1918, which hardly depends on the "
            "diffusivity; that one assumed for so moist a cheese; no published breathing was found, so none",
        ),
        RindParameters(
            rind="bare",
            diameter_m=0.20,
            height_m=0.06,
            mass_kg=2.0,
            moisture_fraction=0.45,
            salt_fraction=0.015,
            wrap_resistance=0.0,
            diffusivity_m2_s=CASTELL_PALOU_DIFFUSIVITY,
            source="no wrap and no rind; diffusivity Castell-Palou et al. 2011; size and make-up assumed",
        ),
    )
}
"""Defaults by kind of rind. Only weighings of your own wheels turn them into knowledge of your room."""


def wheel_parameters(
    rind: str,
    diameter_m: float,
    height_m: float,
    mass_kg: float,
    values: Mapping[str, Any] | None = None,
) -> RindParameters:
    """A wheel of a style: the defaults of its rind, its own size, and what the style overrides.

    Parameters
    ----------
    rind : a name in `PRESETS`; diameter_m, height_m, mass_kg : [m], [kg]
    values : other `RindParameters` by name, as a style's ``rind_parameters``

    Raises
    ------
    PhysicsError : an unknown rind or name, or an impossible value.
    """
    if not isinstance(rind, str) or rind not in PRESETS:
        raise PhysicsError(f"no rind is named {rind!r}; there are: {', '.join(sorted(PRESETS))}")
    size = {"diameter_m": diameter_m, "height_m": height_m, "mass_kg": mass_kg}
    return PRESETS[rind].with_values({**size, **(values or {})})
