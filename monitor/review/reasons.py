"""Why a wheel deserves attention, in words with a weight, and what tells most about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Act = Literal["look at the rind", "weigh", "iron"]


@dataclass(frozen=True)
class Reason:
    """Why a wheel is in the list: the key of its weight, the weight's sum, words, and what to do about it."""

    key: str
    weight: float
    words: str
    act: Act | None = None
