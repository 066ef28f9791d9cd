"""What a set-up sheet is made of, read from the register and the log: plain figures for `policy.set_up_sheet`.

Reads only; the same number of questions however many cuts, springs and presses there are.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils import timezone

from diestore.handbook import materials
from diestore.handbook.sources import Span
from diestore.handbook.spring_lives import FatigueClock
from diestore.register import amendments
from diestore.register.models import Cut, Die, Position, Press, Stock, Variant
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import SetUp, Work
from maintenance.policy.heights import HeightError
from maintenance.policy.set_up_sheet import (
    DieSheet,
    PressSheet,
    SetUpSheet,
    SheetCut,
    SpringForce,
    SpringSort,
    Strip,
    set_up_sheet,
)

from . import heights, spring_reads
from . import read as read_log

TAKES_OFF = [key for key, operation in OPERATIONS.items() if operation.fresh_edge]
SHEAR_AT_LARGE = Span(
    low=min(materials.SHEAR_RATIOS), high=max(materials.SHEAR_RATIOS), source="shear over tensile strength as published"
)


@dataclass(frozen=True, kw_only=True)
class Height:
    """The shut height as it is now, and where it comes from. set_up: the last good one, where that is the newest.
    ground_mm: the most that came off on the punch side and on the die side since then."""

    mm: float
    at: dt.datetime | None
    set_up: SetUp | None
    ground_mm: dict[str, float]


@dataclass(frozen=True, kw_only=True)
class Springs:
    """Springs that hold the stripper. clocks: strokes against life, by code. measured_at: the newest reading of one."""

    places: list[spring_reads.SpringPlace]
    forces: list[SpringForce]
    sorts: list[SpringSort]
    clocks: dict[str, FatigueClock]
    measured_at: dt.datetime | None


@dataclass(frozen=True, kw_only=True)
class Read:
    """All that one sheet stands on. inserts: the set it is for. depths_mm: of height groups, how far each enters
    after the first by the ledger of heights; None where no height is known."""

    die: Die
    press: Press | None
    inserts: Variant | None
    variants: list[Variant]
    height: Height | None
    strip: Strip
    cuts: list[SheetCut]
    springs: Springs
    presses: list[Press]
    depths_mm: dict[str, float] | None = None

    def sheet(self, press: Press | None = None) -> SetUpSheet:
        """In the press that it is for, or in another one."""
        into = press or self.press
        return set_up_sheet(
            die=die_sheet(self.die, self.height), strip=self.strip, cuts=self.cuts, springs=self.springs.forces,
            press=None if into is None else press_sheet(into), depths_mm=self.depths_mm,
        )  # fmt: skip


def read(die: Die, *, press: Press | None = None, inserts: Variant | None = None) -> Read:
    """The die as it stands now, with its usual press and inserts where no others are named."""
    variants = list(die.variants.all())
    inserts = inserts or next((one for one in variants if one.is_default), None)
    return Read(
        die=die, press=press or die.usual_press, inserts=inserts, variants=variants, height=height_of(die),
        strip=strip_of(die.usual_stock), cuts=cuts_of(die, inserts), springs=springs_of(die, inserts),
        depths_mm=depths_of(die),
        presses=list(Press.objects.filter(plant=die.plant_id, retired_at=None).order_by("code")),
    )  # fmt: skip


def depths_of(die: Die) -> dict[str, float] | None:
    """Height group -> how far it enters after the first, by the lengths of its pieces now."""
    try:
        groups = heights.of_die(die).ledger.groups
    except HeightError:
        return None
    return {group.name: group.step_mm for group in groups if group.is_upper} or None


def strip_of(stock: Stock) -> Strip:
    """The stock's own shear strength, else by the handbook's ratio, else between the published ratios."""
    family = materials.family_of(stock.material)
    if stock.shear_mpa is not None:
        shear = Span(low=stock.shear_mpa, high=stock.shear_mpa, source="shear strength of the stock, as typed")
    else:
        known = materials.material(stock.material)
        ratio = SHEAR_AT_LARGE if known is None else known.shear_ratio
        shear = Span(
            low=ratio.low * stock.tensile_mpa,
            high=ratio.high * stock.tensile_mpa,
            source=f"{ratio.low:g} to {ratio.high:g} of its tensile strength: {ratio.source}"
            if ratio.low < ratio.high
            else f"{ratio.low:g} of its tensile strength: {ratio.source}",
        )
    return Strip(thickness_mm=stock.thickness_mm, shear_mpa=shear, family=family)


def die_sheet(die: Die, height: Height | None = None) -> DieSheet:
    names = (
        "strokes_per_minute", "passline_mm", "feed_pitch_mm", "pilot_release_mm", "strip_width_mm", "stroke_needed_mm",
        "contact_mm", "stagger_mm", "weight_kg", "upper_weight_kg",
    )  # fmt: skip
    return DieSheet(shut_height_mm=height and height.mm, **{name: getattr(die, name) for name in names})


def press_sheet(press: Press) -> PressSheet:
    return PressSheet(
        name=press.code,
        rated_n=press.rated_force_n,
        shut_height_min_mm=press.shut_height_min_mm,
        shut_height_max_mm=press.shut_height_max_mm,
        **{name: getattr(press, name) for name in Press.FOR_SET_UP},
    )


def _works_with(position: Position, inserts: Variant | None) -> bool:
    """Whether a place works with a set of inserts: with all of them where it names none."""
    if inserts is None:
        return True
    named = {variant.pk for variant in position.variants.all()}
    return not named or inserts.pk in named


def cuts_of(die: Die, inserts: Variant | None) -> list[SheetCut]:
    """Contours that are cut now, with these inserts."""
    now = timezone.now()
    idle: set[int] = set()  # places that name other inserts
    if inserts is not None:
        named = Position.objects.filter(die=die, variants__isnull=False).exclude(variants=inserts)
        idle = set(named.order_by().values_list("pk", flat=True))
    return [
        SheetCut(length_mm=cut.length_mm, group=cut.upper.height_group if cut.upper else "")
        for cut in Cut.objects.filter(die=die).select_related("upper")
        if _holds(cut, now) and not {cut.upper_id, cut.lower_id} & idle
    ]


def _holds(row: Cut | Position, now: dt.datetime) -> bool:
    return (row.valid_from is None or row.valid_from <= now) and (row.valid_to is None or now < row.valid_to)


def springs_of(die: Die, inserts: Variant | None) -> Springs:
    """Springs that hold the stripper with what each holds in the open die; each sort of them as it sits; their strokes
    against their life; and when one of them was measured last.
    """
    now = timezone.now()
    places = spring_reads.places_of(die, keep=lambda place: _pushes(place, now, inserts))
    sorts = spring_reads.sorts_of(die, places)
    of = {code: sort for sort in sorts for code in sort.places}
    measured = [one.at for place in places for one in (place.force, place.pressure) if one is not None]
    classed = any(sort.spring is not None and sort.spring.load_class is not None for sort in sorts)
    return Springs(
        places=places,
        forces=[spring_reads.force_now(place, of.get(place.position.code)) for place in places],
        sorts=sorts,
        clocks=spring_reads.clocks_of(read_log.of_die(die), sorts, now.timestamp()) if classed else {},
        measured_at=max(measured, default=None),
    )


def _pushes(place: Position, now: dt.datetime, inserts: Variant | None) -> bool:
    """Whether it pushes the stripper down: gas springs under a die pad or a lifter do not."""
    return place.side == "upper" and _holds(place, now) and _works_with(place, inserts)


def height_of(die: Die) -> Height | None:
    """The newest of what was typed on the die's card and what a good set-up was left to run with."""
    typed_at = next(
        (change.at or change.recorded_at for change in reversed(amendments.standing(die))
         if "shut_height_mm" in change.fields),
        None,
    )  # fmt: skip
    good = (
        SetUp.objects.standing()
        .filter(die=die, is_good=True, shut_height_mm__isnull=False)
        .select_related("press")
        .order_by("-at", "-pk")
        .first()
    )
    if good is not None and (die.shut_height_mm is None or typed_at is None or good.at > typed_at):
        return Height(mm=good.shut_height_mm, at=good.at, set_up=good, ground_mm=_ground(die, good.at))
    if die.shut_height_mm is None:
        return None
    ground = {} if typed_at is None else _ground(die, typed_at)
    return Height(mm=die.shut_height_mm, at=typed_at, set_up=None, ground_mm=ground)


def _ground(die: Die, since: dt.datetime) -> dict[str, float]:
    """Side of the die -> the most that came off one piece there in all since then."""
    works = Work.objects.standing().filter(
        position__die=die, at__gt=since, operation__in=TAKES_OFF, removed_mm__isnull=False
    )
    taken: dict[int, float] = {}
    side: dict[int, str] = {}
    for position, of, removed in works.values_list("position_id", "position__side", "removed_mm"):
        taken[position] = taken.get(position, 0.0) + removed
        side[position] = of
    most: dict[str, float] = {}
    for position, removed in taken.items():
        most[side[position]] = max(most.get(side[position], 0.0), removed)
    return most


def presses_that_fit(read: Read) -> Sequence[tuple[Press, SetUpSheet]]:
    """Each press of the plant, with the sheet of this die in it."""
    return [(press, read.sheet(press)) for press in read.presses]
