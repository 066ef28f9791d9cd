"""Forms of an outlined tool: the outline with its cutting places, a way of building it, assumptions, the price list."""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from diestore import typed, units
from diestore.cards.forms import AmountField, DayField, FigureField
from diestore.frame.fields import BetweenField, MeasureField, Opens, WholeField
from diestore.handbook import kinds, tool_steels
from diestore.handbook.build_elements import DIE_SIDES, ELEMENTS, GUIDES, STRIPPERS
from maintenance.log.outlines import Place
from reports.costing.outlined import ASSUMED

from .reckon import PAID, WORDS, Figure

ROWS = 6
VALID_DAYS = 60
PACE = 100.0
KINDS = [("", _("none")), *((k.key, _(k.name)) for k in kinds.KINDS.values() if k.cuts and k.side == "upper")]
STEELS = [(name, _("powder steel") if name == "PM" else name) for name in tool_steels.GRADES]
COATINGS = [("", _("none: bare")), *((name, name) for name in tool_steels.COATINGS if name != "none")]
PARTS_AT_MOST = 1_000_000_000_000


def _text(label: str, most: int, *, required: bool = True, **more) -> forms.CharField:
    return forms.CharField(
        label=label,
        max_length=most,
        required=required,
        widget=forms.TextInput({"autocomplete": "off"}),
        error_messages={"max_length": _("Say it in %(limit_value)d letters."), "required": _("Fill this in.")},
        **more,
    )


def _told(words: dict[str, str]) -> list[tuple]:
    return [(key, _(name)) for key, name in words.items()]


