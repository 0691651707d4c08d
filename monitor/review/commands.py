"""The command ``next-to-grade``."""

from __future__ import annotations

import json
from pathlib import Path

import click

from monitor.clock import now, rfc3339


@click.command("next-to-grade", epilog="Example: maturing-room next-to-grade site.toml --first 10")
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.option("--first", type=click.IntRange(min=1), default=20, show_default=True, help="How many.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def next_to_grade_command(site_file: Path, first: int, as_json: bool) -> None:
    """List the wheels that deserve attention now, with the reasons, and whether to look, weigh or iron."""
    from monitor.review.next_to_grade import next_to_grade
    from monitor.site import load
    from monitor.wheels import open_ledger

    site, moment = load(site_file), now()
    with open_ledger(site) as ledger:
        ranked = next_to_grade(site, ledger, moment)[:first]
    if as_json:
        rows = [
            {
                "wheel": r.wheel.name,
                "style": r.wheel.style,
                "room": r.wheel.room,
                "place": r.wheel.place,
                "score": round(r.score, 2),
                "act": r.act,
                "reasons": [{"key": reason.key, "words": reason.words} for reason in r.reasons],
            }
            for r in ranked
        ]
        document = {"version": 1, "at": rfc3339(moment), "wheels": rows}
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
        return
    for r in ranked:
        where = f"{r.wheel.room}/{r.wheel.place}" if r.wheel.room else "nowhere"
        click.echo(f"{r.wheel.name}  {where}  {r.act}: {'; '.join(reason.words for reason in r.reasons)}")


COMMANDS = [next_to_grade_command]
