"""Pages of inspections: what is due and done with a tap, one plan with what was found, new plans, proposals."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views import View

from diestore.access import plants, roles
from diestore.access.tablet import tablet_of
from diestore.access.who_does import who_can, who_did
from diestore.handbook.inspections import BY_KEY, INJURY, LOCAL
from diestore.row_keys import row_key
from maintenance.log import bench_reads, inspections, photos, write
from maintenance.log.listing import SORTS, Entry
from maintenance.models import Inspection, InspectionPlan

from .forms import DoneForm, FoundForm, PlanForm

LATER_A_PAGE = 50
PAST_SHOWN = 20


class Inspections(PermissionRequiredMixin, View):
    """What is due, what is overdue first; with one tap it was looked at and nothing was found."""

    raise_exception = True
    permission_required = roles.LOG_MISHAP

    def get(self, request: HttpRequest) -> HttpResponse:
        picked = plants.picked(request)
        form = DoneForm(**who_can(request, picked.plant.pk)) if picked.plant else None
        return self._show(request, picked, form)

    def post(self, request: HttpRequest) -> HttpResponse:
        if not row_key(request.POST.get("looked")):
            picked = plants.picked(request)
            form = DoneForm(request.POST, **who_can(request, picked.plant.pk)) if picked.plant else None
            return self._show(request, picked, form, status=422)
        plan = get_object_or_404(_plans(request), pk=row_key(request.POST.get("looked")))
        form = DoneForm(request.POST, **who_can(request, plan.plant_id))
        if form.is_valid():
            try:
                form.save(write.Actor(**who_did(request, form.cleaned_data["person"])), plan)
            except write.EntryRefused as refused:
                form.add_error(None, str(refused))
            else:
                messages.success(request, _("{plan}: looked at, nothing found.").format(plan=plan))
                query = f"?plant={plan.plant_id}" if len(plants.all_seen(request.user)) > 1 else ""
                return redirect(f"{reverse('maintenance:inspections')}{query}")
        return self._show(request, plants.Picked(plant=plan.plant, seen=(plan.plant,)), form, status=422)

    def _show(self, request, picked, form, *, status: int = 200) -> HttpResponse:
        rows, groups, page = [], [], None
        if picked.plant is not None:
            today = bench_reads.today_at(picked.plant)
            rows = inspections.rows(picked.plant, today=today)
            over = [row for row in rows if row.due.is_overdue]
            soon = [row for row in rows if row.due.is_soon(today)]
            later = [row for row in rows if row not in over and row not in soon]
            page = Paginator(later, LATER_A_PAGE).get_page(request.GET.get("page"))
            groups = [
                ("overdue", _("Overdue"), over), ("soon", _("Due this week"), soon),
                ("later", _("Later"), page.object_list),
            ]  # fmt: skip
        shown = {
            "picked": picked, "form": form, "rows": rows, "page": page, "groups": [g for g in groups if g[2]],
            "overdue": len(groups[0][2]) if groups else 0, "tablet": tablet_of(request),
            "may_plan": request.user.has_perm(roles.PLAN_BENCH), "local": LOCAL, "injury": INJURY,
        }  # fmt: skip
        return render(request, "maintenance/screens/inspections/inspections.html", shown, status=status)


class OnePlan(PermissionRequiredMixin, View):
    """One plan: when it is due, what was found, and something found now."""

    raise_exception = True
    permission_required = roles.LOG_MISHAP

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        plan = self._plan(request, pk)
        return self._show(request, plan, FoundForm(**who_can(request, plan.plant_id)))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        plan, act = self._plan(request, pk), request.POST.get("act", "")
        if act == "retire":
            if not request.user.has_perm(roles.PLAN_BENCH):
                raise PermissionDenied(_("Not allowed: planning inspections."))
            inspections.retire_plan(by=write.Actor(user=request.user), plan=plan)
            messages.success(request, _("{plan}: no longer looked at. What was found stays.").format(plan=plan))
            return redirect("maintenance:inspections")
        form = FoundForm(request.POST, request.FILES, **who_can(request, plan.plant_id))
        if form.is_valid():
            by = write.Actor(**who_did(request, form.cleaned_data["person"]))
            try:
                with transaction.atomic():
                    row = form.save(by, plan, is_finding=act != "nothing")
            except write.EntryRefused as refused:
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            else:
                if row.is_finding:
                    messages.warning(request, _("{plan}: what was found is entered.").format(plan=plan))
                    return redirect("maintenance:inspection_plan", pk=plan.pk)
                messages.success(request, _("{plan}: looked at, nothing found.").format(plan=plan))
                return redirect("maintenance:inspections")
        return self._show(request, plan, form, status=422)

    def _plan(self, request: HttpRequest, pk: int) -> InspectionPlan:
        return get_object_or_404(_plans(request), pk=pk)

    def _show(self, request, plan: InspectionPlan, form, *, status: int = 200) -> HttpResponse:
        today = bench_reads.today_at(plan.plant)
        (row,) = inspections.rows(plan.plant, today=today, of=[plan.pk])
        past = Inspection.objects.filter(plan=plan).select_related("person", "struck_by").order_by("-at", "-pk")
        looks = photos.beside(_entry(one) for one in past[:PAST_SHOWN])
        finding = next((one.event for one in looks if not one.struck), None)
        shown = {
            "plan": plan, "row": row, "form": form,
            "places": list(inspections.places_of(plan.die, plan.kind)) if plan.kind else [],
            "looks": looks, "tablet": tablet_of(request), "today": today,
            "bench": _bench(plan, finding) if finding is not None and finding.is_finding else "",
            "may_plan": request.user.has_perm(roles.PLAN_BENCH), "local": LOCAL,
            "may_strike": request.user.has_perm(roles.STRIKE_ENTRY),
        }  # fmt: skip
        return render(request, "maintenance/screens/inspections/plan.html", shown, status=status)


def _entry(row: Inspection) -> Entry:
    return Entry(sort=SORTS["inspection"], events=(row,), die=None, words="")


def _bench(plan: InspectionPlan, finding: Inspection) -> str:
    """Where a work on the bench is opened for what was found."""
    if plan.die_id is None:
        return ""
    said = " ".join(finding.note.split())
    asked = {"die": plan.die_id, "source": "inspection", "inspection": finding.pk, "what": said[:200]}
    return f"{reverse('maintenance:bench_new')}?{urlencode(asked)}"


class NewPlan(PermissionRequiredMixin, View):
    """A plan of the shop's own."""

    raise_exception = True
    permission_required = roles.PLAN_BENCH

    def get(self, request: HttpRequest) -> HttpResponse:
        picked = plants.picked(request)
        if picked.plant is None:
            return redirect("maintenance:inspections")
        return self._show(request, picked, PlanForm(plant=picked.plant, asked=request.GET.get("of", "")[:40]))

    def post(self, request: HttpRequest) -> HttpResponse:
        picked = plants.picked(request)
        if picked.plant is None:
            raise Http404(_("There is no plant."))
        form = PlanForm(request.POST, plant=picked.plant)
        if form.is_valid():
            try:
                plan = form.save(write.Actor(user=request.user))
            except write.EntryRefused as refused:
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            else:
                messages.success(request, _("Planned: {plan}.").format(plan=plan))
                return redirect("maintenance:inspection_plan", pk=plan.pk)
        return self._show(request, picked, form, status=422)

    def _show(self, request, picked, form, *, status: int = 200) -> HttpResponse:
        shown = {"form": form, "picked": picked, "local": LOCAL}
        return render(request, "maintenance/screens/inspections/new.html", shown, status=status)


