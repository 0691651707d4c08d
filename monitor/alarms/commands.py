"""Commands about alarms: acknowledge, put aside, plan work, try settings on history, test a route."""

from __future__ import annotations

import getpass
import json
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

import click

from monitor.clock import DAY_MS, now_ms, rfc3339, to_ms
from monitor.errors import AlarmError

SITE = click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
PERSON = click.option("--as", "person", default=None, help="Who you are [default: the account's name].")
NOTE = click.option("--note", default="", help="What you found or did.")
AS_JSON = click.option(
    "--json", "as_json", is_flag=True, help="Print the JSON document (see monitor/docs/json.md)."
)
HOUR_MS = 3_600_000


@click.command(
    epilog="Example: maturing-room acknowledge site.toml 17 --as Nora --note 'humidifier refilled'"
)
@SITE
@click.argument("alarm", type=int)
@PERSON
@NOTE
def acknowledge(site_file: Path, alarm: int, person: str | None, note: str) -> None:
    """Say that you have seen an alarm; its number stands in `maturing-room alarms`."""
    with _opened(site_file) as alarms:
        done = alarms.acknowledge(alarm, person or getpass.getuser(), note)
    click.echo(f"Alarm {alarm} is {done.state}.")


@click.command(epilog="Example: maturing-room shelve site.toml 17 --hours 4 --note 'washing day'")
@SITE
@click.argument("alarm", type=int)
@click.option(
    "--hours",
    type=click.FloatRange(min=0.1, max=24 * 14),
    default=4.0,
    show_default=True,
    help="For how long.",
)
@PERSON
@NOTE
def shelve(site_file: Path, alarm: int, hours: float, person: str | None, note: str) -> None:
    """Put an alarm aside for some hours; it comes back by itself where it still holds."""
    from monitor.alarms.texts import local
    from monitor.site import load

    zone = load(site_file).site.zone
    with _opened(site_file) as alarms:
        done = alarms.shelve(alarm, person or getpass.getuser(), now_ms() + round(hours * HOUR_MS), note)
    click.echo(f"Alarm {alarm} is {done.state} until {local(rfc3339(done.until_ms), zone)}.")


@click.command(epilog="Example: maturing-room unshelve site.toml 17 --as Nora")
@SITE
@click.argument("alarm", type=int)
@PERSON
@NOTE
def unshelve(site_file: Path, alarm: int, person: str | None, note: str) -> None:
    """Bring a shelved alarm back before its time."""
    with _opened(site_file) as alarms:
        done = alarms.unshelve(alarm, person or getpass.getuser(), note)
    click.echo(f"Alarm {alarm} is {done.state}.")


@click.command(epilog="Example: maturing-room reset site.toml 17 --as Nora --note 'rinds looked at'")
@SITE
@click.argument("alarm", type=int)
@PERSON
@NOTE
def reset(site_file: Path, alarm: int, person: str | None, note: str) -> None:
    """Let a latched alarm end, once it is acknowledged and over."""
    with _opened(site_file) as alarms:
        done = alarms.reset(alarm, person or getpass.getuser(), note)
    click.echo(f"Alarm {alarm} is {done.state}.")


@click.command("plan-work", epilog="Example: maturing-room plan-work site.toml vault washing --hours 3")
@SITE
@click.argument("room")
@click.argument("kind", type=click.Choice(["washing", "loading", "defrost", "calibration"]))
@click.option("--hours", type=click.FloatRange(min=0.1, max=24 * 14), default=3.0, show_default=True)
@click.option("--from", "begin", default=None, help="When it begins, in the site's own time [default: now].")
@PERSON
@NOTE
def plan_work(
    site_file: Path, room: str, kind: str, hours: float, begin: str | None, person: str | None, note: str
) -> None:
    """Say that a room is worked in: its air makes no alarm until the end; what stands then does."""
    from monitor.alarms.texts import local
    from monitor.site import load

    site = load(site_file)
    from_ms = now_ms() if begin is None else _moment(site, begin)
    until_ms = from_ms + round(hours * HOUR_MS)
    with _opened(site_file) as alarms:
        number = alarms.plan_work(room, kind, until_ms, person or getpass.getuser(), note, from_ms)
    name = site.room_by_id[room].name
    click.echo(f"Work {number}: {kind} in {name} until {local(rfc3339(until_ms), site.site.zone)}.")


@click.command("end-work", epilog="Example: maturing-room end-work site.toml 3")
@SITE
@click.argument("work", type=int)
@PERSON
def end_work(site_file: Path, work: int, person: str | None) -> None:
    """Say that planned work is over before its planned end."""
    with _opened(site_file) as alarms:
        alarms.end_work(work, person or getpass.getuser())
    click.echo(f"Work {work} is over.")


