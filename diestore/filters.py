"""Filters over the register's lists."""

from __future__ import annotations

import django_filters
from django.db.models import Q

from .models import Die, Press, Stock


class DieFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(method="search", label="Die, part or description")
    stock = django_filters.ModelChoiceFilter(
        field_name="usual_stock", queryset=Stock.objects.all(), label="Stock", empty_label="any"
    )
    press = django_filters.ModelChoiceFilter(
        field_name="usual_press", queryset=Press.objects.all(), label="Press", empty_label="any"
    )
    status = django_filters.ChoiceFilter(choices=Die.Status, label="Where it stands", empty_label="any")

    class Meta:
        model = Die
        fields: list[str] = []

    def search(self, rows, name, value):
        parts = Q(variants__outputs__part__number__icontains=value)
        return rows.filter(Q(code__icontains=value) | Q(description__icontains=value) | parts).distinct()
