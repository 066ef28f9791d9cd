"""Forms around the counters: a die set in a press or taken out, an answer, a device."""

from __future__ import annotations

import datetime as dt
import hashlib

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore.access.models import Person
from diestore.access.tablet import Tablet
from diestore.access.who_field import add_person, prove_person
from diestore.frame.fields import MomentField, Pick, Picks, choices, minute
from diestore.register.models import Die, Plant, Press, Variant
from maintenance.counters import asked as counters_asked
from maintenance.counters import devices, presses
from maintenance.counters import questions as counters_questions
from maintenance.forecasts import due
from maintenance.log import expected, write
from maintenance.log.data import OrderLeft
from maintenance.models import CounterDevice, CounterQuestion, DieInPress, Order, Scope, fresh_key

from . import page

FIGURES = range(4, 13)


class ByForm(forms.Form):
    """A form that says who does it."""

    who = gettext_lazy("Who does it?")

    def __init__(self, data=None, *, people: QuerySet[Person], person: Person | None, tablet: Tablet | None, **kwargs):
        super().__init__(data, **kwargs)
        self.person = person
        missing = _("Pick who does it.")
        self.has_people = add_person(self, people=people, label=self.who, missing=missing, tablet=tablet, required=True)
        if person is not None:
            self.fields["person"].initial = person.pk

    def clean(self) -> dict:
        cleaned = super().clean()
        prove_person(self, cleaned)
        return cleaned

    @property
    def person_known(self) -> bool:
        """Whether a tap is enough, since it is known who taps."""
        return self.person is not None and not (self.errors.get("person") or self.errors.get("pin"))

    @property
    def sentences(self) -> list[str]:
        shown_elsewhere = ("person", "pin", "confirm")
        return [
            sentence for name, sentences in self.errors.items() if name not in shown_elsewhere for sentence in sentences
        ]


class InPressForm(ByForm):
    """Set in a press, or taken out. The button that was tapped names the die or the press; the time is now unless
    another is entered."""

    act = forms.ChoiceField(choices=[("set", ""), ("out", ""), ("never", "")], required=False)
    reason = forms.CharField(label=gettext_lazy("Why"), max_length=300, required=False)
    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    confirm = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    doubt = doubt_mark = ""

    def __init__(self, data=None, *, die: Die | None, press: Press | None, may_strike: bool = False, **kwargs) -> None:
        super().__init__(data, **kwargs)
        self.die, self.press, self.may_strike = die, press, may_strike
        plant = (die or press).plant
        self.fields["key"].initial = fresh_key()
        self.fields["at"] = MomentField(label=_("When, if not now"), required=False)
        self.row = page.in_press_now(die=die) if die is not None else page.in_press_now(press=press)
        picked = {"required": False, "error_messages": {"invalid_choice": _("That one is not in the register.")}}
        if die is None:
            self.fields["die"] = forms.ModelChoiceField(queryset=Die.objects.filter(plant=plant), **picked)
        else:
            self.fields["press"] = forms.ModelChoiceField(queryset=Press.objects.filter(plant=plant), **picked)
            variants = expected.variants(die)
            if len(variants) > 1:
                options = [(v.pk, str(v)) for v in variants]
                self.fields["variant"] = forms.ChoiceField(
                    label=_("With which inserts?"), choices=choices(options), widget=Picks, required=False
                )
                self.fields["variant"].initial = str(self._variant_expected(die) or variants[0].pk)

    @staticmethod
    def _variant_expected(die: Die) -> int | None:
        orders = expected.open_orders(die)
        return (orders[0].variant_id if orders else None) or expected.last_variant(die)

    def clean(self) -> dict:
        cleaned = super().clean()
        cleaned["act"] = cleaned.get("act") or "set"
        if cleaned["act"] == "never" and not self.may_strike:
            raise forms.ValidationError(_("Ask somebody who may strike out an entry."))
        if cleaned["act"] != "set" and self.row is None:
            raise forms.ValidationError(_("Nothing is in it any more: somebody took it out."))
        if cleaned["act"] == "set" and not (cleaned.get("die") or cleaned.get("press")) and not self.errors:
            raise forms.ValidationError(_("Tap the die or the press."))
        if cleaned["act"] == "set" and not self.errors:
            self._doubt(cleaned)
        return cleaned

    def _doubt(self, cleaned: dict) -> None:
        """Ask before a die goes in that should be sharpened first. The answer holds for that sentence only."""
        die = cleaned.get("die") or self.die
        _, order = self._variant_and_order(die, cleaned)
        ready = due.readiness([die.pk], {die.pk: order} if order else {}).get(die.pk)
        self.doubt = page.doubt_of(die, ready) if ready else ""
        self.doubt_mark = hashlib.sha256(self.doubt.encode()).hexdigest()[:16]
        if self.doubt and cleaned.get("confirm") != self.doubt_mark:
            self.add_error("confirm", self.doubt)

    @property
    def tapped(self) -> tuple[str, Die | Press]:
        """What was picked to go in, by its name on the form, so that a doubt can be confirmed."""
        name = "die" if self.die is None else "press"
        return name, self.cleaned_data[name]

    def _variant_and_order(self, die: Die, cleaned: dict) -> tuple[Variant | None, OrderLeft | None]:
        """With which inserts it goes in, and for which order."""
        variants, orders = expected.variants(die), expected.open_orders(die)
        variant = next((v for v in variants if str(v.pk) == cleaned.get("variant")), None)
        wanted = variant.pk if variant else self._variant_expected(die)
        order = next((row for row in orders if row.variant_id in (None, wanted)), None)
        return variant or next((v for v in variants if v.pk == wanted), None), order

    def save(self, by: write.Actor) -> DieInPress:
        cleaned, now = self.cleaned_data, timezone.now()
        at: dt.datetime = cleaned.get("at") or now
        if at == minute(now):
            at = now
        if cleaned["act"] == "out":
            return presses.take_out(by=by, row=self.row, at=at)
        if cleaned["act"] == "never":
            return presses.strike_in_press(by=by, row=self.row, reason=cleaned["reason"])
        die, press = cleaned.get("die") or self.die, cleaned.get("press") or self.press
        variant, order = self._variant_and_order(die, cleaned)
        return presses.set_in_press(
            by=by,
            press=press,
            die=die,
            at=at,
            variant=variant,
            order=None if order is None else Order.objects.get(pk=order.order_id),
            key=cleaned.get("key") or None,
        )


