"""The list of entries, and striking one out."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse, HttpResponsePermanentRedirect, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views import View

from diestore.access import plants, roles
from diestore.access.models import Person
from diestore.access.tablet import tablet_of
from diestore.register.models import Die
from maintenance.log import changes, expected, listing, photos, take_back, write

from . import forms
from .addresses import list_of_today
from .tasks import (
    TASK_OF,
    TASKS,
    AnyOf,
    actor,
    clocks_now,
    die_url,
    dies_seen,
    is_own,
    last_person,
    remember_person,
    say_behind,
    sees_cost,
    units_for,
)

ENTRIES_A_PAGE = 40


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
        by = actor(request, form.cleaned_data["person"])
        try:
            with changes.following() as outcome:
                write.strike_out(by=by, entry=entry.event, reason=form.cleaned_data["reason"])
        except write.EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, entry, form, status=422)
        remember_person(request, by.person)
        _say_struck(request, entry, outcome)
        if "again" in request.POST and (again := self._again(request, entry)):
            return HttpResponseRedirect(again)
        return HttpResponseRedirect(die_url(entry.die) if entry.die else reverse("maintenance:entries"))

    def _entry(self, request: HttpRequest, sort: str, pk: int) -> listing.Entry:
        seen, with_cost = plants.plants_of(request.user), sees_cost(request)
        entry = listing.find(sort, pk, system=units_for(request), with_cost=with_cost, plants=seen)
        if entry is None:
            raise Http404("There is no such entry.")
        return entry

    def _form(self, request, entry, *, data=None) -> forms.StrikeForm:
        people, last = plants.within(expected.everybody(entry.die, plant_of_entry(entry)), request.user), None
        if entry.die is not None:
            last = last_person(request, entry.die)
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
                "back": die_url(entry.die) if entry.die else reverse("maintenance:entries"),
            },
            status=status,
        )


class TakeBack(AnyOf, View):
    """Take back, with one tap, what one has just written."""

    permission_required = tuple({t.permission for t in TASKS})

    def post(self, request: HttpRequest, sort: str, pk: int) -> HttpResponse:
        entry = listing.find(sort, pk, system=units_for(request), plants=plants.plants_of(request.user))
        if entry is None:
            raise Http404("There is no such entry.")
        tablet = tablet_of(request)
        try:
            with changes.following() as outcome:
                take_back.take_back(
                    by=actor(request, tablet.who if tablet else None),
                    entry=entry.event,
                    on_a_tablet=tablet is not None,
                )
        except write.EntryRefused as refused:
            messages.warning(request, str(refused))
        else:
            _say_struck(request, entry, outcome, _("Undone"))
        return HttpResponseRedirect(die_url(entry.die) if entry.die else reverse("maintenance:entries"))


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
        if there := list_of_today(request.GET):
            return HttpResponsePermanentRedirect(there)
        sorts = listing.sorts(with_cost=sees_cost(request)).values()
        people = plants.within(Person.objects.all(), request.user)
        form = forms.EntriesFilter(request.GET, sorts=sorts, people=people)
        form.is_valid()
        asked = form.cleaned_data
        order = request.GET.get("order", "") if request.GET.get("order", "") in self.ORDERS else ""
        die, problem = self._die(asked.get("die", ""), dies_seen(request))
        rows = listing.index(
            die=die,
            plants=plants.plants_of(request.user),
            sort=asked.get("sort", ""),
            person=asked.get("person"),
            struck=asked.get("struck", ""),
            order=self.ORDERS[order],
            with_cost=sees_cost(request),
        )
        page = (listing.Index([], "-at") if problem else rows).page(request.GET.get("page"), ENTRIES_A_PAGE)
        entries = photos.beside(listing.read(page.object_list, system=units_for(request)))
        kept = {k: v for k, v in request.GET.items() if k not in ("page", "order") and v}
        return render(
            request,
            "maintenance/screens/entry/entries.html",
            {
                "form": form,
                "die": die,
                "problem": problem,
                "page": page,
                "entries": entries,
                "own": {entry.name for entry in entries if is_own(request, entry.event)},
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
            return None, _("No die has “{text}” on its label.").format(text=text)
        return dies[0], "" if len(dies) == 1 else _("“{text}” matches {n} dies: type more of the label.").format(
            text=text, n=len(dies)
        )


def plant_of_entry(entry: listing.Entry) -> int | None:
    """The plant of an entry that names no die: of spares, or of a piece on the bench."""
    return getattr(entry.event, "plant_id", None) or getattr(getattr(entry.event, "piece", None), "plant_id", None)


def _say_struck(
    request: HttpRequest, entry: listing.Entry, outcome: changes.Following, done: str = gettext_lazy("Struck out")
) -> None:
    clock = clocks_now(entry.die) if entry.die is not None else ""
    say_behind(request, outcome)
    messages.success(request, f"{done}: {entry.words}. {clock}".strip())
