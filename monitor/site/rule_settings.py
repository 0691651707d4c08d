"""Settings of the rules: limits, deadbands and delays, for the site, for a room, and for a style.

Figures are common practice, no source, unless the rule's own docstring names one.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from monitor.site.basics import Settings

DelayMinutes = Annotated[float, Field(ge=0, le=14 * 1440)]
Kelvin = Annotated[float, Field(gt=0, le=30)]
Percent = Annotated[float, Field(gt=0, le=60)]


class BandRule(Settings):
    """Air outside the bands of what the room holds."""

    temperature_deadband_k: float = Field(0.3, ge=0, le=5)
    humidity_deadband_pct: float = Field(1.0, ge=0, le=20)
    delay_min: float = Field(30.0, ge=0, le=1440)
    slight_delay_min: DelayMinutes = 240.0
    off_delay_min: DelayMinutes = 180.0
    back_within_min: DelayMinutes = 1440.0


class PaceRule(Settings):
    """A pace too far from 1.0 (as intended)."""

    highest_pace: float = Field(1.6, gt=1, le=20)
    lowest_pace: float = Field(0.4, ge=0, lt=1)
    deadband: float = Field(0.1, ge=0, le=1)
    mean_h: float = Field(12.0, ge=0, le=240)
    delay_min: DelayMinutes = 360.0
    off_delay_min: DelayMinutes = 1440.0


class MouldRule(Settings):
    """Unwanted mould growing too much faster than in the reference climate, or at all where it lets none grow."""

    highest_pace: float = Field(1.8, gt=1, le=50)
    deadband: float = Field(0.1, ge=0, le=1)
    highest_mm_per_day: float = Field(0.1, gt=0, le=10)
    mean_h: float = Field(12.0, ge=0, le=240)
    delay_min: DelayMinutes = 720.0
    off_delay_min: DelayMinutes = 1440.0


class SilenceRule(Settings):
    """A sensor gone quiet, counted in its own expected intervals."""

    intervals: float = Field(3.0, ge=1.5, le=1000)
    least_min: float = Field(2.0, ge=0, le=1440)
    lone_min: DelayMinutes = 60.0

    def longest_s(self, interval_s: float) -> float:
        """How long a sensor that sends at an interval [s] may be quiet before it counts as silent [s]."""
        return max(self.intervals * interval_s, self.least_min * 60)


class RindIndexRule(Settings):
    """An index of the rind twin (cracking, blue or mites) over what a person may be expected to see."""

    highest_index: float = Field(1.0, gt=0, le=100)
    deadband: float = Field(0.1, ge=0, le=10)
    delay_min: DelayMinutes = 120.0


class FreeWaterRule(Settings):
    """Dew on a rind or another surface, or air so near saturation for so long that nothing dries."""

    dew_margin_k: float = Field(0.0, ge=-5, le=5)
    dew_delay_min: DelayMinutes = 60.0
    saturated_pct: float = Field(98.5, ge=80, le=100)
    saturated_min: DelayMinutes = 360.0
    saturated_off_min: DelayMinutes = 1440.0


class ShelfMouldRule(Settings):
    """Mould on shelves, doors and walls, which are washed every so many days."""

    material: Literal["very sensitive", "sensitive", "medium resistant", "resistant"] = "sensitive"
    highest_index: float = Field(3.0, gt=0, le=6)
    washed_every_days: float = Field(30.0, ge=1, le=366)


class WarmthRule(Settings):
    """Far too warm, far too cold, freezing; and the mean kinetic temperature of a week."""

    freezing_c: float = Field(0.0, ge=-10, le=10)
    far_k: Kelvin = 4.0
    deadband_k: float = Field(0.5, ge=0, le=5)
    delay_min: DelayMinutes = 20.0
    kinetic_k: Kelvin = 2.0
    kinetic_days: int = Field(7, ge=2, le=60)


class SwingsRule(Settings):
    """Air that goes up and down too far, or a plant that starts too often; defrosts do not count."""

    temperature_k: Kelvin = 3.0
    humidity_pct: Percent = 25.0
    starts_per_h: float = Field(8.0, gt=0, le=60)
    delay_min: DelayMinutes = 60.0
    back_within_min: DelayMinutes = 1440.0


class UnevennessRule(Settings):
    """Places of one room that differ too much for too long."""

    temperature_k: Kelvin = 2.5
    humidity_pct: Percent = 12.0
    delay_min: DelayMinutes = 360.0


class TrendRule(Settings):
    """Air that has left its usual range and at this rate leaves the band within hours."""

    within_h: float = Field(12.0, gt=0, le=72)
    temperature_margin_k: float = Field(0.3, ge=0, le=5)
    humidity_margin_pct: float = Field(2.0, ge=0, le=20)
    usual_days: int = Field(21, ge=3, le=60)
    delay_min: DelayMinutes = 10.0
    damp_delay_min: DelayMinutes = 40.0
    longest_h: float = Field(48.0, gt=0, le=336)
    back_within_min: DelayMinutes = 1440.0

    @model_validator(mode="after")
    def _moves(self) -> TrendRule:
        if self.temperature_margin_k == self.humidity_margin_pct == 0:
            raise ValueError("one of temperature_margin_k and humidity_margin_pct must be above 0")
        return self


class StillAirRule(Settings):
    """Air that no longer moves: places drift apart beyond what is usual, or a measured air speed is lost."""

    further_apart_k: Kelvin = 0.4
    slowest_m_s: float = Field(0.02, ge=0, le=1)
    usual_days: int = Field(10, ge=3, le=60)
    delay_min: DelayMinutes = 30.0


class UsualAir(Settings):
    """What is unusual by the air's own last days: shared by the rules that ask that."""

    times_usual: float = Field(1.5, ge=1, le=10)
    temperature_margin_k: float = Field(0.12, ge=0, le=5)
    humidity_margin_pct: float = Field(1.2, ge=0, le=20)
    usual_days: int = Field(21, ge=3, le=60)
    stands_h: float = Field(12.0, gt=0, le=72)
    off_delay_min: DelayMinutes = 30.0


