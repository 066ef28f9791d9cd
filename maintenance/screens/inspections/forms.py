"""Forms of inspections: nothing found, something found, and a new plan."""

from __future__ import annotations

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore.access.who_does import ByForm
from diestore.frame.fields import Opens, PhotoField, WholeField, choices
from diestore.handbook.kinds import KINDS, plural_of
from diestore.register.models import Die, Plant, Press
from maintenance.log import inspections, photos, write
from maintenance.models import Grinder, Inspection, InspectionPlan, fresh_key

WHO = gettext_lazy("Who looks?")


def _named(sort: str, row: object) -> str:
    if sort == "die":
        return _("die {die}").format(die=row)
    return _("press {press}").format(press=row) if sort == "press" else str(row)


class DoneForm(ByForm):
    """One tap: looked at, nothing found."""

    who, missing = WHO, gettext_lazy("Pick who looked.")
    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["key"].initial = fresh_key()

    def save(self, by: write.Actor, plan: InspectionPlan) -> Inspection:
        return inspections.log_inspection(by=by, plan=plan, at=timezone.now(), key=self.key_for(plan))

    def key_for(self, plan: InspectionPlan) -> str | None:
        """The same form sent twice looks once at each of its plans."""
        return f"{self.cleaned_data['key']} {plan.pk}" if self.cleaned_data["key"] else None


class FoundForm(DoneForm):
    """Something was found: what, and a photo of it."""

    photo = PhotoField()
    note = forms.CharField(
        label=gettext_lazy("What was found?"), max_length=2_000, required=False, widget=forms.Textarea({"rows": 3}),
        error_messages={"max_length": gettext_lazy("Say it in 2,000 letters.")},
    )  # fmt: skip
    parts_scrapped = WholeField(label=gettext_lazy("Parts scrapped for it"), required=False, placeholder="0")

    def save(self, by: write.Actor, plan: InspectionPlan, *, is_finding: bool = True) -> Inspection:
        c = self.cleaned_data
        row = inspections.log_inspection(
            by=by, plan=plan, at=timezone.now(), is_finding=is_finding, note=c["note"], key=self.key_for(plan),
            parts_scrapped=(c["parts_scrapped"] or 0) if is_finding else 0,
        )  # fmt: skip
        if c["photo"] is not None:
            photos.add_photo(by=by, plant=plan.plant, of=row, picture=c["photo"])
        return row


class PlanForm(forms.Form):
    """A plan: of what, what is looked at, how often, and what that rests on."""

    of = forms.ChoiceField(
        label=gettext_lazy("Of what?"), widget=Opens,
        error_messages={"required": gettext_lazy("Pick what it is of."),
                        "invalid_choice": gettext_lazy("Pick one of the list.")},
    )  # fmt: skip
    kind = forms.ChoiceField(
        label=gettext_lazy("All places of a kind?"), required=False, widget=Opens,
        help_text=gettext_lazy("Of a die: all its guide posts, say."),
        error_messages={"invalid_choice": gettext_lazy("Pick one of the list.")},
    )  # fmt: skip
    what = forms.CharField(
        label=gettext_lazy("What is looked at?"), max_length=200,
        error_messages={"required": gettext_lazy("Say what is looked at."),
                        "max_length": gettext_lazy("Say it in 200 letters.")},
        widget=forms.TextInput(
            {"autocomplete": "off", "placeholder": gettext_lazy("springs: broken, set, shorter than the others")}
        ),
    )  # fmt: skip
    every_days = WholeField(label=gettext_lazy("Every how many days?"), required=False)
    every_hits = WholeField(
        label=gettext_lazy("Every how many hits?"),
        required=False,
        help_text=gettext_lazy("Of a die or a press. With both, whichever comes first."),
    )
    why = forms.CharField(
        label=gettext_lazy("What does it rest on?"), max_length=300, required=False,
        help_text=gettext_lazy("A rule, the maker, the shop's habit."),
        error_messages={"max_length": gettext_lazy("Say it in 300 letters.")},
    )  # fmt: skip

    def __init__(self, data=None, *, plant: Plant, asked: str = "") -> None:
        super().__init__(data)
        self.plant = plant
        self.things: dict[str, tuple[str, object]] = {}
        for sort, rows in (
            ("die", Die.objects.filter(plant=plant).exclude(status=Die.Status.RETIRED).order_by("code", "pk")),
            ("press", Press.objects.filter(plant=plant, retired_at=None).order_by("code", "pk")),
            ("grinder", Grinder.objects.filter(plant=plant, retired_at=None).order_by("code", "pk")),
        ):
            self.things |= {f"{sort} {row.pk}": (sort, row) for row in rows}
        named = [(key, _named(sort, row)) for key, (sort, row) in self.things.items()]
        self.fields["of"].choices = choices([("", _("pick one")), *named, ("plant", _("the plant as a whole"))])
        kinds = sorted((plural_of(key), key) for key in KINDS)
        self.fields["kind"].choices = choices([("", _("the die as a whole")), *((key, name) for name, key in kinds)])
        self.fields["of"].initial = asked if asked in self.things else ""

    def save(self, by: write.Actor) -> InspectionPlan:
        c = self.cleaned_data
        sort, thing = self.things.get(c["of"], ("", None))
        named = ({sort: thing} if sort else {}) | {"kind": c["kind"]}
        return inspections.plan_inspection(
            by=by, plant=self.plant, what=c["what"], every_days=c["every_days"], every_hits=c["every_hits"],
            why=c["why"], **named,
        )  # fmt: skip
