"""Lists of the buyer: a count sheet, a supplier's price list, the confirmation of an order.

Given out, brought, shown row by row with what each would change, and then brought in: all of it or nothing, once.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth.mixins import UserPassesTestMixin
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views import View

from diestore.access import plants, roles, shop
from diestore.access.tablet import tablet_of
from diestore.access.who_does import who_can
from diestore.exports import csv_response
from diestore.register.models import Party
from diestore.row_keys import row_key
from maintenance.log import bench_reads, shelf, write
from maintenance.log.rules import EntryRefused
from maintenance.models import PurchaseOrder, Workbook
from maintenance.workbooks import buying, out, take
from maintenance.workbooks.pure.registered import Lists
from maintenance.workbooks.pure.sheets import BUYING, CONFIRMATION, COUNT, PRICE_LIST
from maintenance.workbooks.read import BYTES_AT_MOST, BookRefused, read_book

from . import page
from .views import ANSWER_AT_MOST, _answer, _columns, _file, _number, file_name

MAY = {COUNT: roles.TAKE_IN_SPARES, PRICE_LIST: roles.SOURCE_SPARES, CONFIRMATION: roles.ORDER_SPARES}
ROWS_SHOWN = 400


@dataclass(frozen=True)
class Asked:
    """What a list is asked for. order, supplier: None where it is of none, or of none yet."""

    picked: plants.Picked
    order: PurchaseOrder | None
    supplier: Party | None
    rack: str


class Buying(UserPassesTestMixin, View):
    raise_exception = True

    def test_func(self) -> bool:
        sort = self.kwargs.get("sort")
        if sort is None:
            return any(self.request.user.has_perm(may) for may in MAY.values())
        return sort not in MAY or self.request.user.has_perm(MAY[sort])

    def asked(self, sort: str) -> Asked:
        if sort not in BUYING:
            raise Http404
        request, order = self.request, None
        if sort == CONFIRMATION:
            rows = PurchaseOrder.objects.select_related("plant", "supplier").exclude(supplier=None)
            order = get_object_or_404(plants.within(rows, request.user), pk=row_key(request.GET.get("order")))
        supplier = Party.objects.filter(pk=row_key(request.GET.get("supplier"))).first() if sort == PRICE_LIST else None
        return Asked(plants.picked(request), order, supplier, request.GET.get("rack", "")[:80])

    def book(self, pk: int) -> tuple[Workbook, str]:
        rows = plants.within(Workbook.objects.filter(choices__has_key="list"), self.request.user)
        book = get_object_or_404(rows.select_related("plant", "uploaded_by"), pk=pk)
        sort = book.choices["list"]
        if sort not in MAY or not self.request.user.has_perm(MAY[sort]):
            raise Http404
        return book, sort


class NewList(Buying):
    """A list is brought here. What the service gives out is offered beside it, to be typed into."""

    def get(self, request: HttpRequest, sort: str) -> HttpResponse:
        return self._show(sort, self.asked(sort))

    def post(self, request: HttpRequest, sort: str) -> HttpResponse:
        asked = self.asked(sort)
        supplier = asked.supplier
        if sort == PRICE_LIST and "supplier" in request.POST:
            supplier = Party.objects.filter(pk=row_key(request.POST["supplier"]), role="supplier").first()
            asked = Asked(asked.picked, asked.order, supplier, asked.rack)
        plant = asked.order.plant if asked.order else asked.picked.plant
        file, their_number = (
            request.FILES.get("file"),
            " ".join(request.POST.get("their_number", "").replace("\x00", "").split()),
        )
        problem = self._problem(sort, asked, plant, file, their_number)
        if problem:
            return self._show(sort, asked, problem)
        assert plant is not None and file is not None
        try:
            read = read_book(file_name(file), file.read())
        except BookRefused as refused:
            return self._show(sort, asked, str(refused))
        if not any(grid.rows for grid in read.grids):
            return self._show(sort, asked, _("This file is empty."))
        choices: dict[str, object] = {"list": sort, "rack": asked.rack, "their_number": their_number}
        if asked.order:
            choices["order"] = asked.order.pk
        if supplier:
            choices["supplier"] = supplier.pk
        made = take.kept_to_wait(plant, read, by=request.user, choices=choices)
        return redirect("maintenance:list", pk=made.pk)

    @staticmethod
    def _problem(sort: str, asked: Asked, plant, file, their_number: str) -> str:
        if plant is None:
            return _("There is no plant yet that this could be of.")
        if file is None:
            return _("Pick a file: .xlsx or .csv.")
        if file.size > BYTES_AT_MOST:
            return _("The file has {size:,.1f} MB; {most:g} MB is the most.").format(
                size=file.size / 1e6, most=BYTES_AT_MOST / 1e6
            )
        if sort == PRICE_LIST and asked.supplier is None:
            return _("Pick the supplier whose price list it is.")
        if len(their_number) > 60:
            return _("The supplier's number has {n} letters; 60 is the most.").format(n=len(their_number))
        return ""

    def _show(self, sort: str, asked: Asked, problem: str = "") -> HttpResponse:
        racks = list(shelf.racks(asked.picked.plant)) if sort == COUNT and asked.picked.plant else []
        shown = {
            "sort": sort, "named": _(BUYING[sort]), "asked": asked, "picked": asked.picked, "problem": problem,
            "racks": racks, "rack": asked.rack if asked.rack in racks else next(iter(racks), ""), "order": asked.order,
            "suppliers": Party.objects.filter(role="supplier", retired_at=None).order_by("code")
            if sort == PRICE_LIST else (), "most": f"{BYTES_AT_MOST / 1e6:g}", "back": _back(sort, asked),
            "their_number": self.request.POST.get("their_number", asked.order.their_number if asked.order else ""),
        }  # fmt: skip
        return render(self.request, "maintenance/screens/books/list_new.html", shown, status=422 if problem else 200)


def _back(sort: str, asked: Asked) -> tuple[str, str]:
    """Where somebody came from: its address and its name."""
    if asked.order is not None:
        return reverse("maintenance:purchase", args=[asked.order.pk]), _("The order")
    query = {"plant": asked.picked.plant.pk} if asked.picked.several and asked.picked.plant else {}
    if sort == COUNT:
        query = ({"rack": asked.rack} if asked.rack else {}) | query
        return reverse("maintenance:shelf") + (f"?{urlencode(query)}" if query else ""), _("The shelf")
    return reverse("reports:spares") + (f"?{urlencode(query)}" if query else ""), _("Spares")


class GivenOut(Buying):
    """The list as the service gives it out: a count sheet of a rack, or all that a supplier is a source of."""

    http_method_names = ["get"]
    ending = "xlsx"

    def get(self, request: HttpRequest, sort: str) -> HttpResponse:
        asked = self.asked(sort)
        now = timezone.localtime()
        to_fill: frozenset[str] = frozenset()
        if sort == COUNT and asked.picked.plant is not None:
            head, rows = buying.count_rows(asked.picked.plant, asked.rack)
            title = _("Count sheet of {rack}, {plant}, {day}").format(
                rack=asked.rack or _("the shelf"), plant=asked.picked.plant, day=f"{now:%Y-%m-%d %H:%M}"
            )
            about = _("Type what lies there, and why it differs where it does. What is left empty is not counted.")
            to_fill = frozenset({"Lies there", "Why it differs"})
        elif sort == PRICE_LIST and asked.supplier is not None:
            head, rows = buying.price_rows(asked.supplier, timezone.localdate())
            title = _("Price list of {supplier}, {day}").format(supplier=asked.supplier, day=f"{now:%Y-%m-%d}")
            about = _("A row for each price break. What is left as it stands changes nothing.")
        else:
            raise Http404
        name = f"{sort}-{now:%Y-%m-%d}.{self.ending}"
        if self.ending == "csv":
            return csv_response(name, head, rows)
        return _file(out.list_of_rows(title, head, rows, about=about, to_fill=to_fill), name)


class OneList(Buying):
    """Row by row what the list would change, and what is wrong with it; then brought in, all of it or nothing."""

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        book, sort = self.book(pk)
        if book.brought_at is not None:
            shown = {"book": book, "named": _(BUYING[sort]), "told": book.outcome, "back": self._back(book, sort)}
            return render(request, "maintenance/screens/books/list_in.html", shown)
        return self._show(book, sort)

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        book, sort = self.book(pk)
        if "away" in request.POST and book.brought_at is None:
            book.delete()
            messages.success(request, _("{name} is thrown away. Nothing of it was saved.").format(name=book.name))
            return redirect(self._back(book, sort)[0])
        if book.brought_at is not None:
            messages.info(request, _("This list is in already. Nothing was changed twice."))
            return redirect("maintenance:list", pk=book.pk)
        self._choose(book, sort)
        if "bring" not in request.POST:
            return redirect("maintenance:list", pk=book.pk)
        try:
            told = self._brought(book, sort, request.POST.get("seen", ""))
        except buying.SeenOtherwise:
            words = _("Something changed since you looked at it, so nothing was brought in. Look at the rows again.")
            return self._show(book, sort, words, status=422)
        except EntryRefused as refused:
            return self._show(book, sort, str(refused), status=422)
        if told is None:
            messages.info(request, _("This list is in already. Nothing was changed twice."))
        elif told.wrong or told.again or not told.would_change:
            words = (
                _("Nothing was brought in: see what is marked.") if told.wrong else _("There is nothing to bring in.")
            )
            return self._show(book, sort, words, status=422)
        else:
            messages.success(request, _("{name} is in.").format(name=book.name))
        return redirect("maintenance:list", pk=book.pk)

    def _brought(self, book: Workbook, sort: str, seen: str) -> buying.Told | None:
        """What came of it; None where somebody else was first."""
        with transaction.atomic():
            mine = Workbook.objects.select_for_update().filter(pk=book.pk, brought_at=None).first()
            if mine is None:
                return None
            _number_of, sheet = self._sheet(mine, sort)
            if self._is_open(sheet):
                return buying.Told(lines=[], problems=[_("Some questions are open. Answer those first.")])
            told = buying.bring(sheet, self._of(mine), by=self._actor(mine), keep=True, seen=seen)
            if told.wrong or told.again or not told.would_change:
                return told
            looked = take.Looked([], [sheet.layout], [sheet], Lists())
            take.remember(mine.plant, looked, {"sheets": {"0": mine.choices}})
            mine.brought_at, mine.cells = timezone.now(), b""
            mine.outcome = {
                "changing": told.changing, "notes": told.notes[:50],
                "lines": [[line.row, line.spare, " ".join(line.says)] for line in told.lines if line.changes][:400],
            }  # fmt: skip
            mine.save()
        return told

    def _of(self, book: Workbook) -> buying.Of:
        choices = book.choices
        order = PurchaseOrder.objects.select_related("plant", "supplier").filter(pk=choices.get("order")).first()
        supplier = Party.objects.filter(pk=choices.get("supplier")).first()
        return buying.Of(
            plant=book.plant, currency=shop.current().currency, order=order, supplier=supplier,
            their_number=choices.get("their_number", ""),
        )  # fmt: skip

    def _actor(self, book: Workbook) -> write.Actor:
        tablet = tablet_of(self.request)
        person = who_can(self.request, book.plant_id)["person"]
        return write.Actor(person=person, user=self.request.user, device=tablet.device[:80] if tablet else "")

    @staticmethod
    def _sheet(book: Workbook, sort: str):
        return buying.sheet_of(take.unpacked(book.cells), sort, book.choices, book.plant, book=book.name)

    @staticmethod
    def _is_open(sheet) -> bool:
        return bool(sheet.layout.missing) or any(one.is_open for one in sheet.assumed)

    def _choose(self, book: Workbook, sort: str) -> None:
        sent = {k: str(v)[:ANSWER_AT_MOST].replace("\x00", "") for k, v in self.request.POST.items()}
        _number_of, sheet = self._sheet(book, sort)
        heading = _number(sent.get("heading")) - 1
        if heading >= 0 and heading != (sheet.layout.heading or 0):
            book.choices |= {"heading": heading, "columns": {}, "answers": {}}
        else:
            book.choices["columns"] = _columns(book.choices.get("columns", {}), sheet.layout, sent)
            _answer(book.choices.setdefault("answers", {}), sheet.assumed, sent, "answer-")
        book.save(update_fields=["choices"])

    def _back(self, book: Workbook, sort: str) -> tuple[str, str]:
        of = self._of(book)
        return _back(sort, Asked(plants.picked(self.request), of.order, of.supplier, book.choices.get("rack", "")))

    def _show(self, book: Workbook, sort: str, problem: str = "", *, status: int = 200) -> HttpResponse:
        grids = take.unpacked(book.cells)
        number, sheet = buying.sheet_of(grids, sort, book.choices, book.plant, book=book.name)
        told = buying.bring(sheet, self._of(book), by=self._actor(book), keep=False)
        of, missing = self._of(book), sheet.layout.missing
        first = [line for line in told.lines if line.wrong]
        rest = [line for line in told.lines if not line.wrong]
        lines = sorted([*first, *rest][:ROWS_SHOWN], key=lambda line: line.row)
        asked = [page.asked(one, "answer-") for one in sheet.assumed]
        opened = self._is_open(sheet)
        shown = {
            "book": book, "sort": sort, "named": _(BUYING[sort]), "problem": problem, "told": told, "lines": lines,
            "more": len(told.lines) - len(lines), "of": of, "back": self._back(book, sort), "is_open": opened,
            "columns": page.columns_of(grids[number], sheet.layout) if sheet.layout.sort else [],
            "heading": (sheet.layout.heading or 0) + 1, "name": grids[number].name, "others": len(grids) - 1,
            "missing": "; ".join(_(" or ").join(_(page.WHAT[f]) for f in group) for group in missing),
            "no_list": not sheet.layout.sort, "asked": [one for one in asked if one.asks],
            "assumed": [one for one in asked if not one.asks], "skipped": page.skipped_words(sheet),
            "ready": not opened and not told.wrong and not told.again and told.would_change,
            "today": bench_reads.today_at(book.plant),
        }  # fmt: skip
        return render(self.request, "maintenance/screens/books/list.html", shown, status=status)
