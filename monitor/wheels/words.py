"""The words and the 0-4 scales in which a person says what they see on a rind and find on an iron.

Forms, files, reviews and the link from air to rind all draw from this one table.  The words are those of
the trade; the descriptions of the steps are this project's own (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

LOWEST_STEP, HIGHEST_STEP = 0, 4


@dataclass(frozen=True)
class Scale:
    """One thing that is judged in five steps, 0 to 4.

    ``sort`` is ``fault`` where 0 is best and more is worse, ``description`` where no step is wrong in itself.
    ``steps`` says in plain words what each step looks like, from 0 to 4.
    """

    name: str
    label: str
    question: str
    steps: tuple[str, str, str, str, str]
    sort: Literal["fault", "description"]


def _by_name(*scales: Scale) -> dict[str, Scale]:
    return {scale.name: scale for scale in scales}


RIND_SCALES: dict[str, Scale] = _by_name(
    Scale(
        "cloth",
        "cloth",
        "How does the cloth sit?",
        (
            "sound: flat and tight everywhere",
            "a wrinkle or a loose edge, nothing lifted",
            "lifted in one spot no larger than a coin",
            "lifted over a palm's width, or a small tear",
            "torn or hanging off; the rind is bare there",
        ),
        "fault",
    ),
    Scale(
        "cracks",
        "cracks",
        "Is the rind cracked?",
        (
            "none",
            "hairlines, seen only close up",
            "one or two that catch a fingernail",
            "open cracks, a coin's edge goes in",
            "wide or deep; the paste shows",
        ),
        "fault",
    ),
    Scale(
        "blue_surface",
        "blue at the surface",
        "Is there blue on the outside?",
        (
            "none",
            "a few specks",
            "patches the size of a coin",
            "patches the size of a palm",
            "most of a face or the whole side",
        ),
        "fault",
    ),
    Scale(
        "blue_under_cloth",
        "blue under the cloth",
        "Is there blue under the cloth or rind?",
        (
            "none seen",
            "a faint shade or thread",
            "a vein or spot up to a finger's width",
            "veins running inwards, or a hand's breadth under the cloth",
            "through much of the wheel",
        ),
        "fault",
    ),
    Scale(
        "blue_at_plug",
        "blue at a plug",
        "Is there blue at an old plug?",
        (
            "none, or no plug yet",
            "a trace on the plug's end",
            "a ring round the plug",
            "a vein running in from the plug",
            "the plug stands in blue",
        ),
        "fault",
    ),
    Scale(
        "mites",
        "mites",
        "Are there mites?",
        (
            "none",
            "a little dust in the seams",
            "dust that comes back within days of brushing",
            "thick dust and pitting",
            "burrows into the cheese",
        ),
        "fault",
    ),
    Scale(
        "slip",
        "slip",
        "Does the rind slip or slide?",
        (
            "firm on the cheese",
            "gives a little under the thumb",
            "wrinkles when pushed",
            "slides in one spot",
            "loose over a face or coming away",
        ),
        "fault",
    ),
    Scale(
        "soft_spots",
        "soft or wet spots",
        "Are there soft or wet spots?",
        (
            "none",
            "one damp mark that dries in the hand",
            "a soft spot up to a coin's size",
            "several soft spots, or one the size of a palm",
            "soft and wet over a face",
        ),
        "fault",
    ),
    Scale(
        "weeping",
        "weeping",
        "Does it weep?",
        (
            "dry",
            "a shine of moisture",
            "beads here and there",
            "drops that run",
            "a puddle under the wheel",
        ),
        "fault",
    ),
    Scale(
        "bulging",
        "bulging",
        "Are the faces flat?",
        (
            "flat",
            "a slight rise, seen with a straight edge",
            "a rise seen by eye",
            "domed on one or both faces",
            "blown; it sounds hollow",
        ),
        "fault",
    ),
    Scale(
        "moulds",
        "other moulds",
        "How much other mould is there?",
        (
            "none",
            "a few specks",
            "patches",
            "most of a face",
            "all over",
        ),
        "description",
    ),
    Scale(
        "rind_colour",
        "colour of the rind",
        "How deep is the rind's colour?",
        (
            "pale, as when made",
            "straw",
            "buff or tan",
            "brown",
            "dark brown or grey-brown",
        ),
        "description",
    ),
)
"""What is seen on the outside, by name."""

IRON_SCALES: dict[str, Scale] = _by_name(
    Scale(
        "back_of_iron",
        "back of the iron",
        "How does the back of the iron look and feel?",
        (
            "dry: clean metal",
            "a dry, thin smear",
            "a little fat, slightly moist",
            "moist, fat shines",
            "wet: drops stand on it",
        ),
        "description",
    ),
    Scale(
        "body",
        "body",
        "How does the plug bend and press?",
        (
            "very soft, pasty",
            "soft, bends far before it breaks",
            "yielding, bends then breaks",
            "firm, breaks short",
            "hard, will not bend",
        ),
        "description",
    ),
    Scale(
        "texture",
        "texture",
        "How close is the plug?",
        (
            "closed and smooth",
            "closed, a little grainy",
            "a few small openings",
            "open or mealy",
            "very open, crumbling or gassy",
        ),
        "description",
    ),
    Scale(
        "paste_colour",
        "colour of the paste",
        "How deep is the paste's colour?",
        (
            "pale, as when made",
            "ivory",
            "straw",
            "deep yellow",
            "amber or brown",
        ),
        "description",
    ),
    Scale(
        "crystals",
        "crystals",
        "Are there crystals?",
        (
            "none",
            "one or two",
            "some, felt on the tongue",
            "many",
            "many and hard, all through",
        ),
        "description",
    ),
    Scale(
        "blue_at_plug",
        "blue on the plug",
        "Is there blue on the plug or in the hole?",
        (
            "none",
            "a trace at the rind end",
            "a ring or a thread",
            "a vein along the plug",
            "most of the plug",
        ),
        "fault",
    ),
    Scale(
        "off_aroma",
        "off aroma",
        "Does the plug smell wrong?",
        (
            "clean",
            "a hint that goes in the air",
            "a clear off note",
            "strong",
            "unpleasant from arm's length",
        ),
        "fault",
    ),
)
"""What is found with the iron, by name."""

SCALES: dict[str, dict[str, Scale]] = {"inspection": RIND_SCALES, "ironing": IRON_SCALES}
"""The scales of each kind of entry that has any."""

MOULD_COLOURS = ("white", "grey", "green", "blue-green", "brown", "black", "yellow", "orange", "red", "pink")
MOULD_TEXTURES = ("velvety", "powdery", "fluffy", "long-haired", "creamy", "slimy", "dry spots")
AROMA_NOTES = (
    "milky",
    "buttery",
    "fruity",
    "nutty",
    "grassy",
    "hay",
    "earthy",
    "cellar",
    "mushroom",
    "meaty",
    "broth",
    "toasted",
    "caramel",
    "spicy",
    "sharp",
    "yeasty",
    "ammonia",
    "sour",
    "musty",
    "rancid",
    "cabbage",
    "fruity-fermented",
)
FLAVOUR_NOTES = (
    "sweet",
    "salty",
    "sour",
    "bitter",
    "savoury",
    "milky",
    "buttery",
    "nutty",
    "fruity",
    "meaty",
    "broth",
    "caramel",
    "peppery",
    "sharp",
    "earthy",
    "metallic",
    "soapy",
    "rancid",
    "flat",
    "long",
)
WHERE_ON_WHEEL = ("top face", "bottom face", "side, upper third", "side, middle", "side, lower third", "edge")
DECISIONS = ("hold back", "ready", "sell soon", "not for sale")
"""What a grading decides."""

LOSS_REASONS = ("given away", "cut for tasting", "spoiled", "dropped", "recalled", "other")
SENSORY_SCORES = ("appearance", "consistency", "flavour")
"""Optional 1-5 scores in the style of ISO 22935-3 (5 = agrees with what was intended, 1 = far from it); the
attribute names are from memory, not read in the standard."""
