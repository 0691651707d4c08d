"""The moulds of rinds: cardinal values of each species, every value with where it comes from.

A value marked FROM MEMORY was not read for this project: take it as a hypothesis, and replace it with
`dataclasses.replace` or a table of your own where you know better.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from monitor.errors import PhysicsError

PITT_HOCKING = "FROM MEMORY (of the kind in Pitt & Hocking, Fungi and Food Spoilage)"
FUNGI_2023 = "J. Fungi 2023, 9:294, Table 5 (on PDA)"
COLONY_7_DAYS = "FROM MEMORY: radius of a colony after 7 days at 25 degC on laboratory agar, over 7"
CAMARDO_2017 = "Camardo Leggieri et al. 2017 (fungi of cheese stores): optimum a_w 0.99, fastest near 25 degC"


@dataclass(frozen=True)
class Species:
    """What a mould needs, and how fast it spreads at its best.

    Attributes
    ----------
    name : Latin name, with the isolate where the values are of one isolate
    temperature_min_c, temperature_opt_c, temperature_max_c : cardinal temperatures of growth [degC]
    water_activity_min, water_activity_opt : cardinal water activities [-]; the largest is 1
    rate_mm_per_day : spread at the optimum, as published (radial for colonies on agar) [mm/d]
    lag_days : germination lag at the optimum [d]; None where no value is known, and then none is assumed
    sources : for each of temperature, water_activity, rate (and lag), where it comes from
    """

    name: str
    temperature_min_c: float
    temperature_opt_c: float
    temperature_max_c: float
    water_activity_min: float
    water_activity_opt: float
    rate_mm_per_day: float
    sources: Mapping[str, str] = field(default_factory=dict)
    lag_days: float | None = None

    def __post_init__(self) -> None:
        if not self.temperature_min_c < self.temperature_opt_c < self.temperature_max_c:
            raise PhysicsError(f"{self.name}: cardinal temperatures must rise from least to greatest")
        if not 0.0 < self.water_activity_min < self.water_activity_opt < 1.0:
            raise PhysicsError(f"{self.name}: cardinal water activities must rise within 0 to 1")
        if not self.rate_mm_per_day > 0.0:
            raise PhysicsError(f"{self.name}: rate {self.rate_mm_per_day:g} mm/d, expected above 0")
        if self.lag_days is not None and not self.lag_days >= 0.0:
            raise PhysicsError(
                f"{self.name}: germination lag {self.lag_days:g} d, expected 0 or more, or None"
            )


def _sources(temperature: str, water_activity: str, rate: str) -> dict[str, str]:
    return {"temperature": temperature, "water_activity": water_activity, "rate": rate}


_MUCOR_AW = (
    "FROM MEMORY (Morin-Sardin et al. 2016: least 0.92-0.93 for Mucor of cheese); optimum assumed 0.99"
)

_ALL = (
    Species(
        "Penicillium roqueforti", 3.5, 25.0, 34.0, 0.83, 0.99, 4.0,
        _sources(
            f"optimum Gock et al. 2003, Int. J. Food Microbiol. 81:11; limits {PITT_HOCKING}",
            f"least {PITT_HOCKING}, beside germination from 0.82 at 25 degC (Gock 2003); {CAMARDO_2017}",
            COLONY_7_DAYS,
        ),
    ),
    Species(
        "Penicillium commune", 3.0, 23.0, 33.0, 0.83, 0.99, 2.4,
        _sources(PITT_HOCKING, f"least {PITT_HOCKING}; {CAMARDO_2017}", COLONY_7_DAYS),
    ),
    Species(
        "Penicillium camemberti", 3.0, 22.5, 32.0, 0.84, 0.99, 2.0,
        _sources(PITT_HOCKING, f"least {PITT_HOCKING}; {CAMARDO_2017}", COLONY_7_DAYS),
    ),
    Species(
        "Penicillium nalgiovense", 3.0, 24.0, 33.0, 0.83, 0.99, 2.2,
        _sources(PITT_HOCKING, f"least {PITT_HOCKING}; {CAMARDO_2017}", COLONY_7_DAYS),
    ),
    Species(
        "Penicillium verrucosum", 0.0, 22.0, 31.0, 0.81, 0.99, 1.6,
        _sources(
            PITT_HOCKING,
            f"least {PITT_HOCKING} (spores form down to 0.87: Camardo Leggieri 2018, Int. J. Food Microbiol. "
            f"278:52); {CAMARDO_2017}",
            COLONY_7_DAYS,
        ),
    ),
    Species(
        "Penicillium expansum", -4.4, 23.9, 32.5, 0.856, 0.981, 4.19,
        _sources(
            "published cardinal model on grape", "the same", "the same, unit not stated there, taken as mm/d"
        ),
    ),
    Species(
        "Penicillium citrinum", 12.0, 27.7, 35.5, 0.82, 0.99, 1.8,
        _sources(FUNGI_2023, f"{PITT_HOCKING}; optimum assumed 0.99", FUNGI_2023),
    ),
    Species(
        "Geotrichum candidum", -3.0, 27.0, 36.0, 0.90, 0.99, 4.0,
        _sources(
            "optimum within 25.4-28.0, least within -5.2..-0.4: Microorganisms 2021, 9:532 (radial); greatest "
            "within 35.2-37.2: Appl. Sci. 2021, 11:4619 (in milk)",
            "FROM MEMORY",
            COLONY_7_DAYS,
        ),
    ),
    Species(
        "Mucor circinelloides MZC-5", 3.5, 25.2, 35.5, 0.92, 0.99, 10.4,
        _sources(FUNGI_2023, _MUCOR_AW, FUNGI_2023),
    ),
    Species(
        "Mucor circinelloides MZC-23", 5.0, 28.3, 35.5, 0.92, 0.99, 11.0,
        _sources(FUNGI_2023, _MUCOR_AW, FUNGI_2023),
    ),
    Species(
        "Mucor circinelloides", 5.0, 32.3, 37.0, 0.92, 0.99, 6.8,
        _sources(
            "Heliyon 2024, e30812 (cheese agar): optimum 32.1-32.5, greatest about 37; least as isolate MZC-23",
            _MUCOR_AW,
            "Heliyon 2024, e30812 (Baranyi); 46 % less with 1 % NaCl",
        ),
    ),
    Species(
        "Mucor fragilis", 4.0, 24.7, 35.0, 0.92, 0.99, 8.6, _sources(FUNGI_2023, _MUCOR_AW, FUNGI_2023)
    ),
    Species(
        "Mucor lanceolatus", 0.0, 22.5, 31.0, 0.925, 0.99, 8.0,
        _sources(
            "FROM MEMORY (Morin-Sardin et al. 2016: optimum 20-25 for those used in cheese)",
            _MUCOR_AW,
            "FROM MEMORY",
        ),
    ),
    Species(
        "Doratomyces stemonitis", 6.0, 24.1, 32.5, 0.90, 0.98, 2.0,
        _sources(FUNGI_2023, "FROM MEMORY", FUNGI_2023),
    ),
    Species(
        "Scopulariopsis", 5.0, 24.5, 36.0, 0.87, 0.98, 2.2,
        _sources(PITT_HOCKING, f"least 0.85-0.90 {PITT_HOCKING}", COLONY_7_DAYS),
    ),
    Species(
        "Cladosporium", -5.0, 22.0, 32.0, 0.84, 0.98, 1.8,
        _sources(PITT_HOCKING, f"least 0.82-0.86 {PITT_HOCKING}", COLONY_7_DAYS),
    ),
    Species(
        "Aspergillus versicolor", 5.0, 26.0, 39.0, 0.765, 0.96, 1.3,
        _sources(
            PITT_HOCKING,
            f"least 0.75-0.78 {PITT_HOCKING}; optimum 0.96 Camardo Leggieri et al. 2017",
            COLONY_7_DAYS,
        ),
    ),
)  # fmt: skip

SPECIES: dict[str, Species] = {species.name: species for species in _ALL}
"""Every known mould by its Latin name."""

BLUE = ("Penicillium roqueforti", "Penicillium commune")
"""The blues that run under a cloth and along cracks (common practice, no source)."""


@dataclass(frozen=True)
class RindMoulds:
    """Which moulds a rind is to carry, and which not."""

    wanted: tuple[str, ...]
    unwanted: tuple[str, ...]


RIND_MOULDS: dict[str, RindMoulds] = {
    "cloth-bound": RindMoulds(
        wanted=("Penicillium commune", "Scopulariopsis", "Mucor lanceolatus"),
        unwanted=("Penicillium roqueforti", "Aspergillus versicolor"),
    ),
    "natural": RindMoulds(
        wanted=("Mucor lanceolatus", "Mucor fragilis", "Scopulariopsis", "Geotrichum candidum"),
        unwanted=("Penicillium commune", "Penicillium verrucosum", "Aspergillus versicolor"),
    ),
    "washed": RindMoulds(
        wanted=("Geotrichum candidum",),
        unwanted=("Penicillium commune", "Mucor circinelloides", "Cladosporium"),
    ),
    "bloomy": RindMoulds(
        wanted=("Penicillium camemberti", "Geotrichum candidum"),
        unwanted=("Mucor circinelloides", "Penicillium commune"),
    ),
    "bare": RindMoulds(
        wanted=(),
        unwanted=("Penicillium commune", "Penicillium verrucosum", "Aspergillus versicolor"),
    ),
}
"""Wanted and unwanted moulds by kind of rind: common practice, no source. A style may name its own."""

DEFAULT_UNWANTED = ("Penicillium commune",)
"""What a pace is told of when nothing is named: the commonest unwanted mould of cheese (common practice)."""


def species_named(name: str) -> Species:
    """The species of that name, capitals not minded; PhysicsError lists the known ones otherwise."""
    wanted = " ".join(str(name).split()).casefold()
    for known, species in SPECIES.items():
        if known.casefold() == wanted:
            return species
    raise PhysicsError(f"mould {name!r} is not known: expected one of {', '.join(sorted(SPECIES))}")
