"""Settings that hold for every test."""

from __future__ import annotations

import os

from hypothesis import settings

# A busy machine is slow now and then; how long one example takes says nothing of whether a law holds.
# Where a run decides (.ci/run), the examples are the same each time; at a desk they are new ones.
settings.register_profile("untimed", deadline=None, derandomize=os.environ.get("MATURING_NO_SKIPS") == "1")
settings.load_profile("untimed")
