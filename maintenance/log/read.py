"""Rows of the database -> the plain logs that clocks and cycles are made of.

Reads only; ten questions to the database for each block of dies.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator

from django.db.models import BigIntegerField, Max, QuerySet, Value

from diestore.register.models import Cut, Die, Plant, Position, Stock
from maintenance.clockwork.rows import (
    CorrectionRow,
    CutRow,
    DieLog,
    PieceRow,
    PositionRow,
    ReadingRow,
    ReplacementRow,
    RunRow,
    StockRow,
    TroubleRow,
    WorkRow,
)
from maintenance.models import (
    EVENTS,
    Event,
    HitCorrection,
    Incident,
    OpenCount,
    Reading,
    RecordRestart,
    Replacement,
    Run,
    Stop,
    Work,
)

BLOCK = 50  # dies read at once: bounds the memory of a pass over thousands


def seconds(moment: dt.datetime | None) -> float | None:
    return None if moment is None else moment.timestamp()


def moment(stamp: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(stamp, dt.UTC)


def last_moment(plant: Plant) -> dt.datetime | None:
    """When the last thing of the plant's record happened."""
    paths = {
        "Run": "die__plant",
        "HitCorrection": "die__plant",
        "Stop": "die__plant",
        "Incident": "die__plant",
        "RecordRestart": "die__plant",
        "Work": "position__die__plant",
        "Reading": "position__die__plant",
    }
    moments = [
        event.objects.standing().filter(**{paths[event.__name__]: plant}).aggregate(last=Max("at"))["last"]
        for event in EVENTS
        if event.__name__ in paths
    ]
    changes = Replacement.objects.standing().filter(position__die__plant=plant, since_start=False)
    moments.append(changes.aggregate(last=Max("at"))["last"])
    moments.append(OpenCount.objects.filter(die__plant=plant).aggregate(last=Max("at"))["last"])
    return max((m for m in moments if m is not None), default=None)


def of_dies(dies: Iterable[Die], *, known_at: dt.datetime | None = None) -> Iterator[DieLog]:
    """The log of each die, in blocks. `known_at`: as the records were known then, to replay what was forecast."""
    dies = list(dies)
    for i in range(0, len(dies), BLOCK):
        yield from _block(dies[i : i + BLOCK], known_at)


def of_die(die: Die, *, known_at: dt.datetime | None = None) -> DieLog:
    return next(iter(of_dies([die], known_at=known_at)))


def _block(dies: list[Die], known_at: dt.datetime | None) -> Iterator[DieLog]:
    """The logs of some dies: each sort of row is one question for all of them."""
    ids, usual = [die.pk for die in dies], {die.pk: die.usual_stock_id for die in dies}
    stocks, positions, cuts = _stocks(), _positions(ids), _cuts(ids)
    die_of = {pk: die for die, places in positions.items() for pk in places}
    runs, corrections = _runs(ids, known_at, usual), _corrections(ids, known_at)
    if known_at is None:
        _add_open_counts(ids, usual, runs, corrections)
    replacements, pieces = _replacements(ids, known_at, die_of)
    works, readings = _works(ids, known_at, die_of, pieces), _readings(ids, known_at, die_of)
    troubles, restarts = _moments(ids, known_at)
    for die in dies:
        yield DieLog(
            die=die.pk,
            code=die.code,
            usual_stock=die.usual_stock_id,
            stocks=stocks,
            positions=positions[die.pk],
            cuts=tuple(cuts[die.pk]),
            pieces=pieces[die.pk],
            runs=tuple(runs[die.pk]),
            corrections=tuple(corrections[die.pk]),
            works=tuple(works[die.pk]),
            replacements=tuple(replacements[die.pk]),
            readings=tuple(readings[die.pk]),
            troubles=tuple(troubles[die.pk]),
            restarts=tuple(restarts[die.pk]),
        )


def _known(model: type[Event], known_at: dt.datetime | None) -> QuerySet:
    return model.objects.standing() if known_at is None else model.objects.known_at(known_at)


def _stocks() -> dict[int, StockRow]:
    return {
        pk: StockRow(material=material, tensile_mpa=tensile, thickness_mm=thickness)
        for pk, material, tensile, thickness in Stock.objects.values_list(
            "pk", "material", "tensile_mpa", "thickness_mm"
        )
    }


