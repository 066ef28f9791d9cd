"""What the history tests look at: the records as written, the fittings and cycles that follow, an emptied database."""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from pathlib import Path

from django.apps import apps
from django.db import connection, transaction

from diestore.register.models import Die, Plant
from maintenance.clockwork import cycles as clockwork_cycles
from maintenance.history.write import write
from maintenance.log import read
from maintenance.models import Fitting

FAR = 4e9  # seconds: after every record


@contextmanager
def scratch():
    """Everything done inside is undone afterwards."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def files(folder: Path) -> dict[str, str]:
    """Each file by its name, as text; pictures by their bytes."""
    return {
        str(path.relative_to(folder)): path.read_text(encoding="utf-8" if path.suffix == ".csv" else "latin-1")
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def as_written(plant: Plant | None = None) -> dict[str, str]:
    """Every file that the records make now."""
    with tempfile.TemporaryDirectory() as folder:
        write(folder, plant or Plant.objects.get())
        return files(Path(folder))


def empty_the_database() -> None:
    """As after migrate. Entries cannot be deleted through their models, which is meant so."""
    for app in ("diestore", "maintenance"):
        for model in apps.get_app_config(app).get_models(include_auto_created=True):
            model._base_manager.all()._raw_delete(connection.alias)


def fittings() -> list[tuple]:
    rows = Fitting.objects.values_list("position__die__code", "position__code", "piece__key", "since", "until", "fate")
    return sorted(rows, key=str)


def cycles() -> list[tuple]:
    """Every cycle of every edge, by names that do not change from one database to the next."""
    found = []
    for log in read.of_dies(Die.objects.order_by("code")):
        for cycle in clockwork_cycles.cycles(log, FAR):
            piece = log.pieces[cycle.piece]
            found.append(
                (
                    log.code,
                    log.positions[cycle.position].code,
                    piece.tool_steel,
                    piece.opening,
                    cycle.build.gap_mm,
                    cycle.started,
                    cycle.ended,
                    cycle.from_hits,
                    cycle.lower_hits,
                    cycle.hits,
                    cycle.ended_as,
                    cycle.lot,
                )
            )
    return sorted(found, key=str)
