"""What was found wrong with a die and is not put right since: pieces that a mishap damaged, a stop for burr, burr over
the limit of a part, a piece that has worn to its limit.

A damaged piece is put right by grinding, welding, repair or another piece; burr also by a later reading within the
limit, and a stop for burr by a touch with the stone: somebody has seen to it. A worn piece is put right as a damaged
one is, or by a later reading within its limit.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from django.db.models import Exists, F, Min, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from diestore import units
from diestore.handbook import wear_limits
from diestore.register.models import Cut, Die, Position
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import Fitting, Incident, Reading, Replacement, Stop, Work
from maintenance.wording.standing import BURRS, DAMAGED, WORN, Standing, worst

from . import bench_reads, queries
from .rules import stamp

BURR = gettext_noop("burr height")
MISHAP, STOPPED, OVER, WORN_OUT = "mishap", gettext_noop("stopped for burr"), "over the limit", "worn to its limit"
OF_EDGES = (
    BURR,
    gettext_noop("wear land"),
    gettext_noop("edge radius"),
)  # what tells of an edge's wear: that has limits of its own
FRESH = [key for key, operation in OPERATIONS.items() if operation.fresh_edge]
ON_THE_EDGE = [key for key, operation in OPERATIONS.items() if operation.on_the_edge]
MENDS = [*FRESH, "repaired"]
IN_FULL = 2  # of the things wrong with one die, in a list of dies
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
    quantity: str = ""  # of a worn piece: what was measured, in SI
    value_si: float | None = None
    limit_si: float | None = None
    source: str = ""  # of its limit, where that is not the shop's own

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
        return DAMAGED if self.what == MISHAP else WORN if self.what == WORN_OUT else BURRS


def sentences(wrong: Iterable[Damage], system: units.System = units.System.METRIC) -> list[str]:
    """What is wrong, in whole sentences; what one mishap damaged in one of them."""
    return [_sentence(together, system) for together in _together(wrong)]


def in_a_list(wrong: Sequence[Damage], system: units.System = units.System.METRIC) -> list[str]:
    """The same where it stands among other dies: one or two things in whole sentences, more of them in a few words."""
    whole = sentences(wrong, system)
    if len(whole) <= IN_FULL:
        return whole
    words = briefly(wrong)
    return [f"{words[:1].upper()}{words[1:]}."]


def briefly(wrong: Iterable[Damage]) -> str:
    """The same in a few words: "2-A and 4-A damaged; burr over the limit on 3-A; 5-P and 6-P past their limit"."""
    wrong = list(wrong)
    others = [_briefly(together) for together in _together(one for one in wrong if one.what != WORN_OUT)]
    return "; ".join([*others, *_worn_briefly([one for one in wrong if one.what == WORN_OUT])])


def _worn_briefly(worn: list[Damage]) -> list[str]:
    if not worn:
        return []
    places = list({one.position: one for one in worn}.values())
    if len(places) == 1:
        quantities = ", ".join(dict.fromkeys(_(one.quantity) for one in worn))
        return [_("{place} past its limit ({quantities})").format(place=worn[0].place, quantities=quantities)]
    return [_("{places} past their limit").format(places=_places(sorted(places, key=lambda one: one.place)))]


def _together(wrong: Iterable[Damage]) -> list[list[Damage]]:
    """One mishap's damage together, in the order given."""
    groups: dict[tuple, list[Damage]] = {}
    for number, one in enumerate(wrong):
        key = (one.at, one.cause) if one.what == MISHAP else (number,)
        groups.setdefault(key, []).append(one)
    return list(groups.values())


def _places(together: list[Damage]) -> str:
    *some, last = [one.place for one in together]
    return _("{some} and {last}").format(some=", ".join(some), last=last) if some else last


def _briefly(together: list[Damage]) -> str:
    first = together[0]
    if first.what == MISHAP:
        return _("{places} damaged").format(places=_places(together))
    if first.what != OVER:
        return _(first.what)
    return _("burr over the limit on {place}").format(place=first.place) if first.place else _("burr over the limit")


