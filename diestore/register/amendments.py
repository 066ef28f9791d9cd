"""What the register's changes say: values as they are stored and as they are read, and the past of one row.

Nothing is written here; that is `actions`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from django.apps import apps
from django.db import models
from django.db.models import F
from django.utils import timezone

from diestore import units

from .models import Amendment, Cut, Die, Item, Plant, Position

LONG_AGO = dt.datetime.min.replace(tzinfo=dt.UTC)
NOTHING = "–"


def table_of(row: models.Model | type[models.Model]) -> str:
    return row._meta.label_lower


def model_of(table: str) -> type[models.Model]:
    return apps.get_model(table)


def key_of(row: models.Model) -> int:
    """The key by which the changes of a row are kept: of a cut, that of its first row."""
    return rows_of_cut(row)[0].pk if isinstance(row, Cut) else row.pk


def rows_of_cut(cut: Cut) -> list[Cut]:
    """All rows of a cut, as it was one after the other."""
    return sorted(Cut.objects.filter(die=cut.die_id, code=cut.code), key=lambda row: row.valid_from or LONG_AGO)


def die_of(row: models.Model) -> Die | None:
    """The die that a row belongs to, where it belongs to one."""
    if isinstance(row, Die):
        return row
    for name in ("die", "variant", "station", "position"):
        if isinstance(row, models.Model) and _has(row, name) and (of := getattr(row, name)) is not None:
            return die_of(of)
    return None


def plant_of(row: models.Model) -> Plant | None:
    if isinstance(row, Plant):
        return row
    if _has(row, "plant"):
        return row.plant
    die = die_of(row)
    return die.plant if die is not None else None


def _has(row: models.Model, name: str) -> bool:
    return any(field.name == name for field in row._meta.concrete_fields)


def stored(row: models.Model, name: str):
    """A column's value as it is kept in a change: text, nothing, or the keys of several rows."""
    field = row._meta.get_field(name)
    if field.many_to_many:
        return sorted(getattr(row, name).values_list("pk", flat=True)) if row.pk else []
    value = field.value_from_object(row)
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat()
    return field.value_to_string(row)


def value_of(row: models.Model | type[models.Model], name: str, kept):
    """The value of the column again, of what `stored` made of it: of a foreign key its key."""
    field = row._meta.get_field(name)
    if field.many_to_many:
        return list(kept or [])
    if kept is None:
        return None
    return (field.target_field if field.is_relation else field).to_python(kept)


def put(row: models.Model, name: str, kept) -> None:
    """A column back to what a change kept of it; several rows only once the row is saved."""
    field = row._meta.get_field(name)
    if field.many_to_many:
        getattr(row, name).set(value_of(row, name, kept))
    else:
        setattr(row, field.attname, value_of(row, name, kept))


def label_of(row: models.Model | type[models.Model], name: str) -> str:
    """What a column is called where people read it: without the unit at its end."""
    words = name.split("_")
    if len(words) > 1 and words[-1] in ("mm", "um", "n", "mpa", "hrc", "kg"):
        return " ".join(words[:-1])
    return str(row._meta.get_field(name).verbose_name)