def _positions(ids: list[int]) -> dict[int, dict[int, PositionRow]]:
    """Die -> position -> row. A position that works with some sets of inserts only comes once for each of them."""
    rows = Position.objects.filter(die__in=ids).values_list(
        "pk", "die_id", "code", "kind", "side", "stroke_share", "valid_from", "valid_to", "variants"
    )
    positions: dict[int, dict[int, PositionRow]] = defaultdict(dict)
    for pk, die, code, kind, side, share, since, until, variant in rows:
        before = positions[die].get(pk)
        with_others = frozenset() if before is None else before.variants
        positions[die][pk] = PositionRow(
            id=pk,
            code=code,
            kind=kind,
            side=side,
            stroke_share=share,
            variants=with_others if variant is None else with_others | {variant},
            valid_from=seconds(since),
            valid_to=seconds(until),
        )
    return positions


def _cuts(ids: list[int]) -> dict[int, list[CutRow]]:
    rows = Cut.objects.filter(die__in=ids).values_list(
        "die_id", "upper_id", "lower_id", "length_mm", "gap_mm", "valid_from", "valid_to"
    )
    cuts: dict[int, list[CutRow]] = defaultdict(list)
    for die, upper, lower, length, gap, since, until in rows:
        cuts[die].append(
            CutRow(
                upper=upper,
                lower=lower,
                length_mm=length,
                gap_mm=gap,
                valid_from=seconds(since),
                valid_to=seconds(until),
            )
        )
    return cuts


def _runs(ids: list[int], known_at: dt.datetime | None, usual: dict[int, int]) -> dict[int, list[RunRow]]:
    rows = _known(Run, known_at).filter(die__in=ids).order_by("started")
    runs: dict[int, list[RunRow]] = defaultdict(list)
    for die, started, ended, hits, variant, stock, order, coil in rows.values_list(
        "die_id", "started", "at", "hits", "variant_id", "stock_id", "order_id", "lot"
    ):
        runs[die].append(
            RunRow(
                started=started.timestamp(),
                ended=ended.timestamp(),
                hits=hits,
                variant=variant,
                stock=stock or usual[die],
                order=order,
                coil=coil,
            )
        )
    return runs


def _corrections(ids: list[int], known_at: dt.datetime | None) -> dict[int, list[CorrectionRow]]:
    rows = _known(HitCorrection, known_at).filter(die__in=ids).order_by("at", "sequence", "key")
    corrections: dict[int, list[CorrectionRow]] = defaultdict(list)
    for die, at, hits, variant, with_stock in rows.values_list("die_id", "at", "hits", "variant_id", "with_stock"):
        corrections[die].append(CorrectionRow(at=at.timestamp(), hits=hits, variant=variant, with_stock=with_stock))
    return corrections


def _add_open_counts(
    ids: list[int],
    usual: dict[int, int],
    runs: dict[int, list[RunRow]],
    corrections: dict[int, list[CorrectionRow]],
) -> None:
    """What counters count just now, beside the runs of the log. Where a run was typed for that time, the run is told
    until somebody settles it."""
    rows = OpenCount.objects.filter(die__in=ids).order_by("started", "pk")
    for die, began, at, hits, variant, order, with_stock in rows.values_list(
        "die_id", "started", "at", "hits", "variant_id", "order_id", "with_stock"
    ):
        started, ended = began.timestamp(), at.timestamp()
        if not with_stock:
            corrections[die].append(CorrectionRow(at=ended, hits=hits, variant=variant, with_stock=False))
        elif not any(run.started < ended and run.ended > started for run in runs[die]):
            runs[die].append(
                RunRow(started=started, ended=ended, hits=hits, variant=variant, stock=usual[die], order=order)
            )
            runs[die].sort(key=lambda run: run.started)


_REPLACEMENT = ("position_id", "at", "sequence", "key", "piece_in_id", "why", "found", "since_start", "hits_into_run")
_PIECE = (
    "tool_steel", "coating", "hardness_hrc", "grind_allowance_mm", "opening", "opening_life_hits",
    "opening_hits_since_sharpening",
)  # fmt: skip


