"""What the page of the counters shows: each press with its die and last count. Reads only, in a fixed number."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Count, OuterRef, Q, Subquery
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.register.models import Die, Press
from maintenance.counters.intake import was_just_now
from maintenance.forecasts.due import Readiness, readiness
from maintenance.log.damage import briefly, doubts_of_running
from maintenance.log.data import OrderLeft
from maintenance.log.queries import next_order_by_die
from maintenance.models import Counter, CounterDevice, CounterReading, DieInPress, OpenCount
from maintenance.wording import odds
from maintenance.wording.standing import SHARPEN

SILENT = dt.timedelta(minutes=10)
PICKS_AT_MOST = 12


@dataclass(frozen=True, kw_only=True)
class CounterLine:
    """One press, or a die with its own counter: the die in it, the last count, since when it is silent."""

    name: str
    press: Press | None
    die: Die | None
    since: dt.datetime | None = None
    in_press: DieInPress | None = None
    total: int | None = None
    at: dt.datetime | None = None
    received_at: dt.datetime | None = None
    device: str = ""
    going_on: int = 0
    asked: int = 0
    doubt: str = ""  # why the die in it should make no parts
    now: dt.datetime

    @property
    def silent(self) -> dt.datetime | None:
        """Since when nothing came; None while counts come, or where none ever did."""
        if self.received_at is None or was_just_now(self.received_at, self.now, SILENT):
            return None
        return self.received_at


def lines(now: dt.datetime | None = None, *, plants: Collection[int] | None = None) -> list[CounterLine]:
    """Every press, then every die that carries a counter of its own. plants: of these only."""
    now = now or timezone.now()
    here = Q() if plants is None else Q(plant__in=sorted(plants))
    theirs = Q() if plants is None else Q(device__plant__in=sorted(plants))
    last = CounterReading.objects.filter(counter=OuterRef("pk"), clock_off=False).order_by("-at", "-pk")
    counters = list(
        Counter.objects.filter(theirs, device__revoked_at__isnull=True)
        .select_related("device", "die")
        .annotate(
            last_total=Subquery(last.values("total")[:1]),
            last_at=Subquery(last.values("at")[:1]),
            last_received=Subquery(last.values("received_at")[:1]),
            asked=Count("questions", filter=Q(questions__settled_at__isnull=True)),
        )
    )
    going_on = dict(OpenCount.objects.filter(with_stock=True).values_list("counter_id", "hits"))
    of_press: dict[int, list[Counter]] = defaultdict(list)
    for counter in counters:
        if counter.press_id is not None:
            of_press[counter.press_id].append(counter)
    set_now = {row.press_id: row for row in DieInPress.objects.now().select_related("die")}
    presses = list(Press.objects.filter(here).order_by("code", "pk"))
    there = [set_now[press.pk].die for press in presses if press.pk in set_now]
    doubts = doubts_of_running([*there, *(counter.die for counter in counters if counter.die is not None)])
    made = []
    for press in presses:
        row = set_now.get(press.pk)
        columns = {
            "name": str(press),
            "press": press,
            "die": row.die if row else None,
            "since": row.since if row else None,
            "in_press": row,
            "doubt": doubts.get(row.die_id, "") if row else "",
            "now": now,
        }
        mine = sorted(of_press[press.pk], key=lambda c: (c.last_received is not None, c.last_received or now))
        made.append(CounterLine(**columns, **_told_by(mine, going_on)))
    for counter in counters:
        if counter.die_id is not None:
            of_die = {
                "name": _("own counter of {die}").format(die=counter.die),
                "press": None,
                "die": counter.die,
                "now": now,
            }
            of_die["doubt"] = doubts.get(counter.die_id, "")
            made.append(CounterLine(**of_die, **_told_by([counter], going_on)))
    return made


def _told_by(counters: list[Counter], going_on: dict[int, int]) -> dict:
    """What the counters of one press say; the one that was heard last is shown."""
    if not counters:
        return {}
    latest = counters[-1]
    return {
        "total": latest.last_total,
        "at": latest.last_at,
        "received_at": latest.last_received,
        "device": latest.device.name,
        "going_on": sum(going_on.get(c.pk, 0) for c in counters),
        "asked": sum(c.asked for c in counters),
    }


# --- a die in a press -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class DiePick:
    die: Die
    order: OrderLeft | None
    in_press: str = ""
    ready: Readiness | None = None

    @property
    def note(self) -> str:
        what = self.die.description
        if self.order:
            what = _("job {number}, {hits:,} hits to go").format(number=self.order.number, hits=self.order.hits_left)
        where = _("now in {in_press}").format(in_press=self.in_press) if self.in_press else ""
        ready = self.ready
        first = _(SHARPEN.word).lower() if ready and ready.standing is SHARPEN else ""
        if ready and ready.wrong:
            first = briefly(ready.wrong)
        if ready and ready.held:
            first = _("on hold")
        return "; ".join(bit for bit in (first, where, what) if bit)


def doubt_of(die: Die, ready: Readiness) -> str:
    """Why to think twice before the die goes in; nothing where there is no cause."""
    if ready.held:
        return _("{die} is on hold: {held}. It makes no parts until a first piece is approved.").format(
            die=die, held=ready.held
        )
    if ready.wrong:
        return _("{die} has to be seen to first: {briefly}.").format(die=die, briefly=briefly(ready.wrong))
    if ready.standing is not SHARPEN:
        return ""
    if ready.order is not None:
        return _(
            "{die} should be sharpened first. Its chance of finishing job {number} ({hits_left:,} hits to "
            "go) without a dull or chipped edge is {chance}."
        ).format(die=die, number=ready.order.number, hits_left=ready.order.hits_left, chance=odds.chance(ready.chance))
    return _("{die} should be sharpened first. Of the usual hits to dull {percent} are left on {limiting}.").format(
        die=die, percent=odds.percent(ready.share_left), limiting=ready.limiting
    )


def dies_for(press: Press, dies: list[Die] | None = None) -> list[DiePick]:
    """The dies one would set in a press: those that usually run there, an open order due first. dies: those asked."""
    rows = dies
    if rows is None:
        there = DieInPress.objects.standing().filter(press=press).order_by("-since").values_list("die_id", flat=True)
        usual = Q(usual_press=press) | Q(pk__in=list(there[:PICKS_AT_MOST]))
        rows = list(Die.objects.filter(usual, plant=press.plant_id, status=Die.Status.IN_SERVICE).order_by("code"))
    orders = next_order_by_die(press.plant)
    presses = dict(DieInPress.objects.now().filter(die__in=rows).values_list("die_id", "press__code"))
    far = dt.date.max
    ready = readiness([die.pk for die in rows], orders)
    picks = [
        DiePick(die=die, order=orders.get(die.pk), in_press=presses.get(die.pk, ""), ready=ready.get(die.pk))
        for die in rows
    ]
    picks.sort(key=lambda p: (p.in_press == press.code, p.order.due if p.order else far, p.die.code))
    return [pick for pick in picks if pick.in_press != press.code][:PICKS_AT_MOST]


@dataclass(frozen=True, kw_only=True)
class PressPick:
    press: Press
    die: Die | None
    usual: bool

    @property
    def note(self) -> str:
        what = _("{die} is in it and comes out").format(die=self.die) if self.die else _("empty")
        return _("its usual press; {what}").format(what=what) if self.usual else what


def presses_for(die: Die) -> list[PressPick]:
    set_now = {row.press_id: row.die for row in DieInPress.objects.now().select_related("die")}
    picks = [
        PressPick(press=press, die=set_now.get(press.pk), usual=press.pk == die.usual_press_id)
        for press in Press.objects.filter(plant=die.plant_id).order_by("code", "pk")
        if set_now.get(press.pk) != die
    ]
    return sorted(picks, key=lambda p: (not p.usual, p.press.code))


def in_press_now(*, die: Die | None = None, press: Press | None = None) -> DieInPress | None:
    rows = DieInPress.objects.now().select_related("die", "press", "set_by")
    return (rows.filter(die=die) if die is not None else rows.filter(press=press)).first()


def waiting(plants: Collection[int] | None = None) -> int:
    """How many counters sent what is not counted yet. Their messages have it counted every five minutes."""
    rows = Counter.objects.filter(waiting_since__isnull=False)
    return (rows if plants is None else rows.filter(device__plant__in=sorted(plants))).count()


def devices():
    """Every device, those that are good first."""
    rows = CounterDevice.objects.select_related("plant", "made_by", "revoked_by").prefetch_related("presses", "dies")
    return rows.order_by("revoked_at", "name", "pk")
