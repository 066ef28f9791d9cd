"""The forms of the cost pages."""

from __future__ import annotations

from decimal import Decimal

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from diestore import units
from diestore.frame.fields import BetweenField, MeasureField, WholeBetweenField
from diestore.frame.other_build import COATINGS, STEELS

from .two_builds import Change

WHEN = [("now", _("this one, changed now")), ("new", _("a new one, built so"))]
GROUND = [("", _("as it is now")), ("both", _("both sides each time"))]
SIDES = [("upper", _("punches")), ("lower", _("die side")), ("both", _("both sides"))]


class ChangeForm(forms.Form):
    """Another build of the same die. A GET form, so that a comparison can be kept as a bookmark."""

    when = forms.ChoiceField(label=_("Which die"), choices=WHEN, required=False)
    sides = forms.ChoiceField(label=_("Change on"), choices=SIDES, required=False)
    steel = forms.ChoiceField(label=_("Steel"), choices=STEELS, required=False)
    hardness = BetweenField(label=_("Hardness, HRC"), least=40, most=72, unit="HRC")
    coating = forms.ChoiceField(label=_("Coating"), choices=COATINGS, required=False)
    gap = BetweenField(label=_("Gap a side, % of thickness"), least=1, most=40, unit="%")
    price = BetweenField(label=_("Extra build cost (− less)"), least=-1e9, most=1e9)
    pieces = BetweenField(label=_("New spare price, times today's"), least=0.1, most=50)
    ground = forms.ChoiceField(label=_("Ground"), choices=GROUND, required=False)
    place = forms.CharField(label=_("Only at position"), required=False, max_length=40)

    def clean(self) -> dict:
        asked = super().clean() or {}
        if not self.errors and not self._is_otherwise(asked) and any(asked.get(n) for n in ("price", "pieces")):
            raise forms.ValidationError(
                gettext("A price alone changes nothing in the build: pick a steel, hardness, coating or gap too.")
            )
        if asked.get("ground") and self._is_built_otherwise(asked):
            raise forms.ValidationError(
                gettext("Grinding both sides is tried by itself: leave steel, hardness, coating and gap as they are.")
            )
        if asked.get("place") and asked.get("gap"):
            raise forms.ValidationError(
                gettext("A gap is tried at all positions together: leave the position or the gap empty.")
            )
        return asked

    @classmethod
    def _is_otherwise(cls, asked: dict) -> bool:
        return bool(asked.get("ground")) or cls._is_built_otherwise(asked)

    @staticmethod
    def _is_built_otherwise(asked: dict) -> bool:
        return any(asked.get(n) not in (None, "") for n in ("steel", "hardness", "coating", "gap"))

    @property
    def change(self) -> Change | None:
        """What is asked for; None where nothing is, or where it cannot be."""
        if not self.is_bound or not self.is_valid():
            return None
        asked = self.cleaned_data
        if not self._is_otherwise(asked):
            return None
        if asked["ground"]:
            return Change(grinds_both=True, sides=("upper", "lower"), price=_exactly(asked["price"] or 0),
                          new=asked["when"] == "new")  # fmt: skip
        return Change(
            tool_steel=asked["steel"],
            coating=asked["coating"],
            hardness_hrc=asked["hardness"],
            gap_pct=asked["gap"],
            sides=("upper", "lower") if asked["sides"] == "both" else (asked["sides"] or "upper",),
            price=_exactly(asked["price"] or 0),
            piece_times=_exactly(asked["pieces"] or 1),
            new=asked["when"] == "new",
            place=asked["place"],
        )


