"""What was found wrong with a die and is not put right since: pieces that a mishap damaged, a stop for burr, burr over
the limit of a part.

A damaged piece is put right by grinding, welding, repair or another piece; burr also by a later reading within the
limit, and a stop for burr by a touch with the stone: somebody has seen to it.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.utils import timezone

from diestore import units
from diestore.register.models import Die, Position
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import Event, Incident, Reading, Replacement, Stop, Work
from maintenance.wording.standing import BURRS, DAMAGED, Standing, worst

from . import queries
from .rules import stamp

BURR = "burr height"
MISHAP, STOPPED, OVER = "mishap", "stopped for burr", "over the limit"
FRESH = [key for key, operation in OPERATIONS.items() if operation.fresh_edge]
ON_THE_EDGE = [key for key, operation in OPERATIONS.items() if operation.on_the_edge]
MENDS = [*FRESH, "repaired"]
LOOKED_AT = 200  # readings back from an entry, for the last good one


@dataclass(frozen=True, kw_only=True)
class Damage:
    """One thing that is wrong with a die since a moment. place: the position's code, where one is known."""

    what: str
    at: dt.datetime
    position: int | None = None
    place: str = ""
    cause: str = ""  # what sort of mishap
    burr_um: float | None = None
    limit_um: float | None = None

    def kept(self) -> dict:
        """As it lies beside a forecast."""
        return {name: value for name, value in vars(self).items() if value not in (None, "")} | {
            "at": self.at.isoformat()
        }

    @classmethod
    def of_kept(cls, kept: Mapping) -> Damage:
        return cls(**{**kept, "at": dt.datetime.fromisoformat(kept["at"])})

    @property
    def standing(self) -> Standing:
        return DAMAGED if self.what == MISHAP else BURRS


def sentences(wrong: Iterable[Damage], system: units.System = units.System.METRIC) -> list[str]:
    """What is wrong, in whole sentences; what one mishap damaged in one of them."""
    return [_sentence(together, system) for together in _together(wrong)]


def briefly(wrong: Iterable[Damage]) -> str:
    """The same in a few words: "2-A and 4-A damaged; burr over the limit on 3-A"."""
    return "; ".join(_briefly(together) for together in _together(wrong))


def _together(wrong: Iterable[Damage]) -> list[list[Damage]]:
    """One mishap's damage together, in the order given."""
    groups: dict[tuple, list[Damage]] = {}
    for number, one in enumerate(wrong):
        key = (one.at, one.cause) if one.what == MISHAP else (number,)
        groups.setdefault(key, []).append(one)
    return list(groups.values())


def _places(together: list[Damage]) -> str:
    *some, last = [one.place for one in together]
    return f"{', '.join(some)} and {last}" if some else last


def _briefly(together: list[Damage]) -> str:
    first = together[0]
    if first.what == MISHAP:
        return f"{_places(together)} damaged"
    return f"burr over the limit{f' on {first.place}' if first.place else ''}" if first.what == OVER else first.what


def _sentence(together: list[Damage], system: units.System) -> str:
    first = together[0]
    if first.what == MISHAP:
        was, has = ("were", "have") if len(together) > 1 else ("was", "has")
        return (
            f"{_places(together)} {was} damaged in a mishap ({first.cause}, {stamp(first.at)}) and {has} not been "
            "ground or replaced since."
        )
    if first.what == STOPPED:
        return f"The press was stopped for burr on {stamp(first.at)}, and nothing has been ground or replaced since."
    burr, limit = (units.show(um, "burr_um", system) for um in (first.burr_um, first.limit_um))
    where = f" on {first.place}" if first.place else ""
    return f"The burr{where} was {burr} on {stamp(first.at)}; the limit is {limit}."


def standing_with(wrong: Iterable[Damage], otherwise: Standing) -> Standing:
    """How a die or a place stands with what is wrong with it: nothing damaged is fit to run."""
    return worst([*(one.standing for one in wrong), otherwise])


def open_damage(dies: Iterable[int]) -> dict[int, list[Damage]]:
    """What is wrong with each of these dies now, the latest first; dies with nothing wrong are left out.

    The same number of questions however many dies there are.
    """
    ids = list(dies)
    limits = _Limits(ids)
    wrong: dict[int, list[Damage]] = defaultdict(list)
    for die, damage in (*_damaged_pieces(ids), *_over_the_limit(ids, limits), *_stopped(ids, limits)):
        wrong[die].append(damage)
    return {die: sorted(rows, key=lambda d: (-d.at.timestamp(), d.place)) for die, rows in wrong.items()}


