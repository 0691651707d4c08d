"""Constants of the simulated rooms, each with its source."""

from __future__ import annotations

LATENT_HEAT_J_KG = 2.4725e6
"""Evaporation of water at 12 degC [J/kg]; 2501 - 2.361 t kJ/kg, fitted to CoolProp 8.0.0 within 0.01 %.
Held constant so that energy closes exactly."""

FUSION_HEAT_J_KG = 3.335e5
"""Melting of ice at 0 degC [J/kg]; handbook value, from memory."""

DRY_AIR_HEAT_J_KG_K = 1006.0
"""Specific heat of dry air [J/kg/K]; ASHRAE Handbook Fundamentals, ch. 1."""

DRY_AIR_GAS_J_KG_K = 287.042
"""Gas constant of dry air [J/kg/K]; ASHRAE Handbook Fundamentals, ch. 1."""

VAPOUR_RATIO = 0.621945
"""Molar mass of water over that of dry air; ASHRAE Handbook Fundamentals, ch. 1."""

LEWIS_NUMBER = 0.865
"""Thermal over vapour diffusivity in air near 12 degC; from memory."""

PERSON_SENSIBLE_W, PERSON_VAPOUR_KG_S = 75.0, 50e-3 / 3600.0
"""One person at light work: sensible heat [W] and vapour [kg/s]; common practice, no source."""

LIGHTS_W_M2 = 4.0
"""Lights while people work [W/m2 of floor]; common practice, no source."""

PASTE_HEAT_J_KG_K = 2700.0
"""Specific heat of a firm paste [J/kg/K]; common practice, no source."""

PASTE_CONDUCTIVITY_W_M_K = 0.35
"""Thermal conductivity of a firm paste [W/m/K]; common practice, no source."""


def vapour_transfer(heat_coefficient_w_m2_k: float, pressure_pa: float) -> float:
    """Vapour transfer coefficient [kg/m2/s/Pa] that goes with a heat transfer coefficient.

    Chilton and Colburn (1934), Ind Eng Chem 26:1183 (analogy; exponent 2/3).  At 12 degC and 101325 Pa
    h = 5 W/m2K gives 3.36e-8.
    """
    return (
        heat_coefficient_w_m2_k * VAPOUR_RATIO / (pressure_pa * DRY_AIR_HEAT_J_KG_K * LEWIS_NUMBER ** (2 / 3))
    )


def heat_coefficient(air_speed_m_s: float) -> float:
    """Convective heat coefficient at a wheel's surface [W/m2/K] for an air speed [m/s], 0 to 2 m/s.

    Still air about 2, 0.1 m/s about 3.5, 0.3 m/s about 5; common practice for slow room air, no source.
    """
    return float(2.0 + 6.0 * air_speed_m_s**0.6)
