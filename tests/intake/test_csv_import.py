"""CSV files of loggers: how they are written is told from them, and every row is taken or told why not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.clock import rfc3339
from monitor.errors import ReadingError
from monitor.intake.csv_form import Form, Stated, form_of
from monitor.intake.csv_import import Account, Target, import_file
from monitor.intake.csv_times import zone_named
from monitor.intake.csv_words import quantity_of
from monitor.site import load
from monitor.store import open_store
from monitor.store.protocol import Store
from tests.system.running import write_site

PLAIN = (
    "Date,Temperature (°C),Relative humidity (%)\n2026-03-01 06:00,11.8,86.2\n2026-03-01 06:10,11.9,86.0\n"
)


def written(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "logger.csv"
    path.write_bytes(text.encode(encoding))
    return path


class Bench:
    """A site with one sensor and an empty store, into which files are imported."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.site = load(write_site(folder, 1883, ["rack-1"]))
        self.store: Store = open_store(self.site)

    def take(
        self,
        text: str,
        zone: str = "UTC",
        encoding: str = "utf-8",
        sensor: str | None = "rack-1",
        **stated: object,
    ) -> Account:
        path = written(self.folder, text, encoding)
        form = form_of(path, Stated(**stated))  # type: ignore[arg-type]
        return import_file(self.store, path, form, Target(self.site, zone_named(zone), sensor))

    def held(self, quantity: str) -> list[tuple[str | None, float]]:
        frame = self.store.read("rack-1", quantity, 0, 2**52)
        return [
            (rfc3339(int(t)), v) for t, v in zip(frame.index.as_unit("ms").asi8, frame["value"], strict=True)
        ]


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.mark.parametrize(
    ("text", "delimiter", "decimal", "order"),
    [
        (PLAIN, ",", ".", "year-first"),
        ("Zeit;Temperatur °C;rel. Feuchte %\n01.03.2026 06:00:00;11,8;86,2\n14.03.2026 06:00:00;11,9;86,0\n", ";", ",", "day-first"),
        ("Date\tTime\tTemp (F)\tRH\n3/14/2026\t6:00 AM\t53.2\t86\n3/14/2026\t6:10 AM\t53.3\t86\n", "\t", ".", "month-first"),
        ("time|temperature|humidity\n1772344800|11.8|86.2\n1772345400|11.9|86.0\n", "|", ".", "epoch-s"),
        ("time,temperature\n1772344800000,11.8\n1772345400000,11.9\n", ",", ".", "epoch-ms"),
        ("date,temperature\n2026-03-01T06:00:00+01:00,11.8\n2026-03-01T06:10:00+01:00,11.9\n", ",", ".", "year-first"),
        ("Serial 4711\nModel invented\n\nData e ora;T;UR %;Umidità\n2026/03/01 06:00;11,8;;86\n2026/03/01 06:10;11,9;;86\n", ";", ",", "year-first"),
    ],
)  # fmt: skip
def test_the_form_is_told_from_the_file(
    tmp_path: Path, text: str, delimiter: str, decimal: str, order: str
) -> None:
    """Delimiter, decimal sign and order of the date, over the ways loggers write."""
    form = form_of(written(tmp_path, text))
    assert (form.delimiter, form.decimal, form.order) == (delimiter, decimal, order)
    assert form.doubts == ()


