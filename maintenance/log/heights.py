"""Heights of a die from its entries: rows into the pure ledger, in four questions however much there is."""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from django.db.models import BooleanField, F, FloatField, Q, Value
from django.utils import timezone

from diestore.handbook.kinds import KINDS
from diestore.handbook.places import partner_code
from diestore.register.models import Die, Position
from maintenance.clockwork import usual
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import Fitting, Reading, SetUp, Work
from maintenance.policy import height_ledger
from maintenance.policy.height_ledger import Fitted, Ledger, Measured, Right, Role, Seat
from maintenance.policy.heights import Entry

from . import set_ups

LENGTH, ENTRY, ROOM = "length", "punch entry", "room when closed"  # as readings call them
HAVE_ROOM = ("stripper_plate", "stripper_spring", "knockout")  # besides punches, pilots and forms
REBUILDS = ("welded and recut",)
SET_UPS_LOOKED_AT = 12


@dataclass(frozen=True, kw_only=True)
class DieHeights:
    """The ledger of a die with what its page says beside it.

    places: by code. set_up: what was right, None where the die is held against its pieces as new. grinds: how many of
    its usual grinds the allowance of a piece still gives, by code; None where that is not known.
    """

    die: Die
    ledger: Ledger
    places: dict[str, Position]
    set_up: SetUp | None
    grinds: dict[str, int | None]


class _Span(NamedTuple):
    position: int
    piece: int
    since: dt.datetime | None
    until: dt.datetime | None
    new_mm: float | None
    allowance_mm: float | None

    def holds(self, at: dt.datetime) -> bool:
        """What was done at the very moment of a replacement was done on the piece that came out."""
        return (self.since is None or self.since < at) and (self.until is None or at <= self.until)


class _Work(NamedTuple):
    position: int | None
    piece: int | None
    at: dt.datetime
    operation: str
    removed_mm: float | None
    raised_mm: float | None
    length_mm: float | None


class _Reading(NamedTuple):
    position: int | None
    piece: int | None
    at: dt.datetime
    quantity: str
    value_si: float

    @property
    def mm(self) -> float:
        return self.value_si * 1000


def role_of(position: Position) -> Role | None:
    """What a place is to the heights; None where it is nothing to them."""
    kind = KINDS[position.kind]
    if kind.cuts:
        return Role.PUNCH if position.side == "upper" else Role.DIE
    if kind.key == "pilot":
        return Role.PILOT
    if kind.shape == "form":
        return Role.FORM
    return Role.OTHER if kind.key in HAVE_ROOM else None


def of_die(die: Die, *, at: dt.datetime | None = None, positions: Iterable[Position] | None = None) -> DieHeights:
    """The heights of a die now, or as its entries had them at a moment. Raises HeightError.

    positions: those in use at that moment with their spares, in the order of the stations, where they are read already.
    """
    places, spans = _places(die, at) if positions is None else _of_heights(positions), _spans(die)
    works, readings = _entries(die, spans)
    reader = _Reader(spans=spans, works=works, readings=readings)
    right = _right(die, at)
    made = height_ledger.ledger(
        [reader.seat(place) for place in places],
        thickness_mm=die.usual_stock.thickness_mm,
        right=None if right is None else _as_right(right),
        usual_grind_mm=reader.usual_mm,
        at=math.inf if at is None else at.timestamp(),
    )
    grinds = {row.seat.code: reader.grinds(place, row.seat) for place, row in zip(places, made.rows, strict=True)}
    return DieHeights(die=die, ledger=made, places={p.code: p for p in places}, set_up=right, grinds=grinds)


def _places(die: Die, at: dt.datetime | None) -> list[Position]:
    moment = at or timezone.now()
    rows = (
        die.positions.filter(Q(valid_from__isnull=True) | Q(valid_from__lte=moment))
        .filter(Q(valid_to__isnull=True) | Q(valid_to__gt=moment))
        .select_related("station", "item")
        .order_by(F("station__sequence").asc(nulls_last=True), "-side", "code")
    )
    return _of_heights(rows)


def _of_heights(positions: Iterable[Position]) -> list[Position]:
    return [place for place in positions if role_of(place) is not None]


def _spans(die: Die) -> list[_Span]:
    """Where every piece that ever sat in the die has sat, in other dies too."""
    pieces = Fitting.objects.filter(position__die=die).order_by().values("piece")
    rows = Fitting.objects.filter(piece__in=pieces).order_by("position", F("since").asc(nulls_first=True))
    columns = ("position_id", "piece_id", "since", "until", "piece__length_mm", "piece__grind_allowance_mm")
    return [_Span(*row) for row in rows.values_list(*columns)]


def _of(spans: Sequence[_Span]) -> Q:
    return Q(position__in={span.position for span in spans}) | Q(piece__in={span.piece for span in spans})


def _entries(die: Die, spans: Sequence[_Span]) -> tuple[list[_Work], list[_Reading]]:
    """What was done and what was measured there, each in its order. One question: a reading's quantity stands where the
    operation of a work does."""
    nothing = Value(None, FloatField())
    order = ("at", "sequence", "key")
    works = Work.objects.standing().filter(_of(spans)).order_by()
    readings = Reading.objects.standing().filter(quantity__in=(LENGTH, ENTRY, ROOM)).order_by()
    readings = readings.filter(_of(spans) | Q(position__die=die))
    rows = works.values_list(
        Value(True, BooleanField()), "position_id", "piece_id", *order, "operation",
        "removed_mm", "raised_mm", "length_after_mm",
    ).union(
        readings.values_list(
            Value(False, BooleanField()), "position_id", "piece_id", *order, "quantity", "value_si", nothing, nothing
        ),
        all=True,
    )  # fmt: skip
    done, measured = [], []
    for is_work, position, piece, at, _, _, what, *figures in sorted(rows, key=lambda row: row[3:6]):
        if is_work:
            done.append(_Work(position, piece, at, what, *figures))
        else:
            measured.append(_Reading(position, piece, at, what, figures[0]))
    return done, measured


