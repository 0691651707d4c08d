"""What every reader of real hardware is: one class in one file, found by its `kind`."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from abc import ABC, abstractmethod
from collections.abc import Iterator
from typing import Any, ClassVar

from pydantic import ValidationError

from monitor.errors import ReaderAway, SiteFileError
from monitor.site import Sensor, Settings, Site


class Reader(ABC):
    """Reads the quantities of one sensor from the hardware it hangs on.

    A subclass names its ``kind``, says in its inner ``Options`` what stands under ``[sensor.reader]`` in the site
    file besides ``kind``, and reads in `read`. That is all: it is found in this package by itself, and the contract
    suite in ``tests/readers`` runs over it.
    """

    kind: ClassVar[str] = ""
    Options: ClassVar[type[Settings]] = Settings

    def __init__(self, sensor: Sensor, options: Any) -> None:
        self.sensor, self.options = sensor, options

    @abstractmethod
    def read(self) -> dict[str, float]:
        """Every quantity of the sensor that has a value now, in its canonical unit (see `monitor.records.QUANTITIES`).

        A quantity that the hardware says it cannot measure just now is left out.

        Raises
        ------
        ReaderAway
            The hardware does not answer, or answers with a fault; the text says which and what to look at.
        """

    def close(self) -> None:  # noqa: B027 - most hardware needs no letting go
        """Let go of the hardware; closing twice does no harm."""


def reader_kinds() -> dict[str, type[Reader]]:
    """Every kind of reader there is, found in the package's own modules."""
    package = importlib.import_module("monitor.readers")
    found: dict[str, type[Reader]] = {}
    for module in pkgutil.iter_modules(package.__path__):
        members = inspect.getmembers(importlib.import_module(f"monitor.readers.{module.name}"))
        for _, candidate in members:
            if inspect.isclass(candidate) and issubclass(candidate, Reader) and candidate.kind:
                found[candidate.kind] = candidate
    return dict(sorted(found.items()))


def open_reader(sensor: Sensor) -> Reader:
    """The reader of a sensor, not yet touching the hardware.

    Raises
    ------
    SiteFileError
        The sensor names no reader, a kind that does not exist, or options that cannot be.
    """
    given = dict(sensor.reader or {})
    kinds = reader_kinds()
    kind = kinds.get(str(given.pop("kind", "")))
    if kind is None:
        raise SiteFileError(f"sensor {sensor.id!r}: reader.kind: choose from {', '.join(kinds)}")
    try:
        return kind(sensor, kind.Options.model_validate(given))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in ("reader", *first["loc"]))
        raise SiteFileError(f"sensor {sensor.id!r}: {key}: {_said(first)}") from error


def reader_faults(site: Site) -> Iterator[str]:
    """Every fault in the site's readers, for ``maturing-room check``."""
    for sensor in site.sensors:
        if sensor.reader is not None:
            try:
                open_reader(sensor).close()
            except SiteFileError as error:
                yield str(error)


def _said(error: Any) -> str:
    if error["type"] == "extra_forbidden":
        return "unknown key"
    if error["type"] == "missing":
        return "is missing; add it"
    return str(error["msg"]).removeprefix("Value error, ")


def away(sensor: Sensor, what: str, look_at: str) -> ReaderAway:
    """The error of hardware that does not answer."""
    return ReaderAway(f"sensor {sensor.id}: {what}; {look_at}")
