"""What stands on a row of the register, in any app above: rows that name it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from django.apps import apps
from django.db import models


def model_of(table: str) -> type[models.Model]:
    return apps.get_model(table)


def _ways(row: models.Model) -> Iterator[models.ForeignKey]:
    """The columns of other tables that name rows of this one. What the audit keeps names nothing that must be."""
    for relation in row._meta.get_fields(include_hidden=True):
        if not (relation.auto_created and not relation.concrete and (relation.one_to_many or relation.one_to_one)):
            continue
        if not hasattr(relation.related_model, "instance_type"):  # the audit's tables
            yield relation.field


def move(row: models.Model, into: models.Model) -> list[dict]:
    """All that names a row names the other from now on. Returns what was moved, to be moved back."""
    moved = []
    for field in _ways(row):
        rows = field.model._base_manager.filter(**{field.attname: row.pk})
        keys = sorted(rows.values_list("pk", flat=True))
        if keys:
            rows.update(**{field.attname: into.pk})
            moved.append({"table": field.model._meta.label_lower, "column": field.name, "keys": keys})
    return moved


def let_go(row: models.Model) -> list[dict]:
    """What would only forget a row that goes, to name it again where it comes back."""
    found = []
    for field in _ways(row):
        if field.remote_field.on_delete is models.SET_NULL:
            keys = sorted(field.model._base_manager.filter(**{field.attname: row.pk}).values_list("pk", flat=True))
            found += [{"table": field.model._meta.label_lower, "column": field.name, "keys": keys}] if keys else []
    return found


def move_back(moved: Iterable[dict], row: models.Model) -> None:
    for some in moved:
        model = model_of(some["table"])
        name = model._meta.get_field(some["column"]).attname
        model._base_manager.filter(pk__in=some["keys"]).update(**{name: row.pk})


def in_words(rows: Iterable[models.Model]) -> str:
    """What stands there, counted: 3 runs, 1 fitting."""
    counts = Counter(type(row) for row in rows)
    words = [
        f"{n} {model._meta.verbose_name if n == 1 else model._meta.verbose_name_plural}" for model, n in counts.items()
    ]
    return ", ".join(words[:-1]) + (" and " if len(words) > 1 else "") + words[-1] if words else "other entries"
