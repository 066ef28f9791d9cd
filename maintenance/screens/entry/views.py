"""The log at the bench: pick a task and a die, one screen a task."""

from __future__ import annotations

from collections import Counter
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views import View

from diestore.access import plants, roles
from diestore.access.tablet import tablet_of
from diestore.handbook.cautions import first, for_work
from diestore.handbook.kinds import KINDS
from diestore.register.models import Die, Position
from diestore.row_keys import row_key
from maintenance.log import bench, changes, damage, expected, height_words, held_back, listing, photos, sent, write
from maintenance.models import BenchWork, Event, Incident, Replacement, Run, SetUp, Work

from . import forms, mishap_form, piece_forms, set_up_form, sharpening_form, stop_form
from .tasks import (
    CORRECTION,
    MISHAP,
    READING,
    RECENT_DIES,
    REPLACEMENT,
    ROWS,
    RUN,
    SET_UP,
    SHARPENING,
    STOP,
    TASK_OF,
    TASKS,
    AnyOf,
    Task,
    actor,
    clocks_now,
    die_asked,
    die_url,
    dies_seen,
    is_own,
    last_person,
    remember_die,
    remember_person,
    say_behind,
    sees_cost,
    take_back_url,
    units_for,
)

NOT_OF_THE_ENTRY = ("csrfmiddlewaretoken", "confirm", "pin")


def _rows(request: HttpRequest, die: Die | None) -> list[tuple[str, list[dict]]]:
    """What this person may log, in the rows of the page; without a row that is empty."""
    rows = [
        (
            name,
            [
                {"button": t.button, "says": t.says, "url": t.url(die)}
                for t in tasks
                if request.user.has_perm(t.permission)
            ],
        )
        for name, tasks in ROWS
    ]
    return [(name, tasks) for name, tasks in rows if tasks]


def _chosen(request: HttpRequest) -> tuple[list[Die], str, str]:
    """Dies found by what was typed, what was typed, and what to say when nothing was found."""
    text = request.GET.get("q", "").replace("\x00", "").strip()[:80]
    if text:
        dies = expected.find_dies(text, dies_seen(request))
        return (
            dies,
            text,
            "" if dies else _("No die has “{text}” on its label, in its name or among its parts.").format(text=text),
        )
    if request.GET.get("die"):
        return [], "", _("That die is not in the register. Find it by its label.")
    return [], "", ""


class Start(AnyOf, View):
    """What do you want to log?"""

    permission_required = tuple({t.permission for t in TASKS})

    def get(self, request: HttpRequest) -> HttpResponse:
        die = die_asked(request)
        dies, text, problem = ([], "", "") if die else _chosen(request)
        if len(dies) == 1:
            return HttpResponseRedirect(f"{reverse('maintenance:log')}?die={dies[0].pk}")
        recent = expected.dies_by_pk(request.session.get(RECENT_DIES, []), dies_seen(request))
        if die is not None:
            remember_die(request, die)
        elif recent and not text and not problem:
            die = recent[0]
        seen = listing.index(die=die, with_cost=sees_cost(request))[:5] if die else []
        latest = listing.read(seen, system=units_for(request))
        return render(
            request,
            "maintenance/screens/entry/start.html",
            {
                "die": die,
                "rows": _rows(request, die),
                "found": dies,
                "text": text,
                "problem": problem,
                "recent": [d for d in recent if die is None or d.pk != die.pk],
                "in_presses": expected.in_the_presses(dies_seen(request)),
                "latest": latest,
                "address": reverse("maintenance:log"),
                "any_die": bool(die or dies) or dies_seen(request).exists(),
            },
        )


