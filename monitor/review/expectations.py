"""What to expect of a wheel, in words; with a probability only where the dairy's own wheels give ground for one.

The ground comes from outside (`Ground`), since relating air to findings stands above the review. Without it, what
stands here are facts of the trade, each marked "common practice, no source".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from monitor.rind.ripening import crystals_note

Ground = Callable[[str], Mapping[str, Mapping[str, Any]]]
"""For a wheel's name: by what may be found (``cracks``, ``blue_under_cloth`` ...) a mapping with ``words``,
``probability`` (``{"value", "low", "high"}`` or None) and ``ground`` (what it rests on, in words)."""

COMMON = "common practice, no source"
FAST, SLOW, HIGH_INDEX = 1.25, 0.75, 1.0


def no_ground(_wheel: str) -> Mapping[str, Mapping[str, Any]]:
    """Nothing was related to findings yet."""
    return {}


def expectations(document: Mapping[str, Any], ground: Ground = no_ground) -> list[dict[str, Any]]:
    """The ``expect`` of a review.

    Parameters
    ----------
    document : the review so far (``wheel``, ``doses``, ``rind``)
    ground : see `Ground`

    Returns
    -------
    list of dict : ``what``, ``words``, ``probability`` (None without ground) and ``ground``.
    """
    wheel, rind = document["wheel"], document["rind"]
    paces = {dose["name"]: dose["pace"]["value"] for dose in document["doses"] if dose["pace"]}
    found = [*_of_rind(paces, rind, wheel), *_of_paste(document)]
    related = dict(ground(wheel["name"]))
    for item in found:
        known = related.pop(item["what"], None)
        if known is not None:
            item |= {
                "words": known.get("words", item["words"]),
                "probability": known.get("probability"),
                "ground": known.get("ground", ""),
            }
    return found + [
        {
            "what": what,
            "words": known.get("words", ""),
            "probability": known.get("probability"),
            "ground": known.get("ground", ""),
        }
        for what, known in related.items()
    ]


def _of_rind(
    paces: Mapping[str, float], rind: Mapping[str, Any] | None, wheel: Mapping[str, Any]
) -> list[dict[str, Any]]:
    found = []
    index = (rind or {}).get("cracking_index") or 0.0
    if paces.get("drying", 1.0) > FAST or index >= HIGH_INDEX:
        found.append(_item("cracks", "More rind drying than intended goes with more cracks."))
    if rind is not None and rind["way_in"] and (rind["blue_index"] or 0.0) >= HIGH_INDEX:
        found.append(_item("blue_under_cloth", "Blue may be seen where air gets in."))
    elif rind is None and paces.get("mould", 1.0) > FAST:
        found.append(_item("moulds", "The air favoured unwanted mould."))
    if rind is not None and (rind["mite_index"] or 0.0) >= HIGH_INDEX:
        found.append(
            _item("mites", "Mites may show: long enough without a brush at this warmth and humidity.")
        )
    if paces.get("drying", 1.0) < SLOW:
        found.append(_item("slip", "A rind that hardly dried is soft: slip and wet spots may be found."))
    return found


def _of_paste(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    found, loss = [], document["weight"]["loss_pct"]
    age = document["wheel"]["age_days"]
    note = crystals_note(age)
    if note is not None and document["wheel"]["rind"] in ("cloth-bound", "natural"):
        found.append(_item("crystals", note[0].upper() + note[1:].split(" (")[0] + "."))
    if loss is None and document["weight"]["now"] and document["wheel"]["mass_at_make_kg"]:
        loss = 100.0 * (1.0 - document["weight"]["now"]["value"] / document["wheel"]["mass_at_make_kg"])
    if loss is not None and loss >= 5.0:
        found.append(
            _item("paste_colour", f"A paste deeper in colour: {loss:.0f} % of it has left as water.")
        )
    return found


def _item(what: str, words: str) -> dict[str, Any]:
    return {"what": what, "words": words, "probability": None, "ground": COMMON}
