"""Pages of the register: the list of dies, the frame of a die's page, the words, and what a person sets for himself."""

from __future__ import annotations

from urllib.parse import urlencode

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse, reverse_lazy
from django.views import View
from django.views.generic import TemplateView, UpdateView
from django_filters.views import FilterView
from django_tables2 import SingleTableMixin

from . import panels, queries
from .filters import DieFilter
from .forms import SettingsForm
from .handbook.kinds import KINDS
from .models import Die, UserSettings
from .tables import DieTable, lay_out


class MySettings(UpdateView):
    http_method_names = ("get", "head", "options", "post")
    form_class = SettingsForm
    template_name = "diestore/settings.html"
    success_url = reverse_lazy("diestore:settings")

    def get_object(self, queryset=None):
        return UserSettings.objects.get_or_create(user=self.request.user)[0]

    def get_initial(self):
        return {"look": self.request.session.get("look", "")}

    def form_valid(self, form):
        self.request.session["look"] = form.cleaned_data["look"]
        messages.success(self.request, "Kept.")
        return super().form_valid(form)


class Dies(SingleTableMixin, FilterView):
    table_class = DieTable
    filterset_class = DieFilter
    template_name = "diestore/dies.html"

    def get_table(self, **kwargs):
        return lay_out(self.request, self.get_table_class()(self.get_table_data(), **self.get_table_kwargs()))

    def get_queryset(self):
        return queries.dies_for_list()

    def get_table_kwargs(self):
        return {"system": queries.system_of(self.request.user)}

    def get_context_data(self, **kwargs):
        return super().get_context_data(empty_register=not Die.objects.exists(), **kwargs)


class DiePage(View):
    """The frame; what is left of the die, its log and its money are panels of the apps above."""

    def get(self, request, pk: int):
        die = get_object_or_404(queries.dies_for_list(), pk=pk)
        outputs = [o for v in die.variants.all() for o in v.outputs.all()]
        return render(
            request,
            "diestore/die.html",
            {
                "die": die,
                "outputs": outputs,
                "system": queries.system_of(request.user),
                "panels": panels.render_all(request, die),
                "acts": panels.acts_for(request, die),
            },
        )


class DieByLabel(View):
    """The short address that stands on a die's label."""

    def get(self, request, code: str):
        code = code.replace("\x00", "")  # which no database holds
        found = Die.objects.filter(code__iexact=code)[:2]
        if len(found) == 1:
            return redirect("diestore:die", pk=found[0].pk)
        return redirect(f"{reverse('diestore:dies')}?{urlencode({'q': code})}")


class Words(TemplateView):
    template_name = "diestore/words.html"

    def get_context_data(self, **kwargs):
        from .handbook import cautions, words

        return super().get_context_data(
            letters=words.by_letter(),
            kinds=list(KINDS.values()),
            cautions=list(cautions.CAUTIONS.values()),
            first=cautions.FIRST,
            **kwargs,
        )
