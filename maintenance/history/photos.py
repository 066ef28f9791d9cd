"""Photos of a history folder, in and out: a row each, and a file each beside the tables."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from diestore import pictures
from diestore.register.models import Plant
from maintenance.log import photos as kept
from maintenance.models import Photo
from maintenance.models.keys import FILE_KEY

from .attached import write_files
from .files import Row
from .merging import TableLoader
from .photo_columns import PHOTOS, PICTURES
from .problems import BadRow
from .write_bench import told

AT_ONCE = 200
STRUCK = ("struck_at", "struck_by", "struck_reason")


class Photos(TableLoader):
    """Loaded last: its rows name entries and works. One picture at a time is in memory."""

    def load(self) -> None:
        rows = self.folder.rows(PHOTOS)
        lines: dict[str, int] = {}
        while batch := list(islice(rows, AT_ONCE)):
            known = self._known(batch)
            standing = {p.key: p for p in Photo.objects.without_pictures().filter(key__in=[r["key"] for r in batch])}

            def take(row: Row, known=known, standing=standing) -> None:
                if row["key"] in lines:
                    raise BadRow(f"This photo stands in line {lines[row['key']]:,} already.", "key")
                lines[row["key"]] = row.line
                self._take(row, known, standing.get(row["key"]))

            self.take(PHOTOS, batch, take)
        self.findings.stop_if_wrong()

    def _known(self, batch: list[Row]) -> dict[str, set[str]]:
        """Of each sort the keys that the plant has."""
        wanted: dict[str, set[str]] = defaultdict(set)
        for row in batch:
            wanted[row["of"]].add(row["of_key"])
        return {sort: kept.known_keys(sort, keys, self.shop.plant) for sort, keys in wanted.items()}

    def _take(self, row: Row, known: dict[str, set[str]], stands: Photo | None) -> None:
        if not re.fullmatch(FILE_KEY, row["key"]):
            raise BadRow("A photo's key has letters, digits, - and _ only: it is the name of a file.", "key")
        if row["of_key"] not in known[row["of"]]:
            raise BadRow(f"There is no {row['of']} with the key {row['of_key'][:60]!r}.", "of_key")
        told = [name in row for name in STRUCK]
        if any(told) != all(told):
            raise BadRow("A photo that is struck out says when, by whom and why.", "struck_at")
        struck = {}
        if all(told):
            by = self.shop.person(row["struck_by"])
            struck = {"struck_at": row["struck_at"], "struck_by": by, "struck_reason": row["struck_reason"]}
        values = {"of_sort": row["of"], "of_key": row["of_key"], "at": row["at"], "words": row.get("words", "")}
        if "person" in row:
            values["person_id"] = self.shop.person(row["person"]).pk
        if "sign_in" in row:
            values["user_id"] = self.shop.user(row["sign_in"])
        if stands is None:
            picture = self._picture(row["key"])
            Photo.objects.create(
                plant=self.shop.plant, key=row["key"], width=picture.width, height=picture.height,
                small=picture.small, jpeg=picture.jpeg, **values, **struck,
            )  # fmt: skip
            self.shop.counts.added["photos"] += 1
        elif stands.plant_id != self.shop.plant.pk:
            raise BadRow("Another plant has a photo of that key. Give this one another.", "key")
        elif any(getattr(stands, name) != value for name, value in values.items()):
            raise BadRow("This photo stands in the record otherwise. Give the new one another key.", "key")
        elif struck and not stands.is_struck:
            Photo.objects.filter(pk=stands.pk).update(**struck)
            self.shop.counts.struck["photos"] += 1
        else:
            self.shop.counts.stood["photos"] += 1

    def _picture(self, key: str) -> pictures.Picture:
        path = self.folder.path / PICTURES / f"{key}.jpg"
        try:
            if path.stat().st_size > pictures.BYTES_AT_MOST:
                raise BadRow(f"{PICTURES}/{key}.jpg: {pictures.too_large(path.stat().st_size)}", "key")
            return pictures.as_kept(path.read_bytes())
        except OSError as error:
            said = (
                "is not in the folder" if isinstance(error, FileNotFoundError) else f"cannot be read: {error.strerror}"
            )
            raise BadRow(f"{PICTURES}/{key}.jpg {said}.", "key") from None
        except pictures.PictureRefused as refused:
            raise BadRow(f"{PICTURES}/{key}.jpg: {refused}", "key") from None


class PhotoTables:
    """Rows of one table."""

    plant: Plant

    def photos(self) -> Iterator[dict]:
        paths = {
            "key": "key", "of": "of_sort", "of_key": "of_key", "at": "at", "person": "person__name",
            "sign_in": "user__username", "words": "words", "struck_at": "struck_at", "struck_by": "struck_by__name",
            "struck_reason": "struck_reason",
        }  # fmt: skip
        yield from told(Photo.objects.filter(plant=self.plant), paths, "at", "key")


def write_pictures(folder: Path, plant: Plant) -> None:
    """Each picture into a file of its own, one at a time; files of photos that are not there go."""
    rows = Photo.objects.filter(plant=plant).order_by("pk").values_list("key", "jpeg").iterator(chunk_size=1)
    write_files(folder / PICTURES, ((f"{key}.jpg", bytes(jpeg)) for key, jpeg in rows), ours=rf"{FILE_KEY}\.jpg")
