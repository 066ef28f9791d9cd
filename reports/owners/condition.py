"""The condition of a tool for its owner: what it made, what was done, what is left in it, who paid, what comes next.

No rate, no price of a spare and no margin of the shop goes in: of money only what the owner himself was asked for.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import get_language, pgettext, pgettext_lazy
from django.utils.translation import gettext as _

from diestore.access import shop
from diestore.handbook.kinds import KINDS
from diestore.register.models import Die, Item, Party
from diestore.texts import counted, gettext_noop
from maintenance.clockwork.works import OPERATIONS
from maintenance.forecasts import due
from maintenance.forecasts.due import Readiness
from maintenance.log import damage, queries
from maintenance.log.owners import AheadSaid, PaidSaid, PieceSaid, ReportSaid, StepSaid, YearSaid
from maintenance.wording import standing as words_of
from maintenance.wording.standing import Standing
from reports.cost import reads as cost_reads
from reports.cost.ledger import DieLedger, ledger_of, pays_now
from reports.cost.years import years_of as years_ahead_of
from reports.costing import steel_left
from reports.costing.money import rounded
from reports.costing.own_log import ELEMENTS
from reports.costing.steel_left import PieceLeft, Step
from reports.costing.years_ahead import KEYS, Band
from reports.format import day
from reports.purchasing.laws import LawRefused
from reports.spares import kept as spares_kept
from reports.spares.use import PlantAhead, SparePlace

from . import reads
from .ahead import paid_now

MONTH_DAYS = 365.25 / 12
GROUND = frozenset(key for key, work in OPERATIONS.items() if work.fresh_edge and key != "welded and recut")
REPAIRS = frozenset({"repaired", "welded and recut"})
STEPS_SHOWN, STEPS_LOOKED_AT = 6, 24
BROKEN = frozenset({"chipped", "broken"})
RUNNING = {
    words_of.RUNS.word: gettext_noop("It is fit to run."),
    words_of.CLOSE.word: gettext_noop("It is fit to run, and near its next sharpening."),
    words_of.STOP.word: gettext_noop("It is fit to run; its next sharpening falls inside a job."),
    words_of.SHARPEN.word: gettext_noop("It has to be sharpened before it runs again."),
    words_of.HELD.word: gettext_noop("It makes no parts until a first piece is approved."),
    words_of.DAMAGED.word: gettext_noop("It is damaged and must not run until it is put right."),
    words_of.BURRS.word: gettext_noop("Its burr is too high: it must not run until it is put right."),
    words_of.WORN.word: gettext_noop("A piece of it is worn past its limit: it must not run until that is changed."),
    words_of.UNKNOWN.word: gettext_noop("Its condition is not known."),
}


@dataclass(frozen=True, kw_only=True)
class Condition:
    """What the report says now, unsigned. for_whom None: the tool is the shop's own. ledger: behind its money."""

    die: Die
    for_whom: Party | None
    said: ReportSaid
    standing: Standing


def addressee(die: Die, customers: Sequence[Party]) -> Party | None:
    """For whom its report is: its owner; of a tool of the shop the one customer whose parts it makes; else nobody."""
    if die.owner_id:
        return die.owner
    return customers[0] if len(customers) == 1 else None


def condition_of(die: Die) -> Condition:
    """As the records of now tell it."""
    for_whom = addressee(die, [] if die.owner_id else reads.customers_of(die))
    ledger = ledger_of(die)
    spent = ledger.cost.spent or cost_reads.Spent(die=die.pk)
    ready = readiness([die]).get(die.pk)
    per_hit = spent.parts / spent.hits if spent.hits else cost_reads.parts_per_hit([die.pk]).get(die.pk, 1)
    left = _Left.of(die, per_hit)
    forecast = left.ahead.forecasts.get(die.pk) or queries.newest_forecast(die)
    standing = ready.standing if ready is not None else words_of.UNKNOWN
    years = years_of(ledger)
    own = shop.current()
    owns = bool(die.owner_id)

    def in_parts(hits: float | None) -> int | None:
        return None if hits is None else int(hits * per_hit)

    sharpened = [timezone.localdate(row.at) for row in spent.grinds if row.operation in GROUND]
    said = ReportSaid(
        die=die.code, description=die.description, plant=str(die.plant), shop=own.name, currency=own.currency,
        owner=str(for_whom) if for_whom else "", owns=owns, status=die.status,
        on=left.today, records_until=left.records_until,
        standing=standing.word, css=standing.css, condition=_condition(die, standing),
        wrong=tuple(damage.sentences(ready.wrong)) if ready else (),
        decision=decision(die, standing, left),
        hits=sum(year.hits for year in years), parts=sum(year.parts for year in years),
        since=timezone.localdate(spent.first) if spent.first else None,
        until=timezone.localdate(spent.last) if spent.last else None,
        expected_parts=die.expected_parts,
        last_sharpened=max(sharpened, default=None),
        years=tuple(years),
        limiting=ready.limiting if ready is not None else "",
        half_parts=in_parts(forecast.half_hits) if forecast else None,
        nine_in_ten_parts=in_parts(forecast.nine_in_ten_hits) if forecast else None,
        parts_a_month=int(left.pace * per_hit * MONTH_DAYS),
        pieces=tuple(left.pieces), steps=tuple(left.said_steps), steel=steel(left),
        paid=tuple(_paid(ledger, for_whom)),
        who_pays=_who_pays(for_whom, owns=owns, now=pays_now(spent, timezone.now())),
        **_year_ahead(ledger, left.ahead, for_whom), left_out=tuple(left.left_out),
        rests_on=_rests_on(forecast),
        language=get_language() or "en",
    )  # fmt: skip
    return Condition(die=die, for_whom=for_whom, said=said, standing=standing)