class UnusualAirRule(UsualAir):
    """Air that changes within an hour as it did not on any of the last days at that time of day.

    The margins of water and heat are of a kilogram of dry air [g/kg, kJ/kg].
    """

    water_margin_g: float = Field(0.12, ge=0, le=5)
    heat_margin_kj: float = Field(0.35, ge=0, le=20)


class PlaceApartRule(UsualAir):
    """A place whose air leaves the rest of its room as it did not on any of the last days at that time of day."""

    temperature_margin_k: float = Field(0.1, ge=0, le=5)
    humidity_margin_pct: float = Field(0.7, ge=0, le=20)


class ContactsRule(Settings):
    """A door that stands open, a humidifier's tank that is low on water."""

    door_open_min: float = Field(15.0, gt=0, le=1440)
    water_low_min: float = Field(5.0, gt=0, le=1440)


class SensorHealthRule(Settings):
    """A sensor that is stuck, spiking, wet, off the others, low on battery, wrong in time, or due for calibration."""

    drift_k: Kelvin = 0.8
    drift_pct: Percent = 2.0
    spiking_share: float = Field(0.02, gt=0, le=1)
    at_end_share: float = Field(0.5, gt=0, le=1)
    lowest_battery_pct: float = Field(15.0, ge=0, le=100)
    lowest_battery_v: float = Field(2.45, ge=0, le=60)
    clock_off_min: float = Field(5.0, ge=1, le=1440)
    delay_min: DelayMinutes = 30.0


class GasesRule(Settings):
    """Gases where measured: limits for people, to be set to those that hold where you are."""

    carbon_dioxide_long_ppm: float = Field(5_000.0, gt=0, le=100_000)
    carbon_dioxide_short_ppm: float = Field(15_000.0, gt=0, le=100_000)
    ammonia_long_ppm: float = Field(20.0, gt=0, le=1_000)
    ammonia_short_ppm: float = Field(35.0, gt=0, le=1_000)
    oxygen_lowest_pct: float = Field(19.5, ge=15, le=20.9)
    oxygen_danger_pct: float = Field(18.0, ge=10, le=20.9)
    delay_min: DelayMinutes = 10.0

    @model_validator(mode="after")
    def _in_order(self) -> GasesRule:
        for low, high in (
            ("carbon_dioxide_long_ppm", "carbon_dioxide_short_ppm"),
            ("ammonia_long_ppm", "ammonia_short_ppm"),
            ("oxygen_danger_pct", "oxygen_lowest_pct"),
        ):
            if getattr(self, low) >= getattr(self, high):
                raise ValueError(f"{low} must be below {high}")
        return self


class Rules(Settings):
    """Settings of the rules for the whole site.

    A room lays its own over them under ``[room.rules.NAME]``, and a style over both under ``[style.rules.NAME]``.
    """

    band: BandRule = BandRule()
    blue: RindIndexRule = RindIndexRule()
    contacts: ContactsRule = ContactsRule()
    cracking: RindIndexRule = RindIndexRule()
    drying_pace: PaceRule = PaceRule()
    free_water: FreeWaterRule = FreeWaterRule()
    gases: GasesRule = GasesRule()
    mites: RindIndexRule = RindIndexRule()
    mould_pace: MouldRule = MouldRule()
    sensor_health: SensorHealthRule = SensorHealthRule()
    shelf_mould: ShelfMouldRule = ShelfMouldRule()
    silence: SilenceRule = SilenceRule()
    still_air: StillAirRule = StillAirRule()
    swings: SwingsRule = SwingsRule()
    trend: TrendRule = TrendRule()
    unevenness: UnevennessRule = UnevennessRule()
    unusual_air: UnusualAirRule = UnusualAirRule()
    place_apart: PlaceApartRule = PlaceApartRule()
    warmth: WarmthRule = WarmthRule()
