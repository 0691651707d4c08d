"""The commands ``next-to-grade``, ``what-if`` and ``sheet``."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from monitor.clock import now


@click.command("next-to-grade", epilog="Example: maturing-room next-to-grade site.toml --first 10")
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.option("--first", type=click.IntRange(min=1), default=20, show_default=True, help="How many.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def next_to_grade_command(site_file: Path, first: int, as_json: bool) -> None:
    """List the wheels that deserve attention now, with the reasons, and whether to look, weigh or iron."""
    from monitor.review.next_to_grade import next_to_grade_document
    from monitor.review.next_to_grade_air import reasons_from_air
    from monitor.site import load
    from monitor.store import open_store
    from monitor.wheels import open_ledger

    site, moment = load(site_file), now()
    store = open_store(site)
    try:
        with open_ledger(site) as ledger:
            further = reasons_from_air(site, store, ledger, moment)
            document = next_to_grade_document(site, ledger, moment, first, further)
    finally:
        store.close()
    if as_json:
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
        return
    for row in document["wheels"]:
        where = f"{row['room']}/{row['place']}" if row["room"] else "nowhere"
        reasons = "; ".join(reason["words"] for reason in row["reasons"])
        click.echo(f"{_printable(row['wheel'])}  {where}  {row['act']}: {reasons}")


@click.command(
    "what-if", epilog="Example: maturing-room what-if site.toml HF-0412-03 --temperature 10 --humidity 84"
)
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.argument("wheels", metavar="[WHEEL...]", nargs=-1)
@click.option("--make", help="All wheels of a make.")
@click.option("--room", help="All wheels in a room.")
@click.option("--days", type=int, default=182, show_default=True, help="How far to look ahead.")
@click.option("--temperature", type=float, help="Suppose this temperature [degC], with --humidity.")
@click.option("--humidity", type=float, help="Suppose this relative humidity [%], with --temperature.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def what_if_command(
    site_file: Path,
    wheels: tuple[str, ...],
    make: str | None,
    room: str | None,
    days: int,
    temperature: float | None,
    humidity: float | None,
    as_json: bool,
) -> None:
    """Look ahead: weight, rind and the day it is ready, if the climate goes on, follows the style, or is set."""
    from monitor.review.what_if import what_if

    if (temperature is None) != (humidity is None):
        raise click.UsageError("--temperature and --humidity go together")
    held = None if temperature is None or humidity is None else (temperature, humidity)
    with _opened(site_file, wheels, make, room) as (site, store, ledger, names):
        document = what_if(site, store, ledger, names, days=days, held=held)
    if as_json:
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
        return
    for scenario in document["scenarios"]:
        click.echo(scenario["words_of_it"])
    for left in document["left_out"]:
        click.echo(f"Left out: {_printable(left['wheel'])}: {left['why']}")
    click.echo("\n".join(["", *document["cautions"]]))


@click.command(epilog="Example: maturing-room sheet site.toml --make HF-0412 --to march.html --paper a4")
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.argument("wheels", metavar="[WHEEL...]", nargs=-1)
@click.option("--make", help="All wheels of a make.")
@click.option("--room", help="All wheels in a room.")
@click.option(
    "--to", "target", type=click.Path(path_type=Path), required=True, help="The HTML file to write."
)
@click.option("--paper", type=click.Choice(["a4", "letter"]), help="Paper size [default: the printer's].")
@click.option("--address", help="The pages' address, for a QR code to the wheel's review.")
def sheet(
    site_file: Path,
    wheels: tuple[str, ...],
    make: str | None,
    room: str | None,
    target: Path,
    paper: str | None,
    address: str | None,
) -> None:
    """Write reviews to print, a page a wheel, with room to write what the iron finds."""
    from monitor.review import review_wheel
    from monitor.review.sheet import review_sheet

    with _opened(site_file, wheels, make, room) as (site, store, ledger, names):
        documents = [review_wheel(site, store, ledger, name) for name in names]
        page = review_sheet(documents, site.site.zone, paper=paper, address=address)
    target.write_text(page, encoding="utf-8")
    click.echo(f"{target}: {len(documents)} page{'' if len(documents) == 1 else 's'}")


@contextmanager
def _opened(
    site_file: Path, wheels: tuple[str, ...], make: str | None, room: str | None
) -> Iterator[tuple[Any, Any, Any, list[str]]]:
    """The site, its store and ledger, and the wheels that a command names.

    Raises
    ------
    LedgerError
        No wheel is named, or none is there.
    """
    from monitor.errors import LedgerError
    from monitor.site import load
    from monitor.store import open_store
    from monitor.wheels import open_ledger
    from monitor.wheels.bulk import wheels_of

    site = load(site_file)
    with open_ledger(site) as ledger:
        names = [*wheels, *(wheels_of(ledger, make=make, room=room) if make or room else [])]
        if not names:
            raise LedgerError("no wheel: name wheels, a make or a room that has some")
        store = open_store(site)
        try:
            yield site, store, ledger, list(dict.fromkeys(names))
        finally:
            store.close()


def _printable(text: str) -> str:
    """Text of a person's made harmless for a terminal."""
    return "".join(c if c.isprintable() else " " for c in text[:300])


COMMANDS = [next_to_grade_command, what_if_command, sheet]