def _rests_on(forecast) -> str:
    words = (forecast.rests_on or {}).get("words", "") if forecast else ""
    return pgettext("rests on", words) if words else ""


def readiness(dies: Sequence[Die]) -> dict[int, Readiness]:
    """How dies stand, by their next orders."""
    return due.readiness([die.pk for die in dies], queries.next_order_by_die(dies=dies))


def _condition(die: Die, standing: Standing) -> str:
    if die.status == Die.Status.RETIRED:
        return _("It is retired and runs no more.")
    where = "" if die.status == Die.Status.IN_SERVICE else _("It is {status}.").format(status=_(die.status))
    return f"{where} {_(RUNNING[standing.word])}".strip()


# --- what was made and done ---------------------------------------------------------------------------------------


def years_of(ledger: DieLedger) -> list[YearSaid]:
    """By the year in which a run ended and work was done, each year since the first."""
    spent = ledger.cost.spent or cost_reads.Spent(die=ledger.die.pk)
    made: dict[int, Counter[str]] = defaultdict(Counter)
    for month, of_month in ledger.made.items():
        made[month.year].update(hits=of_month.hits, parts=of_month.parts)
    moments: dict[int, set[dt.datetime]] = defaultdict(set)
    for row in spent.grinds:
        year = timezone.localtime(row.at).year
        if row.operation in GROUND:
            moments[year].add(row.at)
        which = "ground" if row.operation in GROUND else "repairs" if row.operation in REPAIRS else "other"
        made[year][which] += row.pieces
    for spare in spent.spares:
        year = timezone.localtime(spare.at).year
        made[year].update(replaced=1, broken=spare.why in BROKEN)
    if not made:
        return []
    names = ("hits", "parts", "ground", "replaced", "broken", "repairs", "other")
    return [
        YearSaid(year=year, sharpenings=len(moments[year]), **{name: made[year][name] for name in names})
        for year in range(min(made), max(made) + 1)
    ]


# --- what is left -------------------------------------------------------------------------------------------------


