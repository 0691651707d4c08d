"""Sensors that the Linux kernel reads itself: industrial I/O and hardware monitoring, through sysfs.

Basis: the kernel's ABI documents ``testing/sysfs-bus-iio`` and ``testing/sysfs-class-hwmon``.  Industrial I/O gives
``in_temp_input`` [m degC], ``in_humidityrelative_input`` [m%], ``in_pressure_input`` [kPa], or a raw number to which
``_offset`` is added and which is then multiplied by ``_scale`` for the same units.  Hardware monitoring gives
``temp1_input`` [m degC] and ``humidity1_input`` [m%].
"""

from __future__ import annotations

import glob
from pathlib import Path
from typing import Annotated

from pydantic import Field, field_validator

from monitor.errors import ReaderAway
from monitor.readers.base import Reader, away
from monitor.site import Settings

_CHANNELS = {
    "temperature": ("in_temp", "temp1"),
    "surface_temperature": ("in_temp_object", "temp2"),
    "humidity": ("in_humidityrelative", "humidity1"),
    "pressure": ("in_pressure",),
}
_TO_CANONICAL = {"temperature": 1e-3, "surface_temperature": 1e-3, "humidity": 1e-3, "pressure": 1e3}
TRIES = 3
"""A bus that is disturbed for a moment (an error on one read) is asked again at once."""


class KernelReader(Reader):
    """A chip that a kernel driver reads, under ``/sys/bus/iio/devices`` or ``/sys/class/hwmon``."""

    kind = "kernel"

    class Options(Settings):
        """Where the chip stands: ``path`` may hold ``*``, since numbers change from start to start; ``name`` (what
        the chip's own file ``name`` says) then tells which.  ``channels`` names another channel for a quantity,
        for example ``{ temperature = "temp2" }``."""

        path: Annotated[str, Field(min_length=1, max_length=300)]
        name: Annotated[str, Field(max_length=100)] = ""
        channels: dict[str, Annotated[str, Field(pattern=r"^[a-z0-9_]{1,60}$")]] = Field(default_factory=dict)

        @field_validator("path")
        @classmethod
        def _absolute(cls, value: str) -> str:
            if not value.startswith("/") or ".." in value:
                raise ValueError("give the whole path, for example /sys/bus/iio/devices/iio:device*")
            return value

        @field_validator("channels")
        @classmethod
        def _known(cls, value: dict[str, str]) -> dict[str, str]:
            if unknown := sorted(set(value) - set(_CHANNELS)):
                raise ValueError(f"{', '.join(unknown)}: the kernel gives {', '.join(_CHANNELS)}")
            return value

    def read(self) -> dict[str, float]:
        """The values of the chip now; see `Reader.read`."""
        folder = self._folder()
        found = {
            quantity: self._value(folder, quantity)
            for quantity in self.sensor.quantities
            if quantity in _CHANNELS
        }
        values = {quantity: value for quantity, value in found.items() if value is not None}
        if not values:
            raise away(self.sensor, f"{folder} has none of its quantities", "name them under reader.channels")
        return values

    def _folder(self) -> Path:
        options = self.options
        candidates = [Path(path) for path in sorted(glob.glob(options.path)) if Path(path).is_dir()]
        if options.name:
            candidates = [c for c in candidates if _text(c / "name") == options.name]
        if len(candidates) != 1:
            found = "nothing" if not candidates else f"{len(candidates)} chips"
            named = f" named {options.name}" if options.name else ""
            raise away(
                self.sensor,
                f"{found} at {options.path}{named}",
                "look at the wiring, the driver, and what stands there",
            )
        return candidates[0]

    def _value(self, folder: Path, quantity: str) -> float | None:
        named = self.options.channels.get(quantity)
        for channel in (named,) if named else _CHANNELS[quantity]:
            for attempt in range(TRIES):
                try:
                    value = _channel(folder, channel)
                except (OSError, ValueError) as error:
                    if attempt == TRIES - 1:
                        raise self._unreadable(folder, channel, error) from error
                    continue
                if value is not None:
                    return value * _TO_CANONICAL[quantity]
                break
        return None

    def _unreadable(self, folder: Path, channel: str, error: Exception) -> ReaderAway:
        what = error.strerror if isinstance(error, OSError) else "it holds no number"
        return away(self.sensor, f"{folder}/{channel}: {what}", "look at the cable and the chip")


def _channel(folder: Path, channel: str) -> float | None:
    """A channel in the kernel's unit: as the driver works it out, or from its raw number; None where it has neither."""
    ready = _number(folder / f"{channel}_input")
    if ready is not None:
        return ready
    raw = _number(folder / f"{channel}_raw")
    if raw is None:
        return None
    offset = _number(folder / f"{channel}_offset")
    scale = _number(folder / f"{channel}_scale")
    return (raw + (0.0 if offset is None else offset)) * (1.0 if scale is None else scale)


def _number(path: Path) -> float | None:
    text = _text(path)
    return None if text is None else float(text)


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="ascii", errors="replace")[:64].strip()
    except FileNotFoundError:
        return None
