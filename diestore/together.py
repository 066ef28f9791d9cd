"""Several reads in one question to the database.

A page that shows a die reads twenty tables. Asked one after another, each costs its way there and back and the work of
putting the question; asked together, the answer is one row with a list in it for each. The reads are query sets as
always, of rows (`values_list`) or of models (`select_related` too), and come back as lists of the same.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django.core.exceptions import EmptyResultSet
from django.db import connections, models
from django.db.models.query import ModelIterable, QuerySet, ValuesListIterable, get_related_populators
from django.db.models.query import prefetch_related_objects as prefetch

# The name of a list of values, and of a list of rows.
_LISTS = {"sqlite": ("json_array", "json_group_array"), "postgresql": ("json_build_array", "json_agg")}
WIDE = 90  # values that a list takes; a row with more is a list of lists
# SQLite writes a number into a list with fifteen figures; two more, and it is read back as it was kept.
_EXACT = "CASE WHEN {column} IS NULL THEN NULL ELSE printf('%!.17g', {column}) END"


def read(**asked: QuerySet) -> dict[str, list]:
    """The rows of each read, by its name. Orders and slices hold; `prefetch_related` is asked for afterwards."""
    told: dict[str, list] = {name: [] for name in asked}
    reads = {name: _Read(query) for name, query in asked.items() if not query.query.is_empty()}
    reads = {name: one for name, one in reads.items() if one.sql}
    if not reads:
        return told
    connection = connections[next(iter(reads.values())).using]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT " + ", ".join(one.sql for one in reads.values()),
            [value for one in reads.values() for value in one.params],
        )
        row = cursor.fetchone()
    for (name, one), cell in zip(reads.items(), row, strict=True):
        rows = json.loads(cell) if isinstance(cell, str) else cell
        told[name] = one.made_of(rows or [])
    return told


class _Read:
    """One of the reads: its SQL as a list in a single cell, and what is made of the answer."""

    def __init__(self, query: QuerySet) -> None:
        self.query, self.using = query, query.db
        connection = connections[self.using]
        self.compiler = query.query.get_compiler(using=self.using)
        try:
            sql, self.params = self.compiler.as_sql(with_col_aliases=True)
        except EmptyResultSet:
            self.sql = ""
            return
        exact = connection.vendor == "sqlite"
        number, columns, self.ways = 0, [], []
        for expression, _, alias in self.compiler.select:
            if alias is None:
                number += 1
                alias = f"col{number}"
            column = f"told.{connection.ops.quote_name(alias)}"
            if exact and expression.output_field.get_internal_type() in ("FloatField", "DecimalField"):
                column = _EXACT.format(column=column).replace("%", "%%")
            columns.append(column)
            self.ways.append(_way_of(expression))
        values, rows = _LISTS[connection.vendor]
        parts = [f"{values}({', '.join(columns[n : n + WIDE])})" for n in range(0, len(columns), WIDE)]
        self.is_wide = len(parts) > 1
        row = f"{values}({', '.join(parts)})" if self.is_wide else parts[0]
        self.sql = f"(SELECT {rows}({row}) FROM ({sql}) AS told)"

    def made_of(self, rows: list[list]) -> list:
        if self.is_wide:
            rows = [[value for part in row for value in part] for row in rows]
        for place, way in enumerate(self.ways):
            if way is not None:
                for row in rows:
                    if row[place] is not None:
                        row[place] = way(row[place])
        if issubclass(self.query._iterable_class, ModelIterable):
            return self._models(rows)
        if issubclass(self.query._iterable_class, ValuesListIterable):
            return [tuple(row) for row in rows]
        raise TypeError("read together rows by values_list, or models")

    def _models(self, rows: list[list]) -> list:
        """As the query set itself would."""
        select, told = self.compiler.select, self.compiler.klass_info
        first, last = told["select_fields"][0], told["select_fields"][-1] + 1
        names = [column[0].target.attname for column in select[first:last]]
        along = get_related_populators(told, select, self.using)
        found = []
        for row in rows:
            one = told["model"].from_db(self.using, names, row[first:last])
            for populator in along:
                populator.populate(row, one)
            for name, place in self.compiler.annotation_col_map.items():
                setattr(one, name, row[place])
            found.append(one)
        if self.query._prefetch_related_lookups:
            prefetch(found, *self.query._prefetch_related_lookups)
        return found


def _moment(text: str) -> dt.datetime:
    moment = dt.datetime.fromisoformat(text)
    return moment.replace(tzinfo=dt.UTC) if moment.tzinfo is None else moment


def _json(value: Any) -> Any:
    return json.loads(value) if isinstance(value, str) else value  # SQLite keeps it as text


def _decimal(step: Decimal | None) -> Callable:
    return lambda value: Decimal(str(value)) if step is None else Decimal(str(value)).quantize(step)


def _way_of(expression) -> Callable | None:
    """From what stands in a list to the value of the column; None where that is the same."""
    field = expression.output_field
    while isinstance(field, models.ForeignKey):
        field = field.target_field
    kind, way = field.get_internal_type(), None
    if kind == "DateTimeField":
        way = _moment
    elif kind == "DateField":
        way = dt.date.fromisoformat
    elif kind == "BooleanField":
        way = bool
    elif kind == "FloatField":
        way = float
    elif kind == "DecimalField":
        way = _decimal(None if field.decimal_places is None else Decimal(1).scaleb(-field.decimal_places))
    elif kind == "JSONField":
        return _json
    elif not (kind in ("CharField", "TextField") or kind.endswith(("IntegerField", "AutoField"))):
        raise TypeError(f"no way to read {type(field).__name__} together with others")
    if hasattr(field, "from_db_value"):  # a field of our own
        return lambda value: field.from_db_value(way(value) if way else value, expression, None)
    return way