class _Left:
    """What is left in the ground pieces of a die, as the pages of its spares say it."""

    def __init__(self, die: Die, ahead: PlantAhead, per_hit: float) -> None:
        self.die, self.ahead, self.per_hit = die, ahead, per_hit
        self.today, self.records_until = ahead.today, ahead.records_until
        self.pace = ahead.pace.get(die.pk, 0.0)
        self.pieces: list[PieceSaid] = []
        self.left_out: list[str] = []
        self.all_steps: tuple[Step, ...] = ()

    @classmethod
    def of(cls, die: Die, per_hit: float) -> _Left:
        positions = reads.positions_of(die)
        items = sorted({p.item_id: p.item for p in positions if p.item_id}.values(), key=lambda item: item.pk)
        made = cls(die, spares_kept.ahead_of_die(die), per_hit)
        mine = [(item, p) for item in items for p in made.ahead.places.get(item.pk, ()) if p.row.die_id == die.pk]
        known = []
        for item, place in sorted(mine, key=lambda one: one[1].row.code):
            if place.grinds_left is None:
                continue
            piece = made._piece(item, place)
            if piece is not None:
                known.append(piece)
        made.all_steps = steel_left.steps(known, ahead=STEPS_LOOKED_AT)
        unnamed = [p.code for p in positions if p.item_id is None and KINDS[p.kind].cuts and p.valid_to is None]
        if unnamed:
            made.left_out.append(
                _("No spare is named for {places}, so what is left there is not known.").format(
                    places=places_in_words(unnamed)
                )
            )
        return made

    def _piece(self, item: Item, place: SparePlace) -> PieceLeft | None:
        ahead, row = self.ahead, place.row
        what = _(KINDS[item.kind].name) if item.kind in KINDS else item.description
        goes = ahead.used_up(place)
        said = PieceSaid(place=row.code, what=what, spare=item.code, grinds=place.grinds_left)
        if goes is None:
            self.pieces.append(said.model_copy(update={"why": _("Nothing is forecast of this tool yet.")}))
            return None
        months = None if goes.day is None else max((goes.day - self.today).days, 0) / MONTH_DAYS
        why = "" if goes.day or self.pace > 0 else _("It does not run at present.")
        told = {"parts": int(goes.strokes * self.per_hit), "months": months, "by": goes.day, "why": why}
        self.pieces.append(said.model_copy(update=told))
        alone = ahead.is_alone(place)
        try:
            interval = float(np.mean([law.mean_hits for law in ahead.laws(self.die.pk, place if alone else None)[1]]))
        except LawRefused:
            return None
        new = (place.grinds_new if alone else place.use.grinds_new) or 0
        return PieceLeft(
            place=row.code, item=item.code, strokes=max(goes.strokes, 0.0), fresh=(new + 1) * interval,
            interval=interval, price=item.unit_price,
        )  # fmt: skip

    @property
    def steps(self) -> tuple[Step, ...]:
        """Those that are shown."""
        return self.all_steps[:STEPS_SHOWN]

    def by(self, strokes: float) -> dt.date | None:
        return reads.day_at(strokes, self.pace, self.ahead.today)

    @property
    def said_steps(self) -> Iterable[StepSaid]:
        for step in self.steps:
            yield StepSaid(
                spares=step.items, places=step.places, parts=int(step.strokes * self.per_hit),
                buys=int(step.buys * self.per_hit), by=self.by(step.strokes), is_big=step.is_big,
            )  # fmt: skip


def places_in_words(places: Sequence[str], *, at_most: int = 4) -> str:
    some = list(places[:at_most])
    if len(places) > at_most:
        return _("{some} and {n} more").format(some=", ".join(some), n=len(places) - at_most)
    return in_words(some)


def pieces_in_words(step: Step) -> str:
    """How many pieces of what, and where."""
    spares = places_in_words(step.items, at_most=2)
    pieces, places = counted(len(step.places), "piece", "pieces"), places_in_words(step.places)
    return _("{pieces} ({spares}) in {places}").format(pieces=pieces, spares=spares, places=places)


def steel(left: _Left) -> str:
    """Parts left in the steel, in two or three sentences."""
    if not left.steps:
        return _("How many parts are left in the steel is not known: nothing is forecast of its ground pieces yet.")
    first, big, most = left.steps[0], steel_left.next_big(left.all_steps), steel_left.buys_most(left.steps)

    def parts(strokes: float) -> str:
        return f"{_three(strokes * left.per_hit):,}"

    told = [
        _("About {parts} parts until the first pieces are ground out: {pieces}.").format(
            parts=parts(first.strokes), pieces=pieces_in_words(first)
        ),
        _("New ones let it go on for {parts} more.").format(parts=parts(first.buys)),
    ]
    if big is None:
        told.append(_("None of the steps within sight is a big one."))
    elif big is first:
        told.append(_("That is the next big spend."))
    else:
        spend = _("The next big spend comes after about {parts} parts: {pieces}.")
        told.append(spend.format(parts=parts(big.strokes), pieces=pieces_in_words(big)))
    if most is not None and most is not first:
        buys = _("Of the steps below, the one in {places} buys most: {parts} parts.")
        told.append(buys.format(places=places_in_words(most.places), parts=parts(most.buys)))
    told.append(_("A shim brings a ground piece back to its height and adds no steel, so none buys parts."))
    return " ".join(told)


def _three(n: float) -> int:
    """To three figures: nobody knows a forecast better."""
    return int(float(f"{n:.3g}"))


