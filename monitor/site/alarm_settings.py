"""Settings of alarms: who is told what and when, planned work that comes again, and the link that acknowledges."""

from __future__ import annotations

from datetime import time
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, field_validator, model_validator

from monitor.site.basics import EnvironmentName, Identifier, Name, Settings

PriorityName = Literal["low", "medium", "high", "critical"]
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WorkKind = Literal["washing", "loading", "defrost", "calibration"]
WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _clock(value: Any) -> Any:
    """A time of day as people write it, ``"07:30"``; TOML's own times are taken too."""
    if isinstance(value, str):
        try:
            return time.fromisoformat(value)
        except ValueError:
            raise ValueError('not a time of day; write for example "07:30"') from None
    if not isinstance(value, time):
        raise ValueError('not a time of day; write for example "07:30"')
    return value


ClockTime = Annotated[time, BeforeValidator(_clock)]
Minutes = Annotated[float, Field(ge=1, le=43_200)]


class QuietHours(Settings):
    """Hours, in the site's own time, in which a route carries only what cannot wait."""

    begin: ClockTime
    end: ClockTime
    below: PriorityName = "high"

    @model_validator(mode="after")
    def _has_length(self) -> QuietHours:
        if self.begin == self.end:
            raise ValueError("quiet hours that begin and end at the same time are none; leave them out")
        return self


class Route(Settings):
    """A way to reach a person; ``address_env`` names the environment variable that holds an Apprise address."""

    name: Identifier
    address_env: EnvironmentName
    person: Name | None = None
    least_priority: PriorityName = "low"
    after_min: float = Field(0.0, ge=0, le=10_080)
    form: Literal["auto", "line", "text", "html"] = "auto"
    daily: bool = True
    quiet_hours: QuietHours | None = None


class ByPriority(Settings):
    """A time [min] for each priority; where none is given, never."""

    low: Minutes | None = None
    medium: Minutes | None = None
    high: Minutes | None = None
    critical: Minutes | None = None


class AcknowledgeLink(Settings):
    """The small web page behind the link in a message that acknowledges it."""

    bind: str = Field("127.0.0.1", min_length=1, max_length=255)
    port: int = Field(8586, ge=1, le=65535)
    address: str = Field(pattern=r"^https?://[^\s<>\"']{1,300}$")
    secret_env: EnvironmentName
    hours: float = Field(72.0, gt=0, le=720)


class AlarmSettings(Settings):
    """How alarms are told."""

    page: str | None = Field(None, pattern=r"^https?://[^\s<>\"']{1,300}$")
    hold_s: float = Field(120.0, ge=0, le=1800)
    daily_at: ClockTime | None = None
    reminders: int = Field(3, ge=0, le=100)
    remind_min: ByPriority = ByPriority(low=None, medium=240, high=30, critical=15)
    realarm_min: ByPriority = ByPriority(low=None, medium=10080, high=720, critical=120)
    priorities: dict[str, PriorityName] = Field(default_factory=dict)
    acknowledge: AcknowledgeLink | None = None


class PlannedWork(Settings):
    """Work in a room that comes again on the same weekdays, in the site's own time."""

    room: Identifier
    kind: WorkKind
    days: tuple[Weekday, ...] = Field(min_length=1, max_length=7)
    begin: ClockTime
    end: ClockTime
    note: str = Field("", max_length=300)

    @field_validator("days")
    @classmethod
    def _each_once(cls, value: tuple[Weekday, ...]) -> tuple[Weekday, ...]:
        if len(set(value)) != len(value):
            raise ValueError("each weekday once")
        return value

    @model_validator(mode="after")
    def _has_length(self) -> PlannedWork:
        if self.begin == self.end:
            raise ValueError("work that begins and ends at the same time is none; give another end")
        return self