class OutlineForm(forms.Form):
    """What the tool shall make, and where it cuts."""

    customer = _text(_("Customer"), 120)
    part = _text(_("Part"), 120)
    volumes = _text(
        _("Parts a year"),
        400,
        help_text=_("One figure, or year by year with a semicolon between: 300,000; 400,000."),
    )
    years = WholeField(
        label=_("For how many years"), required=False, help_text=_("Where one figure stands there. Empty: one.")
    )
    wanted_months = WholeField(
        label=_("Tool wanted in, months"), required=False, help_text=_("Stands on the offer only.")
    )
    material = _text(_("Strip material"), 120, help_text=_("Name or number: low-carbon steel, 1.4301, AlMg3."))
    parts_per_hit = WholeField(label=_("Parts a hit"), required=False, help_text=_("Empty: 1."))
    strokes_per_minute = FigureField(
        label=_("Strokes a minute"), required=False, help_text=format_lazy(_("Empty: {pace:g} is assumed."), pace=PACE)
    )
    on = DayField(label=_("Day of the offer"))
    valid_until = DayField(label=_("Valid until"), required=False)
    note = _text(_("A line for the offer"), 600, required=False)

    def __init__(self, data=None, *, system: units.System, today: dt.date, start: dict, places) -> None:
        volumes = start.get("volumes") or []
        usual = {"on": today, "valid_until": today + dt.timedelta(days=VALID_DAYS)}
        super().__init__(data, initial=usual | start | {"volumes": "; ".join(f"{n:,}" for n in volumes)})
        for name, label, more in (
            ("thickness_mm", _("Thickness"), {}),
            ("tensile_mpa", _("Tensile strength"), {"help_text": _("From the certificate or the customer's drawing.")}),
            (
                "burr_limit_um",
                _("Burr limit"),
                {"required": False, "help_text": _("Empty: none, edges run until dull.")},
            ),
        ):
            unit = units.column(name).unit(system)
            self.fields[name] = MeasureField(name, system, label=f"{label}, {unit}", **more)
            self.initial.setdefault(name, start.get(name))
        places = list(places)
        self.rows = max(ROWS, len(places) + 1)
        if data is not None:
            said = [int(m[1]) for name in data if (m := re.fullmatch(r"kind-([0-9]{1,2})", name))]
            self.rows = max([self.rows, *(n + 1 for n in said)])
        unit = units.column("length_mm").unit(system)
        for n in range(self.rows):
            kind, count, length = places[n] if n < len(places) else ("", None, None)
            self.fields[f"kind-{n}"] = forms.ChoiceField(
                label=_("Kind, row {n}").format(n=n + 1), choices=KINDS, required=False, widget=Opens, initial=kind
            )
            self.fields[f"count-{n}"] = WholeField(
                label=_("How many, row {n}").format(n=n + 1), required=False, initial=count
            )
            self.fields[f"length-{n}"] = MeasureField(
                "length_mm",
                system,
                label=_("Cut of one, {unit}, row {n}").format(unit=unit, n=n + 1),
                required=False,
                initial=length,
            )
            for name in ("kind", "count", "length"):
                field = self.fields[f"{name}-{n}"]
                field.widget.attrs["aria-label"] = field.label

    @property
    def places(self) -> list[tuple]:
        return [(self[f"kind-{n}"], self[f"count-{n}"], self[f"length-{n}"]) for n in range(self.rows)]

    @property
    def about(self) -> list:
        """Fields that are not of a cutting place, in the order in which one asks."""
        order = (
            "customer",
            "part",
            "volumes",
            "years",
            "material",
            "thickness_mm",
            "tensile_mpa",
            "burr_limit_um",
            "parts_per_hit",
            "strokes_per_minute",
            "wanted_months",
            "on",
            "valid_until",
            "note",
        )
        return [self[name] for name in order]

    def clean(self) -> dict:
        cleaned = super().clean() or {}
        for name, least, most in (
            ("thickness_mm", 0.01, 25),
            ("tensile_mpa", 30, 3_000),
            ("strokes_per_minute", 0.1, 5_000),
            ("parts_per_hit", 1, 200),
            ("wanted_months", 0, 240),
            ("burr_limit_um", 1, 10_000),
        ):
            value = cleaned.get(name)
            if value is not None and not least <= value <= most:
                told = _("{value:g} cannot be: enter {least:g} to {most:g}.")
                self.add_error(name, told.format(value=value, least=least, most=most))
        if cleaned.get("parts_per_hit") is None:
            cleaned["parts_per_hit"] = 1
        if cleaned.get("strokes_per_minute") is None:
            cleaned["strokes_per_minute"] = PACE
        if "volumes" in cleaned:
            cleaned["volumes"] = self._volumes(cleaned["volumes"], cleaned.get("years"))
        cleaned["places"] = self._places(cleaned)
        return cleaned

    def _volumes(self, text: str, years: int | None) -> list[int]:
        made = []
        for bit in filter(None, (bit.strip() for bit in text.replace("\n", ";").split(";"))):
            try:
                parts = typed.whole(bit)
            except ValueError as error:
                self.add_error("volumes", str(error))
                return []
            if not 0 <= parts <= PARTS_AT_MOST:
                self.add_error("volumes", _("{n:,} parts a year cannot be: nought or more.").format(n=parts))
                return []
            made.append(parts)
        if years is not None:
            if not 1 <= years <= 20:
                self.add_error("years", _("Enter 1 to 20 years."))
            elif len(made) == 1:
                made = made * years
            elif len(made) != years:
                told = _("{n} figures stand there: leave this empty, or enter {n}.")
                self.add_error("years", told.format(n=len(made)))
        if len(made) > 20:
            self.add_error("volumes", _("{n} years: 20 is the most.").format(n=len(made)))
        elif not any(made):
            self.add_error("volumes", _("No part is to be made: enter the parts of at least one year."))
        return made

    def _places(self, cleaned: dict) -> list[Place]:
        made = []
        for n in range(self.rows):
            kind, count, length = (cleaned.get(f"{name}-{n}") for name in ("kind", "count", "length"))
            if not kind and count is None and length is None:
                continue
            if not kind:
                self.add_error(f"kind-{n}", _("Which kind?"))
            if length is None and f"length-{n}" not in self.errors:
                self.add_error(f"length-{n}", _("How long is the cut of one?"))
            elif length is not None and not 0.1 <= length <= 100_000:
                self.add_error(f"length-{n}", _("A cut is 0.1 mm to 100 m long."))
            if count is not None and not 1 <= count <= 200:
                self.add_error(f"count-{n}", _("Between 1 and 200."))
            made.append(Place(kind=kind or "", count=count or 1, length_mm=length or 1.0))
        if not made:
            self.add_error(None, _("Enter at least one cutting place: without an edge nothing goes dull."))
        return made

    def values(self) -> dict:
        names = (
            "customer",
            "part",
            "material",
            "thickness_mm",
            "tensile_mpa",
            "burr_limit_um",
            "parts_per_hit",
            "strokes_per_minute",
            "volumes",
            "wanted_months",
            "on",
            "valid_until",
            "note",
        )
        return {name: " ".join(v.split()) if isinstance(v := self.cleaned_data[name], str) else v for name in names}


