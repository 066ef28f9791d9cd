"""The tables of a history folder that say how the register came to be as it is."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from diestore.register.amendments import model_of
from diestore.register.models import Amendment, Plant

from .row_names import ROWS, RowNames, in_folder_of, joined

GONE = "(gone)"


class AmendedTables:
    """Rows of two tables."""

    plant: Plant

    @cached_property
    def row_names(self) -> RowNames:
        return RowNames(self.plant)

    def amendments(self) -> Iterator[dict]:
        for name, a in in_folder_of(self.plant):
            row = self.row_names.name(a.table, a.row_key) if a.table in ROWS else None
            yield {
                "amendment": name,
                "row": list(row) if row else None,
                "die": a.die and a.die.code,
                "plant": a.plant and a.plant.code,
                "opened_row": a.opened_row or None,
                "was_called": (a.kept or {}).get("called"),
                "sign_in": a.user and a.user.username,
                "struck_sign_in": a.struck_by and a.struck_by.username,
            } | {n: getattr(a, n) for n in ("table", "called", "sort", "at", "reason", "who", "recorded_at",
                                            "struck_at", "struck_who", "struck_reason")}  # fmt: skip

    def amended(self) -> Iterator[dict]:
        for name, a in in_folder_of(self.plant):
            for column in sorted(a.fields):
                yield {"amendment": name, "column": column} | self._said(a, column)

    def _said(self, a: Amendment, column: str) -> dict:
        entry = a.fields[column]
        return {
            "was": self._as_cell(a.table, column, entry["was"]),
            "now": self._as_cell(a.table, column, entry["now"]),
            "until": entry.get("until"),
        } | {name: entry[name] for name in ("label", "was_read", "now_read", "at")}

    def _as_cell(self, table: str, column: str, kept) -> str | None:
        """A value as it is kept, with rows of other tables by their names."""
        field = model_of(table)._meta.get_field(column)
        if not field.is_relation or kept is None:
            return kept
        other = field.related_model._meta.label_lower
        named = [self.row_names.name(other, key) for key in (kept if field.many_to_many else [kept])]
        texts = [joined(name) if name else GONE for name in named]
        return joined(texts) if field.many_to_many else texts[0]