def decision(die: Die, standing: Standing, left: _Left) -> str:
    """What has to be decided next, in one or two sentences."""
    if die.status == Die.Status.RETIRED:
        return _("Whether it is kept, scrapped or handed back.")
    first = {
        words_of.HELD.word: _("Approve a first piece, or say what has to be changed."),
        words_of.DAMAGED.word: _("Put right what is damaged before the next job."),
        words_of.BURRS.word: _("Sharpen or repair it before the next job."),
        words_of.WORN.word: _("Change the worn piece before the next job."),
        words_of.SHARPEN.word: _("Sharpen it before the next job."),
        words_of.STOP.word: _("Plan a stop for a sharpening inside the next job."),
    }.get(standing.word, "")
    if not left.steps:
        then = "" if first else _("Nothing has to be decided now.")
    else:
        step = left.steps[0]
        by = left.by(step.strokes)
        places = places_in_words(step.places)
        if by:
            told = _("New pieces for {places} have to be there by about {month}.")
            then = told.format(places=places, month=date_format(by, "F Y"))
        else:
            told = _("New pieces for {places} have to be there after about {parts:,} parts.")
            then = told.format(places=places, parts=_three(step.strokes * left.per_hit))
    return " ".join(filter(None, (first, then)))


# --- money --------------------------------------------------------------------------------------------------------


def _paid(ledger: DieLedger, for_whom: Party | None) -> Iterable[PaidSaid]:
    """What the one for whom it is was asked to pay, of the entries of the ledger that are paid."""
    if for_whom is None:
        return
    for entry in ledger.ledger.entries:
        if entry.paid is not None and ledger.payer_ids.get(entry.key) == for_whom.pk:
            yield PaidSaid(on=entry.paid, what=_(ELEMENTS[entry.element][0]), amount=entry.amount)


def _year_ahead(ledger: DieLedger, ahead: PlantAhead, for_whom: Party | None) -> dict[str, tuple[AheadSaid, ...]]:
    """What the year ahead takes of the money of the one for whom it is, where he pays for what comes."""
    keys = sorted(paid_now(ledger.cost, for_whom), key=KEYS.index) if for_whom is not None else []
    if not keys:
        return {}
    years = years_ahead_of(ledger.cost, ahead=ahead, in_the_long_run=False)
    if years.years is None:
        return {}
    his = years.years.of_keys(keys)
    told = [_band(years.years.by_key[key].year(1), what=_(ELEMENTS[key][0])) for key in keys]
    if len(keys) > 1:
        told.append(_band(his.year(1), what=_("Together")))
    months = [_band(band, until=until) for until, band in zip(years.months, his.months, strict=True)]
    return {"ahead": tuple(told), "ahead_months": tuple(months[:12])}


def _band(band: Band, **named) -> AheadSaid:
    """In whole money, as nobody knows it better."""
    figures = {name: rounded(getattr(band, name), Decimal(1)) for name in ("expected", "low", "half", "high")}
    return AheadSaid(**named, **figures)


IN_WORDS = {
    "sharpening": pgettext_lazy("what is paid", "sharpening"),
    "spares": pgettext_lazy("what is paid", "spares that are fitted"),
    "repair": pgettext_lazy("what is paid", "repairs"),
    "stop": pgettext_lazy("what is paid", "stops"),
}


def _who_pays(for_whom: Party | None, *, owns: bool, now: dict[str, int | None]) -> str:
    """now: by element, who pays by his number; others than the reader are not named."""
    if for_whom is None:
        return _("The tool is the shop's own, and the shop pays for it.")
    his = [str(words) for key, words in IN_WORDS.items() if now.get(key) == for_whom.pk]
    others = [str(words) for key, words in IN_WORDS.items() if now.get(key) not in (None, for_whom.pk)]
    left = [str(words) for key, words in IN_WORDS.items() if now.get(key) is None]
    pays = in_words([*([_("its build")] if owns else []), _("the bills that name it"), *his])
    whose = _("{who} owns the tool and pays {what}.") if owns else _("The tool is the shop's own. {who} pays {what}.")
    told = [whose.format(who=for_whom, what=pays)]
    if others:
        alone = others == [str(IN_WORDS["sharpening"])]
        by_others = _("{what} is paid by others.") if alone else _("{what} are paid by others.")
        words = by_others.format(what=in_words(others))
        told.append(words[:1].upper() + words[1:])
    if left:
        own = _("The shop pays {what}.") if owns else _("The shop pays {what}, and all else.")
        told.append(own.format(what=in_words(left)))
    return " ".join(told)


def in_words(some: Sequence[str]) -> str:
    if len(some) < 2:
        return "".join(some)
    return _("{some} and {last}").format(some=", ".join(some[:-1]), last=some[-1])


def as_signed(said: ReportSaid) -> str:
    """Who signed and when, or that nobody did."""
    if not said.signer:
        return _("Draft: nobody has signed this report.")
    return _("Signed off by {signer} on {day}.").format(signer=said.signer, day=day(said.signed_on))
