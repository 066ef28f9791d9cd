"""Pages of bills: found again, entered, looked at with their paper, struck out."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db.models import Sum
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.access.tablet import tablet_of
from diestore.access.who_does import who_can, who_did
from diestore.register.models import Die, Plant
from diestore.row_keys import row_key
from maintenance.log import bills, write
from maintenance.log.rules import EntryRefused
from maintenance.models import BenchWork, Bill, BillPaper, CostLine, PurchaseOrder

from .forms import MORE_ROWS, ROWS, BillForm, StrikeForm

PER_PAGE = 50
COMPARED_AT_MOST = 3  # orders of one bill
OFFERED_AT_MOST = 300  # dies, works and orders each that a box suggests
KINDS = dict(CostLine.Kind.choices)


def _sees(user) -> bool:
    return user.has_perm(roles.SEE_COST) or user.has_perm(roles.ORDER_SPARES)


class SeesBills(PermissionRequiredMixin, View):
    """Whoever sees what a die costs, or enters bills."""

    raise_exception = True

    def has_permission(self) -> bool:
        return _sees(self.request.user)


def _bill(request: HttpRequest, pk: int) -> Bill:
    rows = plants.within(Bill.objects.select_related("plant", "supplier", "struck_by", "person"), request.user)
    return get_object_or_404(rows, pk=pk)


def _order_named(plant: Plant, typed: list[str]) -> bills.AgainstOrder | None:
    """The placed order that a line is for, with what was agreed of it."""
    numbers = {text.strip().upper()[:40] for text in typed if text.strip()}
    orders = PurchaseOrder.objects.filter(plant=plant, placed_at__isnull=False).select_related("plant", "supplier")
    order = orders.filter(number__in=numbers).first() if numbers else None
    return None if order is None else bills.against(order)


def spent(lines: Iterable[CostLine]) -> Decimal:
    return sum((line.amount for line in lines), Decimal(0))


class Bills(SeesBills):
    """All bills of a plant, or the lines that stand in the cost of one die."""

    def get(self, request: HttpRequest) -> HttpResponse:
        if request.GET.get("die"):
            return self._of_die(request)
        picked = plants.picked(request)
        text = request.GET.get("q", "")[:100].strip()
        rows = bills.bills_of(picked.plant, text) if picked.plant else Bill.objects.none()
        page = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
        for bill in page.object_list:
            bill.own = spent(bill.lines.all())
        query = ({"plant": picked.plant.pk} if picked.several else {}) | ({"q": text} if text else {})
        shown = {
            "picked": picked, "page": page, "q": text, "query": urlencode(query), "currency": shop.current().currency,
            "may_enter": request.user.has_perm(roles.ORDER_SPARES),
        }  # fmt: skip
        return render(request, "maintenance/screens/bills/bills.html", shown)

    @staticmethod
    def _of_die(request: HttpRequest) -> HttpResponse:
        dies = plants.within(Die.objects.select_related("plant"), request.user)
        die = get_object_or_404(dies, pk=row_key(request.GET["die"]))
        kind = request.GET.get("kind", "")
        kind = kind if kind in KINDS else ""
        rows = bills.lines_of_die(die, kind)
        query = {"die": die.pk} | ({"kind": kind} if kind else {})
        page = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
        shown = {
            "die": die, "kind": KINDS.get(kind, ""), "page": page,
            "query": urlencode(query), "together": rows.order_by().aggregate(n=Sum("amount"))["n"] or Decimal(0),
            "currency": shop.current().currency, "may_enter": request.user.has_perm(roles.ORDER_SPARES),
            "sees_cost": request.user.has_perm(roles.SEE_COST),
        }  # fmt: skip
        return render(request, "maintenance/screens/bills/of_die.html", shown)


class NewBill(PermissionRequiredMixin, View):
    """A bill as it is typed. `more` asks for further rows and saves nothing."""

    raise_exception = True
    permission_required = roles.ORDER_SPARES

    def get(self, request: HttpRequest) -> HttpResponse:
        plant = self._plant(request)
        if plant is None:
            messages.warning(request, "There is no plant yet that could have a bill.")
            return redirect("maintenance:bills")
        start = {"for-0": request.GET.get("for", "")[:100].replace("\x00", "")}
        order = _order_named(plant, [start["for-0"]])
        supplier = row_key(request.GET.get("supplier"))
        return self._show(
            request, plant, self._form(plant, initial=start | ({"supplier": supplier} if supplier else {}), order=order)
        )

    def post(self, request: HttpRequest) -> HttpResponse:
        plant = self._plant(request)
        if plant is None:
            raise Http404("There is no such plant.")
        typed = {name: value.replace("\x00", "") for name, value in request.POST.items()}
        n = row_key(typed.get("rows")) or ROWS
        order = _order_named(plant, [typed.get(f"for-{row}", "") for row in range(bills.LINES_AT_MOST)])
        if "more" in typed:
            n = min(n + MORE_ROWS, bills.LINES_AT_MOST)
            return self._show(request, plant, self._form(plant, initial=typed | {"rows": str(n)}, n=n, order=order))
        form = self._form(plant, request.POST, request.FILES, n=n, order=order)
        if not form.is_valid():
            return self._show(request, plant, form, status=422)
        c = form.cleaned_data
        tablet = tablet_of(request)
        by = write.Actor(
            person=who_can(request, plant.pk)["person"], user=request.user, device=tablet.device[:80] if tablet else ""
        )
        key = "".join(ch for ch in c["key"] if ch.isascii() and (ch.isalnum() or ch in "-_"))
        before = Bill.objects.filter(key=key).exists() if key else False
        try:
            bill = bills.enter_bill(
                by=by, plant=plant, own_currency=form.own_currency, lines=form.read, key=key or None,
                **{name: c[name] for name in ("number", "supplier", "on", "total", "worth_of_one", "is_credit", "note",
                                              "paper", "other_bill", "not_ordered")},
                currency=c["currency"].strip().upper(),
            )  # fmt: skip
        except EntryRefused as refused:
            form.asks_other = refused.field == "other_bill" or c["other_bill"]
            form.asks_ordered = refused.field == "not_ordered" or c["not_ordered"]
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, plant, form, status=422)
        if before:
            messages.info(request, "This bill is entered already. It counts once.")
        else:
            messages.success(request, f"Bill {bill} of {bill.supplier} is entered.")
        return redirect("maintenance:bill", pk=bill.pk)

    @staticmethod
    def _plant(request: HttpRequest) -> Plant | None:
        return plants.picked(request).plant

    @staticmethod
    def _form(plant: Plant, data=None, files=None, **more) -> BillForm:
        return BillForm(data, files, plant=plant, own_currency=shop.current().currency, **more)

    def _show(self, request: HttpRequest, plant: Plant, form: BillForm, *, status: int = 200) -> HttpResponse:
        works = BenchWork.objects.filter(die__plant=plant).select_related("die").order_by("-opened_at", "-pk")
        orders = PurchaseOrder.objects.filter(plant=plant, placed_at__isnull=False).order_by("-placed_at", "-pk")
        dies = Die.objects.filter(plant=plant).order_by("code").values_list("code", "description")
        offered = [
            *dies[:OFFERED_AT_MOST],
            *((f"work {work.pk}", f"{work.die}: {work.what}") for work in works[: OFFERED_AT_MOST // 3]),
            *((order.number, f"order with {order.supplier}") for order in orders.select_related("supplier")[:100]),
        ]
        shown = {
            "form": form, "plant": plant, "several": len(plants.all_seen(request.user)) > 1, "offered": offered,
            "file_sent": bool(request.FILES), "more": form.n < bills.LINES_AT_MOST,
        }  # fmt: skip
        return render(request, "maintenance/screens/bills/new.html", shown, status=status)


class OneBill(SeesBills):
    """One bill with its lines."""

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        bill = _bill(request, pk)
        lines = list(
            bill.lines.select_related("die", "bench_work__die", "purchase", "payer").order_by("sequence", "pk")
        )
        named = list(dict.fromkeys(line.purchase for line in lines if line.purchase))
        orders = {order.pk: bills.against(order) for order in named[:COMPARED_AT_MOST]}
        for line in lines:
            order = orders.get(line.purchase_id) if line.purchase else None
            same = order is not None and order.order.currency == bill.currency
            line.agreed = bills.agreed_of(line.note, order) if order is not None and same else None
        apart = [
            f"{line.note}: {line.billed:,.2f} {bill.currency} are billed, {line.agreed:,.2f} were agreed: "
            f"{abs(line.billed - line.agreed):,.2f} {'too much' if line.billed > line.agreed else 'less'}."
            for line in lines if line.agreed is not None and line.agreed != line.billed and not bill.is_credit
        ]  # fmt: skip
        here = {die.pk for die in plants.within(Die.objects.filter(pk__in=[o.die_id for o in lines]), request.user)}
        shown = {
            "bill": bill, "lines": lines, "own": spent(lines), "currency": shop.current().currency, "here": here,
            "orders": list(orders.values()), "apart": apart, "agreed": any(line.agreed is not None for line in lines),
            "paper": BillPaper.objects.filter(bill=bill).defer("data").first(),
            "may_strike": request.user.has_perm(roles.ORDER_SPARES) and not bill.is_struck,
            "sees_cost": request.user.has_perm(roles.SEE_COST), "several": len(plants.all_seen(request.user)) > 1,
            "sees_spares": request.user.has_perm(roles.SEE_SPARES),
        }  # fmt: skip
        return render(request, "maintenance/screens/bills/bill.html", shown)


@require_safe
def bill_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """The photo or the PDF, to be saved and never shown as a page of ours."""
    if not _sees(request.user):
        raise PermissionDenied("Not allowed: bills.")
    bill = _bill(request, pk)
    paper = BillPaper.objects.filter(bill=bill).first()
    if paper is None:
        raise Http404("Nothing is attached to this bill.")
    name = "".join(c for c in bill.number if c.isascii() and (c.isalnum() or c in "-_")) or "bill"
    return HttpResponse(
        bytes(paper.data),
        content_type={"pdf": "application/pdf", "jpg": "image/jpeg"}[paper.kind],
        headers={
            "Content-Disposition": f'attachment; filename="bill-{name}.{paper.kind}"',
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, max-age=0",
        },
    )


class StrikeBill(PermissionRequiredMixin, View):
    """A bill is struck out with its lines, with who and why."""

    raise_exception = True
    permission_required = roles.ORDER_SPARES

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        bill = _bill(request, pk)
        if bill.is_struck:
            messages.warning(request, "This bill is struck out already.")
            return redirect("maintenance:bill", pk=bill.pk)
        return self._show(request, bill, StrikeForm(**who_can(request, bill.plant_id)))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        bill = _bill(request, pk)
        form = StrikeForm(request.POST, **who_can(request, bill.plant_id))
        if form.is_valid():
            by = write.Actor(**who_did(request, form.cleaned_data["person"]))
            try:
                bills.strike_bill(by=by, bill=bill, reason=form.cleaned_data["reason"].replace("\x00", ""))
            except EntryRefused as refused:
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            else:
                messages.success(request, f"Bill {bill} is struck out. Its lines count no more.")
                return redirect(reverse("maintenance:bill", args=[bill.pk]))
        return self._show(request, bill, form, status=422)

    def _show(self, request: HttpRequest, bill: Bill, form: StrikeForm, *, status: int = 200) -> HttpResponse:
        shown = {"bill": bill, "form": form, "tablet": tablet_of(request)}
        return render(request, "maintenance/screens/bills/strike.html", shown, status=status)