class LogTask(PermissionRequiredMixin, View):
    """One screen of the log. Without a die it first asks for one."""

    raise_exception = True
    task: Task
    form_class: type[forms.LogForm]
    template = ""
    warns = False  # says on the form what has to be seen to before the die runs

    def get_permission_required(self) -> tuple[str]:
        return (self.task.permission,)

    def get(self, request: HttpRequest) -> HttpResponse:
        die = die_asked(request)
        if die is None:
            return self._ask_for_die(request)
        instead = self._instead(request, die)
        initial = {} if instead else self._asked_for(request)
        return self._show(request, die, self._form(request, die, instead=instead, initial=initial))

    def post(self, request: HttpRequest) -> HttpResponse:
        die = die_asked(request)
        if die is None:
            return self._ask_for_die(request)
        instead = self._instead(request, die)
        form = self._form(request, die, data=request.POST, files=request.FILES, instead=instead)
        key, digest = request.POST.get("key", "").replace("\x00", "")[:64], digest_of_form(request)
        if sent.has_other_values(key, digest):
            return self._not_again(request, die, form)
        if not form.is_valid():
            return self._show(request, die, form, status=422)
        key = form.cleaned_data["key"]
        if not sent.claim(key, digest):
            return self._not_again(request, die, form)
        by = actor(request, form.cleaned_data["person"])
        try:
            with changes.following() as outcome:
                saved = self._saved(form, by, die)
        except write.EntryRefused as refused:
            # Refused perhaps only because the same form, sent at the same moment, was quicker by a hair.
            saved = write.entered_with(key)
            if not saved:
                sent.take_back(key)
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
                return self._show(request, die, form, status=422)
        remember_person(request, by.person)
        remember_die(request, die)
        if instead and not instead.event.replaced_by_id:
            write.name_successor(struck=instead.event, entry=saved[0])
        _say_saved(request, die, saved, outcome)
        return HttpResponseRedirect(self._next(die, saved))

    @staticmethod
    def _saved(form: forms.LogForm, by: write.Actor, die: Die) -> list[Event]:
        """The entry, with its photo or not at all."""
        picture = form.cleaned_data.get("photo")
        if picture is None:
            return form.save(by)
        with transaction.atomic():
            saved = form.save(by)
            photos.add_photo(by=by, plant=die.plant, of=saved[0], picture=picture)
        return saved

    def _next(self, die: Die, saved: list[Event]) -> str:
        """Where one goes on after the entry."""
        return die_url(die)

    def _form(self, request, die, *, data=None, files=None, instead=None, initial=None) -> forms.LogForm:
        return self.form_class(
            data,
            files,
            die=die,
            system=units_for(request),
            person=last_person(request, die),
            instead=instead,
            initial=initial,
            tablet=tablet_of(request),
        )

    def _asked_for(self, request: HttpRequest) -> dict:
        """What the address already says: a position tapped on the die's page."""
        return {"position": position} if (position := request.GET.get("position", "")[:20]) else {}

    def _instead(self, request: HttpRequest, die: Die) -> listing.Entry | None:
        """The struck entry that is entered again, where the address names one of this task and die."""
        sort, number = [*request.GET.get("instead", "").split("-", 1), ""][:2]
        pk = row_key(number)
        if pk is None or TASK_OF.get(sort) is not self.task:
            return None
        struck = listing.find(sort, pk, system=units_for(request), plants=plants.plants_of(request.user))
        return struck if struck and struck.struck and struck.die == die else None

    def _not_again(self, request, die, form) -> HttpResponse:
        """The same form sent twice with other values: nothing is saved until it is sent once more, with a new key."""
        data = request.POST.copy()
        data["key"] = forms.fresh_key()
        form = self._form(request, die, data=data, instead=self._instead(request, die))
        form.is_valid()
        form.add_error(
            None,
            _(
                "This form was saved before, with other values. That entry stands and nothing was added. If "
                "this is another entry, press the button again; if the first was wrong, have it struck out."
            ),
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
                "recent": expected.dies_by_pk(request.session.get(RECENT_DIES, []), dies_seen(request)),
                "in_presses": expected.in_the_presses(dies_seen(request)),
                "any_die": bool(dies) or dies_seen(request).exists(),
            },
        )

    def _show(self, request, die, form, *, status: int = 200) -> HttpResponse:
        remember_die(request, die)
        return render(
            request,
            self.template,
            {
                "die": die,
                "form": form,
                "heading": form.heading,
                "cautions": _cautions(form.work),
                "back": die_url(die),
                "first": seen_to_first(die) if self.warns else "",
                "other_die": f"{self.task.url()}",
            },
            status=status,
        )


class LogRun(LogTask):
    task, form_class, template = RUN, forms.RunForm, "maintenance/screens/entry/run.html"
    warns = True


