"""What the spares may be narrowed to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sized
from dataclasses import replace

from django import forms
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from diestore.register.models import kind_choices

from .advice import SOON_DAYS, WEEK_DAYS, Asked


def _count(found) -> int:
    return found.count() if isinstance(found, QuerySet) else len(found)


class SpareFilter(forms.Form):
    q = forms.CharField(label=_("Search"), required=False)
    short = forms.ChoiceField(
        label=_("Which spares"),
        required=False,
        choices=[
            ("", _("to decide this week")),
            ("1", _("to order now")),
            ("28", _("within four weeks")),
            ("all", pgettext_lazy("spares", "all")),
        ],
    )
    supplier = forms.ChoiceField(label=_("Supplier"), required=False)
    kind = forms.ChoiceField(label=_("Kind"), required=False)

    def __init__(self, data, *, suppliers: Iterable[str], kinds: Iterable[str]) -> None:
        super().__init__(data)
        self.fields["supplier"].choices = [("", _("any")), *((name, name) for name in sorted(set(suppliers) - {""}))]
        used = set(kinds)
        self.fields["kind"].choices = [("", _("any")), *(c for c in kind_choices() if c[0] in used)]

    @property
    def is_plain(self) -> bool:
        """Nothing is asked for: then what needs a decision this week is enough."""
        return self.is_valid() and not any(self.cleaned_data.values())

    def counted(self, wanted: Callable[[Asked], Sized]) -> list[tuple[str, str, int]]:
        """Each state with how many spares it has among those that the rest of the filter lets through."""
        rest = self.asked()
        days = {"": WEEK_DAYS, "1": 0, "28": SOON_DAYS, "all": None}
        return [
            (value, words, _count(wanted(replace(rest, within_days=days[value]))))
            for value, words in self.fields["short"].choices
        ]

    def asked(self, *, decide: bool = False) -> Asked:
        """What the rows shall be; a value that is not on offer asks for nothing. decide: where nothing is asked for,
        what needs a decision this week."""
        plain = self.is_plain
        asked = getattr(self, "cleaned_data", {})
        within = {"1": 0, "28": SOON_DAYS}.get(asked.get("short", ""))
        return Asked(
            text=asked.get("q", "").casefold(),
            within_days=WEEK_DAYS if plain and decide else within,
            supplier=asked.get("supplier", ""),
            kind=asked.get("kind", ""),
        )
