"""The log at the bench: pick a task and a die, one screen a task, the list of entries, striking out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views import View

from diestore import units
from diestore.access import plants, roles
from diestore.access.models import Person
from diestore.access.queries import system_of
from diestore.access.tablet import tablet_of
from diestore.handbook.cautions import FIRST, for_work
from diestore.handbook.kinds import KINDS
from diestore.register.models import Die, Position
from maintenance.log import bench, changes, damage, expected, held_back, listing, queries, sent, write
from maintenance.models import BenchWork, Event, Run, SetUp, Work

from . import forms, mishap_form, piece_forms, set_up_form

RECENT_DIES = "log_dies"
LAST_PERSON = "log_person"
REMEMBER = 6
ENTRIES_A_PAGE = 40
BIGGEST_KEY = 2**63 - 1
NOT_OF_THE_ENTRY = ("csrfmiddlewaretoken", "confirm", "pin")


class _Task:
    """A task of the log: its address, its name on the button and who may do it."""

    def __init__(self, name: str, button: str, says: str, permission: str) -> None:
        self.name, self.button, self.says, self.permission = name, button, says, permission

    def url(self, die: Die | None = None) -> str:
        return reverse(f"maintenance:{self.name}") + (f"?die={die.pk}" if die else "")


RUN = _Task("log_run", "Run", "hits, from when to when", roles.LOG_RUN)
SHARPENING = _Task("log_sharpening", "Sharpening", "the whole set in one go", roles.LOG_SHARPENING)
REPLACEMENT = _Task("log_replacement", "Replacement", "one piece out, another in", roles.LOG_REPLACEMENT)
STOP = _Task("log_stop", "Stop", "why the press stood, how long", roles.LOG_STOP)
READING = _Task("log_reading", "Reading", "burr, wear, clearance, force", roles.LOG_READING)
CORRECTION = _Task("log_correction", "Put the count right", "strokes without stock, a miscount", roles.LOG_RUN)
MISHAP = _Task("log_mishap", "Mishap", "misfeed, slug, double hit: what it damaged", roles.LOG_MISHAP)
SET_UP = _Task("log_set_up", "Set-up", "solder crushed at the stop blocks", roles.LOG_RUN)
IN_PRESS = _Task("in_press", "In or out of a press", "so that its hits are counted", roles.LOG_RUN)
TASKS = (RUN, SHARPENING, REPLACEMENT, STOP, READING, MISHAP, SET_UP, CORRECTION, IN_PRESS)

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


def _system(request: HttpRequest) -> units.System:
    return system_of(request.user)


def _sees_cost(request: HttpRequest) -> bool:
    return request.user.has_perm(roles.SEE_COST)


def _number(text: str | None) -> int | None:
    """A row's number in an address; None where it cannot be one."""
    return int(text) if text and text.isascii() and text.isdigit() and int(text) <= BIGGEST_KEY else None


def _die(request: HttpRequest) -> Die | None:
    pk = _number(request.GET.get("die"))
    return None if pk is None else _dies_seen(request).filter(pk=pk).select_related("plant", "usual_stock").first()


def _dies_seen(request: HttpRequest) -> QuerySet[Die]:
    return plants.within(Die.objects.all(), request.user)


def _remember_die(request: HttpRequest, die: Die) -> None:
    seen = [pk for pk in request.session.get(RECENT_DIES, []) if pk != die.pk]
    latest = [die.pk, *seen][:REMEMBER]
    if request.session.get(RECENT_DIES) != latest:  # else the session is not written anew
        request.session[RECENT_DIES] = latest


def _last_person(request: HttpRequest, die: Die):
    """Who is picked on the tablet, or logged last in this session, else the person the sign-in belongs to."""
    if tablet := tablet_of(request):
        return tablet.who
    people = expected.people(die)
    pk = request.session.get(LAST_PERSON)
    if pk and (person := people.filter(pk=pk).first()):
        return person
    return people.filter(usersettings__user=request.user).first()


def _actor(request: HttpRequest, person: Person | None) -> write.Actor:
    tablet = tablet_of(request)
    return write.Actor(person=person, user=request.user, device=tablet.device[:80] if tablet else "")


