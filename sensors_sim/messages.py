"""SenML packs (RFC 8428, JSON) as the simulated sensors send them."""

from __future__ import annotations

import math


def senml_state(sensor: str, time_s: float, quantity: str, is_on: bool) -> bytes:
    """One message of a contact, as a boolean value; ``time_s`` as in `senml`."""
    value = "true" if is_on else "false"
    return f'[{{"bn":"urn:dev:id:{sensor}:","bt":{time_s:.3f},"n":"{quantity}","vb":{value}}}]'.encode()


def senml(sensor: str, time_s: float, temperature_c: float, humidity_pct: float, battery_v: float) -> bytes:
    """One message: temperature [Cel], humidity [%RH] and, where it is no NaN, the battery [V].

    ``time_s`` is seconds since 1970-01-01T00:00Z by the sensor's clock.
    """
    records = [
        f'{{"bn":"urn:dev:id:{sensor}:","bt":{time_s:.3f},"n":"temperature","u":"Cel","v":{temperature_c:.10g}}}',
        f'{{"n":"humidity","u":"%RH","v":{humidity_pct:.10g}}}',
    ]
    if not math.isnan(battery_v):
        records.append(f'{{"n":"battery_voltage","u":"V","v":{battery_v:.10g}}}')
    return ("[" + ",".join(records) + "]").encode()
