"""From what counters send to the log. Glue: which rows go into `counters.count`, and what it tells becomes which rows.

`take` keeps readings and does nothing else, so that a message is quick. `settle` counts: what is decided and ended
becomes runs of the log, what goes on still becomes the counter's open count, the rest becomes questions. It may run at
any time, in any process, any number of times: the same readings give the same rows. Where more is known later (a late
message, an answer, a die set with an earlier time), the runs that it changes are struck out and name those that stand
in their place.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Iterable

from django.db import IntegrityError, OperationalError, transaction
from django.db.models import OuterRef, Q, Subquery
from django.utils import timezone

from diestore.access import shop
from diestore.access.models import Person
from diestore.register.models import Die, Plant
from maintenance.log import changes
from maintenance.log.read import moment, seconds
from maintenance.log.write import default_variant
from maintenance.models import (
    Counter,
    CounterQuestion,
    CounterReading,
    DieInPress,
    Event,
    HitCorrection,
    OpenCount,
    Run,
    fresh_key,
)

from .intake import APART, EVERY, TRIES, was_just_now
from .pure import Answer, Block, Counted, CounterTotal, InPress, Kind, Question, Stretch, Verdict, count

logger = logging.getLogger(__name__)

SHIFTS_BEGIN = (6, 14, 22)  # o'clock in the shop
STRIKER = "press counters"  # in whose name runs that were counted anew are struck out
COUNTED_ANEW = "Counted anew: more is known now."
WITHOUT_STOCK = "Strokes without stock, counted at the press."
SILENT = dt.timedelta(hours=12)  # more than a shift: what was counted until then has ended
ENOUGH_AFTER = 4  # readings between a place to count from and what is new
LOOKED_BACK = 12
STRETCHES = (Kind.NO_DIE.value, Kind.WHICH_DIE.value, Kind.TYPED.value)  # questions that begin where a count can


def settle_due(counters: Iterable[Counter], *, now: dt.datetime | None = None) -> set[Die]:
    """Count those that were counted last a while ago. Each as it was read when its message was taken."""
    now = now or timezone.now()
    return _settle_all({c.pk for c in counters if not was_just_now(c.counted_at, now, EVERY)})


def settle_waiting(plant: Plant | None = None, *, by_night: bool = False) -> set[Die]:
    """Count everything that waits, and what fell silent. Returns the dies whose hits changed.

    by_night: the forecasts follow with the night.
    """
    _have_silent_counted()
    rows = Counter.objects.filter(waiting_since__isnull=False)
    if plant is not None:
        rows = rows.filter(device__plant=plant)
    return _settle_all(rows.values_list("pk", flat=True), by_night=by_night)


def _have_silent_counted() -> None:
    """What a counter counted last becomes a run once nothing was heard of it for long; else it would stay open until
    its next message."""
    newest = CounterReading.objects.filter(counter=OuterRef("counter")).order_by("-at")
    rows = OpenCount.objects.annotate(heard=Subquery(newest.values("received_at")[:1]))
    now = timezone.now()
    silent = rows.filter(Q(heard__lt=now - SILENT) | Q(heard__gt=now + APART))
    for counter, since in silent.values_list("counter", "started"):
        Counter.objects.filter(pk=counter).have_wait(since)


def _settle_all(pks: Iterable[int], *, by_night: bool = False) -> set[Die]:
    """One that cannot be counted waits on and does not keep the others from it."""
    changed: set[Die] = set()
    for pk in sorted(pks):
        try:
            changed |= settle(pk, by_night=by_night)
        except OperationalError:
            raise
        except Exception:
            logger.exception("Counter %s could not be counted; its counts are kept", pk)
    return changed


def settle(pk: int, *, by_night: bool = False) -> set[Die]:
    """Count one counter. Returns the dies whose hits changed."""
    for left in reversed(range(TRIES)):
        try:
            with transaction.atomic():
                return _settle(pk, by_night)
        except IntegrityError:  # somebody typed a run of that die just now: it is seen the next time
            if not left:
                raise
    raise AssertionError("not reached")


def _settle(pk: int, by_night: bool) -> set[Die]:
    Counter.objects.select_for_update(no_key=True).get(pk=pk)
    counter = Counter.objects.select_related("device__plant", "press", "die").get(pk=pk)
    if counter.waiting_since is None:
        return set()
    anchor = _anchor_before(counter)
    readings = _readings(counter, anchor)
    counted = count(
        readings,
        _in_press(counter, anchor),
        blocks=_blocks(counter, anchor),
        answers=_answers(counter, anchor),
        figures=counter.device.figures,
        since=-float("inf") if anchor is None else seconds(anchor),
        shift_end=shift_end,
        silent=bool(readings) and _is_silent(max(readings, key=lambda r: r.at).arrived),
    )
    changed = _sync_log(counter, counted, anchor)
    _sync_questions(counter, counted, anchor)
    counter.anchor = moment(counted.anchor) if counted.anchor is not None else anchor
    counter.waiting_since, counter.counted_at = None, timezone.now()
    counter.save(update_fields=["anchor", "waiting_since", "counted_at"])
    changes.tell(dies=changed, since=anchor, by_night=by_night)
    return set(Die.objects.filter(pk__in=changed).select_related("plant"))


def _is_silent(arrived: float) -> bool:
    """Whether nothing was heard for long; what arrived later than now was written by a clock that was ahead."""
    now = timezone.now()
    return not seconds(now - SILENT) <= arrived <= seconds(now + APART)


def shift_end(at: float) -> float:
    """The first beginning of a shift after a moment, by the shop's own clock."""
    zone = shop.current().zone
    local = dt.datetime.fromtimestamp(at, zone)
    for day in (0, 1):
        date = local.date() + dt.timedelta(days=day)
        for hour in SHIFTS_BEGIN:
            begins = dt.datetime.combine(date, dt.time(hour), zone).timestamp()
            if begins > at:
                return begins
    raise AssertionError("a day has a shift")


