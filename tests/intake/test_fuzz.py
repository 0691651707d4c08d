"""A hundred thousand hostile messages: no crash, memory bounded, a reason for every refusal."""

from __future__ import annotations

import random
import tracemalloc

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.intake.payloads import MOST_NAMES
from monitor.intake.router import Router
from monitor.records import QUANTITIES, Reading, Reject
from monitor.site import FieldSettings
from tests.intake.samples import sensor, site_with

ARRIVED = 1_772_366_400_000
SITE = site_with(
    sensor("rack-1"),
    sensor("door", payload="json"),
    sensor("logger", payload="pointer", fields={"temperature": FieldSettings(pointer="/a/0")}),
    sensor("probe", payload="number"),
    sensor("reed", payload="number", quantities=("door_open", "water_low")),
    sensor("float", payload="json", quantities=("door_open", "water_low")),
)
TOPICS = ["maturing/rack-1/senml", "maturing/door/json", "maturing/logger/pointer", "maturing/probe/number",
          "maturing/reed/number/door_open", "maturing/float/json"]  # fmt: skip

json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                ["n", "v", "u", "t", "bn", "bt", "bv", "temperature", "time", "a", "vb", "door_open"]
            ),
            inner,
        )
    ),
    max_leaves=12,
)


def check(readings: list[Reading], rejects: list[Reject]) -> None:
    for reading in readings:
        assert reading.quantity in QUANTITIES
        assert reading.value is None or abs(reading.value) < float("inf")
        assert reading.flag in (2, 3, 4, 9)
        assert reading.reason or reading.flag == 2
    for reject in rejects:
        assert reject.reason.strip()
        assert len(reject.payload) <= 512
    assert readings or rejects


@settings(max_examples=400, deadline=None)
@given(topic=st.sampled_from(TOPICS) | st.text(max_size=30), document=json_values)
def test_any_json_is_read_or_refused(topic: str, document: object) -> None:
    """Whatever JSON arrives, it becomes readings or a reject with a reason (an empty result only for nothing said)."""
    import json

    readings, rejects = Router(SITE).read(topic, json.dumps(document).encode(), ARRIVED)
    if (
        readings or rejects or not isinstance(document, list)
    ):  # a list of base fields alone says nothing, and may
        check(readings, rejects)


def test_a_hundred_thousand_mutated_messages() -> None:
    """Good messages with bytes changed, cut, doubled and swapped: every one ends as a reading or a reason, in
    bounded memory and a bounded number of reasons."""
    chance = random.Random(20260301)
    seeds = [
        b'[{"bn":"urn:dev:id:rack-1:","bt":1772366000,"bu":"Cel","n":"temperature","v":12.5},{"n":"humidity","u":"%RH","v":86}]',
        b'{"temperature":12.5,"humidity":86,"time":"2026-03-01T12:00:00Z"}',
        b'{"a":[285.1,{"b":null}],"time":1772366000}',
        b"12.75",
        b"true",
        b'{"door_open":true,"water_low":"low","time":1772366000}',
        b'[{"bn":"urn:dev:id:rack-1:","n":"door_open","vb":true},{"n":"water_low","v":0}]',
    ]
    topics = [*TOPICS, TOPICS[0]]
    router = Router(SITE)
    reasons: set[str] = set()
    tracemalloc.start()
    for number in range(100_000):
        which = number % len(seeds)
        payload, topic = mutated(chance, seeds[which]), topics[which]
        topic = topic if chance.random() < 0.95 else topic + chance.choice("/#+\x00é")
        readings, rejects = router.read(topic, payload, ARRIVED)
        if payload.strip() not in (b"[{}]", b""):
            check(readings, rejects)
        reasons.update(reject.reason for reject in rejects)
    held, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(reasons) < 60
    assert held < 2_000_000
    assert all(len(route._names) <= MOST_NAMES for route in router._routes.values())


def mutated(chance: random.Random, seed: bytes) -> bytes:
    data = bytearray(seed)
    for _ in range(chance.randint(0, 4)):
        place = chance.randrange(len(data) + 1)
        kind = chance.random()
        if kind < 0.4 and place < len(data):
            data[place] = chance.randrange(256)
        elif kind < 0.6:
            del data[place : place + chance.randint(1, 8)]
        elif kind < 0.8:
            data[place:place] = chance.choice(
                [b"NaN", b"1e999", b"null", b"[[", b"{}", b"\\u0000", b"-", b"9" * 400]
            )
        else:
            data += data[:place]
    return bytes(data)
