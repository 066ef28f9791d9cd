"""What an entry must be to stand in the log; to whoever enters what cannot be true a sentence says what to do."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from types import TracebackType

from django.db import IntegrityError, transaction
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from diestore.handbook import gas_springs
from diestore.handbook.kinds import kind
from diestore.handbook.limits import COUNT
from diestore.register.models import Die, Position, Press
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import HITS_AT_MOST, Fitting, Found, OpenCount, Run

A_MINUTE = dt.timedelta(minutes=1)
Span = tuple[dt.datetime | None, dt.datetime | None]


class EntryRefused(ValueError):
    """An entry that cannot be true; `field` is where to look."""

    def __init__(self, message: str, *, field: str = "") -> None:
        super().__init__(message)
        self.field = field


def check_moment(at: dt.datetime, *, field: str = "at") -> None:
    if timezone.is_naive(at):
        raise EntryRefused(_("This time has no time zone."), field=field)
    if at > timezone.now() + dt.timedelta(minutes=10):
        raise EntryRefused(_("{at} is still to come. Enter when it happened.").format(at=stamp(at)), field=field)
    if at.year < 1950:
        raise EntryRefused(_("{at} is too long ago. Check the year.").format(at=stamp(at)), field=field)


def check_hits(hits: int, *, field: str = "hits") -> None:
    if isinstance(hits, bool) or not isinstance(hits, int):
        raise EntryRefused(_("Hits are a whole number."), field=field)
    if hits < 1:
        raise EntryRefused(
            _("A run of {hits:,} hits is no run. Enter the hits that the counter went up by.").format(hits=hits),
            field=field,
        )
    if hits > HITS_AT_MOST:
        raise EntryRefused(
            _("{hits:,} hits in one run cannot be: {most:,} is the most. Check the number.").format(
                hits=hits, most=HITS_AT_MOST
            ),
            field=field,
        )


def check_number(value: float | None, *, field: str, what: str, at_most: float = math.inf) -> None:
    if value is None:
        return
    if not math.isfinite(value):
        raise EntryRefused(_("{what} is not a number.").format(what=what), field=field)
    if value < 0 or value > at_most:
        words = _("{what} is {value:g}; it must be nought or more.")
        if not math.isinf(at_most):
            words = _("{what} is {value:g}; it must be nought or more and no more than {most:g}.")
        raise EntryRefused(words.format(what=what, value=value, most=at_most), field=field)


def check_text(text: str, *, field: str, what: str, at_most: int) -> None:
    if len(text) > at_most:
        raise EntryRefused(
            _("{what} has {n:,} letters; {most} is the most. Say it shorter.").format(
                what=what, n=len(text), most=at_most
            ),
            field=field,
        )


def check_run_times(started: dt.datetime, ended: dt.datetime) -> None:
    if ended <= started:
        raise EntryRefused(
            _("The run ends {ended}, before it starts ({started}). Put the later time at the end.").format(
                ended=stamp(ended), started=stamp(started)
            ),
            field="ended",
        )


def doubt_of_press(die: Die, press: Press | None, started: dt.datetime, ended: dt.datetime) -> str:
    """What there is to ask where another die ran in that press meanwhile, or is counted there just now; else nothing.

    A press runs one die at a time, but times are typed to the minute: runs that touch or share a minute are no doubt.
    """
    if press is None:
        return ""
    meanwhile = {"started__lt": ended - A_MINUTE, "at__gt": started + A_MINUTE}
    runs = Run.objects.standing().filter(press=press, **meanwhile).exclude(die=die).order_by("started", "pk")
    counting = OpenCount.objects.filter(counter__press=press, **meanwhile).exclude(die=die).order_by("started", "pk")
    other = runs.select_related("die").first() or counting.select_related("die").first()
    return "" if other is None else two_in_press(other.die.code, press.code, other.started, other.at, beside=die.code)


def two_in_press(die: str, press: str, started: dt.datetime, ended: dt.datetime, *, beside: str) -> str:
    """die: the other one. beside: the one that is entered."""
    return _(
        "{die} ran in press {press} from {started} to {ended}, so {beside} cannot have run there "
        "too: a press runs one die at a time. Check the press and the times."
    ).format(die=die, press=press, started=stamp(started), ended=stamp(ended), beside=beside)


def check_good_parts(parts: int | None) -> None:
    if parts is not None and parts < 0:
        raise EntryRefused(_("Good parts cannot be fewer than none."), field="good_parts")
    check_count(parts, field="good_parts")


def check_count(number: int | None, *, field: str) -> None:
    if number is not None and not COUNT.holds(number):
        raise EntryRefused(_("{sentence} Check the number.").format(sentence=COUNT.sentence(number)), field=field)


def check_scrap(parts: int) -> None:
    if parts < 0:
        raise EntryRefused(_("Scrapped parts cannot be fewer than none."), field="parts_scrapped")
    check_count(parts, field="parts_scrapped")


def check_signed_hits(hits: int) -> None:
    """The hits of a correction: any number but nought."""
    if isinstance(hits, bool) or not isinstance(hits, int) or hits == 0 or abs(hits) > HITS_AT_MOST:
        raise EntryRefused(_("Enter the hits to add, or to take off with a minus; not nought."), field="hits")


def check_one_thing(named: int, *, field: str = "position") -> None:
    """named: how many of position, cut, piece and die a reading names."""
    if named != 1:
        raise EntryRefused(_("A reading is of one thing: a position, a cut, a piece or the die."), field=field)


FORCE, LONGEST_MM, CHARGED_AT_MOST_MPA = gettext_noop("spring force"), 10_000, 100


def check_beside(quantity: str, *, at_length_mm: float | None, charged_to_mpa: float | None) -> None:
    """What a reading may say beside its value: a spring's force its length, a gas spring's pressure its charge."""
    plain = " ".join(quantity.casefold().replace("_", " ").split())
    if at_length_mm is not None and plain != FORCE:
        raise EntryRefused(
            _("Only a {force} belongs to a length; leave it empty for {quantity}.").format(
                force=_(FORCE), quantity=_(quantity)
            ),
            field="at_length_mm",
        )
    if charged_to_mpa is not None and plain != gas_springs.PRESSURE:
        raise EntryRefused(
            _("Only with a {pressure} it is said what was charged; leave it empty for {quantity}.").format(
                pressure=_(gas_springs.PRESSURE), quantity=_(quantity)
            ),
            field="charged_to_mpa",
        )
    for value, field, what, most in (
        (at_length_mm, "at_length_mm", _("The length"), LONGEST_MM),
        (charged_to_mpa, "charged_to_mpa", _("The pressure that it was charged to"), CHARGED_AT_MOST_MPA),
    ):
        check_number(value, field=field, what=what, at_most=most)
        if value == 0:
            raise EntryRefused(
                _("{what} is nought; leave it empty where it is not known.").format(what=what), field=field
            )


def check_is_ground(position: Position, operation: str, *, field: str = "position") -> None:
    if OPERATIONS[operation].removes and not kind(position.kind).is_ground:
        raise EntryRefused(
            _("{position} is a {kind}, which is not ground.").format(
                position=position, kind=_(kind(position.kind).name)
            ),
            field=field,
        )


def check_raised(operation: str, raised_mm: float | None, *, field: str) -> None:
    """raised_mm: by a spacer; less than nought where one came out."""
    if raised_mm is None:
        return
    if not OPERATIONS[operation].raises:
        raise EntryRefused(
            _("No piece stands higher by being {operation}: only a spacer does that.").format(operation=_(operation)),
            field=field,
        )
    if not math.isfinite(raised_mm) or not 0 < abs(raised_mm) <= 100:
        raise EntryRefused(_("A spacer of {mm:g} mm cannot be.").format(mm=raised_mm), field=field)


def found_on(why: str, found: str) -> str:
    """What was found on an edge: as somebody wrote, else as the reason says already: who sees a break has looked."""
    return why if why in (Found.CHIPPED, Found.BROKEN) and found in ("", Found.NOT_LOOKED) else found


def check_into_run(hits: int | None) -> None:
    if hits is not None and not 0 <= hits <= HITS_AT_MOST:
        raise EntryRefused(
            _("{hits:,} hits into the run cannot be. Enter the hits since that run began.").format(hits=hits),
            field="hits_into_run",
        )


def check_fitted(position: Position, at: dt.datetime) -> Fitting:
    """The fitting of a position at a moment; refuses where nothing sat there, or not yet."""
    fittings = list(position.fittings.order_by("since"))
    return fittings[span_at([(f.since, f.until) for f in fittings], position.code, position.die.code, at)]


def span_at(spans: Sequence[Span], position: str, die: str, at: dt.datetime, *, field: str = "at") -> int:
    """Which of the spans in which something sat in a position holds a moment; refuses where none does.

    spans: (since, until) of each, None where that end is open.
    """
    for number, (since, until) in enumerate(spans):
        if (since is None or since <= at) and (until is None or at <= until):
            return number
    later = [since for since, __ in spans if since is not None and since > at]
    if later:
        raise EntryRefused(
            _("{position} of {die} was fitted on {at}, after this. Check the date.").format(
                position=position, die=die, at=stamp(min(later))
            ),
            field="at",
        )
    raise EntryRefused(
        _("Nothing sat in {position} of {die} on {at}.").format(position=position, die=die, at=stamp(at)), field=field
    )


def stamp(moment: dt.datetime) -> str:
    return date_format(timezone.localtime(moment), "j M Y, H:i")


def english(told: Callable[[], object]) -> str:
    """Words that are kept: they stay English, whoever's entry it is."""
    with translation.override("en"):
        return str(told())


def day_of(day: dt.date) -> str:
    return date_format(day, "D j M Y")


class saving(transaction.Atomic):
    """One transaction; a rule of the database that refuses becomes a sentence."""

    def __init__(self, sentence: str = "") -> None:
        super().__init__(using=None, savepoint=True, durable=False)
        self.sentence = sentence or _("The database refuses this entry: it contradicts one that stands.")

    def __exit__(
        self, exc_type: type[BaseException] | None, exc_value: BaseException | None, traceback: TracebackType | None
    ) -> None:
        super().__exit__(exc_type, exc_value, traceback)
        if isinstance(exc_value, IntegrityError):
            raise EntryRefused(self.sentence) from exc_value
