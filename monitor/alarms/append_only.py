"""What keeps the journal append-only in the database itself, not only by the program's good manners."""

from __future__ import annotations

from sqlalchemy.engine import Connection

KEPT = (
    "transitions",
    "messages",
    "message_alarms",
    "groupings",
    "news",
    "texts",
    "attempts",
    "planned_work",
    "planned_ends",
    "clock_steps",
)
"""Tables to which rows are added and nothing else; ``alarms`` and ``waiting`` are views of them, made again at will."""
REFUSAL = "the journal of alarms is only added to; nothing in it is changed or removed"


def keep_append_only(connection: Connection) -> None:
    """Have the database refuse to change or remove rows of the journal; twice does no harm."""
    if connection.dialect.name == "sqlite":
        for table in KEPT:
            for verb in ("UPDATE", "DELETE"):
                connection.exec_driver_sql(
                    f"CREATE TRIGGER IF NOT EXISTS {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
                )
        return
    connection.exec_driver_sql(
        "CREATE OR REPLACE FUNCTION alarms_append_only() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$"
    )
    for table in KEPT:
        connection.exec_driver_sql(f"DROP TRIGGER IF EXISTS {table}_append_only ON {table}")
        connection.exec_driver_sql(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION alarms_append_only()"
        )
