"""The ledger: everything people did to wheels and saw on them, dated, authored, never overwritten.

`open_ledger` opens it.  Several processes may use one ledger at once: every write is checked against the
whole of what stands, under one lock, and is written whole or not at all.  What is read back is computed from
the lines that stand; a correction or an undo is itself a line.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import select

from monitor.clock import now
from monitor.errors import LedgerError
from monitor.site import Site
from monitor.wheels import writing
from monitor.wheels.checks import check_against_site, checked_time
from monitor.wheels.csv_files import drafts_of, ledger_text
from monitor.wheels.database import Database, ledger_url
from monitor.wheels.entries import KINDS, LONGEST_NAME, WORK_KINDS, Details, checked_details
from monitor.wheels.reading import LedgerReading
from monitor.wheels.schema import entries as entries_table
from monitor.wheels.writing import Draft, NewMake

Names = str | Sequence[str]
"""One wheel's name, or several."""


def open_ledger(site: Site, *, clock: Callable[[], datetime] = now) -> Ledger:
    """The ledger of a site: ``ledger.sqlite`` in its data folder, or the database its site file names.

    Raises
    ------
    LedgerError
        It cannot be opened: no such database, damaged, or of a newer version.
    """
    return Ledger(site, Database(ledger_url(site.data_folder, site.ledger.url_env)), clock)


