"""A span of air lived through again: many wheels, in few places, step after step, with a bar if wanted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from monitor.errors import PhysicsError
from monitor.rind.twin import Twin

Array: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True)
class AirSeries:
    """Air of one or several places, record after record.

    Attributes
    ----------
    seconds : length of each record, (records,) [s]
    temperature_c, rh_pct : (records,) or (records, places), NaN where not known [degC], [%]
    air_speed_m_s : the same, or None for a typical 0.2 [m/s]
    """

    seconds: Array
    temperature_c: Array
    rh_pct: Array
    air_speed_m_s: Array | None = None

    def __post_init__(self) -> None:
        records = np.shape(self.seconds)
        for name in ("temperature_c", "rh_pct", "air_speed_m_s"):
            value = getattr(self, name)
            if value is not None and np.shape(value)[:1] != records:
                raise PhysicsError(
                    f"{name} has {np.shape(value)[:1]} records, but there are lengths for {records}"
                )
        if len(records) != 1 or not np.all(np.asarray(self.seconds) > 0.0):
            raise PhysicsError("seconds: one length above zero is expected for each record")

    @classmethod
    def steady(cls, days: float, temperature_c: float, rh_pct: float, step_s: float = 86_400.0) -> AirSeries:
        """The same air for some days, as a style's reference climate [d], [degC], [%]."""
        steps = max(1, round(days * 86_400.0 / step_s))
        ones = np.ones(steps)
        return cls(ones * (days * 86_400.0 / steps), ones * temperature_c, ones * rh_pct)

    @property
    def ends_s(self) -> Array:
        """When each record ends, from the start of the first [s]."""
        return np.cumsum(self.seconds)

    def then(self, later: AirSeries) -> AirSeries:
        """This air followed by another, as a forecast follows what was measured."""

        def both(name: str) -> Array:
            first, second = np.asarray(getattr(self, name)), np.asarray(getattr(later, name))
            if second.ndim < first.ndim:
                second = np.repeat(second[:, None], first.shape[1], axis=1)
            return np.concatenate([first, second])

        speeds = None
        if self.air_speed_m_s is not None and later.air_speed_m_s is not None:
            speeds = both("air_speed_m_s")
        return AirSeries(both("seconds"), both("temperature_c"), both("rh_pct"), speeds)


@dataclass(frozen=True)
class Replayed:
    """What a replay kept: at ``at_s`` from its start [s], one row each, one column a wheel."""

    at_s: Array
    loss_kg: Array
    unseen_kg: Array


def replay(
    twin: Twin,
    series: AirSeries,
    place: NDArray[Any] | None = None,
    *,
    keep: NDArray[Any] | None = None,
    progress: bool = False,
) -> Replayed:
    """Carry a twin through a span of air, in place.

    Parameters
    ----------
    place : column of the air each wheel lies in, (wheels,); None where there is one place
    keep : indices of the records after which to keep loss and hidden loss; None keeps nothing
    progress : show a bar of the records done

    Raises
    ------
    PhysicsError : impossible air, or a place that the air does not cover.
    """
    columns = [np.asarray(v, dtype=np.float64) for v in (series.temperature_c, series.rh_pct)]
    columns.append(np.full(1, np.nan) if series.air_speed_m_s is None else np.asarray(series.air_speed_m_s))
    places = columns[0].shape[1] if columns[0].ndim == 2 else 1
    if place is not None and (np.shape(place) != (twin.wheels,) or np.any((place < 0) | (place >= places))):
        raise PhysicsError(
            f"place: a column from 0 to {places - 1} is expected for each of {twin.wheels} wheels"
        )
    wanted = set() if keep is None else {int(i) for i in keep}
    kept: list[tuple[Array, Array]] = []
    for i in tqdm(range(len(series.seconds)), disable=not progress, unit="record", mininterval=0.5):
        now = [c[min(i, len(c) - 1)] for c in columns]
        if place is not None:
            now = [v[place] if np.ndim(v) else v for v in now]
        twin.advance(float(series.seconds[i]), *now)
        if i in wanted:
            kept.append((twin.loss_kg, twin.state.unseen_kg.copy()))
    at = series.ends_s[sorted(wanted)] if wanted else np.empty(0)
    empty = np.empty((0, twin.wheels))
    return Replayed(
        at,
        np.array([k[0] for k in kept]) if kept else empty,
        np.array([k[1] for k in kept]) if kept else empty,
    )
