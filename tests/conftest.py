"""Settings that hold for every test."""

from __future__ import annotations

from hypothesis import settings

# A busy machine is slow now and then; how long one example takes says nothing of whether a law holds.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
