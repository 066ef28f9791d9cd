"""Every write to the log, one function each: one transaction, who did it, and a key that makes a repeat harmless. Each
says which dies it changed (`changes.tell`); what follows from that hangs there.

Each takes `by`, the Actor who enters it. A refused entry raises `EntryRefused` with a sentence for the person at the
form, and nothing is saved.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.access.models import Person
from diestore.handbook.limits import STOP_MINUTES
from diestore.register.build import default_variant
from diestore.register.models import Cut, Die, Item, Party, Piece, Position, Press, Station, Stock, Variant
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import (
    Change,
    DriftFlag,
    Event,
    HitCorrection,
    Incident,
    Order,
    Reading,
    RecordRestart,
    Replacement,
    Retirement,
    Run,
    SetUp,
    StockMovement,
    Stop,
    Work,
    fresh_key,
)
from maintenance.policy.stop_blocks import BlockReading, StopBlockError

from . import changes, counted, in_use, movement_reads, purchase_reads, set_ups, touched
from .derived import rebuild_fittings
from .rules import (
    EntryRefused,
    check_beside,
    check_fitted,
    check_good_parts,
    check_hits,
    check_into_run,
    check_is_ground,
    check_moment,
    check_number,
    check_one_thing,
    check_raised,
    check_run_times,
    check_scrap,
    check_signed_hits,
    check_text,
    found_on,
    saving,
    stamp,
)


@dataclass(frozen=True, kw_only=True)
class Actor:
    """Who enters something: the person named on the form, the sign-in, and what it came through."""

    person: Person | None = None
    user: object | None = None
    through: str = Event.Through.FORM
    device: str = ""

    def columns(self) -> dict:
        return {"person": self.person, "user": self.user, "through": self.through, "device": self.device}


def log_run(
    *,
    by: Actor,
    die: Die,
    started: dt.datetime,
    ended: dt.datetime,
    hits: int,
    variant: Variant | None = None,
    basis: str = Run.Basis.COUNTED,
    press: Press | None = None,
    stock: Stock | None = None,
    lot: str = "",
    order: Order | None = None,
    good_parts: int | None = None,
    note: str = "",
    key: str | None = None,
) -> Run:
    check_moment(started, field="started")
    check_moment(ended, field="ended")
    check_hits(hits)
    check_run_times(started, ended)
    if key and (known := Run.objects.filter(key=key).first()):
        return known
    clash = Run.objects.standing().filter(die=die, started__lt=ended, at__gt=started).first()
    if clash:
        raise EntryRefused(
            _(
                "{die} has a run from {started} to {at} already ({hits:,} hits). Change the times, or strike "
                "that run out first."
            ).format(die=die, started=stamp(clash.started), at=stamp(clash.at), hits=clash.hits),
            field="started",
        )
    variant = variant or default_variant(die)
    if variant.die_id != die.pk:
        raise EntryRefused(
            _("{variant} is not a set of inserts of {die}.").format(variant=variant, die=die), field="variant"
        )
    check_good_parts(good_parts)
    check_text(lot, field="lot", what=_("The coil or lot"), at_most=80)
    with saving(_("{die} has a run at that time already.").format(die=die)):
        run = Run.objects.create(
            die=die,
            variant=variant,
            started=started,
            at=ended,
            hits=hits,
            basis=basis,
            press=press,
            stock=stock or die.usual_stock,
            lot=lot,
            order=order,
            good_parts=good_parts,
            note=note,
            key=key or fresh_key(),
            **by.columns(),
        )
        counted.typed(die.pk, started)
        changes.tell(dies=[die.pk], since=started)
        return run


def log_hit_correction(
    *,
    by: Actor,
    die: Die,
    at: dt.datetime,
    hits: int,
    with_stock: bool,
    reason: str,
    variant: Variant | None = None,
    note: str = "",
    key: str | None = None,
) -> HitCorrection:
    check_moment(at)
    if key and (known := HitCorrection.objects.filter(key=key).first()):
        return known
    check_signed_hits(hits)
    if not reason.strip():
        raise EntryRefused(_("Say why the count is put right."), field="reason")
    check_text(reason, field="reason", what=_("The reason"), at_most=200)
    with saving():
        if hits < 0:
            # One after the other: two at once would each find the same hits to take off.
            Die.objects.select_for_update(no_key=True).get(pk=die.pk)
            if -hits > (logged := hits_logged(die, at, with_stock=with_stock)):
                raise EntryRefused(
                    _("{hits:,} hits cannot be taken off: only {logged:,} are logged for {die} up to {at}.").format(
                        hits=-hits, logged=logged, die=die, at=stamp(at)
                    ),
                    field="hits",
                )
        row = HitCorrection.objects.create(
            die=die,
            variant=variant or default_variant(die),
            at=at,
            hits=hits,
            with_stock=with_stock,
            reason=reason,
            note=note,
            key=key or fresh_key(),
            **by.columns(),
        )
        changes.tell(dies=[die.pk], since=at)
        return row


def hits_logged(die: Die, at: dt.datetime, *, with_stock: bool) -> int:
    """Hits of a die that stand in the log up to a moment, by runs that began before it and corrections.

    `with_stock` False: strokes without stock alone, since only they can have been too many.
    """
    corrections = HitCorrection.objects.standing().filter(die=die, at__lte=at, with_stock=with_stock)
    total = corrections.aggregate(n=Sum("hits"))["n"] or 0
    if with_stock:
        total += Run.objects.standing().filter(die=die, started__lt=at).aggregate(n=Sum("hits"))["n"] or 0
    return total


def log_stop(
    *,
    by: Actor,
    die: Die,
    at: dt.datetime,
    cause: str,
    minutes: float,
    parts_scrapped: int = 0,
    planned: bool = False,
    press: Press | None = None,
    station: Station | None = None,
    position: Position | None = None,
    note: str = "",
    key: str | None = None,
) -> Stop:
    """The press stood. station, position: where in the die it was, where somebody saw it."""
    check_moment(at)
    if key and (known := Stop.objects.filter(key=key).first()):
        return known
    check_number(minutes, field="minutes", what=_("The time stopped"), at_most=STOP_MINUTES.most)
    check_scrap(parts_scrapped)
    for place in (station, position):
        if place is not None and place.die_id != die.pk:
            raise EntryRefused(_("{place} is not in {die}.").format(place=place, die=die), field="place")
    with saving():
        stop = Stop.objects.create(
            die=die,
            at=at,
            cause=cause,
            minutes=minutes,
            parts_scrapped=parts_scrapped,
            planned=planned,
            press=press,
            station=position.station if position is not None else station,
            position=position,
            note=note,
            key=key or fresh_key(),
            **by.columns(),
        )
        changes.tell(dies=[die.pk], since=at)
        return stop


def log_incident(
    *,
    by: Actor,
    die: Die,
    at: dt.datetime,
    sort: str,
    pieces: Sequence[Piece] = (),
    positions: Sequence[Position] = (),
    note: str = "",
    key: str | None = None,
) -> Incident:
    """A mishap. Damaged are the pieces named, and those that sat in the positions named at that moment."""
    check_moment(at)
    if key and (known := Incident.objects.filter(key=key).first()):
        return known
    if not sort.strip():
        raise EntryRefused(_("Say what happened."), field="sort")
    check_text(sort, field="sort", what=_("What happened"), at_most=40)
    pieces = list(pieces)
    for position in positions:
        if position.die_id != die.pk:
            raise EntryRefused(
                _("{position} is not a position of {die}.").format(position=position, die=die), field="damaged"
            )
        pieces.append(check_fitted(position, at).piece)
    with saving():
        incident = Incident.objects.create(die=die, at=at, sort=sort, note=note, key=key or fresh_key(), **by.columns())
        incident.pieces.set(pieces)
        changes.tell(dies=[die.pk], since=at)
        return incident


@dataclass(frozen=True, kw_only=True)
class SharpenedPiece:
    """What was done to one position in a sharpening of the set."""

    position: Position
    why: str = Work.Why.WITH_SET
    found: str = ""
    removed_mm: float | None = None
    raised_mm: float | None = None  # by a spacer; less than nought where one came out
    wear_mm: float | None = None
    operation: str = "ground"
    coating_after: str = ""
    length_after_mm: float | None = None


def log_sharpening(
    *,
    by: Actor,
    die: Die,
    at: dt.datetime,
    pieces: Sequence[SharpenedPiece],
    hours: float | None = None,
    supplier: Party | None = None,
    hits_into_run: int | None = None,
    note: str = "",
    key: str | None = None,
) -> list[Work]:
    """A sharpening of the whole set: one row a piece, all or none. The hours are shared evenly over the rows."""
    check_moment(at)
    if key and (known := list(Work.objects.filter(set_key=key))):
        return known
    check_into_run(hits_into_run)
    check_number(hours, field="hours", what=_("The hours"), at_most=10_000)
    if not pieces:
        raise EntryRefused(_("Name at least one piece that was sharpened."), field="pieces")
    set_key = key or fresh_key()
    works: list[Work] = []
    named: set[int] = set()
    for entry in pieces:
        position = entry.position
        if position.die_id != die.pk:
            raise EntryRefused(
                _("{position} is not a position of {die}.").format(position=position, die=die), field="pieces"
            )
        if position.pk in named:
            raise EntryRefused(_("{position} is named twice.").format(position=position), field="pieces")
        named.add(position.pk)
        if entry.operation not in OPERATIONS:
            raise EntryRefused(
                _("{operation!r} is not a work that is done here.").format(operation=entry.operation), field="operation"
            )
        check_is_ground(position, entry.operation, field="pieces")
        check_number(
            entry.removed_mm,
            field="removed_mm",
            what=_("What was taken off {position}").format(position=position),
            at_most=100,
        )
        check_raised(entry.operation, entry.raised_mm, field="removed")
        check_text(entry.coating_after, field="coating", what=_("The coating"), at_most=40)
        check_number(
            entry.wear_mm, field="wear_mm", what=_("The wear of {position}").format(position=position), at_most=100
        )
        check_number(
            entry.length_after_mm,
            field="pieces",
            what=_("The length of {position}").format(position=position),
            at_most=10_000,
        )
        check_fitted(position, at)
        works.append(
            Work(
                position=position,
                at=at,
                operation=entry.operation,
                why=entry.why,
                found=found_on(entry.why, entry.found),
                removed_mm=entry.removed_mm,
                raised_mm=entry.raised_mm,
                wear_mm=entry.wear_mm,
                length_after_mm=entry.length_after_mm,
                coating_after=entry.coating_after,
                supplier=supplier,
                hours=None if hours is None else hours / len(pieces),
                set_key=set_key,
                key=f"{set_key}:{position.pk}",
                heads_set=not works,
                hits_into_run=hits_into_run,
                note=note,
                **by.columns(),
            )
        )
    with saving():
        made = Work.objects.bulk_create(works)
        changes.tell(dies=[die.pk], since=at)
        return made


def log_replacement(
    *,
    by: Actor,
    position: Position,
    at: dt.datetime,
    why: str,
    found: str = "",
    piece: Piece | None = None,
    take_out_only: bool = False,
    from_shelf: bool = False,
    hits_into_run: int | None = None,
    note: str = "",
    key: str | None = None,
) -> Replacement:
    """Another piece goes into a position. Without `piece` a new one like the old is fitted.

    `from_shelf` takes one of the position's spare off the stock on hand in the same transaction: one that was drawn for
    the die, where there is one.
    """
    check_moment(at)
    if key and (known := Replacement.objects.filter(key=key).first()):
        return known
    check_into_run(hits_into_run)
    item = position.item if from_shelf else None
    if from_shelf and item is None:
        raise EntryRefused(
            _("{position} has no spare in the catalogue, so none can come off the shelf.").format(position=position),
            field="from_shelf",
        )
    if take_out_only and (from_shelf or piece is not None):
        raise EntryRefused(_("Nothing goes in, so nothing can come off the shelf."), field="from_shelf")
    old = _piece_before(position, at)
    if old is None and why != Replacement.Why.FIRST:
        check_fitted(position, at)  # says what is wrong
    with saving(_("That piece, or {position}, is taken at that time already.").format(position=position)):
        comes: dict = {}
        if item is not None:
            comes = movement_reads.where_from(plant=position.die.plant_id, item=item, die=position.die_id)
        if piece is None and not take_out_only:
            piece = new_piece_like(old, position=position, item=comes.get("item"))
        row = Replacement.objects.create(
            position=position,
            piece_in=None if take_out_only else piece,
            at=at,
            why=why,
            found=found_on(why, found),
            hits_into_run=hits_into_run,
            note=note,
            key=key or fresh_key(),
            **by.columns(),
        )
        if comes:
            StockMovement.objects.create(
                plant=position.die.plant,
                piece=piece,
                quantity=-1,
                kind=StockMovement.Kind.FITTED,
                **comes,
                at=at,
                key=f"{row.key}:shelf",
                **by.columns(),
            )
        rebuild_fittings(position)
        changes.tell(dies=[position.die_id], items=[comes["item"].pk] if comes else [], since=at)
        return row


def _piece_before(position: Position, at: dt.datetime) -> Piece | None:
    """The piece that sits in a position at a moment, or the last one before it."""
    before = [f for f in position.fittings.select_related("piece") if f.since is None or f.since <= at]
    return max(before, key=lambda f: (f.since is not None, f.since)).piece if before else None


def new_piece_like(old: Piece | None, *, position: Position, item: Item | None = None) -> Piece:
    """A new piece for a position: as its spare says, else like the one that comes out. item: where it is another spare
    than the place takes now."""
    item = item or position.item
    source = item or old
    fields = ("tool_steel", "coating", "hardness_hrc", "length_mm", "grind_allowance_mm")
    values = {f: getattr(source, f) for f in fields} if source else {}
    if old is not None:  # what the spare's entry leaves open is taken from the piece before
        values = {f: values.get(f) if values.get(f) not in (None, "") else getattr(old, f) for f in fields}
    return Piece.objects.create(
        plant=position.die.plant, key=fresh_key(), item=item, opening=Piece.Opening.NEW, **values
    )


def log_reading(
    *,
    by: Actor,
    at: dt.datetime,
    quantity: str,
    value_si: float,
    typed_value: str,
    typed_unit: str,
    die: Die | None = None,
    position: Position | None = None,
    piece: Piece | None = None,
    cut: Cut | None = None,
    at_length_mm: float | None = None,
    charged_to_mpa: float | None = None,
    parts_scrapped: int = 0,
    hits_into_run: int | None = None,
    note: str = "",
    key: str | None = None,
) -> Reading:
    """at_length_mm: of a spring's force, its length then. charged_to_mpa: of a gas spring's pressure, what it was
    charged to after it was read."""
    check_moment(at)
    if key and (known := Reading.objects.filter(key=key).first()):
        return known
    check_into_run(hits_into_run)
    check_one_thing(sum(thing is not None for thing in (die, position, piece, cut)))
    for text, field, what, most in (
        (quantity, "quantity", _("What was measured"), 60),
        (typed_value, "value", _("The value"), 40),
        (typed_unit, "unit", _("The unit"), 20),
    ):
        check_text(text, field=field, what=what, at_most=most)
    check_number(value_si, field="value", what=_("The {quantity}").format(quantity=quantity))
    check_scrap(parts_scrapped)
    check_beside(quantity, at_length_mm=at_length_mm, charged_to_mpa=charged_to_mpa)
    if position is not None:
        check_fitted(position, at)
    with saving():
        reading = Reading.objects.create(
            die=die,
            position=position,
            piece=piece,
            cut=cut,
            at=at,
            quantity=quantity,
            value_si=value_si,
            typed_value=typed_value,
            typed_unit=typed_unit,
            at_length_mm=at_length_mm,
            charged_to_mpa=charged_to_mpa,
            parts_scrapped=parts_scrapped,
            hits_into_run=hits_into_run,
            note=note,
            key=key or fresh_key(),
            **by.columns(),
        )
        changes.tell(dies=touched.of_entries([reading]).dies, since=at)
        return reading


def restart_record(
    *, by: Actor, die: Die, at: dt.datetime, reason: str, note: str = "", key: str | None = None
) -> RecordRestart:
    """From a moment on the die's record counts anew. Struck out, everything before counts again."""
    check_moment(at)
    if key and (known := RecordRestart.objects.filter(key=key).first()):
        return known
    if not reason.strip():
        raise EntryRefused(_("Say what changed, so that the record counts anew."), field="reason")
    check_text(reason.strip(), field="reason", what=_("The reason"), at_most=200)
    first = Run.objects.standing().filter(die=die).order_by("started").first()
    if first is None or at <= first.started:
        words = _("The record of {die} holds no run yet, so there is nothing to leave out.")
        if first is not None:
            words = _("The record of {die} begins only on {at}, so there is nothing to leave out.")
        raise EntryRefused(words.format(die=die, at=stamp(first.started) if first else ""), field="at")
    if RecordRestart.objects.standing().filter(die=die, at=at).exists():
        raise EntryRefused(
            _("The record of {die} starts anew on {at} already.").format(die=die, at=stamp(at)), field="at"
        )
    with saving():
        row = RecordRestart.objects.create(
            die=die, at=at, reason=reason.strip(), note=note, key=key or fresh_key(), **by.columns()
        )
        DriftFlag.objects.filter(die=die).delete()  # what it says is answered; the next night looks again
        changes.tell(dies=[die.pk], since=at)
        return row