def _remember_person(request: HttpRequest, person: Person | None) -> None:
    """Whoever has just logged is expected to log again; on a tablet the name stays picked for longer."""
    if person is None:
        return
    if tablet := tablet_of(request):
        tablet.pick(person)
    else:
        request.session[LAST_PERSON] = person.pk


def _tasks(request: HttpRequest, die: Die | None) -> list[dict]:
    return [
        {"button": t.button, "says": t.says, "url": t.url(die)} for t in TASKS if request.user.has_perm(t.permission)
    ]


def _chosen(request: HttpRequest) -> tuple[list[Die], str, str]:
    """Dies found by what was typed, what was typed, and what to say when nothing was found."""
    text = request.GET.get("q", "").replace("\x00", "").strip()[:80]
    if text:
        dies = expected.find_dies(text, _dies_seen(request))
        return dies, text, "" if dies else f"No die has “{text}” on its label, in its name or among its parts."
    if request.GET.get("die"):
        return [], "", "That die is not in the register. Find it by its label."
    return [], "", ""


class Start(AnyOf, View):
    """What do you want to log?"""

    permission_required = tuple({t.permission for t in TASKS})

    def get(self, request: HttpRequest) -> HttpResponse:
        die = _die(request)
        dies, text, problem = ([], "", "") if die else _chosen(request)
        if len(dies) == 1:
            return HttpResponseRedirect(f"{reverse('maintenance:log')}?die={dies[0].pk}")
        recent = expected.dies_by_pk(request.session.get(RECENT_DIES, []), _dies_seen(request))
        if die is not None:
            _remember_die(request, die)
        elif recent and not text and not problem:
            die = recent[0]
        seen = listing.index(die=die, with_cost=_sees_cost(request))[:5] if die else []
        latest = listing.read(seen, system=_system(request))
        return render(
            request,
            "maintenance/screens/entry/start.html",
            {
                "die": die,
                "tasks": _tasks(request, die),
                "found": dies,
                "text": text,
                "problem": problem,
                "recent": [d for d in recent if die is None or d.pk != die.pk],
                "latest": latest,
                "address": reverse("maintenance:log"),
                "any_die": bool(die or dies) or _dies_seen(request).exists(),
            },
        )


