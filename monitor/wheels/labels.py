"""Labels to print for wheels, each with a QR code that opens the wheel's review.

The sheet is one HTML page without scripts or outside parts; names are text, never markup.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from urllib.parse import quote, urlsplit

import segno

from monitor.errors import LedgerError
from monitor.wheels.lines import Wheel

LONGEST_SHOWN = 60
STYLE = """
@page { margin: 10mm } body { font-family: sans-serif; margin: 0 }
.label { display: inline-flex; gap: 4mm; width: 86mm; height: 34mm; margin: 1mm; padding: 2mm;
 border: 0.3mm solid #999; box-sizing: border-box; break-inside: avoid; overflow: hidden; vertical-align: top }
.label svg { width: 29mm; height: 29mm; flex: none } .label b { font-size: 14pt; overflow-wrap: anywhere }
.label p { margin: 0 0 1mm; font-size: 9pt; overflow-wrap: anywhere }
"""


def review_link(address: str, wheel: str) -> str:
    """The address of a wheel's review page.

    Raises
    ------
    LedgerError
        ``address`` is no http or https address.
    """
    parts = urlsplit(address)
    if parts.scheme not in ("http", "https") or not parts.netloc:
        raise LedgerError(
            f"{address[:80]!r} is no address of the pages; write for example http://127.0.0.1:8501"
        )
    return f"{address.rstrip('/')}/wheel?wheel={quote(wheel, safe='')}"


def label_sheet(wheels: Iterable[Wheel], style_names: Mapping[str, str], address: str) -> str:
    """A page of labels [HTML], one a wheel."""
    labels = "\n".join(_label(wheel, style_names.get(wheel.style, wheel.style), address) for wheel in wheels)
    return (
        '<!doctype html>\n<html lang="en"><meta charset="utf-8"><title>Labels</title>'
        f"<style>{STYLE}</style>\n{labels}\n</html>\n"
    )


def _label(wheel: Wheel, style: str, address: str) -> str:
    try:
        code = segno.make(review_link(address, wheel.name), error="m", micro=False)
    except segno.DataOverflowError:
        raise LedgerError(f"{wheel.name[:40]!r}: its name is too long for a QR code") from None
    drawing = code.svg_inline(border=2, omitsize=True)
    raw = "<p>raw milk</p>" if wheel.raw_milk else ""
    return (
        f'<div class="label">{drawing}<div><p><b>{escape(_short(wheel.name))}</b></p>'
        f"<p>{escape(_short(style))}</p><p>make {escape(_short(wheel.make))}, {wheel.made_at:%d %B %Y}</p>{raw}</div></div>"
    )


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…"
