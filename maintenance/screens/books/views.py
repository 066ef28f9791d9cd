"""A spreadsheet is brought, looked at and taken; templates, and the whole shop as one workbook."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.mixins import UserPassesTestMixin
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views import View

from diestore.access import roles
from diestore.access.models import UserSettings
from diestore.access.plants import plants_of, within
from diestore.register.models import Die, Plant
from diestore.service import queue
from maintenance import tasks
from maintenance.history import beside
from maintenance.log import changes
from maintenance.models import Workbook
from maintenance.workbooks import out, take
from maintenance.workbooks.pure.sheets import FIELDS, SORTS, Layout
from maintenance.workbooks.pure.understood import Assumed
from maintenance.workbooks.read import BYTES_AT_MOST, BookRefused, read_book

from . import page

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ANSWER_AT_MOST = 200


class Books(UserPassesTestMixin, View):
    """Who changes the register brings any list; who keeps the spares brings lists of spares."""

    raise_exception = True

    def test_func(self) -> bool:
        return self.request.user.has_perm(roles.EDIT_REGISTER) or self.request.user.has_perm(roles.EDIT_SPARES)

    @property
    def may_all(self) -> bool:
        return self.request.user.has_perm(roles.EDIT_REGISTER)

    def book(self, pk: int) -> Workbook:
        rows = within(Workbook.objects.exclude(choices__has_key="list"), self.request.user)
        rows = rows.select_related("plant", "uploaded_by")
        return get_object_or_404(rows, pk=pk)

    def plants(self) -> list[Plant]:
        return list(within(Plant.objects.order_by("pk"), self.request.user, "pk"))


class NewBook(Books):
    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show(request)

    def post(self, request: HttpRequest) -> HttpResponse:
        file = request.FILES.get("file")
        if file is None:
            return self._show(request, _("Pick a file: .xlsx or .csv."))
        plant = self._plant(request.POST.get("plant", ""))
        if plant is None:
            return self._show(request, _("Pick the plant that the file is of."))
        if file.size > BYTES_AT_MOST:
            most = f"{BYTES_AT_MOST / 1e6:g}"
            return self._show(
                request,
                _("The file has {size:,.1f} MB; {most} MB is the most.").format(size=file.size / 1e6, most=most),
            )
        try:
            read = read_book(file_name(file), file.read())
        except BookRefused as refused:
            return self._show(request, str(refused))
        if not any(grid.rows for grid in read.grids):
            return self._show(request, _("This file is empty."))
        made = take.kept_to_wait(plant, read, by=request.user)
        return redirect("maintenance:book", pk=made.pk)

    def _plant(self, code: str) -> Plant | None:
        there = self.plants()
        if not there and plants_of(self.request.user) is None:
            return Plant.objects.get_or_create(code="main")[0]
        return next((p for p in there if p.code == code), there[0] if len(there) == 1 else None)

    def _show(self, request: HttpRequest, problem: str = "") -> HttpResponse:
        plants = self.plants()
        sorts = [(k, _(v)) for k, v in SORTS.items() if self.may_all or k in ("stock", "prices")]
        context = {
            "problem": problem,
            "plants": plants,
            "waiting": take.waiting(plants),
            "sorts": sorts,
            "may_all": self.may_all,
            "most": f"{BYTES_AT_MOST / 1e6:g}",
            "has_dies": within(Die.objects.all(), request.user).exists(),
        }
        return render(request, "maintenance/screens/books/new.html", context, status=422 if problem else 200)


class OneBook(Books):
    """Sheet by sheet what was understood. Every answer is kept and all is looked at anew; nothing is saved in the
    records before the last button."""

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        book = self.book(pk)
        if book.brought_at is not None:
            dies = Die.objects.filter(plant=book.plant, code__in=book.outcome.get("dies", [])[: page.LINES_SHOWN])
            context = {"book": book, "dies": list(dies.order_by("code")), "added": book.outcome.get("added", [])}
            return render(request, "maintenance/screens/books/brought.html", context)
        return self._show(request, book, self._looked(book))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        book = self.book(pk)
        if book.brought_at is not None:
            messages.info(request, _("This file is in already."))
            return redirect("maintenance:book", pk=book.pk)
        number = _number(request.POST.get("sheet"))
        self._choose(request, book, number, self._looked(book))
        book.save(update_fields=["choices"])
        if "bring" not in request.POST:
            return redirect(f"{reverse('maintenance:book', args=[book.pk])}?sheet={number}#rows")
        looked = self._looked(book)
        if looked.is_open:
            return self._show(request, book, looked, _("Some questions are open. Answer those first."), status=422)
        with changes.following() as outcome:
            came = self._brought(book, looked)
        if came is None:
            return redirect("maintenance:book", pk=book.pk)
        if came.is_refused:
            return self._show(request, book, looked, _("Nothing was brought in: see what is marked."), status=422)
        if outcome.behind:
            messages.warning(request, _("All is in, but a forecast could not be made anew."))
        if came.added and queue.is_worked():
            tasks.plan_night(book.plant)  # records that were not there before: the shop is fitted anew with them
        messages.success(request, _("{name} is in.").format(name=book.name))
        return redirect("maintenance:book", pk=book.pk)

    def _brought(self, book: Workbook, looked: take.Looked) -> take.Outcome | None:
        """What came of bringing it in; None where somebody else was first."""
        if (
            beside.is_possible()
        ):  # a long one is loaded on a copy, so that others save meanwhile; again, it adds nothing
            came = self._bring(book, looked, dry_run=False)
            with transaction.atomic():
                return came if self._keep(book, looked, came) else None
        with transaction.atomic():
            if Workbook.objects.select_for_update().get(pk=book.pk).brought_at is not None:
                return None
            came = self._bring(book, looked, dry_run=False)
            self._keep(book, looked, came)
        return came

    def _keep(self, book: Workbook, looked: take.Looked, came: take.Outcome) -> bool:
        """Keep what came of a book in place of its cells, unless somebody else has brought it in meanwhile."""
        mine = Workbook.objects.select_for_update().filter(pk=book.pk, brought_at=None).first()
        if mine is None:
            return False
        if not came.is_refused:
            take.remember(book.plant, looked, book.choices)
            mine.brought_at, mine.cells = timezone.now(), b""
            mine.outcome = {
                "added": page.counted(came.added),
                "stood": page.counted(came.stood),
                "changes": [page.worded(said) for said in came.changes[:200]],
                "left": [page.worded(said) for said in came.left[:200]],
                "notes": came.notes[:50],
                "dies": _dies_of(looked),
            }
            mine.save()
        return True

    def _looked(self, book: Workbook) -> take.Looked:
        settings = UserSettings.objects.filter(user=self.request.user).first()
        system = settings.units if settings is not None else "metric"
        grids = take.unpacked(book.cells)
        return take.look(grids, book.choices, book.plant, system=system, book=book.name, may_all=self.may_all)

    def _bring(self, book: Workbook, looked: take.Looked, *, dry_run: bool) -> take.Outcome:
        return take.bring(
            looked,
            book.plant,
            dry_run=dry_run,
            take_register=book.choices.get("register") == "take",
            bad_empty=book.choices.get("bad") == "empty",
            user=self.request.user,
            name=book.name,
        )

    def _choose(self, request: HttpRequest, book: Workbook, number: int, looked: take.Looked) -> None:
        """What the form says, beside what was proposed: only what a person changed or was asked is kept."""
        sent = {k: str(v)[:ANSWER_AT_MOST].replace("\x00", "") for k, v in request.POST.items()}
        _answer(book.choices.setdefault("answers", {}), looked.lists.assumed, sent, "book-")
        for name, words in (("register", ("leave", "take")), ("bad", ("stop", "empty"))):
            if sent.get(name) in words:
                book.choices[name] = sent[name]
        if 0 <= number < len(looked.grids):
            self._choose_sheet(book, number, looked, sent)

    def _choose_sheet(self, book: Workbook, number: int, looked: take.Looked, sent: dict[str, str]) -> None:
        sheets = book.choices.setdefault("sheets", {})
        one = sheets.setdefault(str(number), {})
        laid = looked.layouts[number]
        sort, heading = sent.get("sort"), _number(sent.get("heading")) - 1
        now = take.EXACT if number in looked.exact else laid.sort
        if sort is not None and sort != now and sort in ("", take.EXACT, *SORTS):
            sheets[str(number)] = {"sort": sort}
        elif 0 <= heading < len(looked.grids[number].rows) and heading != laid.heading:
            sheets[str(number)] = {"heading": heading} | ({"sort": one["sort"]} if "sort" in one else {})
        else:
            columns = _columns(one.get("columns", {}), laid, sent)
            if columns:
                one |= {"columns": columns, "sort": laid.sort}
            _answer(one.setdefault("answers", {}), looked.reads[number].assumed, sent, "answer-")

    def _show(self, request, book, looked, problem: str = "", *, status: int = 200) -> HttpResponse:
        came = take.Outcome() if looked.is_open else self._bring(book, looked, dry_run=True)
        if looked.is_open:
            came.problems = take.unread(looked, bad_empty=book.choices.get("bad") == "empty")
        tabs = page.tabs(looked, came, self.may_all)
        number = _number(request.GET.get("sheet"), _number(request.POST.get("sheet"), -1))
        if not 0 <= number < len(tabs):
            number = next((t.number for t in tabs if t.sort and (t.open or t.problems)), None) or next(
                (t.number for t in tabs if t.sort or t.exact), 0
            )
        asked = [page.asked(a, "book-") for a in looked.lists.assumed]
        context = {
            "book": book,
            "problem": problem,
            "tabs": tabs,
            "rows": sum(len(grid.rows) for grid in looked.grids),
            "sheet": page.sheet(looked, number, came, may_all=self.may_all),
            "asked": [a for a in asked if a.asks],
            "assumed": [a for a in asked if not a.asks],
            "came": came,
            "added": page.counted(came.added),
            "stood": page.counted(came.stood),
            "problems": came.problems[: page.LINES_SHOWN],
            "more_problems": max(0, len(came.problems) - page.LINES_SHOWN),
            "doubts": came.doubts[: page.LINES_SHOWN],
            "more_doubts": max(0, len(came.doubts) - page.LINES_SHOWN),
            "changes": [page.worded(said) for said in came.changes[: page.LINES_SHOWN]],
            "more_changes": max(0, len(came.changes) - page.LINES_SHOWN),
            "left": [page.worded(said) for said in came.left[: page.LINES_SHOWN]],
            "more_left": max(0, len(came.left) - page.LINES_SHOWN),
            "takes": book.choices.get("register") == "take",
            "bad_empty": book.choices.get("bad") == "empty",
            "has_bad": any(p.grave for r in looked.reads for p in r.problems),
            "is_open": looked.is_open,
            "ready": not looked.is_open and not came.is_refused,
        }
        return render(request, "maintenance/screens/books/book.html", context, status=status)


class Away(Books):
    """Throw a book away that is not in yet."""

    http_method_names = ["post"]

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        book = self.book(pk)
        if "away" not in request.POST:
            return redirect("maintenance:book", pk=book.pk)
        if book.brought_at is None:
            book.delete()
            messages.success(
                request, _("{name} is thrown away. Nothing of it was in the records.").format(name=book.name)
            )
        return redirect("maintenance:book_new")


class Template(Books):
    """An empty list of a sort, filled with an example and explained."""

    http_method_names = ["get"]

    def get(self, request: HttpRequest, sort: str) -> HttpResponse:
        if sort not in SORTS or not (self.may_all or sort in ("stock", "prices")):
            raise Http404
        return _file(out.template(sort), f"{SORTS[sort].replace(' ', '-')}.xlsx")


class WholeShop(Books):
    """All of a plant's records as one workbook that can be brought back."""

    http_method_names = ["get"]

    def test_func(self) -> bool:
        return self.request.user.has_perm(roles.EDIT_REGISTER)

    def get(self, request: HttpRequest) -> HttpResponse:
        plants = self.plants()
        code = request.GET.get("plant", "")
        plant = next((p for p in plants if p.code == code), plants[0] if plants else None)
        if plant is None:
            raise Http404
        with out.whole_shop(plant) as path:
            return _file(path.read_bytes(), f"shop-{timezone.localdate():%Y-%m-%d}.xlsx")


