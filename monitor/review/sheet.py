"""A review on one page to print, A4 or Letter: what it has been through, where to look, and room to write.

The page is HTML with print styles, without scripts or outside parts; what people wrote is text, never markup.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from html import escape
from typing import Any
from zoneinfo import ZoneInfo

import segno

from monitor.review.expectations import COMMON
from monitor.review.sheet_drawings import air_strips, profile_drawing, weight_drawing, wheel_outline
from monitor.wheels.labels import review_link

MOST_LINES, MOST_SPOTS, LONGEST_LINE, LONGEST_NAME = 8, 4, 170, 60
PAPERS = {"a4": "A4", "letter": "letter"}
STYLE = """
@page { margin: 11mm 12mm }
* { box-sizing: border-box }
body { font: 8.6pt/1.25 sans-serif; color: #000; margin: 0 }
.sheet { break-after: page; break-inside: avoid; max-width: 186mm; height: 252mm; overflow: hidden; margin: 0 auto;
 display: flex; flex-direction: column } .lists { flex: 0 1 auto; min-height: 0; overflow: hidden } .foot { margin-top: auto }
.sheet:last-child { break-after: auto }
h1 { font-size: 19pt; margin: 0; overflow-wrap: anywhere; line-height: 1.1 } h2 { font-size: 9.4pt; margin: 2mm 0 .7mm }
p, ul, table { margin: 0 0 1mm } ul { padding-left: 4mm } li, p, td { overflow-wrap: anywhere }
header { display: flex; justify-content: space-between; gap: 6mm; border-bottom: .5mm solid #000; padding-bottom: 1.5mm }
header svg { width: 21mm; height: 21mm; flex: none }
.two { display: grid; grid-template-columns: 1fr 1fr; gap: 0 7mm }
table { border-collapse: collapse; width: 100% } td, th { text-align: left; padding: .3mm 1.5mm .3mm 0; vertical-align: top;
 border-bottom: .15mm solid #999; font-weight: normal } td.n { text-align: right; white-space: nowrap }
svg { display: block; max-width: 100% } svg text { font: 2.6px sans-serif; fill: #000 }
.write { margin-bottom: 1.5mm; display: grid; grid-template-columns: repeat(3, auto 1fr); gap: 1.6mm 2mm; align-items: end }
.write i { border-bottom: .2mm solid #000; height: 5.2mm } .quiet { color: #444; font-size: 7.6pt }
@media screen { body { background: #ddd } .sheet { background: #fff; padding: 8mm; max-width: 205mm; height: auto; margin: 6mm auto } }
"""
TO_WRITE = (
    "Back of the iron", "Body", "Texture", "Colour", "Crystals", "Aroma", "Flavour", "Plug sealed",
    "Decision", "Look again on", "By whom", "On",
)  # fmt: skip


def review_sheet(
    documents: Sequence[dict[str, Any]],
    zone: ZoneInfo,
    *,
    paper: str | None = None,
    address: str | None = None,
) -> str:
    """Pages to print [HTML], one a wheel.

    Parameters
    ----------
    documents : ``review`` documents
    zone : in which dates are told
    paper : one of `PAPERS`; the printer's own where left out
    address : of the dashboard's pages, for a QR code that opens the wheel there

    Raises
    ------
    LedgerError : an address that is none.
    """
    size = f"@page {{ size: {PAPERS[paper]} }}\n" if paper else ""
    pages = "\n".join(_page(document, zone, address) for document in documents)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        f"<title>Reviews</title><style>{size}{STYLE}</style></head><body>\n{pages}\n</body></html>\n"
    )


def _page(document: dict[str, Any], zone: ZoneInfo, address: str | None) -> str:
    weight, rind = document["weight"], document["rind"]
    return f"""<section class="sheet">
{_head(document, zone, address)}
<div class="two lists"><div><h2>What it has been through</h2>{_lines(document["statement"][1:])}</div>
<div><h2>Against the style's own climate</h2>{_doses(document["doses"])}{_mass(weight)}</div></div>
<h2>Its air: temperature [°C] and relative humidity [%], with the band of its style</h2>{air_strips(document["air"]["course"])}
<div class="two"><div><h2>Weight [kg], 90 % interval, and weighings</h2>{weight_drawing(weight)}</div>
<div><h2>Water activity by depth [mm] below the rind</h2>{profile_drawing(rind["profile"] if rind else [])}</div></div>
<div class="two lists"><div><h2>Expect</h2>{_expect(document["expect"])}<h2>Look at</h2>{_spots(document["look_at"])}</div>
<div><h2>Keep the iron from</h2>{_spots(document["keep_the_iron_from"])}<h2>Mark the hole and what you see</h2>{wheel_outline()}</div></div>
<div class="foot"><h2>Found</h2><div class="write">{"".join(f"<span>{what}</span><i></i>" for what in TO_WRITE)}</div>
<p class="quiet">{" ".join(_text(c, 200) for c in document["cautions"])} * common practice, no source. As of {_day(document["at"], zone)}.</p></div>
</section>"""


def _head(document: dict[str, Any], zone: ZoneInfo, address: str | None) -> str:
    wheel, where = document["wheel"], document["where"]
    ripe = wheel["equivalent_age_days"]
    ripe_words = f", as ripe by warmth as {ripe['value']:.0f}" if ripe else ""
    place = f"{_name(where['room_name'])}, {_name(where['place_name'])}" if where else "in no room"
    if wheel["gone"]:
        place = f"gone {_day(wheel['gone']['at'], zone)}"
    raw = "; raw milk" if wheel["raw_milk"] else ""
    holes = document["holes"]
    decision = f"; last decision: {_name(wheel['decision'])}" if wheel["decision"] else ""
    code = (
        segno.make(review_link(address, wheel["name"]), micro=False).svg_inline(border=0, omitsize=True)
        if address
        else ""
    )
    return f"""<header><div><h1>{_name(wheel["name"])}</h1>
<p><b>{_name(wheel["style_name"])}</b>, make {_name(wheel["make"])} of {_day(wheel["made_at"], zone)}{raw}</p>
<p>{wheel["age_days"]:.0f} days old{ripe_words}; stage {_name(wheel["stage"])}; {place}; {holes} hole{"" if holes == 1 else "s"} so far{decision}</p>
</div>{code}</header>"""


def _lines(lines: Sequence[str]) -> str:
    shown = "".join(f"<li>{_text(line)}</li>" for line in lines[:MOST_LINES])
    return f"<ul>{shown}{_more(len(lines) - MOST_LINES)}</ul>"


def _doses(doses: Sequence[dict[str, Any]]) -> str:
    return f"<table>{''.join(_dose(dose) for dose in doses)}</table>"


def _dose(dose: dict[str, Any]) -> str:
    pace, value = dose["pace"], dose["value"]
    if pace is not None:
        shown = f"{pace['value']:.2f} times ({pace['low']:.2f}–{pace['high']:.2f})"
    elif value is None:
        shown = "not known"
    else:
        reference = f", intended {dose['reference']:g}" if dose["name"] == "warmth" else ""
        unit = {"warmth": "°C", "wetness": "h"}.get(dose["name"], "")
        shown = f"{value:g} {unit}{reference}"
    return f'<tr><td>{_name(dose["name"])}</td><td class="n">{shown}</td></tr>'


def _mass(weight: dict[str, Any]) -> str:
    now = weight["now"]
    if now is None:
        return '<p class="quiet">Its rind is not carried on yet: weight and rind are not known.</p>'
    return f"<p>Weighs by its twin <b>{now['value']:.2f} kg</b> ({now['low']:.2f}–{now['high']:.2f}): {_text(weight['note'] or '')}</p>"


def _expect(items: Sequence[dict[str, Any]]) -> str:
    if not items:
        return "<p>Nothing out of the ordinary.</p>"
    rows = []
    for item in items[:MOST_SPOTS]:
        p = item["probability"]
        chance = f" <b>{100 * p['value']:.0f} %</b> ({100 * p['low']:.0f}–{100 * p['high']:.0f})" if p else ""
        common = item["ground"] == COMMON
        ground = " *" if common else f' <span class="quiet">{_text(item["ground"], 90)}</span>'
        rows.append(f"<li>{_text(item['words'])}{chance}{ground}</li>")
    return f"<ul>{''.join(rows)}{_more(len(items) - MOST_SPOTS)}</ul>"


def _spots(spots: Sequence[dict[str, str]]) -> str:
    if not spots:
        return "<p>Nothing in particular.</p>"
    rows = "".join(
        f"<li><b>{_text(s['where'], 80)}</b>: {_starred(s['why'])}</li>" for s in spots[:MOST_SPOTS]
    )
    return f"<ul>{rows}{_more(len(spots) - MOST_SPOTS)}</ul>"


def _starred(why: str) -> str:
    plain = why.removesuffix(f" ({COMMON})")
    return _text(plain, 90) + ("" if plain == why else " *")


def _more(count: int) -> str:
    return f"<li>and {count} more on the wheel's page</li>" if count > 0 else ""


def _name(text: object) -> str:
    return _text(text, LONGEST_NAME)


def _text(text: object, most: int = LONGEST_LINE) -> str:
    """What people wrote, shortened, without control characters, and escaped."""
    shown = "".join(c if c.isprintable() else " " for c in str(text))
    return escape(shown if len(shown) <= most else shown[: most - 1] + "…")


def _day(at: str, zone: ZoneInfo) -> str:
    return f"{datetime.fromisoformat(at).astimezone(zone):%d %B %Y}"