class LogSharpening(LogTask):
    task, form_class, template = SHARPENING, sharpening_form.SharpeningForm, "maintenance/screens/entry/sharpening.html"

    def _asked_for(self, request: HttpRequest) -> dict:
        """Edges that a mishap chipped are tapped already, and so are those that it does not pay to grind now. Of a work
        on the bench, what it says is to be ground."""
        chipped, left = (
            [row_key(text) for text in request.GET.get(name, "")[:2_000].split(",")] for name in ("chipped", "left")
        )
        found = {f"found_{pk}": sharpening_form.SharpeningForm.LEFT_OUT for pk in left if pk is not None}
        found |= {f"found_{pk}": "chipped" for pk in chipped if pk is not None}
        if "left" in request.GET:
            found["note"] = self._advice(request, [pk for pk in left if pk is not None])
        work = self._bench_work(request)
        return (self._of_work(work) if work else {}) | found

    @staticmethod
    def _of_work(work: BenchWork) -> dict:
        edges = {edge.position_id: edge.grind_mm for edge in work.edges.filter(left_out=False)}
        if not edges:
            return {}
        form = sharpening_form.SharpeningForm
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
        pk, die = row_key(request.GET.get("bench")), die_asked(request)
        if pk is None or die is None:
            return None
        return BenchWork.objects.filter(pk=pk, die=die, state__in=BenchWork.OPEN).select_related("die").first()

    def _next(self, die: Die, saved: list[Event]) -> str:
        """A sharpening that was done in a work on the bench closes it."""
        work = self._bench_work(self.request)
        if work is None:
            return super()._next(die, saved)
        try:
            work = bench.record(by=actor(self.request, saved[0].person), work=work, entries=saved)
        except write.EntryRefused as refused:
            messages.warning(self.request, str(refused))
        else:
            sentence = (
                _("Bench work: {state}. The die is on hold: a first piece is still to be approved.")
                if work.is_open
                else _("Bench work: {state}.")
            )
            messages.success(self.request, sentence.format(state=work.get_state_display()))
        return reverse("maintenance:bench_work", args=[work.pk])

    def _advice(self, request: HttpRequest, left: list[int]) -> str:
        """What was advised, as the note of the entry: so it is kept beside what is done."""
        places = Position.objects.filter(die=row_key(request.GET.get("die")), pk__in=left).order_by("code")
        codes = list(places.values_list("code", flat=True))
        return (
            _("Advised: leave {codes}; grind the other edges.").format(codes=", ".join(codes))
            if codes
            else _("Advised: grind every edge.")
        )


class LogReplacement(LogTask):
    task, form_class, template = REPLACEMENT, piece_forms.ReplacementForm, "maintenance/screens/entry/replacement.html"

    def _next(self, die: Die, saved: list[Event]) -> str:
        """A new piece in a ground set has to be ground to it, or the set out to the piece."""
        row = saved[0]
        assert isinstance(row, Replacement)
        if row.piece_in_id is not None:
            said = height_words.of_new_piece(row.position, units_for(self.request))
            if said:
                messages.info(self.request, said)
        return super()._next(die, saved)


class LogSetUp(LogTask):
    task, form_class, template = SET_UP, set_up_form.SetUpForm, "maintenance/screens/entry/set_up.html"

    def _next(self, die: Die, saved: list[Event]) -> str:
        return reverse("maintenance:set_up", args=[die.pk])


class LogStop(LogTask):
    task, form_class, template = STOP, stop_form.StopForm, "maintenance/screens/entry/stop.html"

    def _next(self, die: Die, saved: list[Event]) -> str:
        """A stop that broke something goes on with what is to be entered of each piece."""
        mishap = next((one for one in saved if isinstance(one, Incident)), None)
        return super()._next(die, saved) if mishap is None else reverse("maintenance:mishap", args=[mishap.pk])


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
        entry = listing.find("incident", pk, system=units_for(request), plants=seen)
        if entry is None:
            raise Http404("There is no such mishap.")
        (entry,) = photos.beside([entry])
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


def digest_of_form(request: HttpRequest) -> str:
    return sent.digest_of((k, v) for k, vs in request.POST.lists() for v in vs if k not in NOT_OF_THE_ENTRY)


def seen_to_first(die: Die) -> str:
    """Why a die should not run before somebody has seen to it; nothing where all is well."""
    wrong = damage.open_damage([die.pk]).get(die.pk)
    return (
        _("{die} has to be seen to before it runs: {briefly}.").format(die=die, briefly=damage.briefly(wrong))
        if wrong
        else ""
    )


def _cautions(work: str) -> list[str]:
    """One line each of the cautions that belong to a sort of work, the standing one last."""
    return [*(caution.reminder for caution in for_work(work)), first()] if work else []


def _say_saved(request: HttpRequest, die: Die, saved: list[Event], outcome: changes.Following) -> None:
    entry = listing.of_event(saved[0], system=units_for(request))
    named = {e.position_id for e in saved if getattr(e, "position_id", None)}
    say_behind(request, outcome)
    clock = "" if isinstance(saved[0], SetUp) else clocks_now(die, named)  # a set-up moves none
    undo = take_back_url(entry) if is_own(request, entry.event) else ""
    messages.success(request, f"{entry.words}. {clock}".strip(), extra_tags=undo)
    if alarm := held_back.said_of(saved[0], units_for(request)):
        messages.warning(request, alarm)
    if isinstance(saved[0], Run) and (first := seen_to_first(die)):
        messages.warning(request, first)
