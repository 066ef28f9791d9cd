"""Pages of who pays: of a die, and of one entry of its log."""

from __future__ import annotations

import datetime as dt

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views import View

from diestore.access import plants, roles
from diestore.access.queries import system_of
from diestore.access.tablet import tablet_of
from diestore.access.who_does import who_can, who_did
from diestore.register.models import Die
from maintenance.log import listing, payers, write
from maintenance.log.rules import EntryRefused

from .forms import DiePayersForm, EntryPayerForm

SHOWN = 40


class _SaysWhoPays(PermissionRequiredMixin, View):
    """Whoever sees what a tool costs looks; whoever keeps the register says."""

    raise_exception = True

    def get_permission_required(self) -> tuple[str, ...]:
        writes = (roles.EDIT_REGISTER,) if self.request.method == "POST" else ()
        return (roles.SEE_COST, *writes)

    def may_say(self) -> bool:
        return self.request.user.has_perm(roles.EDIT_REGISTER)


class OfDie(_SaysWhoPays):
    """What holds of a die now, element by element, and what was said before."""

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        die = self._die(pk)
        return self._show(die, self._form(die, None))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        die = self._die(pk)
        form = self._form(die, request.POST)
        if not form.is_valid():
            return self._show(die, form, status=422)
        c = form.cleaned_data
        by = write.Actor(**who_did(request, c["person"]))
        since = timezone.make_aware(dt.datetime.combine(c["since"], dt.time()))
        try:
            payers.say_of_die(by=by, die=die, at=since, payers=form.picked(), note=c["note"], key=c["key"] or None)
        except EntryRefused as refused:
            form.add_error("since" if refused.field == "at" else None, str(refused))
            return self._show(die, form, status=422)
        messages.success(request, _("Who pays for {die} is saved. Its ledger follows.").format(die=die))
        return redirect(reverse("maintenance:payers", args=[die.pk]))

    def _die(self, pk: int) -> Die:
        dies = plants.within(Die.objects.select_related("plant", "owner"), self.request.user)
        return get_object_or_404(dies, pk=pk)

    def _form(self, die: Die, data) -> DiePayersForm:
        self.holding = payers.holding_at(die, timezone.now())
        return DiePayersForm(data, die=die, holding=self.holding, **who_can(self.request, die.plant_id))

    def _show(self, die: Die, form: DiePayersForm, *, status: int = 200) -> HttpResponse:
        held = [(words, self.holding.get(element)) for element, words in payers.ELEMENTS.items()]
        shown = {
            "die": die, "form": form, "held": held, "past": payers.rules_of(die)[:SHOWN], "may_say": self.may_say(),
            "may_strike": self.request.user.has_perm(roles.STRIKE_ENTRY), "tablet": tablet_of(self.request),
        }  # fmt: skip
        return render(self.request, "maintenance/screens/payers/of_die.html", shown, status=status)


class OfEntry(_SaysWhoPays):
    """Of one entry who pays, whatever holds of its die."""

    def get(self, request: HttpRequest, sort: str, pk: int) -> HttpResponse:
        entry, die = self._entry(sort, pk)
        return self._show(entry, die, self._form(entry, die, None))

    def post(self, request: HttpRequest, sort: str, pk: int) -> HttpResponse:
        entry, die = self._entry(sort, pk)
        form = self._form(entry, die, request.POST)
        if not form.is_valid():
            return self._show(entry, die, form, status=422)
        c = form.cleaned_data
        by = write.Actor(**who_did(request, c["person"]))
        try:
            payers.say_of_entry(by=by, entry=entry.event, payer=form.picked(), note=c["note"], key=c["key"] or None)
        except EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(entry, die, form, status=422)
        messages.success(request, _("Who pays for this entry is saved. The ledger follows."))
        return redirect(reverse("maintenance:payers_entry", args=[sort, pk]))

    def _entry(self, sort: str, pk: int) -> tuple[listing.Entry, Die]:
        entry = None
        if sort in payers.ENTRIES:
            user = self.request.user
            entry = listing.find(sort, pk, system=system_of(user), plants=plants.plants_of(user))
        if entry is None or entry.struck or entry.die is None:
            raise Http404(_("There is no such entry that somebody pays for."))
        return entry, entry.die

    def _form(self, entry: listing.Entry, die: Die, data) -> EntryPayerForm:
        self.own = payers.of_entry(entry.event)
        element = payers.element_of(entry.event)
        self.rule = payers.holding_at(die, entry.event.at).get(element)
        payer = self.own.payer if self.own is not None else self.rule.payer if self.rule is not None else None
        return EntryPayerForm(data, die=die, payer=payer, **who_can(self.request, die.plant_id))

    def _show(self, entry: listing.Entry, die: Die, form: EntryPayerForm, *, status: int = 200) -> HttpResponse:
        shown = {
            "entry": entry, "die": die, "form": form, "own": self.own, "rule": self.rule,
            "element": payers.ELEMENTS[payers.element_of(entry.event)], "may_say": self.may_say(),
            "may_strike": self.request.user.has_perm(roles.STRIKE_ENTRY), "tablet": tablet_of(self.request),
        }  # fmt: skip
        return render(self.request, "maintenance/screens/payers/of_entry.html", shown, status=status)
