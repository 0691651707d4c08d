"""A power cut of forty sensors, through the real rules, alarms and sender, onto a real webhook receiver."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.alarms import open_alarms
from monitor.alarms.sender import Sender
from monitor.clock import parse_rfc3339, to_ms
from monitor.records import Contents
from monitor.rules.engine import Engine
from monitor.rules.moment import Moment
from monitor.site import load
from monitor.store import open_store
from tests.alarms.servers import Webhook
from tests.system.running import SENSOR, write_site

MINUTE = 60_000
START = to_ms(parse_rfc3339("2027-06-10T01:00:00Z"))
CUT, BACK, END = 30, 150, 200
ROUTE = '[[route]]\nname = "phone"\naddress_env = "MATURING_ROUTE_PHONE"\n'


def test_a_power_cut_of_forty_sensors_is_two_messages_to_a_person(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Thirty send every minute and ten every ten minutes, so they are missed half an hour apart: still one message,
    and one when the last of them is back."""
    path = write_site(tmp_path, 1883, [f"s-{n:02}" for n in range(30)])
    slow = "".join(SENSOR.format(name=f"s-{n:02}", interval_s=600) for n in range(30, 40))
    path.write_text(path.read_text("utf-8") + slow + ROUTE, "utf-8")
    site = load(path)
    store, alarms, engine = open_store(site), open_alarms(site), Engine(site)
    contents = (Contents("vault", "low-rack", "clothed", "all along", ("AB-1", "AB-2")),)
    told_minutes: list[int] = []
    with Webhook() as hook:
        monkeypatch.setenv("MATURING_ROUTE_PHONE", hook.address)
        now = [START]
        sender = Sender(site, alarms, clock=lambda: now[0], store=lambda: store)
        for minute in range(END):
            now[0] = START + minute * MINUTE
            seen = {s.id: START + heard(minute, round(s.interval_s / 60)) * MINUTE for s in site.sensors}
            alarms.update(engine.update(Moment(now[0], site, contents=contents, last_seen=seen)), now[0])
            before = len(hook.taken)
            sender.send_waiting("phone")
            told_minutes += [minute] * (len(hook.taken) - before)
        titles = [body["title"] for body, _ in hook.taken]
        texts = [body["message"] for body, _ in hook.taken]
    assert titles == ["Needs you: North vault: 30 sensors are silent", "Over: North vault: 40 sensors silent"]
    assert "30 sensors are silent" in texts[0]
    assert "40 sensors silent" in texts[1]
    assert CUT + 3 <= told_minutes[0] <= CUT + 8
    assert BACK <= told_minutes[1] <= BACK + 16
    alarms.close()
    store.close()


def heard(minute: int, interval: int) -> int:
    """The minute in which a sensor was last heard."""
    last = minute - minute % interval
    return min(last, CUT - CUT % interval) if CUT <= last < BACK else last
