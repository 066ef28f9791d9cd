"""Bills of a history folder, in and out: a row each, and a file each where a photo or a PDF is kept."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from diestore import pictures
from diestore.register.models import Plant
from maintenance.log import bills as kept
from maintenance.log.rules import EntryRefused
from maintenance.models import Bill, BillPaper
from maintenance.models.keys import FILE_KEY

from .attached import write_files
from .bill_columns import BILLS, PAPERS
from .files import Row
from .merging import TableLoader, given
from .problems import BadRow
from .write_bench import told

STRUCK = ("struck_at", "struck_by", "struck_reason")


class Bills(TableLoader):
    """Loaded before the costs, which name them. A bill that stands is never changed, only struck out."""

    def load(self) -> None:
        self.lines: dict[str, int] = {}
        self.each(BILLS, self._take)
        self.findings.stop_if_wrong()

    def _take(self, row: Row) -> None:
        shop, key = self.shop, row["bill"]
        if key in self.lines:
            raise BadRow(f"This bill stands in line {self.lines[key]:,} already.", "bill")
        self.lines[key] = row.line
        if not re.fullmatch(FILE_KEY, key):
            raise BadRow("A bill's name has letters, digits, - and _ only: it is the name of a file.", "bill")
        if not re.fullmatch(r"[A-Z]{3}", row["currency"]):
            raise BadRow("A currency is three capital letters, such as EUR (ISO 4217).", "currency")
        struck = self._struck(row)
        values = given(row, "number", "on", "currency", "total", "million_worth", "note", "recorded_at",
                       is_credit="credit")  # fmt: skip
        values["supplier_id"] = shop.party(row["supplier"], "supplier").pk
        if "person" in row:
            values["person_id"] = shop.person(row["person"]).pk
        if "sign_in" in row:
            values["user_id"] = shop.user(row["sign_in"])
        stands = Bill.objects.filter(key=key).first()
        if stands is None:
            paper = self._paper(key, row["paper"]) if "paper" in row else None
            bill = Bill.objects.create(plant=shop.plant, key=key, **values, **struck)
            if paper is not None:
                BillPaper.objects.create(bill=bill, kind=paper.kind, data=paper.data)
            shop.counts.added["bills"] += 1
        elif stands.plant_id != shop.plant.pk:
            raise BadRow("Another plant has a bill of that name. Give this one another.", "bill")
        elif any(getattr(stands, name) != value for name, value in values.items()):
            raise BadRow("This bill stands in the record otherwise. Give the new one another name.", "bill")
        elif struck and not stands.is_struck:
            Bill.objects.filter(pk=stands.pk).update(**struck)
            shop.counts.struck["bills"] += 1
        else:
            shop.counts.stood["bills"] += 1

    def _struck(self, row: Row) -> dict:
        is_told = [name in row for name in STRUCK]
        if any(is_told) != all(is_told):
            raise BadRow("A bill that is struck out says when, by whom and why.", "struck_at")
        if not all(is_told):
            return {}
        by = self.shop.person(row["struck_by"])
        return {"struck_at": row["struck_at"], "struck_by": by, "struck_reason": row["struck_reason"]}

    def _paper(self, key: str, kind: str) -> kept.Paper:
        name = f"{PAPERS}/{key}.{kind}"
        path = self.folder.path / PAPERS / f"{key}.{kind}"
        try:
            if path.stat().st_size > pictures.BYTES_AT_MOST:
                raise BadRow(f"{name} has {path.stat().st_size / 1e6:,.1f} MB. It is too large.", "paper")
            data = path.read_bytes()
            if kind == BillPaper.Kind.JPEG:
                return kept.Paper(kind=kind, data=pictures.as_kept(data).jpeg)
            paper = kept.paper_of(data)
        except OSError as error:
            said = (
                "is not in the folder" if isinstance(error, FileNotFoundError) else f"cannot be read: {error.strerror}"
            )
            raise BadRow(f"{name} {said}.", "paper") from None
        except (EntryRefused, pictures.PictureRefused) as refused:
            raise BadRow(f"{name}: {refused}", "paper") from None
        if paper.kind != kind:
            raise BadRow(f"{name} is no PDF.", "paper")
        return paper


class BillTables:
    """Rows of one table."""

    plant: Plant

    def bills(self) -> Iterator[dict]:
        paths = {
            "bill": "key", "supplier": "supplier__code", "credit": "is_credit", "person": "person__name",
            "sign_in": "user__username", "paper": "paper__kind", "struck_by": "struck_by__name",
        }  # fmt: skip
        same = (
            "number",
            "on",
            "currency",
            "total",
            "million_worth",
            "note",
            "recorded_at",
            "struck_at",
            "struck_reason",
        )
        paths |= {name: name for name in same}
        yield from told(Bill.objects.filter(plant=self.plant), paths, "on", "bill")


def write_papers(folder: Path, plant: Plant) -> None:
    """Each paper into a file of its own, one at a time; files of bills that are not there go."""
    rows = BillPaper.objects.filter(bill__plant=plant).order_by("pk").values_list("bill__key", "kind", "data")
    files = ((f"{key}.{kind}", bytes(data)) for key, kind, data in rows.iterator(chunk_size=1))
    write_files(folder / PAPERS, files, ours=rf"{FILE_KEY}\.(pdf|jpg)")