def _anchor_before(counter: Counter) -> dt.datetime | None:
    """A place to count from that lies well before what is new. None: from the first reading on."""
    if counter.anchor is None:
        return None
    if counter.anchor < counter.waiting_since and _is_well_before(counter, counter.anchor):
        return counter.anchor
    back = counter.readings.filter(at__lt=counter.waiting_since).order_by("-at")[LOOKED_BACK - 1 : LOOKED_BACK]
    back = next((row.at for row in back), None)
    if back is None:
        return None
    runs = counter.runs.standing().filter(started__lte=back)
    begun = list(runs.order_by("-started").values_list("started", flat=True)[:3])
    asked = counter.questions.filter(kind__in=STRETCHES, settled_at__isnull=True, since__lte=back)
    begun += asked.order_by("-since").values_list("since", flat=True)[:3]
    return next((at for at in sorted(begun, reverse=True) if _is_well_before(counter, at)), None)


def _is_well_before(counter: Counter, at: dt.datetime) -> bool:
    alone = counter.readings.filter(at=at, clock_off=False).count() == 1
    between = counter.readings.filter(at__gt=at, at__lt=counter.waiting_since, clock_off=False)[:ENOUGH_AFTER]
    return alone and len(between) == ENOUGH_AFTER


def _readings(counter: Counter, anchor: dt.datetime | None) -> list[CounterTotal]:
    rows = counter.readings.all()
    if anchor is not None:
        rows = rows.filter(Q(at__gte=anchor) | Q(clock_off=True))
    return [
        CounterTotal(
            at=at.timestamp(), total=total, id=name, stock=stock, clock_off=clock_off, arrived=received.timestamp()
        )
        for at, total, name, stock, clock_off, received in rows.order_by().values_list(
            "at", "total", "message_id", "with_stock", "clock_off", "received_at"
        )
    ]


def _in_press(counter: Counter, anchor: dt.datetime | None) -> list[InPress]:
    if counter.die_id is not None:
        die = counter.die
        return [InPress(since=-float("inf"), until=None, die=die.pk, per_minute=die.strokes_per_minute)]
    rows = DieInPress.objects.standing().filter(press=counter.press_id)
    if anchor is not None:
        rows = rows.filter(Q(until__isnull=True) | Q(until__gt=anchor))
    return [
        InPress(
            since=since.timestamp(),
            until=seconds(until),
            die=die,
            variant=variant,
            order=order,
            per_minute=per_minute,
        )
        for since, until, die, variant, order, per_minute in rows.order_by("since").values_list(
            "since", "until", "die_id", "variant_id", "order_id", "die__strokes_per_minute"
        )
    ]


