"""The review of one wheel: what it has been through, and what to check before the iron goes in."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from monitor.clock import now, rfc3339, to_ms
from monitor.errors import LedgerError
from monitor.review.advice import keep_the_iron_from, look_at, statement
from monitor.review.air_part import air_part, lived, place_name
from monitor.review.books import dose_book_of
from monitor.review.doses_part import doses_part, equivalent_age
from monitor.review.expectations import Ground, expectations, no_ground
from monitor.review.rind_part import Rind, rind_of, rind_part, weight_part
from monitor.site import Site
from monitor.store.protocol import Store
from monitor.wheels import Entry, Ledger, Wheel
from monitor.wheels.life import Life, life_of

VERSION = 1
CAUTIONS = (
    "Expectations are no judgement of safety: local food-safety rules and licensed practice decide, raw milk above all.",
    "Doses come from the air where the wheel lay; a wheel behind others may have felt something else.",
)


def review_wheel(
    site: Site,
    store: Store,
    ledger: Ledger,
    name: str,
    at: datetime | None = None,
    *,
    ground: Ground = no_ground,
) -> dict[str, Any]:
    """The ``review`` document of a wheel (see ``monitor/docs/json.md``).

    What it costs goes by the wheel's moves, not by how long it has lived: doses are differences of running sums, and
    the rind comes from the twin that the service carries on.

    Parameters
    ----------
    at : the moment to review at, the present where left out; the rind is only told of the present
    ground : what the dairy's own findings say of a wheel's prospects

    Raises
    ------
    UnknownWheel
        No wheel of that name is in the ledger.
    LedgerError
        Its style is no longer in the site file.
    """
    moment = at or now()
    wheel = ledger.wheel(name, moment)
    if wheel.style not in site.style_by_id:
        raise LedgerError(
            f"wheel {name!r} is of style {wheel.style!r}, which is not in the site file; add it there"
        )
    entries = [e for e in ledger.history(name) if e.at_ms <= to_ms(moment)]
    life = life_of(name, entries)
    assert life is not None  # a wheel that stands has a make
    end_ms = to_ms(wheel.gone_at or moment)
    rind = rind_of(site, store, life)
    if rind is not None and rind.kept.at_ms > to_ms(moment):
        rind = None
    document = _facts(site, store, wheel, life, entries, moment, end_ms, rind)
    return {
        **document,
        "expect": expectations(document, ground),
        "statement": statement(document, entries),
        "look_at": look_at(document, entries),
        "keep_the_iron_from": keep_the_iron_from(entries),
        "ledger": [e.document() for e in entries],
        "cautions": list(CAUTIONS),
    }


def _facts(
    site: Site,
    store: Store,
    wheel: Wheel,
    life: Life,
    entries: list[Entry],
    moment: datetime,
    end_ms: int,
    rind: Rind | None,
) -> dict[str, Any]:
    style, book = site.style_by_id[wheel.style], dose_book_of(site, store)
    through = lived(book, style, life.made_ms, life.stays_until(end_ms))
    about = _wheel(site, wheel, moment)
    return {
        "version": VERSION,
        "at": rfc3339(moment),
        "wheel": about | {"equivalent_age_days": equivalent_age(through, about["age_days"])},
        "where": _where(site, wheel),
        "air": air_part(site, book, through),
        "doses": doses_part(book, through, end_ms, life.last_brushed(end_ms)),
        "rind": rind_part(rind, end_ms),
        "weight": weight_part(life, _weighings(entries), rind),
        "holes": wheel.holes,
    }


def _weighings(entries: list[Entry]) -> list[dict[str, Any]]:
    return [
        {"at": rfc3339(e.at_ms), "mass_kg": e.details["mass_kg"], "sigma_kg": e.details.get("sigma_kg")}
        for e in entries
        if e.kind == "weighing" and e.effective
    ]


def _wheel(site: Site, wheel: Wheel, moment: datetime) -> dict[str, Any]:
    style = site.style_by_id[wheel.style]
    age = wheel.age_days(wheel.gone_at or moment)
    return {
        "name": wheel.name,
        "make": wheel.make,
        "style": wheel.style,
        "style_name": style.name,
        "rind": style.rind,
        "made_at": rfc3339(wheel.made_at),
        "age_days": round(age, 2),
        "stage": style.stage_at(age).name,
        "grading_from_day": style.grading_from_day,
        "mass_at_make_kg": wheel.mass_at_make_kg,
        "raw_milk": wheel.raw_milk,
        "decision": wheel.decision,
        "look_again_on": wheel.look_again_on,
        "gone": {"at": rfc3339(wheel.gone_at), "why": wheel.gone_why} if wheel.gone_at else None,
    }


def _where(site: Site, wheel: Wheel) -> dict[str, Any] | None:
    if wheel.room is None or wheel.gone_at is not None:
        return None
    room = site.room_by_id.get(wheel.room)
    return {
        "room": wheel.room,
        "room_name": room.name if room else wheel.room,
        "place": wheel.place,
        "place_name": place_name(site, wheel.room, wheel.place or ""),
        "since_at": rfc3339(wheel.since),
    }
