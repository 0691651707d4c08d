"""Water activity of a rind from its moisture and the salt in its water; the relation is replaceable by name.

Moisture is on dry basis [kg water/kg dry matter, salt included], salt as molality [mol NaCl/kg water].
A relation is a pure function (moisture, molality, constants) -> (water activity, its slope with moisture);
`RELATIONS` names those a style may choose, and `register` adds one.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitor.air.inputs import as_floats, require_range
from monitor.errors import PhysicsError

Array: TypeAlias = NDArray[np.float64]
Relation: TypeAlias = Callable[[Array, Array, Array], tuple[Array, Array]]

SALT_MOLAR_MASS = 0.05844
"""Of NaCl [kg/mol]."""
SATURATED_MOLALITY = 6.14
"""Of NaCl in water, 0..25 degC [mol/kg] (from memory); more salt than this lies as crystals."""
SALT_SLOPE = 0.033
"""a_w = 1 - 0.033 m for cheese of more than 40 % water (J. Dairy Sci. 1981, abstract); carried on here up to a
saturated brine, where it gives 0.797 against 0.757 (Greenspan 1977, J. Res. NBS 81A:89, at 10 degC)."""

OSWIN_CHEESE = (0.128, 0.331)
"""Oswin constants (A [kg/kg], n) of the cheese body without its salt, X = A (a/(1-a))^n. No published set for
any cheese was found; these two are computed from two published points: a young Cheddar of 37 % moisture and
4.5 % salt in moisture at a_w 0.965 (Hickey et al. 2013, Int. Dairy J.), and a Dutch-type rind of 11-17 %
moisture at a_w 0.6 (Acta Univ. Agric. Silvic. Mendel. Brun. 59/5). A style may override them."""


def molality(salt_fraction: float | Array, moisture_fraction: float | Array) -> float | Array:
    """Salt in the cheese's water [mol/kg], from salt and water in the whole cheese [kg/kg]."""
    salt, moisture = (
        as_floats(salt_fraction, "salt_fraction"),
        as_floats(moisture_fraction, "moisture_fraction"),
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        return (salt / (SALT_MOLAR_MASS * moisture))[()]


def salt_water_activity(molality_mol_kg: float | Array) -> float | Array:
    """Water activity of the salt water in a moist cheese [-]: 1 - 0.033 m, held from saturation on.

    J. Dairy Sci. 1981 (read as abstract), for cheese of more than 40 % water.

    Raises
    ------
    PhysicsError : a negative molality.
    """
    salt = as_floats(molality_mol_kg, "molality_mol_kg")
    require_range(salt, 0.0, np.inf, "molality_mol_kg", "mol/kg")
    return (1.0 - SALT_SLOPE * np.minimum(salt, SATURATED_MOLALITY))[()]


def unripe_water_activity(salt_in_water_g: float | Array, ph: float | Array) -> float | Array:
    """Of an unripe cheese [-]: 0.9719 - 0.0044 [NaCl, g/100 g water] + 0.0041 pH (J. Dairy Res. 1990, abstract)."""
    salt, acid = as_floats(salt_in_water_g, "salt_in_water_g"), as_floats(ph, "ph")
    return (0.9719 - 0.0044 * salt + 0.0041 * acid)[()]


def ripened_water_activity(ash_in_water_g: float | Array, npn_in_water_g: float | Array) -> float | Array:
    """Of a mould-ripened cheese [-]: 1.0058 - 0.0045 ash - 0.0107 NPN [g/100 g water] (abstract, R2 0.90)."""
    ash, npn = as_floats(ash_in_water_g, "ash_in_water_g"), as_floats(npn_in_water_g, "npn_in_water_g")
    return (1.0058 - 0.0045 * ash - 0.0107 * npn)[()]


def oswin_salt(moisture: Array, molality_mol_kg: Array, constants: Array) -> tuple[Array, Array]:
    """Body by Oswin times salt by molality: a product of the parts, after Ross 1975 (from memory).

    Parameters
    ----------
    moisture : dry basis, above 0 [kg/kg]; molality_mol_kg : [mol/kg]
    constants : rows (A [kg/kg], n [-]) by wheel

    Returns
    -------
    (water activity [-], its slope [per kg/kg])
    """
    power = 1.0 / constants[1]
    dry = (constants[0] / moisture) ** power
    body = 1.0 / (1.0 + dry)
    salt = 1.0 - SALT_SLOPE * np.minimum(molality_mol_kg, SATURATED_MOLALITY)
    activity = body * salt
    return activity, activity * (1.0 - body) * power / moisture


def linear(moisture: Array, molality_mol_kg: Array, constants: Array) -> tuple[Array, Array]:
    """a_w = c0 + c1 X: for a narrow span of moisture, and for comparing with exact solutions."""
    del molality_mol_kg
    return constants[0] + constants[1] * moisture, constants[1] + 0.0 * moisture


RELATIONS: dict[str, Relation] = {"oswin-salt": oswin_salt, "linear": linear}
"""Relations by the name a style uses."""


def register(name: str, relation: Relation) -> None:
    """Add a relation of one's own; its slope must not be negative (wetter never means a lower activity).

    Raises
    ------
    PhysicsError : the name is taken by another relation.
    """
    if RELATIONS.get(name, relation) is not relation:
        raise PhysicsError(f"a sorption relation named {name!r} exists already")
    RELATIONS[name] = relation


CONSTANT_RANGES: dict[str, tuple[tuple[float, float], ...]] = {
    "oswin-salt": ((1e-3, 2.0), (0.05, 2.0)),
    "linear": ((-10.0, 1.0), (0.0, 10.0)),
}
"""Lowest and highest of each constant, by relation; a relation of one's own looks after its constants itself."""


def check_constants(name: str, constants: tuple[float, ...]) -> None:
    """Raise PhysicsError unless these are finite numbers that the relation can work with."""
    if not all(isinstance(c, (int, float)) and math.isfinite(c) for c in constants):
        raise PhysicsError(f"sorption_constants {constants!r}: finite numbers are expected")
    ranges = CONSTANT_RANGES.get(name)
    if ranges is None:
        return
    if len(constants) != len(ranges) or not all(
        low <= c <= high for c, (low, high) in zip(constants, ranges, strict=True)
    ):
        expected = ", ".join(f"{low:g} to {high:g}" for low, high in ranges)
        raise PhysicsError(f"sorption_constants {constants!r} of {name!r}: expected {expected}")


def loss_by_moisture(
    first_moisture_fraction: float | Array, moisture_fraction: float | Array
) -> float | Array:
    """Share of its first mass that a cheese has lost when its water falls so, its dry matter kept [kg/kg]."""
    first = as_floats(first_moisture_fraction, "first_moisture_fraction")
    now = as_floats(moisture_fraction, "moisture_fraction")
    for name, wet in (("first_moisture_fraction", first), ("moisture_fraction", now)):
        require_range(wet, 0.0, 0.99, name, "kg/kg")
    return (1.0 - (1.0 - first) / (1.0 - now))[()]
