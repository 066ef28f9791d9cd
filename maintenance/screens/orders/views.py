"""Pages of orders to suppliers: what is late and open, one order from draft to closed, what came, the paper."""

from __future__ import annotations

import datetime as dt

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.access.tablet import tablet_of
from diestore.access.who_does import who_can
from diestore.exports import csv_response
from diestore.row_keys import row_key
from maintenance.log import bench_reads, bills, purchase_reads, purchases, write
from maintenance.log.rules import EntryRefused
from maintenance.models import PurchaseOrder, StockMovement

from . import paper, sheet
from .forms import ConfirmForm, DraftForm, ReasonForm, TakeInForm, offered, wanted_of

PAST_A_PAGE = 25


def _orders(request: HttpRequest):
    rows = PurchaseOrder.objects.select_related("plant", "supplier")
    return plants.within(rows, request.user)


def _order(request: HttpRequest, pk: int) -> PurchaseOrder:
    return get_object_or_404(_orders(request), pk=pk)


def _actor(request: HttpRequest, plant: int) -> write.Actor:
    """Whoever is signed in, and the person of that sign-in."""
    tablet = tablet_of(request)
    return write.Actor(
        person=who_can(request, plant)["person"], user=request.user, device=tablet.device[:80] if tablet else ""
    )


def _needs(request: HttpRequest, permission: str, what: str) -> None:
    if not request.user.has_perm(permission):
        raise PermissionDenied(_("Not allowed: {what}.").format(what=_(what)))


class Orders(PermissionRequiredMixin, View):
    """What is late first, then drafts, what is waited for, and what is over."""

    raise_exception = True
    permission_required = roles.SEE_SPARES

    def get(self, request: HttpRequest) -> HttpResponse:
        picked = plants.picked(request)
        groups, past = [], None
        if picked.plant is not None:
            today = bench_reads.today_at(picked.plant)
            past = Paginator(purchase_reads.over(picked.plant), PAST_A_PAGE).get_page(request.GET.get("page"))
            drafts, waited = list(purchase_reads.drafts(picked.plant)), list(purchase_reads.waited_for(picked.plant))
            told = {row.pk: row for row in purchase_reads.rows([*drafts, *waited, *past], today=today)}
            far = dt.date.max
            coming = sorted((told[o.pk] for o in waited), key=lambda r: (-r.days_late, r.due_on or far, r.pk))
            late = [row for row in coming if row.days_late]
            groups = [
                ("late", _("Late"), late),
                ("drafts", _("Drafts, not placed yet"), [told[o.pk] for o in drafts]),
                ("coming", _("On order"), [row for row in coming if not row.days_late]),
            ]
            past.object_list = [told[o.pk] for o in past]
        shown = {
            "picked": picked, "groups": [g for g in groups if g[2]], "past": past,
            "late": len(groups[0][2]) if groups else 0, "waited": sum(len(g[2]) for g in groups if g[0] != "drafts"),
            "may_order": request.user.has_perm(roles.ORDER_SPARES),
            "may_take_in": request.user.has_perm(roles.TAKE_IN_SPARES),
        }  # fmt: skip
        return render(request, "maintenance/screens/orders/orders.html", shown)

    def post(self, request: HttpRequest) -> HttpResponse:
        """One tap: the supplier was asked."""
        _needs(request, roles.ORDER_SPARES, gettext_noop("orders"))
        order = _orders(request).filter(pk=row_key(request.POST.get("asked"))).first()
        if order is None:
            messages.warning(request, _("Tap one of the orders on the list."))
            return redirect("maintenance:purchases")
        try:
            purchases.chase(by=_actor(request, order.plant_id), order=order)
        except EntryRefused as refused:
            messages.warning(request, str(refused))
        else:
            said = _("{order}: asked {supplier} today.").format(order=order, supplier=order.supplier)
            messages.success(request, said)
        back = request.POST.get("back", "")
        query = f"?plant={order.plant_id}" if len(plants.all_seen(request.user)) > 1 else ""
        name = {"spares": "reports:spares", "order": ""}.get(back, "maintenance:purchases")
        return redirect(reverse(name) + query if name else reverse("maintenance:purchase", args=[order.pk]))


