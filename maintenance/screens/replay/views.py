"""The page of the decisions looked back on."""

from __future__ import annotations

from django.contrib.auth.mixins import PermissionRequiredMixin
from django.shortcuts import render
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.access.queries import system_of
from diestore.frame.tables import Rows, lay_out
from diestore.register.models import Die
from maintenance.log import queries
from maintenance.models import PastDecision

from . import page
from .forms import PastFilter


@method_decorator(require_safe, name="dispatch")
class YearsAgain(PermissionRequiredMixin, View):
    """Whoever sees what a die costs."""

    permission_required = roles.SEE_COST
    raise_exception = True

    def get(self, request):
        picked = plants.picked(request)
        row = queries.newest_past_decisions(picked.plant) if picked.plant else None
        context = {
            "row": row,
            "picked": picked,
            "empty_register": row is None and not plants.within(Die.objects.all(), request.user).exists(),
        }
        if row is not None and not row.refusal:
            told = page.Told(shop.current().currency, system_of(request.user), row.plant_id)
            form = PastFilter(request.GET or None)
            cases = PastDecision.objects.filter(look_back=row).select_related("die")
            named = dict(Die.objects.filter(plant=row.plant_id).values_list("pk", "code"))
            by_die = page.ByDieTable(Rows(page.by_die(row.sums, named)), told=told, prefix="die-")
            worse = page.CaseTable(
                cases.filter(euros_expected__lt=0),
                told=told,
                prefix="worse-",
                order_by="saved",
                empty_text="By what is known, the advice was nowhere worse than what was done.",
            )
            every = page.CaseTable(form.pick(cases) if form.is_bound else cases, told=told)
            context |= page.shown(row.sums, told) | {
                "form": form,
                "asked": bool(request.GET.get("q") or request.GET.get("kind")),
                "by_die": lay_out(request, by_die),
                "worse": lay_out(request, worse),
                "every": lay_out(request, every),
            }
        return render(request, "maintenance/screens/replay/replay.html", context)
