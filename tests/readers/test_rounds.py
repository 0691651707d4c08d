"""Reading in turn, and messages that wait on disk."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import ReaderAway, StoreAway, StoreDamaged
from monitor.intake.router import Router
from monitor.readers import Reader
from monitor.readers.outbox import Outbox
from monitor.readers.rounds import Round, senml_pack
from monitor.records import QUANTITIES
from monitor.site import Sensor, load
from tests.system.running import write_site

NOON_MS = 1_767_268_800_000
SENSOR = Sensor.model_validate({"id": "rack-1", "room": "vault", "place": "low-rack", "interval_s": 60})


class Scripted(Reader):
    """Says what it was told to say, one thing a turn."""

    def __init__(self, *turns: dict[str, float] | Exception) -> None:
        super().__init__(SENSOR, None)
        self._turns = list(turns)

    def read(self) -> dict[str, float]:
        turn = self._turns.pop(0)
        if isinstance(turn, Exception):
            raise turn
        return turn


@pytest.fixture
def outbox(tmp_path: Path) -> Outbox:
    return Outbox(tmp_path / "to-send.sqlite")


def test_a_reading_waits_on_disk(outbox: Outbox) -> None:
    """What a sensor said is in the file when the turn is over."""
    Round(Scripted({"temperature": 11.8}), outbox, threading.Event()).take()
    ((_, topic, payload),) = Outbox(outbox.path).after(0, 10)
    assert topic == "maturing/rack-1/senml"
    assert b'"v":11.8' in payload


@pytest.mark.parametrize("fault", [ReaderAway("sensor rack-1: gone"), ZeroDivisionError("in a driver")])
def test_a_failing_sensor_does_not_stop_the_round(
    outbox: Outbox, fault: Exception, caplog: pytest.LogCaptureFixture
) -> None:
    """A fault is said once, however often it comes, and the next good value goes out."""
    turn = Round(Scripted(fault, fault, {"humidity": 86.0}), outbox, threading.Event())
    for _ in range(3):
        turn.take()
    assert outbox.waiting == 1
    assert len([r for r in caplog.records if r.levelname == "WARNING"]) == 1


def test_a_full_disk_holds_readings_in_memory(outbox: Outbox, monkeypatch: pytest.MonkeyPatch) -> None:
    """While the disk takes nothing, readings wait in memory; once it does, they go to it in order."""
    turn = Round(Scripted({"humidity": 86.0}, {"humidity": 87.0}), outbox, threading.Event())
    with monkeypatch.context() as patch:
        patch.setattr(Outbox, "put", lambda *_: (_ for _ in ()).throw(StoreAway("full")))
        turn.take()
    assert outbox.waiting == 0
    turn.take()
    assert [b"86.0" in p or b'"v":86' in p for _, _, p in outbox.after(0, 10)] == [True, False]


def test_a_message_leaves_only_when_done(outbox: Outbox) -> None:
    """Acknowledged messages are forgotten; the others are still there after a restart."""
    for number in range(5):
        outbox.put("t", bytes([number]))
    outbox.done([1, 3])
    outbox.close()
    assert [n for n, _, _ in Outbox(outbox.path).after(0, 10)] == [2, 4, 5]


def test_a_torn_file_is_said(tmp_path: Path) -> None:
    """A file that is no database is named, and that unsent readings are in it."""
    path = tmp_path / "to-send.sqlite"
    path.write_bytes(b"SQLite format 3\x00" + b"\xff" * 4096)
    with pytest.raises(StoreDamaged, match=r"torn.*move it away"):
        Outbox(path)


@given(
    values=st.dictionaries(
        st.sampled_from(sorted(QUANTITIES)), st.floats(0.0, 25.0).map(lambda v: round(v, 4)), min_size=1
    ),
    time_ms=st.integers(NOON_MS - 10**9, NOON_MS),
)
def test_what_is_sent_is_what_intake_reads(values: dict[str, float], time_ms: int) -> None:
    """A pack goes through the intake's own decoder and comes out with the same values and time."""
    site_sensor = SENSOR.model_copy(update={"quantities": tuple(QUANTITIES)})
    site = _site(site_sensor)
    readings, rejects = Router(site).read(SENSOR.full_topic, senml_pack(SENSOR, values, time_ms), NOON_MS)
    assert rejects == []
    assert {r.quantity: r.value for r in readings} == pytest.approx(values)
    assert {r.time_ms for r in readings} == {time_ms}


def _site(sensor: Sensor):  # type: ignore[no-untyped-def]
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        return load(write_site(Path(folder), 1883, ["rack-1"])).model_copy(update={"sensors": (sensor,)})
