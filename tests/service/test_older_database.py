"""A database of an older version is migrated with all that is in it: the same rows, the same clocks.

`older/` holds one as it was before the rooms of this house were made, written out as SQL by each engine's own tool,
with something in every table that a form or a folder fills; beside it what was counted in it then.
"""

from __future__ import annotations

import contextlib
import gzip
import json
import sqlite3
from pathlib import Path

from .running import _libpq

OLDER = Path(__file__).parent / "older"

COUNTED = """
from django.apps import apps
from maintenance.forecasts.service import clocks
labels = {m._meta.label_lower: m for m in apps.get_models()}
told = {"counts": {label: model.objects.count() for label, model in labels.items()}, "clocks": list(clocks())}
"""


def fill(site) -> None:
    engine = "postgresql" if site.is_postgresql else "sqlite"
    with gzip.open(OLDER / f"rooms.{engine}.sql.gz", "rt", encoding="utf-8") as file:
        sql = file.read()
    if site.is_postgresql:
        import psycopg

        with psycopg.connect(_libpq(site.address), autocommit=True) as connection:
            connection.execute(sql)
    else:
        with contextlib.closing(sqlite3.connect(site.database_file)) as connection:
            connection.executescript(sql)


def test_a_database_from_before_the_rooms_loses_nothing(new_site):
    site = new_site(bare=True)
    fill(site)
    site.manage("migrate", "--verbosity=0")
    was = json.loads((OLDER / "rooms.json").read_text())
    now = site.do(COUNTED)
    assert sum(was["counts"].values()) > 100 and len(was["clocks"]) == 2
    assert {label: now["counts"].get(label) for label in was["counts"]} == was["counts"]
    assert now["clocks"] == was["clocks"]
    assert "No changes detected" in site.manage("makemigrations", "--check", "--dry-run")
