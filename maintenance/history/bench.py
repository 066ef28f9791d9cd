"""Loads the tables of the bench. A work or a hold that stands already is changed to what the cells say."""

from __future__ import annotations

from maintenance.models import (
    Absence,
    BenchEdge,
    BenchHours,
    BenchPiece,
    BenchStep,
    BenchWork,
    DieHold,
    Grinder,
    Incident,
    Inspection,
    Stop,
    Work,
)

from . import bench_columns as tables
from .files import Folder, Row
from .merging import Merger, TableLoader, given
from .problems import BadRow
from .shop import Shop

_REASONS = (("stop", "stop_id", Stop), ("mishap", "incident_id", Incident), ("inspection", "inspection_id", Inspection))


class Bench(TableLoader):
    """Loaded last: its rows name entries, looks, spares and pieces. Hours and grinders first: plans name grinders."""

    def __init__(self, folder: Folder, shop: Shop) -> None:
        super().__init__(folder, shop)
        self.works: dict[str, BenchWork] = {}

    def load_hours(self) -> None:
        for step in (self._hours, self._absences, self._grinders):
            step()
            self.findings.stop_if_wrong()

    def load(self) -> None:
        self._works()
        self.findings.stop_if_wrong()
        self.works = {w.key: w for w in BenchWork.objects.filter(die__plant=self.shop.plant)}
        for step in (self._steps, self._edges, self._pieces, self._entries, self._holds):
            step()
            self.findings.stop_if_wrong()

    def _hours(self) -> None:
        standing = {h.person_id: h for h in BenchHours.objects.filter(person__plant=self.shop.plant)}
        merger = Merger(self.shop, BenchHours, "hours for the bench")

        def take(row: Row) -> None:
            person = self.shop.person(row["person"])
            merger.once(person.pk, row.line, f"The bench hours of {person}")
            values = given(row, "hours_a_day", "days", "retired_at")
            merger.put(person.pk, standing.get(person.pk), f"hours of {person}", values, {"person": person})

        self.each(tables.BENCH_HOURS, take)
        merger.save(standing)

    def _absences(self) -> None:
        rows = Absence.objects.filter(person__plant=self.shop.plant).order_by("retired_at", "pk")
        standing: dict[object, Absence] = {}
        for absence in rows:
            standing.setdefault((absence.person_id, absence.first, absence.last, absence.retired_at is None), absence)
        merger = Merger(self.shop, Absence, "absences")

        def take(row: Row) -> None:
            person, first, last = self.shop.person(row["person"]), row["first"], row["last"]
            if last < first:
                raise BadRow("The last day lies before the first.", "last")
            key = (person.pk, first, last, "retired_at" not in row)
            label = f"The absence of {person} from {first}"
            merger.once(key, row.line, label)
            values = given(row, "note", "retired_at")
            merger.put(key, standing.get(key), label, values, {"person": person, "first": first, "last": last})

        self.each(tables.ABSENCES, take)
        merger.save(standing)

    def _grinders(self) -> None:
        standing = {g.code: g for g in Grinder.objects.filter(plant=self.shop.plant)}
        merger = Merger(self.shop, Grinder, "grinders")

        def take(row: Row) -> None:
            code = row["grinder"]
            merger.once(code, row.line, code)
            values = given(row, "hours_a_day", "retired_at")
            merger.put(code, standing.get(code), code, values, {"plant": self.shop.plant, "code": code})

        self.each(tables.GRINDERS, take)
        merger.save(standing)

    # --- works ------------------------------------------------------------------------------------------------------

    def _works(self) -> None:
        shop = self.shop
        standing = {w.key: w for w in BenchWork.objects.filter(die__plant=shop.plant)}
        merger = Merger(shop, BenchWork, "works on the bench")

        def take(row: Row) -> None:
            key, die = row["work"], shop.die(row["die"])
            merger.once(key, row.line, f"The work {key}")
            known = standing.get(key)
            if known is not None and known.die_id != die.pk:
                raise BadRow("This work stands in the record with another die. Give the new one another key.", "die")
            if known is None and BenchWork.objects.filter(key=key).exists():
                raise BadRow("Another plant has a work of that key. Give this one another.", "work")
            values = given(
                row, "what", "source", "state", "hours_foreseen", "hours_used", "needed_on", "not_before", "day",
                "away_days", "back_on", "late_cost", "ended_reason", opened_at="opened", ended_at="ended",
            )  # fmt: skip
            values |= self._named(row, die)
            self._check(row, known, values)
            merger.put(key, known, f"the work {key}", values, {"key": key, "die": die})

        self.each(tables.BENCH_WORKS, take)
        merger.save(standing)

    def _named(self, row: Row, die) -> dict:
        shop, values = self.shop, {}
        if "position" in row:
            values["position_id"] = shop.position(die, row["position"]).pk
        if "spare" in row:
            values["item_id"] = shop.item(row["spare"], row.get("spare_revision", "")).pk
        if "person" in row:
            values["person_id"] = shop.person(row["person"]).pk
        if "ended_by" in row:
            values["ended_by_id"] = shop.person(row["ended_by"]).pk
        if "supplier" in row:
            values["supplier_id"] = shop.party(row["supplier"], "supplier").pk
        for column, name, model in _REASONS:
            if column in row:
                found = model.objects.filter(key=row[column], die=die).first()
                if found is None:
                    raise BadRow(f"{die} has no {column} called {row[column][:60]!r}.", column)
                values[name] = found.pk
        return values

    @staticmethod
    def _check(row: Row, known: BenchWork | None, values: dict) -> None:
        """What the database would refuse, in words."""

        def after(name: str) -> object:
            return values.get(name, getattr(known, name, None))

        over = values["state"] in BenchWork.ENDED
        if over != (after("ended_at") is not None):
            raise BadRow("A work that is released or dropped says when, and no other does.", "ended")
        if not over and after("ended_reason"):
            raise BadRow("Only a work that is released or dropped says why.", "ended_reason")
        if values["state"] == BenchWork.State.DROPPED and not after("ended_reason"):
            raise BadRow("A work that was dropped says why.", "ended_reason")
        if after("day") is not None and after("person_id") is None:
            raise BadRow("A day that is set by hand is somebody's: name the person.", "day")

    def _work(self, row: Row) -> BenchWork:
        if row["work"] not in self.works:
            raise BadRow(f"There is no work {row['work'][:60]!r} in bench_works.csv or in the record.", "work")
        return self.works[row["work"]]

    def _steps(self) -> None:
        standing = {s.key: s for s in BenchStep.objects.filter(work__die__plant=self.shop.plant)}
        merger = Merger(self.shop, BenchStep, "steps of works on the bench")

        def take(row: Row) -> None:
            key, work = row["key"], self._work(row)
            merger.once(key, row.line, f"The step {key}")
            values = {"work_id": work.pk, "at": row["at"], "words": row["words"], "state": row["state"]}
            if "person" in row:
                values["person_id"] = self.shop.person(row["person"]).pk
            if "sign_in" in row:
                values["user_id"] = self.shop.user(row["sign_in"])
            known = standing.get(key)
            if known is not None and any(getattr(known, name) != value for name, value in values.items()):
                raise BadRow("This step stands in the record otherwise. Give the new one another key.", "key")
            if known is None and BenchStep.objects.filter(key=key).exists():
                raise BadRow("Another plant has a step of that key. Give this one another.", "key")
            merger.put(key, known, key, {}, {"key": key} | values)

        self.each(tables.BENCH_STEPS, take)
        merger.save(standing)

    def _edges(self) -> None:
        rows = BenchEdge.objects.filter(work__die__plant=self.shop.plant)
        standing = {(e.work_id, e.position_id): e for e in rows}
        dies = {die.pk: die for die in self.shop.dies.values()}
        merger = Merger(self.shop, BenchEdge, "edges of works on the bench")

        def take(row: Row) -> None:
            work = self._work(row)
            position = self.shop.position(dies[work.die_id], row["position"])
            key, label = (work.pk, position.pk), f"{position.code} in the work {work.key}"
            merger.once(key, row.line, label)
            values = given(row, "advised_mm", "grind_mm", "done_mm", "left_out", "why")
            merger.put(key, standing.get(key), label, values, {"work": work, "position": position})

        self.each(tables.BENCH_EDGES, take)
        merger.save(standing)

    def _pieces(self) -> None:
        rows = BenchPiece.objects.filter(work__die__plant=self.shop.plant)
        standing = {(p.work_id, p.item_id, p.piece_id): p for p in rows}
        merger = Merger(self.shop, BenchPiece, "pieces set aside")

        def take(row: Row) -> None:
            work = self._work(row)
            if ("spare" in row) == ("piece" in row):
                raise BadRow("Name the spare or the piece that is set aside, one of the two.", "spare")
            item = self.shop.item(row["spare"], row.get("spare_revision", "")) if "spare" in row else None
            piece = self.shop.piece(row["piece"]) if "piece" in row else None
            if piece is not None and row.get("quantity", 1) != 1:
                raise BadRow("Of a marked piece there is one.", "quantity")
            key = (work.pk, item and item.pk, piece and piece.pk)
            label = f"{item or piece} for the work {work.key}"
            merger.once(key, row.line, label)
            made = {"work": work, "item": item, "piece": piece}
            merger.put(key, standing.get(key), label, given(row, "quantity"), made)

        self.each(tables.BENCH_PIECES, take)
        merger.save(standing)

    def _entries(self) -> None:
        link = BenchWork.entries.through
        rows = link.objects.filter(benchwork__die__plant=self.shop.plant)
        standing = set(rows.values_list("benchwork_id", "work_id"))
        told: list[tuple[Row, BenchWork]] = []
        self.each(tables.BENCH_ENTRIES, lambda row: told.append((row, self._work(row))))
        ids = dict(Work.objects.filter(key__in=[row["entry"] for row, _ in told]).values_list("key", "pk"))
        new = {}
        for row, work in told:
            if row["entry"] not in ids:
                said = f"There is no entry called {row['entry'][:60]!r}."
                self.findings.problem(tables.BENCH_ENTRIES.file, row.line, "entry", said)
            elif (pair := (work.pk, ids[row["entry"]])) in standing:
                self.shop.counts.stood["entries of works on the bench"] += 1
            else:
                new[pair] = link(benchwork_id=pair[0], work_id=pair[1])
        self.findings.stop_if_wrong()
        self.shop.create(link, list(new.values()), "entries of works on the bench")

    def _holds(self) -> None:
        standing = {h.key: h for h in DieHold.objects.filter(die__plant=self.shop.plant)}
        on_hold = {h.die_id: h.key for h in standing.values() if h.released_at is None}
        merger = Merger(self.shop, DieHold, "dies on hold")

        def take(row: Row) -> None:
            key, die = row["key"], self.shop.die(row["die"])
            merger.once(key, row.line, f"The hold {key}")
            known = standing.get(key)
            if known is not None and known.die_id != die.pk:
                raise BadRow("This hold stands in the record with another die. Give the new one another key.", "die")
            if known is None and DieHold.objects.filter(key=key).exists():
                raise BadRow("Another plant has a hold of that key. Give this one another.", "key")
            whole = [name in row for name in ("released", "released_by", "measured")]
            if any(whole) != all(whole):
                raise BadRow("A hold that was released says when, by whom, and what was measured.", "released")
            if (
                not any(whole)
                and on_hold.setdefault(die.pk, key) != key
                and (known is None or known.released_at is None)
            ):
                raise BadRow(f"{die} is on hold already.", "die")
            values = given(row, "at", "reason", "measured", released_at="released")
            for column, name in (("held_by", "held_by_id"), ("released_by", "released_by_id")):
                if column in row:
                    values[name] = self.shop.person(row[column]).pk
            for column, name in (("sign_in", "held_user_id"), ("released_sign_in", "released_user_id")):
                if column in row:
                    values[name] = self.shop.user(row[column])
            merger.put(key, known, f"the hold {key}", values, {"key": key, "die": die})

        self.each(tables.HOLDS, take)
        merger.save(standing)