class WayForm(forms.Form):
    """One way of building it."""

    name = _text(_("What it is called"), 60)
    steel = forms.ChoiceField(label=_("Punches of"), choices=STEELS, widget=Opens)
    hardness_hrc = BetweenField(
        label=_("Their hardness, HRC"), least=40, most=72, unit="HRC", help_text=_("Empty: usual for the steel.")
    )
    coating = forms.ChoiceField(label=_("Their coating"), choices=COATINGS, required=False, widget=Opens)
    steel_below = forms.ChoiceField(
        label=_("Die side of"), choices=[("", _("the same steel")), *STEELS], required=False, widget=Opens
    )
    hardness_below_hrc = BetweenField(
        label=_("Its hardness, HRC"), least=40, most=72, unit="HRC", help_text=_("Where the steel is another.")
    )
    gap_pct = BetweenField(
        label=_("Gap a side, % of thickness"),
        least=1,
        most=40,
        unit="%",
        help_text=_("Of the pair: both edges. Empty: 10 %."),
    )
    guides = forms.ChoiceField(label=_("Guides"), choices=_told(GUIDES), widget=Opens)
    die_side = forms.ChoiceField(label=_("Solid or inserts"), choices=_told(DIE_SIDES), widget=Opens)
    stripper = forms.ChoiceField(label=_("Stripper"), choices=_told(STRIPPERS), widget=Opens)
    parts_per_hit = WholeField(label=_("Parts a hit"), required=False, help_text=_("Empty: as the outline says."))
    lasts_hits = WholeField(
        label=_("The whole tool lasts, hits"),
        required=False,
        help_text=_("Empty: for all the parts. Then it is built again."),
    )
    price = AmountField(label=_("Price of the build"), required=False, help_text=_("Empty: by the shop's price list."))

    def clean(self) -> dict:
        cleaned = super().clean() or {}
        price, hits, lasts = (cleaned.get(name) for name in ("price", "parts_per_hit", "lasts_hits"))
        if price is not None and not 0 <= price <= 10**9:
            self.add_error("price", _("A price is nought or more, and less than a thousand million."))
        if hits is not None and not 1 <= hits <= 200:
            self.add_error("parts_per_hit", _("Between 1 and 200."))
        if lasts is not None and not 1_000 <= lasts <= PARTS_AT_MOST:
            self.add_error("lasts_hits", _("A tool lasts a thousand hits or more."))
        for steel, hard in (("steel", "hardness_hrc"), ("steel_below", "hardness_below_hrc")):
            if cleaned.get(steel) == "carbide" and cleaned.get(hard) is not None:
                self.add_error(hard, _("Carbide is rated in HRA, not in HRC: leave this empty."))
        return cleaned

    def values(self) -> dict:
        made = {name: self.cleaned_data[name] for name in self.fields}
        made["name"] = " ".join(made["name"].split())
        return made


class AssumedForm(forms.Form):
    """Every assumption in a box of its own: empty means as told beside it. And who pays what."""

    def __init__(self, data=None, *, figures: tuple[Figure, ...], shop_pays) -> None:
        super().__init__(data)
        self.figures = figures
        for figure in figures:
            one = ASSUMED[figure.key]
            self.fields[figure.key] = BetweenField(
                label=figure.words,
                least=one.least,
                most=one.most,
                initial=f"{figure.value:.10g}" if figure.changed else None,
            )
            self.fields[figure.key].widget.attrs |= {
                "aria-label": f"{figure.words} {figure.unit}".strip(),
                "placeholder": f"{figure.value:.10g}",
                "size": "8",
            }
        for key in PAID:
            self.fields[f"pays {key}"] = forms.BooleanField(
                label=_(WORDS[key]), required=False, initial=key in shop_pays
            )

    @property
    def rows(self) -> list[tuple]:
        return [(figure, self[figure.key]) for figure in self.figures]

    @property
    def payers(self) -> list:
        return [self[f"pays {key}"] for key in PAID]

    def typed(self) -> dict[str, float]:
        return {key: value for key in ASSUMED if (value := self.cleaned_data.get(key)) not in (None, "")}

    def shop_pays(self) -> list[str]:
        return [key for key in PAID if self.cleaned_data.get(f"pays {key}")]


class PricesForm(forms.Form):
    """Prices of elements that hold from a day on; an empty box leaves a price as it is."""

    day = DayField(label=_("These hold from"))

    def __init__(self, data=None, *, today: dt.date, prices) -> None:
        super().__init__(data, initial={"day": today})
        self.fields["day"].error_messages["required"] = _("Enter the day.")
        self.prices = prices
        for n, (key, element) in enumerate(ELEMENTS.items()):
            self.fields[f"price-{n}"] = AmountField(label=_(element.words), required=False)
            placeholder = f"{prices[key].price.normalize():f}" if key in prices else ""
            self.fields[f"price-{n}"].widget.attrs |= {
                "aria-label": _(element.words),
                "placeholder": placeholder,
                "size": "10",
            }

    @property
    def rows(self) -> list[tuple]:
        return [
            (element, self.prices.get(key), self[f"price-{n}"]) for n, (key, element) in enumerate(ELEMENTS.items())
        ]

    def clean(self) -> dict:
        cleaned = super().clean() or {}
        for n in range(len(ELEMENTS)):
            price = cleaned.get(f"price-{n}")
            if price is not None and not 0 <= price <= 10**9:
                self.add_error(f"price-{n}", _("A price is nought or more."))
        if not self.errors and not self.typed():
            self.add_error(None, _("No price is typed."))
        return cleaned

    def typed(self) -> dict[str, Decimal]:
        return {
            key: price for n, key in enumerate(ELEMENTS) if (price := self.cleaned_data.get(f"price-{n}")) is not None
        }
