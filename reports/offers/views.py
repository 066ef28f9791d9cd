"""Pages of outlined tools."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views import View
from django.views.decorators.http import require_POST, require_safe

from diestore.access import plants, roles, shop
from diestore.access.queries import system_of
from diestore.handbook.build_doubts import Strip, usual_gap_pct
from diestore.register.models import Die
from maintenance.log import outlines as written
from maintenance.log.rules import EntryRefused

from . import reads, shown
from .forms import AssumedForm, OutlineForm, PricesForm, WayForm
from .reckon import ALL, CUSTOMER, SHOP, Told, figures_of, reckon

WHOSE = {
    ALL: gettext_lazy("all the money"),
    CUSTOMER: gettext_lazy("the customer's money"),
    SHOP: gettext_lazy("the shop's money"),
}


def outline_of(request: HttpRequest, pk: int):
    found = reads.outline(pk, request.user)
    if found is None:
        raise Http404(_("No such outline here."))
    return found


def whose_of(request: HttpRequest) -> str:
    asked = request.GET.get("whose", ALL)
    return asked if asked in WHOSE else ALL


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def outlines_page(request: HttpRequest) -> HttpResponse:
    """All outlines, the newest first; those that were put away with ?away=1."""
    picked = plants.picked(request)
    away = request.GET.get("away") == "1"
    rows = list(reads.outlines_of(picked.plant, away=away)[:500]) if picked.plant else []
    for row in rows:
        row.parts_in_all = sum(row.volumes)
    return render(
        request,
        "reports/offers/outlines.html",
        {"picked": picked, "rows": rows, "away": away, "query": f"?{picked.query}" if picked.query else ""},
    )


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def outline_page(request: HttpRequest, pk: int) -> HttpResponse:
    """The ways side by side, and what they come to."""
    told = reckon(outline_of(request, pk), whose=whose_of(request))
    context = shown.page(told, shop.current().currency, system_of(request.user))
    whose = [(key, words, key == told.whose) for key, words in WHOSE.items()]
    several = len(plants.all_seen(request.user)) > 1
    query = f"?plant={told.outline.plant_id}" if several else ""
    return render(request, "reports/offers/outline.html", context | {"whose": whose, "query": query})


class PutOutline(PermissionRequiredMixin, View):
    """An outline entered or changed. A new one may start from a die of the register: ?die=."""

    raise_exception = True
    permission_required = roles.OUTLINE_TOOLS

    def get(self, request: HttpRequest, pk: int | None = None) -> HttpResponse:
        found = outline_of(request, pk) if pk is not None else None
        die = self._die(request) if found is None else None
        return self._show(request, found, self._form(request, found, die), die)

    def post(self, request: HttpRequest, pk: int | None = None) -> HttpResponse:
        found = outline_of(request, pk) if pk is not None else None
        die = self._die(request) if found is None else None
        plant = found.plant if found else die.plant if die else plants.picked(request).plant
        if plant is None:
            raise Http404(_("No plant."))
        form = self._form(request, found, die, request.POST)
        if form.is_valid():
            values, places = form.values(), form.cleaned_data["places"]
            try:
                made = written.put_outline(by=request.user, plant=plant, values=values, places=places, outline=found)
            except EntryRefused as refused:
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            else:
                if found is None:
                    written.put_way(by=request.user, outline=made, values=_first_way(made, die))
                messages.success(request, _("{what} is saved.").format(what=made))
                return redirect("reports:outline", pk=made.pk)
        return self._show(request, found, form, die, status=422)

    @staticmethod
    def _die(request: HttpRequest) -> Die | None:
        asked = request.GET.get("die", "")
        if not (asked.isascii() and asked.isdigit() and len(asked) < 19):
            return None
        rows = Die.objects.select_related("plant", "usual_stock")
        die = plants.within(rows, request.user).filter(pk=int(asked)).first()
        if die is None:
            raise Http404(_("No such die here."))
        return die

    @staticmethod
    def _form(request, found, die, data=None) -> OutlineForm:
        start, places = {}, ()
        if found is not None:
            start = {
                name: getattr(found, name)
                for name in (
                    "customer",
                    "part",
                    "volumes",
                    "wanted_months",
                    "material",
                    "thickness_mm",
                    "tensile_mpa",
                    "burr_limit_um",
                    "parts_per_hit",
                    "strokes_per_minute",
                    "on",
                    "valid_until",
                    "note",
                )
            }
            places = [(place.kind, place.count, place.length_mm) for place in found.places.all()]
        elif die is not None:
            copied = reads.of_die(die)
            start, places = copied.values, copied.places
        return OutlineForm(data, system=system_of(request.user), today=timezone.localdate(), start=start, places=places)

    def _show(self, request, found, form, die, *, status: int = 200) -> HttpResponse:
        dies = plants.within(Die.objects.order_by("code"), request.user) if found is None and die is None else ()
        picked = plants.picked(request)
        if picked.plant is not None and dies != ():
            dies = dies.filter(plant=picked.plant)
        context = {"outline": found, "form": form, "die": die, "dies": dies, "picked": picked}
        return render(request, "reports/offers/edit.html", context, status=status)


def _first_way(outline, die: Die | None) -> dict:
    """What one starts from: the build of the die that it was taken from, else a usual one."""
    if die is not None:
        return reads.of_die(die).way
    strip = Strip(material=outline.material, tensile_mpa=outline.tensile_mpa, thickness_mm=outline.thickness_mm)
    gap = usual_gap_pct(strip)
    middle = None if gap is None else round((gap[0] + gap[1]) / 2, 1)
    return {"name": _("usual build"), "steel": "D2", "gap_pct": middle}


class PutWay(PermissionRequiredMixin, View):
    """A way of building entered, changed or taken away."""

    raise_exception = True
    permission_required = roles.OUTLINE_TOOLS

    def get(self, request: HttpRequest, pk: int, number: int | None = None) -> HttpResponse:
        outline, way = self._found(request, pk, number)
        like = way or outline.ways.order_by("-sequence").first()
        start = {name: getattr(like, name) for name in WayForm.base_fields} if like else {}
        if way is None and like is not None:
            start |= {"name": "", "price": None}
        return self._show(request, outline, way, WayForm(initial=start))

    def post(self, request: HttpRequest, pk: int, number: int | None = None) -> HttpResponse:
        outline, way = self._found(request, pk, number)
        if way is not None and request.POST.get("act") == "drop":
            written.drop_way(by=request.user, way=way)
            messages.success(request, _("{way} is taken away.").format(way=way.name))
            return redirect("reports:outline", pk=outline.pk)
        form = WayForm(request.POST)
        if form.is_valid():
            try:
                written.put_way(by=request.user, outline=outline, values=form.values(), way=way)
            except EntryRefused as refused:
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            else:
                messages.success(request, _("{what} is saved.").format(what=form.values()["name"]))
                return redirect("reports:outline", pk=outline.pk)
        return self._show(request, outline, way, form, status=422)

    @staticmethod
    def _found(request, pk: int, number: int | None):
        outline = outline_of(request, pk)
        if number is None:
            return outline, None
        way = outline.ways.filter(sequence=min(number, 30_000)).first()
        if way is None:
            raise Http404(_("No such way of building it."))
        return outline, way

    def _show(self, request, outline, way, form, *, status: int = 200) -> HttpResponse:
        return render(request, "reports/offers/way.html", {"outline": outline, "way": way, "form": form}, status=status)


class Assumed(PermissionRequiredMixin, View):
    """Every assumption, its source, and who pays what."""

    raise_exception = True
    permission_required = roles.OUTLINE_TOOLS

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        outline = outline_of(request, pk)
        return self._show(request, outline, self._form(outline))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        outline = outline_of(request, pk)
        form = self._form(outline, request.POST)
        if form.is_valid():
            figures, pays = form.typed(), form.shop_pays()
            written.assume(by=request.user, outline=outline, figures=figures, shop_pays=pays)
            messages.success(request, _("What is assumed is saved."))
            return redirect("reports:outline", pk=outline.pk)
        return self._show(request, outline, form, status=422)

    @staticmethod
    def _form(outline, data=None) -> AssumedForm:
        figures = figures_of(outline, reads.known_figures(outline.plant, outline.on))
        return AssumedForm(data, figures=figures, shop_pays=outline.shop_pays)

    def _show(self, request, outline, form, *, status: int = 200) -> HttpResponse:
        context = {"outline": outline, "form": form, "currency": shop.current().currency}
        return render(request, "reports/offers/assumed.html", context, status=status)


class Prices(PermissionRequiredMixin, View):
    """The shop's own price list by element."""

    raise_exception = True

    def get_permission_required(self):
        return (roles.SEE_COST if self.request.method in ("GET", "HEAD") else roles.OUTLINE_TOOLS,)

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show(request, self._form(request))

    def post(self, request: HttpRequest) -> HttpResponse:
        form, picked = self._form(request, request.POST), plants.picked(request)
        if picked.plant is None:
            raise Http404(_("No plant."))
        if form.is_valid():
            day = form.cleaned_data["day"]
            count = written.put_prices(by=request.user, plant=picked.plant, day=day, prices=form.typed())
            told = ngettext("{n} price saved, from {day} on.", "{n} prices saved, from {day} on.", count)
            messages.success(request, told.format(n=count, day=date_format(day, "j M Y")))
            return redirect(reverse("reports:build_prices") + (f"?{picked.query}" if picked.query else ""))
        return self._show(request, form, status=422)

    @staticmethod
    def _form(request, data=None) -> PricesForm:
        plant, today = plants.picked(request).plant, timezone.localdate()
        prices = reads.prices_on(plant, today) if plant else {}
        return PricesForm(data, today=today, prices=prices)

    def _show(self, request, form, *, status: int = 200) -> HttpResponse:
        picked = plants.picked(request)
        coming = reads.prices_to_come(picked.plant, timezone.localdate()) if picked.plant else []
        context = {"form": form, "picked": picked, "coming": coming, "currency": shop.current().currency}
        return render(request, "reports/offers/prices.html", context, status=status)


@require_POST
@permission_required(roles.OUTLINE_TOOLS, raise_exception=True)
def copy(request: HttpRequest, pk: int) -> HttpResponse:
    made = written.copy_outline(by=request.user, outline=outline_of(request, pk))
    messages.success(request, _("This is the copy; the one before stays as it is."))
    return redirect("reports:outline_change", pk=made.pk)


@require_POST
@permission_required(roles.OUTLINE_TOOLS, raise_exception=True)
def put_away(request: HttpRequest, pk: int) -> HttpResponse:
    outline = outline_of(request, pk)
    away = outline.put_away_at is None
    written.put_away(by=request.user, outline=outline, away=away)
    told = _("{outline} is put away.") if away else _("{outline} is back on the list.")
    messages.success(request, told.format(outline=outline))
    return redirect("reports:outlines" if away else "reports:outline", **({} if away else {"pk": outline.pk}))


__all__ = ["Told", "whose_of"]
