"""Commands about wheels: ``wheels``, ``enter``, ``undo``, ``import-ledger``, ``export-ledger`` and ``labels``."""

from __future__ import annotations

import getpass
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from monitor.clock import parse_rfc3339, rfc3339
from monitor.errors import LedgerError

SITE = click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
PERSON = click.option("--as", "person", default=None, help="Who you are [default: the account's name].")
SURE = click.option("--sure", is_flag=True, help="Let a surprising weighing pass.")


class _Moment(click.ParamType):
    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, context: click.Context | None) -> datetime:
        try:
            return parse_rfc3339(value)
        except ValueError as error:
            self.fail(str(error), param, context)


@click.command(epilog="Example: maturing-room wheels site.toml --room vault")
@SITE
@click.option("--room", help="Only wheels in this room.")
@click.option("--style", help="Only wheels of this style.")
@click.option("--gone", is_flag=True, help="Those sold or lost too.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def wheels(site_file: Path, room: str | None, style: str | None, gone: bool, as_json: bool) -> None:
    """List the wheels, where each is, and what was decided of it last."""
    with _ledger(site_file) as ledger:
        found = ledger.wheels(style, room, gone=gone)
    if as_json:
        rows = [
            {
                "name": w.name,
                "make": w.make,
                "style": w.style,
                "made_at": rfc3339(w.made_at),
                "room": w.room,
                "place": w.place,
                "shelf": w.shelf,
                "holes": w.holes,
                "decision": w.decision,
                "look_again_on": w.look_again_on,
                "gone_at": rfc3339(w.gone_at),
            }
            for w in found
        ]
        click.echo(json.dumps({"version": 1, "wheels": rows}, indent=1, ensure_ascii=False))
        return
    for w in found:
        where = f"{w.room}/{w.place}" if w.room else (f"gone: {w.gone_why}" if w.gone_at else "nowhere yet")
        click.echo(f"{w.name}  {w.style}  {where}  {w.holes} holes  {w.decision or 'not graded'}")


@click.command(
    epilog="Example: maturing-room enter site.toml ironing HF-01 --say where='top face' --say sealed=yes --as Nora"
)
@SITE
@click.argument("kind")
@click.argument("names", metavar="WHEEL...", nargs=-1, required=True)
@click.option("--say", "said", multiple=True, metavar="COLUMN=VALUE", help="What it says (docs/wheels.md).")
@click.option("--at", type=_Moment(), help="When, RFC 3339 with its offset [default: now].")
@PERSON
@SURE
def enter(
    site_file: Path,
    kind: str,
    names: tuple[str, ...],
    said: tuple[str, ...],
    at: datetime | None,
    person: str | None,
    sure: bool,
) -> None:
    """Enter one thing about one wheel or several: a move, weighing, inspection, ironing, grading..."""
    from monitor.wheels.csv_files import details_of

    cells = dict(part.partition("=")[::2] for part in said)
    with _ledger(site_file) as ledger:
        ids = ledger.enter(kind, names, at, person or getpass.getuser(), details_of(cells), sure=sure)
    click.echo(f"Entered {' '.join(map(str, ids))}; take back with: maturing-room undo {site_file} {ids[0]}")


@click.command(epilog="Example: maturing-room undo site.toml 412 413 --note 'wrong wheel' --as Nora")
@SITE
@click.argument("entries", type=int, nargs=-1, required=True)
@click.option("--note", default="", help="Why.")
@PERSON
def undo(site_file: Path, entries: tuple[int, ...], note: str, person: str | None) -> None:
    """Take entries back; they stay in the ledger, marked."""
    with _ledger(site_file) as ledger:
        ledger.undo(entries, author=person or getpass.getuser(), note=note)
    click.echo(f"Taken back: {' '.join(map(str, entries))}")


@click.command("import-ledger", epilog="Example: maturing-room import-ledger site.toml march.csv")
@SITE
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--check", "only_check", is_flag=True, help="Say what is wrong; write nothing.")
@SURE
@click.pass_context
def import_ledger(context: click.Context, site_file: Path, file: Path, only_check: bool, sure: bool) -> None:
    """Read entries from a CSV file: all of them, or none and every fault by row and column."""
    from monitor.wheels.csv_files import read_rows

    with _ledger(site_file) as ledger:
        try:
            rows = read_rows(file)
            count = ledger.check_rows(rows, sure=sure) if only_check else len(ledger.load(rows, sure=sure))
        except LedgerError as error:
            for fault in getattr(error, "faults", None) or [error]:
                click.echo(f"{file}: {getattr(fault, 'message', fault)}", err=True)
            click.echo("maturing-room: nothing was written; mend the file and try again", err=True)
            context.exit(1)
    click.echo(f"{file}: {count} entries {'are fine' if only_check else 'entered'}")


@click.command("export-ledger", epilog="Example: maturing-room export-ledger site.toml --to ledger.csv")
@SITE
@click.option("--to", "target", type=click.Path(path_type=Path), help="File [default: standard output].")
def export_ledger(site_file: Path, target: Path | None) -> None:
    """Write every entry that stands as CSV, fit to be imported again."""
    with _ledger(site_file) as ledger:
        text = ledger.as_csv()
    if target is None:
        click.echo(text, nl=False)
    else:
        target.write_text(text, encoding="utf-8", newline="")


@click.command(
    epilog="Example: maturing-room labels site.toml HF-01 HF-02 --address http://127.0.0.1:8501 --to labels.html"
)
@SITE
@click.argument("names", metavar="[WHEEL...]", nargs=-1)
@click.option("--address", default="http://127.0.0.1:8501", show_default=True, help="Where the pages are.")
@click.option("--to", "target", type=click.Path(path_type=Path), required=True, help="HTML file to print.")
def labels(site_file: Path, names: tuple[str, ...], address: str, target: Path) -> None:
    """Write labels to print, each with a QR code that opens the wheel's review (all wheels by default)."""
    from monitor.wheels.labels import label_sheet

    with _ledger(site_file) as ledger:
        chosen = [ledger.wheel(name) for name in names] or ledger.wheels()
        styles = {style.id: style.name for style in ledger.site.styles}
    target.write_text(label_sheet(chosen, styles, address), encoding="utf-8")
    click.echo(f"{target}: {len(chosen)} labels")


def _ledger(site_file: Path) -> Any:
    from monitor.site import load
    from monitor.wheels import open_ledger

    return open_ledger(load(site_file))


COMMANDS = [wheels, enter, undo, import_ledger, export_ledger, labels]
