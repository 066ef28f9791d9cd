"""Pages of the counters: each press with its die and last count, two taps for a die in a press, questions, devices."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views import View
from django.views.decorators.cache import never_cache

from diestore.access import plants, roles
from diestore.access.models import Person
from diestore.access.tablet import tablet_of
from diestore.register.models import Die, Plant, Press
from diestore.row_keys import row_key
from maintenance.counters import asked as counters_asked
from maintenance.counters import devices, questions, settle
from maintenance.log import changes, expected, sent, write
from maintenance.models import CounterDevice, CounterQuestion, Scope, fresh_key

from . import page
from .forms import DeviceForm, InPressForm, SettleForm

LAST_PERSON = "log_person"  # who logged last in this session, as in the log
NOT_OF_THE_ENTRY = ("csrfmiddlewaretoken", "confirm", "pin")
OTHER_VALUES = gettext_lazy(
    "This was sent before, with other values. That stands and nothing was changed. If this is "
    "another change, press the button again."
)


def _expected_person(request: HttpRequest, people) -> Person | None:
    if tablet := tablet_of(request):
        return tablet.who
    pk = request.session.get(LAST_PERSON)
    if pk and (person := people.filter(pk=pk).first()):
        return person
    return people.filter(usersettings__user=request.user).first()


def _actor(request: HttpRequest, person: Person | None) -> write.Actor:
    tablet = tablet_of(request)
    if person is not None:
        if tablet:
            tablet.pick(person)
        else:
            request.session[LAST_PERSON] = person.pk
    return write.Actor(person=person, user=request.user, device=tablet.device[:80] if tablet else "")


def _say_behind(request: HttpRequest, outcome: changes.Following) -> None:
    """What was entered is saved by now, whatever became of what follows from it."""
    if outcome.behind:
        messages.warning(request, _("This is saved, but a forecast could not be made anew."))


def _questions(request: HttpRequest) -> QuerySet[CounterQuestion]:
    return plants.within(CounterQuestion.objects.all(), request.user, "counter__device__plant")


def _plants(request: HttpRequest) -> QuerySet[Plant]:
    return plants.within(Plant.objects.order_by("pk"), request.user, "pk")


class Counters(PermissionRequiredMixin, View):
    """Each press, what is to be settled, and what waits to be counted: a button counts it at once."""

    raise_exception = True
    permission_required = roles.LOG_RUN

    def get(self, request: HttpRequest) -> HttpResponse:
        seen = plants.plants_of(request.user)
        return render(
            request,
            "maintenance/screens/counters/counters.html",
            {
                "lines": page.lines(plants=seen),
                "waiting": page.waiting(seen),
                "asked": counters_asked.open_questions(seen),
                "settled": counters_asked.settled_lately(seen),
                "may_take_back": request.user.has_perm(roles.STRIKE_ENTRY),
                "may_see_devices": request.user.has_perm(roles.EDIT_REGISTER),
                "now": timezone.now(),
            },
        )


class CountNow(PermissionRequiredMixin, View):
    """Count what waits."""

    raise_exception = True
    permission_required = roles.LOG_RUN
    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponse:
        seen = plants.plants_of(request.user)
        with changes.following() as outcome:
            for plant in [None] if seen is None else plants.all_seen(request.user):
                settle.settle_waiting(plant)
        _say_behind(request, outcome)
        if page.waiting(seen):
            messages.warning(request, _("Some counts could not be counted yet. They are kept."))
        else:
            messages.success(request, _("All that the presses sent is counted."))
        return redirect("maintenance:counters")


class InPress(PermissionRequiredMixin, View):
    """One press or one die: what is in it now, and a button for whatever goes in next."""

    raise_exception = True
    permission_required = roles.LOG_RUN

    def get(self, request: HttpRequest) -> HttpResponse:
        die, press = self._about(request)
        if die is None and press is None:
            return redirect("maintenance:counters")
        return self._show(request, die, press, self._form(request, die, press))

    def post(self, request: HttpRequest) -> HttpResponse:
        die, press = self._about(request)
        if die is None and press is None:
            return redirect("maintenance:counters")
        form = self._form(request, die, press, data=request.POST)
        if not form.is_valid():
            return self._show(request, die, press, form, status=422)
        key = form.cleaned_data.get("key", "")
        typed = [(k, v) for k, vs in request.POST.lists() for v in vs if k not in NOT_OF_THE_ENTRY]
        if not sent.claim(key, sent.digest_of(typed)):
            data = request.POST.copy()
            data["key"] = fresh_key()
            form = self._form(request, die, press, data=data)
            form.add_error(None, OTHER_VALUES)
            return self._show(request, die, press, form, status=409)
        try:
            with changes.following() as outcome:
                row = form.save(_actor(request, form.cleaned_data.get("person")))
        except write.EntryRefused as refused:
            sent.take_back(key)
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, die, press, form, status=422)
        _say_behind(request, outcome)
        act = form.cleaned_data["act"]
        clock = timezone.localtime(row.until if act == "out" else row.since)
        sentence = {
            "out": _("{die} taken out of press {press}, {clock} on {day}."),
            "set": _("{die} put in press {press}, {clock} on {day}."),
            "never": _("{die} was never in press {press}."),
        }[act]
        shown = {"clock": date_format(clock, "H:i"), "day": date_format(clock, "j M")}
        messages.success(request, sentence.format(die=row.die, press=row.press, **shown))
        if act != "set" and die is None:
            return HttpResponseRedirect(f"{reverse('maintenance:in_press')}?press={row.press_id}")
        return redirect("diestore:die", pk=die.pk) if die is not None else redirect("maintenance:counters")

    def _about(self, request: HttpRequest) -> tuple[Die | None, Press | None]:
        die, press = row_key(request.GET.get("die")), row_key(request.GET.get("press"))
        if die is not None:
            dies = plants.within(Die.objects.select_related("plant"), request.user)
            return dies.filter(pk=die).first(), None
        presses = plants.within(Press.objects.select_related("plant"), request.user)
        return None, None if press is None else presses.filter(pk=press).first()

    def _form(self, request, die, press, *, data=None) -> InPressForm:
        people = Person.objects.filter(plant=(die or press).plant_id, active=True)
        person = _expected_person(request, people)
        return InPressForm(
            data,
            die=die,
            press=press,
            people=people,
            person=person,
            tablet=tablet_of(request),
            may_strike=request.user.has_perm(roles.STRIKE_ENTRY),
        )

    def _show(self, request, die, press, form, *, status: int = 200) -> HttpResponse:
        text = request.GET.get("q", "").replace("\x00", "").strip()[:80]
        dies = None
        if press is not None and text:
            dies = expected.find_dies(text, Die.objects.filter(plant=press.plant_id))
        return render(
            request,
            "maintenance/screens/counters/press.html",
            {
                "die": die,
                "press": press,
                "form": form,
                "row": form.row,
                "dies": page.dies_for(press, dies) if press is not None else [],
                "presses": page.presses_for(die) if die is not None else [],
                "text": text,
                "problem": _("No die has “{text}” on its label or in its name.").format(text=text)
                if text and not dies
                else "",
                "tablet": tablet_of(request),
            },
            status=status,
        )


class Settle(PermissionRequiredMixin, View):
    """Settle what a count alone does not decide."""

    raise_exception = True
    permission_required = roles.LOG_RUN

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        asked = self._asked(request, pk)
        if asked is None:
            messages.info(request, _("This is settled already."))
            return redirect("maintenance:counters")
        return self._show(request, asked, self._form(request, asked))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        asked = self._asked(request, pk)
        if asked is None:
            messages.info(request, _("This was settled meanwhile."))
            return redirect("maintenance:counters")
        form = self._form(request, asked, data=request.POST)
        if not form.is_valid():
            return self._show(request, asked, form, status=422)
        try:
            with changes.following() as outcome:
                form.save(_actor(request, form.cleaned_data.get("person")))
        except write.EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, asked, form, status=422)
        _say_behind(request, outcome)
        messages.success(
            request,
            _("Settled for {where}: {said}.").format(
                where=asked.where, said=counters_asked.said(asked, form.cleaned_data)
            ),
        )
        return redirect("maintenance:counters")

    def _asked(self, request: HttpRequest, pk: int) -> counters_asked.Asked | None:
        question = get_object_or_404(_questions(request), pk=pk)
        return None if question.settled_at is not None else counters_asked.of_question(question)

    def _form(self, request, asked, *, data=None) -> SettleForm:
        people = Person.objects.filter(plant=asked.counter.device.plant_id, active=True)
        return SettleForm(
            data,
            asked=asked,
            may_strike=request.user.has_perm(roles.STRIKE_ENTRY),
            people=people,
            person=_expected_person(request, people),
            tablet=tablet_of(request),
        )

    def _show(self, request, asked, form, *, status: int = 200) -> HttpResponse:
        context = {"asked": asked, "form": form, "tablet": tablet_of(request)}
        return render(request, "maintenance/screens/counters/settle.html", context, status=status)


class TakeBack(PermissionRequiredMixin, View):
    """An answer was wrong: it is asked again."""

    raise_exception = True
    permission_required = roles.STRIKE_ENTRY
    http_method_names = ["post"]

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        question = get_object_or_404(_questions(request), pk=pk, settled_at__isnull=False)
        try:
            with changes.following() as outcome:
                questions.take_back(by=write.Actor(user=request.user), question=question)
        except write.EntryRefused as refused:
            messages.warning(request, str(refused))
        else:
            _say_behind(request, outcome)
            messages.success(request, _("The answer holds no longer."))
        return redirect("maintenance:counters")


@method_decorator(never_cache, name="dispatch")
class Devices(PermissionRequiredMixin, View):
    """Which devices may send or read, when each was used last, and a token for a new one, shown once."""

    raise_exception = True
    permission_required = roles.EDIT_REGISTER

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show(request, DeviceForm(plants=_plants(request)))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = DeviceForm(request.POST, plants=_plants(request))
        if not form.is_valid() or form.plant is None:
            return self._show(request, form, status=422)
        try:
            made = form.save(write.Actor(user=request.user))
        except write.EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, form, status=422)
        return self._show(request, DeviceForm(plants=_plants(request)), made=made)

    def _show(self, request, form, *, made=None, status: int = 200) -> HttpResponse:
        context = {
            "form": form,
            "made": made,
            "devices": plants.within(page.devices(), request.user),
            "address": request.build_absolute_uri("/api/v1/counts"),
            "calendar": _calendar(request, made.token) if made and Scope.CALENDAR in made.device.scopes else "",
        }
        return render(request, "maintenance/screens/counters/devices.html", context, status=status)


class HowPrograms(PermissionRequiredMixin, View):
    """How other systems read and send: for whoever sets one up."""

    raise_exception = True
    permission_required = roles.EDIT_REGISTER

    def get(self, request: HttpRequest) -> HttpResponse:
        here = request.build_absolute_uri("/").rstrip("/")
        return render(request, "maintenance/screens/counters/programs.html", {"here": here})


class Wiring(View):
    """One message and one answer: for whoever wires a counter box, and may do nothing else here."""

    def get(self, request: HttpRequest) -> HttpResponse:
        here = request.build_absolute_uri("/").rstrip("/")
        return render(request, "maintenance/screens/counters/wiring.html", {"here": here})


class Revoke(PermissionRequiredMixin, View):
    raise_exception = True
    permission_required = roles.EDIT_REGISTER
    http_method_names = ["post"]

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        devices_seen = plants.within(CounterDevice.objects.all(), request.user)
        device = get_object_or_404(devices_seen, pk=pk)
        devices.revoke_device(by=write.Actor(user=request.user), device=device)
        messages.success(
            request, _("The key of {device} opens nothing any more. What it sent stays.").format(device=device)
        )
        return redirect("maintenance:counter_devices")


def _calendar(request: HttpRequest, token: str) -> str:
    return request.build_absolute_uri(f"/calendar/{token}.ics")
