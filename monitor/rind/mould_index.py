"""Mould index of shelves, doors and walls: the model of Hukka & Viitanen, for building materials, not rinds.

Hukka & Viitanen 1999, Wood Sci. Technol. 33:475; material classes and decline of Ojanen, Viitanen et al. 2010.
Index 0 is none, 1 the first seen under a microscope, 3 the first seen by eye, 6 all covered.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from monitor.air.inputs import (
    Array,
    Mask,
    Values,
    as_floats,
    humidities,
    in_blocks,
    one_number,
    require_range,
    span_hours,
    temperatures,
)
from monitor.errors import PhysicsError

HOURS_PER_DAY = 24.0
HOURS_PER_WEEK = 168.0

LimitReading = Literal["floor", "curve"]
"""Which of two published readings of the critical humidity is meant.

They differ for the resistant classes at 7..20 degC, where most maturing rooms are, so it matters:

* ``"floor"`` (the default): the greater of the polynomial and the class's least humidity, at every temperature.
  At 10 degC a resistant material needs 85 %. Chosen because a class that stays clean below 85 % when warm
  should not grow at 82 % when cold, and because the two lines then cross at 7 degC, as the pass criterion of
  building practice has it (that last FROM MEMORY).
* ``"curve"``: the polynomial alone up to 20 degC, the least humidity only above. At 10 degC a resistant
  material needs 82.03 %. The more cautious of the two.
"""


@dataclass(frozen=True)
class MaterialClass:
    """How readily a material grows mould.

    ``slow`` and ``fast`` are k1 for an index below 1 and from 1 on; A, B, C give the greatest index; ``least``
    is the lowest humidity that lets it grow [%].
    """

    name: str
    slow: float
    fast: float
    a: float
    b: float
    c: float
    least: float
    examples: str


CLASSES: dict[str, MaterialClass] = {
    "very sensitive": MaterialClass("very sensitive", 1.0, 2.0, 1.0, 7.0, 2.0, 80.0, "pine sapwood"),
    "sensitive": MaterialClass(
        "sensitive", 0.578, 0.386, 0.3, 6.0, 1.0, 80.0, "glued wooden boards, spruce, paper-faced foam"
    ),
    "medium resistant": MaterialClass(
        "medium resistant", 0.072, 0.097, 0.0, 5.0, 1.5, 85.0, "concrete, glass wool, polyester wool"
    ),
    "resistant": MaterialClass("resistant", 0.033, 0.014, 0.0, 3.0, 1.0, 85.0, "polished plastic surfaces"),
}
"""Material classes with k1, A, B, C and least humidity (Ojanen et al. 2010); examples Viitanen & Ojanen 2007."""

SHORT_NAMES = {"vs": "very sensitive", "s": "sensitive", "mr": "medium resistant", "r": "resistant"}

MEANINGS = (
    "no growth",
    "small amounts, microscope",
    "several local colonies, microscope",
    "visible, < 10 % cover, or 50 % under microscope",
    "visible 10-50 % cover, or > 50 % under microscope",
    "visible, > 50 % cover",
    "heavy and tight, about 100 %",
)
"""What each whole index means; Viitanen & Ojanen 2007."""

DECLINE_CLASSES = {"strong": 1.0, "significant": 0.5, "relatively low": 0.25, "almost none": 0.1}
"""Share of the decline of pine that a material shows when dry (Ojanen et al. 2010; the names FROM MEMORY)."""

FIRST_DECLINE_PER_DAY = -0.032
LATER_DECLINE_PER_DAY = -0.016
"""Change of the index while dry: in the first 6 h, and after 24 h; none between (Hukka & Viitanen 1999)."""


def material_class(name: str) -> MaterialClass:
    """The class of that name ("very sensitive" or "vs", and so on); PhysicsError lists them otherwise."""
    found = CLASSES.get(SHORT_NAMES.get(name, name)) if isinstance(name, str) else None
    if found is None:
        raise PhysicsError(f"material class {name!r} is not known: expected one of {', '.join(CLASSES)}")
    return found


def critical_humidity_polynomial(temperature_c: Values) -> Values:
    """The critical humidity's polynomial, unlimited [%]: -0.00267 T^3 + 0.16 T^2 - 3.13 T + 100, for 0..20 degC."""
    return in_blocks(_polynomial, temperatures(temperature_c))


def _polynomial(t: Array) -> Array:
    return ((-0.00267 * t + 0.16) * t - 3.13) * t + 100.0


def critical_humidity(
    temperature_c: Values, material: str = "sensitive", reading: LimitReading = "floor"
) -> Values:
    """Lowest relative humidity at which mould can grow on a material [%].

    Parameters
    ----------
    temperature_c : scalar or array, -40..60 [degC]; at and below 0 and from 50 on nothing grows at any humidity
    material : a name of `CLASSES`
    reading : see `LimitReading`

    Raises
    ------
    PhysicsError : impossible temperature, unknown class or reading.
    """
    least = material_class(material).least
    _require_reading(reading)
    return in_blocks(lambda t: _critical(t, least, reading), temperatures(temperature_c))


