"""The tasks of the log, who may do them and who does: what its forms and its list of entries share."""

from __future__ import annotations

from collections.abc import Collection

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore import units
from diestore.access import plants, roles
from diestore.access.models import Person
from diestore.access.queries import system_of
from diestore.access.tablet import tablet_of
from diestore.register.models import Die
from diestore.row_keys import row_key
from maintenance.log import changes, expected, listing, queries, take_back, write
from maintenance.models import Event

RECENT_DIES = "log_dies"
LAST_PERSON = "log_person"
REMEMBER = 6


class Task:
    """A task of the log: its address, its name on the button and who may do it."""

    def __init__(self, name: str, button: str, says: str, permission: str) -> None:
        self.name, self.button, self.says, self.permission = name, button, says, permission

    def url(self, die: Die | None = None) -> str:
        return reverse(f"maintenance:{self.name}") + (f"?die={die.pk}" if die else "")


class OnThePlan(Task):
    """One that begins with a tap on the plan of the die."""

    def url(self, die: Die | None = None) -> str:
        return super().url() if die is None else f"{die_url(die)}?complain=1#plan"


class Inspecting(Task):
    """A list of its own, whichever die was picked."""

    def url(self, die: Die | None = None) -> str:
        return super().url()


RUN = Task("log_run", gettext_lazy("Run"), gettext_lazy("hits, from when to when"), roles.LOG_RUN)
SHARPENING = Task(
    "log_sharpening", gettext_lazy("Sharpening"), gettext_lazy("the whole set in one go"), roles.LOG_SHARPENING
)
REPLACEMENT = Task(
    "log_replacement", gettext_lazy("Replacement"), gettext_lazy("one piece out, another in"), roles.LOG_REPLACEMENT
)
STOP = Task("log_stop", gettext_lazy("Stop"), gettext_lazy("why the press stood, how long"), roles.LOG_STOP)
READING = Task("log_reading", gettext_lazy("Reading"), gettext_lazy("burr, wear, clearance, force"), roles.LOG_READING)
CORRECTION = Task(
    "log_correction",
    gettext_lazy("Put the count right"),
    gettext_lazy("strokes without stock, a miscount"),
    roles.LOG_RUN,
)
COMPLAINT = OnThePlan(
    "complaint",
    gettext_lazy("Complaint"),
    gettext_lazy("from the press: tap the position on the die"),
    roles.LOG_MISHAP,
)
MISHAP = Task(
    "log_mishap", gettext_lazy("Mishap"), gettext_lazy("misfeed, slug, double hit: what it damaged"), roles.LOG_MISHAP
)
SET_UP = Task("log_set_up", gettext_lazy("Set-up"), gettext_lazy("solder crushed at the stop blocks"), roles.LOG_RUN)
IN_PRESS = Task(
    "in_press",
    gettext_lazy("Set in / take out"),
    gettext_lazy("which die is in which press, for its hits"),
    roles.LOG_RUN,
)
INSPECTIONS = Inspecting(
    "inspections", gettext_lazy("Inspection"), gettext_lazy("what is due to be looked at"), roles.LOG_MISHAP
)
ROWS = (  # as they stand on the page where a log begins
    (gettext_lazy("It ran"), (RUN, SET_UP, IN_PRESS, CORRECTION)),
    (gettext_lazy("It was on the bench"), (SHARPENING, REPLACEMENT, READING, INSPECTIONS)),
    (gettext_lazy("It went wrong"), (STOP, MISHAP, COMPLAINT)),
)
TASKS = (RUN, SHARPENING, REPLACEMENT, STOP, READING, MISHAP, COMPLAINT, SET_UP, INSPECTIONS, CORRECTION, IN_PRESS)

TASK_OF = {
    "run": RUN,
    "work": SHARPENING,
    "replacement": REPLACEMENT,
    "stop": STOP,
    "reading": READING,
    "hitcorrection": CORRECTION,
    "incident": MISHAP,
    "setup": SET_UP,
}


class AnyOf(PermissionRequiredMixin):
    """Lets in whoever has one of the permissions named."""

    raise_exception = True

    def has_permission(self) -> bool:
        return any(self.request.user.has_perm(code) for code in self.get_permission_required())


def units_for(request: HttpRequest) -> units.System:
    return system_of(request.user)


def sees_cost(request: HttpRequest) -> bool:
    return request.user.has_perm(roles.SEE_COST)


def die_asked(request: HttpRequest) -> Die | None:
    pk = row_key(request.GET.get("die"))
    return None if pk is None else dies_seen(request).filter(pk=pk).select_related("plant", "usual_stock").first()


def dies_seen(request: HttpRequest) -> QuerySet[Die]:
    return plants.within(Die.objects.all(), request.user)


def remember_die(request: HttpRequest, die: Die) -> None:
    seen = [pk for pk in request.session.get(RECENT_DIES, []) if pk != die.pk]
    latest = [die.pk, *seen][:REMEMBER]
    if request.session.get(RECENT_DIES) != latest:  # else the session is not written anew
        request.session[RECENT_DIES] = latest


def last_person(request: HttpRequest, die: Die):
    """Who is picked on the tablet, or logged last in this session, else the person the sign-in belongs to."""
    if tablet := tablet_of(request):
        return tablet.who
    people = expected.people(die)
    pk = request.session.get(LAST_PERSON)
    if pk and (person := people.filter(pk=pk).first()):
        return person
    return people.filter(usersettings__user=request.user).first()


def actor(request: HttpRequest, person: Person | None) -> write.Actor:
    tablet = tablet_of(request)
    return write.Actor(person=person, user=request.user, device=tablet.device[:80] if tablet else "")


def is_own(request: HttpRequest, entry: Event) -> bool:
    """Whether whoever asks wrote that entry, and just now: then it may be taken back."""
    tablet = tablet_of(request)
    if tablet is not None and tablet.who is None:
        return False
    return take_back.may_take_back(entry, user=request.user, person=tablet.who if tablet else None)


def take_back_url(entry: listing.Entry) -> str:
    return reverse("maintenance:take_back", args=[entry.sort.name, entry.pk])


def remember_person(request: HttpRequest, person: Person | None) -> None:
    """Whoever has just logged is expected to log again; on a tablet the name stays picked for longer."""
    if person is None:
        return
    if tablet := tablet_of(request):
        tablet.pick(person)
    else:
        request.session[LAST_PERSON] = person.pk


def die_url(die: Die) -> str:
    return reverse("diestore:die", args=[die.pk])


def clocks_now(die: Die, named: Collection[int] = ()) -> str:
    """The clock that matters after an entry: of the pieces it names, else of the edge that limits the die."""
    forecast = None if named else queries.newest_forecast(die)
    limiting = [forecast.limiting_id] if forecast is not None and forecast.limiting_id else []
    clock = expected.leading_edge(die, timezone.now(), among=named or limiting)
    if clock is None:
        return ""
    sentence = (
        _("{code} now about {hits:,} hits since {since}.")
        if clock.estimated
        else _("{code} now {hits:,} hits since {since}.")
    )
    return sentence.format(code=clock.code, hits=clock.hits, since=_(clock.since))


def say_behind(request: HttpRequest, outcome: changes.Following) -> None:
    """The entry is saved by now and stays, whatever became of what follows from it."""
    if outcome.behind:
        messages.warning(request, _("The entry is saved, but the forecast of this die could not be made anew."))