@click.command("planned-work", epilog="Example: maturing-room planned-work site.toml")
@SITE
@AS_JSON
def planned_work(site_file: Path, as_json: bool) -> None:
    """Show planned work under way and of the next two weeks."""
    from monitor.alarms import planned_work_document
    from monitor.alarms.texts import planned_work_text
    from monitor.site import load

    site = load(site_file)
    with _opened(site_file) as alarms:
        _show(planned_work_document(site, alarms), as_json, partial(planned_work_text, zone=site.site.zone))


@click.command("alarm-statistics", epilog="Example: maturing-room alarm-statistics site.toml --days 90")
@SITE
@click.option("--days", type=click.FloatRange(min=1, max=3660), default=30.0, show_default=True)
@AS_JSON
def alarm_statistics(site_file: Path, days: float, as_json: bool) -> None:
    """Show how well the alarms do: how many, for how long, how soon answered, beside figures of others."""
    from monitor.alarms import statistics_document
    from monitor.alarms.texts import statistics_text
    from monitor.site import load

    site = load(site_file)
    with _opened(site_file) as alarms:
        _show(
            statistics_document(site, alarms, days=days),
            as_json,
            partial(statistics_text, zone=site.site.zone),
        )


@click.command(
    "try-alarms", epilog="Example: maturing-room try-alarms site.toml --from 2027-03-01 --with changed.toml"
)
@SITE
@click.option("--from", "begin", default=None, help="Date or time, in the site's own [default: 30 days ago].")
@click.option("--to", "end", default=None, help="Date or time, in the site's own [default: now].")
@click.option(
    "--with", "changed_file", type=click.Path(path_type=Path), default=None, help="A changed site file."
)
@AS_JSON
def try_alarms(
    site_file: Path, begin: str | None, end: str | None, changed_file: Path | None, as_json: bool
) -> None:
    """Show what would have alarmed in the past, by the settings as they are and as they might be.

    History goes through the same rules and alarms as live; nothing is sent and nothing kept.
    """
    from tqdm import tqdm

    from monitor.alarms.replay import replayed, side_by_side
    from monitor.alarms.texts import try_text
    from monitor.site import load
    from monitor.store import open_store
    from monitor.wheels import open_ledger

    site = load(site_file)
    changed = load(changed_file).at(site.path) if changed_file else None
    until_ms = now_ms() if end is None else _moment(site, end)
    from_ms = until_ms - 30 * DAY_MS if begin is None else _moment(site, begin)
    from_ms, until_ms = (value - value % 600_000 for value in (from_ms, until_ms))
    if until_ms <= from_ms:
        raise AlarmError(
            "the span ends before it begins; give --from and --to the other way round"
            if end is not None
            else f"--from {begin} has not come yet; give a moment in the past"
        )
    store = open_store(site)
    results: list[Any] = [None, None]
    for number, tried in enumerate((site, changed)):
        if tried is not None:
            ledger = open_ledger(tried)
            label = "as changed" if number else "as it is"
            results[number] = replayed(
                tried, store, ledger, from_ms, until_ms,
                progress=lambda slots, label=label: tqdm(slots, label, unit="slot", disable=None),  # type: ignore[misc]
            )  # fmt: skip
            ledger.close()
    store.close()
    _show(side_by_side(site, results[0], results[1]), as_json, partial(try_text, zone=site.site.zone))


@click.command("test-message", epilog="Example: maturing-room test-message site.toml phone")
@SITE
@click.argument("route")
@AS_JSON
def test_message(site_file: Path, route: str, as_json: bool) -> None:
    """Send a message to everyone on a route, and say whether each was reached.

    The route's addresses come from the environment, as when the monitor runs. The message says that it is a test;
    nothing of it is kept. Exit status 1 where anybody was not reached.
    """
    from monitor.alarms.testing_routes import send_test, tested_document
    from monitor.site import load

    outcomes = []
    for outcome in send_test(load(site_file), route):
        outcomes.append(outcome)
        if not as_json:
            click.echo(str(outcome))
    if as_json:
        click.echo(json.dumps(tested_document(route, outcomes), indent=2))
    if failed := sum(not outcome.taken for outcome in outcomes):
        raise AlarmError(f"route {route}: {failed} not reached; see the reason above")


def _opened(site_file: Path) -> Any:
    import contextlib

    from monitor.alarms import open_alarms
    from monitor.site import load

    return contextlib.closing(open_alarms(load(site_file)))


def _moment(site: Any, text: str) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise AlarmError(
            f"{text!r} is no date or time; write for example 2027-03-01 or 2027-03-01T06:00"
        ) from None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=site.site.zone)
    return to_ms(moment.astimezone(UTC))


def _show(document: Any, as_json: bool, as_text: Any) -> None:
    click.echo(json.dumps(document, indent=1, ensure_ascii=False) if as_json else as_text(document))


COMMANDS = [
    acknowledge,
    shelve,
    unshelve,
    reset,
    plan_work,
    end_work,
    planned_work,
    alarm_statistics,
    try_alarms,
    test_message,
]