def _require_reading(reading: str) -> None:
    if reading not in ("floor", "curve"):
        raise PhysicsError(f"reading {reading!r}: expected 'floor' or 'curve'")


def _critical(t: Array, least: float, reading: LimitReading) -> Array:
    cold = np.minimum(_polynomial(t), 100.0)
    if reading == "floor":
        cold = np.maximum(cold, least)
    return np.where(t <= 20.0, cold, np.where(np.isnan(t), np.nan, least))


def greatest_index(
    temperature_c: Values, rh_pct: Values, material: str = "sensitive", reading: LimitReading = "floor"
) -> Values:
    """The index that growth tends to in a steady climate, 0..6 [-]: A + B x - C x^2.

    x = (RHcrit - RH)/(RHcrit - 100). Inputs as `critical_humidity`, and rh_pct 0..100 [%]. A climate that is
    too dry gives 0.
    """
    kind = material_class(material)
    _require_reading(reading)
    return in_blocks(
        lambda t, rh: _greatest(t, rh, kind, reading), temperatures(temperature_c), humidities(rh_pct)
    )


def _greatest(t: Array, rh: Array, kind: MaterialClass, reading: LimitReading) -> Array:
    critical = _critical(t, kind.least, reading)
    x = np.clip((critical - rh) / np.minimum(critical - 100.0, -1e-9), 0.0, 1.0)
    index = np.clip(kind.a + kind.b * x - kind.c * x * x, 0.0, 6.0)
    return np.where(rh < critical, np.where(np.isnan(t), np.nan, 0.0), index)


def weeks_to_start(
    temperature_c: Values, rh_pct: Values, *, hardwood: float = 0.0, rough: float = 0.0
) -> Values:
    """Time in a steady climate until the index is 1 on pine sapwood [weeks].

    exp(-0.68 ln T - 13.9 ln RH + 0.14 W - 0.33 SQ + 66.02), RH in percent; Hukka & Viitanen 1999. Infinite at
    and below 0 degC. It does not look whether the humidity is above the critical one.

    Parameters
    ----------
    temperature_c, rh_pct : scalar or array [degC], [%]
    hardwood : W, 0 for pine and 1 for spruce [-]
    rough : SQ, 0 for sawn and 1 for kiln-dried surfaces [-]
    """
    return in_blocks(
        lambda t, rh: _weeks(t, rh, hardwood, rough), temperatures(temperature_c), humidities(rh_pct)
    )


def _weeks(t: Array, rh: Array, wood: float, surface: float) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        weeks = np.exp(-0.68 * np.log(t) - 13.9 * np.log(rh) + 0.14 * wood - 0.33 * surface + 66.02)
    return np.where(t <= 0.0, np.inf, weeks)


def index_growth(
    index: Values,
    temperature_c: Values,
    rh_pct: Values,
    material: str = "sensitive",
    reading: LimitReading = "floor",
) -> Values:
    """Rate at which the index rises now [1/d]: k1 k2 / (7 weeks_to_start); 0 where it cannot grow.

    k2 = max(1 - exp(2.3 (M - Mmax)), 0). Decline when dry is not in it: see `MouldIndex`.
    """
    kind = material_class(material)
    _require_reading(reading)
    start = as_floats(index, "index")
    require_range(start, 0.0, 6.0, "index", "")
    return in_blocks(
        lambda m, t, rh: _growth(m, t, rh, kind, reading),
        start,
        temperatures(temperature_c),
        humidities(rh_pct),
    )


def _favourable(t: Array, rh: Array, kind: MaterialClass, reading: LimitReading) -> Mask:
    return (t > 0.0) & (t < 50.0) & (rh >= _critical(t, kind.least, reading))


def _rate(m: Array, greatest: Array, weeks: Array, kind: MaterialClass) -> Array:
    k1 = np.where(m < 1.0, kind.slow, kind.fast)
    k2 = np.maximum(1.0 - np.exp(np.minimum(2.3 * (m - greatest), 50.0)), 0.0)
    return k1 * k2 / (7.0 * weeks)


def _growth(m: Array, t: Array, rh: Array, kind: MaterialClass, reading: LimitReading) -> Array:
    rate = _rate(m, _greatest(t, rh, kind, reading), _weeks(t, rh, 0.0, 0.0), kind)
    unknown = np.isnan(m) | np.isnan(t) | np.isnan(rh)
    return np.where(unknown, np.nan, np.where(_favourable(t, rh, kind, reading), rate, 0.0))