def file_name(file) -> str:
    return str(file.name).replace("\x00", "")[-200:] or "spreadsheet"


def _answer(answers: dict, assumed: list[Assumed], sent: dict[str, str], prefix: str) -> None:
    for said in assumed:
        value = sent.get(f"{prefix}{said.key}")
        if value is not None and (said.asks or value != said.chosen):
            answers[said.key] = value


def _columns(columns: dict[str, str], laid: Layout, sent: dict[str, str]) -> dict[str, str]:
    """index -> field of the columns that somebody chose; a field is of one column, the one chosen last."""
    columns = dict(columns)
    for column in laid.columns:
        value = sent.get(f"column-{column.index}")
        if value is None or value == column.field or value not in ("", *FIELDS.get(laid.sort, ())):
            continue
        columns = {i: f for i, f in columns.items() if not value or f != value}
        columns[str(column.index)] = value
    return columns


def _file(data: bytes, name: str) -> HttpResponse:
    answer = HttpResponse(data, content_type=XLSX)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


def _number(text: str | None, otherwise: int = 0) -> int:
    return int(text) if text and text.isascii() and text.isdigit() and len(text) < 9 else otherwise


def _dies_of(looked: take.Looked) -> list[str]:
    codes = dict.fromkeys(str(r.values["die"]) for s in looked.reads for r in s.rows if r.values.get("die"))
    return list(codes)[:200]
