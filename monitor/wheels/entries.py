"""What each kind of ledger entry may say, checked before it is written.

An entry has a kind, a time, an author, and details; the details of each kind are one model here.  Text may
be anything a person can type (it is data, never markup), but is bounded and free of characters that a
database cannot hold.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, field_validator

from monitor.clock import from_ms, rfc3339
from monitor.errors import LedgerError
from monitor.wheels.words import IRON_SCALES, RIND_SCALES, SENSORY_SCORES, Scale

LONGEST_TEXT = 10_000
LONGEST_NAME = 300


def _holdable(text: str) -> str:
    """Refuse what no database text or file can hold; keep everything else as typed (NFC)."""
    if "\x00" in text or any(0xD800 <= ord(c) <= 0xDFFF for c in text):
        raise ValueError("holds a character that is not text (a zero byte or half a surrogate pair)")
    return unicodedata.normalize("NFC", text).strip()


def _given(text: str) -> str:
    if not text:
        raise ValueError("is empty")
    return text


Text = Annotated[str, Field(max_length=LONGEST_TEXT), AfterValidator(_holdable)]
ShortText = Annotated[str, Field(max_length=LONGEST_NAME), AfterValidator(_holdable)]
EntryName = Annotated[str, Field(max_length=LONGEST_NAME), AfterValidator(_holdable), AfterValidator(_given)]
Step = Annotated[int, Field(ge=0, le=4)]
Mass = Annotated[float, Field(gt=0, le=1000)]


class Details(BaseModel):
    """Base of all details: unknown keys are faults; numbers are finite."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    note: Text = ""

    def stored(self) -> dict[str, Any]:
        """As kept in the ledger: what was said, without what was left open."""
        return self.model_dump(mode="json", exclude_defaults=True)

    def summary(self) -> str:
        return self.note


class MakeDetails(Details):
    """A make: its style and what a wheel weighed on the make date (mean)."""

    style: EntryName
    mass_kg: Mass | None = None
    raw_milk: bool | None = None

    def summary(self) -> str:
        mass = f", {self.mass_kg:g} kg a wheel" if self.mass_kg else ""
        return f"made as {self.style}{mass}"


class MoveDetails(Details):
    """Where a wheel was put."""

    room: EntryName
    place: EntryName
    shelf: ShortText = ""

    def summary(self) -> str:
        return f"moved to {self.room}, {self.place}" + (f", shelf {self.shelf}" if self.shelf else "")


class WorkDetails(Details):
    """Work on the rind (turned, brushed, washed, wrapped, greased); ``with_what`` names brine, fat, cloth..."""

    with_what: ShortText = ""

    def summary(self) -> str:
        return f"with {self.with_what}" if self.with_what else ""


class WeighingDetails(Details):
    """What the wheel weighed; ``sigma_kg`` is the scale's standard uncertainty where known."""

    mass_kg: Mass
    sigma_kg: Annotated[float, Field(gt=0, le=10)] | None = None

    def summary(self) -> str:
        return f"{self.mass_kg:g} kg"


