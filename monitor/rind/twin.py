"""The rind twin: moisture and temperature of many wheels by depth, carried on by one air record after another.

>>> from monitor.rind.presets import PRESETS
>>> from monitor.rind.twin import Twin
>>> twin = Twin([PRESETS["cloth-bound"]] * 3)
>>> twin.advance(600.0, temperature_c=12.0, rh_pct=[80.0, 85.0, 90.0], air_speed_m_s=0.2)
>>> twin.loss_kg.shape
(3,)

Drier air never leaves a heavier wheel, at any length of step and with dew or without: water and heat of the surface
are settled at once, at the end of each step (`rind_face`), and dew lies outside the wrap, the rind taking from it what
the wrap lets through (`twin_step`).

What it leaves out: shrinking (shells keep their first geometry), the uneven salt of a young brined wheel, the
side a wheel lies on, and the slow fall of water activity by proteolysis (0.009 over nine months in Cheddar,
Hickey et al. 2013). A fit to weighings takes up what these do to a wheel's weight.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitor import air
from monitor.errors import PhysicsError, StoreDamaged
from monitor.rind import drying, twin_state
from monitor.rind.presets import REFERENCE_TEMPERATURE_C, RindParameters
from monitor.rind.shells import DEFAULT_GRADING, DEFAULT_SHELLS
from monitor.rind.twin_state import TwinState
from monitor.rind.twin_step import StepAir, step
from monitor.rind.twin_wheels import WheelArrays

Array: TypeAlias = NDArray[np.float64]

WATER_DENSITY = 1000.0
"""[kg/m3]."""
LONGEST_STEP_S = 3600.0
"""Longer spans are cut into steps of at most this [s]: surface temperature and moisture are coupled by steps."""
WEIGHING_ASKED_AFTER_S = 7 * 86_400.0
"""A stretch without air longer than this asks for a weighing [s]."""


class Twin:
    """Rinds of many wheels at once.

    Parameters
    ----------
    parameters : one `RindParameters` a wheel
    shells, grading : how finely the wheel is cut, see `shells`
    start_temperature_c : of the wheels when they begin [degC]
    pressure_pa : of the air [Pa]
    longest_step_s : longer spans are cut into steps of at most this [s]

    Raises
    ------
    PhysicsError : fewer than 3 shells, or an impossible temperature or pressure.
    """

    def __init__(
        self,
        parameters: Sequence[RindParameters],
        *,
        shells: int = DEFAULT_SHELLS,
        grading: float = DEFAULT_GRADING,
        start_temperature_c: float = REFERENCE_TEMPERATURE_C,
        pressure_pa: float = air.STANDARD_PRESSURE_PA,
        longest_step_s: float = LONGEST_STEP_S,
    ) -> None:
        if not isinstance(shells, (int, np.integer)) or not 3 <= shells <= 1000:
            raise PhysicsError(f"{shells!r} shells: a whole number from 3 to 1000 is expected")
        _require_known("grading", grading, 0.0, 10.0)
        _require_known("longest_step_s", longest_step_s, 1.0, np.inf)
        _require_known("pressure_pa", pressure_pa, 2e4, 2e5)
        _require_known("start_temperature_c", start_temperature_c, -40.0, 60.0)
        self._build: dict[str, Any] = {
            "shells": int(shells),
            "grading": float(grading),
            "pressure_pa": float(pressure_pa),
            "longest_step_s": float(longest_step_s),
        }
        self._wheels = WheelArrays(parameters, shells, grading)
        self.state = TwinState.fresh(self._wheels.start_moisture, shells, start_temperature_c)

    # ---- carrying on ----------------------------------------------------------------------------------

    def advance(self, seconds: float, temperature_c: Any, rh_pct: Any, air_speed_m_s: Any = None) -> None:
        """Carry every wheel on by one air record.

        Where temperature or humidity is not known (None, NaN) a wheel's state is held, the gap is counted, and
        the loss it may hide widens ``mass_range_kg``.

        Parameters
        ----------
        seconds : length of the record, above 0 [s]
        temperature_c, rh_pct : of the air at each wheel, one value or (wheels,) [degC], [%]
        air_speed_m_s : the same [m/s]; None or NaN means a typical 0.2

        Raises
        ------
        PhysicsError : impossible air, a shape that does not fit, or a time of zero or less.
        """
        if not (np.isfinite(seconds) and seconds > 0.0):
            raise PhysicsError(f"seconds {seconds!r}: a time above zero is expected")
        celsius = self._fitting(temperature_c, "temperature_c")
        rh = self._fitting(rh_pct, "rh_pct")
        speed = self._fitting(air_speed_m_s, "air_speed_m_s")
        steps = max(1, int(np.ceil(seconds / self._build["longest_step_s"] - 1e-9)))
        now = self._air(seconds / steps, celsius, rh, speed)
        present = np.ones(self.wheels, dtype=bool) if now.present is None else now.present
        before = self.state.elapsed_s
        for i in range(steps):
            step(self._wheels, self.state, now)
            self.state.elapsed_s = before + seconds * ((i + 1) / steps)
        self._count_gaps(seconds, present)

    def _fitting(self, value: Any, name: str) -> Array:
        try:
            array = np.asarray(value, dtype=np.float64)
        except (TypeError, ValueError) as error:
            raise PhysicsError(f"{name}: numbers are expected, got {value!r:.80}") from error
        if array.shape not in ((), (1,), (self.wheels,)):
            raise PhysicsError(
                f"{name} has shape {array.shape}: expected one value, or one for {self.wheels} wheels"
            )
        return array

    def _air(self, seconds: float, celsius: Array, rh: Array, speed: Array) -> StepAir:
        vapour_pa = np.asarray(air.vapour_pressure(celsius, rh))
        still = np.isnan(speed)
        if np.any(still):
            speed = np.where(still, drying.TYPICAL_AIR_SPEED, speed)
        transfer = drying.heat_transfer_coefficient(speed, self._wheels.diameter_m)
        film = drying.film_coefficient(transfer, self._build["pressure_pa"])
        known = np.isfinite(vapour_pa)
        if np.all(known):
            return StepAir(seconds, celsius, vapour_pa, transfer, film, None)
        celsius = np.where(known, celsius, self.state.surface_c)
        return StepAir(
            np.where(known, seconds, 0.0) + np.zeros(self.wheels),
            celsius,
            np.where(known, vapour_pa, 0.0),
            transfer,
            film,
            np.broadcast_to(known, (self.wheels,)),
        )

    def _count_gaps(self, seconds: float, present: NDArray[np.bool_]) -> None:
        state, missed = self.state, np.where(present, 0.0, seconds)
        if not missed.any():
            state.gap_run_s[:] = 0.0
            return
        state.gap_s += missed
        state.gap_run_s = np.where(present, 0.0, state.gap_run_s + seconds)
        state.longest_gap_s = np.maximum(state.longest_gap_s, state.gap_run_s)
        state.unseen_kg += missed * np.maximum(state.loss_rate, 0.0)

    def weighed(self, wheels: Any = slice(None)) -> None:
        """Say that these wheels were weighed now: what gaps may have hidden is no longer unseen.

        The twin's own mass is not set to the weighing; that is what `fitting` is for.

        Raises
        ------
        PhysicsError : a wheel that the twin does not have.
        """
        chosen = self._chosen(wheels)
        self.state.longest_gap_s[chosen] = 0.0
        self.state.unseen_kg[chosen] = 0.0

    def rewrap(self, wheels: Any, wrap_resistance: float) -> None:
        """Give some wheels another wrap from now on: cloth taken off, fat put on [Pa m2 s/kg].

        Raises
        ------
        PhysicsError : an impossible resistance, or a wheel that the twin does not have.
        """
        for i in self._chosen(wheels):
            changed = self._wheels.parameters[i].with_values({"wrap_resistance": float(wrap_resistance)})
            self._wheels.parameters[i] = changed
            self._wheels.wrap[i] = changed.wrap_resistance

    # ---- what a rind is like now ----------------------------------------------------------------------

    @property
    def wheels(self) -> int:
        """Number of wheels."""
        return self._wheels.count

    @property
    def parameters(self) -> list[RindParameters]:
        """Of each wheel."""
        return list(self._wheels.parameters)

    @property
    def water_kg(self) -> Array:
        """Water in each wheel with what lies free on it, summed over the shells [kg]."""
        return np.einsum("ij,ij->j", self._wheels.capacity, self.state.moisture) + self.state.film_kg

    @property
    def water_error_kg(self) -> Array:
        """Water in the shells that the books do not account for; zero but for rounding [kg]."""
        start = self._wheels.water_kg
        return self.water_kg - (start + self.state.breathed_kg - self.state.left_kg)

    @property
    def mass_kg(self) -> Array:
        """Of each wheel, free water included [kg]."""
        return self._wheels.dry_kg - self.state.burnt_kg + self.water_kg

    @property
    def loss_kg(self) -> Array:
        """Lost since the twin began, water and carbon [kg]."""
        return self._wheels.mass_kg - self.mass_kg

    @property
    def loss_fraction(self) -> Array:
        """Lost over the first mass [kg/kg]."""
        return self.loss_kg / self._wheels.mass_kg

    @property
    def mass_range_kg(self) -> tuple[Array, Array]:
        """Lowest and highest mass that gaps in the air leave open [kg].

        In a gap the state is held. The wheel may have lost nothing, or twice what it lost in as much time
        before (assumed). Doubt about the rind's parameters comes on top: see `fitting`.
        """
        return self.mass_kg - 2.0 * self.state.unseen_kg, self.mass_kg

    @property
    def gap_s(self) -> Array:
        """Time without air since the twin began [s]."""
        return self.state.gap_s.copy()

    @property
    def needs_weighing(self) -> NDArray[np.bool_]:
        """True where air was missing for more than seven days at a stretch since the last weighing."""
        return self.state.longest_gap_s > WEIGHING_ASKED_AFTER_S

    @property
    def moisture(self) -> Array:
        """By shell, outermost first, (shells, wheels), dry basis [kg/kg]."""
        return self.state.moisture.copy()

    @property
    def depth_m(self) -> Array:
        """Of the middle of each shell below the surface, (shells, wheels) [m]."""
        return self._wheels.grid.middle

    @property
    def molality(self) -> Array:
        """Salt in the cheese's water [mol/kg]."""
        return self._wheels.salt_mol / (self.water_kg - self.state.film_kg)

    @property
    def rind_moisture(self) -> Array:
        """At the surface itself, dry basis [kg/kg]."""
        return self.state.face_moisture.copy()

    @property
    def rind_water_activity(self) -> Array:
        """At the surface itself, 0..1; 1 where free water lies on it [-]."""
        activity, _ = self._wheels.water_activity(self.state.face_moisture, self.molality)
        return np.where(self.state.film_kg > 0.0, 1.0, np.clip(activity, 0.0, 1.0))

    @property
    def rind_temperature_c(self) -> Array:
        """Of the surface [degC]."""
        return self.state.surface_c.copy()

    @property
    def core_temperature_c(self) -> Array:
        """Of the inside [degC]."""
        return self.state.core_c.copy()

    @property
    def evaporation_kg_m2_s(self) -> Array:
        """Water leaving per exposed area in the last step [kg/m2/s]; negative where the rind took up water."""
        return self.state.flux.copy()

    @property
    def moisture_gradient(self) -> Array:
        """Rise of moisture inward, between the middles of the two outermost shells [kg/kg per m]."""
        depth = self._wheels.grid.middle
        return (self.state.moisture[1] - self.state.moisture[0]) / (depth[1] - depth[0])

    @property
    def cracking_strain(self) -> Array:
        """Mismatch strain of the rind [-]: how much more it has shrunk, per length, than the wheel as a whole.

        rho_dry/(3 rho_water) times (mean moisture - moisture of the outermost shell): the volume of the water
        gone, a third of it in each direction, with no pores opening. Positive pulls the rind apart.
        """
        mean = np.einsum("ij,ij->j", self._wheels.capacity, self.state.moisture) / self._wheels.dry_kg
        return self._wheels.dry_density / (3.0 * WATER_DENSITY) * (mean - self.state.moisture[0])

    @property
    def cracking_index(self) -> Array:
        """Cracking strain over the strain at which this rind is taken to crack [-]; watch from 1 on.

        The limit of 0.05 is assumed, no source; it belongs to the style and wants inspections to settle it.
        """
        return self.cracking_strain / self._wheels.crack_strain

    @property
    def free_water_kg_m2(self) -> Array:
        """Lying on the surface, dew that the rind has not drunk [kg/m2]."""
        return self.state.film_kg / self._wheels.exposed_m2

    # ---- keeping and regrouping -----------------------------------------------------------------------

    def selected(self, wheels: Any) -> Twin:
        """A twin of some of these wheels, sharing nothing with this one.

        Raises
        ------
        PhysicsError : a wheel that the twin does not have, or none chosen.
        """
        index = self._chosen(wheels)
        twin = self._like([self._wheels.parameters[i] for i in index])
        twin.state = self.state.selected(index)
        return twin

    @staticmethod
    def joined(twins: Sequence[Twin]) -> Twin:
        """One twin of the wheels of several, in their order.

        Raises
        ------
        PhysicsError : none given, or of different shells, pressure or step.
        """
        if not twins:
            raise PhysicsError("no twins to join")
        twin_state.require_same_build([t._build for t in twins])
        result = twins[0]._like([p for t in twins for p in t._wheels.parameters])
        result.state = TwinState.joined([t.state for t in twins])
        return result

    def _chosen(self, wheels: Any) -> NDArray[np.intp]:
        """Places of some wheels, given by number, list, mask or slice."""
        try:
            return np.atleast_1d(np.arange(self.wheels)[wheels])
        except (IndexError, TypeError, ValueError) as error:
            raise PhysicsError(
                f"no wheels {wheels!r} in a twin of {self.wheels}: numbers from 0 to {self.wheels - 1} are expected"
            ) from error

    def _like(self, parameters: Sequence[RindParameters]) -> Twin:
        return Twin(parameters, **self._build)

    def to_bytes(self) -> bytes:
        """The twin with its parameters, for keeping; `from_bytes` carries on exactly where this stands."""
        rows = [dataclasses.asdict(p) for p in self._wheels.parameters]
        return twin_state.pack({"build": self._build, "parameters": rows}, self.state)

    @classmethod
    def from_bytes(cls, data: bytes) -> Twin:
        """Read back what `to_bytes` wrote.

        Raises
        ------
        StoreDamaged : torn, foreign or of a newer version; then rebuild it from the air records.
        """
        header, state = twin_state.unpack(data)
        try:
            rows = [
                {**row, "sorption_constants": tuple(row["sorption_constants"])}
                for row in header["parameters"]
            ]
            twin = cls([RindParameters(**row) for row in rows], **header["build"])
        except (KeyError, TypeError, PhysicsError) as error:
            raise StoreDamaged(
                f"the saved rind twin does not fit this program ({error}); rebuild it"
            ) from error
        if state.moisture.shape != twin.state.moisture.shape:
            raise StoreDamaged("the saved rind twin's state does not fit its parameters; rebuild it")
        twin.state = state
        return twin


def _require_known(name: str, value: float, low: float, high: float) -> None:
    """Raise PhysicsError unless a setting is a number within low..high; NaN is none."""
    try:
        fits = low <= value <= high
    except TypeError:
        fits = False
    if not fits:
        raise PhysicsError(f"{name} {value!r} is impossible here: expected {low:g} to {high:g}")
