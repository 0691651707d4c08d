"""The database of the alarms: an append-only journal of transitions, messages and attempts.

The table ``alarms`` is a view of the journal kept for speed; `rebuilt` makes the same rows from the transitions
alone.  What happened is never changed or removed: triggers refuse it (`append_only`).  Every change is one transaction
that holds the database's write lock from its first read, so the service, the dashboard and the command line may act
at once.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from monitor.alarms.append_only import keep_append_only
from monitor.errors import AlarmError
from monitor.site import Site

SCHEMA_VERSION = 5
_LOCK = 0x6D617475
"""Any number does; it names our advisory lock in a shared PostgreSQL database."""

metadata = sa.MetaData()
_Id = sa.BigInteger().with_variant(sa.Integer, "sqlite")

alarms = sa.Table(
    "alarms",
    metadata,
    sa.Column("id", _Id, primary_key=True),
    sa.Column("key", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("active", sa.Boolean, nullable=False),
    sa.Column("latching", sa.Boolean, nullable=False),
    sa.Column("priority", sa.Integer, nullable=False),
    sa.Column("since_ms", sa.BigInteger, nullable=False),
    sa.Column("raised_ms", sa.BigInteger, nullable=False),
    sa.Column("acknowledged_ms", sa.BigInteger),
    sa.Column("acknowledged_by", sa.Text),
    sa.Column("note", sa.Text),
    sa.Column("returned_ms", sa.BigInteger),
    sa.Column("ended_ms", sa.BigInteger),
    sa.Column("until_ms", sa.BigInteger),
    sa.Column("changed_ms", sa.BigInteger, nullable=False),
    sa.Column("finding", sa.JSON, nullable=False),
)
sa.Index(
    "one_standing_alarm_per_key",
    alarms.c.key,
    unique=True,
    sqlite_where=alarms.c.ended_ms.is_(None),
    postgresql_where=alarms.c.ended_ms.is_(None),
)
sa.Index("alarms_by_end", alarms.c.ended_ms)

transitions = sa.Table(
    "transitions",
    metadata,
    sa.Column("id", _Id, primary_key=True),
    sa.Column("alarm_id", _Id, nullable=False, index=True),
    sa.Column("time_ms", sa.BigInteger, nullable=False, index=True),
    sa.Column("event", sa.Text, nullable=False),
    sa.Column("state_before", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("active", sa.Boolean, nullable=False),
    sa.Column("person", sa.Text),
    sa.Column("note", sa.Text),
    sa.Column("until_ms", sa.BigInteger),
    sa.Column("latching", sa.Boolean, nullable=False),
    sa.Column("finding", sa.JSON(none_as_null=True)),
)

messages = sa.Table(
    "messages",
    metadata,
    sa.Column("id", _Id, primary_key=True),
    sa.Column("route", sa.Text, nullable=False),
    sa.Column("about", sa.Text, nullable=False),
    sa.Column("created_ms", sa.BigInteger, nullable=False),
    sa.Column("due_ms", sa.BigInteger, nullable=False),
    sa.Column("once", sa.Text, nullable=False, unique=True),
)
"""``route`` is empty for the local log.  ``once`` names what the message is for, so that it is made once."""

message_alarms = sa.Table(
    "message_alarms",
    metadata,
    sa.Column("message_id", _Id, primary_key=True),
    sa.Column("alarm_id", _Id, primary_key=True, index=True),
)

texts = sa.Table(
    "texts",
    metadata,
    sa.Column("message_id", _Id, primary_key=True),
    sa.Column("composed_ms", sa.BigInteger, nullable=False),
    sa.Column("title", sa.Text, nullable=False),
    sa.Column("line", sa.Text, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
    sa.Column("html", sa.Text, nullable=False),
)
"""A message's words, fixed when it is first about to leave."""

attempts = sa.Table(
    "attempts",
    metadata,
    sa.Column("id", _Id, primary_key=True),
    sa.Column("message_id", _Id, nullable=False, index=True),
    sa.Column("recipient", sa.Integer, nullable=False),
    sa.Column("number", sa.Integer, nullable=False),
    sa.Column("outcome", sa.Text, nullable=False),
    sa.Column("time_ms", sa.BigInteger, nullable=False),
    sa.Column("error", sa.Text),
    sa.UniqueConstraint("message_id", "recipient", "number", "outcome"),
)
"""Outcomes: started, sent, failed, gave-up, overtaken (over before it could be told), told (the recipient was told the
same by another route); for the whole message (recipient 0) closed once nothing more is to be done, or dropped where it
never left because it was no longer true."""

