"""One surface of a room: its heat, its water, and whatever lies behind it.

A surface meets the room's air only, so a fully implicit step of the whole room reduces to two equations in
the air's temperature and vapour pressure: each surface first states how its own end temperature depends on
those two (`prepare`), and then takes its share of the answer (`settle`).  Saturation is linearised about the
temperature at the step's start, and the fluxes that were solved for are the ones that are booked, so energy
and water close to rounding.
"""

from __future__ import annotations

from sensors_sim.constants import LATENT_HEAT_J_KG
from sensors_sim.saturation import saturation_and_slope


class Chain:
    """Layers behind a surface, eliminated outermost first; without layers a surface stands alone."""

    def __init__(
        self, capacities_j_k: list[float], inner_w_k: list[float], boundary_w_k: float, start_c: list[float]
    ) -> None:
        self.capacities, self.inner, self.boundary_w_k = capacities_j_k, inner_w_k, boundary_w_k
        self.temperatures = start_c
        self.boundary_c = start_c[-1] if start_c else 0.0
        self._factors: list[tuple[float, float, float]] = []
        self._dt = 0.0

    @property
    def coupling_w_k(self) -> float:
        """Conductance between the surface and the layer behind it [W/K]."""
        return self.inner[0] if self.inner else 0.0

    def _prepare(self, dt: float) -> None:
        """Coefficients of the elimination for one step length: (C/dt/D, K outward/D, K inward/D)."""
        self._dt, self._factors, outer_share = dt, [], 0.0
        count = len(self.capacities)
        outward = [*self.inner[1:], self.boundary_w_k]
        for j in range(count - 1, -1, -1):
            stored = self.capacities[j] / dt
            total = stored + self.inner[j] + outward[j] * (1.0 - outer_share)
            outer_share = self.inner[j] / total
            self._factors.append((stored / total, outward[j] / total, outer_share))

    def eliminate(self, dt: float) -> tuple[float, float]:
        """(offset, share): the layer behind the surface ends at offset + share x surface temperature."""
        if not self.capacities:
            return 0.0, 0.0
        if dt != self._dt:
            self._prepare(dt)
        offset = self.boundary_c
        self._offsets: list[float] = []
        index = len(self.capacities) - 1
        for stored, outward, _ in self._factors:
            offset = stored * self.temperatures[index] + outward * offset
            self._offsets.append(offset)
            index -= 1
        return offset, self._factors[-1][2]

    def settle(self, surface_c: float, dt: float) -> float:
        """Back-substitute from the surface outwards; return the heat that came in at the boundary [J]."""
        if not self.capacities:
            return 0.0
        inner, last = surface_c, len(self.capacities) - 1
        for j in range(last + 1):
            inner = self._offsets[last - j] + self._factors[last - j][2] * inner
            self.temperatures[j] = inner
        return self.boundary_w_k * (self.boundary_c - inner) * dt

    def heat(self) -> float:
        """Stored heat above 0 degC [J]."""
        return sum(c * t for c, t in zip(self.capacities, self.temperatures, strict=True))


class Surface:
    """A surface in the room's air.

    ``supply``: "fed" keeps its activity whatever leaves it; "film" holds free water up to ``film_limit_kg``
    (more runs off); "sorbing" holds water whose activity is its share of ``buffer_kg``.
    """

    def __init__(
        self,
        name: str,
        heat_w_k: float,
        transfer_kg_s_pa: float,
        capacity_j_k: float,
        temperature_c: float,
        supply: str = "film",
        activity: float = 1.0,
        water_kg: float = 0.0,
        film_limit_kg: float = 0.0,
        buffer_kg: float = 1.0,
        chain: Chain | None = None,
    ) -> None:
        self.name, self.heat_w_k, self.transfer, self.capacity = (
            name,
            heat_w_k,
            transfer_kg_s_pa,
            capacity_j_k,
        )
        self.temperature, self.supply, self.activity = temperature_c, supply, activity
        self.water_kg, self.film_limit_kg, self.buffer_kg = water_kg, film_limit_kg, buffer_kg
        self.chain = chain or Chain([], [], 0.0, [])
        self.offset_pa = 0.0  # vapour pressure of the air at this surface over that of the room
        self.latent = LATENT_HEAT_J_KG
        self.extra_w_k, self.extra_c, self.extra_w = 0.0, 0.0, 0.0
        self.evaporated_kg = self.drained_kg = self.boundary_j = self.extra_j = 0.0
        self.rate_kg_s = 0.0

    def prepare(self, dt: float, vapour_pa: float) -> tuple[float, float, float, float, float, float]:
        """State this surface's part in the room's two equations.

        With the air's end state (ta, e) the surface ends at ``end = source + heat_share ta + vapour_share e``
        and gives off ``fixed + slope end - transfer e`` kg/s of vapour.

        Returns
        -------
        tuple
            (source [degC], heat_share, vapour_share [K/Pa], fixed [kg/s], slope [kg/s/K], transfer [kg/s/Pa]).
        """
        pressure, slope = saturation_and_slope(self.temperature)
        activity, transfer, forced = self._wetness(dt, pressure, vapour_pa)
        ga = transfer * activity
        gas = ga * slope
        fixed = ga * (pressure - slope * self.temperature) + forced - transfer * self.offset_pa
        behind, behind_share = self.chain.eliminate(dt)
        coupling = self.chain.coupling_w_k
        stored = self.capacity / dt
        total = stored + self.heat_w_k + self.latent * gas + coupling * (1.0 - behind_share) + self.extra_w_k
        source = (
            stored * self.temperature
            - self.latent * fixed
            + coupling * behind
            + self.extra_w_k * self.extra_c
            + self.extra_w
        )
        self._answer = (source / total, self.heat_w_k / total, self.latent * transfer / total)
        self._flux = (fixed, gas, transfer)
        return (*self._answer, *self._flux)

    def _wetness(self, dt: float, pressure: float, vapour_pa: float) -> tuple[float, float, float]:
        """(activity, transfer coefficient, forced flux [kg/s]) for this step."""
        if self.supply == "fed":
            return self.activity, self.transfer, 0.0
        if self.supply == "sorbing":
            return min(max(self.water_kg / self.buffer_kg, 0.0), 1.0), self.transfer, 0.0
        drive = pressure - vapour_pa - self.offset_pa
        if drive <= 0.0:
            return 1.0, self.transfer, 0.0
        if self.water_kg > self.transfer * drive * dt * 1.05:
            return 1.0, self.transfer, 0.0
        return 1.0, 0.0, self.water_kg / dt

    def settle(self, air_c: float, vapour_pa: float, dt: float) -> None:
        """Take the end state of the air and book what passed."""
        source, heat_share, vapour_share = self._answer
        fixed, gas, transfer = self._flux
        end = source + heat_share * air_c + vapour_share * vapour_pa
        rate = fixed + gas * end - transfer * vapour_pa
        self.rate_kg_s = rate
        self.evaporated_kg += rate * dt
        self.boundary_j += self.chain.settle(end, dt)
        self.extra_j += (self.extra_w_k * (self.extra_c - end) + self.extra_w) * dt
        self.temperature = end
        if self.supply != "fed":
            self.water_kg -= rate * dt
            limit = self.film_limit_kg if self.supply == "film" else self.buffer_kg
            if self.water_kg > limit:
                self.drained_kg += self.water_kg - limit
                self.water_kg = limit

    def heat(self) -> float:
        """Stored heat of the surface and of what lies behind it, above 0 degC [J]."""
        return self.capacity * self.temperature + self.chain.heat()
