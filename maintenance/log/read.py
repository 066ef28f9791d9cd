"""Rows of the database -> the plain logs that clocks and cycles are made of.

Reads only; one question to the database for each block of dies.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator

from django.db.models import Max, QuerySet

from diestore import together
from diestore.register.models import Cut, Die, Piece, Plant, Position, Stock
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
    WorkRow,
)
from maintenance.models import EVENTS, HitCorrection, OpenCount, Reading, RecordRestart, Replacement, Run, Work

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


_WORK = (
    "operation",
    "why",
    "found",
    "removed_mm",
    "coating_after",
    "set_key",
    "hours",
    "hits_into_run",
    "sequence",
    "key",
)


def _reads(ids: list[int], known_at: dt.datetime | None) -> dict[str, QuerySet]:
    """All that the logs of these dies are made of."""

    def standing(model):
        return model.objects.standing() if known_at is None else model.objects.known_at(known_at)

    works = standing(Work).order_by("at", "sequence", "key").values_list("position_id", "piece_id", "at", *_WORK)
    return {
        "stocks": Stock.objects.values_list("pk", "material", "tensile_mpa", "thickness_mm"),
        "variants": Position.variants.through.objects.filter(position__die__in=ids).values_list(
            "position_id", "variant_id"
        ),
        "positions": Position.objects.filter(die__in=ids).values_list(
            "pk", "die_id", "code", "kind", "side", "stroke_share", "valid_from", "valid_to"
        ),
        "cuts": Cut.objects.filter(die__in=ids).values_list(
            "die_id", "upper_id", "lower_id", "length_mm", "gap_mm", "valid_from", "valid_to"
        ),
        "runs": standing(Run)
        .filter(die__in=ids)
        .order_by("started")
        .values_list("die_id", "started", "at", "hits", "variant_id", "stock_id", "order_id"),
        "corrections": standing(HitCorrection)
        .filter(die__in=ids)
        .order_by("at", "sequence", "key")
        .values_list("die_id", "at", "hits", "variant_id", "with_stock"),
        "counting": (OpenCount.objects.all() if known_at is None else OpenCount.objects.none())
        .filter(die__in=ids)
        .order_by("started", "pk")
        .values_list("die_id", "started", "at", "hits", "variant_id", "order_id", "with_stock"),
        "replacements": standing(Replacement)
        .filter(position__die__in=ids)
        .order_by("at", "sequence", "key")
        .values_list(
            "position_id", "at", "sequence", "key", "piece_in_id", "why", "found", "since_start", "hits_into_run"
        ),
        "pieces": Piece.objects.filter(fitted_by__position__die__in=ids)
        .distinct()
        .values_list(
            "pk",
            "tool_steel",
            "coating",
            "hardness_hrc",
            "grind_allowance_mm",
            "opening",
            "opening_life_hits",
            "opening_hits_since_sharpening",
        ),
        "on_positions": works.filter(position__die__in=ids),
        "on_bench": works.filter(piece__fitted_by__position__die__in=ids).distinct(),
        "readings": standing(Reading)
        .filter(position__die__in=ids)
        .order_by("at", "sequence", "key")
        .values_list("position_id", "at", "quantity", "value_si", "hits_into_run"),
        "restarts": standing(RecordRestart).filter(die__in=ids).order_by("at").values_list("die_id", "at"),
    }


def _block(dies: list[Die], known_at: dt.datetime | None) -> Iterator[DieLog]:
    told = together.read(**_reads([die.pk for die in dies], known_at))
    stocks = {
        pk: StockRow(material=material, tensile_mpa=tensile, thickness_mm=thickness)
        for pk, material, tensile, thickness in told["stocks"]
    }
    usual = {die.pk: die.usual_stock_id for die in dies}
    variants = defaultdict(set)
    for position_id, variant_id in told["variants"]:
        variants[position_id].add(variant_id)
    positions = defaultdict(dict)
    die_of = {}
    for pk, die, code, kind, side, share, since, until in told["positions"]:
        die_of[pk] = die
        positions[die][pk] = PositionRow(
            id=pk,
            code=code,
            kind=kind,
            side=side,
            stroke_share=share,
            variants=frozenset(variants.get(pk, ())),
            valid_from=seconds(since),
            valid_to=seconds(until),
        )
    cuts = defaultdict(list)
    for die, upper, lower, length, gap, since, until in told["cuts"]:
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
    runs = defaultdict(list)
    for die, started, ended, hits, variant, stock, order in told["runs"]:
        runs[die].append(
            RunRow(
                started=started.timestamp(),
                ended=ended.timestamp(),
                hits=hits,
                variant=variant,
                stock=stock or usual[die],
                order=order,
            )
        )
    corrections = defaultdict(list)
    for die, at, hits, variant, with_stock in told["corrections"]:
        corrections[die].append(CorrectionRow(at=at.timestamp(), hits=hits, variant=variant, with_stock=with_stock))
    _add_open_counts(told["counting"], usual, runs, corrections)
    replacements = defaultdict(list)
    piece_dies = defaultdict(set)
    for position, at, sequence, key, piece, why, found, since_start, into_run in told["replacements"]:
        die = die_of[position]
        if piece is not None:
            piece_dies[piece].add(die)
        replacements[die].append(
            ReplacementRow(
                at=at.timestamp(),
                sequence=sequence,
                key=key,
                position=position,
                piece=piece,
                why=why,
                found=found,
                since_start=since_start,
                hits_into_run=into_run,
            )
        )
    pieces = defaultdict(dict)
    for pk, steel, coating, hardness, allowance, opening, life, since in told["pieces"]:
        row = PieceRow(
            id=pk,
            tool_steel=steel,
            coating=coating,
            hardness_hrc=hardness,
            grind_allowance_mm=allowance,
            opening=opening,
            opening_life_hits=life,
            opening_hits_since_sharpening=since,
        )
        for die in piece_dies[pk]:
            pieces[die][pk] = row
    works = defaultdict(list)
    for position, piece, at, *rest in (*told["on_positions"], *told["on_bench"]):
        work = WorkRow(at=at.timestamp(), position=position, piece=piece, **dict(zip(_WORK, rest, strict=True)))
        for die in [die_of[position]] if position is not None else piece_dies[piece]:
            works[die].append(work)
    readings = defaultdict(list)
    for position, at, quantity, value, into_run in told["readings"]:
        readings[die_of[position]].append(
            ReadingRow(at=at.timestamp(), position=position, quantity=quantity, value_si=value, hits_into_run=into_run)
        )
    restarts = defaultdict(list)
    for die, at in told["restarts"]:
        restarts[die].append(at.timestamp())
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
            restarts=tuple(restarts[die.pk]),
        )


def _add_open_counts(counting: list[tuple], usual: dict[int, int], runs: dict, corrections: dict) -> None:
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