@pytest.mark.parametrize(
    ("heading", "found"),
    [
        ("Temperature (°C)", ("temperature", "degC")),
        ("Temp. [°F]", ("temperature", "degF")),
        ("T", ("temperature", "")),
        ("RH (%)", ("humidity", "%")),
        ("rel. Luftfeuchte", ("humidity", "")),
        ("Umidità relativa %", ("humidity", "%")),
        ("Humidité (%HR)", ("humidity", "%")),
        ("temperature_c", ("temperature", "degC")),
        ("CO2 (ppm)", ("carbon_dioxide", "ppm")),
        ("Luftdruck hPa", ("pressure", "hPa")),
        ("Battery (V)", ("battery_voltage", "V")),
        ("Wall temperature °C", ("surface_temperature", "degC")),
        ("Dew point (°C)", None),
        ("Taupunkt", None),
        ("Temperature max", None),
        ("Location", None),
        ("", None),
    ],
)
def test_headings_are_understood(heading: str, found: tuple[str, str] | None) -> None:
    """Words above columns in the languages of their users; a dew point is not taken for a temperature."""
    assert quantity_of(heading) == found


def test_readings_reach_the_store_in_utc(bench: Bench) -> None:
    """06:00 on the clock in Dublin in July is 05:00 UTC."""
    account = bench.take("Date;Temp °C\n01.07.2026 06:00;11,8\n13.07.2026 06:00;12,4\n", zone="Europe/Dublin")
    assert bench.held("temperature") == [("2026-07-01T05:00:00Z", 11.8), ("2026-07-13T05:00:00Z", 12.4)]
    assert (account.rows, account.new, account.refused) == (2, 2, 0)


def test_degrees_fahrenheit_and_the_halves_of_the_day(bench: Bench) -> None:
    """53.6 degF at 12:30 AM is 12 degC at half past midnight."""
    bench.take("Date,Time,Temp (°F)\n3/14/2026,12:30:00 AM,53.6\n3/14/2026,1:30:00 PM,53.6\n")
    assert bench.held("temperature") == [
        ("2026-03-14T00:30:00Z", pytest.approx(12.0)),
        ("2026-03-14T13:30:00Z", pytest.approx(12.0)),
    ]


def test_importing_again_changes_nothing(bench: Bench) -> None:
    """The same file a second time: everything is there already."""
    bench.take(PLAIN)
    account = bench.take(PLAIN)
    assert (account.new, account.already, account.differing) == (0, 4, 0)


def test_rows_that_cannot_be_taken_are_told(bench: Bench) -> None:
    """Row, column and reason, as an editor counts rows; the good rows are taken and the bad ones kept as refused."""
    text = (
        PLAIN
        + "2026-13-41 06:20,11.8,86\n2026-03-01 06:30,warm,86\n\n2026-03-01 06:40,11.8,86,,,9\n2026-03-01 06:50,,86\n"
    )
    account = bench.take(text)
    assert account.refused_rows == [
        (4, "the time cannot be read"),
        (5, "Temperature (°C): 'warm' is not a number"),
        (7, "more than 3 fields"),
    ]
    assert account.empty == 1
    assert len(bench.held("humidity")) == 4
    assert len(bench.store.rejects()) == 3


def test_the_hour_that_comes_twice(bench: Bench) -> None:
    """On 26 October 2025 the clock in Dublin shows 01:30 twice; the order of rows tells which is which."""
    rows = "".join(f"2025-10-26 {h}:30,11.{n}\n" for n, h in enumerate(("00", "01", "01", "02")))
    bench.take("date,temperature\n" + rows, zone="Europe/Dublin")
    assert [at for at, _ in bench.held("temperature")] == [
        "2025-10-25T23:30:00Z",
        "2025-10-26T00:30:00Z",
        "2025-10-26T01:30:00Z",
        "2025-10-26T02:30:00Z",
    ]


def test_the_hour_that_does_not_exist(bench: Bench) -> None:
    """01:30 on 29 March 2026 is on no clock in Dublin: the row is refused with what to state."""
    account = bench.take("date,temperature\n2026-03-29 00:30,11\n2026-03-29 01:30,11\n", zone="Europe/Dublin")
    assert account.new == 1
    assert "--time-zone +01:00" in account.refused_rows[0][1]


