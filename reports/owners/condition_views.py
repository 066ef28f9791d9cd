"""Pages of the condition report: as it is now, signed off, as it was signed, struck out; each also on paper."""

from __future__ import annotations

import hashlib
import uuid

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants, roles
from diestore.access.tablet import tablet_of
from diestore.access.who_does import who_can, who_did
from diestore.register.models import Die
from maintenance.log import owners
from maintenance.log.owners import ReportSaid
from maintenance.log.rules import EntryRefused
from maintenance.wording.standing import Standing
from reports.cost import reads as cost_reads

from . import paper, reads, shown
from .condition import Condition, as_signed, condition_of
from .forms import SignForm, StrikeForm


class ConditionPage(PermissionRequiredMixin, View):
    """The report as the records tell it now, the signed ones, and the form that signs it."""

    raise_exception = True
    permission_required = roles.SEE_COST

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        now = condition_of(_die(request, pk))
        return self._show(request, now, self._form(request, now, None))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        now = condition_of(_die(request, pk))
        typed = {name: value.replace("\x00", "") for name, value in request.POST.items()}
        form = self._form(request, now, typed)
        if not form.is_valid():
            return self._show(request, now, form, status=422)
        c = form.cleaned_data
        if c["seen"] != _seen(now.said):
            form.data = typed | {"seen": _seen(now.said)}
            form.add_error(None, _("The records have changed since this page was opened. Read it again, then sign it."))
            return self._show(request, now, form, status=422)
        did = who_did(request, c["person"])
        key = "".join(ch for ch in c["key"] if ch.isascii() and (ch.isalnum() or ch in "-_"))
        try:
            report = owners.sign(
                person=did["person"], user=did["user"], die=now.die, customer=now.for_whom, said=now.said,
                note=c["note"], key=key,
            )  # fmt: skip
        except EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, now, form, status=422)
        told = _("The report of {die} is signed by {signer} and kept.")
        messages.success(request, told.format(die=now.die, signer=report.signer))
        return redirect("reports:signed_report", pk=report.pk)

    @staticmethod
    def _form(request: HttpRequest, now: Condition, data) -> SignForm:
        form = SignForm(data, **who_can(request, now.die.plant_id))
        form.initial |= {"key": uuid.uuid4().hex, "seen": _seen(now.said)}
        return form

    @staticmethod
    def _show(request: HttpRequest, now: Condition, form: SignForm, *, status: int = 200) -> HttpResponse:
        shown_here = body(now.said) | {
            "die": now.die, "form": form, "reports": owners.signed_of(now.die)[:20], "tablet": tablet_of(request),
        }  # fmt: skip
        return render(request, "reports/owners/condition.html", shown_here, status=status)


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def condition_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """The draft: nobody has signed it."""
    return as_paper(condition_of(_die(request, pk)).said)


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def signed_report(request: HttpRequest, pk: int) -> HttpResponse:
    """As it was signed."""
    report = _report(request, pk)
    return render(request, "reports/owners/signed.html", body(owners.read(report.said)) | {"report": report})


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def signed_report_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    return as_paper(owners.read(_report(request, pk).said))


class StrikeReport(PermissionRequiredMixin, View):
    """A signed report is struck out, with who and why."""

    raise_exception = True
    permission_required = roles.SEE_COST

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        report = _report(request, pk)
        if report.is_struck:
            messages.warning(request, _("This report is struck out already."))
            return redirect("reports:signed_report", pk=report.pk)
        return self._show(request, report, StrikeForm(**who_can(request, report.die.plant_id)))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        report = _report(request, pk)
        form = StrikeForm(request.POST, **who_can(request, report.die.plant_id))
        if form.is_valid():
            did = who_did(request, form.cleaned_data["person"])
            try:
                reason = form.cleaned_data["reason"].replace("\x00", "")
                owners.strike_report(person=did["person"], report=report, reason=reason)
            except EntryRefused as refused:
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            else:
                messages.success(request, _("The report is struck out. No customer is shown it."))
                return redirect("reports:signed_report", pk=report.pk)
        return self._show(request, report, form, status=422)

    @staticmethod
    def _show(request: HttpRequest, report, form: StrikeForm, *, status: int = 200) -> HttpResponse:
        shown_here = {"report": report, "form": form, "tablet": tablet_of(request)}
        return render(request, "reports/owners/strike.html", shown_here, status=status)


# --- shared by the pages and by the customer's link ---------------------------------------------------------------


def body(said: ReportSaid) -> dict:
    """What a page shows of a report. sheet: all of it in the language of its words, whoever reads."""
    with translation.override(said.language):
        told = shown.context(said) | {"mark": Standing(said.standing, said.css), "signed": as_signed(said)}
        return told | {"sheet": render_to_string("reports/owners/said.html", told)}


def as_paper(said: ReportSaid) -> HttpResponse:
    named = "".join(c for c in said.die if c.isascii() and (c.isalnum() or c in "-_")) or "die"
    with translation.override(said.language):
        made = paper.pdf(said)
    return HttpResponse(
        made,
        content_type="application/pdf",
        headers={"Content-Disposition": content_disposition_header(False, f"condition-{named}.pdf")},
    )


def _seen(said: ReportSaid) -> str:
    """Of what was read on the page: nobody signs figures that he has not seen."""
    return hashlib.sha256(said.model_dump_json().encode()).hexdigest()


def _die(request: HttpRequest, pk: int) -> Die:
    die = plants.within(cost_reads.with_plant(), request.user).filter(pk=pk).first()
    if die is None:
        raise Http404(_("No such die here."))
    return die


def _report(request: HttpRequest, pk: int):
    rows = plants.within(reads.signed_reports(), request.user, "die__plant")
    report = rows.filter(pk=pk).first()
    if report is None:
        raise Http404(_("No such report here."))
    return report