def _blocks(counter: Counter, anchor: dt.datetime | None) -> list[Block]:
    """Runs that stand in the log already and are not this counter's, and what another counter counts just now."""
    runs = Run.objects.standing().exclude(counter=counter)
    others = OpenCount.objects.filter(with_stock=True).exclude(counter=counter)
    if counter.die_id is not None:
        runs, others = runs.filter(die=counter.die_id), others.filter(die=counter.die_id)
    else:
        dies = set(DieInPress.objects.standing().filter(press=counter.press_id).values_list("die_id", flat=True))
        dies |= set(counter.questions.filter(die__isnull=False).values_list("die_id", flat=True))
        runs, others = runs.filter(die__in=dies), others.filter(die__in=dies)
    if anchor is not None:
        runs, others = runs.filter(at__gt=anchor), others.filter(at__gt=anchor)
    return [
        Block(since=started.timestamp(), until=ended.timestamp(), die=die)
        for rows in (runs, others)
        for started, ended, die in rows.order_by().values_list("started", "at", "die_id")
    ]


def _answers(counter: Counter, anchor: dt.datetime | None) -> list[Answer]:
    rows = counter.questions.filter(settled_at__isnull=False, taken_back_at__isnull=True).exclude(verdict="")
    if anchor is not None:
        rows = rows.filter(Q(until__gte=anchor) | Q(kind=Kind.CLOCK.value))
    answers = [_answer(row) for row in rows.order_by("-settled_at", "-pk")]
    # What somebody struck out by hand is not counted again.
    for model in (Run, HitCorrection):
        struck = model.objects.filter(counter=counter, struck_at__isnull=False).exclude(struck_by__name=STRIKER)
        if anchor is not None:
            struck = struck.filter(at__gte=anchor)
        answers += [
            Answer(verdict=Verdict.TO_NOBODY, since=since.timestamp(), until=until.timestamp())
            for since, until in struck.values_list("started" if model is Run else "counted_from", "at")
        ]
    return answers


def _answer(row: CounterQuestion) -> Answer:
    since, until = row.since.timestamp(), row.until.timestamp()
    return Answer(verdict=Verdict(row.verdict), since=since, until=until, die=row.die_id, variant=row.variant_id)


def _key_base(counter: Counter) -> str:
    thing = f"press {counter.press.code}" if counter.press_id else f"die {counter.die.code}"
    names = (counter.device.plant.code[:30], counter.device.name[:40], thing[:40])
    return "|".join(["count", *(name.replace("|", "/") for name in names), ""])


# --- what is told becomes rows --------------------------------------------------------------------------------------


def _sync_log(counter: Counter, counted: Counted, anchor: dt.datetime | None) -> set[int]:
    going_on = [s for s in (*counted.runs, *counted.without_stock) if not s.ended]
    changed = _sync(counter, Run, [s for s in counted.runs if s.ended], anchor)
    changed |= _sync(counter, HitCorrection, [s for s in counted.without_stock if s.ended], anchor)
    before = OpenCount.objects.filter(counter=counter).first()
    if before is not None:
        changed.add(before.die_id)
    if not going_on:
        if before is not None:
            before.delete()
        return changed
    (stretch,) = going_on
    OpenCount.objects.update_or_create(
        counter=counter,
        defaults={
            "die_id": stretch.die,
            "variant_id": stretch.variant or _default_variant(stretch.die),
            "order_id": stretch.order,
            "started": moment(stretch.since),
            "at": moment(stretch.until),
            "hits": stretch.strokes,
            "with_stock": stretch.stock,
        },
    )
    return changed | {stretch.die}


def _default_variant(die: int) -> int:
    return default_variant(Die.objects.get(pk=die)).pk


def _sync(counter: Counter, model: type[Event], wanted: list[Stretch], anchor: dt.datetime | None) -> set[int]:
    """Have the standing entries of this counter be those wanted; nothing is touched that is so already."""
    begins = "started" if model is Run else "at"
    standing = model.objects.standing().filter(counter=counter)
    if anchor is not None:
        standing = standing.filter(**{f"{begins}__gte" if model is Run else f"{begins}__gt": anchor})
    new = {_values(counter, model, stretch): stretch for stretch in wanted}
    old = []
    for row in standing:
        if new.pop(_values_of(model, row), None) is None:
            old.append(row)
    changed = {row.die_id for row in old} | {stretch.die for stretch in new.values()}
    if old:
        _strike(counter, model, old)
    made = [_entry(counter, model, values, stretch) for values, stretch in sorted(new.items(), key=lambda i: i[0][0])]
    _settle_keys(model, made)
    model.objects.bulk_create(made)
    for row in old:
        if other := _in_place_of(row, made):
            model.objects.filter(pk=row.pk).update(replaced_by=other)
    return changed


