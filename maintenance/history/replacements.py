"""Loads what sat in each position and when: the first pieces of components.csv and the rows of replacements.csv."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from itertools import islice, pairwise

from diestore.register.models import Piece, Position
from maintenance.clockwork.fittings import derive
from maintenance.log import rules
from maintenance.log.derived import change_of, fitting_of
from maintenance.log.names import BEGINNING, first_key, piece_key
from maintenance.log.rules import EntryRefused
from maintenance.models import Event, Fitting, Replacement

from . import columns as tables
from .components import PIECE_FIELDS
from .entries import BATCH, Entry, EntryLoader
from .files import Row
from .log import implied_find
from .merging import given
from .problems import BadRow


class Replacements(EntryLoader):
    table, model, what = tables.REPLACEMENTS, Replacement, "replacements"
    same, main = ("position_id", "at"), "position_id"
    labels = {"why": "reason", "piece_in_id": "piece"}

    def __init__(self, *args, first_pieces: list[tuple[Row, Position, Piece]]) -> None:
        super().__init__(*args)
        self.first_pieces = first_pieces
        self.first_of = {position.pk: piece for _, position, piece in first_pieces}
        self.die_of = {die.pk: die for die in self.shop.dies.values()}
        self.position_of = {p.pk: p for p in self.shop.positions.values()}
        self.piece_of = {p.pk: p for p in self.shop.pieces.values()}
        self.item_of = {i.pk: i for i in self.shop.items.values()}
        self.affected: set[int] = set()

    def load(self) -> None:
        new = []
        rows = self.folder.rows(self.table)
        while batch := list(islice(rows, BATCH)):
            new += self.settle(self.converted(batch))
        self._tell_twice()
        self.findings.stop_if_wrong()
        new += self._firsts(new)
        self._give_pieces(new)
        self.findings.stop_if_wrong()
        for i in range(0, len(new), BATCH):
            self.save(new[i : i + BATCH])
        self.affected |= {entry.fields["position_id"] for entry in new}
        self._rebuild(new)
        self.findings.stop_if_wrong()

    def convert(self, row: Row) -> Entry:
        die = self.shop.die(row["die"])
        position = self.shop.position(die, row["position"])
        at = row["at"]
        fields = {"position_id": position.pk, "why": row["reason"]}
        fields |= given(row, "at", "found", "since_start", "hits_into_run")
        described = given(row, "mark", *PIECE_FIELDS)
        if "spare" in row:
            described["item_id"] = self.shop.item(row["spare"], row.get("spare_revision", "")).pk
        if row.get("take_out"):
            fields["piece_in_id"] = None
        if "piece" in row:
            if row.get("take_out"):
                raise BadRow("Either a piece went in or nothing did.", "take_out")
            fields["piece_in_id"] = self.shop.piece(row["piece"]).pk
        if described and "piece_in_id" in fields:
            column = next(iter(described)).replace("item_id", "spare")
            raise BadRow("What is told of the new piece here is meant for one without a key.", column)
        label = f"the replacement in {position.code} of {die.code} on {rules.stamp(at)}"
        more = implied_find(fields)
        entry = self.entry(row, at=at, label=label, where=[die.code, position.code], fields=fields, more=more)
        entry.beside = described
        return entry

    def struck_out(self, stored: dict) -> None:
        self.affected.add(stored["position_id"])

    # --- the first piece of each position ---------------------------------------------------------------------------

    def _firsts(self, new: list[Entry]) -> list[Entry]:
        """An entry for each first piece, where no other says what was first in that position."""
        fields = {e.fields["position_id"] for e in new if e.fields["why"] == Replacement.Why.FIRST and not e.struck}
        standing = Replacement.objects.filter(position__die__plant=self.shop.plant)
        fields |= set(standing.standing().filter(why=Replacement.Why.FIRST).values_list("position_id", flat=True))
        keys = set(standing.filter(since_start=True).values_list("key", flat=True))
        firsts = []
        for row, position, piece in self.first_pieces:
            key = self.first_key(self.die_of[position.die_id].code, position.code)
            if position.pk in fields or key in keys:
                continue
            at = row.get("fitted", BEGINNING)
            entry = Entry(
                row=row,
                at=at,
                label=f"the first piece in {position.code}",
                fields={
                    "position_id": position.pk,
                    "at": at,
                    "why": Replacement.Why.FIRST,
                    "since_start": "fitted" not in row,
                    "piece_in_id": piece.pk,
                },
                more={"recorded_at": at, "through": Event.Through.IMPORT},
                key=key,
                own_key=True,
                struck={},
            )
            entry.beside = {}
            firsts.append(entry)
        return firsts

    def first_key(self, die: str, position: str) -> str:
        return first_key(self.shop.plant.code, die, position)

    # --- pieces of their own for replacements that name none --------------------------------------------------------

    def _give_pieces(self, new: list[Entry]) -> None:
        """A replacement that names no piece brings in a new one: as told, else as its spare, else like the old."""
        steps = defaultdict(list)
        for entry in new:
            values = entry.values
            order = (not values.get("since_start", False), entry.at, values.get("sequence", 0), entry.key)
            steps[values["position_id"]].append((order, entry, None))
        ids = list(steps)
        for i in range(0, len(ids), BATCH):
            rows = Replacement.objects.standing().filter(position__in=ids[i : i + BATCH])
            for row in rows.values_list("position_id", "since_start", "at", "sequence", "key", "piece_in_id"):
                steps[row[0]].append(((not row[1], *row[2:5]), None, row[5]))
        made: dict[str, tuple[Piece, Entry]] = {}
        marks = {p.mark for p in self.piece_of.values() if p.mark}
        for mine in steps.values():
            mine.sort(key=lambda step: step[0])
            last: Piece | None = None
            for _, entry, standing in mine:
                if entry is None:
                    last = self.piece_of.get(standing, last)
                elif entry.struck:
                    entry.fields.setdefault("piece_in_id", None)
                else:
                    try:
                        last = self._piece_for(entry, last, mine, made, marks) or last
                    except EntryRefused as error:
                        self.findings.problem(self.table.file, entry.row.line, error.field, str(error))
        self.findings.stop_if_wrong()
        self.shop.create(Piece, [piece for piece, _ in made.values()], "pieces")
        for key, (piece, entry) in made.items():
            entry.fields["piece_in_id"] = piece.pk
            self.shop.pieces[key] = self.piece_of[piece.pk] = piece

    def _piece_for(self, entry: Entry, last: Piece | None, steps, made, marks: set[str]) -> Piece | None:
        position = self.position_of[entry.fields["position_id"]]
        die = self.die_of[position.die_id]
        first = entry.fields["why"] == Replacement.Why.FIRST
        if last is None and not first:
            later = [e.at for _, e, _ in steps if e is not None and e.at > entry.at]
            if later:
                raise BadRow(
                    f"{position.code} of {die.code} was fitted on {rules.stamp(min(later))}, after this. Check the "
                    "date.",
                    "at",
                )
            raise BadRow(
                f"Nothing sat in {position.code} of {die.code} on {rules.stamp(entry.at)}. Say with a row of its own "
                "(reason first) what was fitted there first.",
                "at",
            )
        if "piece_in_id" in entry.fields:
            return self.piece_of.get(entry.fields["piece_in_id"])
        if first and position.pk in self.first_of and not entry.beside:
            entry.fields["piece_in_id"] = self.first_of[position.pk].pk
            return self.first_of[position.pk]
        values = {}
        for name in PIECE_FIELDS:
            for source in (self.item_of.get(position.item_id), last):
                if values.get(name) in (None, "") and source is not None:
                    values[name] = getattr(source, name)
        values = {name: value for name, value in values.items() if value is not None}
        values |= {"item_id": position.item_id} | entry.beside
        if values.get("mark"):
            if values["mark"] in marks:
                raise BadRow(f"Another piece has the mark {values['mark']} already.", "mark")
            marks.add(values["mark"])
        key = base = piece_key(self.shop.plant.code, die.code, position.code, entry.at.isoformat())[:114]
        n = 1
        while key in made or key in self.shop.pieces:
            n += 1
            key = f"{base} #{n}"
        piece = Piece(plant=self.shop.plant, key=key, opening=Piece.Opening.NEW, **values)
        made[key] = piece, entry
        return piece

    # --- fittings ---------------------------------------------------------------------------------------------------

    def _rebuild(self, new: list[Entry]) -> None:
        """Derive the fittings of every position that was touched anew, in bulk."""
        spans = []
        ids = sorted(self.affected)
        for i in range(0, len(ids), BATCH):
            changes = defaultdict(list)
            rows = Replacement.objects.standing().filter(position__in=ids[i : i + BATCH])
            for row in rows.only("at", "sequence", "key", "piece_in", "why", "since_start", "position").iterator():
                changes[row.position_id].append(change_of(row))
            for mine in changes.values():
                spans += derive(mine)
            Fitting.objects.filter(position__in=ids[i : i + BATCH]).delete()
        lines = {
            (e.fields["position_id"], e.at): (
                (self.table if "reason" in e.row.columns else tables.COMPONENTS).file,
                e.row.line,
            )
            for e in new
        }
        self._one_place_at_a_time(spans, lines)
        self.findings.stop_if_wrong()
        Fitting.objects.bulk_create([fitting_of(span) for span in spans], batch_size=BATCH)

    def _one_place_at_a_time(self, spans: Iterable, lines: dict) -> None:
        places = defaultdict(list)
        for span in spans:
            places[span.piece].append((span.since, span.until, span.position))
        pieces = list(places)
        for i in range(0, len(pieces), BATCH):  # what is left now sits in positions that were not touched
            rows = Fitting.objects.filter(piece__in=pieces[i : i + BATCH])
            for piece, *row in rows.values_list("piece_id", "since", "until", "position_id"):
                places[piece].append(tuple(row))
        for piece, mine in places.items():
            mine.sort(key=lambda place: (place[0] is not None, place[0] or BEGINNING, place[2]))
            for (_, until, before), (since, _, position_id) in pairwise(mine):
                if until is None or since is None or since < until:
                    here, there = self.position_of[position_id], self.position_of[before]
                    when = since or BEGINNING
                    self.findings.problem(
                        *lines.get((position_id, when), (self.table.file, 0)),
                        "piece",
                        f"The piece {self.piece_of[piece].key!r} cannot go into {here.code} of "
                        f"{self.die_of[here.die_id].code}: it sits in {there.code} of "
                        f"{self.die_of[there.die_id].code} at that time. Take it out there first (take_out).",
                    )