class LogTask(PermissionRequiredMixin, View):
    """One screen of the log. Without a die it first asks for one."""

    raise_exception = True
    task: _Task
    form_class: type[forms.LogForm]
    template = ""
    warns = False  # says on the form what has to be seen to before the die runs

    def get_permission_required(self) -> tuple[str]:
        return (self.task.permission,)

    def get(self, request: HttpRequest) -> HttpResponse:
        die = _die(request)
        if die is None:
            return self._ask_for_die(request)
        instead = self._instead(request, die)
        initial = {} if instead else self._asked_for(request)
        return self._show(request, die, self._form(request, die, instead=instead, initial=initial))

    def post(self, request: HttpRequest) -> HttpResponse:
        die = _die(request)
        if die is None:
            return self._ask_for_die(request)
        instead = self._instead(request, die)
        form = self._form(request, die, data=request.POST, instead=instead)
        key, digest = request.POST.get("key", "").replace("\x00", "")[:64], digest_of_form(request)
        if sent.has_other_values(key, digest):
            return self._not_again(request, die, form)
        if not form.is_valid():
            return self._show(request, die, form, status=422)
        key = form.cleaned_data["key"]
        if not sent.claim(key, digest):
            return self._not_again(request, die, form)
        by = _actor(request, form.cleaned_data["person"])
        try:
            with changes.following() as outcome:
                saved = form.save(by)
        except write.EntryRefused as refused:
            # Refused perhaps only because the same form, sent at the same moment, was quicker by a hair.
            saved = write.entered_with(key)
            if not saved:
                sent.take_back(key)
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
                return self._show(request, die, form, status=422)
        _remember_person(request, by.person)
        _remember_die(request, die)
        if instead and not instead.event.replaced_by_id:
            write.name_successor(struck=instead.event, entry=saved[0])
        _say_saved(request, die, saved, outcome)
        return HttpResponseRedirect(self._next(die, saved))

    def _next(self, die: Die, saved: list[Event]) -> str:
        """Where one goes on after the entry."""
        return _die_url(die)

    def _form(self, request, die, *, data=None, instead=None, initial=None) -> forms.LogForm:
        return self.form_class(
            data,
            die=die,
            system=_system(request),
            person=_last_person(request, die),
            instead=instead,
            initial=initial,
            tablet=tablet_of(request),
        )

    def _asked_for(self, request: HttpRequest) -> dict:
        """What the address already says: a position tapped on the die's page."""
        return {"position": position} if (position := request.GET.get("position", "")[:20]) else {}

    def _instead(self, request: HttpRequest, die: Die) -> listing.Entry | None:
        """The struck entry that is entered again, where the address names one of this task and die."""
        sort, _, number = request.GET.get("instead", "").partition("-")
        pk = _number(number)
        if pk is None or TASK_OF.get(sort) is not self.task:
            return None
        struck = listing.find(sort, pk, system=_system(request), plants=plants.plants_of(request.user))
        return struck if struck and struck.struck and struck.die == die else None

    def _not_again(self, request, die, form) -> HttpResponse:
        """The same form sent twice with other values: nothing is saved until it is sent once more, with a new key."""
        data = request.POST.copy()
        data["key"] = forms.fresh_key()
        form = self._form(request, die, data=data, instead=self._instead(request, die))
        form.is_valid()
        form.add_error(
            None,
            "This form was saved before, with other values. That entry stands and nothing was added. If this is "
            "another entry, press the button again; if the first was wrong, have it struck out.",
        )
        return self._show(request, die, form, status=409)

    def _ask_for_die(self, request: HttpRequest) -> HttpResponse:
        dies, text, problem = _chosen(request)
        if len(dies) == 1:
            return HttpResponseRedirect(self.task.url(dies[0]))
        return render(
            request,
            "maintenance/screens/entry/die.html",
            {
                "heading": self.form_class.heading,
                "address": self.task.url(),
                "found": dies,
                "text": text,
                "problem": problem,
                "recent": expected.dies_by_pk(request.session.get(RECENT_DIES, []), _dies_seen(request)),
                "any_die": bool(dies) or _dies_seen(request).exists(),
            },
        )

    def _show(self, request, die, form, *, status: int = 200) -> HttpResponse:
        _remember_die(request, die)
        return render(
            request,
            self.template,
            {
                "die": die,
                "form": form,
                "heading": form.heading,
                "cautions": _cautions(form.work),
                "back": _die_url(die),
                "first": seen_to_first(die) if self.warns else "",
                "other_die": f"{self.task.url()}",
            },
            status=status,
        )


class LogRun(LogTask):
    task, form_class, template = RUN, forms.RunForm, "maintenance/screens/entry/run.html"
    warns = True


