"""Inspections: planned, done, and which are due. Each write takes `by` and is one transaction."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.db.models import BigIntegerField, Case, DateTimeField, F, OuterRef, Q, QuerySet, Subquery, Sum, When
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.handbook.inspections import DIE, GRINDER, PLANT, PRESS, PROPOSALS, Proposal
from diestore.handbook.kinds import KINDS, plural_of
from diestore.register.models import Die, Plant, Position, Press
from maintenance.models import Change, Grinder, HitCorrection, Inspection, InspectionPlan, Run, fresh_key
from maintenance.models.inspections import DAYS_AT_MOST, HITS_AT_MOST
from maintenance.policy.inspections import Due, due

from . import changes
from .bench_reads import today_at
from .rules import EntryRefused, check_moment, check_scrap, check_text, saving
from .write import Actor

PACE_DAYS = 90  # of the records, by which hits ahead are reckoned


def plan_inspection(
    *,
    by: Actor,
    plant: Plant,
    what: str,
    every_days: int | None = None,
    every_hits: int | None = None,
    die: Die | None = None,
    kind: str = "",
    press: Press | None = None,
    grinder: Grinder | None = None,
    why: str = "",
    proposal: str = "",
    since: dt.datetime | None = None,
    key: str | None = None,
) -> InspectionPlan:
    """What is looked at from now on, every so many days, hits, or both. None of die, press, grinder: in the plant.

    kind: all places of that kind in the die.
    """
    if key and (known := InspectionPlan.objects.filter(key=key).first()):
        return known
    what = " ".join(what.split())
    if not what:
        raise EntryRefused(_("Say what is looked at."), field="what")
    check_text(what, field="what", what=_("What is looked at"), at_most=200)
    check_text(why, field="why", what=_("What it rests on"), at_most=300)
    things = [thing for thing in (die, press, grinder) if thing is not None]
    if len(things) > 1:
        raise EntryRefused(_("One plan is of one die, press or grinder."), field="of")
    if any(thing.plant_id != plant.pk for thing in things):
        raise EntryRefused(_("{things} is not of this plant.").format(things=things[0]), field="of")
    if die is not None and die.status == Die.Status.RETIRED:
        raise EntryRefused(_("{die} is retired: nothing is looked at any more.").format(die=die), field="of")
    check_kind(kind, die)
    check_interval(every_days=every_days, every_hits=every_hits, makes_hits=grinder is None and bool(things))
    with saving(_("This is planned already.")):
        return InspectionPlan.objects.create(
            plant=plant, die=die, kind=kind, press=press, grinder=grinder, what=what, every_days=every_days,
            every_hits=every_hits, why=why, proposal=proposal, since=since or timezone.now(), key=key or fresh_key(),
        )  # fmt: skip


def check_kind(kind: str, die: Die | None) -> None:
    if not kind:
        return
    if kind not in KINDS:
        raise EntryRefused(_("Pick one of the kinds."), field="kind")
    if die is None:
        raise EntryRefused(_("Places of a kind are of a die: pick the die, or leave the kind empty."), field="kind")
    if not places_of(die, kind).exists():
        raise EntryRefused(_("{die} has no {kind}.").format(die=die, kind=_(plural_of(kind))), field="kind")


def places_of(die: Die, kind: str) -> QuerySet[Position]:
    """The places of a kind that the die has now."""
    now = timezone.now()
    there, still = Q(valid_from=None) | Q(valid_from__lte=now), Q(valid_to=None) | Q(valid_to__gt=now)
    return Position.objects.filter(there, still, die=die, kind=kind).order_by("code", "pk")


def check_interval(*, every_days: int | None, every_hits: int | None, makes_hits: bool) -> None:
    if every_days is None and every_hits is None:
        raise EntryRefused(_("Say every how many days, or every how many hits."), field="every_days")
    if every_hits is not None and not makes_hits:
        raise EntryRefused(_("Hits are of a die or a press. Say every how many days."), field="every_hits")
    for number, most, field in ((every_days, DAYS_AT_MOST, "every_days"), (every_hits, HITS_AT_MOST, "every_hits")):
        if number is not None and not 1 <= number <= most:
            raise EntryRefused(
                _("{number:,} cannot be. Enter 1 to {most:,}.").format(number=number, most=most), field=field
            )


def retire_plan(*, by: Actor, plan: InspectionPlan) -> InspectionPlan:
    """It is not looked at any more. What was found stays."""
    with saving():
        plan = InspectionPlan.objects.select_for_update(of=("self",)).get(pk=plan.pk)
        if plan.retired_at is None:
            plan.retired_at = timezone.now()
            plan.save(update_fields=["retired_at"])
        return plan


def log_inspection(
    *,
    by: Actor,
    plan: InspectionPlan,
    at: dt.datetime,
    is_finding: bool = False,
    parts_scrapped: int = 0,
    note: str = "",
    key: str | None = None,
) -> Inspection:
    """Somebody looked. A finding says what it is, and how many parts of the die were thrown away for it."""
    check_moment(at)
    if key and (known := Inspection.objects.filter(key=key).first()):
        return known
    if plan.retired_at is not None:
        raise EntryRefused(_("This is not looked at any more. Plan it anew first."))
    note = note.strip()
    if is_finding and not note:
        raise EntryRefused(_("Say what was found."), field="note")
    check_text(note, field="note", what=_("What was found"), at_most=2_000)
    check_scrap(parts_scrapped)
    if parts_scrapped and not (is_finding and plan.die_id):
        raise EntryRefused(_("Parts are scrapped for what was found on a die."), field="parts_scrapped")
    with saving():
        if parts_scrapped:
            changes.tell_of(Change.What.PRICE, [plan.die_id])
        return Inspection.objects.create(
            plan=plan, plant_id=plan.plant_id, die_id=plan.die_id, at=at, is_finding=is_finding, note=note,
            parts_scrapped=parts_scrapped, key=key or fresh_key(), **by.columns(),
        )  # fmt: skip


# --- what is due ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class PlanRow:
    """A plan with when it is due. last: the last look that stands."""

    plan: InspectionPlan
    due: Due
    last: Inspection | None
    hits_since: int

    @property
    def pk(self) -> int:
        return self.plan.pk


def rows(plant: Plant, *, today: dt.date | None = None, of: Iterable[int] | None = None) -> list[PlanRow]:
    """Every plan that holds, what is overdue most first, then what is due next. of: only these plans. Two questions."""
    today = today or today_at(plant)
    plans = InspectionPlan.objects.filter(plant=plant).select_related("die", "press", "grinder")
    plans = plans.filter(retired_at=None) if of is None else plans.filter(pk__in=list(of))
    found = list(_with_hits(plans, today))
    ids = [plan.last_id for plan in found if plan.last_id is not None]
    lasts = {row.pk: row for row in Inspection.objects.filter(pk__in=ids).select_related("person")}
    made = [_row(plan, lasts.get(plan.last_id), today) for plan in found]
    far = dt.date.max
    return sorted(made, key=lambda r: (not r.due.is_overdue, -r.due.overdue_days, r.due.on or far, str(r.plan), r.pk))


def _row(plan: InspectionPlan, last: Inspection | None, today: dt.date) -> PlanRow:
    began = timezone.localdate(last.at if last is not None else plan.since)
    hits = int(plan.hits_since or 0)
    told = due(
        last=min(began, today), today=today, every_days=plan.every_days, every_hits=plan.every_hits,
        hits_since=max(hits, 0), hits_a_day=max(int(plan.hits_of_late or 0), 0) / PACE_DAYS,
    )  # fmt: skip
    return PlanRow(plan=plan, due=told, last=last, hits_since=max(hits, 0))


def _with_hits(plans: QuerySet[InspectionPlan], today: dt.date) -> QuerySet[InspectionPlan]:
    """The plans with their last look, and the hits since then and of late of the die or the press."""
    looks = Inspection.objects.standing().filter(plan=OuterRef("pk")).order_by("-at", "-pk")
    end = dt.datetime.combine(today + dt.timedelta(days=1), dt.time(), timezone.get_current_timezone())
    late = end - dt.timedelta(days=PACE_DAYS)
    since = plans.annotate(
        last_id=Subquery(looks.values("pk")[:1]),
        from_when=Coalesce(Subquery(looks.values("at")[:1]), F("since"), output_field=DateTimeField()),
    )
    return since.annotate(
        hits_since=_hits(OuterRef("from_when")),
        hits_of_late=_hits(late),
    )


def _hits(since) -> Case:
    """Hits of the plan's die or press after a moment: in runs that ended since, and in corrections, with stock or
    without, as what is looked at works at every stroke. A correction is of a press where its counter is."""
    runs, typed = Run.objects.standing(), HitCorrection.objects.standing()
    of_die = _sum(runs, "die", "die_id", since) + _sum(typed, "die", "die_id", since)
    of_press = _sum(runs, "press", "press_id", since) + _sum(typed, "counter__press", "press_id", since)
    return Case(When(die__isnull=False, then=of_die), default=of_press, output_field=BigIntegerField())


def _sum(rows: QuerySet, of: str, mine: str, since) -> Coalesce:
    """The hits of these rows, nought where there are none."""
    found = rows.filter(**{of: OuterRef(mine)}, at__gt=since).order_by().values(of)
    return Coalesce(Subquery(found.annotate(n=Sum("hits")).values("n")[:1]), 0, output_field=BigIntegerField())


def overdue(plants: Mapping[Plant, dt.date]) -> list[PlanRow]:
    """What is overdue in these plants, the longest first. plants: each with the day that it is there."""
    found = [row for plant, today in plants.items() for row in rows(plant, today=today) if row.due.is_overdue]
    return sorted(found, key=lambda row: (-row.due.overdue_days, str(row.plan), row.pk))


# --- proposals --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Offered:
    """A proposal with what it could be planned for and is not yet: (value, name)."""

    proposal: Proposal
    things: list[tuple[str, str]]
    planned: int


def offered(plant: Plant) -> list[Offered]:
    """What is proposed, and for which dies, presses and grinders it is not planned. Five questions."""
    dies = list(Die.objects.filter(plant=plant).exclude(status=Die.Status.RETIRED).order_by("code", "pk"))
    presses = list(Press.objects.filter(plant=plant, retired_at=None).order_by("code", "pk"))
    grinders = list(Grinder.objects.filter(plant=plant, retired_at=None).order_by("code", "pk"))
    kinds: dict[int, set[str]] = {}
    for die, kind in Position.objects.filter(die__plant=plant, valid_to=None).values_list("die", "kind").distinct():
        kinds.setdefault(die, set()).add(kind)
    plans = InspectionPlan.objects.filter(plant=plant, retired_at=None).exclude(proposal="")
    taken = {(p, d, pr, g) for p, d, pr, g in plans.values_list("proposal", "die", "press", "grinder")}
    made = []
    for proposal in PROPOSALS:
        if proposal.of == DIE:
            fits = [die for die in dies if not proposal.kinds or kinds.get(die.pk, set()) & set(proposal.kinds)]
            left = [(f"die {d.pk}", d.code) for d in fits if (proposal.key, d.pk, None, None) not in taken]
        elif proposal.of == PRESS:
            left = [(f"press {p.pk}", p.code) for p in presses if (proposal.key, None, p.pk, None) not in taken]
        elif proposal.of == GRINDER:
            left = [(f"grinder {g.pk}", g.code) for g in grinders if (proposal.key, None, None, g.pk) not in taken]
        else:
            left = [("plant", _("the plant"))] if (proposal.key, None, None, None) not in taken else []
        planned = sum(1 for one in taken if one[0] == proposal.key)
        made.append(Offered(proposal=proposal, things=left, planned=planned))
    return made


def take_on(*, by: Actor, plant: Plant, proposal: Proposal, thing: str) -> list[InspectionPlan]:
    """A proposal is planned for one thing of those offered, or for all of them."""
    things = next(one.things for one in offered(plant) if one.proposal.key == proposal.key)
    wanted = [value for value, __ in things if thing in ("all", value)]
    if not wanted:
        raise EntryRefused(_("This is planned already, or not there."))
    made = []
    with saving():
        for value in wanted:
            sort, __, number = value.partition(" ")
            found = {} if sort == PLANT else {sort: _MODELS[sort].objects.get(pk=number)}
            made.append(
                plan_inspection(
                    by=by, plant=plant, what=proposal.what, every_days=proposal.every_days,
                    every_hits=proposal.every_hits, why=proposal.rule, proposal=proposal.key, **found,
                )
            )  # fmt: skip
    return made


_MODELS = {DIE: Die, PRESS: Press, GRINDER: Grinder}