def test_a_date_that_could_be_either_is_a_doubt(tmp_path: Path) -> None:
    """02/03/2026 alone may be in March or in February: it is said, and stating it ends the doubt."""
    path = written(tmp_path, "date,temperature\n02/03/2026 06:00,11.8\n02/03/2026 06:10,11.8\n")
    assert "--order day-first or --order month-first" in form_of(path).doubts[0]
    assert form_of(path, Stated(order="month-first")).doubts == ()


def test_days_that_move_on_tell_the_order(tmp_path: Path) -> None:
    """01/03, 02/03, 03/03: the first number moves with each day, so it is the day."""
    rows = "".join(f"0{day}/03/2026 06:00,11.8\n" for day in range(1, 8))
    assert form_of(written(tmp_path, "date,temperature\n" + rows)).order == "day-first"


def test_a_unit_guessed_from_values_is_a_doubt(tmp_path: Path) -> None:
    """A column called Temp around 53 is degF in a maturing room; it is asked about, not assumed."""
    form = form_of(written(tmp_path, "date,Temp\n2026-03-01 06:00,53.2\n2026-03-01 06:10,53.4\n"))
    assert form.columns[0].unit == "degF"
    assert "looks like degF" in form.doubts[0]


def test_impossible_values_are_kept_with_their_flag(bench: Bench) -> None:
    """180 % is kept as it came, with flag 4 and the reason, as if it had come over MQTT."""
    bench.take("date,humidity\n2026-03-01 06:00,180\n2026-03-01 06:10,86\n")
    frame = bench.store.read("rack-1", "humidity", 0, 2**52)
    assert frame["flag"].tolist() == [4, 2]
    assert "impossible" in frame["reason"].iloc[0]


def test_what_was_exported_can_be_imported(bench: Bench, tmp_path: Path) -> None:
    """The project's own export, with a sensor and a quantity in every row, comes back the same."""
    from monitor.store.exporting import export

    bench.take(PLAIN)
    with (tmp_path / "out.csv").open("w", newline="") as stream:
        export(bench.store, stream)
    (tmp_path / "second").mkdir()
    other = Bench(tmp_path / "second")
    other.take((tmp_path / "out.csv").read_text(), sensor=None)
    for quantity in ("temperature", "humidity"):
        assert other.held(quantity) == bench.held(quantity)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the file is empty"),
        ("hello\nworld\n", "no column of dates"),
        ("date,colour\n2026-03-01 06:00,1\n2026-03-01 06:10,2\n", "state it, for example: --column"),
        ("\x00\x01binary", "no text file"),
    ],
)
def test_what_is_no_logger_file_is_said(tmp_path: Path, text: str, said: str) -> None:
    """Empty, prose, unknown columns or binary: one line with what to do."""
    with pytest.raises(ReadingError, match=said):
        form_of(written(tmp_path, text))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_are_told_from_the_file(bench: Bench, encoding: str) -> None:
    """A degree sign in the heading survives every encoding that loggers use."""
    assert bench.take(PLAIN, encoding=encoding).new == 4


@given(st.binary(max_size=400))
def test_nothing_that_is_in_a_file_crashes(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    """Any bytes are either understood or refused in words."""
    path = tmp_path_factory.mktemp("any") / "any.csv"
    path.write_bytes(PLAIN.encode() + data)
    said = ""
    form: Form | None = None
    try:
        form = form_of(path)
    except ReadingError as error:
        said = str(error)
    assert form is not None or str(path) in said


def test_a_minute_year_is_taken_whole(bench: Bench) -> None:
    """A year of minutes crosses pieces of the file and of the store without a gap or a double."""
    count = 525_600
    times = np.datetime64("2025-01-01T00:00") + np.arange(count).astype("timedelta64[m]")
    lines = "\n".join(f"{t},{n % 900 / 100:.2f}" for n, t in enumerate(times))
    account = bench.take("time,temperature\n" + lines + "\n")
    assert (account.new, account.doubled, account.refused) == (count, 0, 0)
    assert bench.store.series()[0].count == count
