"""The site file: rooms, sensors, styles and routes, as validated and typed settings.

Secrets never stand in the file: it names environment variables that hold them.
"""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AwareDatetime, Field, PrivateAttr, field_validator, model_validator

from monitor.records import CONTACTS, QUANTITIES
from monitor.site.alarm_settings import AlarmSettings, PlannedWork, Route
from monitor.site.basics import EnvironmentName, Identifier, Name, Settings, Span
from monitor.site.page_settings import PageSettings
from monitor.site.rule_settings import Rules


class SiteInfo(Settings):
    """The building."""

    name: Name
    time_zone: str = "UTC"
    altitude_m: float = Field(0.0, ge=-500, le=6000)
    display_unit: Literal["degC", "degF"] = "degC"

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        if value not in available_timezones():
            raise ValueError("not an IANA time zone; write for example Europe/Dublin")
        return value

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)


class Broker(Settings):
    """Where sensors publish."""

    host: str = "127.0.0.1"
    port: int = Field(1883, ge=1, le=65535)
    tls: bool = False
    ca_file: str | None = None
    username_env: EnvironmentName | None = None
    password_env: EnvironmentName | None = None
    client_id: str = Field("maturing-room-monitor", min_length=1, max_length=64)
    session_expiry_s: int = Field(7 * 86400, ge=0, le=0xFFFFFFFE)
    keepalive_s: int = Field(30, ge=5, le=3600)
    share_name: Identifier | None = None
    protocol: Literal["auto", "5", "3.1.1"] = "auto"
    health_topic: str = Field("maturing-monitor/health", max_length=200)

    @field_validator("health_topic")
    @classmethod
    def _not_a_reading(cls, value: str) -> str:
        if any(c in value for c in "#+\x00") or value.startswith(("maturing/", "$")):
            raise ValueError("a topic of its own, without + or #, not below maturing/ where readings come in")
        return value


class StoreSettings(Settings):
    """Where readings are kept.  ``folder`` is relative to the site file."""

    kind: Literal["embedded", "influx"] = "embedded"
    folder: str = "data"
    commit_rows: int = Field(1000, ge=1, le=100_000)
    commit_interval_s: float = Field(1.0, gt=0, le=1.0)
    rejects_kept: int = Field(1000, ge=10, le=1_000_000)
    seal_after_days: int = Field(7, ge=2, le=3650)
    keep_days: dict[str, Annotated[int, Field(ge=1, le=36_500)]] = Field(default_factory=dict)
    least_free_mb: int = Field(500, ge=0, le=10_000_000)
    near_days: int = Field(30, ge=2, le=3650)
    taken_in_elsewhere: bool = False
    influx_site_tag: Identifier = "main"
    influx_url_env: EnvironmentName = "MATURING_INFLUX_URL"
    influx_org_env: EnvironmentName = "MATURING_INFLUX_ORG"
    influx_bucket_env: EnvironmentName = "MATURING_INFLUX_BUCKET"
    influx_token_env: EnvironmentName = "MATURING_INFLUX_TOKEN"

    @field_validator("keep_days")
    @classmethod
    def _known_quantities(cls, value: dict[str, int]) -> dict[str, int]:
        if unknown := [q for q in value if q not in QUANTITIES]:
            raise ValueError(f"{', '.join(unknown)}: choose from {', '.join(QUANTITIES)}")
        return value


class LedgerSettings(Settings):
    """Where the ledger and the alarm journal are kept: SQLite files in the store's folder, or a database URL
    held by an environment variable."""

    url_env: EnvironmentName | None = None


class Place(Settings):
    """A rack, shelf or height in a room."""

    id: Identifier
    name: Name | None = None
    height_m: float | None = Field(None, ge=-5, le=30)
    air_speed_m_s: float | None = Field(None, ge=0, le=10)


