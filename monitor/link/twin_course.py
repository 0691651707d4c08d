"""Rind twins lived through again for whole groups of wheels: how each rind dried against its style's intended course.

A wheel's drying is set against a twin of the same age in the style's reference climate, so that a young rind, which
dries fast in any air, is not taken for one that dries too fast.  Wheels of one make that lay together share a twin.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from monitor.air import pressure_at_altitude
from monitor.climate.doses import Dose
from monitor.clock import DAY_MS
from monitor.link.life import Life, Stay
from monitor.rind.presets import wheel_parameters
from monitor.rind.twin import Twin
from monitor.site import Site, Style

Floats = npt.NDArray[np.float64]
Means = Callable[[Stay, npt.NDArray[np.int64], int], tuple[Floats, Floats]]
"""Mean temperature and humidity of a stay's place in spans that start at times [ms] and last so long [ms]."""
RECORD_MS = DAY_MS // 4
TWIN_DOSES = ("twin_drying", "twin_hard", "twin_excess", "twin_loss")
HIGHEST_PACE, HARDEST, HARD_POWER = 6.0, 20.0, 4
LEAST_FLUX = 1e-9
"""Drying below this [kg/m2/s] is none; a pace over it would mean nothing."""


def twin_doses(site: Site, lives: Sequence[Life], means: Means) -> dict[tuple[str, str], Dose]:
    """Doses of each wheel by its twin: by wheel and name.

    ``twin_drying``: drying over the intended at that age; ``twin_excess``: what of it is above 1.0; ``twin_hard``:
    drying over the mean of the intended course to the power `HARD_POWER`, in which a few hard days outweigh many mild
    ones; ``twin_loss``: mass lost [kg/d].  Each times days, NaN where the air was not known.
    """
    groups: dict[tuple[str, int, tuple[Stay, ...]], list[Life]] = defaultdict(list)
    for life in lives:
        groups[life.style, life.made_ms, life.stays].append(life)
    keys = [key for key in groups if key[0] in site.style_by_id and key[2]]
    doses: dict[tuple[str, str], Dose] = {}
    for style in {key[0] for key in keys}:
        mine = [key for key in keys if key[0] == style]
        flux, lost = _lived(site, site.style_by_id[style], mine, means)
        pace = np.clip(flux[:, :-1] / np.maximum(flux[:, -1:], LEAST_FLUX), 0.0, HIGHEST_PACE)
        hard = np.clip(flux[:, :-1] / max(float(flux[:, -1].mean()), LEAST_FLUX), 0.0, HARDEST) ** HARD_POWER
        for column, key in enumerate(mine):
            starts = key[1] + RECORD_MS * np.arange(len(flux))
            own = pace[:, column]
            rates = (own, hard[:, column], np.maximum(own - 1.0, 0.0), lost[:, column])
            for name, rate in zip(TWIN_DOSES, rates, strict=True):
                dose = Dose(starts, rate, RECORD_MS)
                doses |= {(life.name, name): dose for life in groups[key]}
    return doses


def _lived(
    site: Site, style: Style, keys: Sequence[tuple[str, int, tuple[Stay, ...]]], means: Means
) -> tuple[Floats, Floats]:
    """Drying [kg/m2/s] and loss [kg/d] by record of age and wheel; the last column lies in the reference climate."""
    geometry = style.geometry
    parameters = wheel_parameters(
        style.rind, geometry.diameter_m, geometry.height_m, geometry.mass_kg, style.rind_parameters
    )
    records = max(-(-(stays[-1][3] - made_ms) // RECORD_MS) for _, made_ms, stays in keys)
    t, rh, speed = (np.full((records, len(keys) + 1), np.nan) for _ in range(3))
    for column, (_, made_ms, stays) in enumerate(keys):
        starts = made_ms + RECORD_MS * np.arange(records)
        for stay in stays:
            here = (starts >= stay[2]) & (starts < stay[3])
            room = site.room_by_id.get(stay[0])
            t[here, column], rh[here, column] = means(stay, starts[here], RECORD_MS)
            speed[here, column] = room.air_speed_at(stay[1]) if room else np.nan
    stages = [style.stage_at(i * RECORD_MS / DAY_MS) for i in range(records)]
    t[:, -1] = [stage.reference_temperature_c for stage in stages]
    rh[:, -1] = [stage.reference_rh_pct for stage in stages]
    twin = Twin(
        [parameters] * (len(keys) + 1),
        pressure_pa=float(pressure_at_altitude(site.site.altitude_m)),
        longest_step_s=RECORD_MS / 1000.0,
    )
    flux, lost = np.full(t.shape, np.nan), np.full(t.shape, np.nan)
    for i in range(records):
        before = twin.loss_kg
        twin.advance(RECORD_MS / 1000.0, t[i], np.clip(rh[i], 0.0, 100.0), speed[i])
        known = np.isfinite(t[i]) & np.isfinite(rh[i])
        flux[i, known] = twin.evaporation_kg_m2_s[known]
        lost[i, known] = (twin.loss_kg - before)[known] * (DAY_MS / RECORD_MS)
    return flux, lost