def log_set_up(
    *,
    by: Actor,
    die: Die,
    at: dt.datetime,
    readings: Sequence[BlockReading],
    press: Press | None = None,
    shut_height_mm: float | None = None,
    is_good: bool = False,
    note: str = "",
    key: str | None = None,
) -> SetUp:
    """The die set into a press and read at its stop blocks. is_good: it was left to run like this."""
    check_moment(at)
    if key and (known := SetUp.objects.filter(key=key).first()):
        return known
    try:
        set_ups.check(readings)
    except StopBlockError as error:
        raise EntryRefused(str(error), field="readings") from None
    if shut_height_mm is not None and not 0 < shut_height_mm <= 10_000:
        raise EntryRefused(
            _("A shut height of {shut_height_mm:g} mm cannot be.").format(shut_height_mm=shut_height_mm),
            field="shut_height",
        )
    with saving():
        row = SetUp.objects.create(
            die=die,
            at=at,
            press=press,
            shut_height_mm=shut_height_mm,
            readings=set_ups.kept(readings),
            is_good=is_good,
            note=note,
            key=key or fresh_key(),
            **by.columns(),
        )
        changes.tell(dies=[die.pk], since=at)
        return row


def entered_with(key: str) -> Sequence[Event]:
    """The entries that carry a key: what two sendings of one form at the same moment left behind, saved once."""
    if not key:
        return []
    if works := list(Work.objects.filter(set_key=key).order_by("pk")):
        return works
    for model in (Run, HitCorrection, Stop, Incident, Replacement, Reading, RecordRestart, SetUp, Retirement):
        if row := model.objects.filter(key=key).first():
            return [row]
    return []


