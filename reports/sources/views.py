"""Pages of who supplies a spare: all sources of it, one source, and the level set by hand."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.register import sourcing
from diestore.register.models import Item
from diestore.register.writing import ChangeRefused

from . import reads
from .forms import EndForm, LevelForm, SourceForm


def _item(pk: int) -> Item:
    return get_object_or_404(Item.objects.select_related("supplier"), pk=pk)


def _query(picked) -> str:
    return f"?plant={picked.plant.pk}" if picked.several and picked.plant else ""


@require_safe
@permission_required(roles.SEE_SPARES, raise_exception=True)
def sources_page(request: HttpRequest, pk: int) -> HttpResponse:
    """All sources of a spare side by side, their price lists, what they took, and who changed what."""
    picked, item = plants.picked(request), _item(pk)
    rows = reads.of_item(item, picked.plant, timezone.localdate())
    shown = {
        "item": item, "picked": picked, "query": _query(picked), "past": reads.past_of(item),
        "rows": rows, "all_of_it": True, "prefers": next((row.source.supplier_id for row in rows), None),
    }  # fmt: skip
    return render(request, "reports/sources/sources.html", shown)


class OneSource(PermissionRequiredMixin, View):
    """A source entered, changed or ended. `act` says which button was tapped."""

    raise_exception = True
    permission_required = roles.SOURCE_SPARES

    def get(self, request: HttpRequest, pk: int, source: int | None = None) -> HttpResponse:
        item, row = self._found(request, pk, source)
        return self._show(request, item, row, self._form(item, row))

    def post(self, request: HttpRequest, pk: int, source: int | None = None) -> HttpResponse:
        item, row = self._found(request, pk, source)
        if row is not None and request.POST.get("act") == "end":
            return self._end(request, item, row)
        form = self._form(item, row, request.POST)
        if not form.is_valid():
            return self._show(request, item, row, form, status=422)
        c = form.cleaned_data
        said = {"values": form.values(), "prices_from": c["prices_from"], "in_its_place": c["in_its_place"]}
        try:
            if row is None:
                made = sourcing.enter(by=request.user, item=item, prices=form.prices() or (), **said)
            else:
                made = sourcing.change(by=request.user, source=row.source, prices=form.prices(), seen=c["seen"], **said)
        except ChangeRefused as refused:
            return self._refused(request, item, row, form, refused)
        messages.success(request, _("{item}: {what} is saved.").format(item=item, what=made))
        return redirect(reverse("reports:spare", args=[item.pk]) + _query(plants.picked(request)) + "#sources")

    def _end(self, request, item, row) -> HttpResponse:
        end = EndForm(request.POST)
        if end.is_valid():
            try:
                sourcing.end(by=request.user, source=row.source, **end.cleaned_data)
            except ChangeRefused as refused:
                end.add_error(refused.field if refused.field in end.fields else None, str(refused))
            else:
                messages.success(
                    request, _("{item}: nothing comes from {source} any more.").format(item=item, source=row.source)
                )
                return redirect(reverse("reports:spare", args=[item.pk]) + _query(plants.picked(request)) + "#sources")
        return self._show(request, item, row, self._form(item, row), end=end, status=422)

    @staticmethod
    def _found(request, pk: int, source: int | None):
        item = _item(pk)
        if source is None:
            return item, None
        rows = reads.of_item(item, plants.picked(request).plant, timezone.localdate())
        row = next((row for row in rows if row.source.pk == source), None)
        if row is None:
            raise Http404(_("No such source of this spare."))
        return item, row

    @staticmethod
    def _form(item, row, data=None) -> SourceForm:
        return SourceForm(data, item=item, row=row, currency=shop.current().currency, today=timezone.localdate())

    def _refused(self, request, item, row, form, refused: ChangeRefused) -> HttpResponse:
        for name, words in (refused.errors or {"": str(refused)}).items():
            form.add_error(name if name in form.fields else None, words)
        return self._show(request, item, row, form, status=422)

    def _show(self, request, item, row, form, *, end=None, status: int = 200) -> HttpResponse:
        picked = plants.picked(request)
        shown = {
            "item": item, "row": row, "form": form, "query": _query(picked), 
            "wrong": form.errors or (end and end.errors),
            "end": end or (EndForm() if row is not None and row.source.stands else None),
        }  # fmt: skip
        return render(request, "reports/sources/source.html", shown, status=status)


class Level(PermissionRequiredMixin, View):
    """A level of one spare set by hand in the place of the one reckoned, and taken back."""

    raise_exception = True
    permission_required = roles.SOURCE_SPARES

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        return self._show(request, _item(pk), LevelForm())

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        item, picked = _item(pk), plants.picked(request)
        back = reverse("reports:spare", args=[item.pk]) + _query(picked)
        if picked.plant is None:
            raise Http404(_("No plant."))
        if request.POST.get("act") == "back":
            try:
                sourcing.take_level_back(by=request.user, plant=picked.plant, item=item)
            except ChangeRefused as refused:
                messages.warning(request, str(refused))
            else:
                messages.success(request, _("{item}: what is worked out counts again.").format(item=item))
            return redirect(back)
        form = LevelForm(request.POST)
        if form.is_valid():
            try:
                with transaction.atomic():
                    level = sourcing.set_level(by=request.user, plant=picked.plant, item=item, **form.cleaned_data)
            except ChangeRefused as refused:
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            else:
                messages.success(request, _("{item}: {level}, set by hand.").format(item=item, level=level.words))
                return redirect(back)
        return self._show(request, item, form, status=422)

    def _show(self, request, item, form, *, status: int = 200) -> HttpResponse:
        picked = plants.picked(request)
        level = reads.levels(picked.plant, [item.pk]).get(item.pk) if picked.plant else None
        shown = {"item": item, "form": form, "level": level, "query": _query(picked), "picked": picked}
        return render(request, "reports/sources/level.html", shown, status=status)