def _right(die: Die, at: dt.datetime | None) -> SetUp | None:
    """The last set-up in which the die was left to run; one with a shut height before those without."""
    rows = SetUp.objects.standing().filter(die=die, is_good=True).order_by("-at", "-pk")
    latest = list((rows if at is None else rows.filter(at__lte=at))[:SET_UPS_LOOKED_AT])
    return next((row for row in latest if row.shut_height_mm is not None), latest[0] if latest else None)


def _as_right(row: SetUp) -> Right:
    blocks = {one.place: (one.to_contact_mm, one.stand_off_mm) for one in set_ups.readings_of(row)}
    return Right(at=row.at.timestamp(), shut_height_mm=row.shut_height_mm, blocks=blocks)


def _seconds(at: dt.datetime | None) -> float:
    return -math.inf if at is None else at.timestamp()


class _Reader:
    """Rows by piece and place."""

    def __init__(self, *, spans: Sequence[_Span], works: Sequence[_Work], readings: Sequence[_Reading]) -> None:
        self.of_place: dict[int, list[_Span]] = defaultdict(list)
        self.of_piece: dict[int, list[_Span]] = defaultdict(list)
        for span in spans:
            self.of_place[span.position].append(span)
            self.of_piece[span.piece].append(span)
        self.works: dict[tuple[int | None, int | None], list[_Work]] = defaultdict(list)
        for work in works:
            self.works[work.position, work.piece].append(work)
        self.readings: dict[tuple[int | None, int | None], list[_Reading]] = defaultdict(list)
        for reading in readings:
            self.readings[reading.position, reading.piece].append(reading)
        self.usual_mm = usual.middle_mm(
            (w.at.timestamp(), w.removed_mm) for w in works if w.operation == "ground" and w.position and w.removed_mm
        )

    def seat(self, place: Position) -> Seat:
        role, mine = role_of(place), self.of_place[place.pk]
        assert role is not None
        new = place.item.length_mm if place.item is not None else None
        return Seat(
            code=place.code,
            role=role,
            is_upper=place.side == "upper",
            group=place.height_group,
            seat_mm=place.seat_mm,
            new_mm=new if new is not None else next((s.new_mm for s in mine if s.new_mm is not None), None),
            fitted=tuple(self._fitted(span) for span in mine),
            partner=partner_code(place.code) if role is Role.FORM else "",
            allowance_mm=self._allowance_left(place),
            room=self._last(place, ROOM),
            entry=self._last(place, ENTRY),
        )

    def grinds(self, place: Position, seat: Seat) -> int | None:
        """How many grinds are left, by what usually comes off here."""
        mine = self.works[place.pk, None]
        each = usual.of_place_mm([(w.at.timestamp(), w.operation, w.removed_mm) for w in mine]) or self.usual_mm
        return None if seat.allowance_mm is None or not each else usual.grinds_in(seat.allowance_mm, each)

    def _on(self, piece: int) -> Iterator[tuple[_Work, _Span | None]]:
        """All that was done on a piece, with the fitting in which it was done; None: on the bench."""
        for span in self.of_piece[piece]:
            for work in self.works[span.position, None]:
                if span.holds(work.at):
                    yield work, span
        for work in self.works[None, piece]:
            yield work, next((span for span in self.of_piece[piece] if span.holds(work.at)), None)

    def _fitted(self, span: _Span) -> Fitted:
        entries = [_entry(work, here=where == span) for work, where in self._on(span.piece)]
        measured = [*self.readings[None, span.piece]]
        for other in self.of_piece[span.piece]:
            measured += [one for one in self.readings[other.position, None] if other.holds(one.at)]
        entries += [
            Entry(at=one.at.timestamp(), measured_mm=one.mm) for one in measured if one.quantity == LENGTH
        ]  # what was done comes before what was measured then
        until = None if span.until is None else span.until.timestamp()
        return Fitted(since=_seconds(span.since), until=until, new_mm=span.new_mm, entries=tuple(entries))

    def _allowance_left(self, place: Position) -> float | None:
        """As the spares reckon it: the allowance of the piece, or of its spare, less all that came off it anywhere."""
        now = next((span for span in self.of_place[place.pk] if span.until is None), None)
        if now is None:
            return None
        allowance = now.allowance_mm
        if allowance is None and place.item is not None:
            allowance = place.item.grind_allowance_mm
        if allowance is None:
            return None
        off = (work.removed_mm or 0.0 for work, _ in self._on(now.piece) if OPERATIONS[work.operation].removes)
        return max(allowance - math.fsum(off), 0.0)

    def _last(self, place: Position, quantity: str) -> Measured | None:
        latest = [one for one in self.readings[place.pk, None] if one.quantity == quantity][-1:]
        return Measured(at=latest[0].at.timestamp(), mm=latest[0].mm) if latest else None


def _entry(work: _Work, *, here: bool) -> Entry:
    """here: in the fitting that is looked at. A spacer is part of the place, and comes out with the piece over it."""
    operation = OPERATIONS[work.operation]
    off: float | None = 0.0
    if operation.removes:
        # A stone takes so little that nobody writes it down: common practice, no source.
        off = work.removed_mm if work.removed_mm is not None or operation.fresh_edge else 0.0
    elif work.operation in REBUILDS:
        off = None  # of another length from then on, until it is measured
    return Entry(
        at=work.at.timestamp(),
        off_mm=off,
        under_mm=(work.raised_mm or 0.0) if here else 0.0,
        measured_mm=work.length_mm,
    )