def as_read(
    row: models.Model | type[models.Model], name: str, kept, system: units.System | str = units.System.METRIC
) -> str:
    """A kept value as a person reads it, in that person's units."""
    field = row._meta.get_field(name)
    if kept is None or kept in ("", []):
        return NOTHING
    if field.is_relation:
        keys = kept if field.many_to_many else [kept]
        return ", ".join(str(one) for one in field.related_model._base_manager.filter(pk__in=keys)) or NOTHING
    value = field.to_python(kept)
    if field.choices:
        return str(dict(field.flatchoices).get(value, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        return f"{timezone.localtime(value):%d %b %Y, %H:%M}".lstrip("0")
    if isinstance(value, dt.date):
        return f"{value:%d %b %Y}".lstrip("0")
    return _number(name, value, system)


def _number(name: str, value, system: units.System | str) -> str:
    if isinstance(value, float):
        try:
            return units.show(value, name, system)
        except KeyError:
            return f"{value:,g}"
    return f"{value:,}" if isinstance(value, int) else str(value)


# --- the past of one row ----------------------------------------------------------------------------------------------


def of_row(row: models.Model):
    """The changes of a row, the newest first, with those struck out."""
    return Amendment.objects.filter(table=table_of(row), row_key=key_of(row)).select_related("user", "struck_by")


def of_die(die: Die):
    """The changes of a die and of all that belongs to it, the newest first."""
    return Amendment.objects.filter(die=die).select_related("user", "struck_by")


def newest_of(row: models.Model) -> int:
    """The number of the newest entry about a row, nought where there is none: what a form carries that was opened."""
    return of_row(row).order_by("-pk").values_list("pk", flat=True).first() or 0


def standing(row: models.Model) -> list[Amendment]:
    """The changes of a row that count, in the order in which they hold."""
    rows = Amendment.objects.filter(table=table_of(row), row_key=key_of(row), struck_at=None)
    return list(rows.order_by(F("at").asc(nulls_first=True), "pk"))


@dataclass(frozen=True)
class Link:
    """What one change says of one column. since: from when that holds."""

    amendment: Amendment
    name: str
    since: dt.datetime

    @property
    def entry(self) -> dict:
        return self.amendment.fields[self.name]

    @property
    def order(self) -> tuple[dt.datetime, int]:
        return self.since, self.amendment.pk


def chain(changes: list[Amendment], name: str) -> list[Link]:
    """What standing changes say of a column, one after the other."""
    links = [Link(a, name, moment_of(a.fields[name]["at"])) for a in changes if name in a.fields]
    return sorted(links, key=lambda link: link.order)


def moment_of(text: str | None) -> dt.datetime:
    return LONG_AGO if text is None else dt.datetime.fromisoformat(text)


def text_of(moment: dt.datetime | None) -> str | None:
    return None if moment in (None, LONG_AGO) else moment.astimezone(dt.UTC).isoformat()


# --- as people read it ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Line:
    label: str
    was: str
    now: str


@dataclass(frozen=True)
class Told:
    """A change as a page shows it."""

    amendment: Amendment
    what: str
    lines: tuple[Line, ...]


def told(amendment: Amendment, system: units.System | str = units.System.METRIC) -> Told:
    """In the reader's units. A row that another table's past names by its key is read as it was called then."""
    model = model_of(amendment.table)
    return Told(amendment, str(model._meta.verbose_name), tuple(_lines(model, amendment, system)))


def _lines(model, amendment: Amendment, system) -> Iterator[Line]:
    for name, entry in amendment.fields.items():
        was, now = entry["was_read"], entry["now_read"]
        field = model._meta.get_field(name)
        if isinstance(field, models.FloatField):
            was, now = (as_read(model, name, entry[which], system) for which in ("was", "now"))
        yield Line(entry["label"], was, now)


def along_with(amendment: Amendment) -> list[Amendment]:
    """The changes that went along when something took the place of a spare: of its places, and of what it had itself
    taken the place of. Nothing where the change is none of that sort."""
    now = amendment.fields.get("newer", {}).get("now")
    if amendment.table != table_of(Item) or now is None or amendment.fields["newer"]["was"] is not None:
        return []
    rows = Amendment.objects.filter(
        table__in=[table_of(Position), table_of(Item)], at=amendment.at, reason=amendment.reason,
        struck_at=None,
    ).exclude(pk=amendment.pk)  # fmt: skip
    old = str(amendment.row_key)
    found = []
    for row in rows.order_by("-pk"):
        entry = row.fields.get("item" if row.table == table_of(Position) else "newer")
        if entry is not None and str(entry["was"]) == old and entry["now"] == now:
            found.append(row)
    return found