class New(PermissionRequiredMixin, View):
    """What was ticked on the list of spares goes into drafts, one a supplier."""

    raise_exception = True
    permission_required = roles.ORDER_SPARES
    http_method_names = ("post", "options")

    def post(self, request: HttpRequest) -> HttpResponse:
        picked = plants.picked(request)
        query = f"?{picked.query}" if picked.query else ""
        if picked.plant is None:
            messages.warning(request, _("There is no plant yet that could order anything."))
            return redirect("maintenance:purchases")
        try:
            told = purchases.draft(
                by=_actor(request, picked.plant.pk), plant=picked.plant, currency=shop.current().currency,
                wanted=wanted_of(request.POST.getlist("item")),
            )  # fmt: skip
        except EntryRefused as refused:
            messages.warning(request, str(refused))
            return redirect(reverse("reports:spares") + query)
        _say_drafted(request, told)
        if len(told.orders) == 1:
            return redirect("maintenance:purchase", pk=told.orders[0].pk)
        return redirect(reverse("maintenance:purchases") + query)


def _say_drafted(request: HttpRequest, told: purchases.Drafted) -> None:
    if told.orders:
        where = ", ".join(f"{order} ({order.supplier or _('no supplier yet')})" for order in told.orders[:6])
        if len(told.orders) == 1:
            said = ngettext("{n} line is in a draft: {where}.", "{n} lines are in a draft: {where}.", told.added)
        else:
            said = ngettext("{n} line is in drafts: {where}.", "{n} lines are in drafts: {where}.", told.added)
        placed = _("Nothing is ordered before it is placed.")
        messages.success(request, f"{said.format(n=told.added, where=where)} {placed}")
    if told.there:
        what = ", ".join(_("{item} in {order}").format(item=item, order=order) for item, order in told.there[:6])
        messages.info(request, _("Stands in a draft already and was not put in twice: {what}.").format(what=what))


class OneOrder(PermissionRequiredMixin, View):
    """One order. What can be done depends on how far it is; `act` says which of its buttons was tapped."""

    raise_exception = True
    permission_required = roles.SEE_SPARES

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        return self._show(request, purchase_reads.row_of(_order(request, pk)))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        _needs(request, roles.ORDER_SPARES, gettext_noop("orders"))
        row = purchase_reads.row_of(_order(request, pk))
        by, act = _actor(request, row.order.plant_id), request.POST.get("act", "")
        forms = {"save": DraftForm, "place": DraftForm, "confirm": ConfirmForm, "cancel": ReasonForm}
        if act not in forms:
            messages.warning(request, _("Tap one of the buttons."))
            return redirect("maintenance:purchase", pk=row.pk)
        form = forms[act](request.POST) if act == "cancel" else forms[act](request.POST, row=row)
        if not form.is_valid():
            return self._show(request, row, {act: form}, status=422)
        try:
            with transaction.atomic():
                said = self._act(act, form, by, row)
        except EntryRefused as refused:
            odd = form.asks_lots = isinstance(refused, purchases.OddLots)
            form.add_error(refused.field if refused.field in form.fields and not odd else None, str(refused))
            return self._show(request, purchase_reads.row_of(_order(request, pk)), {act: form}, status=422)
        messages.success(request, said)
        return redirect("maintenance:purchase", pk=row.pk)

    @staticmethod
    def _act(act: str, form, by: write.Actor, row: purchase_reads.OrderRow) -> str:
        order = row.order
        if act == "cancel":
            purchases.cancel(by=by, order=order, reason=form.cleaned_data["reason"])
            return _("{order} is cancelled.").format(order=order)
        if act == "confirm":
            form.save(by)
            said = _("{order}: what {supplier} confirmed is saved.")
            return said.format(order=order, supplier=order.supplier)
        saved = form.save(by)
        if act == "save":
            return _("{order} is saved. It is a draft until it is placed.").format(order=order)
        purchases.place(by=by, order=saved, seen=None, odd_lots=form.cleaned_data["odd_lots"])
        said = _("{order} is placed. Its lines are on order; send the order as PDF or as a spreadsheet.")
        return said.format(order=order)

    def _show(self, request, row: purchase_reads.OrderRow, amiss: dict | None = None, *, status: int = 200):
        amiss, order = amiss or {}, row.order
        may = request.user.has_perm(roles.ORDER_SPARES)
        draft = amiss.get("save") or amiss.get("place")
        moves = StockMovement.objects.filter(line__order=order).exclude(kind="ordered")
        moves = moves.exclude(place="on order", kind="delivered")
        shown = {
            "row": row, "order": order, "may_order": may, "may_take_in": request.user.has_perm(roles.TAKE_IN_SPARES),
            "draft": draft or (DraftForm(row=row) if may and order.is_draft else None),
            "confirm": amiss.get("confirm") or (ConfirmForm(row=row) if may and row.is_waited_for else None),
            "cancel": amiss.get("cancel") or (ReasonForm() if may and (order.is_draft or row.is_waited_for) else None),
            "wrong": next((form for form in amiss.values() if form.errors), None),
            "offered": offered(order) if may and order.is_draft else [],
            "steps": order.steps.select_related("person", "user").order_by("-at", "-pk"),
            "moves": moves.select_related("item", "struck_by", "person").order_by("-at", "-pk"),
            "may_strike": request.user.has_perm(roles.STRIKE_ENTRY), "several": len(plants.all_seen(request.user)) > 1,
            "today": bench_reads.today_at(order.plant),
            "billed": bills.against(order) if order.placed_at and may else None,
        }  # fmt: skip
        name = "draft" if order.is_draft and may else "order"
        return render(request, f"maintenance/screens/orders/{name}.html", shown, status=status)