def _sentence(together: list[Damage], system: units.System) -> str:
    first = together[0]
    if first.what == MISHAP:
        words = ngettext(
            "{places} was damaged in a mishap ({cause}, {at}) and has not been ground or replaced since.",
            "{places} were damaged in a mishap ({cause}, {at}) and have not been ground or replaced since.",
            len(together),
        )
        return words.format(places=_places(together), cause=first.cause, at=stamp(first.at))
    if first.what == STOPPED:
        return _("The press was stopped for burr on {at}, and nothing has been ground or replaced since.").format(
            at=stamp(first.at)
        )
    if first.what == WORN_OUT:
        value, limit = (_shown(si, first.quantity, system) for si in (first.value_si, first.limit_si))
        limit = f"{limit} ({first.source})" if first.source else limit
        words = _("The {quantity} of {place} was {value} on {at}; it is changed at {limit}.")
        return words.format(quantity=_(first.quantity), place=first.place, value=value, at=stamp(first.at), limit=limit)
    burr, limit = (units.show(um, "burr_um", system) for um in (first.burr_um, first.limit_um))
    words = _("The burr was {burr} on {at}; the limit is {limit}.")
    if first.place:
        words = _("The burr on {place} was {burr} on {at}; the limit is {limit}.")
    return words.format(place=first.place, burr=burr, at=stamp(first.at), limit=limit)


def _shown(value_si: float, quantity: str, system: units.System) -> str:
    what = units.reading(quantity)
    return f"{value_si:g}" if what is None else units.show_si(value_si, what, system)


def standing_with(wrong: Iterable[Damage], otherwise: Standing) -> Standing:
    """How a die or a place stands with what is wrong with it: nothing damaged is fit to run."""
    return worst([*(one.standing for one in wrong), otherwise])


def open_damage(dies: Iterable[int]) -> dict[int, list[Damage]]:
    """What is wrong with each of these dies now, the latest first; dies with nothing wrong are left out.

    The same number of questions however many dies there are.
    """
    ids = list(dies)
    limits = Limits(ids)
    wrong: dict[int, list[Damage]] = defaultdict(list)
    for die, damage in (
        *_damaged_pieces(ids),
        *_over_the_limit(ids, limits),
        *_stopped(ids, limits),
        *_worn(ids),
    ):
        wrong[die].append(damage)
    return {die: sorted(rows, key=lambda d: (-d.at.timestamp(), d.place)) for die, rows in wrong.items()}


def doubts_of_running(dies: Iterable[Die]) -> dict[int, str]:
    """Why each of these should make no parts as it stands: on hold, or something is wrong with it. Those that are fine
    are left out. The same number of questions however many dies there are."""
    known = {die.pk: die for die in dies}
    if not known:
        return {}
    told = {pk: bench_reads.doubt_of_hold(hold, known[pk]) for pk, hold in bench_reads.holds_of(known).items()}
    for pk, wrong in open_damage(known).items():
        first = _("{die} has to be seen to before it runs: {wrong}.").format(die=known[pk], wrong=briefly(wrong))
        told[pk] = f"{told[pk]} {first}" if pk in told else first
    return told


def is_over(burr_um: float, limit_um: float | None) -> bool:
    return limit_um is not None and burr_um > limit_um * (1 + 1e-9)  # a value in metres and back


def is_within(burr_um: float, limit_um: float | None) -> bool:
    return limit_um is not None and not is_over(burr_um, limit_um)


class Limits:
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


def _over_the_limit(dies: list[int], limits: Limits) -> Iterable[tuple[int, Damage]]:
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
    for (die, __), damage in worst.items():
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
    if not is_over(burr_um, limit_um) or (before is not None and before.burr_um >= burr_um):
        return
    worst[die, place] = Damage(what=OVER, at=at, position=place, place=code, burr_um=burr_um, limit_um=limit_um)


