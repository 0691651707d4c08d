"""When sensors were calibrated last, and when the next time is due."""

from __future__ import annotations

from datetime import datetime, timedelta

from monitor.site.settings import Sensor


def last_calibration(sensor: Sensor, quantity: str) -> datetime | None:
    """When a quantity of a sensor was calibrated last; None where never."""
    return max((entry.at for entry in sensor.calibrations if entry.quantity == quantity), default=None)


def due_at(sensor: Sensor, quantity: str) -> datetime | None:
    """When the next calibration is due; None for a quantity that was never calibrated, or a sensor that needs none."""
    last = last_calibration(sensor, quantity)
    if last is None or sensor.calibrate_every_days is None:
        return None
    return last + timedelta(days=sensor.calibrate_every_days)


def first_due_at(sensor: Sensor) -> datetime | None:
    """When the first of a sensor's quantities is due for calibration; None where none ever is."""
    return min((due for quantity in sensor.quantities if (due := due_at(sensor, quantity))), default=None)
