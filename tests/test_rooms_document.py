"""The document about the rooms: what contacts say, and that a contact alone does not know a room's air."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from dashboard.panels import room_panel
from monitor.answers import rooms_document
from monitor.answers_text import rooms_text
from monitor.clock import now, now_ms, rfc3339
from monitor.records import Reading
from monitor.site import load
from monitor.store import open_store
from tests.test_site import GOOD

DOOR = '[[sensor]]\nid = "nv-door"\nroom = "vault"\nplace = "low-rack"\nquantities = ["door_open"]\ninterval_s = 600\n'
MINUTE = 60_000


def told(folder: Path, *readings: Reading) -> dict[str, Any]:
    """The document of a vault with a sensor of air and a contact at its door, after readings."""
    path = folder / "site.toml"
    path.write_text(GOOD.replace("[[style]]\n", f"{DOOR}\n[[style]]\n", 1), encoding="utf-8")
    site = load(path)
    site.data_folder.mkdir(exist_ok=True)
    store = open_store(site)
    store.write(readings)
    store.close()
    return rooms_document(site)


def test_a_door_is_open_since_it_was_opened(tmp_path: Path) -> None:
    """Its state said again in between does not move that moment; terminal and page say it in words."""
    at = now_ms()
    said = [
        Reading("nv-door", "door_open", at - m * MINUTE, v)
        for m, v in ((40, 0.0), (23, 1.0), (13, 1.0), (3, 1.0))
    ]
    document = told(tmp_path, Reading("nv-1", "temperature", at, 10.5), *said)
    (room,) = document["rooms"]
    assert room["contacts"] == [
        {"sensor": "nv-door", "quantity": "door_open", "on": True, "since_at": rfc3339(at - 23 * MINUTE)}
    ]
    assert not room["stale"]
    assert "  Door open since " in rooms_text(document)
    html = room_panel(room, "degC", load(tmp_path / "site.toml").site.zone, now(), 0.0)
    assert "<b>door open</b> since " in html
    assert "not heard from" not in html


def test_a_shut_door_says_nothing(tmp_path: Path) -> None:
    """While all is shut there is nothing to read."""
    document = told(tmp_path, Reading("nv-door", "door_open", now_ms() - MINUTE, 0.0))
    (room,) = document["rooms"]
    assert room["contacts"][0]["on"] is False
    assert "Door open" not in rooms_text(document)
    assert "door open" not in room_panel(room, "degC", load(tmp_path / "site.toml").site.zone, now(), 0.0)


def test_a_contact_heard_does_not_stand_in_for_the_air(tmp_path: Path) -> None:
    """Its sensor of air silent for two hours, the room has no fresh reading, whatever its door says."""
    at = now_ms()
    door, air = (
        Reading("nv-door", "door_open", at, 1.0),
        Reading("nv-1", "temperature", at - 120 * MINUTE, 10.5),
    )
    (room,) = told(tmp_path, door, air)["rooms"]
    assert room["stale"]
    assert room["state"] == "no-reading"
    assert room["reading_at"] == rfc3339(at - 120 * MINUTE)


def test_an_open_door_whose_contact_went_silent_says_so(tmp_path: Path) -> None:
    """The state lasts, and the reader learns that nobody has confirmed it."""
    at = now_ms()
    door = Reading("nv-door", "door_open", at - 90 * MINUTE, 1.0)
    (room,) = told(tmp_path, door, Reading("nv-1", "temperature", at, 10.5))["rooms"]
    assert "not heard from since" in room_panel(
        room, "degC", load(tmp_path / "site.toml").site.zone, now(), 0.0
    )