class Ledger(LedgerReading):
    """Makes, wheels and what happened to them.

    Every writing method takes ``author`` (who says so) and ``at`` (an aware datetime, the present where left
    out), returns the numbers of the entries it wrote, and raises `LedgerError` with the reason where it
    refuses (`UnknownWheel` for a name that is not there, `LedgerDoubt` where ``sure=True`` would let it pass).
    Where it takes ``wheels`` it takes one name or several, and writes for all of them or for none.
    """

    # -- writing ---------------------------------------------------------------------------------------

    def add_make(
        self,
        name: str,
        style: str,
        made_at: datetime,
        wheels: Sequence[str],
        *,
        author: str,
        mass_kg: float | None = None,
        masses_kg: dict[str, float] | None = None,
        raw_milk: bool | None = None,
        room: str | None = None,
        place: str | None = None,
        shelf: str = "",
        note: str = "",
    ) -> list[int]:
        """Add a make and its wheels; ``mass_kg`` is the mean [kg] of a wheel, ``masses_kg`` each wheel's own
        [kg] (kept as weighings).  With ``room`` and ``place`` the wheels go there on the make date."""
        make = _name(name, "make")
        names = tuple(_name(wheel, "wheel") for wheel in ([wheels] if isinstance(wheels, str) else wheels))
        if not names:
            raise LedgerError(f"make {make!r} needs at least one wheel")
        batch = new_batch()
        details = {"style": style, "mass_kg": mass_kg, "raw_milk": raw_milk, "note": note}
        drafts = [self.draft("make", made_at, author, details, make=make, batch=batch)]
        for wheel, mass in (masses_kg or {}).items():
            drafts.append(
                self.draft("weighing", made_at, author, {"mass_kg": mass}, wheel=wheel, batch=batch)
            )
        if room is not None:
            where = {"room": room, "place": place, "shelf": shelf}
            drafts += [
                self.draft("move", made_at, author, where, wheel=wheel, batch=batch) for wheel in names
            ]
        return self._write([NewMake(make, names)], drafts)

    def move(
        self,
        wheels: Names,
        room: str,
        place: str,
        at: datetime | None = None,
        *,
        author: str,
        shelf: str = "",
        note: str = "",
    ) -> list[int]:
        """Put wheels in a place of a room."""
        return self.enter(
            "move", wheels, at, author, {"room": room, "place": place, "shelf": shelf, "note": note}
        )

    def weigh(
        self,
        wheels: Names,
        mass_kg: float,
        at: datetime | None = None,
        *,
        author: str,
        sigma_kg: float | None = None,
        note: str = "",
        sure: bool = False,
    ) -> list[int]:
        """Weigh a wheel [kg]; ``sure`` lets a surprising mass pass, never one three times off."""
        return self.enter(
            "weighing",
            wheels,
            at,
            author,
            {"mass_kg": mass_kg, "sigma_kg": sigma_kg, "note": note},
            sure=sure,
        )

    def inspect(self, wheels: Names, at: datetime | None = None, *, author: str, **seen: Any) -> list[int]:
        """Say what was seen on the rind; ``seen`` are fields of `InspectionDetails`."""
        return self.enter("inspection", wheels, at, author, seen)

    def iron(self, wheels: Names, at: datetime | None = None, *, author: str, **found: Any) -> list[int]:
        """Say what an iron found; ``found`` are fields of `IroningDetails`."""
        return self.enter("ironing", wheels, at, author, found)

    def grade(
        self,
        wheels: Names,
        decision: str,
        reason: str = "",
        look_again_on: date | None = None,
        at: datetime | None = None,
        *,
        author: str,
        scores: dict[str, int] | None = None,
        note: str = "",
    ) -> list[int]:
        """Record a judgement; ``decision`` is one of `words.DECISIONS`."""
        said = {
            "decision": decision,
            "reason": reason,
            "look_again_on": look_again_on,
            "scores": scores or {},
            "note": note,
        }
        return self.enter("grading", wheels, at, author, said)

    def work(
        self,
        wheels: Names,
        kind: str,
        at: datetime | None = None,
        *,
        author: str,
        with_what: str = "",
        note: str = "",
    ) -> list[int]:
        """Record work on the rind: one of turning, brushing, washing, wrapping, greasing."""
        if kind not in WORK_KINDS:
            raise LedgerError(f"no work is called {kind!r}; choose from {', '.join(WORK_KINDS)}")
        return self.enter(kind, wheels, at, author, {"with_what": with_what, "note": note})

    def promise(
        self, wheels: Names, on: date, at: datetime | None = None, *, author: str, note: str = ""
    ) -> list[int]:
        """Record the date a wheel is promised for."""
        return self.enter("promise", wheels, at, author, {"on": on, "note": note})

    def sell(
        self,
        wheels: Names,
        at: datetime | None = None,
        *,
        author: str,
        mass_kg: float | None = None,
        note: str = "",
    ) -> list[int]:
        """Record that wheels were sold whole."""
        return self.enter("sale", wheels, at, author, {"mass_kg": mass_kg, "note": note})

    def lose(
        self, wheels: Names, reason: str, at: datetime | None = None, *, author: str, note: str = ""
    ) -> list[int]:
        """Record that wheels are gone without a sale."""
        return self.enter("loss", wheels, at, author, {"reason": reason, "note": note})

    def remark(self, wheels: Names, note: str, at: datetime | None = None, *, author: str) -> list[int]:
        """Write a remark."""
        return self.enter("note", wheels, at, author, {"note": note})

    def enter(
        self,
        kind: str,
        wheels: Names,
        at: datetime | None,
        author: str,
        said: dict[str, Any],
        *,
        sure: bool = False,
    ) -> list[int]:
        """Write one entry of any kind about each of ``wheels``; the methods above are this with names.

        ``None`` among ``said`` means "left open".
        """
        if kind in ("make", "undo"):
            raise LedgerError(f"{kind} has a method of its own")
        names = [wheels] if isinstance(wheels, str) else list(dict.fromkeys(wheels))
        if not names:
            raise LedgerError("name at least one wheel")
        batch = new_batch()
        moment = at or self._clock()
        first = self.draft(kind, moment, author, said, wheel=names[0], batch=batch, sure=sure)
        drafts = [first] + [
            Draft(
                kind, first.at_ms, first.author, first.details, _name(name, "wheel"), batch=batch, sure=sure
            )
            for name in names[1:]
        ]
        return self._write([], drafts)

    def correct(
        self, entry_id: int, *, author: str, at: datetime | None = None, sure: bool = False, **changes: Any
    ) -> int:
        """Correct an entry: a new one takes its place, with ``changes`` laid over what it said (and ``at``,
        where given, over its time).  The old one stays in the ledger, marked.  A correction of what somebody
        else has corrected meanwhile is refused, so that nothing is overwritten unseen."""
        old = self.entry(entry_id)
        if old.kind == "undo":
            raise LedgerError(f"entry {entry_id} takes an entry back; undo it instead")
        details = {**old.details, **changes}
        about = {"wheel": old.wheel} if old.wheel else {"make": old.make}
        draft = self.draft(
            old.kind, at or old.at, author, details, corrects=entry_id, batch=old.batch, sure=sure, **about
        )
        return self._write([], [draft])[0]

    def undo(self, entry_ids: int | Sequence[int], *, author: str, note: str = "") -> list[int]:
        """Take entries back (several at once, for instance all that one call wrote).  Undoing an undo brings
        the entry back.  A make goes only when nothing else of its wheels stands."""
        ids = [entry_ids] if isinstance(entry_ids, int) else sorted(set(entry_ids), reverse=True)
        drafts = []
        for entry_id in ids:
            old = self.entry(entry_id)
            about: dict[str, Any] = {"wheel": old.wheel} if old.wheel else {"make": old.make}
            drafts.append(
                self.draft(
                    "undo", self._clock(), author, {"note": note}, corrects=entry_id, batch=old.batch, **about
                )
            )
        return self._write([], drafts)

    def undo_batch(self, batch: str, *, author: str, note: str = "") -> list[int]:
        """Take back everything that one call wrote and that still stands."""
        with self.database.reading() as connection:
            query = select(entries_table.c.id).where(entries_table.c.batch == batch)
            ids = list(connection.execute(query).scalars())
        standing = [i for i in ids if self.entry(i).effective]
        if not batch or not standing:
            raise LedgerError("nothing of that entry stands any more")
        return self.undo(standing, author=author, note=note)

    def load(self, rows: Sequence[dict[str, str]], *, sure: bool = False) -> list[int]:
        """Write many entries of a file at once, all or none; columns as in `monitor.wheels.csv_files`.

        Raises
        ------
        LedgerError
            ``faults`` on it lists every fault by row and column; nothing was written.
        """
        new_makes, drafts = drafts_of(self.draft, rows, new_batch(), sure)
        return self._write(new_makes, drafts)

    def check_rows(self, rows: Sequence[dict[str, str]], *, sure: bool = False) -> int:
        """How many entries `load` would write; raises what it would raise, and writes nothing."""
        new_makes, drafts = drafts_of(self.draft, rows, new_batch(), sure)
        with self.database.rehearsing() as connection:
            return len(writing.record(connection, self.site, new_makes, drafts))

    def as_csv(self) -> str:
        """Every entry that stands, as CSV that `load` takes."""
        wheels = self.wheels(gone=True)
        return ledger_text(wheels, self.histories([wheel.name for wheel in wheels]))

    def draft(
        self,
        kind: str,
        at: datetime,
        author: str,
        said: dict[str, Any],
        *,
        wheel: str | None = None,
        make: str | None = None,
        corrects: int | None = None,
        batch: str = "",
        sure: bool = False,
    ) -> Draft:
        """An entry, checked as far as it can be without the ledger, ready to be written."""
        details: Details = checked_details(
            kind, {key: value for key, value in said.items() if value is not None}
        )
        check_against_site(details, self.site)
        return Draft(
            kind,
            checked_time(at, self._clock()),
            _name(author, "author"),
            details,
            wheel=_name(wheel, "wheel") if wheel is not None else None,
            make=make,
            corrects=corrects,
            batch=batch,
            sure=sure,
        )

    def present(self) -> datetime:
        """The present moment by the ledger's clock."""
        return self._clock()

    def write(self, drafts: Sequence[Draft]) -> list[int]:
        """Write entries made by `draft`, all or none; none of them may be a make."""
        if not drafts or any(draft.kind == "make" for draft in drafts):
            raise LedgerError("nothing to enter: name at least one wheel (a make has a method of its own)")
        return self._write([], drafts)

    def _write(self, new_makes: Sequence[NewMake], drafts: Sequence[Draft]) -> list[int]:
        with self.database.writing() as connection:
            return writing.record(connection, self.site, new_makes, drafts)

    def close(self) -> None:
        """Let go of the database; closing twice does no harm."""
        self.database.close()

    def __enter__(self) -> Ledger:
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()


def new_batch() -> str:
    """A name for what one call writes."""
    return secrets.token_hex(8)


def _name(text: str, what: str) -> str:
    """A name as it is kept.

    Raises
    ------
    LedgerError
        It is empty, longer than 300 characters, or holds what no database can keep.
    """
    try:
        kept = KINDS["loss"].model_validate({"reason": text}).reason  # type: ignore[attr-defined]
    except ValueError:
        shown = repr(str(text)[:40])
        raise LedgerError(f"{what} {shown}: a name has 1 to {LONGEST_NAME} characters of text") from None
    return str(kept)