class Proposals(PermissionRequiredMixin, View):
    """What others look at, and how often: taken on with a tap for a die, a press, a grinder, or all of them."""

    raise_exception = True
    permission_required = roles.PLAN_BENCH

    def get(self, request: HttpRequest) -> HttpResponse:
        picked = plants.picked(request)
        offered = inspections.offered(picked.plant) if picked.plant else []
        shown = {"picked": picked, "offered": offered, "local": LOCAL, "injury": INJURY}
        return render(request, "maintenance/screens/inspections/proposals.html", shown)

    def post(self, request: HttpRequest) -> HttpResponse:
        picked = plants.picked(request)
        key, __, thing = request.POST.get("take", "")[:80].partition(" ")
        if picked.plant is None or key not in BY_KEY:
            messages.warning(request, _("Tap one of the proposals below."))
            return redirect("maintenance:inspection_proposals")
        try:
            made = inspections.take_on(
                by=write.Actor(user=request.user), plant=picked.plant, proposal=BY_KEY[key], thing=thing
            )
        except write.EntryRefused as refused:
            messages.warning(request, str(refused))
        else:
            words = _("Planned: {plan} and {n} more.") if len(made) > 1 else _("Planned: {plan}.")
            messages.success(request, words.format(plan=made[0], n=len(made) - 1))
        query = f"?{picked.query}" if picked.query else ""
        return redirect(f"{reverse('maintenance:inspection_proposals')}{query}#{key}")


def _plans(request: HttpRequest):
    rows = InspectionPlan.objects.select_related("plant", "die", "press", "grinder")
    return plants.within(rows, request.user)
