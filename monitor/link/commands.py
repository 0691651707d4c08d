"""The command ``evidence``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from monitor.clock import now


@click.command("evidence", epilog="Example: maturing-room evidence site.toml")
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def evidence_command(site_file: Path, as_json: bool) -> None:
    """Say what your own wheels show of air and rind, style by style, with intervals, and what they do not show yet."""
    from monitor.link.document import evidence_document
    from monitor.link.kept import studied
    from monitor.site import load
    from monitor.store import open_store
    from monitor.wheels import open_ledger

    site = load(site_file)
    store = open_store(site)
    try:
        with open_ledger(site) as ledger:
            document = evidence_document(site, studied(site, store, ledger, now()))
    finally:
        store.close()
    if as_json:
        click.echo(json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False))
        return
    for line in _lines(document):
        click.echo(line)


def _lines(document: dict[str, Any]) -> list[str]:
    lines = []
    for style in document["styles"]:
        lines.append(f"{style['style_name']}: {style['wheels']} wheels")
        lines += [f"  {answer['sentence']}" for answer in style["answers"]]
        for fault in style["faults"]:
            told = f"  {fault['fault_name']}: found on {fault['found']} of {fault['followed']} wheels of {fault['makes']} makes"
            skill = fault["skill"]
            if skill is None:
                lines.append(f"{told}; not enough wheels yet for chances: {fault['needs']}")
                continue
            auc = skill["auc"]
            lines.append(
                f"{told}; on makes left out the air sorts them at {auc['value']:.2f} ({auc['low']:.2f} to {auc['high']:.2f}; "
                f"0.5 sorts nothing), expected {skill['expected']:.0f}, found {skill['found']}: {fault['state']}"
            )
    return [*lines, *document["cautions"]]


COMMANDS = [evidence_command]
