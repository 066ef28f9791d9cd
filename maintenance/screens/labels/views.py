"""Choosing what gets a label, on which sheet, and from where on it; the answer is a PDF."""

from __future__ import annotations

from urllib.parse import quote, urlsplit

from django import forms
from django.core.exceptions import PermissionDenied, ValidationError
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views import View

from diestore.access import plants, roles
from diestore.access.queries import system_of
from diestore.frame.fields import Opens, Ticks, WholeField
from diestore.register.models import Die, Item
from maintenance.models import Order

from . import pdf
from .sheets import SHEETS

MOST = 500
WHO = (roles.EDIT_REGISTER, roles.EDIT_SPARES, roles.LOG_SHARPENING)
HERE_ONLY = ("localhost", "127.0.0.1", "::1")


class Kind:
    """What labels are made of. may: who sees it."""

    def __init__(self, title, may, rows, label) -> None:
        self.title, self.may, self.rows, self.label = title, may, rows, label


def _dies(user):
    return plants.within(Die.objects.exclude(status=Die.Status.RETIRED), user).order_by("code", "pk")


def _spares(user):
    return Item.objects.filter(retired_at=None).order_by("code", "revision", "pk")


def _jobs(user):
    rows = plants.within(Order.objects.filter(closed_at=None), user).select_related("part", "die")
    return rows.order_by("due", "number", "pk")


def _of_die(die, at):
    return pdf.Label(f"{at}/d/{quote(die.code, safe='')}/", die.code, (die.description,))


def _of_spare(item, at):
    return pdf.Label(at + reverse("reports:spare", args=[item.pk]), str(item), (item.description, item.shelf_place))


def _of_job(job, at):
    day = date_format(job.due, "d M Y")
    due = _("{parts:,} parts, due {day}").format(parts=job.parts, day=day)
    lines = (f"{job.part}", due, _("die {code}").format(code=job.die) if job.die else "")
    return pdf.Label(at + reverse("maintenance:jobs_card", args=[job.pk]), job.number, lines)


KINDS = {
    "dies": Kind(gettext_lazy("Dies"), WHO, _dies, _of_die),
    "spares": Kind(gettext_lazy("Spares, for their places on the shelf"), (roles.SEE_SPARES,), _spares, _of_spare),
    "jobs": Kind(gettext_lazy("Jobs"), (roles.SEE_COST, roles.EDIT_REGISTER), _jobs, _of_job),
}


class LabelForm(forms.Form):
    picked = forms.MultipleChoiceField(
        label=gettext_lazy("Which"), required=False, widget=Ticks, help_text=gettext_lazy("None ticked: all of them.")
    )
    sheet = forms.ChoiceField(
        label=gettext_lazy("Sheet"), choices=[(s.key, s.key) for s in SHEETS.values()], widget=Opens
    )
    first = WholeField(
        label=gettext_lazy("First label still on the sheet"),
        help_text=gettext_lazy("Counted along the rows. A new sheet: 1."),
    )
    address = forms.CharField(
        label=gettext_lazy("Address in the codes"),
        max_length=120,
        help_text=gettext_lazy("Under which phones reach the pages."),
    )

    def __init__(self, *args, rows, system: str, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["sheet"].choices = [(s.key, s.name_in(system)) for s in SHEETS.values()]
        self.fields["picked"].choices = [(str(row.pk), str(row)) for row in rows]

    def clean_address(self) -> str:
        address = self.cleaned_data["address"].rstrip("/")
        try:
            parts = urlsplit(address)
            fits = parts.scheme in ("http", "https") and parts.hostname and (parts.port or 1)
        except ValueError:
            fits = False
        if not fits or parts.query or parts.fragment or not address.isascii() or " " in address:
            raise ValidationError(_("Type it as a browser shows it, such as https://dies.example.com"))
        return address

    def clean(self) -> dict:
        cleaned = super().clean()
        sheet, first = SHEETS.get(cleaned.get("sheet", "")), cleaned.get("first")
        if sheet and first is not None and not 1 <= first <= sheet.labels:
            self.add_error("first", _("This sheet has {n} labels. Type a number from 1 to {n}.").format(n=sheet.labels))
        return cleaned


class Labels(View):
    http_method_names = ("get", "head", "options", "post")

    def dispatch(self, request, *args, **kwargs):
        if not any(request.user.has_perm(right) for right in WHO):
            raise PermissionDenied(_("Labels are printed by the toolroom and the buyer."))
        self.kinds = {key: kind for key, kind in KINDS.items() if any(map(request.user.has_perm, kind.may))}
        asked = request.GET.get("of", "dies")
        self.key = asked if asked in self.kinds else next(iter(self.kinds))
        return super().dispatch(request, *args, **kwargs)

    def get(self, request):
        rows = self._rows(request)
        start = {"first": 1, "sheet": next(iter(SHEETS)), "address": f"{request.scheme}://{request.get_host()}"}
        known = {str(row.pk) for row in rows}
        start["picked"] = [key for key in request.GET.getlist("pick") if key in known]
        return self._show(request, LabelForm(initial=start, rows=rows, system=system_of(request.user)))

    def post(self, request):
        rows = self._rows(request)
        form = LabelForm(request.POST, rows=rows, system=system_of(request.user))
        if not form.is_valid():
            return self._show(request, form, 422)
        told = form.cleaned_data
        picked = set(told["picked"]) or {str(row.pk) for row in rows}
        kind = self.kinds[self.key]
        labels = [kind.label(row, told["address"]) for row in rows if str(row.pk) in picked]
        if not labels:
            form.add_error("picked", _("There is nothing to print yet."))
            return self._show(request, form, 422)
        made = pdf.sheets(
            labels, SHEETS[told["sheet"]], first=told["first"], title=_("Labels: {kind}").format(kind=kind.title)
        )
        return HttpResponse(
            made, content_type="application/pdf", headers={"Content-Disposition": 'inline; filename="labels.pdf"'}
        )

    def _rows(self, request) -> list:
        rows = self.kinds[self.key].rows(request.user)
        if words := request.GET.get("q", "").replace("\x00", "").strip()[:80]:
            rows = rows.filter(**{f"{'number' if self.key == 'jobs' else 'code'}__icontains": words})
        return list(rows[:MOST])

    def _show(self, request, form, status: int = 200):
        host = urlsplit(f"//{request.get_host()}").hostname
        shown = {"form": form, "kinds": self.kinds.items(), "kind": self.kinds[self.key], "key": self.key,
                 "here_only": host in HERE_ONLY, "q": request.GET.get("q", "")}  # fmt: skip
        return render(request, "maintenance/screens/labels/labels.html", shown, status=status)
