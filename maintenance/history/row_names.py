"""What names a row of the register in a history folder, in place of its number in one database."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.db.models import F, Q

from diestore.register.amendments import LONG_AGO, model_of
from diestore.register.models import Amendment, Plant

from .cells import quoted


@dataclass(frozen=True)
class Named:
    """paths: what names a row, together. plant: the way to its plant, where it is of one."""

    paths: tuple[str, ...]
    plant: str = ""


ROWS = {
    "diestore.plant": Named(("code",)),
    "diestore.person": Named(("name",), "plant"),
    "diestore.party": Named(("code",)),
    "diestore.press": Named(("code",), "plant"),
    "diestore.stock": Named(("code",)),
    "diestore.part": Named(("number", "revision")),
    "diestore.volume": Named(("part__number", "part__revision", "year")),
    "diestore.die": Named(("code",), "plant"),
    "diestore.variant": Named(("die__code", "code"), "die__plant"),
    "diestore.output": Named(
        ("variant__die__code", "variant__code", "part__number", "part__revision"), "variant__die__plant"
    ),
    "diestore.station": Named(("die__code", "code"), "die__plant"),
    "diestore.item": Named(("code", "revision")),
    "diestore.position": Named(("die__code", "code"), "die__plant"),
    "diestore.cut": Named(("die__code", "code"), "die__plant"),
    "diestore.piece": Named(("key",), "plant"),
    "diestore.rate": Named(("kind", "valid_from"), "plant"),
    "maintenance.benchhours": Named(("person__name",), "person__plant"),
    "maintenance.absence": Named(("person__name", "first", "last", "retired_at"), "person__plant"),
    "maintenance.grinder": Named(("code",), "plant"),
    "maintenance.order": Named(("number", "part__number", "part__revision"), "plant"),
}


class RowNames:
    """Names to numbers and back, table by table, of a plant and of what all plants share."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._by_key: dict[str, dict[int, tuple[str, ...]]] = {}
        self._by_name: dict[str, dict[tuple[str, ...], int]] = {}

    def name(self, table: str, key: object) -> tuple[str, ...] | None:
        return self._keys(table).get(int(key)) if str(key).isdigit() else None

    def key(self, table: str, name: Iterable[str]) -> int | None:
        """Of a cut, the number of its first row."""
        self._keys(table)
        return self._by_name[table].get(_plain(name))

    def _keys(self, table: str) -> dict[int, tuple[str, ...]]:
        if table not in self._by_key:
            named = ROWS[table]
            rows = model_of(table)._base_manager.order_by("pk")
            if named.plant:
                rows = rows.filter(**{named.plant: self.plant})
            first = [F("valid_from")] if table == "diestore.cut" else []
            made = list(rows.values_list("pk", *named.paths, *first))
            if first:
                made.sort(key=lambda row: row[-1] or LONG_AGO, reverse=True)
                made = [row[:-1] for row in made]
            self._by_key[table] = {pk: _plain(names) for pk, *names in made}
            self._by_name[table] = {name: pk for pk, name in self._by_key[table].items()}
        return self._by_key[table]


def _plain(names: Iterable[object]) -> tuple[str, ...]:
    """As a list comes back from a cell: trimmed, and nothing where nothing stood."""
    return tuple(text for name in names if (text := str(name).strip()))


def joined(names: Iterable[str]) -> str:
    return ";".join(quoted(name, ";") for name in names)


def parted(text: str) -> tuple[str, ...]:
    """Raises csv.Error."""
    return tuple(item.strip() for row in csv.reader([text], delimiter=";", strict=True) for item in row)


def in_folder_of(plant: Plant) -> Iterator[tuple[str, Amendment]]:
    """The changes that belong into a plant's folder, oldest first, each with a name that hangs on no number."""
    rows = Amendment.objects.filter(Q(plant=plant) | Q(plant=None)).select_related("die", "plant", "user", "struck_by")
    said: dict[str, int] = {}
    for row in rows.order_by("recorded_at", "pk").iterator(chunk_size=500):
        name = f"{row.recorded_at.isoformat()} {row.table} {row.sort} {row.called}".strip()
        said[name] = said.get(name, 0) + 1
        yield (name if said[name] == 1 else f"{name} #{said[name]}"), row
