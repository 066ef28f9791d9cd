"""Splitting a job; its list and card are those of every card."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views import View

from diestore.cards.forms import DayField, Rows
from diestore.frame.fields import WholeField
from diestore.register import actions
from diestore.register.models import Die

from .card import JOBS
from .split import split


class SplitForm(forms.Form):
    parts = WholeField(label=gettext_lazy("Parts that go to the other job"))
    number = forms.CharField(label=gettext_lazy("Number of the other job"), max_length=80)
    due = DayField(label=gettext_lazy("Due on"))
    die = Rows(
        Die.objects.none(),
        label=gettext_lazy("Die"),
        required=False,
        help_text=gettext_lazy("Empty: whichever makes the part."),
    )
    reason = forms.CharField(label=gettext_lazy("Why?"), max_length=300)

    def __init__(self, *args, job, dies, **kwargs) -> None:
        super().__init__(*args, initial={"number": f"{job.number}-2", "due": job.due, "die": job.die_id}, **kwargs)
        self.fields["die"].queryset = dies


class Split(View):
    http_method_names = ("get", "head", "options", "post")

    def dispatch(self, request, *args, **kwargs):
        if not JOBS.edits(request.user):
            raise PermissionDenied(_("Not allowed: jobs."))
        return super().dispatch(request, *args, **kwargs)

    def get(self, request, pk: int):
        job = get_object_or_404(JOBS.rows(request.user), pk=pk)
        return self._show(request, job, self._form(job))

    def post(self, request, pk: int):
        job = get_object_or_404(JOBS.rows(request.user), pk=pk)
        form = self._form(job, request.POST)
        if not form.is_valid():
            return self._show(request, job, form, 422)
        try:
            other = split(by=request.user, job=job, **form.cleaned_data)
        except actions.ChangeRefused as refused:
            for name, sentence in (refused.errors or {"": str(refused)}).items():
                form.add_error(name if name in form.fields else None, sentence)
            return self._show(request, job, form, 422)
        said = _("{job} is split: {parts:,} parts go to {other}.")
        messages.success(request, said.format(job=job, parts=other.parts, other=other))
        return redirect(JOBS.address("card", job.pk))

    def _form(self, job, data=None) -> SplitForm:
        dies = Die.objects.filter(plant=job.plant_id).exclude(status=Die.Status.RETIRED).order_by("code", "pk")
        return SplitForm(data, job=job, dies=dies)

    def _show(self, request, job, form, status: int = 200):
        return render(
            request, "maintenance/screens/jobs/split.html", {"job": job, "form": form, "card": JOBS}, status=status
        )
