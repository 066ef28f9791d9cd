"""SQLite lets one write at a time: a long load is done on a copy beside the database, and taken over in one go.

A load of a minute would hold up everybody who saves for that minute. So numbers for its rows are set aside, the
database is copied, and the load runs on the copy, which notes what rows it changes. Then one short transaction takes
over the new rows, the changed ones and those that went. Where somebody else changed one of those rows, or a die of the
load, meanwhile, the load is done again; after some tries it is done in place, and others wait.
"""

from __future__ import annotations

import logging
import os
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from django.db import DatabaseError, connection, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from maintenance.models import Change

logger = logging.getLogger(__name__)

Made = TypeVar("Made")

TRIES = 3
TABLE_ROWS_A_ROW = 4  # that a row of what is loaded makes at most in one table; where it is too little, that is noticed
SET_ASIDE_AT_LEAST = 10_000
NOTED = "beside_was_"  # tables of the copy: how rows were before the load changed them or took them out


class ChangedMeanwhile(Exception):
    """Somebody else wrote what the load rests on."""


@dataclass(frozen=True)
class Table:
    name: str
    key: str
    columns: tuple[str, ...]
    last: int  # the highest number in use when the copy was made
    until: int  # the highest that was set aside


def is_possible() -> bool:
    """Whether the database is one file, and nobody's transaction is under way here."""
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        return False
    name = str(connection.settings_dict["NAME"])
    return "memory" not in name and Path(name).is_file()


def done(work: Callable[[], Made], *, rows: int) -> Made:
    """What `work` gives, done on a copy and taken over. It writes by the default connection, in one transaction.

    rows: about how many rows it will be made from.
    """
    for attempt in range(TRIES):
        with _copy() as path:
            tables = _set_aside(rows)
            _copy_to(path)
            made, after = _work_there(path, tables, work)
            try:
                _take_over(path, tables, after)
                return made
            except ChangedMeanwhile as reason:
                logger.info("the load is done again (%s), try %d", reason, attempt + 2)
    with transaction.atomic():
        return work()


def tried(work: Callable[[], Made]) -> Made:
    """What `work` gives, done on a copy that is thrown away: so long as it lasts, nobody is held up."""
    with _copy() as path:
        _copy_to(path)
        made, _ = _work_there(path, [], work)
    return made


@contextmanager
def _copy() -> Iterator[Path]:
    """A place for the copy: beside the database, where there is room for it and rows are quickly taken from."""
    folder = Path(str(connection.settings_dict["NAME"])).parent
    number, name = tempfile.mkstemp(prefix=".load-", suffix=".sqlite3", dir=folder)
    os.close(number)
    try:
        yield Path(name)
    finally:
        for ending in ("", "-wal", "-shm", "-journal"):
            Path(name + ending).unlink(missing_ok=True)


def _set_aside(rows: int) -> list[Table]:
    """Keep numbers of every table free for the rows of the load."""
    more = TABLE_ROWS_A_ROW * rows + SET_ASIDE_AT_LEAST
    tables = []
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND sql LIKE '%AUTOINCREMENT%'")
        for (name,) in cursor.fetchall():
            cursor.execute(f"SELECT name, pk FROM pragma_table_info({_text(name)})")
            columns = cursor.fetchall()
            key = next(column for column, is_key in columns if is_key)
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [name])
            known = cursor.fetchone()
            last = known[0] if known else 0
            if known:
                cursor.execute("UPDATE sqlite_sequence SET seq = %s WHERE name = %s", [last + more, name])
            else:
                cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [name, last + more])
            tables.append(Table(name, key, tuple(column for column, _ in columns), last, last + more))
    return tables


def _copy_to(path: Path) -> None:
    connection.ensure_connection()
    with sqlite3.connect(path) as copy:
        connection.connection.backup(copy)
    copy.close()


def _work_there(path: Path, tables: list[Table], work: Callable[[], Made]) -> tuple[Made, list[Any]]:
    """Do the work on the copy. Returns what it gives, and what waits for its transaction to be committed."""
    here = connections["default"]
    there = _connection_to(path, here)
    connections["default"] = there
    try:
        with there.cursor() as cursor:
            for table in tables:
                cursor.execute("UPDATE sqlite_sequence SET seq = %s WHERE name = %s", [table.last, table.name])
                _note_changes(cursor, table)
        with transaction.atomic():
            made = work()
            after, there.run_on_commit = there.run_on_commit, []
        with there.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return made, [function for _, function, _ in after]
    finally:
        connections["default"] = here
        there.close()


def _connection_to(path: Path, here: BaseDatabaseWrapper) -> BaseDatabaseWrapper:
    return type(here)({**here.settings_dict, "NAME": str(path)}, alias="default")


