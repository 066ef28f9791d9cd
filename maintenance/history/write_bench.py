"""The tables of the bench in a history folder, in an order that hangs on no id."""

from __future__ import annotations

from diestore.register.models import Plant
from maintenance.models import (
    Absence,
    BenchEdge,
    BenchHours,
    BenchPiece,
    BenchStep,
    BenchWork,
    DieHold,
    Grinder,
)


class BenchTables:
    """Rows of nine tables."""

    plant: Plant

    def bench_hours(self):
        paths = {"person": "person__name"} | _same("hours_a_day", "days", "retired_at")
        yield from told(BenchHours.objects.filter(person__plant=self.plant), paths, "person")

    def absences(self):
        paths = {"person": "person__name"} | _same("first", "last", "note", "retired_at")
        rows = told(Absence.objects.filter(person__plant=self.plant), paths, "first", "person")
        # One that no longer holds may stand beside one of the same days that does.
        yield from sorted(rows, key=lambda r: (r["first"], r["person"], r["last"], str(r["retired_at"])))

    def grinders(self):
        paths = {"grinder": "code"} | _same("hours_a_day", "retired_at")
        yield from told(Grinder.objects.filter(plant=self.plant), paths, "grinder")

    def bench_works(self):
        paths = {
            "work": "key", "die": "die__code", "position": "position__code", "stop": "stop__key",
            "mishap": "incident__key", "inspection": "inspection__key", "spare": "item__code",
            "spare_revision": "item__revision",
            "opened": "opened_at", "person": "person__name", "supplier": "supplier__code", "ended": "ended_at",
            "ended_by": "ended_by__name",
        }  # fmt: skip
        paths |= _same(
            "what", "source", "state", "hours_foreseen", "hours_used", "needed_on", "not_before", "day", "away_days",
            "back_on", "late_cost", "ended_reason",
        )  # fmt: skip
        yield from told(BenchWork.objects.filter(die__plant=self.plant), paths, "opened", "work")

    def bench_steps(self):
        paths = {"work": "work__key", "person": "person__name", "sign_in": "user__username"}
        paths |= _same("key", "at", "words", "state")
        yield from told(BenchStep.objects.filter(work__die__plant=self.plant), paths, "at", "key")

    def bench_edges(self):
        paths = {"work": "work__key", "position": "position__code"}
        paths |= _same("advised_mm", "grind_mm", "done_mm", "left_out", "why")
        yield from told(BenchEdge.objects.filter(work__die__plant=self.plant), paths, "work", "position")

    def bench_pieces(self):
        paths = {"work": "work__key", "spare": "item__code", "spare_revision": "item__revision", "piece": "piece__key"}
        rows = told(BenchPiece.objects.filter(work__die__plant=self.plant), paths | _same("quantity"), "work")
        yield from sorted(rows, key=lambda r: (r["work"], *(str(r[n]) for n in ("spare", "spare_revision", "piece"))))

    def bench_entries(self):
        paths = {"work": "benchwork__key", "entry": "work__key"}
        rows = BenchWork.entries.through.objects.filter(benchwork__die__plant=self.plant)
        yield from told(rows, paths, "work", "entry")

    def holds(self):
        paths = {
            "die": "die__code", "held_by": "held_by__name", "sign_in": "held_user__username",
            "released": "released_at", "released_by": "released_by__name",
            "released_sign_in": "released_user__username",
        }  # fmt: skip
        paths |= _same("key", "at", "reason", "measured")
        yield from told(DieHold.objects.filter(die__plant=self.plant), paths, "at", "key")


def _same(*names: str) -> dict[str, str]:
    return {name: name for name in names}


def told(rows, paths: dict[str, str], *order: str) -> list[dict]:
    """Rows by column, sorted here and not in the database: the two engines sort text each in its own way."""
    found = [
        {column: values[path] for column, path in paths.items()} for values in rows.order_by().values(*paths.values())
    ]
    return sorted(found, key=lambda row: tuple(row[column] for column in order))
