"""What all parts of the site file are made of: the base of settings, and kinds of names."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints

Identifier = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$")]
Name = Annotated[str, StringConstraints(min_length=1, max_length=300, strip_whitespace=True)]
EnvironmentName = Annotated[str, StringConstraints(pattern=r"^[A-Za-z_][A-Za-z0-9_]{0,127}$")]
Span = tuple[float, float]


class Settings(BaseModel):
    """Base of all settings: unknown keys are faults, values do not change once read."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, allow_inf_nan=False)