class PartForm(forms.Form):
    """What a part's cost rests on beside the record. A GET form; what is not asked stands as it is started with."""

    strokes = BetweenField(label=_("Strokes a minute"), least=0.01, most=100_000)
    running = BetweenField(label=_("The press runs, % of its time"), least=1, most=100, unit="%")
    lot = BetweenField(label=_("Parts in a lot"), least=1, most=1e9)
    set_up = BetweenField(label=_("Set-up of a lot, h"), least=0, most=1000, unit="h")
    density = BetweenField(label=_("Density, times that of water"), least=0.5, most=25)
    used = BetweenField(label=_("Of the strip in the part, %"), least=1, most=100, unit="%")

    def __init__(self, asked, *, system: units.System, start: dict) -> None:
        weight = units.column("weight_kg").unit(system)
        self.kg = units.parse(f"1 {weight}".replace("lb", "lbm"), "weight_kg", system).value  # of one unit of weight
        a_unit = Decimal(str(self.kg))
        start = start | {name: start[name] and start[name] * a_unit for name in ("price", "scrap")}
        super().__init__(None if asked is None else {**_typed(start), **asked.dict()}, initial=start)
        self.fields["pitch"] = MeasureField(
            "length_mm", system, label=gettext("Pitch, {unit}").format(unit=_unit(system)), required=False
        )
        self.fields["width"] = MeasureField(
            "length_mm", system, label=gettext("Strip width, {unit}").format(unit=_unit(system)), required=False
        )
        self.fields["price"] = BetweenField(
            label=gettext("Stock costs a {unit}").format(unit=weight), least=0, most=1e6
        )
        self.fields["scrap"] = BetweenField(
            label=gettext("Scrap brings a {unit}").format(unit=weight), least=0, most=1e6
        )

    def value(self, name: str) -> Decimal | None:
        """What holds: as asked, or as it is started with where nothing was asked or what cannot be."""
        cleaned = getattr(self, "cleaned_data", {}) if self.is_bound and self.is_valid() else self.initial
        value = cleaned.get(name)
        return None if value in (None, "") else Decimal(str(value))

    def a_kilogram(self, name: str) -> Decimal | None:
        amount = self.value(name)
        return None if amount is None else amount / Decimal(str(self.kg))


def _unit(system: units.System) -> str:
    return units.column("length_mm").unit(system)


def _typed(start: dict) -> dict:
    return {name: "" if value is None else f"{value:g}" for name, value in start.items()}


class PromiseForm(forms.Form):
    """What is promised, and what a sharpening is worth. A GET form; what is not asked stands as it is started with."""

    hits = BetweenField(label=_("Sharpened free below, hits"), least=0, most=1e9)
    price = BetweenField(label=_("A sharpening costs"), least=0, most=1e7)
    strokes = BetweenField(label=_("Strokes a year"), least=0, most=1e9)

    def __init__(self, asked, *, start: dict) -> None:
        super().__init__(None if asked is None else {**_typed(start), **asked.dict()}, initial=start)

    def value(self, name: str) -> Decimal | None:
        """What holds: as asked, or as it is started with where nothing was asked or what cannot be."""
        cleaned = getattr(self, "cleaned_data", {}) if self.is_bound and self.is_valid() else self.initial
        value = cleaned.get(name)
        return None if value in (None, "") else _exactly(value)


class YearsForm(forms.Form):
    """A volume that is tried, and by how much prices and rates rise. A GET form, as above."""

    parts = WholeBetweenField(label=_("Parts a year, to try"), least=1, most=1_000_000_000)
    rise = BetweenField(label=_("Prices rise a year by, %"), least=-50, most=100, unit="%")

    @property
    def share(self) -> Decimal:
        """As a share a year; nought where nothing is asked, or what cannot be."""
        return _exactly(self._asked("rise") or 0) / 100

    @property
    def tried(self) -> float | None:
        """Good parts a year; None: as planned."""
        return self._asked("parts")

    def _asked(self, name: str) -> float | None:
        return self.cleaned_data[name] if self.is_bound and self.is_valid() else None


class ReplaceForm(forms.Form):
    """What keeping a die or building it anew rests on. A GET form; what is not asked stands as it is started with."""

    price = BetweenField(label=_("A new one costs"), least=0, most=1e9)
    overhaul = BetweenField(label=_("This one needs at once"), least=0, most=1e9)
    repairs = BetweenField(label=_("Repairs a year"), least=0, most=1e9)
    aging = BetweenField(label=_("Repairs and stops grow a year by, %"), least=0, most=100, unit="%")
    old_brings = BetweenField(label=_("This one sells for"), least=0, most=1e9)
    new_brings = BetweenField(label=_("A new one sells for in the end"), least=0, most=1e9)
    parts = WholeBetweenField(label=_("Parts a year, to try"), least=1, most=1_000_000_000)
    rise = BetweenField(label=_("Prices rise a year by, %"), least=-50, most=100, unit="%")
    interest = BetweenField(label=_("Money costs a year, %"), least=0, most=100, unit="%")

    def __init__(self, asked, *, start: dict) -> None:
        super().__init__(None if asked is None else {**_typed(start), **asked.dict()}, initial=start)

    def value(self, name: str) -> Decimal | None:
        """What holds: as asked, or as it is started with where nothing was asked or what cannot be."""
        cleaned = getattr(self, "cleaned_data", {}) if self.is_bound and self.is_valid() else self.initial
        value = cleaned.get(name)
        return None if value in (None, "") else _exactly(float(value))


def _exactly(value: float) -> Decimal:
    """To the cent: what was typed is decimal."""
    return Decimal(str(round(value, 2)))
