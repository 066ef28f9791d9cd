"""Pages of the shop about its customers: all of them; one with his tools, what they cost, his jobs and his links."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views import View
from django.views.decorators.http import require_POST, require_safe

from diestore.access import plants, roles, shop
from diestore.access.tablet import tablet_of
from diestore.access.who_does import who_can, who_did
from diestore.register.models import Die, Party
from maintenance.forecasts import due
from maintenance.log import owners, queries
from maintenance.log.data import OrderLeft
from maintenance.log.rules import EntryRefused
from maintenance.wording import standing as words_of
from maintenance.wording.standing import Standing
from reports.cost.ledger import paid_by
from reports.cost.sheets import cost_per_thousand
from reports.format import cents

from . import reads, shown
from .forms import LinkForm

PER_PAGE, TOOLS_PER_PAGE = 50, 20


@dataclass(frozen=True, kw_only=True)
class Tool:
    """A tool as a row of its customer's page; what is not known is empty. theirs, others, shops: what was paid for it
    so far by this customer, by other customers, by the shop."""

    die: Die
    owns: bool
    standing: Standing
    left: str
    per_thousand: str
    jobs: list[OrderLeft]
    signed: object | None
    theirs: Decimal
    others: Decimal
    shops: Decimal

    @property
    def paid(self) -> Decimal:
        return self.theirs + self.others + self.shops


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def customers(request: HttpRequest) -> HttpResponse:
    """Every customer with how many tools are his, and what of them waits."""
    picked = plants.picked(request)
    rows = reads.customers_with_tools(picked.plant, timezone.localdate()) if picked.plant else []
    text = request.GET.get("q", "")[:100].replace("\x00", "").strip()
    wanted = [row for row in rows if text.casefold() in f"{row.party.code} {row.party.name}".casefold()]
    page = Paginator(wanted, PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "reports/owners/customers.html", {"picked": picked, "page": page, "q": text})


class CustomerPage(PermissionRequiredMixin, View):
    """One customer in one plant; sent, it makes a link for him."""

    raise_exception = True
    permission_required = roles.SEE_COST

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        customer, picked = customer_of(pk), plants.picked(request)
        return self._show(request, customer, picked, self._form(request, picked, None))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        customer, picked = customer_of(pk), plants.picked(request)
        if picked.plant is None:
            raise Http404(_("There is no plant yet."))
        form = self._form(request, picked, request.POST)
        if not form.is_valid():
            return self._show(request, customer, picked, form, status=422)
        did = who_did(request, form.cleaned_data["person"])
        try:
            made = owners.make_link(
                person=did["person"], user=did["user"], customer=customer, plant=picked.plant,
                last_day=form.cleaned_data["last_day"],
            )  # fmt: skip
        except EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, customer, picked, form, status=422)
        address = request.build_absolute_uri(reverse("reports:tools", args=[made.token]))
        answer = self._show(request, customer, picked, self._form(request, picked, None), made=made, address=address)
        answer["Cache-Control"] = "no-store"  # the address is shown once
        return answer

    @staticmethod
    def _form(request: HttpRequest, picked, data) -> LinkForm:
        plant = picked.plant.pk if picked.plant else 0
        return LinkForm(data, **who_can(request, plant))

    @staticmethod
    def _show(request: HttpRequest, customer: Party, picked, form: LinkForm, *, status: int = 200, **more):
        dies = reads.tools_of(customer, picked.plant) if picked.plant else Die.objects.none()
        page = Paginator(dies, TOOLS_PER_PAGE).get_page(request.GET.get("page"))
        tools = tools_of(list(page.object_list), customer)
        shown_here = {
            "customer": customer, "picked": picked, "page": page, "tools": tools, "form": form,
            "together": {name: sum((getattr(one, name) for one in tools), Decimal(0))
                         for name in ("theirs", "others", "shops", "paid")},
            "links": reads.links_of(customer, picked.plant, timezone.localdate()) if picked.plant else [],
            "currency": shop.current().currency, "tablet": tablet_of(request),
            "query": picked.query if picked.several else "", **more,
        }  # fmt: skip
        return render(request, "reports/owners/customer.html", shown_here, status=status)


@require_POST
@permission_required(roles.SEE_COST, raise_exception=True)
def withdraw_link(request: HttpRequest, pk: int) -> HttpResponse:
    """From now on it opens nothing."""
    link = plants.within(reads.links(), request.user).filter(pk=pk).first()
    if link is None:
        raise Http404(_("There is no such link here."))
    owners.withdraw(person=who_can(request, link.plant_id)["person"], link=link)
    messages.success(request, _("The link is withdrawn: it opens nothing any more."))
    return redirect(f"{reverse('reports:customer', args=[link.customer_id])}?plant={link.plant_id}#links")


def tools_of(dies: list[Die], customer: Party) -> list[Tool]:
    """Each tool with how it stands, what it costs and what it waits for; a fixed number of questions."""
    if not dies:
        return []
    jobs: dict[int | None, list[OrderLeft]] = defaultdict(list)
    for job in queries.open_orders(dies=dies):
        jobs[job.die_id].append(job)
    ready = due.readiness([die.pk for die in dies], {die.pk: jobs[die.pk][0] for die in dies if jobs[die.pk]})
    costs = {cost.die.pk: cost for cost in cost_per_thousand(dies)}
    forecasts = {row.die_id: row for row in queries.newest_forecasts().filter(die__in=dies)}
    signed = reads.newest_signed(dies)
    made, left = [], _("half make another {parts} parts")
    for die in dies:
        cost, forecast = costs[die.pk], forecasts.get(die.pk)
        spent = cost.spent
        paid = paid_by(cost)
        theirs, shops = paid.get(customer.pk, Decimal(0)), paid.get(None, Decimal(0))
        half = forecast.half_hits if forecast is not None else None
        per_hit = spent.parts / spent.hits if spent and spent.hits else None
        made.append(
            Tool(
                die=die,
                owns=die.owner_id == customer.pk,
                standing=ready[die.pk].standing if die.pk in ready else words_of.UNKNOWN,
                left=left.format(parts=shown.three(half * per_hit)) if half is not None and per_hit else "",
                per_thousand=cents(cost.per_thousand) if cost.per_thousand is not None else "",
                jobs=jobs[die.pk],
                signed=signed.get(die.pk),
                theirs=theirs,
                others=sum(paid.values(), Decimal(0)) - theirs - shops,
                shops=shops,
            )
        )
    return made


def customer_of(pk: int) -> Party:
    found = Party.objects.filter(pk=pk, role=Party.Role.CUSTOMER).first()
    if found is None:
        raise Http404(_("There is no such customer."))
    return found
