"""Every write about the bench: works opened, planned, moved, done and released, and dies held until a first piece is
approved. Each takes `by`, is one transaction, and leaves a step that says what was done.

Refused is what cannot be (`EntryRefused`, a sentence for whoever is at the form); what is only a clash with another
work, such as a piece that two want, is saved and said.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from django.db.models import Sum
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from diestore.access.models import Person
from diestore.handbook.kinds import kind
from diestore.register.models import Die, Item, Party, Piece, Position
from maintenance.models import (
    Absence,
    BenchEdge,
    BenchHours,
    BenchPiece,
    BenchStep,
    BenchWork,
    DieHold,
    Incident,
    Inspection,
    StockMovement,
    Stop,
    Work,
    fresh_key,
)
from maintenance.models.bench import DAYS_AWAY_AT_MOST, HOURS_AT_MOST, PIECES_AT_MOST, WHY_AT_MOST

from . import bench_reads, movement_reads, movements, queries, take_back
from .rules import EntryRefused, check_number, check_text, day_of, english, saving, stamp
from .write import Actor

State = BenchWork.State

# What may follow on what. A work that is released or dropped is over: what comes then is another one.
NEXT: dict[str, tuple[str, ...]] = {
    State.REPORTED: (State.PLANNED, State.BENCH, State.AWAY, State.DROPPED),
    State.PLANNED: (State.BENCH, State.AWAY, State.REPORTED, State.DROPPED),
    State.BENCH: (State.TRY_OUT, State.AWAY, State.RELEASED, State.PLANNED, State.DROPPED),
    State.AWAY: (State.BENCH, State.TRY_OUT, State.RELEASED, State.DROPPED),
    State.TRY_OUT: (State.RELEASED, State.BENCH, State.DROPPED),
    State.RELEASED: (),
    State.DROPPED: (),
}
UNCHANGED = object()


@dataclass(frozen=True, kw_only=True)
class EdgeToGrind:
    """advised_mm: as the service said when the work was opened; nought where it did not say how much. grind_mm: None:
    as much as it takes. left_out: advised, and not to be ground. why: where it is otherwise than advised."""

    position: Position
    grind_mm: float | None = None
    advised_mm: float | None = None
    left_out: bool = False
    why: str = ""


def open_work(
    *,
    by: Actor,
    die: Die,
    what: str,
    source: str = BenchWork.Source.OTHER,
    position: Position | None = None,
    stop: Stop | None = None,
    incident: Incident | None = None,
    inspection: Inspection | None = None,
    item: Item | None = None,
    hours_foreseen: float | None = None,
    needed_on: dt.date | None = None,
    edges: Sequence[EdgeToGrind] = (),
    at: dt.datetime | None = None,
    key: str | None = None,
) -> BenchWork:
    """Somebody says that there is work on a die."""
    if key and (known := BenchWork.objects.filter(key=key).first()):
        return known
    if die.status == Die.Status.RETIRED:
        raise EntryRefused(
            _("{die} is retired: no work is opened for it. Put it in service first.").format(die=die), field="die"
        )
    what = " ".join(what.split())
    if not what:
        raise EntryRefused(_("Say what is to be done."), field="what")
    check_text(what, field="what", what=_("What is to be done"), at_most=200)
    check_hours(hours_foreseen)
    for one in (position, stop, incident, inspection):
        if one is not None and one.die_id != die.pk:
            raise EntryRefused(_("{one} is not of {die}.").format(one=one, die=die), field="position")
    _check_edges(die, edges)
    with saving(_("This work is opened already.")):
        work = BenchWork.objects.create(
            die=die, what=what, source=source, position=position, stop=stop, incident=incident,
            inspection=inspection, item=item, hours_foreseen=hours_foreseen, needed_on=needed_on,
            opened_at=at or timezone.now(), key=key or fresh_key(),
        )  # fmt: skip
        _put_edges(work, edges)
        _step(by, work, f"opened: {what} ({english(work.get_source_display)})", at=work.opened_at)
    return work


def check_hours(hours: float | None, *, field: str = "hours_foreseen") -> None:
    """Of a work, foreseen."""
    if hours is not None and not hours > 0:
        raise EntryRefused(
            _("A work of {hours:g} hours is none. Enter how long it takes, such as 1.5.").format(hours=hours),
            field=field,
        )
    check_number(hours, field=field, what=_("The hours"), at_most=HOURS_AT_MOST)


# --- planned and moved ------------------------------------------------------------------------------------------------


def plan_work(
    *,
    by: Actor,
    work: BenchWork,
    what: str = UNCHANGED,  # type: ignore[assignment]
    hours_foreseen: float | None = UNCHANGED,  # type: ignore[assignment]
    needed_on: dt.date | None = UNCHANGED,  # type: ignore[assignment]
    not_before: dt.date | None = UNCHANGED,  # type: ignore[assignment]
    supplier: Party | None = UNCHANGED,  # type: ignore[assignment]
    away_days: int | None = UNCHANGED,  # type: ignore[assignment]
    late_cost: Decimal | None = UNCHANGED,  # type: ignore[assignment]
) -> BenchWork:
    """What is known of a work beforehand. What is reported only counts as planned from then on."""
    told = {
        "what": what, "hours_foreseen": hours_foreseen, "needed_on": needed_on, "not_before": not_before,
        "supplier": supplier, "away_days": away_days, "late_cost": late_cost,
    }  # fmt: skip
    values: dict[str, Any] = {name: value for name, value in told.items() if value is not UNCHANGED}
    if "what" in values:
        values["what"] = " ".join(str(what).split())
        if not values["what"]:
            raise EntryRefused(_("Say what is to be done."), field="what")
        check_text(values["what"], field="what", what=_("What is to be done"), at_most=200)
    check_hours(values.get("hours_foreseen"))
    check_number(values.get("away_days"), field="away_days", what=_("The days away"), at_most=DAYS_AWAY_AT_MOST)
    if (cost := values.get("late_cost")) is not None and not 0 <= cost <= 10**9:
        raise EntryRefused(_("A day late costs nought or more."), field="late_cost")
    with saving():
        work = _locked(work)
        changed = [name for name, value in values.items() if getattr(work, name) != value]
        for name in changed:
            setattr(work, name, values[name])
        if work.state == State.REPORTED:
            work.state = State.PLANNED
            changed.append("state")
        if changed:
            work.save(update_fields=changed)
            words = [_NAMED[name] for name in changed if name in _NAMED]
            _step(by, work, f"planned: {', '.join(words)}" if words else "planned")
    return work


_NAMED = {
    "what": "what is to be done", "hours_foreseen": "hours planned", "needed_on": "when it is needed",
    "not_before": "not before when", "supplier": "the supplier", "away_days": "days away",
    "late_cost": "what a day late costs",
}  # fmt: skip


def move_work(*, by: Actor, work: BenchWork, person: Person | None, day: dt.date | None, today: dt.date) -> BenchWork:
    """A work is put to somebody and on a day by hand, and stays there. Neither: the plan decides again."""
    if day is not None and person is None:
        raise EntryRefused(_("Say who is to do it on that day."), field="person")
    if person is not None:
        _check_person(work.die, person, day, today)
    with saving():
        work = _locked(work)
        if (work.person_id, work.day) == (person.pk if person else None, day):
            return work
        work.person, work.day = person, day
        if work.state == State.REPORTED:
            work.state = State.PLANNED
        work.save(update_fields=["person", "day", "state"])
        where = english(lambda: f"on {day_of(day)}") if day else "on the day that the plan finds"
        _step(by, work, f"moved: {person}, {where}" if person else "left to the plan again")
    return work


def _check_person(die: Die, person: Person, day: dt.date | None, today: dt.date) -> None:
    if person.plant_id != die.plant_id or not person.active:
        raise EntryRefused(_("{person} does not work where {die} is.").format(person=person, die=die), field="person")
    hours = BenchHours.objects.filter(person=person, retired_at=None).first()
    if hours is None and BenchHours.objects.filter(person__plant=die.plant_id, retired_at=None).exists():
        raise EntryRefused(
            _("{person} has no hours for the bench. Enter them under Hours for the bench first.").format(person=person),
            field="person",
        )
    if day is None:
        return
    if day < today:
        raise EntryRefused(_("{day} is past. Pick today or a later day.").format(day=day_of(day)), field="day")
    if (day - today).days > 365:
        raise EntryRefused(_("{day} is more than a year ahead. Check the year.").format(day=day_of(day)), field="day")
    away = Absence.objects.filter(person=person, retired_at=None, first__lte=day, last__gte=day).first()
    if away is not None:
        raise EntryRefused(
            _("{person} is away from {first} to {last}. Pick another day or somebody else.").format(
                person=person, first=day_of(away.first), last=day_of(away.last)
            ),
            field="day",
        )
    if day.weekday() > (hours or BenchHours()).last_weekday:
        raise EntryRefused(
            _("{person} does not work at the bench on a {weekday}. Pick another day.").format(
                person=person, weekday=date_format(day, "l")
            ),
            field="day",
        )


# --- from state to state ----------------------------------------------------------------------------------------------


def set_state(
    *,
    by: Actor,
    work: BenchWork,
    state: str,
    reason: str = "",
    supplier: Party | None = None,
    back_on: dt.date | None = None,
    today: dt.date | None = None,
) -> BenchWork:
    """The work goes on to a state. Away: where, and when it is said to be back. Dropped: why. Released: by whom."""
    reason = " ".join(reason.split())
    check_text(reason, field="reason", what=_("The reason"), at_most=300)
    with saving():
        work = _locked(work)
        if state == work.state:
            return work
        if state not in NEXT[work.state]:
            now, wanted = work.get_state_display(), State(state).label
            raise EntryRefused(
                _("This work is {now}; from there it cannot be {wanted}.").format(now=now, wanted=wanted), field="state"
            )
        words = english(lambda: State(state).label)
        if state == State.AWAY:
            supplier = supplier or work.supplier
            if supplier is None:
                raise EntryRefused(_("Say which supplier it goes to."), field="supplier")
            if back_on is not None and today is not None and back_on < today:
                raise EntryRefused(
                    _("{back_on} is past. When is it back?").format(back_on=day_of(back_on)), field="back_on"
                )
            work.supplier, work.back_on = supplier, back_on
            day = english(lambda: f"back on {day_of(back_on)}") if back_on else "no day given"
            words = f"away at {supplier}, {day}"
        elif work.state == State.AWAY:
            work.back_on = None
            words = f"back from {work.supplier}: {words}"
        if state == State.DROPPED and not reason:
            raise EntryRefused(_("Say why it is dropped."), field="reason")
        if state == State.RELEASED:
            _check_release(by, work)
            words = f"released by {by.person}"
        if state in BenchWork.ENDED:
            work.ended_at, work.ended_by, work.ended_reason = timezone.now(), by.person, reason
        work.state = state
        work.save(update_fields=["state", "supplier", "back_on", "ended_at", "ended_by", "ended_reason"])
        _step(by, work, f"{words}: {reason}" if reason else words)
    return work


def _check_release(by: Actor, work: BenchWork) -> None:
    if by.person is None:
        raise EntryRefused(_("Say who releases the die."), field="person")
    if hold := DieHold.objects.filter(die=work.die_id, released_at=None).first():
        raise EntryRefused(
            _("{die} is on hold ({reason}). Approve a first piece, then release the work.").format(
                die=work.die, reason=hold.reason
            ),
            field="state",
        )


def use_hours(*, by: Actor, work: BenchWork, hours: float) -> BenchWork:
    """Hours that somebody worked on it, added to those before."""
    if not hours > 0:
        raise EntryRefused(
            _("{hours:g} hours are none. Enter the hours worked, such as 1.5.").format(hours=hours), field="hours"
        )
    check_number(hours, field="hours", what=_("The hours"), at_most=HOURS_AT_MOST)
    with saving():
        work = _locked(work)
        work.hours_used = (work.hours_used or 0.0) + hours
        work.save(update_fields=["hours_used"])
        _step(by, work, f"worked {hours:g} h")
    return work


def say(*, by: Actor, work: BenchWork, words: str) -> BenchStep:
    """A note on a work."""
    words = " ".join(words.split())
    if not words:
        raise EntryRefused(_("Type the note first."), field="words")
    check_text(words, field="words", what=_("The note"), at_most=900)
    with saving():
        return _step(by, BenchWork.objects.get(pk=work.pk), words)


# --- edges and pieces -------------------------------------------------------------------------------------------------


def set_edges(*, by: Actor, work: BenchWork, edges: Sequence[EdgeToGrind], why: str = "") -> BenchWork:
    """Which pieces are to be ground, and how much of each. What was advised and what came off stays. why: of those that
    are changed by this and stand otherwise than advised."""
    _check_edges(work.die, edges)
    why = " ".join(why.split())
    check_text(why, field="why", what=_("The reason"), at_most=WHY_AT_MOST)
    with saving():
        work = _locked(work)
        wanted = {edge.position.pk: edge for edge in edges}
        standing = {edge.position_id: edge for edge in work.edges.all()}
        to_grind = {pk: edge.grind_mm for pk, edge in standing.items() if not edge.left_out}
        if {pk: edge.grind_mm for pk, edge in wanted.items()} == to_grind:
            return work
        work.edges.filter(advised_mm=None, done_mm=None).exclude(position__in=wanted).delete()
        others = work.edges.exclude(position__in=wanted)
        others.filter(done_mm__isnull=False).update(grind_mm=None)
        others.filter(done_mm=None, left_out=False).update(grind_mm=None, left_out=True, why=why)
        for pk, edge in wanted.items():
            if pk in standing:
                again = {"left_out": False, "why": ""} if standing[pk].left_out else {}
                work.edges.filter(pk=standing[pk].pk).update(grind_mm=edge.grind_mm, **again)
        advice = why if any(edge.advised_mm is not None for edge in standing.values()) else ""
        _put_edges(work, [replace(edge, why=advice) for pk, edge in wanted.items() if pk not in standing])
        codes = ", ".join(sorted(edge.position.code for edge in edges))
        _step(by, work, _short(f"to grind: {codes}" if codes else "nothing to grind"))
    return work


def _check_edges(die: Die, edges: Iterable[EdgeToGrind]) -> None:
    named = set()
    for edge in edges:
        position = edge.position
        if position.die_id != die.pk:
            raise EntryRefused(
                _("{position} is not a position of {die}.").format(position=position, die=die), field="edges"
            )
        if position.pk in named:
            raise EntryRefused(_("{position} is named twice.").format(position=position), field="edges")
        named.add(position.pk)
        if not kind(position.kind).is_ground:
            raise EntryRefused(
                _("{position} is a {kind}, which is not ground.").format(
                    position=position, kind=_(kind(position.kind).name)
                ),
                field="edges",
            )
        check_number(
            edge.grind_mm,
            field="edges",
            what=_("What is to come off {position}").format(position=position),
            at_most=100,
        )
        if edge.grind_mm == 0:
            raise EntryRefused(
                _("Nothing comes off {position} by 0 mm. Leave it out, or leave it open.").format(position=position),
                field="edges",
            )


def _put_edges(work: BenchWork, edges: Iterable[EdgeToGrind]) -> None:
    BenchEdge.objects.bulk_create(
        BenchEdge(
            work=work,
            position=edge.position,
            grind_mm=None if edge.left_out else edge.grind_mm,
            advised_mm=edge.advised_mm,
            left_out=edge.left_out,
            why=edge.why,
        )
        for edge in edges
    )


def reserve(
    *, by: Actor, work: BenchWork, item: Item | None = None, piece: Piece | None = None, quantity: int = 1
) -> str:
    """Set a spare aside, or one marked piece. Returns what there is to say of it: that another work has it, or that it
    has to come first; nothing where it lies there."""
    if (item is None) == (piece is None):
        raise EntryRefused(_("Pick a spare, or a marked piece."), field="item")
    if not 1 <= quantity <= PIECES_AT_MOST:
        raise EntryRefused(
            _("{quantity:,} pieces cannot be set aside. Enter 1 to {most}.").format(
                quantity=quantity, most=PIECES_AT_MOST
            ),
            field="quantity",
        )
    plant = work.die.plant_id
    if piece is not None and piece.plant_id != plant:
        raise EntryRefused(_("{piece} is not where {die} is.").format(piece=piece, die=work.die), field="piece")
    with saving():
        work = _locked(work)
        row, is_new = BenchPiece.objects.get_or_create(
            work=work, item=item, piece=piece, defaults={"quantity": quantity if piece is None else 1}
        )
        if not is_new and row.quantity == quantity:
            return ""
        if not is_new:
            row.quantity = quantity
            row.save(update_fields=["quantity"])
        _step(by, work, f"set aside: {row}")
        return clash_of(row, plant)


def clash_of(row: BenchPiece, plant: int) -> str:
    """Why what a work has set aside is not there for it; nothing where it is."""
    others = BenchPiece.objects.filter(work__state__in=BenchWork.OPEN, work__die__plant=plant).exclude(pk=row.pk)
    if row.piece_id is not None:
        other = others.filter(piece=row.piece_id).select_related("work__die").first()
        return (
            _("The work on {die} needs {piece} too: the two cannot be on the bench at the same time.").format(
                die=other.work.die, piece=row.piece
            )
            if other
            else ""
        )
    shelf = queries.on_the_shelf(plant, [row.item_id]).get(row.item_id, 0) if row.item_id is not None else 0
    taken = bench_reads.still_aside(others.filter(item=row.item_id, work__opened_at__lt=row.work.opened_at))
    aside = taken.aggregate(n=Sum("still"))["n"] or 0
    if shelf - aside >= bench_reads.still_aside(BenchPiece.objects.filter(pk=row.pk)).values_list("still").get()[0]:
        return ""
    dies = ", ".join(sorted({r.work.die.code for r in taken.select_related("work__die")}))
    words = _("{item}: {n} on the shelf.")
    if aside:
        words = _("{item}: {n} on the shelf, {aside} of them set aside for {dies}.")
    return words.format(item=row.item, n=shelf, aside=aside, dies=dies)


def give_back(*, by: Actor, work: BenchWork, row: BenchPiece) -> BenchWork:
    """A piece is no longer set aside."""
    with saving():
        work = _locked(work)
        named = str(row)
        if work.pieces.filter(pk=row.pk).delete()[0]:
            _step(by, work, f"no longer set aside: {named}")
    return work


def draw_spare(*, by: Actor, work: BenchWork, item: Item, quantity: int | None = None, key: str | None = None) -> int:
    """A spare comes off the shelf for a work: what is set aside for it and still lies there, else one. The same `key`
    again draws nothing twice. Returns how many."""
    with saving():
        work = _locked(work)
        aside = bench_reads.still_aside(BenchPiece.objects.filter(work=work, item=item)).values_list("still", flat=True)
        n = quantity if quantity is not None else (next(iter(aside), 0) or 1)
        key = key or fresh_key()
        is_known = StockMovement.objects.filter(key=f"{key}:shelf").exists()
        row = movements.draw(by=by, plant=work.die.plant, item=item, die=work.die, work=work, quantity=n, key=key)
        if not is_known:
            _step(by, work, f"drawn: {-row.quantity} × {item}")
        return -row.quantity


def return_spare(*, by: Actor, work: BenchWork, item: Item, key: str | None = None) -> int:
    """What was drawn for a work and neither fitted nor returned goes back onto the shelf. Returns how many."""
    with saving():
        work = BenchWork.objects.select_for_update(of=("self",)).select_related("die__plant").get(pk=work.pk)
        drawn = movement_reads.drawn(work.die.plant_id, item=item.pk, die=work.die_id, work=work.pk)
        n = sum(one.pieces for one in drawn)
        if n <= 0:
            raise EntryRefused(_("No {item} is drawn for this work any more.").format(item=item), field="item")
        movements.bring_back(by=by, plant=work.die.plant, item=item, die=work.die, work=work, quantity=n, key=key)
        _step(by, work, f"returned, not used: {n} × {item}")
        return n


def undraw_spare(*, by: Actor, work: BenchWork, row: StockMovement, on_a_tablet: bool = False) -> str:
    """What one has just drawn is taken back: the entry is struck out. Where it is not one's own of a moment ago, it is
    returned instead. Returns what was done, in words."""
    if take_back.may_take_back(row, user=by.user, person=by.person if on_a_tablet else None):
        with saving():
            take_back.take_back(by=by, entry=row, on_a_tablet=on_a_tablet)
            _step(by, work, f"not drawn after all: {-row.quantity} × {row.item}")
        return _("Undone: {n} × {item} lie on the shelf.").format(n=-row.quantity, item=row.item)
    n = return_spare(by=by, work=work, item=row.item)
    return _("{n} × {item} returned to the shelf.").format(n=n, item=row.item)


def record(*, by: Actor, work: BenchWork, entries: Sequence[Work]) -> BenchWork:
    """Entries of the log say what was done in it: what came off stands beside what was advised, the hours are added,
    and the work is over. A die on hold goes to try-out in its place, since a first piece is still to be approved."""
    if any(entry.position is None or entry.position.die_id != work.die_id for entry in entries):
        raise EntryRefused(_("These entries are not of {die}.").format(die=work.die))
    with saving():
        work = _locked(work)
        work.entries.add(*entries)
        removed = {entry.position_id: entry.removed_mm for entry in entries if entry.position_id is not None}
        standing = {edge.position_id: edge for edge in work.edges.all()}
        for position, mm in removed.items():
            if position in standing:
                BenchEdge.objects.filter(pk=standing[position].pk).update(done_mm=mm, left_out=False)
            else:
                BenchEdge.objects.create(work=work, position_id=position, done_mm=mm)
        hours = sum(entry.hours or 0.0 for entry in entries)
        if hours > 0:
            work.hours_used = (work.hours_used or 0.0) + hours
        held = DieHold.objects.filter(die=work.die_id, released_at=None).exists()
        if held or by.person is None:
            work.state, words = State.TRY_OUT, "try-out"
        else:
            work.state, words = State.RELEASED, f"released by {by.person}"
            work.ended_at, work.ended_by = timezone.now(), by.person
        work.back_on = None
        work.save(update_fields=["hours_used", "state", "ended_at", "ended_by", "back_on"])
        pieces = f"{len(entries)} pieces" if len(entries) > 1 else "one piece"
        _step(by, work, f"logged: {pieces}{f', {hours:g} h' if hours else ''}; {words}")
    return work


# --- a die on hold ----------------------------------------------------------------------------------------------------


def hold_die(*, by: Actor, die: Die, reason: str, at: dt.datetime | None = None, key: str | None = None) -> DieHold:
    """The die makes no parts until a first piece was approved."""
    if key and (known := DieHold.objects.filter(key=key).first()):
        return known
    reason = " ".join(reason.split())
    if not reason:
        raise EntryRefused(_("Say why the die is held."), field="reason")
    check_text(reason, field="reason", what=_("The reason"), at_most=300)
    if die.status == Die.Status.RETIRED:
        raise EntryRefused(_("{die} is retired: it makes no parts anyway.").format(die=die), field="die")
    standing = DieHold.objects.filter(die=die, released_at=None).first()
    if standing is not None:
        raise EntryRefused(
            _("{die} is on hold since {at}: {reason}").format(die=die, at=stamp(standing.at), reason=standing.reason),
            field="reason",
        )
    with saving(_("{die} is on hold already.").format(die=die)):
        return DieHold.objects.create(
            die=die,
            at=at or timezone.now(),
            reason=reason,
            held_by=by.person,
            held_user_id=_user(by),
            key=key or fresh_key(),
        )


def approve_first_piece(*, by: Actor, die: Die, measured: str, at: dt.datetime | None = None) -> DieHold:
    """Somebody measured a first piece and lets the die run again."""
    measured = " ".join(measured.split())
    if by.person is None:
        raise EntryRefused(_("Say who approves the first piece."), field="person")
    if not measured:
        raise EntryRefused(_("Say what was measured on the first piece, and what came out."), field="measured")
    check_text(measured, field="measured", what=_("What was measured"), at_most=500)
    with saving():
        hold = DieHold.objects.select_for_update().filter(die=die, released_at=None).first()
        if hold is None:
            raise EntryRefused(_("{die} is not on hold.").format(die=die), field="measured")
        hold.released_at = max(at or timezone.now(), hold.at)
        hold.released_by, hold.released_user_id, hold.measured = by.person, _user(by), measured
        hold.save(update_fields=["released_at", "released_by", "released_user", "measured"])
    return hold


# --- what each write does ---------------------------------------------------------------------------------------------


def _locked(work: BenchWork) -> BenchWork:
    """The work as it stands now; refuses one that is over."""
    found = BenchWork.objects.select_for_update(of=("self",)).select_related("die__plant").get(pk=work.pk)
    if not found.is_open:
        raise EntryRefused(
            _("This work is {state}. Open another one for what comes now.").format(state=found.get_state_display())
        )
    return found


def _step(by: Actor, work: BenchWork, words: str, *, at: dt.datetime | None = None) -> BenchStep:
    return BenchStep.objects.create(
        work=work, words=_short(words), state=work.state, person=by.person, user_id=_user(by), at=at or timezone.now()
    )


def _user(by: Actor) -> int | None:
    return getattr(by.user, "pk", None)


def _short(words: str) -> str:
    return words if len(words) <= 1_000 else f"{words[:999]}…"
