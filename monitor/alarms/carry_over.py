"""What was told while there was no journal, written into the journal once there is one."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.alarms import journal as tables
from monitor.alarms.journal import Journal, changes_of, inserted

_OF_MESSAGES = (
    tables.message_alarms,
    tables.groupings,
    tables.news,
    tables.texts,
    tables.attempts,
    tables.waiting,
)


def carry_over(kept: Journal, journal: Journal) -> None:
    """Add the alarms and messages of a journal that was kept in memory to another, in one transaction.

    They get numbers of their own there, and names that no other message has.  An alarm that stands in both goes on there.
    """
    with kept.reading() as source, journal.transaction() as connection:
        alarms = _carry_alarms(source, connection)
        messages: dict[int, int] = {}
        for row in _rows(source, tables.messages):
            values = {**row, "once": f"{kept.name}/{row['once']}"}
            number = values.pop("id")
            messages[number] = inserted(connection, tables.messages, values)
        for table in _OF_MESSAGES:
            for row in _rows(source, table):
                connection.execute(
                    table.insert().values(**_renumbered(table, row, kept.name, messages, alarms))
                )


def _carry_alarms(source: Connection, connection: Connection) -> dict[int, int]:
    """Add the transitions and the alarms that follow from them; the new number of each alarm."""
    keys = {row["id"]: row["key"] for row in _rows(source, tables.alarms)}
    alarms, column = dict[int, dict[str, Any]](), tables.alarms.c
    for step in _rows(source, tables.transitions):
        row = alarms.get(step["alarm_id"])
        if row is None:
            standing = sa.select(tables.alarms).where(
                column.key == keys[step["alarm_id"]], column.ended_ms.is_(None)
            )
            found = connection.execute(standing).mappings().first()
            row = alarms[step["alarm_id"]] = dict(found) if found else {}
        newest = connection.execute(sa.select(sa.func.coalesce(sa.func.max(column.id), 0))).scalar_one()
        number = row.get("id") or newest + 1
        values = {**step, "alarm_id": number}
        del values["id"]
        inserted(connection, tables.transitions, values)
        changes = changes_of(values, row)
        if row:
            connection.execute(tables.alarms.update().where(column.id == number).values(**changes))
        else:
            connection.execute(tables.alarms.insert().values(id=number, **changes))
        row.update(changes, id=number)
    return {old: row["id"] for old, row in alarms.items()}


def _renumbered(
    table: sa.Table, row: dict[str, Any], name: str, messages: dict[int, int], alarms: dict[int, int]
) -> dict[str, Any]:
    values = {**row, "message_id": messages[row["message_id"]]}
    if table is tables.attempts:
        del values["id"]
    if "alarm_id" in values:
        values["alarm_id"] = alarms.get(values["alarm_id"], values["alarm_id"])
    if table is tables.news:
        values["name"] = f"{name}/{values['name']}"
    if values.get("group_key", "").startswith("over/"):
        values["group_key"] = f"over/{name}/{values['group_key']}"
    return values


def _rows(connection: Connection, table: sa.Table) -> list[dict[str, Any]]:
    query = sa.select(table).order_by(*table.primary_key.columns)
    return [dict(row) for row in connection.execute(query).mappings()]