class Room(Settings):
    """A maturing room and its places."""

    id: Identifier
    name: Name
    kind: Literal["cave", "cold-room", "cellar"]
    air_speed_m_s: float = Field(0.1, ge=0, le=10)
    places: tuple[Place, ...] = Field(alias="place")
    climatology: dict[str, Span] = Field(default_factory=dict)
    rules: dict[str, dict[str, float | bool | str]] = Field(default_factory=dict)

    @field_validator("climatology")
    @classmethod
    def _known_ranges(cls, value: dict[str, Span]) -> dict[str, Span]:
        for quantity, (low, high) in value.items():
            if quantity not in QUANTITIES:
                raise ValueError(f"{quantity}: choose from {', '.join(QUANTITIES)}")
            if quantity in CONTACTS:
                raise ValueError(f"{quantity}: a contact has two states and no range; leave it out")
            if low >= high:
                raise ValueError(f"{quantity}: the range is upside down: write [{high:g}, {low:g}]")
        return value

    def air_speed_at(self, place: str) -> float:
        """The air speed at a place [m/s]: its own where stated, else the room's."""
        for candidate in self.places:
            if candidate.id == place and candidate.air_speed_m_s is not None:
                return candidate.air_speed_m_s
        return self.air_speed_m_s


class FieldSettings(Settings):
    """Where in a JSON message a quantity stands, and in what unit it is sent."""

    pointer: str = Field(max_length=300)
    unit: str = ""


class CalibrationEntry(Settings):
    """One dated calibration of a sensor's quantity: what it read and what was true, at one point or two.

    It holds from ``at`` until the next one of the same quantity.
    """

    quantity: str
    at: AwareDatetime
    points: tuple[Span, ...] = Field(min_length=1, max_length=2)
    how: str = Field("", max_length=300)

    @model_validator(mode="after")
    def _can_be_used(self) -> CalibrationEntry:
        if self.quantity not in QUANTITIES:
            raise ValueError(f"quantity {self.quantity!r}: choose from {', '.join(QUANTITIES)}")
        if self.quantity in CONTACTS:
            raise ValueError(f"quantity {self.quantity!r}: a contact has two states and cannot be calibrated")
        if len(self.points) == 2:
            (read_low, true_low), (read_high, true_high) = sorted(self.points)
            if (
                read_high - read_low < 1e-6
                or not 0.5 <= (true_high - true_low) / (read_high - read_low) <= 2.0
            ):
                raise ValueError("points: two points need distinct readings and a slope between 0.5 and 2")
        return self


