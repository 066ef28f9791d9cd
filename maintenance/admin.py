"""Orders by hand. Entries of the log are not here: they are appended by forms and struck out, never edited."""

from __future__ import annotations

from django.contrib import admin

from diestore.admin import TellingAdmin
from maintenance.models import Order


@admin.register(Order)
class OrderAdmin(TellingAdmin):
    list_display = ("number", "part", "die", "parts", "due", "closed_at")
    list_filter = ("plant",)
    search_fields = ("number", "part__number", "die__code")
    list_select_related = ("part", "die")
