"""A card's list: a table and its filter, made of the description. Tables format, they never compute."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from decimal import Decimal

import django_filters
import django_tables2 as tables
from django import forms
from django.db import models
from django.db.models import Count, Q
from django.http import HttpRequest
from django.utils.html import format_html

from diestore import units
from diestore.frame.tables import RIGHT, Column
from diestore.frame.taps import Tap, taps

from .described import Card


def table_of(card: Card) -> type[tables.Table]:
    """The table of a card: its first column leads to the card."""
    made: dict[str, object] = {}
    for index, name in enumerate(card.columns):
        field = card.model._meta.get_field(name)
        label = next((t.label for t in card.typed if t.name == name), str(field.verbose_name).capitalize())
        way = f"{name}__{field.related_model._meta.ordering[0].lstrip('-')}" if field.is_relation else name
        right = isinstance(field, models.FloatField | models.IntegerField) and not field.choices
        made[name] = Column(
            verbose_name=label, accessor=name, order_by=(way, "pk"), default="–", attrs=RIGHT if right else {}
        )
        made[f"render_{name}"] = _cell(card, field, leads=index == 0)
    made["Meta"] = type("Meta", (), {"empty_text": f"No {card.one} matches."})
    return type(f"{card.key.title()}Table", (InUnits, tables.Table), made)


class InUnits:
    """Of a table: figures in the units of whoever looks."""

    def __init__(self, *args, system: units.System = units.System.METRIC, **kwargs) -> None:
        self.system = system
        super().__init__(*args, **kwargs)


def _cell(card: Card, field, *, leads: bool):
    def render(self, value, record):
        text = _as_text(field, value, record, self.system)
        if not leads:
            return text
        gone = f" ({card.out[4]})" if _ends(card) and getattr(record, _ends(card)) else ""
        return format_html('<a href="{}">{}</a>{}', card.address("card", record.pk), text, gone)

    return render


def _as_text(field, value, record, system) -> str:
    if field.choices:
        return getattr(record, f"get_{field.name}_display")()
    if isinstance(value, Decimal):
        return f"{value:,.2f}" if value == round(value, 2) else f"{value:,.4f}"
    if isinstance(value, float):
        try:
            return units.show(value, field.name, system)
        except KeyError:
            return f"{value:,g}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime | dt.date):
        return f"{value:%d %b %Y}".lstrip("0")
    if isinstance(value, int):
        return str(value) if field.name == "year" else f"{value:,}"
    return str(value)


def filter_of(card: Card) -> type[django_filters.FilterSet]:
    """Search over a card's words, a choice for each column that names another row, and those out of use."""
    made: dict[str, object] = {
        "q": django_filters.CharFilter(method="find", label="Search"),
        "find": _find(card),
    }
    for name in card.columns:
        field = card.model._meta.get_field(name)
        if field.choices:
            made[name] = django_filters.ChoiceFilter(
                choices=field.flatchoices, label=_label(card, name), empty_label="all"
            )
    if _ends(card):
        made["gone"] = django_filters.BooleanFilter(
            method="with_gone", label=f"Also those {card.out[4]}", widget=forms.CheckboxInput
        )
        made["with_gone"] = lambda self, rows, name, value: rows
    made["Meta"] = type("Meta", (), {"model": card.model, "fields": []})
    return type(f"{card.key.title()}Filter", (CardFilter,), made | {"ends": _ends(card)})


class CardFilter(django_filters.FilterSet):
    ends = ""

    def filter_queryset(self, rows):
        found = super().filter_queryset(rows)
        return found if not self.ends or self.form.cleaned_data.get("gone") else found.filter(**{self.ends: None})


def taps_of(card: Card, request: HttpRequest) -> list[tuple[str, list[Tap]]]:
    """The states of a card's list, each with its count among what is found: one row of taps for each column of choices,
    without those that nothing has, and one for what is out of use."""
    made = []
    for name in card.columns:
        field = card.model._meta.get_field(name)
        if not field.choices:
            continue
        counts = Counter(_found(card, request, without=name).order_by().values_list(name, flat=True))
        states = [(str(value), str(words), counts[value]) for value, words in field.flatchoices if counts[value]]
        if len(states) > 1 or request.GET.get(name):
            made.append((_label(card, name), taps(request, name, [("", "all", counts.total()), *states])))
    if ends := _ends(card):
        every = _found(card, request, without="gone", gone="on")
        counts = every.order_by().aggregate(every=Count("pk"), ended=Count(ends))
        if counts["ended"]:
            in_use = ("", "in use", counts["every"] - counts["ended"])
            also = ("on", f"also those {card.out[4]}", counts["every"])
            made.append(("In use?", taps(request, "gone", [in_use, also])))
    return made


def _found(card: Card, request: HttpRequest, *, without: str, **asked: str):
    """The rows that the list would have, were one thing not asked for."""
    line = {name: value for name, value in request.GET.items() if name != without} | asked
    return filter_of(card)(line, queryset=card.rows(request.user)).qs


def _ends(card: Card) -> str:
    names = {field.name for field in card.model._meta.get_fields()}
    return next((name for name in ("retired_at", "closed_at") if name in names), "")


def _label(card: Card, name: str) -> str:
    return next((t.label for t in card.typed if t.name == name), name)


def _find(card: Card):
    def find(self, rows, name, value):
        wanted = Q()
        for way in card.search:
            wanted |= Q(**{f"{way}__icontains": value.replace("\x00", "")})
        return rows.filter(wanted)

    return find
