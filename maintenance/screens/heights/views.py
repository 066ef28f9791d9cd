"""How high the pieces of a die stand."""

from __future__ import annotations

from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views import View

from diestore import units
from diestore.access import plants, roles
from diestore.access.queries import system_of
from diestore.handbook.cautions import first, for_work
from diestore.register import panels
from diestore.register.models import Die
from maintenance.log import heights
from maintenance.policy.heights import LEVEL_MM, HeightError

from .page import Words


class Heights(PermissionRequiredMixin, View):
    """For whoever may log a run: the setter dials in what it says, the toolmaker shims."""

    raise_exception = True
    permission_required = roles.LOG_RUN

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        dies = plants.within(Die.objects.select_related("plant", "usual_stock", "usual_press"), request.user)
        die = get_object_or_404(dies, pk=min(pk, 2**63 - 1))
        system = system_of(request.user)
        context = {
            "die": die,
            "system": system,
            "may_sharpen": request.user.has_perm(roles.LOG_SHARPENING),
            "may_register": request.user.has_perm(roles.EDIT_REGISTER),
            "cautions": [first(), *(caution.reminder for caution in for_work("sharpening"))],
        }
        try:
            found = heights.of_die(die)
        except HeightError as refused:
            return self._show(request, context | {"refused": str(refused)})
        words = Words(found, system, panels.used_up(die))
        sections = list(words.sections())
        return self._show(
            request,
            context
            | {
                "words": words,
                "sections": sections,
                "must_restore": found.ledger.must_restore,
                "has_used_up": any(line.used_up for section in sections for line in section.lines),
                "has_before": any(line.before for section in sections for line in section.lines),
                "unit": units.column("removed_mm").unit(system),
                "remarks": list(words.remarks()),
                "checks": list(words.checks()),
                "lacks": list(words.lacks()),
                "slips": list(words.slips()),
                "picture": words.picture(),
                "level": units.show(LEVEL_MM, "clearance_mm", system),
                "wrong": found.ledger.must_restore or any(line.is_out for s in sections for line in s.lines),
            },
        )

    def _show(self, request: HttpRequest, context: dict) -> HttpResponse:
        return render(request, "maintenance/screens/heights/heights.html", context)