class Mould(BaseModel):
    """Another mould by colour and texture, and how much of it (0-4)."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    colour: ShortText = ""
    texture: ShortText = ""
    how_much: Step = 1


def _steps_said(details: BaseModel, scales: dict[str, Scale]) -> str:
    said = []
    for name, scale in scales.items():
        step = getattr(details, name)
        if step is not None and (scale.sort == "description" or step > 0):
            said.append(f"{scale.label} {step} ({scale.steps[step]})")
    return "; ".join(said)


class InspectionDetails(Details):
    """What was seen on the rind; a scale left out was not looked at, which is not the same as 0."""

    cloth: Step | None = None
    cracks: Step | None = None
    blue_surface: Step | None = None
    blue_under_cloth: Step | None = None
    blue_at_plug: Step | None = None
    mites: Step | None = None
    slip: Step | None = None
    soft_spots: Step | None = None
    weeping: Step | None = None
    bulging: Step | None = None
    moulds: Step | None = None
    rind_colour: Step | None = None
    other_moulds: Annotated[tuple[Mould, ...], Field(max_length=20)] = ()
    where: ShortText = ""
    photos: Annotated[tuple[ShortText, ...], Field(max_length=50)] = ()

    def summary(self) -> str:
        looked = [name for name in RIND_SCALES if getattr(self, name) is not None]
        said = _steps_said(self, RIND_SCALES)
        return said or ("looked at, nothing wrong seen" if looked else self.note or "looked at")


class IroningDetails(Details):
    """An ironing: where the hole is, whether its plug was sealed, and what the plug told."""

    where: ShortText = ""
    sealed: bool | None = None
    back_of_iron: Step | None = None
    body: Step | None = None
    texture: Step | None = None
    paste_colour: Step | None = None
    crystals: Step | None = None
    blue_at_plug: Step | None = None
    off_aroma: Step | None = None
    aroma: Annotated[tuple[ShortText, ...], Field(max_length=30)] = ()
    flavour: Annotated[tuple[ShortText, ...], Field(max_length=30)] = ()
    photos: Annotated[tuple[ShortText, ...], Field(max_length=50)] = ()

    def summary(self) -> str:
        seal = {True: "plug sealed", False: "plug not sealed", None: ""}[self.sealed]
        notes = ", ".join(self.aroma + self.flavour)
        parts = [f"ironed {self.where}".strip(), seal, _steps_said(self, IRON_SCALES), notes]
        return "; ".join(part for part in parts if part)


class GradingDetails(Details):
    """The judgement and the decision, with its reason and a date to look again."""

    decision: Literal["hold back", "ready", "sell soon", "not for sale"]
    reason: Text = ""
    look_again_on: date | None = None
    scores: dict[str, Annotated[int, Field(ge=1, le=5)]] = {}

    @field_validator("scores")
    @classmethod
    def _known_scores(cls, value: dict[str, int]) -> dict[str, int]:
        unknown = sorted(set(value) - set(SENSORY_SCORES))
        if unknown:
            raise ValueError(f"{', '.join(unknown)}: choose from {', '.join(SENSORY_SCORES)}")
        return value

    def summary(self) -> str:
        again = f"; look again on {self.look_again_on}" if self.look_again_on else ""
        return self.decision + (f": {self.reason}" if self.reason else "") + again


class PromiseDetails(Details):
    """A date on which the wheel is promised."""

    on: date

    def summary(self) -> str:
        return f"promised for {self.on}"


class SaleDetails(Details):
    """The wheel was sold, whole."""

    mass_kg: Mass | None = None

    def summary(self) -> str:
        return "sold" + (f" at {self.mass_kg:g} kg" if self.mass_kg else "")


class LossDetails(Details):
    """The wheel is gone without a sale."""

    reason: EntryName

    def summary(self) -> str:
        return f"gone: {self.reason}"


class NoteDetails(Details):
    """A remark."""


class UndoDetails(Details):
    """Takes an entry back; the entry stays in the ledger, marked."""

    def summary(self) -> str:
        return "taken back" + (f": {self.note}" if self.note else "")


KINDS: dict[str, type[Details]] = {
    "make": MakeDetails,
    "move": MoveDetails,
    "turning": WorkDetails,
    "brushing": WorkDetails,
    "washing": WorkDetails,
    "wrapping": WorkDetails,
    "greasing": WorkDetails,
    "weighing": WeighingDetails,
    "inspection": InspectionDetails,
    "ironing": IroningDetails,
    "grading": GradingDetails,
    "promise": PromiseDetails,
    "sale": SaleDetails,
    "loss": LossDetails,
    "note": NoteDetails,
    "undo": UndoDetails,
}
"""Every kind of entry and the model of its details."""

WORK_DONE = {
    "turning": "turned",
    "brushing": "brushed",
    "washing": "washed",
    "wrapping": "wrapped",
    "greasing": "greased",
}
WORK_KINDS = tuple(WORK_DONE)
GONE_KINDS = ("sale", "loss")


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the ledger.  ``effective`` is false once a later entry corrects it or takes it back."""

    id: int
    kind: str
    at_ms: int
    recorded_ms: int
    author: str
    wheel: str | None
    make: str
    details: dict[str, Any] = field(default_factory=dict)
    corrects: int | None = None
    corrected_by: int | None = None
    batch: str = ""

    @property
    def at(self) -> datetime:
        return from_ms(self.at_ms)

    @property
    def recorded(self) -> datetime:
        return from_ms(self.recorded_ms)

    @property
    def effective(self) -> bool:
        return self.corrected_by is None and self.kind != "undo"

    def summary(self) -> str:
        """What it says, in one line."""
        said = KINDS[self.kind].model_validate(self.details).summary()
        done = WORK_DONE.get(self.kind, "")
        return f"{done} {said}".strip() or self.kind

    def document(self) -> dict[str, Any]:
        """As the review's ``ledger`` shows it."""
        return {
            "id": self.id,
            "at": rfc3339(self.at_ms),
            "kind": self.kind,
            "author": self.author,
            "summary": self.summary(),
            "details": self.details,
            "corrects": self.corrects,
            "corrected_by": self.corrected_by,
            "recorded_at": rfc3339(self.recorded_ms),
        }


def checked_details(kind: str, said: dict[str, Any]) -> Details:
    """The details of an entry, validated.

    Raises
    ------
    LedgerError
        The kind is unknown, or a detail is; names each detail that is wrong and why.
    """
    if kind not in KINDS:
        raise LedgerError(f"no entry is called {kind!r}; choose from {', '.join(KINDS)}")
    try:
        return KINDS[kind].model_validate(said)
    except ValidationError as error:
        raise LedgerError(f"{kind}: " + "; ".join(fault_lines(error))) from None


def fault_lines(error: ValidationError) -> list[str]:
    """Each fault of a validation in plain words."""
    lines = []
    for fault in error.errors(include_url=False):
        where = " ".join(str(part) for part in fault["loc"]) or "value"
        lines.append(f"{where}: {_plain(fault)}")
    return lines


def _plain(fault: Any) -> str:
    shown = str(fault.get("input"))
    shown = shown if len(shown) <= 40 else shown[:37] + "..."
    context = fault.get("ctx", {})
    match fault["type"]:
        case "extra_forbidden":
            return "is not something this kind of entry can say"
        case "missing":
            return "is needed"
        case "string_too_long":
            return f"is longer than {context['max_length']:,} characters"
        case "less_than_equal" | "greater_than_equal" if fault["loc"] and context.get(
            "le", context.get("ge")
        ) in (0, 4):
            return f"{shown} is outside the scale of 0 to 4"
        case "value_error":
            return str(context["error"])
        case _:
            return f"{shown!r}: {fault['msg'][0].lower()}{fault['msg'][1:]}"