class LogSharpening(LogTask):
    task, form_class, template = SHARPENING, piece_forms.SharpeningForm, "maintenance/screens/entry/sharpening.html"

    def _asked_for(self, request: HttpRequest) -> dict:
        """Edges that a mishap chipped are tapped already, and so are those that it does not pay to grind now. Of a work
        on the bench, what it says is to be ground."""
        chipped, left = (
            [_number(text) for text in request.GET.get(name, "")[:2_000].split(",")] for name in ("chipped", "left")
        )
        found = {f"found_{pk}": piece_forms.SharpeningForm.LEFT_OUT for pk in left if pk is not None}
        found |= {f"found_{pk}": "chipped" for pk in chipped if pk is not None}
        if "left" in request.GET:
            found["note"] = self._advice(request, [pk for pk in left if pk is not None])
        work = self._bench_work(request)
        return (self._of_work(work) if work else {}) | found

    @staticmethod
    def _of_work(work: BenchWork) -> dict:
        edges = {edge.position_id: edge.grind_mm for edge in work.edges.all()}
        if not edges:
            return {}
        form = piece_forms.SharpeningForm
        commonest = Counter(mm for mm in edges.values() if mm).most_common(1)
        usual = commonest[0][0] if commonest else None
        asked = {"sides": form.BOTH, "variant": form.ALL, "removed": usual, "why": Work.Why.PLANNED}
        for pk in work.die.positions.values_list("pk", flat=True):
            asked[f"found_{pk}"] = form.WITH_SET if pk in edges else form.LEFT_OUT
        asked |= {f"removed_{pk}": mm for pk, mm in edges.items() if mm and mm != usual}
        if work.hours_foreseen and not work.hours_used:
            asked["hours"] = f"{work.hours_foreseen:g}"
        return asked

    def _bench_work(self, request: HttpRequest) -> BenchWork | None:
        """The open work that the address names, where it is on this die."""
        pk, die = _number(request.GET.get("bench")), _die(request)
        if pk is None or die is None:
            return None
        return BenchWork.objects.filter(pk=pk, die=die, state__in=BenchWork.OPEN).select_related("die").first()

    def _next(self, die: Die, saved: list[Event]) -> str:
        """A sharpening that was done in a work on the bench closes it."""
        work = self._bench_work(self.request)
        if work is None:
            return super()._next(die, saved)
        try:
            work = bench.record(by=_actor(self.request, saved[0].person), work=work, entries=saved)
        except write.EntryRefused as refused:
            messages.warning(self.request, str(refused))
        else:
            held = " The die is on hold: a first piece is still to be approved." if work.is_open else ""
            messages.success(self.request, f"Bench work: {work.get_state_display()}.{held}")
        return reverse("maintenance:bench_work", args=[work.pk])

    def _advice(self, request: HttpRequest, left: list[int]) -> str:
        """What was advised, as the note of the entry: so it is kept beside what is done."""
        places = Position.objects.filter(die=_number(request.GET.get("die")), pk__in=left).order_by("code")
        codes = list(places.values_list("code", flat=True))
        return f"Advised: leave {', '.join(codes)}; grind the other edges." if codes else "Advised: grind every edge."


class LogReplacement(LogTask):
    task, form_class, template = REPLACEMENT, piece_forms.ReplacementForm, "maintenance/screens/entry/replacement.html"


class LogSetUp(LogTask):
    task, form_class, template = SET_UP, set_up_form.SetUpForm, "maintenance/screens/entry/set_up.html"

    def _next(self, die: Die, saved: list[Event]) -> str:
        return reverse("maintenance:set_up", args=[die.pk])


class LogStop(LogTask):
    task, form_class, template = STOP, forms.StopForm, "maintenance/screens/entry/stop.html"


class LogReading(LogTask):
    task, form_class, template = READING, piece_forms.ReadingForm, "maintenance/screens/entry/reading.html"


class LogCorrection(LogTask):
    task, form_class, template = CORRECTION, forms.CorrectionForm, "maintenance/screens/entry/correction.html"


class LogMishap(LogTask):
    task, form_class, template = MISHAP, mishap_form.MishapForm, "maintenance/screens/entry/mishap_form.html"

    def _next(self, die: Die, saved: list[Event]) -> str:
        return reverse("maintenance:mishap", args=[saved[0].pk])


class Mishap(AnyOf, View):
    """A mishap, what it damaged, and what is still to be entered of each piece."""

    permission_required = tuple({t.permission for t in TASKS})

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        seen = plants.plants_of(request.user)
        entry = listing.find("incident", pk, system=_system(request), plants=seen) if pk <= BIGGEST_KEY else None
        if entry is None:
            raise Http404("There is no such mishap.")
        damaged = expected.damaged_by(entry.event)
        open_ = [one for one in damaged if not one.since]
        ground = [str(one.position.pk) for one in open_ if KINDS[one.position.kind].is_ground]
        about = {"die": entry.die.pk, "source": "mishap", "mishap": pk, "damaged": ",".join(ground)}
        sharpening = f"{SHARPENING.url(entry.die)}&{urlencode({'chipped': ','.join(ground)})}" if ground else ""
        return render(
            request,
            "maintenance/screens/entry/mishap.html",
            {
                "entry": entry,
                "damaged": damaged,
                "open": open_,
                "bench": f"{reverse('maintenance:bench_new')}?{urlencode(about)}"
                if request.user.has_perm(roles.LOG_MISHAP)
                else "",
                "replacement": REPLACEMENT.url(entry.die) if request.user.has_perm(roles.LOG_REPLACEMENT) else "",
                "sharpening": sharpening if request.user.has_perm(roles.LOG_SHARPENING) else "",
                "stop": STOP.url(entry.die) if request.user.has_perm(roles.LOG_STOP) else "",
                "cautions": _cautions("replacement"),
            },
        )


