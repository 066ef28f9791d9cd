"""The page of the pull planner."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib.auth.mixins import PermissionRequiredMixin
from django.core.paginator import Paginator
from django.shortcuts import render
from django.views import View

from diestore.access import plants, roles
from diestore.access.queries import system_of
from maintenance.forecasts import pull_plan

from . import page
from .forms import TermsForm

DIES_A_PAGE = 25


class Pulls(PermissionRequiredMixin, View):
    """Whoever sees what a die costs."""

    permission_required = roles.SEE_COST
    raise_exception = True

    def get(self, request):
        shown = plants.shown(request.user)
        plant = shown[0] if len(shown) == 1 else None
        usual = {name: f"{value:g}" for name, value in vars(pull_plan.Terms()).items() if value is not None}
        asked = {name: request.GET[name] for name in TermsForm.base_fields if request.GET.get(name)}
        form = TermsForm(usual | asked)
        plan = pull_plan.of_plants(plant, plants.plants_of(request.user), form.terms())
        part = Paginator(plan.rows, DIES_A_PAGE).get_page(request.GET.get("page"))
        return render(
            request,
            "maintenance/screens/pulls/pulls.html",
            {
                "plan": plan,
                "form": form,
                "asked": asked,
                "first": page.sentence(plan),
                "heads": page.heads(plan),
                "width": page.width(plan),
                "height": page.HEIGHT,
                "lines": [page.WEEK * week for week in range(1, plan.terms.weeks)],
                "rows": page.shown(plan, part.object_list),
                "part": part,
                "assumed": page.assumed(plan, system_of(request.user)),
                "bench_hours": page.bench_hours(plan),
                "to_bench": request.user.has_perm(roles.LOG_MISHAP),
                "kept": urlencode(asked),
            },
        )
