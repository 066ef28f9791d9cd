"""Jobs and entries of the log, to read: jobs are changed on their cards, entries are appended and struck out."""

from __future__ import annotations

from django.contrib import admin

from diestore.admin import ToRead
from maintenance.models import EVENTS, Order


@admin.register(Order)
class OrderAdmin(ToRead):
    list_display = ("number", "part", "die", "parts", "due", "closed_at")
    list_filter = ("plant",)
    search_fields = ("number", "part__number", "die__code")
    list_select_related = ("part", "die")


@admin.register(*EVENTS)
class EntryAdmin(ToRead):
    """An entry of the log, whatever it tells."""

    list_display = ("at", "recorded_at", "person", "user", "through", "note", "struck_at")
    list_select_related = ("person", "user")
    search_fields = ("key", "note")
    ordering = ("-at", "-pk")
