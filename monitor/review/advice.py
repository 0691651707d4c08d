"""What to check on a wheel, in plain sentences, from its doses and its ledger."""

from __future__ import annotations

from typing import Any

from monitor.wheels import Entry

FAST, SLOW = 1.25, 0.75
OTHER_AGE = 0.05
"""An equivalent age that differs from the age by less than this share is not told apart [-]."""
MANY_DOUBLINGS = 13.0
"""Doublings of mites that may show, a growth ten-thousandfold (assumed, as in `monitor.twins.house`)."""
FAULTS = {
    "cracks": "cracks",
    "blue_surface": "blue at the surface",
    "blue_under_cloth": "blue under the cloth",
    "blue_at_plug": "blue at a plug",
    "mites": "mites",
    "slip": "slip",
    "soft_spots": "soft or wet spots",
    "weeping": "weeping",
    "bulging": "bulging",
    "moulds": "other moulds",
}


def statement(document: dict[str, Any], entries: list[Entry]) -> list[str]:
    """What the wheel has been through and what to check, in order of weight."""
    wheel = document["wheel"]
    sentences = [
        f"{wheel['age_days']:.0f} days old, in the stage {wheel['stage']!r} of {wheel['style_name']}."
    ]
    sentences += _of_age(wheel)
    sentences += [s for dose in document["doses"] for s in _of_dose(dose)]
    sentences += document["rind"]["words"] if document["rind"] else []
    sentences += _of_bands(document["air"]["spans"])
    sentences += _of_coverage(document["air"]["coverage"])
    sentences += _of_seen(entries)
    holes = document["holes"]
    if holes:
        sentences.append(f"{holes} hole{'s' if holes > 1 else ''} so far; another costs what it shows.")
    return sentences


def _of_age(wheel: dict[str, Any]) -> list[str]:
    equivalent = wheel["equivalent_age_days"]
    if equivalent is None or abs(equivalent["value"] - wheel["age_days"]) < OTHER_AGE * wheel["age_days"]:
        return []
    return [
        f"By its warmth as ripe as {equivalent['value']:.0f} days of the intended climate "
        f"(between {equivalent['low']:.0f} and {equivalent['high']:.0f})."
    ]


def _of_dose(dose: dict[str, Any]) -> list[str]:
    pace = dose["pace"]
    if dose["name"] == "mites":
        many = dose["value"] is not None and dose["value"] >= MANY_DOUBLINGS
        return [f"{dose['words'].capitalize()}: look for mites, and brush."] if many else []
    if dose["name"] == "wetness":
        return (
            [f"{dose['words'].capitalize()}: look for slip and wet spots."]
            if (dose["value"] or 0) >= 1
            else []
        )
    if dose["name"] == "warmth":
        return [f"It {dose['words']}."] if dose["value"] is not None else []
    if pace is None:
        return []
    sentence = f"{dose['words'].capitalize()} (between {pace['low']:.1f} and {pace['high']:.1f})"
    if dose["name"] == "drying" and pace["value"] > FAST:
        return [
            f"{sentence}: look for cracks, and expect it lighter and firmer at the rind than its age says."
        ]
    if dose["name"] == "drying" and pace["value"] < SLOW:
        return [f"{sentence}: expect a soft, heavy rind; look for slip and wet spots."]
    if dose["name"] == "mould" and pace["value"] > FAST:
        return [f"{sentence}: look for unwanted mould, and for blue wherever air gets in."]
    return [f"{sentence}."]


def _of_bands(spans: list[dict[str, Any]]) -> list[str]:
    said = []
    for word, key in (
        ("dry", "days_too_dry"),
        ("damp", "days_too_damp"),
        ("warm", "days_too_warm"),
        ("cold", "days_too_cold"),
    ):
        days = sum(span[key] for span in spans)
        if days >= 1:
            worst = max(spans, key=lambda span: span[key])
            said.append(f"{days:.0f} days too {word} for its stage, most of them in {worst['room_name']}.")
    return said


def _of_coverage(coverage: float | None) -> list[str]:
    if coverage is None:
        return ["It was never put in a place, so what its air was is not known."]
    if coverage < 0.9:
        return [f"Its air is known for {100 * coverage:.0f} % of its days; the rest is not in these figures."]
    return []


def _of_seen(entries: list[Entry]) -> list[str]:
    seen = [e for e in entries if e.kind == "inspection" and e.effective]
    if not seen:
        return ["Its rind has not been looked at yet: look before you iron."]
    last = seen[-1]
    faults = [
        f"{words} {last.details[name]} of 4" for name, words in FAULTS.items() if last.details.get(name)
    ]
    told = ", ".join(faults) if faults else "nothing wrong"
    return [f"Last looked at on {last.at:%d %B %Y}: {told}."]


def look_at(document: dict[str, Any], entries: list[Entry]) -> list[dict[str, str]]:
    """Where to look first, and why."""
    paces = {dose["name"]: dose["pace"]["value"] for dose in document["doses"] if dose["pace"]}
    spots = []
    if paces.get("drying", 1.0) > FAST:
        spots.append({"where": "edges and faces, for cracks", "why": "it dried faster than intended"})
    if paces.get("drying", 1.0) < SLOW:
        spots.append(
            {"where": "the face it lies on, for slip and wet spots", "why": "it dried slower than intended"}
        )
    if paces.get("mould", 1.0) > FAST:
        spots.append(
            {
                "where": "under the cloth's overlaps and along any crack",
                "why": "the air favoured unwanted mould",
            }
        )
    spots += _of_the_rind(document["rind"])
    for entry in _effective(entries, "ironing"):
        if entry.details.get("sealed") is False:
            where = entry.details.get("where") or "the old plug"
            spots.append(
                {
                    "where": f"the plug at {where}",
                    "why": "it was not sealed; air gets in (common practice, no source)",
                }
            )
    return spots


def _of_the_rind(rind: dict[str, Any] | None) -> list[dict[str, str]]:
    spots = []
    if rind is not None and (rind["cracking_index"] or 0.0) >= 1.0:
        why = f"the rind is pulled to {rind['cracking_index']:.1f} times what it is taken to stand"
        spots.append({"where": "edges first, for cracks", "why": why})
    if rind is not None and rind["way_in"] in ("crack", "cloth") and (rind["blue_index"] or 0.0) >= 1.0:
        where = {"crack": "along the crack", "cloth": "under the lifted cloth"}[rind["way_in"]]
        spots.append({"where": where, "why": "air gets in, and blue had time to grow there"})
    return spots


def keep_the_iron_from(entries: list[Entry]) -> list[dict[str, str]]:
    """Where not to push the iron, and why."""
    spots = [
        {"where": e.details.get("where") or "the old plug", "why": f"ironed there on {e.at:%d %B %Y}"}
        for e in _effective(entries, "ironing")
    ]
    inspections = _effective(entries, "inspection")
    if inspections and inspections[-1].details.get("cracks"):
        where = inspections[-1].details.get("where") or "the cracks"
        spots.append({"where": where, "why": "cracks: a hole there opens the wheel further"})
    return spots


def _effective(entries: list[Entry], kind: str) -> list[Entry]:
    return [e for e in entries if e.kind == kind and e.effective]
