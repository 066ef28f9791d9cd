"""Which die to pull next, and why: one row a die with an open order. Reads stored forecasts."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial

from django.db.models import F, OuterRef, Subquery
from django.db.models.fields.json import KT

from diestore.handbook.kinds import KINDS
from diestore.register.models import Die, Plant
from diestore.service.failing import attempt
from maintenance.log import bench_reads, queries
from maintenance.log.damage import Damage, standing_with
from maintenance.log.data import OrderLeft
from maintenance.models import DieForecast, DieHold, EdgeForecast
from maintenance.wording.standing import HELD, SHARPEN, Standing, standing

from .decisions import Advice, advised
from .stored import chance_of_going, strokes_at


def by_advice(advice: Advice | None) -> dict[str, bool | None]:
    """What the advice on a job says to its die's standing."""
    return {"pays": advice.sharpen, "stop_inside": advice.pull_inside} if advice else {}


@dataclass(frozen=True, kw_only=True)
class DueRow:
    """A die with an open order. chance: of finishing what is left of it without a dull or chipped edge."""

    pk: int
    code: str
    description: str
    order: OrderLeft
    chance: float | None
    limiting: str
    limiting_kind: str
    limiting_pk: int | None = None
    since_sharpened: int | None  # the edge that limits it
    half: int | None
    nine_in_ten: int | None
    remaining: dict[str, float]
    hours: float | None
    rests_on: str
    refusal: str
    wrong: tuple[Damage, ...] = ()
    advice: Advice | None = None  # whether sharpening it before the order pays; None where that is not worked out
    held: str = ""  # why it is on hold: it makes no parts until a first piece is approved
    where: str = ""  # it stands where it does not run, in a word; nothing of a die in service
    unrun: bool = False

    @property
    def low(self) -> float | None:
        return strokes_at(self.remaining, 0.1) if self.remaining else None

    @property
    def high(self) -> float | None:
        return strokes_at(self.remaining, 0.9) if self.remaining else None

    @property
    def order_number(self) -> str:
        return self.order.number

    @property
    def due(self):
        return self.order.due

    @property
    def hits_left(self) -> int:
        return self.order.hits_left

    @property
    def risk(self) -> float:
        """Chance of not finishing; a die of which nothing is known counts as one to look at, and one of which it is
        known that something is wrong with it comes first."""
        return bool(self.wrong or self.held) + 1.0 - (self.chance if self.chance is not None else 0.49)

    @cached_property
    def standing(self) -> Standing:
        if self.held:
            return HELD
        return standing_with(
            self.wrong,
            standing(chance_of_order=self.chance, share_left=None, unrun=self.unrun, **by_advice(self.advice)),
        )

    @property
    def sharpens_first(self) -> bool:
        """Whether the mark says so: then it is told what that buys."""
        return self.standing.word == SHARPEN.word


@dataclass(frozen=True, kw_only=True)
class Readiness:
    """Whether a die is fit to go into a press: by the order that it goes in for, and without one by what is left.

    chance: of finishing the order. share_left: of the usual hits to dull, of the edge that limits it. unrun: nothing
    has run on any of its edges since they were sharpened.
    """

    order: OrderLeft | None
    chance: float | None
    limiting: str
    share_left: float | None
    wrong: tuple[Damage, ...] = ()
    unrun: bool = False
    advice: Advice | None = None
    held: str = ""

    @property
    def standing(self) -> Standing:
        if self.held:
            return HELD
        own = standing(
            chance_of_order=self.chance, share_left=self.share_left, unrun=self.unrun, **by_advice(self.advice)
        )
        return standing_with(self.wrong, own)


def readiness(dies: Iterable[int], orders: Mapping[int, OrderLeft]) -> dict[int, Readiness]:
    """Of some dies, as they would go into a press now. orders: what each would go in for. Three questions."""
    dies = list(dies)
    newest = DieForecast.objects.filter(is_newest=True, die__in=dies)
    held = bench_reads.holds_of(dies)
    edges = EdgeForecast.objects.filter(forecast__in=newest.values("pk"), position=F("forecast__limiting"))
    shares = dict(edges.values_list("position_id", "share_left"))
    ready = {}
    columns = ("die", "remaining", "limiting", "limiting__code", "damage", "advice", KT("rests_on__unrun"))
    for die, remaining, limiting, code, kept, advice, unrun in newest.values_list(*columns):
        order = orders.get(die)
        ready[die] = Readiness(
            order=order,
            chance=chance_of_going(remaining, order.hits_left) if order and remaining else None,
            limiting=code or "",
            share_left=shares.get(limiting),
            wrong=tuple(map(Damage.of_kept, kept)),
            unrun=bool(unrun),
            advice=advised(advice, order.hits_left) if order else None,
            held=held[die].reason if die in held else "",
        )
    for die in held.keys() - ready.keys():  # nothing is forecast for it, and it is on hold all the same
        ready[die] = Readiness(order=orders.get(die), chance=None, limiting="", share_left=None, held=held[die].reason)
    return ready


@dataclass(frozen=True, kw_only=True)
class Retired:
    """A die that is retired and still named by an open order."""

    pk: int
    code: str
    order: OrderLeft


@dataclass(frozen=True, kw_only=True)
class Listed:
    """rows: the dies with an open order, the likeliest not to finish it first. retired: those that run no more."""

    rows: list[DueRow]
    retired: list[Retired]


def rows(plant: Plant | None = None, *, plants: Collection[int] | None = None) -> list[DueRow]:
    return listed(plant, plants=plants).rows