def strike_out(*, by: Actor, entry: Event, reason: str, replaced_by: Event | None = None) -> list[Event]:
    """Strike an entry out: it stays, stays visible, and counts for nothing. A set's rows go together.

    Returns the rows struck. Needs a person and a reason.
    """
    if entry.is_struck:
        raise EntryRefused(_("This entry is struck out already."))
    if getattr(entry, "bill_id", None) is not None:
        raise EntryRefused(_("This is a line of a bill. Strike out the bill, and its lines go with it."))
    if by.person is None:
        raise EntryRefused(_("Say who strikes it out."), field="person")
    if not reason.strip():
        raise EntryRefused(_("Say why it is struck out."), field="reason")
    check_text(reason.strip(), field="reason", what=_("The reason"), at_most=300)
    if replaced_by is not None and type(replaced_by) is not type(entry):
        raise EntryRefused(_("An entry can only be replaced by one of its own sort."))
    with saving(
        _("It cannot be struck out by itself: a later entry rests on it. Strike that one out first."),
    ):
        # Somebody else may have struck it out since it was read.
        if type(entry).objects.select_for_update().get(pk=entry.pk).is_struck:
            raise EntryRefused(_("This entry is struck out already."))
        rows = [entry, *purchase_reads.moves_with(entry), *movement_reads.pair_of(entry)]
        if isinstance(entry, Work) and entry.set_key:
            rows = list(Work.objects.standing().filter(set_key=entry.set_key))
        if isinstance(entry, Replacement):
            rows += list(StockMovement.objects.standing().filter(key=f"{entry.key}:shelf"))
        now = timezone.now()
        for row in rows:
            row.struck_at, row.struck_by, row.struck_reason = now, by.person, reason.strip()
            if replaced_by is not None and row is entry:
                row.replaced_by = replaced_by
            row.save(update_fields=["struck_at", "struck_by", "struck_reason", "replaced_by"])
        _undo(entry, user=by.user, reason=reason)
        about = touched.of_entries(rows)
        changes.tell(dies=about.dies, items=about.items, since=getattr(entry, "started", entry.at))
        changes.tell_of(Change.What.PRICE, about.priced)
        return rows


def _undo(entry: Event, *, user: object, reason: str) -> None:
    """What followed from an entry that is struck out."""
    if isinstance(entry, Replacement):
        rebuild_fittings(entry.position)
    elif isinstance(entry, Retirement):
        in_use.undo(entry, by=user, reason=reason)
    counted.struck(entry)


def name_successor(*, struck: Event, entry: Event) -> None:
    """Say which entry was made in the place of one struck out, so that both tell of each other."""
    if type(struck) is not type(entry) or not struck.is_struck or struck.pk == entry.pk:
        raise EntryRefused(_("Only an entry that is struck out can be followed by one of its own sort."))
    with saving():
        without = {"replaced_by__isnull": True, "struck_at__isnull": False}
        if isinstance(struck, Work) and struck.set_key:
            Work.objects.filter(set_key=struck.set_key, **without).update(replaced_by=entry)
        else:
            type(struck).objects.filter(pk=struck.pk, **without).update(replaced_by=entry)