class Strike(PermissionRequiredMixin, View):
    """Strike an entry out: shown in words, with who and why."""

    raise_exception = True
    permission_required = roles.STRIKE_ENTRY

    def get(self, request: HttpRequest, sort: str, pk: int) -> HttpResponse:
        entry = self._entry(request, sort, pk)
        return self._show(request, entry, self._form(request, entry))

    def post(self, request: HttpRequest, sort: str, pk: int) -> HttpResponse:
        entry = self._entry(request, sort, pk)
        form = self._form(request, entry, data=request.POST)
        if not form.is_valid():
            return self._show(request, entry, form, status=422)
        by = _actor(request, form.cleaned_data["person"])
        try:
            with changes.following() as outcome:
                write.strike_out(by=by, entry=entry.event, reason=form.cleaned_data["reason"])
        except write.EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, entry, form, status=422)
        _remember_person(request, by.person)
        _say_struck(request, entry, outcome)
        if "again" in request.POST and (again := self._again(request, entry)):
            return HttpResponseRedirect(again)
        return HttpResponseRedirect(_die_url(entry.die) if entry.die else reverse("maintenance:entries"))

    def _entry(self, request: HttpRequest, sort: str, pk: int) -> listing.Entry:
        seen, with_cost = plants.plants_of(request.user), _sees_cost(request)
        entry = None
        if pk <= BIGGEST_KEY:
            entry = listing.find(sort, pk, system=_system(request), with_cost=with_cost, plants=seen)
        if entry is None:
            raise Http404("There is no such entry.")
        return entry

    def _form(self, request, entry, *, data=None) -> forms.StrikeForm:
        people, last = plants.within(expected.everybody(entry.die, plant_of_entry(entry)), request.user), None
        if entry.die is not None:
            last = _last_person(request, entry.die)
        return forms.StrikeForm(data, people=people, person=last, tablet=tablet_of(request))

    def _again(self, request: HttpRequest, entry: listing.Entry) -> str:
        """Where to enter it again with its values filled in; '' where no form does."""
        task = TASK_OF.get(entry.sort.name)
        if task is None or entry.die is None or not request.user.has_perm(task.permission):
            return ""
        if getattr(entry.event, "since_start", False):
            return ""
        return f"{task.url()}?{urlencode({'die': entry.die.pk, 'instead': f'{entry.sort.name}-{entry.pk}'})}"

    def _show(self, request, entry, form, *, status: int = 200) -> HttpResponse:
        return render(
            request,
            "maintenance/screens/entry/strike.html",
            {
                "entry": entry,
                "form": form,
                "again": "" if entry.struck else self._again(request, entry),
                "back": _die_url(entry.die) if entry.die else reverse("maintenance:entries"),
            },
            status=status,
        )


