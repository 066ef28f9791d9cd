"""Rules that the database keeps itself, on both engines: no overlap in time.

Two runs of one die, two pieces in one position, one piece in two positions, two dies in one press, one die in two
presses: never at the same moment.
PostgreSQL has exclusion constraints for this; SQLite gets triggers. Installed after every migrate and not in a
migration, because SQLite remakes a table when its columns change and drops the table's triggers with it.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.db import connections

FAR_PAST, FAR_FUTURE = "0000-00-00", "9999-99-99"


@dataclass(frozen=True)
class NoOverlap:
    name: str
    table: str
    same: str
    since: str
    until: str
    standing: str  # which rows the rule holds for, as a condition on {row}
    open_ended: bool = True  # since or until may be empty: without limit


RULES = (
    NoOverlap(
        "run_no_overlap", "maintenance_run", "die_id", "started", "at", "{row}struck_at IS NULL", open_ended=False
    ),
    NoOverlap("fitting_no_overlap_in_position", "maintenance_fitting", "position_id", "since", "until", "1 = 1"),
    NoOverlap("fitting_no_overlap_of_piece", "maintenance_fitting", "piece_id", "since", "until", "1 = 1"),
    NoOverlap(
        "in_press_no_overlap_of_press",
        "maintenance_dieinpress",
        "press_id",
        "since",
        "until",
        "{row}struck_at IS NULL",
    ),
    NoOverlap(
        "in_press_no_overlap_of_die", "maintenance_dieinpress", "die_id", "since", "until", "{row}struck_at IS NULL"
    ),
)


def install_rules(using: str = "default", **kwargs) -> None:
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for rule in RULES:
            if rule.table not in tables:
                continue
            if connection.vendor == "postgresql":
                _exclusion(cursor, rule)
            elif connection.vendor == "sqlite":
                _triggers(cursor, rule)


def _exclusion(cursor, rule: NoOverlap) -> None:
    cursor.execute("SELECT 1 FROM pg_constraint WHERE conname = %s", [rule.name])
    if cursor.fetchone():
        return
    cursor.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
    cursor.execute(
        f"ALTER TABLE {rule.table} ADD CONSTRAINT {rule.name} EXCLUDE USING gist "
        f'({rule.same} WITH =, tstzrange("{rule.since}", "{rule.until}") WITH &&) '
        f"WHERE ({rule.standing.format(row='')})"
    )


def _triggers(cursor, rule: NoOverlap) -> None:
    for moment in ("INSERT", "UPDATE"):
        cursor.execute(
            f"CREATE TRIGGER IF NOT EXISTS {rule.name}_{moment.lower()} BEFORE {moment} ON {rule.table} "
            f"WHEN {rule.standing.format(row='NEW.')} "
            f"BEGIN SELECT RAISE(ABORT, '{rule.name}') WHERE EXISTS (SELECT 1 FROM {rule.table} AS other "
            f"WHERE other.{rule.same} = NEW.{rule.same} AND other.id <> COALESCE(NEW.id, -1) "
            f"AND {rule.standing.format(row='other.')} AND {_meets(rule)}); END"
        )


def _meets(rule: NoOverlap) -> str:
    """NEW and other overlap. Plain columns where none can be empty: then the index on them is used, and a die with
    20,000 runs takes another as quickly as one with ten."""
    since, until = f'"{rule.since}"', f'"{rule.until}"'
    if not rule.open_ended:
        return f"other.{since} < NEW.{until} AND other.{until} > NEW.{since}"
    return (
        f"COALESCE(other.{since}, '{FAR_PAST}') < COALESCE(NEW.{until}, '{FAR_FUTURE}') "
        f"AND COALESCE(other.{until}, '{FAR_FUTURE}') > COALESCE(NEW.{since}, '{FAR_PAST}')"
    )