class SettleForm(ByForm):
    """An answer to what a count alone does not decide."""

    who = gettext_lazy("Who settles it?")

    def __init__(self, data=None, *, asked: counters_asked.Asked, may_strike: bool, **kwargs) -> None:
        super().__init__(data, **kwargs)
        self.asked = asked
        offered = [a for a in asked.answers if may_strike or a.verdict != counters_questions.COUNTER_HOLDS]
        self.fields["verdict"] = forms.ChoiceField(
            label=_("What was it?"),
            choices=[(a.verdict, Pick(a.text, a.note)) for a in offered],
            widget=Picks,
            error_messages={"required": _("Pick one of the answers."), "invalid_choice": _("Pick one of the answers.")},
        )
        if asked.needs_die:
            plant = asked.counter.device.plant_id
            likely = list(asked.dies.values())
            if not likely and asked.counter.press is not None:
                likely = [pick.die for pick in page.dies_for(asked.counter.press)][:6]
            self.fields["die"] = forms.ModelChoiceField(
                label=_("Which die ran?"),
                queryset=Die.objects.filter(plant=plant).order_by("code"),
                required=False,
                empty_label=_("not said"),
                initial=likely[0].pk if len(likely) == 1 else None,
                error_messages={"invalid_choice": _("That die is not in the register.")},
            )

    def clean(self) -> dict:
        cleaned = super().clean()
        needs = {a.verdict for a in self.asked.answers if a.needs_die}
        if cleaned.get("verdict") in needs and cleaned.get("die") is None and "die" not in self.errors:
            self.add_error("die", _("Say which die ran."))
        return cleaned

    def save(self, by: write.Actor) -> None:
        cleaned = self.cleaned_data
        questions: tuple[CounterQuestion, ...] = self.asked.questions
        if cleaned["verdict"] == counters_questions.COUNTER_HOLDS:
            counters_questions.counter_holds(by=by, questions=questions, reason="The counter holds.")
            return
        counters_questions.settle_questions(
            by=by, questions=questions, verdict=cleaned["verdict"], die=cleaned.get("die")
        )


class _Several(forms.ModelMultipleChoiceField):
    """Some of the register. A number that no row can have is no choice; the database would not even take it."""

    def clean(self, value):
        for text in value or ():
            if not (str(text).isascii() and str(text).isdigit() and int(text) < 2**63):
                raise ValidationError(_("Pick from the list."), code="invalid_choice")
        return super().clean(value)


class DeviceForm(forms.Form):
    name = forms.CharField(
        label=gettext_lazy("Name"),
        max_length=80,
        help_text=gettext_lazy("What it is and where: counters of hall 2."),
        error_messages={"required": gettext_lazy("Give the box a name: what it is and where.")},
    )
    scopes = forms.MultipleChoiceField(
        label=gettext_lazy("It may"),
        choices=lambda: [(value, _(str(label))) for value, label in Scope.choices],
        initial=[Scope.COUNTS],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": gettext_lazy("Say what the box may do.")},
    )
    figures = forms.TypedChoiceField(
        label=gettext_lazy("Digits on the counter"),
        choices=[
            ("", gettext_lazy("not known")),
            *((n, format_lazy(gettext_lazy("{n} digits"), n=n)) for n in FIGURES),
        ],
        coerce=int,
        empty_value=None,
        required=False,
        help_text=gettext_lazy("Needed to tell a roll-over (999999 to 0) from a reset."),
    )

    def __init__(self, data=None, *, plants: QuerySet[Plant], **kwargs) -> None:
        super().__init__(data, **kwargs)
        self.plants = plants
        for name, model, label in (("presses", Press, _("For these presses")), ("dies", Die, _("For these dies"))):
            self.fields[name] = _Several(
                label=label,
                queryset=model.objects.filter(plant__in=plants).order_by("code"),
                required=False,
                help_text=_("None picked: all."),
            )
        if plants.count() > 1:
            self.fields["plant"] = forms.ModelChoiceField(label=_("Plant"), queryset=plants, empty_label=None)

    def clean(self) -> dict:
        cleaned = super().clean()
        named = CounterDevice.objects.filter(plant=self.plant, name__iexact=cleaned.get("name", "").strip())
        if named.exists():
            self.add_error(
                "name", _("There is a box {name} already. Give this one another name.").format(name=cleaned["name"])
            )
        return cleaned

    @property
    def plant(self) -> Plant | None:
        return self.cleaned_data.get("plant") or self.plants.first()

    def save(self, by: write.Actor) -> devices.Made:
        cleaned = self.cleaned_data
        return devices.make_device(
            by=by,
            plant=self.plant,
            name=cleaned["name"],
            scopes=cleaned["scopes"],
            presses=cleaned["presses"],
            dies=cleaned["dies"],
            figures=cleaned["figures"],
        )