class MouldIndex:
    """The mould index of surfaces over time, one number a surface; `update` it, then read ``index``.

    Growth over more than an hour is cut into hours or less (explicit Euler, as the model is used). An unknown
    climate holds the index and is counted in ``unknown_hours``.

    Parameters
    ----------
    material : a name of `CLASSES`
    surfaces : how many surfaces of that material are followed together
    decline : share of pine's decline this material shows when dry; see `DECLINE_CLASSES` [-]
    reading : see `LimitReading`
    """

    def __init__(
        self,
        material: str = "sensitive",
        surfaces: int = 1,
        decline: float = 1.0,
        reading: LimitReading = "floor",
    ) -> None:
        self._kind = material_class(material)
        _require_reading(reading)
        share = as_floats(decline, "decline")
        require_range(share, 0.0, 1.0, "decline", "")
        if np.isnan(share):
            raise PhysicsError("decline: a known share is expected, 0 to 1")
        if surfaces < 1:
            raise PhysicsError(f"surfaces {surfaces} is impossible: expected 1 or more")
        self._reading, self._decline, self._surfaces = reading, decline, surfaces
        self.reset()

    @property
    def dry_hours(self) -> Array:
        """How long each surface has been too dry to grow [h]."""
        return self._dry_hours.copy()

    def reset(self, index: Values = 0.0, dry_hours: Values = 0.0) -> None:
        """Start from an index, as after washing down (0) or an inspection, and a time [h] it was dry before."""
        start = as_floats(index, "index")
        require_range(start, 0.0, 6.0, "index", "")
        if np.isnan(start).any():
            raise PhysicsError("index: a surface must start from a known index")
        self.index = self._one_each(start, "index").copy()
        self.unknown_hours = np.zeros(self._surfaces)
        self._dry_hours = self._one_each(as_floats(dry_hours, "dry_hours"), "dry_hours").copy()

    def update(self, temperature_c: Values, rh_pct: Values, hours: float) -> Array:
        """Advance by a span of steady surface climate and return the index [-].

        Parameters
        ----------
        temperature_c, rh_pct : at the surface, a scalar or one value a surface [degC], [%]
        hours : length of the span, 0 or more [h]

        Raises
        ------
        PhysicsError : impossible input.
        """
        t = self._one_each(temperatures(temperature_c), "temperature_c")
        rh = self._one_each(humidities(rh_pct), "rh_pct")
        hours = span_hours(hours)
        known = ~(np.isnan(t) | np.isnan(rh))
        self.unknown_hours += np.where(known, 0.0, hours)
        wet = known & _favourable(t, rh, self._kind, self._reading)
        self.index = self.index.copy()  # one that was read before stays as it was
        self._grow(t[wet], rh[wet], wet, hours)
        self._dry(known & ~wet, hours)
        return self.index

    def _one_each(self, values: Array, name: str) -> Array:
        if values.shape not in ((), (1,), (self._surfaces,)):
            raise PhysicsError(
                f"{name}: {values.size} values for {self._surfaces} surfaces: one, or one for each"
            )
        return np.broadcast_to(values, (self._surfaces,))

    def _grow(self, t: Array, rh: Array, wet: Mask, hours: float) -> None:
        greatest, weeks = _greatest(t, rh, self._kind, self._reading), _weeks(t, rh, 0.0, 0.0)
        index, steps = self.index[wet], max(int(np.ceil(hours - 1e-9)), 1)
        for _ in range(steps if index.size else 0):
            rate = _rate(index, greatest, weeks, self._kind)
            index = np.clip(index + rate * (hours / steps / HOURS_PER_DAY), 0.0, 6.0)
        self.index[wet] = index
        self._dry_hours[wet] = 0.0

    def _dry(self, dry: Mask, hours: float) -> None:
        since = self._dry_hours[dry]
        lost = self._decline * _decline(since, since + hours)
        self.index[dry] = np.clip(self.index[dry] + lost, 0.0, 6.0)
        self._dry_hours[dry] = since + hours


def _decline(start_h: Array, end_h: Array) -> Array:
    """Change of the index between two times since it became dry, pine [-]."""
    early = np.clip(end_h, 0.0, 6.0) - np.clip(start_h, 0.0, 6.0)
    late = np.maximum(end_h, 24.0) - np.maximum(start_h, 24.0)
    return (FIRST_DECLINE_PER_DAY * early + LATER_DECLINE_PER_DAY * late) / HOURS_PER_DAY


def meaning(index: float) -> str:
    """What an index means, in words (Viitanen & Ojanen 2007): that of the whole number at or below it.

    Raises
    ------
    PhysicsError : an index outside 0..6, or not known.
    """
    index = one_number(index, "index")
    if not 0.0 <= index <= 6.0:
        raise PhysicsError(f"index {index:g} is impossible: expected 0 to 6")
    return MEANINGS[int(index)]
