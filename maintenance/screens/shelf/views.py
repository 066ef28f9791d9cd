"""The page of the shelf: racks, the sheet of one, and what was counted."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views import View

from diestore.access import plants, roles
from diestore.access.tablet import tablet_of
from diestore.access.who_does import who_can
from maintenance.log import shelf, write
from maintenance.log.rules import EntryRefused

from .forms import REASONS, CountForm


def _counted(n: int, differ: int) -> str:
    spares = ngettext("{n} spare", "{n} spares", n).format(n=n)
    if not differ:
        return _("{spares} counted: all as it should be.").format(spares=spares)
    words = ngettext("{spares} counted: {n} of them differs.", "{spares} counted: {n} of them differ.", differ)
    return words.format(spares=spares, n=differ)


class Shelf(PermissionRequiredMixin, View):
    """A rack at a time: what should lie in each place, and a box for what does."""

    raise_exception = True
    permission_required = roles.TAKE_IN_SPARES

    def get(self, request: HttpRequest) -> HttpResponse:
        picked, racks, rack = self._asked(request)
        rows = shelf.lies_in(picked.plant, rack) if rack else []
        return self._show(request, picked, racks, rack, CountForm(rows=rows))

    def post(self, request: HttpRequest) -> HttpResponse:
        picked, racks, rack = self._asked(request)
        rows = shelf.lies_in(picked.plant, rack) if rack else []
        form = CountForm(request.POST, rows=rows)
        if picked.plant is None or not form.is_valid():
            return self._show(request, picked, racks, rack, form, status=422)
        tablet = tablet_of(request)
        by = write.Actor(
            person=who_can(request, picked.plant.pk)["person"], user=request.user,
            device=tablet.device[:80] if tablet else "",
        )  # fmt: skip
        try:
            moves = shelf.count(
                by=by, plant=picked.plant, counted=form.counted(as_it_should="rest" in request.POST),
                key=form.cleaned_data["key"].replace("\x00", "") or None,
            )  # fmt: skip
        except EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, picked, racks, rack, form, status=422)
        differ = sum(move.quantity != 0 for move in moves)
        messages.success(request, _counted(len(moves), differ))
        query = urlencode({"rack": rack} | ({"plant": picked.plant.pk} if picked.several else {}))
        return redirect(f"{reverse('maintenance:shelf')}?{query}")

    def _asked(self, request: HttpRequest):
        picked = plants.picked(request)
        racks = shelf.racks(picked.plant) if picked.plant else {}
        asked = request.GET.get("rack", "")
        return picked, racks, asked if asked in racks else next(iter(racks), "")

    def _show(self, request, picked, racks, rack, form, *, status: int = 200) -> HttpResponse:
        shown = {"picked": picked, "racks": racks, "rack": rack, "form": form, "reasons": REASONS}
        return render(request, "maintenance/screens/shelf/shelf.html", shown, status=status)
