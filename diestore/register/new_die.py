"""A new die: what it is called, what it runs on, what it makes. What it is made of is typed on its card after that."""

from __future__ import annotations

from django import forms
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views import View

from diestore.access import roles
from diestore.access.plants import within
from diestore.access.queries import system_of
from diestore.frame.fields import MeasureField, TypedField, WholeField
from diestore.handbook import materials

from . import build, changes
from .actions import ChangeRefused
from .models import Die, Part, Plant, Press, Stock

NEXT = "maintenance:die_card"  # where its places are typed
OTHER_STOCK = ("material", "thickness", "tensile")


class NewDieForm(forms.Form):
    code = forms.CharField(label="Name of the die", max_length=60, error_messages={"required": "Give it a name."})
    description = forms.CharField(label="What it makes, in words", max_length=200, required=False)

    def __init__(self, data=None, *, user, system) -> None:
        super().__init__(data)
        plants = within(Plant.objects.order_by("code"), user, path="pk")
        self.only_plant = plants[0] if len(plants) == 1 else None
        self.is_first = not Plant.objects.exists()  # the first die of a shop brings its plant
        if self.only_plant is None and not self.is_first:
            self.fields["plant"] = forms.ModelChoiceField(
                label="Plant", queryset=plants, empty_label=None,
                error_messages={"required": "Say in which plant."},
            )  # fmt: skip
        stocks = Stock.objects.order_by("code")
        self.fields["stock"] = forms.ModelChoiceField(
            label="Strip stock", queryset=stocks, required=False, empty_label="another one: say it below"
        )
        self.fields["material"] = forms.CharField(
            label="Material", max_length=120, required=False,
            widget=forms.TextInput({"list": "materials", "autocomplete": "off"}),
        )  # fmt: skip
        self.fields["thickness"] = MeasureField("thickness_mm", system, label="Thickness", required=False)
        self.fields["tensile"] = MeasureField("tensile_mpa", system, label="Tensile strength", required=False)
        self.fields["strokes_per_minute"] = TypedField(
            label="Strokes a minute", error_messages={"required": "Enter how fast it usually runs."}
        )
        self.fields["press"] = forms.ModelChoiceField(
            label="Usual press", queryset=within(Press.objects.order_by("code"), user), required=False,
            empty_label="not said",
        )  # fmt: skip
        self.fields["part"] = forms.CharField(label="Number of the part", max_length=80, required=False)
        self.fields["per_hit"] = WholeField(label="Parts a hit", required=False, placeholder="1")
        self.fields["code"].widget.attrs |= {"autofocus": True, "autocomplete": "off"}

    def clean(self) -> dict:
        cleaned = super().clean()
        if cleaned.get("stock") is None and "stock" not in self.errors:
            for name, sentence in (
                ("material", "Pick a stock above, or say what the strip is."),
                ("thickness", "Enter how thick it is."),
                ("tensile", "Enter its strength, from the certificate or the order."),
            ):
                if not cleaned.get(name) and name not in self.errors:
                    self.add_error(name, sentence)
        return cleaned

    def save(self, *, by) -> Die:
        c = self.cleaned_data
        with transaction.atomic():
            number = " ".join(c["part"].split())
            part = number and (Part.objects.filter(number=number).order_by("pk").last() or _part(number))
            return build.new_die(
                by=by,
                plant=Plant.objects.create(code="main") if self.is_first else self.only_plant or c["plant"],
                code=c["code"],
                description=c["description"],
                usual_stock=c["stock"] or self._stock(by),
                usual_press=c["press"],
                strokes_per_minute=c["strokes_per_minute"],
                parts=[(part, c["per_hit"] or 1)] if part else [],
            )

    def _stock(self, by) -> Stock:
        """The stock of that build, where it is there already, else a new one."""
        c = self.cleaned_data
        values = {
            "material": " ".join(c["material"].split()),
            "thickness_mm": c["thickness"],
            "tensile_mpa": c["tensile"],
        }
        build.check_figures("stock", {name: values[name] for name in ("thickness_mm", "tensile_mpa")})
        if (known := Stock.objects.filter(**values).order_by("code").first()) is not None:
            return known
        stem = f"{values['material']} {values['thickness_mm']:g} mm"[:70]
        code, n = stem, 1
        while Stock.objects.filter(code=code).exists():
            n += 1
            code = f"{stem} #{n}"
        stock = Stock(code=code, **values)
        stock._history_user, stock._change_reason = by, "Entered with a die"
        stock.save()
        changes.tell(stock)
        return stock


_FIELD = {"thickness_mm": "thickness", "tensile_mpa": "tensile", "usual_press": "press", "parts_per_hit": "per_hit"}


def _part(number: str) -> Part:
    part = Part.objects.create(number=number)
    changes.tell(part)
    return part


class NewDie(PermissionRequiredMixin, View):
    permission_required = roles.EDIT_REGISTER
    raise_exception = True

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._page(NewDieForm(user=request.user, system=system_of(request.user)))

    def post(self, request: HttpRequest) -> HttpResponse:
        form = NewDieForm(request.POST, user=request.user, system=system_of(request.user))
        if form.is_valid():
            try:
                return redirect(NEXT, pk=form.save(by=request.user).pk)
            except ChangeRefused as refused:
                name = _FIELD.get(refused.field, refused.field)
                form.add_error(name if name in form.fields else None, str(refused))
        return self._page(form)

    def _page(self, form: NewDieForm) -> HttpResponse:
        context = {"form": form, "materials": materials.MATERIALS, "other_stock": OTHER_STOCK}
        return render(self.request, "diestore/register/new_die.html", context)
