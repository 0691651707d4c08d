"""What is said to InfluxDB: line protocol and Flux, held against others' tools."""

from __future__ import annotations

import json
import subprocess
import tarfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from influxdb_client.client.write.point import Point
from influxdb_client.domain.write_precision import WritePrecision

from monitor.records import AirRecord, Flag, Reading
from monitor.store import flux
from monitor.store.line_protocol import air_line, reading_line
from monitor.store.side_tables import AIR_COLUMNS
from tests.system.parts import need

NOON = 1_772_366_400_000
ALL = (0, 2**52)
WORDS = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\\"), min_size=1, max_size=20
).filter(str.strip)


@given(WORDS, WORDS, WORDS, st.none() | st.floats(allow_nan=False, allow_infinity=False))
def test_a_reading_is_the_line_that_the_client_library_would_write(
    site: str, sensor: str, reason: str, value: float | None
) -> None:
    """Against influxdb-client's own ``Point``: tags, escapes and fields alike, whatever the names hold."""
    reading = Reading(sensor, "humidity", NOON, value, Flag.SUSPECT, reason)
    point = Point("reading").tag("site", site).tag("sensor", sensor).tag("quantity", "humidity")
    point.field("flag", 3).field("reason", reason).time(NOON, WritePrecision.MS)
    if value is not None:
        point.field("value", value)
    theirs = point.to_line_protocol()
    head, _, tail = reading_line(site, reading).partition(" flag=")
    their_head, _, their_tail = theirs.partition(" flag=")
    assert head == their_head
    assert tail.rsplit(" ", 1)[1] == their_tail.rsplit(" ", 1)[1]
    quoted = reason.replace('"', '\\"')
    assert tail.startswith(f'3i,reason="{quoted}"')
    assert their_tail.startswith(f'3i,reason="{quoted}"')
    if value is not None:
        assert float(tail.rsplit(" ", 1)[0].rsplit("value=", 1)[1]) == value


def test_a_text_that_is_no_unicode_does_not_stop_the_rest() -> None:
    """Half a surrogate pair or a line break in a reason becomes a space: the line stays one line that can be sent."""
    line = reading_line("main", Reading("rack-1", "humidity", NOON, 86.0, Flag.SUSPECT, "odd\ud800\nodd"))
    assert line.encode().count(b"\n") == 0
    assert 'reason="odd  odd"' in line


def test_a_value_taken_back_is_named() -> None:
    """An air record without a humidity says so, so that writing it over a fuller one takes the humidity back."""
    record = AirRecord("cave", "", NOON, 12.0, 11.5, 12.5, None, None, None, 0.5, None, None, 0.3, None)
    line = air_line("main", record)
    assert line.startswith("air,place=-,room=cave,site=main temperature_c=12.0")
    assert (
        'missing="rh_pct rh_min_pct rh_max_pct dew_point_c vapour_pressure_deficit_pa rh_sigma_pct rh_creep_pct"'
        in line
    )
    assert sum(name in line for name in AIR_COLUMNS) == len(AIR_COLUMNS)


HOSTILE = ['a"b', "a\\", '") |> drop(columns: ["_value"]) //', "${1+1}", "é\N{CHEESE WEDGE}", ""]


@pytest.mark.system
def test_every_question_is_sound_flux(tmp_path: Path) -> None:
    """Type-checked by npm's @influxdata/flux-lsp-browser, with hostile names too; and the checker does find faults."""
    subprocess.run(
        [need("npm"), "pack", "--silent", "@influxdata/flux-lsp-browser@0.8.40"],
        cwd=tmp_path,
        check=True,
        timeout=120,
    )
    with tarfile.open(next(tmp_path.glob("*.tgz"))) as archive:
        archive.extractall(tmp_path, filter="data")
    names = ["rack-1", *HOSTILE]
    texts = [flux.readings(n, n, n, n, *ALL) for n in names]
    texts += [flux.air(n, n, n, n, NOON, NOON + 1) for n in names]
    texts += [flux.outermost_air(n, n, *ALL, which) for n in names for which in ("first", "last")]
    texts += [flux.oldest(n, n, *ALL) for n in names]
    texts += [flux.carried(n, n, *ALL) for n in names]
    assert None not in texts
    broken = [
        texts[0].replace("range(start", "range(begin"),
        texts[0].replace("pivot", "pivott"),
        texts[0][:-1],
    ]
    checked = subprocess.run(
        [need("node"), str(Path(__file__).with_name("flux_check.mjs")), str(tmp_path / "package")],
        input=json.dumps(texts + broken), capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert json.loads(checked.stdout) == [True] * len(texts) + [False] * len(broken)


@pytest.mark.parametrize("name", HOSTILE)
def test_a_name_cannot_leave_its_quotes(name: str) -> None:
    """Whatever a name holds, the literal ends at its own closing quote and starts no interpolation."""
    literal = flux.quoted(name)
    inside = literal[1:-1].replace("\\\\", "").replace('\\"', "").replace("\\${", "")
    assert '"' not in inside
    assert "${" not in inside
    assert not inside.endswith("\\")
