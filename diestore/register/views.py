"""Pages of the register: the list of dies, and the frame of a die's page."""

from __future__ import annotations

from collections import Counter
from urllib.parse import urlencode

from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views import View
from django_filters.views import FilterView
from django_tables2 import SingleTableMixin

from diestore.access.plants import within
from diestore.access.queries import system_of
from diestore.frame.tables import lay_out
from diestore.frame.taps import taps

from . import panels, queries
from .filters import DieFilter
from .models import Die
from .tables import DieTable


class Dies(SingleTableMixin, FilterView):
    table_class = DieTable
    filterset_class = DieFilter
    template_name = "diestore/register/dies.html"

    def get_table(self, **kwargs):
        return lay_out(self.request, self.get_table_class()(self.get_table_data(), **self.get_table_kwargs()))

    def get_queryset(self):
        return within(queries.dies_for_list(), self.request.user)

    def get_table_kwargs(self):
        return {"system": system_of(self.request.user)}

    def get_context_data(self, **kwargs):
        seen = within(Die.objects.all(), self.request.user)
        return super().get_context_data(
            empty_register=not seen.exists(),
            taps=taps(self.request, "status", self._states(seen)),
            kept={"status": self.request.GET["status"]} if self.request.GET.get("status") else {},
            clear=self.request.path if self.request.GET else "",
            **kwargs,
        )

    def _states(self, seen):
        """Each state with how many dies it has among those that the line finds."""
        line = {name: value for name, value in self.request.GET.items() if name != "status"}
        found = DieFilter(line, queryset=seen, request=self.request).qs
        counts = Counter(found.order_by().values_list("status", flat=True))
        return [("", "all", counts.total()), *((value, words, counts[value]) for value, words in Die.Status.choices)]


class DiePage(View):
    """The frame; what is left of the die, its log and its money are panels of the apps above."""

    def get(self, request, pk: int):
        die = get_object_or_404(within(queries.dies_for_list().prefetch_related(None), request.user), pk=pk)
        return render(
            request,
            "diestore/register/die.html",
            {
                "die": die,
                "outputs": queries.outputs_of(die),
                "system": system_of(request.user),
                "panels": panels.panels_for(request, die),
                "acts": panels.acts_for(request, die),
            },
        )


class DieByLabel(View):
    """The short address that stands on a die's label."""

    def get(self, request, code: str):
        code = code.replace("\x00", "")  # which no database holds
        dies = within(Die.objects.filter(code__iexact=code), request.user)[:2]
        if len(dies) == 1:
            return redirect("diestore:die", pk=dies[0].pk)
        return redirect(f"{reverse('diestore:find')}?{urlencode({'q': code})}")
