"""Filters over the register's lists."""

from __future__ import annotations

import django_filters
from django.db.models import Q

from diestore.access.plants import within
from diestore.handbook import materials

from .models import Die, Output, Plant, Press, Stock


def plants_seen(request):
    return within(Plant.objects.all(), request.user, path="pk")


def presses_seen(request):
    return within(Press.objects.all(), request.user)


class DieFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(method="search", label="Die, part or description")
    family = django_filters.ChoiceFilter(
        method="of_family", choices=[(f, f) for f in materials.FAMILIES], label="Stock family", empty_label="any"
    )
    stock = django_filters.ModelChoiceFilter(
        field_name="usual_stock", queryset=Stock.objects.all(), label="Stock", empty_label="any"
    )
    press = django_filters.ModelChoiceFilter(
        field_name="usual_press", queryset=presses_seen, label="Press", empty_label="any"
    )
    status = django_filters.ChoiceFilter(choices=Die.Status, label="Where it stands", empty_label="any")

    plant = django_filters.ModelChoiceFilter(queryset=plants_seen, label="Plant", empty_label="any")

    class Meta:
        model = Die
        fields: list[str] = []

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if plants_seen(self.request).count() < 2:
            del self.filters["plant"]

    def of_family(self, rows, name, value):
        stocks = [pk for pk, material in Stock.objects.values_list("pk", "material")
                  if materials.family_of(material) == value]  # fmt: skip
        return rows.filter(usual_stock__in=stocks)

    def search(self, rows, name, value):
        makers = Output.objects.filter(part__number__icontains=value).values("variant__die")
        return rows.filter(Q(code__icontains=value) | Q(description__icontains=value) | Q(pk__in=makers))
