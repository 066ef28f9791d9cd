"""The page on which a spare moves by hand, and on which one's own slip is taken back."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views import View

from diestore.access import plants, roles
from diestore.access.queries import system_of
from diestore.access.tablet import tablet_of
from diestore.access.who_does import who_can
from diestore.register.models import Die, Item
from diestore.row_keys import row_key
from maintenance.log import movement_reads, queries, shelf, take_back, write
from maintenance.log.rules import EntryRefused
from maintenance.models import StockMovement

from .forms import PLACE, WHATS, WHY_SCRAPPED, MoveForm, PlaceForm

Kind = StockMovement.Kind
SHOWN = 8
OFFERED = 60


def _lies(item: Item) -> str:
    if not item.shelf_place:
        return _("{item} lies in no named place from now on.").format(item=item)
    return _("{item} lies in {place} from now on.").format(item=item, place=item.shelf_place)


def _by_the_record(item: Item, n: int) -> str:
    return _("By the record {n:,} lie there now: count {item}.").format(n=n, item=item)


class Movement(PermissionRequiredMixin, View):
    """Without a spare in the address the page asks for one: of the die that is named, or by its code."""

    raise_exception = True
    permission_required = roles.TAKE_IN_SPARES

    def get(self, request: HttpRequest) -> HttpResponse:
        picked = plants.picked(request)
        item = self._item(request)
        if item is None or picked.plant is None:
            return self._ask(request, picked)
        what = self._what(request)
        return self._show(request, picked, item, what, self._form(request, picked, item, what))

    def post(self, request: HttpRequest) -> HttpResponse:
        picked = plants.picked(request)
        item = self._item(request)
        if item is None or picked.plant is None:
            return self._ask(request, picked, status=422)
        by = self._actor(request, picked.plant.pk)
        if slip := request.POST.get("undo"):
            self._undo(request, picked, item, row_key(slip), by)
            return self._again(request, picked, item)
        what = self._what(request)
        form = self._form(request, picked, item, what, data=request.POST)
        if not form.is_valid():
            return self._show(request, picked, item, what, form, status=422)
        try:
            saved = form.save(by)
        except EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, picked, item, what, form, status=422)
        if isinstance(saved, Item):
            messages.success(request, _lies(saved))
        else:
            messages.success(request, WHATS[what].done(saved))
            there = queries.stock_of_spares(picked.plant, items=[item.pk])
            if item.pk in there and there[item.pk].on_hand < 0:
                messages.warning(request, _by_the_record(item, there[item.pk].on_hand))
        return self._again(request, picked, item)

    def _undo(self, request: HttpRequest, picked, item: Item, pk: int | None, by: write.Actor) -> None:
        row = StockMovement.objects.filter(pk=pk, item=item, plant=picked.plant, kind__in=_BY_HAND).first()
        if row is None:
            messages.warning(request, _("That entry is not there any more."))
            return
        try:
            take_back.take_back(by=by, entry=row, on_a_tablet=tablet_of(request) is not None)
        except EntryRefused as refused:
            messages.warning(request, str(refused))
        else:
            words = _("Undone: {kind}, {n:,} × {item}.")
            words = words.format(kind=row.get_kind_display(), n=abs(row.quantity), item=item)
            messages.success(request, words)

    @staticmethod
    def _actor(request: HttpRequest, plant: int) -> write.Actor:
        tablet = tablet_of(request)
        person = who_can(request, plant)["person"]
        return write.Actor(person=person, user=request.user, device=tablet.device[:80] if tablet else "")

    @staticmethod
    def _again(request: HttpRequest, picked, item: Item) -> HttpResponse:
        query = urlencode({"item": item.pk} | ({"plant": picked.plant.pk} if picked.several else {}))
        return redirect(f"{reverse('maintenance:movement')}?{query}")

    @staticmethod
    def _item(request: HttpRequest) -> Item | None:
        if pk := row_key(request.GET.get("item")):
            return Item.objects.filter(pk=pk).first()
        code = " ".join(request.GET.get("q", "").replace("\x00", "").split())[:120]
        bare, __, revision = code.rpartition(" ")
        found = Item.objects.filter(code__iexact=code) or Item.objects.filter(
            code__iexact=bare, revision__iexact=revision
        )
        return (
            max(found, key=lambda one: (one.retired_at is None, one.revision, one.pk), default=None) if code else None
        )

    @staticmethod
    def _what(request: HttpRequest) -> str:
        asked = request.GET.get("what", "")
        return asked if asked in WHATS or asked == PLACE else next(iter(WHATS))

    @staticmethod
    def _form(request: HttpRequest, picked, item: Item, what: str, *, data=None):
        if what == PLACE:
            return PlaceForm(data, item=item)
        return MoveForm(
            data, what=what, item=item, plant=picked.plant, user=request.user, system=system_of(request.user),
            die=row_key(request.GET.get("die")),
        )  # fmt: skip

    def _ask(self, request: HttpRequest, picked, *, status: int = 200) -> HttpResponse:
        """Which spare: those of a die, or what the code is like."""
        die, words = None, " ".join(request.GET.get("q", "").replace("\x00", "").split())[:120]
        if pk := row_key(request.GET.get("die")):
            die = plants.within(Die.objects.all(), request.user).filter(pk=pk).first()
        rows = Item.objects.filter(retired_at=None)
        if die is not None and not words:
            rows = Item.objects.filter(positions__die=die).distinct()
        elif words:
            rows = rows.filter(code__icontains=words)
        offered = list(rows.order_by("code", "revision", "pk")[:OFFERED]) if die is not None or words else []
        there = queries.stock_of_spares(picked.plant, items=[row.pk for row in offered]) if offered else {}
        shown = {"picked": picked, "die": die, "q": words, "asked": bool(words),
                 "offered": [(row, there[row.pk].on_hand if row.pk in there else 0) for row in offered]}  # fmt: skip
        return render(request, "maintenance/screens/movement/which.html", shown, status=status)

    def _show(self, request: HttpRequest, picked, item: Item, what: str, form, *, status: int = 200) -> HttpResponse:
        plant = picked.plant
        there = queries.stock_of_spares(plant, items=[item.pk]).get(item.pk)
        rows = StockMovement.objects.filter(plant=plant, item=item, kind__in=_BY_HAND)
        rows = rows.exclude(kind__in=movement_reads.TWO_PLACES, place__in=movement_reads.BESIDE)
        tablet = tablet_of(request)
        latest = list(
            rows.select_related("die", "supplier", "person", "bench_work").order_by("-recorded_at", "-pk")[:SHOWN]
        )
        mine = tablet.who if tablet else None
        undo = {row.pk for row in latest if take_back.may_take_back(row, user=request.user, person=mine)}
        shown = {
            "picked": picked, "item": item, "what": what, "form": form, "on_hand": there.on_hand if there else 0,
            "whats": [*((name, one.words) for name, one in WHATS.items() if name != "moved" or picked.several),
                      (PLACE, _("Lies elsewhere"))],
            "does": WHATS[what].does if what in WHATS else _("Save its place"),
            "drawn": movement_reads.drawn(plant.pk, item=item.pk), "away": movement_reads.away(plant.pk, item.pk),
            "latest": latest, "undo": undo, "may_strike": request.user.has_perm(roles.STRIKE_ENTRY),
            "may_see": request.user.has_perm(roles.SEE_SPARES), "why": WHY_SCRAPPED,
            "rack": shelf.rack_of(item.shelf_place),
        }  # fmt: skip
        return render(request, "maintenance/screens/movement/movement.html", shown, status=status)


_BY_HAND = (*movement_reads.TWO_PLACES, Kind.SCRAPPED, Kind.SENT_BACK, Kind.MOVED)
