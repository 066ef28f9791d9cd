"""The set-up sheet of a die in a press: as a page, and as one printed page that goes to the press with it."""

from __future__ import annotations

from django.contrib.auth.mixins import PermissionRequiredMixin
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants, roles
from diestore.access.queries import system_of
from diestore.register.models import Die, Press, Variant
from diestore.row_keys import row_key
from maintenance.log import set_up_reads

from . import sheet_paper
from .sheet_words import words


def _read(request: HttpRequest, pk: int) -> set_up_reads.Read:
    dies = plants.within(Die.objects.select_related("plant", "usual_stock", "usual_press"), request.user)
    die = get_object_or_404(dies, pk=pk)
    press = _named(request, "press", Press.objects.filter(plant=die.plant_id))
    return set_up_reads.read(die, press=press, inserts=_named(request, "inserts", Variant.objects.filter(die=die)))


def _named(request: HttpRequest, name: str, rows):
    """The row that the address names; None where it names none."""
    key = request.GET.get(name)
    return get_object_or_404(rows, pk=row_key(key)) if key else None


class SetUpSheetPage(PermissionRequiredMixin, View):
    """For whoever may log a run: the setter sets it in."""

    raise_exception = True
    permission_required = roles.LOG_RUN

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        read = _read(request, pk)
        query = request.GET.urlencode()
        shown = {
            "die": read.die, "read": read, "told": words(read, system_of(request.user)),
            "paper": reverse("maintenance:set_up_paper", args=[read.die.pk]) + (f"?{query}" if query else ""),
            "may_edit": request.user.has_perm(roles.EDIT_REGISTER),
        }  # fmt: skip
        return render(request, "maintenance/screens/set_up/sheet.html", shown)


@require_safe
def set_up_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """The same as PDF."""
    if not request.user.has_perm(roles.LOG_RUN):
        raise PermissionDenied(_("Not allowed: the set-up sheet."))
    read = _read(request, pk)
    address = request.build_absolute_uri(reverse("maintenance:set_up_sheet", args=[read.die.pk]))
    named = "".join(c for c in read.die.code if c.isalnum() or c in "-_") or "die"
    return HttpResponse(
        sheet_paper.pdf(words(read, system_of(request.user)), address=address),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="set-up-{named}.pdf"'},
    )
