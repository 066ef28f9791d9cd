"""Loads the changes of the register: what was otherwise and since when, to be read and struck out here too."""

from __future__ import annotations

import csv
from collections import defaultdict

from django.core.exceptions import FieldDoesNotExist, ValidationError
from django.db.models import Max

from diestore.register.amendments import model_of, text_of, value_of
from diestore.register.models import Amendment, Plant

from . import columns as tables
from .files import Folder, Row
from .merging import TableLoader
from .problems import BadRow
from .row_names import ROWS, RowNames, in_folder_of, parted
from .shop import Shop

WHAT = "changes of the register"
NO_ROW = "0"  # the number of no row
STRUCK = ("struck_at", "struck_reason")
BATCH = 200


class Amended(TableLoader):
    """Made before the register is loaded: where that is left alone, only what was not there has a past to bring."""

    def __init__(self, folder: Folder, shop: Shop) -> None:
        super().__init__(folder, shop)
        self.last_before = {
            table: model_of(table)._base_manager.aggregate(last=Max("pk"))["last"] or 0
            for table in (ROWS if shop.leave else ())
        }
        if shop.leave and not shop.dies:  # a plant made for the book that is brought
            self.last_before["diestore.plant"] = 0

    def load(self) -> None:
        self.names = RowNames(self.shop.plant)
        self.known = dict(in_folder_of(self.shop.plant)) if tables.AMENDMENTS.file in self.folder.files else {}
        self.new: dict[str, Amendment] = {}
        self.lines: dict[str, int] = {}
        self.said: dict[str, dict] = defaultdict(dict)
        self.left_out: set[str] = set()
        self.each(tables.AMENDMENTS, self._take)
        self.each(tables.AMENDED, self._take_column)
        self.findings.stop_if_wrong()
        for name, made in self.new.items():
            made.fields = self.said[name]
        Amendment.objects.bulk_create(self.new.values(), batch_size=BATCH)
        if self.new:
            self.shop.counts.added[WHAT] += len(self.new)
        if self.left_out:
            self.shop.left.append(f"changes of what stands here already: {len(self.left_out):,} in the file")

    def _take(self, row: Row) -> None:
        shop, name, table = self.shop, row["amendment"], row["table"]
        if name in self.lines:
            raise BadRow(f"This stands in line {self.lines[name]:,} already.", "amendment")
        self.lines[name] = row.line
        if table not in ROWS:
            raise BadRow(f"There is no table {table!r} of the register. They are: {', '.join(ROWS)}.", "table")
        if ("struck_at" in row) != ("struck_reason" in row):
            raise BadRow("A change that was struck out says when and why: struck_at, struck_reason.", "struck_at")
        if "reason" not in row and row["sort"] != Amendment.Sort.ENTERED:
            raise BadRow("A change has a reason.", "reason")
        struck = {
            "struck_at": row.get("struck_at"),
            "struck_by_id": shop.user(row["struck_sign_in"]) if "struck_sign_in" in row else None,
            "struck_who": row.get("struck_who", ""),
            "struck_reason": row.get("struck_reason", ""),
        }
        if (standing := self.known.get(name)) is not None:
            self._same_again(standing, struck)
            return
        key = self.names.key(table, row["row"]) if "row" in row else None
        if shop.leave and key is not None and key <= self.last_before[table]:
            self.left_out.add(name)
            return
        self.new[name] = Amendment(
            **struck,
            table=table,
            row_key=NO_ROW if key is None else key,
            called=row["called"],
            die_id=shop.die(row["die"]).pk if "die" in row else None,
            plant=self._plant(row["plant"]) if "plant" in row else None,
            sort=row["sort"],
            at=row.get("at"),
            kept={"called": row["was_called"]} if "was_called" in row else None,
            opened_row=row.get("opened_row", False),
            reason=row.get("reason", ""),
            user_id=shop.user(row["sign_in"]) if "sign_in" in row else None,
            who=row.get("who", ""),
            recorded_at=row["recorded_at"],
        )

    def _same_again(self, standing: Amendment, struck: dict) -> None:
        """What was struck out there since is struck out here; the register's own tables carry what that changed."""
        if struck["struck_at"] is None or standing.is_struck:
            self.shop.counts.stood[WHAT] += 1
        elif self.shop.leave:
            self.left_out.add(standing.called)
        else:
            for name, value in struck.items():
                setattr(standing, name, value)
            standing.save(update_fields=[name.removesuffix("_id") for name in struck])
            self.shop.counts.struck[WHAT] += 1

    def _plant(self, code: str) -> Plant:
        return next((p for p in Plant.objects.filter(code=code)), self.shop.plant)

    def _take_column(self, row: Row) -> None:
        name, column = row["amendment"], row["column"]
        if name not in self.lines and tables.AMENDMENTS.file in self.folder.files:
            raise BadRow("amendments.csv has no change of that name.", "amendment")
        if name not in self.new:
            return
        if column in self.said[name]:
            raise BadRow(f"The column {column[:40]} of this change stands in the file twice.", "column")
        made = self.new[name]
        model = model_of(made.table)
        try:
            field = model._meta.get_field(column)
            if not (field.concrete or field.many_to_many) or field.auto_created:
                raise FieldDoesNotExist
        except FieldDoesNotExist:
            raise BadRow(f"{made.table} has no column {column[:40]!r}.", "column") from None
        self.said[name][column] = {
            "label": row["label"],
            "was": None if made.sort == Amendment.Sort.ENTERED else self._kept(model, field, row, "was"),
            "now": self._kept(model, field, row, "now"),
            "was_read": row.get("was_read", ""),
            "now_read": row.get("now_read", ""),
            "at": text_of(row.get("at")),
        } | ({"until": text_of(row["until"])} if "until" in row else {})

    def _kept(self, model, field, row: Row, which: str):
        """A cell as a change keeps it: text, nothing, or the numbers of rows."""
        text = row.get(which)
        try:
            if field.is_relation:
                return self._keys(field, text)
            if text is None:
                return "" if isinstance(field.get_default(), str) or not field.null else None
            value_of(model, field.name, text)
        except csv.Error:
            raise BadRow("This is not a list. Put ; between its items.", which) from None
        except (ValidationError, ValueError, TypeError, ArithmeticError):
            raise BadRow(f"{text[:40]!r} cannot stand in {field.name}.", which) from None
        return text

    def _keys(self, field, text: str | None):
        other = field.related_model._meta.label_lower
        if other not in ROWS:
            raise BadRow(f"{field.name} names rows that no folder has.", "column")
        if field.many_to_many:
            found = [self.names.key(other, parted(one)) for one in parted(text or "")]
            return sorted(key for key in found if key is not None)
        if text is None:
            return None
        key = self.names.key(other, parted(text))
        return NO_ROW if key is None else str(key)
