"""The ledger's tables and the named, ordered migrations that make them."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import (
    BigInteger,
    Column,
    Connection,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    inspect,
    select,
)

from monitor.clock import now_ms
from monitor.errors import LedgerError

_Key = BigInteger().with_variant(Integer, "sqlite")

metadata = MetaData()
migrations = Table(
    "ledger_migrations",
    metadata,
    Column("name", Text, primary_key=True),
    Column("applied_ms", BigInteger, nullable=False),
)
makes = Table(
    "makes",
    metadata,
    Column("id", _Key, primary_key=True),
    Column("name", Text, nullable=False, index=True),
)
wheels = Table(
    "wheels",
    metadata,
    Column("id", _Key, primary_key=True),
    Column("name", Text, nullable=False, index=True),
    Column("make_id", ForeignKey("makes.id"), nullable=False, index=True),
)
entries = Table(
    "entries",
    metadata,
    Column("id", _Key, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("at_ms", BigInteger, nullable=False),
    Column("recorded_ms", BigInteger, nullable=False),
    Column("author", Text, nullable=False),
    Column("make_id", ForeignKey("makes.id"), nullable=False),
    Column("wheel_id", ForeignKey("wheels.id"), nullable=True),
    Column("details", Text, nullable=False),
    Column("corrects", ForeignKey("entries.id"), nullable=True),
    Column("batch", Text, nullable=False, default=""),
    Index("entries_by_wheel", "wheel_id", "at_ms"),
    Index("entries_by_make", "make_id", "kind"),
    Index("entries_by_corrected", "corrects"),
)


def _first_tables(connection: Connection) -> None:
    metadata.create_all(connection, tables=[makes, wheels, entries])


def _never_overwritten(connection: Connection) -> None:
    """Entries are append-only in the database itself, not only by the program's good manners."""
    refusal = "an entry of the ledger is never changed or removed; correct it by a new one"
    if connection.dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            connection.exec_driver_sql(
                f"CREATE TRIGGER IF NOT EXISTS entries_no_{verb.lower()} BEFORE {verb} ON entries "
                f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END"
            )
        return
    connection.exec_driver_sql(
        "CREATE OR REPLACE FUNCTION ledger_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{refusal}'; END $$"
    )
    connection.exec_driver_sql(
        "CREATE TRIGGER entries_append_only BEFORE UPDATE OR DELETE ON entries "
        "FOR EACH ROW EXECUTE FUNCTION ledger_append_only()"
    )


MIGRATIONS: tuple[tuple[str, Callable[[Connection], None]], ...] = (
    ("makes wheels and entries", _first_tables),
    ("entries are never overwritten", _never_overwritten),
)
"""Applied in this order, each once, all in one transaction; a name never changes once released."""


def migrate(connection: Connection) -> None:
    """Bring the tables up to date; the caller holds the write lock.

    Raises
    ------
    LedgerError
        The ledger was written by a newer version of the project.
    """
    if not inspect(connection).has_table(migrations.name):
        migrations.create(connection, checkfirst=True)
    applied = set(connection.execute(select(migrations.c.name)).scalars())
    newer = applied - {name for name, _ in MIGRATIONS}
    if newer:
        raise LedgerError(
            f"the ledger is of a newer version (it knows {sorted(newer)[0]!r}); update the monitor"
        )
    for name, change in MIGRATIONS:
        if name not in applied:
            change(connection)
            connection.execute(migrations.insert().values(name=name, applied_ms=now_ms()))