class TakeIn(PermissionRequiredMixin, View):
    """What came of an order, whole or in part. More or fewer than ordered is asked about; sent twice it counts once."""

    raise_exception = True
    permission_required = roles.TAKE_IN_SPARES

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        row = purchase_reads.row_of(_order(request, pk))
        if row.order.placed_at is None or row.order.cancelled_at is not None:
            said = _("{order} is {state}: nothing of it can come.")
            messages.warning(request, said.format(order=row.order, state=_(row.state)))
            return redirect("maintenance:purchase", pk=row.pk)
        return self._show(request, row, TakeInForm(row=row))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        order = _order(request, pk)
        row = purchase_reads.row_of(order)
        form = TakeInForm(request.POST, row=row)
        if not form.is_valid():
            return self._show(request, row, form, status=422)
        key = form.cleaned_data["key"].replace("\x00", "")
        if key and StockMovement.objects.filter(line__order=order, key__startswith=f"{key}:").exists():
            messages.info(request, _("This delivery is taken in already. It counts once."))
            return redirect("maintenance:purchase", pk=row.pk)
        try:
            moves = purchases.receive(
                by=_actor(request, order.plant_id), order=order, at=form.cleaned_data["at"],
                note=form.cleaned_data["note"], came=form.came(all_of_it="all" in request.POST), key=key or None,
            )  # fmt: skip
        except purchases.Asks as asks:
            form.ask(asks.questions)
            return self._show(request, row, form, status=422)
        except EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, purchase_reads.row_of(order), form, status=422)
        pieces = sum(move.quantity for move in moves)
        if moves:
            said = ngettext("{order}: {n:,} piece is on the shelf.", "{order}: {n:,} pieces are on the shelf.", pieces)
        else:
            said = _("{order}: nothing was taken in.")
        messages.success(request, said.format(order=order, n=pieces))
        return redirect("maintenance:purchase", pk=row.pk)

    def _show(self, request, row, form: TakeInForm, *, status: int = 200) -> HttpResponse:
        shown = {"row": row, "order": row.order, "form": form, "asks": bool(form.questions),
                 "all": "all" in request.POST}  # fmt: skip
        return render(request, "maintenance/screens/orders/take_in.html", shown, status=status)


@require_safe
def order_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """The order as it goes to the supplier."""
    _needs(request, roles.SEE_SPARES, gettext_noop("spares"))
    row = purchase_reads.row_of(_order(request, pk))
    told = paper.read(row, shop_name=shop.current().name)
    return _file(paper.pdf(told), row, "application/pdf", "inline", "pdf")


@require_safe
def order_xlsx(request: HttpRequest, pk: int) -> HttpResponse:
    """The same as a spreadsheet, without any formula."""
    _needs(request, roles.SEE_SPARES, gettext_noop("spares"))
    row = purchase_reads.row_of(_order(request, pk))
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return _file(sheet.xlsx(paper.read(row, shop_name=shop.current().name)), row, kind, "attachment", "xlsx")


@require_safe
def order_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """Its lines by themselves, for a program that reads no spreadsheet."""
    _needs(request, roles.SEE_SPARES, gettext_noop("spares"))
    row = purchase_reads.row_of(_order(request, pk))
    told = paper.read(row, shop_name=shop.current().name)
    return csv_response(f"{_named(row)}.csv", sheet.HEAD, sheet.rows(told))


def _named(row: purchase_reads.OrderRow) -> str:
    return "".join(c for c in row.order.number if c.isascii() and (c.isalnum() or c in "-_")) or "order"


def _file(content: bytes, row: purchase_reads.OrderRow, kind: str, how: str, ending: str) -> HttpResponse:
    headers = {"Content-Disposition": f'{how}; filename="{_named(row)}.{ending}"'}
    return HttpResponse(content, content_type=kind, headers=headers)
