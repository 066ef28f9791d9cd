"""Forms of the administration for what forecasts read as history: a change has a date, or was a typing error."""

from __future__ import annotations

import datetime as dt

from django import forms
from django.contrib.admin.widgets import AdminSplitDateTime
from django.db.models import Q
from django.utils import timezone

from .actions import ChangeRefused, check_change
from .models import Cut

ONLY_OF_A_CHANGE = ("changed_at", "never_so")


class KeepsThePast(forms.ModelForm):
    """What stands in `guarded` was counted with so far: it is changed in place only where it was never so."""

    guarded: tuple[str, ...] = ()
    instead = ""

    never_so = forms.BooleanField(
        required=False,
        label="A typing error: it was never as it stands here",
        help_text="It is then put right for all its past too, and what is forecast from its old cycles follows.",
    )

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        # The row as it stands: the administration also hands in rows of the past, to go back to.
        self.stored = type(self.instance).objects.filter(pk=self.instance.pk).first() if self.instance.pk else None
        if self.stored is None:
            for name in ONLY_OF_A_CHANGE:
                self.fields.pop(name, None)

    @property
    def differing(self) -> list[str]:
        """The guarded columns that the form would change."""
        if self.stored is None:
            return []
        return [name for name in self.guarded if name in self.cleaned_data and self._differs(name)]

    def _differs(self, name: str) -> bool:
        new = self.cleaned_data[name]
        if self._meta.model._meta.get_field(name).many_to_many:
            return {row.pk for row in new} != set(getattr(self.stored, name).values_list("pk", flat=True))
        return new != getattr(self.stored, name)

    def clean(self) -> dict:
        cleaned = super().clean()
        if self.differing and not cleaned.get("never_so"):
            self.change(cleaned)
        return cleaned

    def change(self, cleaned: dict) -> None:
        """What to do with a change that was no typing error."""
        for name in self.differing:
            self.add_error(name, self.instead)


class CutForm(KeepsThePast):
    guarded = ("die", "code", "gap_mm", "length_mm", "upper", "lower", "valid_from")
    dated = ("gap_mm", "length_mm", "upper", "lower")

    changed_at = forms.SplitDateTimeField(
        required=False,
        label="Since when is it so?",
        widget=AdminSplitDateTime,
        initial=lambda: timezone.localtime().replace(second=0, microsecond=0),
        help_text="Of a change of gap, length or pieces. What was run before keeps what stands here until then.",
    )

    since: dt.datetime | None = None  # from when on it is otherwise, where it is

    def change(self, cleaned: dict) -> None:
        fixed = [name for name in self.differing if name not in self.dated]
        for name in fixed:
            self.add_error(name, "This stays, unless it was a typing error: then say so below.")
        if fixed:
            return
        if cleaned.get("valid_to") != self.stored.valid_to:
            self.add_error("valid_to", "Let it end by itself: a change and an end are two entries.")
        elif at := cleaned.get("changed_at"):
            try:
                check_change(self.stored, at)
                self.since = at
            except ChangeRefused as refused:
                self.add_error(refused.field or None, str(refused))
        elif "changed_at" not in self.errors:
            self.add_error("changed_at", "Say since when it is so.")

    def clean(self) -> dict:
        for name in ("valid_from", "valid_to"):  # shown to the second
            before = getattr(self.stored, name, None)
            if before is not None and self.cleaned_data.get(name) == before.replace(microsecond=0):
                self.cleaned_data[name] = before
        cleaned = super().clean()
        if not self.errors and self.since is None:
            self._check_alone(cleaned)
        return cleaned

    def _check_alone(self, cleaned: dict) -> None:
        """One row of a cut at a time."""
        since, until = cleaned.get("valid_from"), cleaned.get("valid_to")
        others = Cut.objects.filter(die=cleaned["die"], code=self.stored.code if self.stored else cleaned["code"])
        others = others.exclude(pk=self.instance.pk)
        if since is not None:
            others = others.filter(Q(valid_to__isnull=True) | Q(valid_to__gt=since))
        if until is not None:
            others = others.filter(Q(valid_from__isnull=True) | Q(valid_from__lt=until))
        if others.exists():
            self.add_error(None, f"Another row tells {cleaned['code']} for a part of that time. Let one end first.")


class PositionForm(KeepsThePast):
    def clean_variants(self):
        picked, die = self.cleaned_data["variants"], self.cleaned_data.get("die")
        others = [row for row in picked if die is not None and row.die_id != die.pk]
        if others:
            raise forms.ValidationError(f"{others[0]} is a set of inserts of die {others[0].die}.")
        return picked

    guarded = ("die", "kind", "side", "stroke_share", "variants")
    instead = (
        "Its runs so far were counted with what stands here. Where that was right, let this position end (valid to) "
        "and enter another one; where it was never so, say so below."
    )


class StockForm(KeepsThePast):
    guarded = ("material", "tensile_mpa", "thickness_mm")
    instead = (
        "What has been run on this stock is told by what stands here. Where that was right, enter another stock and "
        "name it at the die; where it was never so, say so below."
    )
