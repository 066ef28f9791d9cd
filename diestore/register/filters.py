"""Filters over the register's lists."""

from __future__ import annotations

import django_filters
from django.db.models import Q

from diestore.access.plants import within
from diestore.handbook import materials

from .models import Die, Output, Plant, Stock


def plants_seen(request):
    return within(Plant.objects.all(), request.user, path="pk")


class DieFilter(django_filters.FilterSet):
    """One line finds a die by whatever is known of it; the states are taps."""

    q = django_filters.CharFilter(method="search", label="Die, part, stock or press")
    status = django_filters.ChoiceFilter(choices=Die.Status)
    plant = django_filters.ModelChoiceFilter(queryset=plants_seen, label="Plant", empty_label="any")

    class Meta:
        model = Die
        fields: list[str] = []

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if plants_seen(self.request).count() < 2:
            del self.filters["plant"]

    def search(self, rows, name, value):
        makers = Output.objects.filter(part__number__icontains=value).values("variant__die")
        stocks = [
            pk
            for pk, material in Stock.objects.values_list("pk", "material")
            if value.lower() in f"{material} {materials.family_of(material) or ''}".lower()
        ]
        of_press = Q(usual_press__code__iexact=value)
        told = Q(code__icontains=value) | Q(description__icontains=value)
        return rows.filter(told | Q(pk__in=makers) | Q(usual_stock__in=stocks) | of_press)
