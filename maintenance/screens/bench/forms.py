"""Forms of the bench: a work opened, what is done about it, a die held and released."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from functools import cached_property

from django import forms
from django.db import transaction
from django.db.models import QuerySet

from diestore import units
from diestore.access.models import Person
from diestore.access.tablet import Tablet
from diestore.access.who_field import add_person, prove_person
from diestore.cards.forms import AmountField, DayField
from diestore.frame.fields import (
    KnownField,
    MeasureField,
    Opens,
    PhotoField,
    Pick,
    Ticks,
    TypedField,
    WholeField,
    choices,
)
from diestore.register.models import Die, Party, Position
from maintenance.clockwork import usual
from maintenance.forecasts import decisions
from maintenance.log import bench, expected, heights, photos, read, write
from maintenance.models import BenchEdge, BenchWork, fresh_key
from maintenance.policy.height_ledger import Ledger
from maintenance.policy.height_targets import target
from maintenance.policy.heights import HeightError

Source = BenchWork.Source
ENTERED = "Enter the hours, such as 1.5."


class ByForm(forms.Form):
    """A form that says who does it."""

    who = "Who does it?"
    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)

    def __init__(
        self, data=None, *, people: QuerySet[Person], person: Person | None, tablet: Tablet | None, files=None, **kwargs
    ):
        super().__init__(data, files, **kwargs)
        self.has_people = add_person(
            self, people=people, label=self.who, missing="Pick who does it.", tablet=tablet, required=True
        )
        if person is not None:
            self.fields["person"].initial = person.pk
        self.fields["key"].initial = fresh_key()

    def clean(self) -> dict:
        cleaned = super().clean()
        prove_person(self, cleaned)
        return cleaned

    @property
    def visible_errors(self) -> list[tuple[str, str]]:
        return [(name, sentence) for name, found in self.errors.items() for sentence in found]


class OpenForm(ByForm):
    """A work on a die. Whoever may not plan says what and where; the bench says how long and which edges too."""

    who = "Who reports it?"

    def __init__(self, *args, die: Die, source: str, asked: dict, may_plan: bool, system: units.System, **kwargs):
        super().__init__(*args, **kwargs)
        self.die, self.system = die, system
        log = read.of_die(die)
        self.places = expected.places(die, log=log)
        self.log = log if may_plan else None
        self.fields["what"] = forms.CharField(
            label="What is to be done?", max_length=200, initial=self._what(source, asked),
            widget=forms.TextInput({"autocomplete": "off", "placeholder": "sharpen the set, new spring in 2 ..."}),
            error_messages={"required": "Say what is to be done.", "max_length": "Say it in 200 letters."},
        )  # fmt: skip
        self.fields["source"] = forms.ChoiceField(
            label="What is it opened for?", choices=choices(Source.choices), widget=Opens, initial=source
        )
        self.fields["position"] = forms.ChoiceField(
            label="Which position?", required=False, widget=Opens, initial=asked.get("place", ""),
            choices=choices([("", "none in particular"), *((p.position.pk, p.called) for p in self.places)]),
        )  # fmt: skip
        self.fields["needed_on"] = DayField(
            label="When is the die needed?", required=False, help_text="Empty: before its next job has to begin."
        )
        self.fields["photo"] = PhotoField()
        if may_plan:
            self._add_bench(source, asked)

    def _what(self, source: str, asked: dict) -> str:
        if said := asked.get("what"):
            return said
        place = next((p for p in self.places if str(p.position.pk) == asked.get("place")), None)
        return {
            Source.DUE: "sharpen the set",
            Source.MISHAP: "see to what the mishap damaged",
            Source.STOP: "see to what stopped the press",
            Source.COMPLAINT: f"look at {place.called}" if place else "",
            Source.SPARE: "fit the spare that came",
        }.get(source, "")

    def _add_bench(self, source: str, asked: dict) -> None:
        usual_hours = usual.usual_hours(self.log)
        self.fields["hours_foreseen"] = TypedField(
            label="Hours that it takes", required=False,
            placeholder="" if usual_hours is None else f"{usual_hours:g}",
            help_text="" if usual_hours is None else f"Its sharpenings usually take {usual_hours:g}.",
            error_messages={"required": ENTERED},
        )  # fmt: skip
        ground = [p for p in self.places if p.kind.is_ground and p.fitted]
        self.usual_mm = usual.usual_grind_mm(self.log)
        self.fields["edges"] = forms.MultipleChoiceField(
            label="Which edges are to be ground?", required=False, widget=Ticks,
            choices=choices((p.position.pk, Pick(p.position.code, p.kind.name, expected=p.limits)) for p in ground),
            initial=[str(pk) for pk in self._edges(ground, source, asked)],
            help_text="Tap each. None is right too. The dashed one limits the die.",
        )  # fmt: skip
        self.fields["why"] = _why()
        self.fields["grind"] = MeasureField(
            "removed_mm", self.system, label="How much off each?", required=False,
            placeholder="" if self.usual_mm is None else units.show(self.usual_mm, "removed_mm", self.system),
            help_text="Empty: as much as usual. Single edges are set on the work's page.",
        )  # fmt: skip

    def _edges(self, ground, source: str, asked: dict) -> list[int]:
        """The edges that are advised: of a sharpening those worth grinding while the die is apart, and where that is
        not known the side of the edge that limits it; else what was named.
        """
        named = {asked.get("place"), *asked.get("damaged", ())}
        if source in (Source.COMPLAINT, Source.MISHAP):
            return [p.position.pk for p in ground if str(p.position.pk) in named]
        if source not in (Source.DUE, Source.STOP):
            return []
        if (pays := decisions.worth_grinding_now(self.die)) is not None:
            return [p.position.pk for p in ground if p.position.pk in pays]
        limits = next((p for p in ground if p.limits), None)
        side = limits.position.side if limits else "upper"
        return [p.position.pk for p in ground if p.kind.cuts and p.position.side == side]

    def clean(self) -> dict:
        cleaned = super().clean()
        hours, grind = cleaned.get("hours_foreseen"), cleaned.get("grind")
        if hours is not None:
            _refused(self, "hours_foreseen", lambda: bench.check_hours(hours))
        if grind is not None and not 0 < grind <= 100:
            self.add_error("grind", f"{units.show(grind, 'removed_mm', self.system)} cannot come off.")
        return cleaned

    def save(self, by: write.Actor, **about) -> BenchWork:
        c = self.cleaned_data
        places = {str(p.position.pk): p.position for p in self.places}
        mm = c.get("grind") or getattr(self, "usual_mm", None)
        advised = set(self.fields["edges"].initial) if "edges" in self.fields else set()
        wanted = c.get("edges") or []
        why = " ".join(c.get("why", "").split())
        edges = [
            bench.EdgeToGrind(
                position=places[pk],
                grind_mm=mm,
                advised_mm=(self.usual_mm or 0.0) if pk in advised else None,
                why="" if pk in advised or not advised else why,
            )
            for pk in wanted
        ]
        edges += [
            bench.EdgeToGrind(position=places[pk], advised_mm=self.usual_mm or 0.0, left_out=True, why=why)
            for pk in sorted(advised - set(wanted), key=lambda pk: places[pk].code)
        ]  # fmt: skip
        with transaction.atomic():
            work = bench.open_work(
                by=by, die=self.die, what=c["what"], source=c["source"], position=places.get(c["position"]),
                hours_foreseen=c.get("hours_foreseen") or self._usual(), needed_on=c["needed_on"], edges=edges,
                key=c["key"] or None, **about,
            )  # fmt: skip
            if c["photo"] is not None:
                photos.add_photo(by=by, plant=self.die.plant, of=work, picture=c["photo"])
        return work

    def _usual(self) -> float | None:
        """The hours of a sharpening, where one is opened and nobody said others."""
        if self.log is None or self.cleaned_data["source"] != Source.DUE:
            return None
        return usual.usual_hours(self.log)


def _refused(form: forms.Form, field: str, check) -> None:
    try:
        check()
    except write.EntryRefused as refused:
        form.add_error(field, str(refused))


def _why() -> forms.CharField:
    return forms.CharField(
        label="Why different from the advice?", max_length=200, required=False,
        widget=forms.TextInput({"autocomplete": "off", "placeholder": "sharp under the glass, a spare is coming ..."}),
        error_messages={"max_length": "Say it in 200 letters."},
    )  # fmt: skip


class WorkForm(ByForm):
    """All that is done about a work, by one form: the button that was tapped says what (`act`)."""

    reason = forms.CharField(label="Why is it dropped?", max_length=300, required=False)
    hours = TypedField(label="Hours worked just now", required=False)
    words = forms.CharField(
        label="Note", max_length=900, required=False, widget=forms.Textarea({"rows": 2}),
    )  # fmt: skip
    supplier = forms.ModelChoiceField(
        label="Supplier", queryset=Party.objects.none(), required=False, empty_label="none", widget=Opens
    )
    back_on = DayField(label="Back on", required=False)

    def __init__(
        self,
        *args,
        work: BenchWork,
        edges: Iterable[BenchEdge],
        today: dt.date,
        may_plan: bool,
        system: units.System,
        people: QuerySet[Person],
        **kwargs,
    ):
        super().__init__(*args, people=people, **kwargs)
        self.work, self.today, self.system = work, today, system
        self.fields["supplier"].queryset = Party.objects.filter(role=Party.Role.SUPPLIER, retired_at=None)
        self.fields["supplier"].initial = work.supplier_id
        self.edges = {edge.position_id: edge for edge in edges}
        self.in_use = expected.places_now(work.die)
        ground = [p for p in self.in_use.places if p.kind.is_ground and p.fitted]
        to_grind = {pk for pk, edge in self.edges.items() if not edge.left_out}
        self.places = [p for p in ground if p.position.pk in to_grind]
        self.others = [p for p in ground if p.position.pk not in to_grind]
        self.fields["why"] = _why()
        for place in self.places:
            pk = place.position.pk
            self.fields[f"grind_{pk}"] = MeasureField(
                "removed_mm", system, label=f"{place.position.code}: to come off", required=False,
                initial=self.edges[pk].grind_mm,
            )  # fmt: skip
        self.fields["more"] = forms.MultipleChoiceField(
            label="More edges", required=False, widget=Ticks,
            choices=choices((p.position.pk, Pick(p.position.code, p.kind.name)) for p in self.others),
        )  # fmt: skip
        self.fields["without"] = forms.MultipleChoiceField(
            label="Leave out", required=False, widget=forms.CheckboxSelectMultiple,
            choices=choices((p.position.pk, p.position.code) for p in self.places),
        )  # fmt: skip
        self.spares = {f"spare {item.pk}": item for item in self.in_use.spares}
        self.marked = {f"piece {piece.pk}": piece for piece in expected.loose_pieces(work.die)}
        named = {**self.spares, **self.marked}
        self.fields["aside"] = forms.ChoiceField(
            label="Spare or marked piece", required=False, widget=Opens,
            choices=choices([("", "pick one"), *((key, str(thing)) for key, thing in named.items())]),
        )  # fmt: skip
        self.fields["quantity"] = WholeField(label="How many", required=False, placeholder="1")
        if may_plan:
            self._add_plan(people)

    def _add_plan(self, people: QuerySet[Person]) -> None:
        work = self.work
        self.fields["what"] = forms.CharField(
            label="What is to be done", max_length=200, initial=work.what, required=False
        )
        self.fields["hours_foreseen"] = TypedField(
            label="Hours planned",
            required=False,
            initial="" if work.hours_foreseen is None else f"{work.hours_foreseen:g}",
        )
        self.fields["needed_on"] = DayField(label="Die needed on", required=False, initial=work.needed_on)
        self.fields["not_before"] = DayField(label="Not before", required=False, initial=work.not_before)
        self.fields["away_days"] = WholeField(
            label="Days at the supplier afterwards", required=False, initial=work.away_days
        )
        self.fields["late_cost"] = AmountField(label="A day late costs", required=False, initial=work.late_cost)
        self.fields["doer"] = KnownField(
            label="By whom", rows=doers(people), queryset=people, required=False, empty_label="the plan decides",
            widget=Opens, initial=work.person_id,
        )  # fmt: skip
        self.fields["day"] = DayField(label="On which day", required=False, initial=work.day)

    @cached_property
    def rows(self) -> list[dict]:
        """The edges to grind with their fields, and how long each piece should be afterwards."""
        made, ledger = [], heights_now(self.work.die, self.in_use.positions) if self.places else None
        for place in self.places:
            edge = self.edges[place.position.pk]
            aim = target(ledger, place.position.code, edge.grind_mm) if ledger is not None else None
            made.append(
                {
                    "place": place,
                    "edge": edge,
                    "field": self[f"grind_{place.position.pk}"],
                    "target_mm": None if aim is None else aim.length_mm,
                    "shim_mm": None if aim is None else aim.shim_mm,
                }
            )
        return made

    def wanted(self) -> list[bench.EdgeToGrind]:
        """The edges as they stand on the form."""
        c = self.cleaned_data
        mine = [
            bench.EdgeToGrind(position=p.position, grind_mm=c.get(f"grind_{p.position.pk}"))
            for p in self.places
            if str(p.position.pk) not in c["without"]
        ]
        return [
            *mine,
            *(bench.EdgeToGrind(position=p.position) for p in self.others if str(p.position.pk) in c["more"]),
        ]


def heights_now(die: Die, positions: Iterable[Position]) -> Ledger | None:
    """The heights of the die with what is in use in it; nothing where its entries cannot be."""
    try:
        return heights.of_die(die, positions=positions).ledger
    except HeightError:
        return None


def doers(people: Iterable[Person]) -> list[Person]:
    """Who of the people of a plant can be put to a work: those who have hours for the bench (`has_hours`), or everybody
    where nobody has."""
    everybody = list(people)
    return [person for person in everybody if person.has_hours] or everybody


class HoldForm(ByForm):
    reason = forms.CharField(
        label="Why does it make no parts?", max_length=300,
        widget=forms.TextInput({"autocomplete": "off", "placeholder": "burr on the left part, hole out of round ..."}),
        error_messages={"required": "Say why the die is held.", "max_length": "Say it in 300 letters."},
    )  # fmt: skip
    who = "Who holds it?"


class ApproveForm(ByForm):
    measured = forms.CharField(
        label="What was measured on the first piece?", max_length=500, widget=forms.Textarea({"rows": 3}),
        help_text="What, where, and what came out: burr at all four holes, size of the holes, flatness.",
        error_messages={
            "required": "Say what was measured, and what came out.", "max_length": "Say it in 500 letters.",
        },
    )  # fmt: skip
    who = "Who approves it?"


class DieForm(forms.Form):
    """Which die the work is on, where the address does not say it."""

    die = forms.ModelChoiceField(
        label="Which die?", queryset=Die.objects.none(), empty_label="pick one", widget=Opens,
        error_messages={"required": "Pick a die.", "invalid_choice": "Pick a die of the list."},
    )  # fmt: skip


__all__ = ["ApproveForm", "DieForm", "HoldForm", "OpenForm", "WorkForm", "doers", "heights_now"]