def told_by(entry: Event, system: units.System = units.System.METRIC) -> str:
    """What to say at once of an entry just made: burr over a limit, or a stop for it. Nothing where all is well."""
    if isinstance(entry, Stop) and entry.cause == Stop.Cause.BURR:
        good = _last_good(entry.die_id, None, entry.at)
        return f"Stopped for burr: look at the parts made since {good}."
    if not isinstance(entry, Reading) or entry.quantity.strip().lower() != BURR:
        return ""
    position = entry.position
    die = position.die_id if position else entry.die_id
    limit_um = _Limits([die]).of(die, entry.position_id) if die else None
    burr_um = entry.value_si * 1e6
    if not _is_over(burr_um, limit_um):
        return ""
    burr, limit = (units.show(um, "burr_um", system) for um in (burr_um, limit_um))
    where = f" on {position}" if position else ""
    good = _last_good(die, entry.position_id, entry.at)
    return f"The burr{where} is {burr}, over the limit of {limit}. Look at the parts made since {good}."


def _is_over(burr_um: float, limit_um: float | None) -> bool:
    return limit_um is not None and burr_um > limit_um * (1 + 1e-9)  # a value in metres and back


def _is_within(burr_um: float, limit_um: float | None) -> bool:
    return limit_um is not None and not _is_over(burr_um, limit_um)


class _Limits:
    """The tightest burr limit of the parts that a position works on, in micrometres; of a die, of all its parts."""

    def __init__(self, dies: list[int]) -> None:
        self.dies = dies
        self.of_variants = queries.burr_limits_um(Die(pk=pk) for pk in dies)

    @cached_property
    def works_in(self) -> dict[int, set[int]]:
        variants: dict[int, set[int]] = defaultdict(set)
        rows = Position.variants.through.objects.filter(position__die__in=self.dies)
        for position, variant in rows.values_list("position_id", "variant_id"):
            variants[position].add(variant)
        return variants

    def of(self, die: int, position: int | None) -> float | None:
        works_in = self.works_in.get(position) if position else None
        variants = self.of_variants.get(die, {}).items()
        return min((um for variant, um in variants if not works_in or variant in works_in), default=None)

    @property
    def least_um(self) -> float:
        """Below this nothing is over any limit."""
        return min((um for limits in self.of_variants.values() for um in limits.values()), default=math.inf)


def _renewed(place: str, since: str, operations: Iterable[str]) -> tuple[Exists, Exists]:
    """Whether anything was worked on, or replaced, at a place since a moment: what the outer rows call the two."""
    worked = Work.objects.standing().filter(operation__in=operations, at__gte=OuterRef(since))
    replaced = Replacement.objects.standing().filter(since_start=False, at__gte=OuterRef(since))
    path = "position" if place == "position" else "position__die"
    return Exists(worked.filter(**{path: OuterRef(place)})), Exists(replaced.filter(**{path: OuterRef(place)}))


def _damaged_pieces(dies: list[int]) -> Iterable[tuple[int, Damage]]:
    """Pieces that still sit where a mishap damaged them, with nothing done since that puts them right."""
    works = Work.objects.standing().filter(operation__in=MENDS, at__gte=OuterRef("incident__at"))
    sits, at = "piece__fittings__", F("incident__at")
    there = Q(**{f"{sits}since__isnull": True}) | Q(**{f"{sits}since__lte": at})
    rows = (
        Incident.pieces.through.objects.filter(
            there, incident__struck_at__isnull=True,
            **{f"{sits}until__isnull": True, f"{sits}position__die__in": dies},
        )
        .annotate(place=F(f"{sits}position"), code=F(f"{sits}position__code"), die=F(f"{sits}position__die"))
        .filter(~Exists(works.filter(position=OuterRef("place"))), ~Exists(works.filter(piece=OuterRef("piece"))))
    )  # fmt: skip
    for die, place, code, at, cause in rows.values_list("die", "place", "code", "incident__at", "incident__sort"):
        yield die, Damage(what=MISHAP, at=at, position=place, place=code, cause=cause)


