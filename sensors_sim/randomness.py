"""Random numbers by seed and name, so that adding one part to a scenario does not change another's draws."""

from __future__ import annotations

import zlib

import numpy as np


def generator(seed: int, *names: object) -> np.random.Generator:
    """A generator of its own for a named part of a scenario; the same names give the same numbers."""
    keys = [zlib.crc32(str(name).encode()) for name in names]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *keys])))