def _stopped(dies: list[int], limits: Limits) -> Iterable[tuple[int, Damage]]:
    """The last stop of each die for burr, where nothing was done and nothing within the limit was measured since."""
    stops = Stop.objects.standing().filter(cause=Stop.Cause.BURR)
    worked, replaced = _renewed("die", "at", ON_THE_EDGE)
    later = stops.filter(die=OuterRef("die"), at__gt=OuterRef("at"))
    last = dict(stops.filter(~worked, ~replaced, ~Exists(later), die__in=dies).values_list("die_id", "at"))
    since = min(last.values(), default=timezone.now())
    burrs = Reading.objects.standing().filter(quantity__iexact=BURR, at__gt=since)
    for row in burrs.filter(Q(die__in=last) | Q(position__die__in=last)).select_related("position"):
        die = row.position.die_id if row.position else row.die_id
        good = is_within(row.value_si * 1e6, limits.of(die, row.position_id))
        if good and die in last and row.at > last[die]:
            del last[die]
    for die, at in last.items():
        yield die, Damage(what=STOPPED, at=at)


def _worn(dies: list[int]) -> Iterable[tuple[int, Damage]]:
    """Pieces whose last reading since they were fitted is at their limit or beyond it: the shop's own, else the
    customary one of that kind."""
    not_edges = ~Q(quantity__iexact=OF_EDGES[0]) & ~Q(quantity__iexact=OF_EDGES[1]) & ~Q(quantity__iexact=OF_EDGES[2])
    sits = Fitting.objects.filter(position=OuterRef("position"), until__isnull=True)
    mended = Work.objects.standing().filter(operation__in=MENDS, position=OuterRef("position"), at__gte=OuterRef("at"))
    rows = (
        Reading.objects.standing()
        .filter(not_edges, Exists(sits), position__die__in=dies)
        .annotate(fitted=Subquery(sits.values("since")[:1]), mended=Exists(mended))
        .order_by("at", "sequence", "key")
        .values_list(
            "position__die_id", "position_id", "position__code", "position__kind", "position__wear_of",
            "position__wear_limit", "quantity", "at", "value_si", "at_length_mm", "charged_to_mpa", "fitted", "mended",
        )
    )  # fmt: skip
    rows = list(rows)
    gap_mm = _smallest_gaps({row[0] for row in rows}) if rows else {}
    first_si: dict[tuple, float] = {}
    last: dict[tuple[int, str], tuple[int, Damage] | None] = {}
    for die, place, code, kind, own_of, own, quantity, at, value, length, charged, fitted, mended in rows:
        name = wear_limits.named(quantity)
        # A reading at the very moment of a replacement belongs to the piece that came out.
        if name is None or (fitted is not None and at <= fitted):
            continue
        # Forces are held against each other at one length only; a gas spring counts anew from what it is charged to.
        at_length = None if length is None else round(length, 1)
        first = first_si.setdefault((place, name, at_length), value)
        its_own = own if own_of and wear_limits.named(own_of) == name else None
        limit_si, source = _wear_limit(kind, name, first, its_own, gap_mm.get(die))
        last[place, name] = None
        if charged is not None:
            first_si[place, name, at_length] = charged * 1e6
            continue
        if limit_si is not None and not mended and _is_past(name, value, limit_si):
            last[place, name] = die, Damage(
                what=WORN_OUT, at=at, position=place, place=code, quantity=name, value_si=value, limit_si=limit_si,
                source=source,
            )  # fmt: skip
    yield from (found for found in last.values() if found is not None)


def _smallest_gaps(dies: Collection[int]) -> dict[int, float]:
    """Die -> the smallest gap per side that it cuts with now, where one is known."""
    now = timezone.now()
    there = Q(valid_from__isnull=True) | Q(valid_from__lte=now)
    still = Q(valid_to__isnull=True) | Q(valid_to__gt=now)
    rows = Cut.objects.filter(there, still, die__in=dies, gap_mm__gt=0).order_by().values_list("die")
    return dict(rows.annotate(least=Min("gap_mm")))


def _wear_limit(
    kind: str, name: str, first_si: float, own: float | None, gap_mm: float | None
) -> tuple[float | None, str]:
    """Its limit in SI, and whose it is where it is not the shop's own."""
    if own is not None:
        return wear_limits.limit_si(name, own), ""
    usual = wear_limits.wear_limit(kind, name, gap_mm=gap_mm)
    return (None, "") if usual is None else (usual.value_si(first_si), usual.source)


def _is_past(name: str, value_si: float, limit_si: float) -> bool:
    nearly = abs(limit_si) * 1e-9  # a limit in mm and back
    return value_si <= limit_si + nearly if wear_limits.falls(name) else value_si >= limit_si - nearly