def listed(plant: Plant | None = None, *, plants: Collection[int] | None = None) -> Listed:
    """Every die with an open order. A fixed number of queries.

    plant: the orders of this one. plants: those that are seen; what a die elsewhere makes is not told then.
    """
    orders = queries.next_order_by_die(plant) if plant else queries.next_order_by_die(plants=plants)
    if not orders:
        return Listed(rows=[], retired=[])
    which = {"plant": plant} if plant else {} if plants is None else {"plant__in": sorted(plants)}
    known, held = _read(which, orders.keys())
    elsewhere = orders.keys() - known.keys()  # the order's part is made by a die of another plant
    if elsewhere and plant is not None:
        seen = {} if plants is None else {"plant__in": sorted(plants)}
        others, held_there = _read({"pk__in": elsewhere} | seen, elsewhere)
        known, held = known | others, held | held_there
    ours = [(die, order) for die, order in orders.items() if die in known]
    retired = [
        Retired(pk=die, code=known[die][0], order=order) for die, order in ours if known[die][2] == Die.Status.RETIRED
    ]
    gone = {one.pk for one in retired}
    made = [
        attempt(
            partial(_row, die, order, *known[die]),
            partial(_unknown, die, order, *known[die][:3]),
            what=f"the row of die {known[die][0]}",
        )
        for die, order in ours
        if die not in gone
    ]
    made = [replace(row, held=held[row.pk]) if row.pk in held else row for row in made]
    return Listed(
        rows=sorted(made, key=lambda r: (-r.risk, r.due, r.code)), retired=sorted(retired, key=lambda one: one.code)
    )


_Known = tuple[str, str, str, dict | None, int | None]


def _read(which: dict, wanted: Collection[int]) -> tuple[dict[int, _Known], dict[int, str]]:
    """Of each die its code, its description, where it stands, what is told of it and the hits on the edge that limits
    it; and why those make no parts that are on hold. wanted: the dies that are asked for.

    Asked by plant and not by a thousand numbers; in no order, since putting them in order takes longer than the rows.
    One question, and another where nothing is forecast for a die that is wanted.
    """
    edge = EdgeForecast.objects.filter(forecast=OuterRef("pk"), position=OuterRef("limiting")).order_by()
    hold = DieHold.objects.filter(released_at=None, die=OuterRef("die")).order_by()
    rows = DieForecast.objects.filter(is_newest=True, **{f"die__{name}": value for name, value in which.items()})
    known: dict[int, _Known] = {}
    held: dict[int, str] = {}
    for die, reason, since, code, description, status, *told in rows.order_by().values_list(
        "die_id", Subquery(hold.values("reason")[:1]), Subquery(edge.values("hits_since_sharpening")[:1]),
        "die__code", "die__description", "die__status", *_TOLD, KT("rests_on__words"), KT("rests_on__unrun"),
    ):  # fmt: skip
        known[die] = code, description, status, dict(zip((*_TOLD, "words", "unrun"), told, strict=True)), since
        if reason is not None:
            held[die] = reason
    if unknown := set(wanted) - known.keys():
        of_die = DieHold.objects.filter(released_at=None, die=OuterRef("pk")).order_by()
        columns = ("pk", Subquery(of_die.values("reason")[:1]), "code", "description", "status")
        for die, reason, *rest in Die.objects.filter(**which).filter(pk__in=unknown).order_by().values_list(*columns):
            known[die] = (*rest, None, None)
            if reason is not None:
                held[die] = reason
    return known, held


_NOTHING = {"remaining": None, "usual_hours": None, "damage": ()}
_TOLD = (
    "refusal", "remaining", "half_hits", "nine_in_ten_hits", "usual_hours", "damage", "advice",
    "limiting_id", "limiting__code", "limiting__kind",
)  # fmt: skip


def _unknown(pk: int, order: OrderLeft, code: str, description: str, status: str, why: str) -> DueRow:
    """A die whose stored forecast cannot be read."""
    return _row(pk, order, code, description, status, _NOTHING | {"refusal": why}, None)


def _row(
    pk: int, order: OrderLeft, code: str, description: str, status: str, f: dict | None, since: int | None
) -> DueRow:
    hours = f["usual_hours"] if f else None
    wrong = tuple(map(Damage.of_kept, f["damage"])) if f else ()
    columns = {"pk": pk, "code": code, "description": description, "order": order, "hours": hours, "wrong": wrong}
    columns["where"] = "" if status == Die.Status.IN_SERVICE else status
    if f is None or not f["remaining"]:
        return DueRow(
            **columns,
            chance=None,
            limiting="",
            limiting_kind="",
            since_sharpened=None,
            half=None,
            nine_in_ten=None,
            remaining={},
            rests_on="",
            refusal=(f["refusal"] if f else "") or "No forecast has been computed for it yet.",
        )
    kind = f["limiting__kind"]
    return DueRow(
        **columns,
        chance=chance_of_going(f["remaining"], order.hits_left),
        limiting=f["limiting__code"] or "",
        limiting_kind=KINDS[kind].name if kind else "",
        limiting_pk=f["limiting_id"],
        since_sharpened=since,
        half=f["half_hits"],
        nine_in_ten=f["nine_in_ten_hits"],
        remaining=f["remaining"],
        rests_on=f["words"] or "",
        refusal="",
        unrun=bool(f["unrun"]),
        advice=advised(f["advice"], order.hits_left),
    )
