"""Rows of the database -> the plain logs that clocks and cycles are made of.

Reads only; seven questions to the database for each block of dies.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator
from operator import itemgetter

from django.db.models import BigIntegerField, BooleanField, F, FloatField, Max, QuerySet, Value
from django.db.models.functions import Cast

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


def of_die(die: Die, *, known_at: dt.datetime | None = None, positions: Iterable[Position] | None = None) -> DieLog:
    """positions: those that the die has or had, where they are read already (`with_inserts`)."""
    if positions is None:
        return next(iter(of_dies([die], known_at=known_at)))
    rows = (
        (p.pk, p.die_id, p.code, p.kind, p.side, p.stroke_share, p.valid_from, p.valid_to, p.inserts) for p in positions
    )
    return next(_block([die], known_at, _laid_out(rows)))


def with_inserts(positions: QuerySet[Position]) -> QuerySet[Position]:
    """Positions as a log needs them: one that works with some sets of inserts only comes once for each of them."""
    return positions.annotate(inserts=F("variants"))


def _block(
    dies: list[Die], known_at: dt.datetime | None, positions: dict[int, dict[int, PositionRow]] | None = None
) -> Iterator[DieLog]:
    """The logs of some dies: each sort of row is one question for all of them, sorts that are alike share one."""
    ids, usual = [die.pk for die in dies], {die.pk: die.usual_stock_id for die in dies}
    positions = _positions(ids) if positions is None else positions
    stocks, cuts = _stocks(), _cuts(ids)
    die_of = {pk: die for die, places in positions.items() for pk in places}
    runs, counting = _runs(ids, known_at, usual)
    corrections, troubles, restarts = _moments(ids, known_at)
    _add_open_counts(counting, usual, runs, corrections)
    replacements, pieces = _replacements(ids, known_at, die_of)
    works, readings = _works_and_readings(ids, known_at, die_of, pieces)
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
    rows = Position.objects.filter(die__in=ids).values_list(
        "pk", "die_id", "code", "kind", "side", "stroke_share", "valid_from", "valid_to", "variants"
    )
    return _laid_out(rows)


def _laid_out(rows: Iterable[tuple]) -> dict[int, dict[int, PositionRow]]:
    """Die -> position -> row. A position that works with some sets of inserts only comes once for each of them."""
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


_BY_START = itemgetter(2, 0)
_NO_KEY = Value(None, BigIntegerField())
_RUN = ("pk", "die_id", "started", "at", "hits", "variant_id", "stock_id", "order_id", "lot")


def _runs(
    ids: list[int], known_at: dt.datetime | None, usual: dict[int, int]
) -> tuple[dict[int, list[RunRow]], list[tuple]]:
    """Of each die its runs; and what counters count just now, where the records are told as they are known now."""
    rows = _known(Run, known_at).filter(die__in=ids).order_by()
    rows = rows.values_list(*_RUN, Value(True, BooleanField()), Value(False, BooleanField()))
    if known_at is None:
        counted = ("pk", "die_id", "started", "at", "hits", "variant_id", _NO_KEY, "order_id", Value(""), "with_stock")
        counts = OpenCount.objects.filter(die__in=ids).order_by()
        rows = rows.union(counts.values_list(*counted, Value(True, BooleanField())), all=True)
    runs: dict[int, list[RunRow]] = defaultdict(list)
    counting = []
    for row in sorted(rows, key=_BY_START):
        _, die, started, ended, hits, variant, stock, order, coil, with_stock, is_open = row
        if is_open:
            counting.append((die, started, ended, hits, variant, order, with_stock))
            continue
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
    return runs, counting


def _add_open_counts(
    counting: Iterable[tuple],
    usual: dict[int, int],
    runs: dict[int, list[RunRow]],
    corrections: dict[int, list[CorrectionRow]],
) -> None:
    """What counters count just now, beside the runs of the log. Where a run was typed for that time, the run is told
    until somebody settles it."""
    for die, began, at, hits, variant, order, with_stock in counting:
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


_WORK = ("operation", "why", "found", "removed_mm", "coating_after", "set_key", "hours", "hits_into_run")
_IN_ORDER = ("at", "sequence", "key")


def _works_and_readings(
    ids: list[int], known_at: dt.datetime | None, die_of: dict[int, int], pieces: dict[int, dict[int, PieceRow]]
) -> tuple[dict[int, list[WorkRow]], dict[int, list[ReadingRow]]]:
    """Of each die the works on its positions, and those done on the bench on pieces that ever sat in it; and what was
    measured on its positions. A reading's quantity stands where the operation of a work does, its value where what came
    off does."""
    done, dies_of = _known(Work, known_at).order_by(), defaultdict(list)
    for die, of_die in pieces.items():
        for piece in of_die:
            dies_of[piece].append(die)
    no_word, no_figure = Value(""), Cast(Value(None), FloatField())  # PostgreSQL takes two bare nothings for text
    columns = (Value(True, BooleanField()), "position_id", "piece_id", *_IN_ORDER, *_WORK, no_figure)
    fitted = _known(Replacement, known_at).filter(position__die__in=ids).order_by().values("piece_in")
    on_positions = done.filter(position__die__in=ids).values_list(*columns)
    on_the_bench = done.filter(piece__in=fitted).values_list(*columns)
    measured = _known(Reading, known_at).filter(position__die__in=ids).order_by().values_list(
        Value(False, BooleanField()), "position_id", _NO_KEY, *_IN_ORDER,
        "quantity", no_word, no_word, "value_si", no_word, no_word, "at_length_mm", "hits_into_run", "charged_to_mpa",
    )  # fmt: skip
    works: dict[int, list[WorkRow]] = defaultdict(list)
    readings: dict[int, list[ReadingRow]] = defaultdict(list)
    rows = on_positions.union(on_the_bench, measured, all=True).order_by(*_IN_ORDER)
    for is_work, position, piece, at, sequence, key, what, why, found, mm, coating, set_key, hours, run, mpa in rows:
        stamp = at.timestamp()
        if not is_work:
            reading = ReadingRow(
                at=stamp, position=position, quantity=what, value_si=mm, hits_into_run=run, at_length_mm=hours,
                charged_to_mpa=mpa,
            )  # fmt: skip
            readings[die_of[position]].append(reading)
            continue
        work = WorkRow(
            at=stamp, position=position, piece=piece, operation=what, why=why, found=found, removed_mm=mm,
            coating_after=coating, set_key=set_key, hours=hours, hits_into_run=run, sequence=sequence, key=key,
        )  # fmt: skip
        for die in [die_of[position]] if position is not None else dies_of[piece]:
            works[die].append(work)
    return works, readings


_OF_PIECE, _OF_DIE, _ANEW, _PUT_RIGHT = range(4)


def _moments(
    ids: list[int], known_at: dt.datetime | None
) -> tuple[dict[int, list[CorrectionRow]], dict[int, list[TroubleRow]], dict[int, list[float]]]:
    """Of each die its counts put right, its troubles (mishaps by the pieces that they damaged, stops for burr), and
    from when its record counts anew: moments all of them, asked in one question."""
    mishaps = _known(Incident, known_at).filter(die__in=ids, pieces__isnull=False).order_by()
    stops = _known(Stop, known_at).filter(die__in=ids, cause=Stop.Cause.BURR).order_by()
    anew = _known(RecordRestart, known_at).filter(die__in=ids).order_by()
    put_right = _known(HitCorrection, known_at).filter(die__in=ids).order_by()
    nothing = (_NO_KEY, Value(True, BooleanField()))
    columns = ("die_id", *_IN_ORDER)
    rows = put_right.values_list(Value(_PUT_RIGHT), *columns, "variant_id", "hits", "with_stock").union(
        mishaps.values_list(Value(_OF_PIECE), *columns, "pieces", *nothing),
        stops.values_list(Value(_OF_DIE), *columns, _NO_KEY, *nothing),
        anew.values_list(Value(_ANEW), *columns, _NO_KEY, *nothing),
        all=True,
    )
    corrections: dict[int, list[CorrectionRow]] = defaultdict(list)
    troubles: dict[int, list[TroubleRow]] = defaultdict(list)
    restarts: dict[int, list[float]] = defaultdict(list)
    for what, die, moment, _, _, of, hits, with_stock in sorted(rows, key=_in_time):
        at = moment.timestamp()
        if what == _PUT_RIGHT:
            corrections[die].append(CorrectionRow(at=at, hits=hits, variant=of, with_stock=bool(with_stock)))
        elif what == _ANEW:
            restarts[die].append(at)
        else:
            troubles[die].append(TroubleRow(at=at, piece=of))
    return corrections, troubles, restarts


def _in_time(row: tuple) -> tuple:
    """Counts put right in the order of their entries; troubles of one moment by their pieces."""
    what, _, at, sequence, key, of, *_ = row
    return (at, what, sequence, key) if what == _PUT_RIGHT else (at, what, of or 0, "")