news = sa.Table(
    "news",
    metadata,
    sa.Column("message_id", _Id, primary_key=True),
    sa.Column("name", sa.Text, primary_key=True, index=True),
    sa.Column("alarm_id", _Id, nullable=False),
)
"""What each message tells, by names that are the same on every route (see `monitor.alarms.news`)."""

groupings = sa.Table(
    "groupings",
    metadata,
    sa.Column("message_id", _Id, primary_key=True),
    sa.Column("route", sa.Text, nullable=False, index=True),
    sa.Column("group_key", sa.Text, nullable=False),
)
"""What brings alarms together in one message while it has not left."""

waiting = sa.Table("waiting", metadata, sa.Column("message_id", _Id, primary_key=True))
"""Messages with something left to do: a view of messages and attempts, kept for speed."""

planned_work = sa.Table(
    "planned_work",
    metadata,
    sa.Column("id", _Id, primary_key=True),
    sa.Column("room", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("from_ms", sa.BigInteger, nullable=False),
    sa.Column("until_ms", sa.BigInteger, nullable=False, index=True),
    sa.Column("person", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("created_ms", sa.BigInteger, nullable=False),
)

planned_ends = sa.Table(
    "planned_ends",
    metadata,
    sa.Column("work_id", _Id, primary_key=True),
    sa.Column("time_ms", sa.BigInteger, nullable=False),
    sa.Column("person", sa.Text, nullable=False),
)
"""Work that was over before its planned end."""

clock_steps = sa.Table(
    "clock_steps",
    metadata,
    sa.Column("id", _Id, primary_key=True),
    sa.Column("time_ms", sa.BigInteger, nullable=False),
    sa.Column("by_ms", sa.BigInteger, nullable=False),
    sa.Column("transitions", _Id, nullable=False),
    sa.Column("messages", _Id, nullable=False),
    sa.Column("attempts", _Id, nullable=False),
)
"""By how much the clock was set, and the newest number of each table then (see `monitor.alarms.clock_steps`)."""

documents = sa.Table(
    "documents",
    metadata,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("document", sa.JSON, nullable=False),
)


class Journal:
    """The alarm database of a site.

    Parameters
    ----------
    url : an SQLAlchemy database URL; `for_site` finds the one a site file asks for

    Raises
    ------
    AlarmError
        The database cannot be opened, or was written by a newer version.
    """

    def __init__(self, url: str | sa.URL) -> None:
        try:
            self.engine = _engine(url)
            with self.transaction() as connection:
                metadata.create_all(connection)
                self._check_version(connection)
                self.name = _name(connection)
        except (sa.exc.SQLAlchemyError, ImportError) as error:
            reason = str(getattr(error, "orig", error)).splitlines()[0]
            raise AlarmError(
                f"the alarm journal cannot be opened: {reason}; see [ledger] in the site file"
            ) from error

    @classmethod
    def for_site(cls, site: Site) -> Journal:
        """The journal of a site: a file in its data folder, or the database that ``ledger.url_env`` names."""
        variable = site.ledger.url_env
        if variable is not None:
            url = os.environ.get(variable, "")
            if not url:
                raise AlarmError(f"environment variable {variable} holds no database address; set it")
            return cls(url)
        Path(site.data_folder).mkdir(parents=True, exist_ok=True)
        return cls(sa.URL.create("sqlite", database=str(site.data_folder / "alarms.sqlite")))

    @contextmanager
    def transaction(self) -> Iterator[Connection]:
        """A transaction that alone may write until it ends; all or nothing."""
        with self.engine.connect().execution_options(writes=True) as connection, connection.begin():
            if connection.dialect.name == "postgresql":
                connection.execute(sa.text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
            yield connection

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that sees one moment of the database and writes nothing."""
        with self.engine.connect() as connection, connection.begin():
            yield connection

    def close(self) -> None:
        """Let go of the database; closing twice does no harm."""
        self.engine.dispose()

    def _check_version(self, connection: Connection) -> None:
        found = connection.execute(
            sa.select(documents.c.document).where(documents.c.name == "schema")
        ).scalar()
        version = found["version"] if found is not None else 0
        if version > SCHEMA_VERSION:
            raise AlarmError(
                f"the alarm journal is of version {version}, this program knows {SCHEMA_VERSION}; update it"
            )
        if version == SCHEMA_VERSION:
            return
        if version == 1:
            _list_waiting(connection)
        keep_append_only(connection)
        newest = {"version": SCHEMA_VERSION}
        if found is None:
            connection.execute(documents.insert().values(name="schema", document=newest))
        else:
            connection.execute(documents.update().where(documents.c.name == "schema").values(document=newest))


def _name(connection: Connection) -> str:
    """The journal's own name, made once: it tells its messages from those of other monitors."""
    known = connection.execute(sa.select(documents.c.document).where(documents.c.name == "name")).scalar()
    if known is None:
        known = {"name": secrets.token_hex(8)}
        connection.execute(documents.insert().values(name="name", document=known))
    return str(known["name"])


def _list_waiting(connection: Connection) -> None:
    """From version 1, which had no list of waiting messages."""
    closed = sa.select(attempts.c.message_id).where(attempts.c.outcome == "closed")
    unclosed = sa.select(messages.c.id).where(messages.c.id.not_in(closed))
    connection.execute(waiting.insert().from_select(["message_id"], unclosed))


def _engine(url: str | sa.URL) -> Engine:
    engine = sa.create_engine(url, pool_pre_ping=True)
    if engine.dialect.name == "sqlite":
        sa.event.listen(engine, "connect", _sqlite_connect)
        sa.event.listen(engine, "begin", _sqlite_begin)
    return engine


def _sqlite_connect(connection: Any, _record: Any) -> None:
    # The driver must not open transactions of its own: `_sqlite_begin` does, with the lock it needs.
    connection.isolation_level = None
    connection.execute("PRAGMA busy_timeout = 20000")
    connection.execute("PRAGMA journal_mode = WAL")
    # An alarm must survive a power cut too, so every commit is on the disk.
    connection.execute("PRAGMA synchronous = FULL")


def _sqlite_begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def inserted(connection: Connection, table: sa.Table, row: dict[str, Any]) -> int:
    """Insert a row; its number."""
    key = connection.execute(table.insert().values(**row)).inserted_primary_key
    assert key is not None
    return int(key[0])


def rebuilt(connection: Connection) -> list[dict[str, Any]]:
    """The rows of ``alarms`` made again from the journal of transitions alone, in order of id."""
    rows: dict[int, dict[str, Any]] = {}
    for step in connection.execute(sa.select(transitions).order_by(transitions.c.id)).mappings():
        row = rows.setdefault(step["alarm_id"], {"id": step["alarm_id"]})
        row.update(changes_of(dict(step), row))
    return [rows[number] for number in sorted(rows)]


BEGINS_AGAIN = ("raise", "unshelve", "release", "return to service")
"""Events after which an alarm is as pressing as its condition is now."""


def changes_of(step: dict[str, Any], row: dict[str, Any]) -> dict[str, Any]:
    """What a transition changes in its alarm's row (all columns for the first one)."""
    time_ms, event = step["time_ms"], step["event"]
    changes: dict[str, Any] = {"state": step["state"], "active": step["active"], "changed_ms": time_ms}
    if "key" not in row:
        changes |= dict.fromkeys(("acknowledged_ms", "acknowledged_by", "note", "returned_ms", "ended_ms"))
        changes |= {"raised_ms": time_ms, "latching": step["latching"], "until_ms": None}
    if step["finding"] is not None:
        finding = step["finding"]
        # What was pressing once stays so until it is over: one that wavers about a limit is told once, not each time.
        least = row["priority"] if "key" in row and event not in BEGINS_AGAIN else finding["priority"]
        changes |= {
            "finding": finding,
            "priority": max(least, finding["priority"]),
            "since_ms": finding["since_ms"],
        }
        changes["key"] = finding["key"]
    if event == "acknowledge":
        changes |= {"acknowledged_ms": time_ms, "acknowledged_by": step["person"]}
    if event == "answered with another":
        # Answered by whoever answered the other, but by nobody at any moment of its own.
        changes |= {"acknowledged_ms": None, "acknowledged_by": step["person"]}
    if event in ("raise", "re-alarm") and step["state"] == "unacknowledged":
        changes |= {"acknowledged_ms": None, "acknowledged_by": None, "returned_ms": None}
    if event in ("unshelve", "release", "return to service"):
        changes |= {"acknowledged_ms": None, "acknowledged_by": None}
    if event == "return":
        changes["returned_ms"] = time_ms
    if event == "note":
        del changes["changed_ms"]
    if step["note"]:
        changes["note"] = step["note"]
    if step["state"] != step["state_before"]:
        changes["until_ms"] = step["until_ms"]
    if step["state"] == "normal" and event != "note":
        changes["ended_ms"] = time_ms
    return changes