def _values(counter: Counter, model: type[Event], stretch: Stretch) -> tuple:
    variant = stretch.variant or _default_variant(stretch.die)
    if model is Run:
        started = moment(stretch.since)
        return started, moment(stretch.until), stretch.die, variant, stretch.strokes, stretch.order
    return moment(stretch.until), stretch.die, variant, stretch.strokes


def _values_of(model: type[Event], row) -> tuple:
    if model is Run:
        return row.started, row.at, row.die_id, row.variant_id, row.hits, row.order_id
    return row.at, row.die_id, row.variant_id, row.hits


def _strike(counter: Counter, model: type[Event], rows: list) -> None:
    striker, _ = Person.objects.get_or_create(plant=counter.device.plant, name=STRIKER, defaults={"active": False})
    model.objects.filter(pk__in=[row.pk for row in rows]).update(
        struck_at=timezone.now(), struck_by=striker, struck_reason=COUNTED_ANEW
    )


def _entry(counter: Counter, model: type[Event], values: tuple, stretch: Stretch):
    key = f"{_key_base(counter)}{moment(stretch.since).isoformat()}"
    common = {"through": Event.Through.COUNTER, "counter": counter, "device": counter.device.name, "key": key}
    if model is Run:
        started, ended, die, variant, hits, order = values
        stock = Die.objects.values_list("usual_stock", flat=True).get(pk=die)
        return Run(
            die_id=die,
            variant_id=variant,
            started=started,
            at=ended,
            hits=hits,
            order_id=order,
            press_id=counter.press_id,
            stock_id=stock,
            basis=Run.Basis.COUNTED,
            **common,
        )
    at, die, variant, hits = values
    return HitCorrection(
        die_id=die,
        variant_id=variant,
        at=at,
        hits=hits,
        with_stock=False,
        reason=WITHOUT_STOCK,
        counted_from=moment(stretch.since),
        **common,
    )


def _settle_keys(model: type[Event], rows: list) -> None:
    """A struck-out entry keeps its key for good: what stands in its place gets another ending."""
    taken = set(model.objects.filter(key__in=[row.key for row in rows]).values_list("key", flat=True))
    for row in rows:
        if row.key in taken:
            row.key = f"{row.key}|{fresh_key()[:12]}"


def _in_place_of(old, made: list):
    """Of the new entries the one that covers most of an old one."""
    if not made:
        return None
    if isinstance(old, HitCorrection):
        return min(made, key=lambda new: abs(new.at - old.at))
    shared = [(min(old.at, new.at) - max(old.started, new.started), new) for new in made]
    most, new = max(shared, key=lambda pair: pair[0])
    return new if most > dt.timedelta() else None


def _sync_questions(counter: Counter, counted: Counted, anchor: dt.datetime | None) -> None:
    rows = counter.questions.filter(settled_at__isnull=True)
    if anchor is not None:
        rows = rows.filter(Q(since__gte=anchor) | Q(kind=Kind.CLOCK.value))
    there = {_question_key(row.kind, row.since): row for row in rows}
    for question in counted.questions:
        values = _question_values(question)
        key = _question_key(question.kind.value, values["since"])
        row = there.pop(key, None)
        if row is None:
            CounterQuestion.objects.create(counter=counter, kind=question.kind.value, **values)
        elif any(getattr(row, name) != value for name, value in values.items()):
            CounterQuestion.objects.filter(pk=row.pk).update(**values)
    CounterQuestion.objects.filter(pk__in=[row.pk for row in there.values()]).delete()


def _question_key(kind: str, since: dt.datetime) -> tuple:
    """There is one question about a counter's clock, whatever its times."""
    return (kind, None) if kind == Kind.CLOCK.value else (kind, since)


def _question_values(question: Question) -> dict:
    return {
        "since": moment(question.since),
        "until": moment(question.until),
        "strokes": question.strokes,
        "before": question.before,
        "after": question.after,
        "readings": question.readings,
        "dies": list(question.dies),
        "fell_at": None if question.fell_at is None else moment(question.fell_at),
    }