class Entries(AnyOf, View):
    """Everything that was logged, the latest first."""

    permission_required = tuple(code for code, _ in roles.PERMISSIONS)
    ORDERS = {
        "": "-at",
        "-at": "-at",
        "at": "at",
        "-recorded": "-recorded_at",
        "recorded": "recorded_at",
    }

    def get(self, request: HttpRequest) -> HttpResponse:
        sorts = listing.sorts(with_cost=_sees_cost(request)).values()
        people = plants.within(Person.objects.all(), request.user)
        form = forms.EntriesFilter(request.GET, sorts=sorts, people=people)
        form.is_valid()
        asked = form.cleaned_data
        order = request.GET.get("order", "") if request.GET.get("order", "") in self.ORDERS else ""
        die, problem = self._die(asked.get("die", ""), _dies_seen(request))
        rows = listing.index(
            die=die,
            plants=plants.plants_of(request.user),
            sort=asked.get("sort", ""),
            person=asked.get("person"),
            struck=asked.get("struck", ""),
            order=self.ORDERS[order],
            with_cost=_sees_cost(request),
        )
        page = (listing.Index([], "-at") if problem else rows).page(request.GET.get("page"), ENTRIES_A_PAGE)
        kept = {k: v for k, v in request.GET.items() if k not in ("page", "order") and v}
        return render(
            request,
            "maintenance/screens/entry/entries.html",
            {
                "form": form,
                "die": die,
                "problem": problem,
                "page": page,
                "entries": listing.read(page.object_list, system=_system(request)),
                "order": order or "-at",
                "filters": urlencode(kept),
                "may_strike": request.user.has_perm(roles.STRIKE_ENTRY),
            },
        )

    def _die(self, text: str, among: QuerySet[Die]) -> tuple[Die | None, str]:
        if not text:
            return None, ""
        dies = expected.dies_of_label(text, among)
        if not dies:
            return None, f"No die has “{text}” on its label."
        return dies[0], "" if len(dies) == 1 else f"“{text}” fits {len(dies)} dies: type more of the label."


def plant_of_entry(entry: listing.Entry) -> int | None:
    """The plant of an entry that names no die: of spares, or of a piece on the bench."""
    return getattr(entry.event, "plant_id", None) or getattr(getattr(entry.event, "piece", None), "plant_id", None)


def digest_of_form(request: HttpRequest) -> str:
    return sent.digest_of((k, v) for k, vs in request.POST.lists() for v in vs if k not in NOT_OF_THE_ENTRY)


def seen_to_first(die: Die) -> str:
    """Why a die should not run before somebody has seen to it; nothing where all is well."""
    wrong = damage.open_damage([die.pk]).get(die.pk)
    return f"{die} has to be seen to before it runs: {damage.briefly(wrong)}." if wrong else ""


def _die_url(die: Die) -> str:
    return reverse("diestore:die", args=[die.pk])


def _cautions(work: str) -> list[str]:
    """One line each of the cautions that belong to a sort of work, the standing one last."""
    return [*(caution.short for caution in for_work(work)), FIRST] if work else []


def _say_saved(request: HttpRequest, die: Die, saved: list[Event], outcome: changes.Following) -> None:
    entry = listing.of_event(saved[0], system=_system(request))
    named = {e.position_id for e in saved if getattr(e, "position_id", None)}
    _say_behind(request, outcome)
    clock = "" if isinstance(saved[0], SetUp) else _clocks_now(die, named)  # a set-up moves none
    messages.success(request, f"{entry.words}. {clock}".strip())
    if alarm := held_back.said_of(saved[0], _system(request)):
        messages.warning(request, alarm)
    if isinstance(saved[0], Run) and (first := seen_to_first(die)):
        messages.warning(request, first)


def _say_struck(request: HttpRequest, entry: listing.Entry, outcome: changes.Following) -> None:
    clock = _clocks_now(entry.die) if entry.die is not None else ""
    _say_behind(request, outcome)
    messages.success(request, f"Struck out: {entry.words}. {clock}".strip())


def _clocks_now(die: Die, named: Collection[int] = ()) -> str:
    """The clock that matters after an entry: of the pieces it names, else of the edge that limits the die."""
    forecast = None if named else queries.newest_forecast(die)
    limiting = [forecast.limiting_id] if forecast is not None and forecast.limiting_id else []
    clock = expected.leading_edge(die, timezone.now(), among=named or limiting)
    if clock is None:
        return ""
    about = "about " if clock.estimated else ""
    return f"{clock.code} now {about}{clock.hits:,} hits since {clock.since}."


def _say_behind(request: HttpRequest, outcome: changes.Following) -> None:
    """The entry is saved by now and stays, whatever became of what follows from it."""
    if outcome.behind:
        messages.warning(request, "The entry is saved, but the forecast of this die could not be made anew.")