def _note_changes(cursor, table: Table) -> None:
    """Have the copy keep how a row was before it was first changed or taken out; new rows have higher numbers."""
    name, noted = _name(table.name), _name(NOTED + table.name)
    old = ", ".join(f"OLD.{_name(column)}" for column in table.columns)
    key = _name(table.key)
    cursor.execute(f"CREATE TABLE {noted} AS SELECT * FROM {name} WHERE 0")
    cursor.execute(f"CREATE UNIQUE INDEX {_name(NOTED + 'key_' + table.name)} ON {noted} ({key})")
    for when in ("UPDATE", "DELETE"):
        cursor.execute(
            f"CREATE TRIGGER {_name(f'beside_{when}_{table.name}')} AFTER {when} ON {name} "
            f"WHEN OLD.{key} <= {table.last} BEGIN INSERT OR IGNORE INTO {noted} VALUES ({old}); END"
        )


def _take_over(path: Path, tables: list[Table], after: list[Any]) -> None:
    with connection.cursor() as cursor:
        cursor.execute("ATTACH DATABASE %s AS beside", [str(path)])
    try:
        with transaction.atomic():
            with connection.cursor() as cursor:
                _check_nobody_else(cursor, tables)
                for table in tables:
                    _take_changes(cursor, table)
                for table in tables:
                    _take_new(cursor, table)
                    _give_back(cursor, table)
            for function in after:
                transaction.on_commit(function)
    except DatabaseError as error:  # the same part made by somebody else, a run over another's
        raise ChangedMeanwhile(str(error)) from error
    finally:
        with connection.cursor() as cursor:
            cursor.execute("DETACH DATABASE beside")


def _check_nobody_else(cursor, tables: list[Table]) -> None:
    changed = _name(Change._meta.db_table)
    numbers = next(table for table in tables if table.name == Change._meta.db_table)
    for column in ("die_id", "item_id"):
        cursor.execute(
            f"SELECT 1 FROM main.{changed} WHERE id > {numbers.until} AND {column} IN "
            f"(SELECT {column} FROM beside.{changed} WHERE id > {numbers.last}) LIMIT 1"
        )
        if cursor.fetchone():
            raise ChangedMeanwhile(f"another wrote to the same {column.removesuffix('_id')}")
    for table in tables:
        key, name, noted = _name(table.key), _name(table.name), _name(NOTED + table.name)
        cursor.execute(f"SELECT MAX({key}) FROM beside.{name}")
        if (cursor.fetchone()[0] or 0) > table.until:
            raise ChangedMeanwhile(f"more rows of {table.name} than were set aside")
        columns = ", ".join(map(_name, table.columns))
        cursor.execute(
            f"SELECT 1 FROM (SELECT {columns} FROM beside.{noted} EXCEPT SELECT {columns} FROM main.{name} "
            f"WHERE {key} IN (SELECT {key} FROM beside.{noted})) LIMIT 1"
        )
        if cursor.fetchone():
            raise ChangedMeanwhile(f"another changed a row of {table.name}")


def _take_changes(cursor, table: Table) -> None:
    """Rows that the load took out go; those it changed become as they are in the copy."""
    key, name, noted = _name(table.key), _name(table.name), _name(NOTED + table.name)
    cursor.execute(
        f"DELETE FROM main.{name} WHERE {key} IN (SELECT {key} FROM beside.{noted}) "
        f"AND {key} NOT IN (SELECT {key} FROM beside.{name})"
    )
    others = ", ".join(_name(column) for column in table.columns if column != table.key)
    if others:
        cursor.execute(
            f"UPDATE main.{name} SET ({others}) = "
            f"(SELECT {others} FROM beside.{name} AS b WHERE b.{key} = main.{name}.{key}) "
            f"WHERE {key} IN (SELECT {key} FROM beside.{noted})"
        )


def _take_new(cursor, table: Table) -> None:
    columns, name = ", ".join(map(_name, table.columns)), _name(table.name)
    cursor.execute(
        f"INSERT INTO main.{name} ({columns}) SELECT {columns} FROM beside.{name} "
        f"WHERE {_name(table.key)} > {table.last} ORDER BY {_name(table.key)}"
    )


def _give_back(cursor, table: Table) -> None:
    """Numbers that were set aside and not taken, where nobody else has a higher one by now: addresses stay short."""
    name, key = _name(table.name), _name(table.key)
    cursor.execute(
        f"UPDATE main.sqlite_sequence SET seq = MAX({table.last}, (SELECT COALESCE(MAX({key}), 0) FROM main.{name})) "
        f"WHERE name = %s AND seq = {table.until}",
        [table.name],
    )


def _name(word: str) -> str:
    return connection.ops.quote_name(word)


def _text(word: str) -> str:
    return "'" + word.replace("'", "''") + "'"