class Sensor(Settings):
    """A device at a place.  ``topic`` defaults to ``maturing/ID/PAYLOAD``."""

    id: Identifier
    room: Identifier
    place: Identifier
    quantities: tuple[str, ...] = ("temperature", "humidity")
    interval_s: float = Field(60.0, gt=0, le=86400)
    temperature_uncertainty_k: float = Field(0.3, ge=0, le=10)
    humidity_uncertainty_pct: float = Field(2.0, ge=0, le=30)
    topic: str = Field("", max_length=1000)
    payload: Literal["senml", "json", "pointer", "number"] = "senml"
    fields: dict[str, FieldSettings] = Field(default_factory=dict)
    units: dict[str, str] = Field(default_factory=dict)
    calibrations: tuple[CalibrationEntry, ...] = Field(alias="calibration", default=())
    calibrate_every_days: int | None = Field(365, ge=7, le=3650)
    reader: dict[str, Any] | None = None

    @field_validator("quantities")
    @classmethod
    def _known_quantities(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        unknown = [q for q in value if q not in QUANTITIES]
        if unknown or not value:
            raise ValueError(f"{', '.join(unknown) or 'none'}: choose from {', '.join(QUANTITIES)}")
        return value

    @field_validator("topic")
    @classmethod
    def _plain_topic(cls, value: str) -> str:
        if "\x00" in value or "#" in value or "+" in value:
            raise ValueError("a sensor's topic is one exact topic, without + or #")
        return value

    @property
    def full_topic(self) -> str:
        return self.topic or f"maturing/{self.id}/{self.payload}"


def is_contact_only(sensor: Sensor) -> bool:
    """Whether a sensor is nothing but a contact at a door or in a tank, and says nothing of the air."""
    return CONTACTS.issuperset(sensor.quantities)


class Geometry(Settings):
    """A wheel's size when made."""

    diameter_m: float = Field(gt=0.01, le=2)
    height_m: float = Field(gt=0.005, le=2)
    mass_kg: float = Field(gt=0.01, le=500)


class Stage(Settings):
    """A span of age with the bands the style wants and the reference climate that counts as intended.

    ``to_day`` is exclusive and None for the last stage.
    """

    name: Name
    from_day: int = Field(ge=0, le=20_000)
    to_day: int | None = Field(None, ge=1, le=20_000)
    temperature_c: Span
    rh_pct: Span
    reference_temperature_c: float = Field(ge=-5, le=40)
    reference_rh_pct: float = Field(ge=30, le=100)

    @field_validator("temperature_c", "rh_pct")
    @classmethod
    def _band_right_way_up(cls, value: Span) -> Span:
        if value[0] >= value[1]:
            raise ValueError(f"the band is upside down: write [{value[1]:g}, {value[0]:g}]")
        return value

    @model_validator(mode="after")
    def _in_range(self) -> Stage:
        if not (-10 <= self.temperature_c[0] and self.temperature_c[1] <= 45):
            raise ValueError("temperature_c lies outside -10 to 45 degC")
        if not (0 <= self.rh_pct[0] and self.rh_pct[1] <= 100):
            raise ValueError("rh_pct lies outside 0 to 100 %; write percent, not a fraction")
        if self.rh_pct[1] <= 1:
            raise ValueError("rh_pct looks like a fraction; write percent, for example [82, 88]")
        if self.to_day is not None and self.to_day <= self.from_day:
            raise ValueError("to_day must be after from_day")
        return self


class Style(Settings):
    """A family of cheese: geometry, rind, and target climate by stage of age."""

    id: Identifier
    name: Name
    rind: Literal["cloth-bound", "natural", "washed", "bloomy", "bare"]
    geometry: Geometry
    stages: tuple[Stage, ...] = Field(alias="stage")
    grading_from_day: int | None = Field(None, ge=0, le=20_000)
    unwanted_moulds: tuple[str, ...] = ()
    wanted_moulds: tuple[str, ...] = ()
    latching_rules: tuple[str, ...] = ()
    rind_parameters: dict[str, float] = Field(default_factory=dict)
    rules: dict[str, dict[str, float | bool | str]] = Field(default_factory=dict)

    def stage_at(self, age_days: float) -> Stage:
        """The stage a wheel of that age is in; the first before, the last after all stages."""
        for stage in self.stages:
            if stage.to_day is None or age_days < stage.to_day:
                return stage
        return self.stages[-1]


class Site(Settings):
    """The whole site file."""

    version: Literal[1] = 1
    site: SiteInfo
    broker: Broker = Broker()
    store: StoreSettings = StoreSettings()
    ledger: LedgerSettings = LedgerSettings()
    rules: Rules = Rules()
    rooms: tuple[Room, ...] = Field(alias="room")
    sensors: tuple[Sensor, ...] = Field(alias="sensor", default=())
    styles: tuple[Style, ...] = Field(alias="style", default=())
    routes: tuple[Route, ...] = Field(alias="route", default=())
    alarms: AlarmSettings = AlarmSettings()
    planned_work: tuple[PlannedWork, ...] = Field(alias="planned_work", default=())
    pages: PageSettings = PageSettings()

    _path: Path = PrivateAttr(default=Path("site.toml"))

    @property
    def path(self) -> Path:
        """The file this came from."""
        return self._path

    def at(self, path: Path) -> Site:
        """This site, known to stand in the file ``path``."""
        self._path = path
        return self

    @property
    def data_folder(self) -> Path:
        """The folder that holds the store, the ledger and the journal."""
        return (self._path.parent / self.store.folder).resolve()

    @cached_property
    def room_by_id(self) -> dict[str, Room]:
        return {room.id: room for room in self.rooms}

    @cached_property
    def sensor_by_id(self) -> dict[str, Sensor]:
        return {sensor.id: sensor for sensor in self.sensors}

    @cached_property
    def style_by_id(self) -> dict[str, Style]:
        return {style.id: style for style in self.styles}


def rule_settings(site: Site, room: Room, rule: str, style: str = "") -> Any:
    """The settings of a rule in a room: the site's, with the room's own keys laid over them, and a style's over both."""
    base = getattr(site.rules, rule)
    of_style = site.style_by_id[style].rules.get(rule, {}) if style in site.style_by_id else {}
    return type(base).model_validate({**base.model_dump(), **room.rules.get(rule, {}), **of_style})
