"""Signed condition reports of a history folder, in and out: a row each, and a file each with what it said."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

from diestore.register.models import Plant
from maintenance.log import owners as kept
from maintenance.log.rules import EntryRefused
from maintenance.models import SignedReport
from maintenance.models.keys import FILE_KEY

from .attached import write_files
from .files import Row
from .merging import TableLoader, given
from .owner_columns import REPORTS, SIGNED_REPORTS
from .problems import BadRow
from .write_bench import told

STRUCK = ("struck_at", "struck_by", "struck_reason")


class SignedReports(TableLoader):
    """Loaded after the dies. A report that stands is never changed, only struck out."""

    def load(self) -> None:
        self.lines: dict[str, int] = {}
        self.each(SIGNED_REPORTS, self._take)
        self.findings.stop_if_wrong()

    def _take(self, row: Row) -> None:
        shop, key = self.shop, row["key"]
        if key in self.lines:
            raise BadRow(f"This report stands in line {self.lines[key]:,} already.", "key")
        self.lines[key] = row.line
        if not re.fullmatch(FILE_KEY, key):
            raise BadRow("A report's key has letters, digits, - and _ only: it is the name of a file.", "key")
        values = given(row, "signed_at", "note") | {
            "die_id": shop.die(row["die"]).pk, "signer_id": shop.person(row["signer"]).pk,
        }  # fmt: skip
        if "customer" in row:
            values["customer_id"] = shop.party(row["customer"], "customer").pk
        if "sign_in" in row:
            values["user_id"] = shop.user(row["sign_in"])
        struck = self._struck(row)
        said = self._said(key)
        stands = SignedReport.objects.select_related("die").filter(key=key).first()
        if stands is None:
            SignedReport.objects.create(key=key, said=said, **values, **struck)
            shop.counts.added["signed reports"] += 1
        elif stands.die.plant_id != shop.plant.pk:
            raise BadRow("Another plant has a report of that key. Give this one another.", "key")
        elif stands.said != said or any(getattr(stands, name) != value for name, value in values.items()):
            raise BadRow("This report stands in the record otherwise. Give the new one another key.", "key")
        elif struck and not stands.is_struck:
            SignedReport.objects.filter(pk=stands.pk).update(**struck)
            shop.counts.struck["signed reports"] += 1
        else:
            shop.counts.stood["signed reports"] += 1

    def _struck(self, row: Row) -> dict:
        is_told = [name in row for name in STRUCK]
        if any(is_told) != all(is_told):
            raise BadRow("A report that is struck out says when, by whom and why.", "struck_at")
        if not all(is_told):
            return {}
        by = self.shop.person(row["struck_by"])
        return {"struck_at": row["struck_at"], "struck_by": by, "struck_reason": row["struck_reason"]}

    def _said(self, key: str) -> dict:
        name = f"{REPORTS}/{key}.json"
        path = self.folder.path / REPORTS / f"{key}.json"
        try:
            if path.stat().st_size > kept.SAID_AT_MOST:
                raise BadRow(f"{name} has {path.stat().st_size / 1e6:,.1f} MB. It is too large.", "key")
            said = json.loads(path.read_text(encoding="utf-8"))
            return kept.read(said).model_dump(mode="json")
        except OSError as error:
            missing = isinstance(error, FileNotFoundError)
            why = "is not in the folder" if missing else f"cannot be read: {error.strerror}"
            raise BadRow(f"{name} {why}.", "key") from None
        except (ValueError, RecursionError):
            raise BadRow(f"{name} is no JSON.", "key") from None
        except EntryRefused as refused:
            raise BadRow(f"{name}: {refused}", "key") from None


class OwnerTables:
    """Rows of one table."""

    plant: Plant

    def signed_reports(self) -> Iterator[dict]:
        paths = {
            "key": "key", "die": "die__code", "customer": "customer__code", "signed_at": "signed_at",
            "signer": "signer__name", "sign_in": "user__username", "note": "note", "struck_at": "struck_at",
            "struck_by": "struck_by__name", "struck_reason": "struck_reason",
        }  # fmt: skip
        yield from told(SignedReport.objects.filter(die__plant=self.plant), paths, "signed_at", "key")


def write_reports(folder: Path, plant: Plant) -> None:
    """What each report said into a file of its own; files of reports that are not there go."""
    rows = SignedReport.objects.filter(die__plant=plant).order_by("pk").values_list("key", "said")
    files = ((f"{key}.json", _as_text(said).encode()) for key, said in rows.iterator(chunk_size=20))
    write_files(folder / REPORTS, files, ours=rf"{FILE_KEY}\.json")


def _as_text(said: dict) -> str:
    return json.dumps(said, ensure_ascii=False, indent=1, sort_keys=True)
