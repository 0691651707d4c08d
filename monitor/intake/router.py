"""From a topic and a payload to readings and rejects; whatever arrives, it never raises."""

from __future__ import annotations

from monitor.errors import ReadingError
from monitor.intake.measurement import Measurement, reading_of
from monitor.intake.payloads import Part, Route, parts_of
from monitor.records import Reading, Reject
from monitor.site import Sensor, Site

KEPT_PAYLOAD = 512
MOST_REJECTS_A_MESSAGE = 20
DEFAULT_FILTER = "maturing/#"
RETAINED_REASON = "a retained message without a time of its own: how old it is cannot be told"


class Router:
    """Knows every sensor's topic.  The table has one entry a topic of the site file and never grows after."""

    def __init__(self, site: Site) -> None:
        gathered: dict[str, list[Sensor]] = {}
        for sensor in site.sensors:
            gathered.setdefault(sensor.full_topic, []).append(sensor)
        self._routes = {topic: Route(sensors) for topic, sensors in gathered.items()}
        for sensor in site.sensors:
            if sensor.payload == "number":
                for quantity in sensor.quantities:
                    self._routes.setdefault(f"{sensor.full_topic}/{quantity}", Route([sensor], quantity))

    def filters(self) -> list[str]:
        """The topic filters to subscribe to: everything below ``maturing/`` and each other topic of the site."""
        prefix = DEFAULT_FILTER.removesuffix("#")
        return [DEFAULT_FILTER, *sorted(topic for topic in self._routes if not topic.startswith(prefix))]

    def read(
        self, topic: str, payload: bytes, arrived_ms: int, retained: bool = False
    ) -> tuple[list[Reading], list[Reject]]:
        """The readings in a message and what of it had to be refused, each with a reason.

        Readings without a time of their own get the arrival's; of a retained message that would be a lie, so those
        are refused.
        """
        route = self._routes.get(topic)
        if route is None:
            return [], [Reject(arrived_ms, topic, "unknown topic", payload[:KEPT_PAYLOAD])]
        readings: list[Reading] = []
        reasons: list[str] = []
        try:
            for part in parts_of(payload, route, arrived_ms):
                made = _made(part, arrived_ms, retained)
                if isinstance(made, str):
                    reasons.append(made)
                else:
                    readings.append(made)
        except ReadingError as error:
            reasons.append(str(error))
        except Exception as error:  # the last line of defence: a message must never stop the service
            reasons.append(f"cannot be read ({type(error).__name__})")
        return readings, _rejects(reasons, arrived_ms, topic, payload, route) if reasons else []


def _rejects(reasons: list[str], arrived_ms: int, topic: str, payload: bytes, route: Route) -> list[Reject]:
    owner = route.sensors[0].id if len(route.sensors) == 1 else ""
    kept = payload[:KEPT_PAYLOAD]
    return [Reject(arrived_ms, topic, reason, kept, owner) for reason in reasons[:MOST_REJECTS_A_MESSAGE]]


def _made(part: Part, arrived_ms: int, retained: bool) -> Reading | str:
    if not isinstance(part, Measurement):
        return str(part)
    if retained and part.time_ms is None:
        return RETAINED_REASON
    try:
        return reading_of(part, arrived_ms)
    except ReadingError as error:
        return str(error)