def _replacements(
    ids: list[int], known_at: dt.datetime | None, die_of: dict[int, int]
) -> tuple[dict[int, list[ReplacementRow]], dict[int, dict[int, PieceRow]]]:
    """Of each die its replacements in their order, and the pieces that ever came into it by their numbers."""
    rows = _known(Replacement, known_at).filter(position__die__in=ids).order_by("at", "sequence", "key")
    replacements: dict[int, list[ReplacementRow]] = defaultdict(list)
    pieces: dict[int, dict[int, PieceRow]] = defaultdict(dict)
    for position, at, sequence, key, piece, why, state, since_start, into_run, *built in rows.values_list(
        *_REPLACEMENT, *(f"piece_in__{name}" for name in _PIECE)
    ):
        die = die_of[position]
        if piece is not None and piece not in pieces[die]:
            pieces[die][piece] = PieceRow(id=piece, **dict(zip(_PIECE, built, strict=True)))
        replacements[die].append(
            ReplacementRow(
                at=at.timestamp(),
                sequence=sequence,
                key=key,
                position=position,
                piece=piece,
                why=why,
                found=state,
                since_start=since_start,
                hits_into_run=into_run,
            )
        )
    return replacements, defaultdict(dict, {die: dict(sorted(of_die.items())) for die, of_die in pieces.items()})


_WORK = (
    "operation", "why", "found", "removed_mm", "coating_after", "set_key", "hours", "hits_into_run", "sequence", "key",
)  # fmt: skip


def _works(
    ids: list[int], known_at: dt.datetime | None, die_of: dict[int, int], pieces: dict[int, dict[int, PieceRow]]
) -> dict[int, list[WorkRow]]:
    """Of each die the works on its positions, and those done on the bench on pieces that ever sat in it."""
    works, dies_of = _known(Work, known_at).order_by(), defaultdict(list)
    for die, of_die in pieces.items():
        for piece in of_die:
            dies_of[piece].append(die)
    columns = ("position_id", "piece_id", "at", *_WORK)
    fitted = _known(Replacement, known_at).filter(position__die__in=ids).order_by().values("piece_in")
    on_positions = works.filter(position__die__in=ids).values_list(*columns)
    on_the_bench = works.filter(piece__in=fitted).values_list(*columns)
    works: dict[int, list[WorkRow]] = defaultdict(list)
    for position, piece, at, *rest in on_positions.union(on_the_bench, all=True).order_by("at", "sequence", "key"):
        work = WorkRow(at=at.timestamp(), position=position, piece=piece, **dict(zip(_WORK, rest, strict=True)))
        for die in [die_of[position]] if position is not None else dies_of[piece]:
            works[die].append(work)
    return works


def _readings(ids: list[int], known_at: dt.datetime | None, die_of: dict[int, int]) -> dict[int, list[ReadingRow]]:
    rows = _known(Reading, known_at).filter(position__die__in=ids).order_by("at", "sequence", "key")
    readings: dict[int, list[ReadingRow]] = defaultdict(list)
    for position, at, quantity, value, into_run in rows.values_list(
        "position_id", "at", "quantity", "value_si", "hits_into_run"
    ):
        readings[die_of[position]].append(
            ReadingRow(at=at.timestamp(), position=position, quantity=quantity, value_si=value, hits_into_run=into_run)
        )
    return readings


_OF_PIECE, _OF_DIE, _ANEW = range(3)


def _moments(
    ids: list[int], known_at: dt.datetime | None
) -> tuple[dict[int, list[TroubleRow]], dict[int, list[float]]]:
    """Of each die its troubles (mishaps by the pieces that they damaged, stops for burr), and from when its record
    counts anew: moments all of them, asked in one question."""
    none = Value(None, BigIntegerField())
    mishaps = _known(Incident, known_at).filter(die__in=ids, pieces__isnull=False).order_by()
    stops = _known(Stop, known_at).filter(die__in=ids, cause=Stop.Cause.BURR).order_by()
    anew = _known(RecordRestart, known_at).filter(die__in=ids).order_by()
    rows = mishaps.values_list("die_id", "at", "pieces", Value(_OF_PIECE)).union(
        stops.values_list("die_id", "at", none, Value(_OF_DIE)),
        anew.values_list("die_id", "at", none, Value(_ANEW)),
        all=True,
    )
    troubles: dict[int, list[TroubleRow]] = defaultdict(list)
    restarts: dict[int, list[float]] = defaultdict(list)
    for die, at, piece, what in sorted(rows, key=lambda row: (row[1], row[3], row[2] or 0)):
        if what == _ANEW:
            restarts[die].append(at.timestamp())
        else:
            troubles[die].append(TroubleRow(at=at.timestamp(), piece=piece))
    return troubles, restarts
