"""Pictures to look at: what every fault does, and how rooms answer a step.

``python -m sensors_sim.pictures FOLDER`` (needs matplotlib, which comes with the ``test`` extra).
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np

from sensors_sim.activity import DayPlan
from sensors_sim.network import SensorNetwork
from sensors_sim.places import relative_humidity
from sensors_sim.room import Outside, Room
from sensors_sim.saturation import saturation
from sensors_sim.scenario import SENSOR_FAULTS, Scenario
from sensors_sim.scenario import Room as RoomSettings
from sensors_sim.scenario_file import build_scenario
from sensors_sim.world import World

FAULTS: dict[str, tuple[str, dict[str, Any]]] = {
    "humidifier dry": ("cold", {}),
    "coil iced": ("cold", {}),
    "compressor stopped": ("cold", {}),
    "door ajar": ("cold", {"size": 0.5}),
    "thermostat moved": ("cold", {"size": 3.0}),
    "fan stopped": ("cold", {}),
    "sensor stuck": ("cold-middle", {}),
    "sensor spiking": ("cold-middle", {}),
    "sensor silent": ("cold-middle", {}),
    "sensor wet": ("cold-middle", {}),
    "sensors swapped": ("cold-middle", {"other": "cave-high"}),
    "clock jump": ("cold-middle", {"size": 7200.0}),
    "sensor drifting": ("cold-middle", {"size": -8.0}),
    "broker down": ("", {}),
}
"""Every kind of fault, what it strikes, and its size."""


def example(faults: list[dict[str, Any]]) -> Scenario:
    """Two rooms and two sensors over three days in winter, with the faults given."""
    return build_scenario(
        {
            "name": "pictures",
            "seed": 3,
            "days": 3,
            "start": "2026-02-01T00:00:00Z",
            "rooms": [
                {
                    "id": "cold",
                    "kind": "cold-room",
                    "coil": {"setpoint_c": 8.0, "capacity_w": 1500, "fan_w": 160},
                    "humidifier": {"setpoint_rh_pct": 86},
                    "places": [{"id": "middle"}],
                },
                {"id": "cave", "kind": "cave", "places": [{"id": "high", "height_m": 2.0}]},
            ],
            "styles": [
                {"id": "hard", "rind": "cloth-bound", "diameter_m": 0.3, "height_m": 0.25, "mass_kg": 19.0}
            ],
            "batches": [
                {"style": "hard", "first_make": "-30 d", "wheels": 30, "route": [[0, "cold", "middle"]]}
            ],
            "sensors": [
                {"id": "cold-middle", "room": "cold", "place": "middle"},
                {"id": "cave-high", "room": "cave", "place": "high"},
            ],
            "faults": faults,
        }
    )


def picture_of_faults(path: Path) -> None:
    """One panel a fault: what the sensor said with and without it, by the time the message states and is sent."""
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(7, 4, figsize=(20, 24), constrained_layout=True)
    for (kind, (target, keys)), left, right in zip(
        FAULTS.items(), axes[:, ::2].ravel(), axes[:, 1::2].ravel(), strict=True
    ):
        fault = {"kind": kind, "target": target, "start": "1 d", "end": "1 d 18 h", **keys}
        for faults, colour in (([], "0.65"), ([fault], "tab:red")):
            world = World(example(faults))
            span = world.advance(3 * 1440)
            sent = SensorNetwork(world.scenario, world.faults).messages_of("cold-middle", span)
            send = np.where(
                (kind == "broker down") & bool(faults) & (sent.send_s >= 86400) & (sent.send_s < 151200),
                151200.0,
                sent.send_s,
            )
            hours = (sent.stamp_s if kind in SENSOR_FAULTS else send) / 3600
            left.plot(hours, sent.temperature_c, ".", markersize=2, color=colour)
            right.plot(hours, sent.humidity_pct, ".", markersize=2, color=colour)
        left.set_title(f"{kind}: temperature [degC]")
        right.set_title(f"{kind}: humidity [%]")
        for panel in (left, right):
            panel.axvspan(24, 42, color="tab:blue", alpha=0.08)
    figure.savefig(path, dpi=55)
    pyplot.close(figure)


def picture_of_steps(path: Path) -> None:
    """The cave and the cold room when what lies outside turns from 8 to 20 degC, and the cold room's plant stops."""
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(2, 2, figsize=(14, 8), constrained_layout=True)
    cave = RoomSettings.model_validate({"id": "cave", "kind": "cave", "places": [{"id": "p"}]})
    cold = RoomSettings.model_validate(
        {"id": "cold", "kind": "cold-room", "coil": {"setpoint_c": 8.0}, "places": [{"id": "p"}]}
    )
    for column, (settings, days) in enumerate(((cave, 60), (cold, 3))):
        steps = days * 1440
        before = steps // 4
        outside_c = np.where(np.arange(steps) < before, 11.5, 20.0)
        vapour = [0.7 * saturation(float(t)) for t in outside_c]
        faults: list[dict[str, float]] = [
            {"compressor stopped": 1.0} if i > steps * 0.7 else {} for i in range(steps)
        ]
        room = Room(settings)
        trace = room.run(
            60.0, Outside(outside_c.tolist(), vapour, outside_c.tolist()), DayPlan.quiet(steps), faults
        )
        time = (np.arange(steps) - before) / 1440
        axes[0, column].plot(time, outside_c, color="0.7")
        axes[0, column].plot(time, trace[:, 0])
        axes[0, column].plot(time, trace[:, 6], "--")
        axes[0, column].set_title(
            f"{settings.id}: outside (grey), air, wall surface (dashed) [degC]; days since the step"
        )
        axes[1, column].plot(time, relative_humidity(trace[:, 0], trace[:, 1]))
        axes[1, column].set_title(f"{settings.id}: humidity [%]")
    figure.savefig(path, dpi=70)
    pyplot.close(figure)


def main() -> None:
    """Draw all pictures into the folder named on the command line."""
    import matplotlib

    matplotlib.use("Agg")
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")
    folder.mkdir(parents=True, exist_ok=True)
    picture_of_faults(folder / "faults.png")
    picture_of_steps(folder / "steps.png")


if __name__ == "__main__":
    main()
