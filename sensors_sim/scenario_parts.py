"""What every part of a scenario is made of: names, durations, and no unknown keys."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

Identifier = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]

_UNIT_SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
_DURATION = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(s|min|h|d)\s*")


def duration_s(value: object) -> object:
    """A duration such as ``"12 d 6 h"`` or a plain number, in seconds.

    Raises
    ------
    ValueError
        The text is no duration.
    """
    if not isinstance(value, str):
        return value
    total, position = 0.0, 0
    for part in _DURATION.finditer(value):
        if part.start() != position:
            break
        total += float(part[1]) * _UNIT_SECONDS[part[2]]
        position = part.end()
    if position == 0 or position != len(value):
        raise ValueError(f'{value!r} is no duration; write seconds or for example "12 d 6 h"')
    return total


Duration = Annotated[float, BeforeValidator(duration_s), Field(ge=0)]


class Part(BaseModel):
    """Base of every part of a scenario: an unknown key is an error."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def signed_duration_s(text: str) -> float:
    """A duration with an optional minus sign, in seconds."""
    bare = text.strip()
    sign = -1.0 if bare.startswith("-") else 1.0
    seconds = duration_s(bare.removeprefix("-").removeprefix("+").strip())
    assert isinstance(seconds, float)
    return sign * seconds