def _over_the_limit(dies: list[int], limits: _Limits) -> Iterable[tuple[int, Damage]]:
    """The last burr reading of each place, where it is over the limit and nothing was renewed there since."""
    if math.isinf(limits.least_um):
        return
    burrs = Reading.objects.standing().filter(quantity__iexact=BURR)
    high = burrs.filter(value_si__gt=limits.least_um * 1e-6)
    at_places = _not_since(high.filter(position__die__in=dies), burrs, "position")
    of_dies = high.filter(die__in=dies)
    if of_dies.exists():  # seldom: burr is measured at an edge
        of_dies = _not_since(of_dies, burrs, "die")
    columns = ("at", "value_si")
    worst: dict[tuple, Damage] = {}
    for die, place, code, at, value in at_places.values_list(
        "position__die_id", "position_id", "position__code", *columns
    ):
        _keep_highest(worst, die, place, code, at, value * 1e6, limits.of(die, place))
    for die, at, value in of_dies.values_list("die_id", *columns):
        _keep_highest(worst, die, None, "", at, value * 1e6, limits.of(die, None))
    for (die, _), damage in worst.items():
        yield die, damage


def _not_since(high: QuerySet[Reading], burrs: QuerySet[Reading], place: str) -> QuerySet[Reading]:
    worked, replaced = _renewed(place, "at", FRESH)
    later = burrs.filter(**{place: OuterRef(place)}, at__gt=OuterRef("at"))
    return high.filter(~worked, ~replaced, ~Exists(later)).order_by()


def _keep_highest(
    worst: dict, die: int, place: int | None, code: str, at, burr_um: float, limit_um: float | None
) -> None:
    """Of several readings of one moment."""
    before = worst.get((die, place))
    if not _is_over(burr_um, limit_um) or (before is not None and before.burr_um >= burr_um):
        return
    worst[die, place] = Damage(what=OVER, at=at, position=place, place=code, burr_um=burr_um, limit_um=limit_um)


def _stopped(dies: list[int], limits: _Limits) -> Iterable[tuple[int, Damage]]:
    """The last stop of each die for burr, where nothing was done and nothing within the limit was measured since."""
    stops = Stop.objects.standing().filter(cause=Stop.Cause.BURR)
    worked, replaced = _renewed("die", "at", ON_THE_EDGE)
    later = stops.filter(die=OuterRef("die"), at__gt=OuterRef("at"))
    last = dict(stops.filter(~worked, ~replaced, ~Exists(later), die__in=dies).values_list("die_id", "at"))
    since = min(last.values(), default=timezone.now())
    burrs = Reading.objects.standing().filter(quantity__iexact=BURR, at__gt=since)
    for row in burrs.filter(Q(die__in=last) | Q(position__die__in=last)).select_related("position"):
        die = row.position.die_id if row.position else row.die_id
        good = _is_within(row.value_si * 1e6, limits.of(die, row.position_id))
        if good and die in last and row.at > last[die]:
            del last[die]
    for die, at in last.items():
        yield die, Damage(what=STOPPED, at=at)


def _last_good(die: int, position: int | None, before: dt.datetime) -> str:
    """Up to when the parts were good as far as anybody measured, in words: the last reading within the limit, or the
    last sharpening, whichever is later."""
    limits = _Limits([die])
    burrs = Reading.objects.standing().filter(quantity__iexact=BURR, at__lt=before)
    burrs = burrs.filter(position=position) if position else burrs.filter(Q(die=die) | Q(position__die=die))
    good = None
    for place, at, value in burrs.order_by("-at").values_list("position_id", "at", "value_si")[:LOOKED_AT]:
        if _is_within(value * 1e6, limits.of(die, place)):
            good = at
            break
    where = {"position": position} if position else {"position__die": die}
    works = Work.objects.standing().filter(operation__in=FRESH, at__lt=before, **where)
    ground = works.order_by("-at").values_list("at", flat=True).first()
    if good is None and ground is None:
        return "it last ran well: no good reading and no sharpening is logged before"
    if ground is None or (good is not None and good >= ground):
        return f"the last good reading, {stamp(good)}"
    return f"the last sharpening, {stamp(ground)}: no good reading is logged since"
