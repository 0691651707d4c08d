"""All sensors of a scenario: from the true air of a span to the messages they send."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sensors_sim.contacts import ContactModel, States
from sensors_sim.scenario import Fault, Scenario
from sensors_sim.sensors import Samples, SensorModel
from sensors_sim.world import Span

Array = NDArray[Any]


class SensorNetwork:
    """The sensors of a scenario and the swaps among them."""

    def __init__(self, scenario: Scenario, faults: list[Fault]) -> None:
        air = [s for s in scenario.sensors if s.measures == "air"]
        self.models = {s.id: SensorModel(s, scenario.seed, faults) for s in air}
        others = [s for s in scenario.sensors if s.measures != "air"]
        self._contacts = [ContactModel(s, scenario, faults) for s in others]
        self._swaps = [f for f in faults if f.kind == "sensors swapped"]

    def messages(self, span: Span) -> list[Samples]:
        """What every sensor of air sends for a span, each in the order of sending."""
        return [self.messages_of(sensor, span) for sensor in self.models]

    def states(self, span: Span) -> list[States]:
        """What every contact sends for a span, each in the order of sending."""
        return [contact.respond(float(span.times_s[-1])) for contact in self._contacts]

    def messages_of(self, sensor: str, span: Span) -> Samples:
        """What one sensor sends for a span."""
        model = self.models[sensor]
        temperature, humidity = self._air_at(sensor, span)
        return model.transmit(*model.respond(span.times_s, temperature, humidity))

    def _air_at(self, sensor: str, span: Span) -> tuple[Array, Array]:
        """The true air where a sensor really hangs; swapped ones hang in each other's place."""
        temperature, humidity = self._place_air(sensor, span)
        for fault in self._swaps:
            if sensor in (fault.target, fault.other):
                other = fault.other if sensor == fault.target else fault.target
                during = (span.times_s >= fault.start) & (span.times_s < fault.end)
                there = self._place_air(other, span)
                temperature = np.where(during, there[0], temperature)
                humidity = np.where(during, there[1], humidity)
        return temperature, humidity

    def _place_air(self, sensor: str, span: Span) -> tuple[Array, Array]:
        settings = self.models[sensor].settings
        key = (settings.room, settings.place)
        return span.temperature_c[key], span.rh_pct[key]


def faster(scenario: Scenario, interval_s: float) -> Scenario:
    """The scenario with every sensor sending at least each ``interval_s`` simulated seconds."""
    sensors = tuple(s.model_copy(update={"interval": min(s.interval, interval_s)}) for s in scenario.sensors)
    return scenario.model_copy(update={"sensors": sensors})


def only(samples: Samples, keep: Array) -> Samples:
    """The messages picked by a mask."""
    return replace(
        samples,
        stamp_s=samples.stamp_s[keep],
        send_s=samples.send_s[keep],
        temperature_c=samples.temperature_c[keep],
        humidity_pct=samples.humidity_pct[keep],
        battery_v=samples.battery_v[keep],
    )
