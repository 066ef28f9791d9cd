"""A sharpening of the set: one line for all of it, and what differs opened piece by piece."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from django import forms

from diestore import units
from diestore.frame.fields import MeasureField, Opens, Pick, TypedField, choices
from diestore.handbook.tool_steels import COATINGS
from diestore.register.models import Party, Side
from maintenance.clockwork import usual as clockwork_usual
from maintenance.clockwork.works import OPERATIONS
from maintenance.log import doubts, read, write
from maintenance.log import expected as log_expected
from maintenance.models import Event, Found, Work

from .forms import LogForm, picks, when
from .piece_forms import into_run


@dataclass(frozen=True, kw_only=True)
class GroundRow:
    """One piece in the sharpening form: its place, its three fields, and whether it alone was ground."""

    place: log_expected.BenchPlace
    alone: str
    is_alone: bool
    found: forms.BoundField
    removed: forms.BoundField
    why: forms.BoundField


class SharpeningForm(LogForm):
    """One number for the whole set; single pieces corrected below.

    Each piece goes with the set unless its row says otherwise. A row that says what was found, or that has an amount of
    its own, is part of the set whichever side was ground.
    """

    heading = "Log a sharpening"
    BOTH, ALL, AS_FOUND, WITH_SET, LEFT_OUT = "both", "all", "as found", "set", "out"
    ONLY = "only-"
    UNDER, OUT = "under", "out"

    def build(self) -> None:
        log = read.of_die(self.die)
        ground = [p for p in log_expected.places(self.die, self.now, log=log) if p.kind.is_ground]
        self.places = [p for p in ground if p.fitted]
        self.empty = [p for p in ground if not p.fitted]
        self.kept = {w.position_id: w for w in self.instead.events} if self.instead else {}
        sides = {p.position.side for p in self.places if p.kind.cuts}
        whole = [(Side.UPPER.value, "punch side"), (Side.LOWER.value, "die side"), (self.BOTH, "both sides")]
        if len(sides) < 2:
            whole = [(self.BOTH, "the whole set")]
        alone = [(f"{self.ONLY}{place.position.pk}", "only this") for place in self.places]
        self.fields["sides"] = picks(
            "What was ground?",
            [*whole, *alone],
            initial=self.BOTH if len(sides) < 2 else None,
            required=len(sides) > 1,
            missing="Pick which side was ground.",
            help_text="For one piece alone tap “only this” in its row below.",
        )
        self.fields["sides"].widget.choices = choices(whole)  # the others stand in the rows
        variants = log_expected.variants(self.die)
        if len(variants) > 1 and any(p.variants for p in self.places):
            in_the_die = log_expected.last_variant(self.die) or variants[0].pk
            self.fields["variant"] = picks(
                "With which inserts?",
                [*((v.pk, Pick(v.code, "in the die" if v.pk == in_the_die else "")) for v in variants),
                 (self.ALL, "all of them")],
                initial=str(in_the_die),
            )  # fmt: skip
        usual = clockwork_usual.usual_grind_mm(log)
        self.fields["removed"] = MeasureField(
            "removed_mm",
            self.system,
            label="How much came off each?",
            required=False,
            big=True,
            placeholder="" if usual is None else units.show(usual, "removed_mm", self.system, with_unit=False),
        )
        self.fields["why"] = picks(
            "Why was it ground?",
            [
                (self.AS_FOUND, Pick("an edge was dull or chipped", "tap it below")),
                (Work.Why.PLANNED.value, Pick("it was due", "nothing dull")),
                (Work.Why.CHANGE.value, "engineering change"),
                (Work.Why.OTHER.value, "other"),
            ],
            initial=self.AS_FOUND,
        )
        self.fields["rest"] = picks(
            "And the other edges?",
            [(Found.NOT_LOOKED.value, "not looked at"), (Found.SHARP.value, "looked at, still sharp")],
            initial=Found.NOT_LOOKED.value,
        )
        self.fields["operation"] = forms.ChoiceField(
            label="What was done?", choices=[(key, key) for key in OPERATIONS], initial="ground"
        )
        self.fields["spacer"] = picks(
            "Where did the spacer go?",
            [(self.UNDER, Pick("set under", "it stands higher")), (self.OUT, Pick("taken out", "it stands lower"))],
            initial=self.UNDER,
            required=False,
            help_text="Only for a spacer. How thick it is goes where else stands how much came off.",
        )
        self.fields["coating"] = forms.CharField(
            label="Coated with",
            max_length=40,
            required=False,
            widget=forms.TextInput({"placeholder": ", ".join(name for name in COATINGS if name != "none")}),
            help_text="Only where it was coated anew.",
            error_messages={"max_length": "Name the coating in 40 letters."},
        )
        self.fields["hours"] = TypedField(label="Hours on the bench, all together", required=False)
        self.fields["supplier"] = forms.ModelChoiceField(
            label="Who ground it?",
            queryset=Party.objects.filter(role=Party.Role.SUPPLIER),
            required=False,
            empty_label="our own toolroom",
        )
        self.fields["at"] = when("When was it?", self.now)
        self.fields["hits_into_run"] = into_run()
        for place in self.places:
            self._add_row(place)

    def _add_row(self, place: log_expected.BenchPlace) -> None:
        pk = place.position.pk
        cuts = place.kind.cuts
        options = [
            (self.WITH_SET, "with set"),
            ("dull", Pick("dull", "expected", expected=True) if place.limits else "dull"),
            *((state, state) for state in ("sharp", "chipped", "galled")),
            (self.LEFT_OUT, "left out"),
        ]
        initial = self.initial.get(f"found_{pk}")
        if initial and initial not in dict(options):
            options.insert(-1, (initial, initial))
        self.fields[f"found_{pk}"] = picks(
            f"{place.called}: how was it?",
            options,
            required=False,
            initial=self.WITH_SET if cuts else self.LEFT_OUT,
        )
        self.fields[f"removed_{pk}"] = MeasureField(
            "removed_mm", self.system, label=f"{place.position.code}: how much came off?", required=False
        )
        self.fields[f"why_{pk}"] = forms.ChoiceField(
            label=place.position.code,
            choices=[("", "as found"), *Work.Why.choices],
            required=False,
            widget=Opens,
        )

    @property
    def work(self) -> str:
        return "sharpening carbide" if log_expected.any_carbide(self.places) else "sharpening"

    @property
    def rows(self) -> list[GroundRow]:
        made = []
        for place in self.places:
            pk = place.position.pk
            alone = f"{self.ONLY}{pk}"
            made.append(
                GroundRow(
                    place=place,
                    alone=alone,
                    is_alone=self["sides"].value() == alone,
                    found=self[f"found_{pk}"],
                    removed=self[f"removed_{pk}"],
                    why=self[f"why_{pk}"],
                )
            )
        return made

    @property
    def unit(self) -> str:
        return self.fields["removed"].unit

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])
        for name in ("removed", *(f"removed_{p.position.pk}" for p in self.places)):
            amount = cleaned.get(name)
            if amount is not None and not 0 < amount <= 100:
                shown = units.show(amount, "removed_mm", self.system)
                self.add_error(name, f"{shown} cannot come off. Enter what was ground away, or leave it empty.")
        hours = cleaned.get("hours")
        if hours is not None and not 0 <= hours <= 10_000:
            self.add_error("hours", "Enter the hours as nought or more.")
        if any(name in self.errors for name in ("sides", "variant", "operation", "why", "rest")):
            return
        self._check_operation(cleaned)
        self.pieces = self._pieces(cleaned)
        if not self.pieces:
            self.add_error(None, "No piece was ground by what is picked below. Pick at least one.")
        elif OPERATIONS[cleaned["operation"]].raises and any(p.raised_mm is None for p in self.pieces):
            without = self._named([p for p in self.pieces if p.raised_mm is None])
            self.add_error("removed", f"Enter how thick the spacer of {without} is.")
        elif cleaned["why"] == self.AS_FOUND and not any(p.why != Work.Why.WITH_SET for p in self.pieces):
            self.add_error("why", "Tap the edge that was dull or chipped in the list below, or pick another reason.")

    def _check_operation(self, cleaned: dict) -> None:
        """What is typed beside a work belongs to it, and what belongs to it is typed."""
        done = OPERATIONS[cleaned["operation"]]
        amounts = ["removed", *(f"removed_{p.position.pk}" for p in self.places)]
        if not (done.removes or done.raises):
            for name in amounts:
                if cleaned.get(name) is not None:
                    self.add_error(name, f"Nothing comes off a piece that is {done.key}. Leave it empty.")
        if done.coats and not cleaned.get("coating") and "coating" not in self.errors:
            self.add_error("coating", "Say what it was coated with.")

    def _pieces(self, cleaned: dict) -> list[write.SharpenedPiece]:
        sides = cleaned.get("sides") or self.BOTH
        inserts = cleaned.get("variant") or self.ALL
        done = OPERATIONS[cleaned["operation"]]
        way = -1 if cleaned.get("spacer") == self.OUT else 1
        made = []
        for place in self.places:
            position = place.position
            state = cleaned.get(f"found_{position.pk}") or self.LEFT_OUT
            own = cleaned.get(f"removed_{position.pk}")
            if sides.startswith(self.ONLY):
                if sides != f"{self.ONLY}{position.pk}":
                    continue
                state = self.WITH_SET if state == self.LEFT_OUT else state
            elif state == self.LEFT_OUT:
                continue
            goes_along = sides in (self.BOTH, position.side) and self._with_inserts(place, inserts)
            goes_along |= sides.startswith(self.ONLY)
            if state == self.WITH_SET and own is None and place.kind.cuts and not goes_along:
                continue
            found = cleaned["rest"] if state == self.WITH_SET else state
            before = self.kept.get(position.pk)
            amount = own if own is not None else cleaned.get("removed")
            made.append(
                write.SharpenedPiece(
                    position=position,
                    why=cleaned.get(f"why_{position.pk}") or self._why(cleaned["why"], found),
                    found=found,
                    removed_mm=amount if done.removes else None,
                    raised_mm=way * amount if done.raises and amount is not None else None,
                    operation=cleaned["operation"],
                    wear_mm=before.wear_mm if before else None,
                    length_after_mm=before.length_after_mm if before else None,
                    coating_after=cleaned.get("coating", ""),
                )
            )
        return made

    def _with_inserts(self, place: log_expected.BenchPlace, inserts: str) -> bool:
        return inserts == self.ALL or not place.variants or inserts in {str(pk) for pk in place.variants}

    def _why(self, of_set: str, found: str) -> str:
        """Why one piece was ground: as the set, or, where an edge was the reason, by what was found on this one."""
        if of_set != self.AS_FOUND:
            return of_set
        return {"dull": Work.Why.DULL, "chipped": Work.Why.CHIPPED, "broken": Work.Why.CHIPPED}.get(
            found, Work.Why.WITH_SET
        )

    def doubts(self, cleaned: dict) -> Iterator[str]:
        state = {p.position.pk: p.state for p in self.places}
        amounts = [p.removed_mm for p in self.pieces if p.removed_mm is not None]
        if OPERATIONS[cleaned["operation"]].removes and len(amounts) < len(self.pieces):
            yield (
                f"Nothing is entered for what came off {self._named([p for p in self.pieces if p.removed_mm is None])}"
                ": the grind allowance will then read too high. If nobody measured, enter what usually comes off."
            )
        if amounts and (doubt := doubts.of_removed(self._shown(max(amounts)), max(amounts))):
            yield doubt
        over = [
            p
            for p in self.pieces
            if p.removed_mm is not None
            and state[p.position.pk].allowance_left_mm is not None
            and p.removed_mm > state[p.position.pk].allowance_left_mm + 1e-9
        ]
        if over:
            least = min(over, key=lambda p: state[p.position.pk].allowance_left_mm)
            left = self._shown(state[least.position.pk].allowance_left_mm)
            yield (
                f"That is more than is left to grind on {self._named(over)}: {least.position.code} has {left} of its "
                f"allowance left, {self._shown(least.removed_mm)} came off."
            )

    def _shown(self, mm: float) -> str:
        return units.show(mm, "removed_mm", self.system)

    @staticmethod
    def _named(pieces: list[write.SharpenedPiece], most: int = 4) -> str:
        codes = [p.position.code for p in pieces]
        return ", ".join(codes) if len(codes) <= most else f"{', '.join(codes[:most])} and {len(codes) - most} more"

    def save(self, by: write.Actor) -> list[Event]:
        c = self.cleaned_data
        return write.log_sharpening(
            by=by,
            die=self.die,
            at=c["at"],
            pieces=self.pieces,
            hours=c["hours"],
            supplier=c["supplier"],
            hits_into_run=c["hits_into_run"],
            note=c["note"],
            key=c["key"] or None,
        )

    @classmethod
    def initial_of(cls, events, system):
        works: tuple[Work, ...] = events
        first = works[0]
        die = first.position.die
        hours = [w.hours for w in works if w.hours is not None]
        rest = Counter(w.found or "not looked" for w in works if w.found in ("", "not looked", "sharp"))
        commonest = rest.most_common(1)[0][0] if rest else "not looked"
        amount_of = {w.pk: w.removed_mm if w.raised_mm is None else abs(w.raised_mm) for w in works}
        amounts = Counter(mm for mm in amount_of.values() if mm is not None)
        usual = amounts.most_common(1)[0][0] if amounts else None
        initial = {
            "sides": cls.BOTH,
            "variant": cls.ALL,
            # Each row carries its own reason; the set's then decides nothing, and must not ask for a dull edge.
            "why": cls.AS_FOUND if any(w.why != Work.Why.WITH_SET for w in works) else Work.Why.OTHER.value,
            "removed": usual,
            "rest": commonest,
            "operation": first.operation,
            "spacer": cls.OUT if (first.raised_mm or 0) < 0 else cls.UNDER,
            "coating": first.coating_after,
            "hours": f"{sum(hours):.6g}" if hours else "",
            "supplier": first.supplier_id,
            "hits_into_run": first.hits_into_run,
        }
        initial |= {f"found_{pk}": cls.LEFT_OUT for pk in die.positions.values_list("pk", flat=True)}
        for work in works:
            found = work.found or "not looked"
            initial[f"found_{work.position_id}"] = cls.WITH_SET if found == commonest else found
            initial[f"why_{work.position_id}"] = work.why
            if amount_of[work.pk] != usual:
                initial[f"removed_{work.position_id}"] = amount_of[work.pk]
        return super().initial_of(events, system) | initial
