"""The bench forms that name pieces: a replacement, a sharpening of the set, a reading."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from django import forms

from diestore import units
from diestore.frame.fields import MeasureField, Opens, Pick, TypedField, WholeField, choices
from diestore.handbook.tool_steels import COATINGS
from diestore.register.models import Party, Side
from maintenance.clockwork import usual as clockwork_usual
from maintenance.clockwork.works import OPERATIONS
from maintenance.log import doubts, read, write
from maintenance.log import expected as log_expected
from maintenance.models import Event, Found, Reading, Replacement, StockMovement, Work

from .forms import LogForm, picks, when


def into_run() -> WholeField:
    return WholeField(
        label="In the middle of a run: hits of that run so far",
        required=False,
        help_text="Leave it empty when the press stood between runs.",
    )


def place_picks(places: list[log_expected.BenchPlace], *, expected: bool, shelf: bool = False):
    for place in places:
        notes = [place.kind.name]
        if shelf and place.on_shelf is not None:
            notes.append(f"{place.on_shelf} on the shelf")
        if not place.fitted:
            notes.append("empty")
        yield place.position.pk, Pick(place.position.code, ", ".join(notes), expected=expected and place.limits)


class ReplacementForm(LogForm):
    heading = "Log a replacement"
    work = "replacement"
    NEW, NOTHING = "new", "nothing"

    def build(self) -> None:
        self.places = {str(p.position.pk): p for p in log_expected.places(self.die, self.now)}
        self.fields["position"] = picks(
            "Which piece?",
            place_picks(list(self.places.values()), expected=True, shelf=True),
            missing="Pick the piece that was replaced.",
        )
        limiting = next((p.position.code for p in self.places.values() if p.limits), "")
        self.fields["position"].help_text = f"{limiting} is the one expected to go first." if limiting else ""
        whys = [(w.value, w.label) for w in Replacement.Why if w != Replacement.Why.FIRST]
        self.fields["why"] = picks("Why did it come out?", whys, required=False, missing="Pick why it came out.")
        self.fields["from_shelf"] = picks(
            "Where did the new one come from?",
            [("yes", Pick("off the shelf", "its count goes down by one")), ("no", "from elsewhere")],
            initial="yes",
        )
        self.fields["at"] = when("When was it?", self.now)
        self.pieces = {str(piece.pk): piece for piece in log_expected.loose_pieces(self.die)}
        before = self.instead.event.piece_in if self.instead else None
        again = [] if before is None or before.mark else [(str(before.pk), "the piece of the entry struck out")]
        self.fields["goes_in"] = forms.ChoiceField(
            label="What went in?",
            choices=[
                (self.NEW, "a new one"),
                *again,
                *((pk, f"the piece marked {piece.mark}") for pk, piece in self.pieces.items()),
                (self.NOTHING, "nothing: it was only taken out"),
            ],
            initial=self.NEW,
        )
        if again:
            self.pieces[str(before.pk)] = before
        self.fields["found"] = picks(
            "How was its edge?",
            [("not looked", "not looked at"), *((s, s) for s in ("sharp", "dull", "chipped", "broken", "galled"))],
            initial="not looked",
        )
        self.fields["hits_into_run"] = into_run()

    @property
    def place(self) -> log_expected.BenchPlace | None:
        return self.places.get(self.cleaned_data.get("position", ""))

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])
        place = self.place
        if place is None:
            return
        if place.fitted and not cleaned.get("why"):
            self.add_error("why", "Pick why it came out.")
        if not place.fitted and cleaned.get("goes_in") == self.NOTHING:
            self.add_error("goes_in", f"Nothing sits in {place.position.code} now, so nothing can be taken out.")
        piece = self.pieces.get(cleaned.get("goes_in", ""))
        if piece is not None and not log_expected.belongs_in(piece, place.position):
            self.add_error("goes_in", f"{str(piece).capitalize()} does not belong in {place.position.code}.")

    def takes_from_shelf(self, cleaned: dict) -> bool:
        place = self.place
        return (
            cleaned.get("from_shelf") == "yes"
            and cleaned.get("goes_in") != self.NOTHING
            and place is not None
            and place.on_shelf is not None
        )

    def doubts(self, cleaned: dict) -> Iterator[str]:
        place = self.place
        if self.takes_from_shelf(cleaned) and place.on_shelf < 1:
            yield (
                f"By the count there is no {place.position.item} on the shelf ({place.on_shelf}). "
                "If you did take one, the shelf should be counted."
            )
        if cleaned.get("why") == "dull" and cleaned.get("found") == "sharp":
            yield "It came out as dull, but its edge was found sharp: what was found will count."

    def save(self, by: write.Actor) -> list[Event]:
        c, place = self.cleaned_data, self.place
        row = write.log_replacement(
            by=by,
            position=place.position,
            at=c["at"],
            why=c["why"] if place.fitted else (c["why"] or Replacement.Why.FIRST),
            found="" if c["found"] == "not looked" and not place.fitted else c["found"],
            piece=self.pieces.get(c["goes_in"]),
            take_out_only=c["goes_in"] == self.NOTHING,
            from_shelf=self.takes_from_shelf(c),
            hits_into_run=c["hits_into_run"],
            note=c["note"],
            key=c["key"] or None,
        )
        return [row]

    @classmethod
    def initial_of(cls, events, system):
        row = events[0]
        return super().initial_of(events, system) | {
            "position": str(row.position_id),
            "why": "" if row.why == Replacement.Why.FIRST else row.why,
            "found": row.found or "not looked",
            "goes_in": cls.NOTHING if row.piece_in is None else str(row.piece_in_id),
            "from_shelf": "yes" if StockMovement.objects.filter(key=f"{row.key}:shelf").exists() else "no",
            "hits_into_run": row.hits_into_run,
        }


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


# What is read at the bench, whether it belongs to a cut edge, and the span (in the unit of the quantity's column)
# outside which a slip of the unit is likelier than the value. Spans: common practice, no source.
MEASURED: dict[str, tuple[bool, float, float]] = {
    "burr height": (True, 2, 500),
    "wear land": (True, 2, 2_000),
    "edge radius": (True, 1, 1_000),
    "bore clearance": (False, 0.001, 1),
    "diameter": (False, 0.2, 500),
    "wear": (False, 0.001, 10),
    "free length": (False, 2, 1_000),
    "spring force": (False, 1, 200_000),
    "strip force": (False, 20, 2_000_000),
}


class ReadingForm(LogForm):
    heading = "Log a reading"
    work = "reading"
    WHOLE_DIE = "die"

    def build(self) -> None:
        self.places = {str(p.position.pk): p for p in log_expected.places(self.die, self.now)}
        self.fields["quantity"] = picks(
            "What was measured?",
            [(name, Pick(name, units.quantity(name).unit(self.system))) for name in MEASURED],
            missing="Pick what was measured.",
        )
        self.fields["position"] = picks(
            "Where?",
            [*place_picks(list(self.places.values()), expected=True), (self.WHOLE_DIE, "the whole die")],
            missing="Pick the place that was measured.",
        )
        self.fields["value"] = forms.CharField(
            label="Value",
            max_length=40,
            widget=forms.TextInput({"class": "one", "inputmode": "decimal", "autocomplete": "off"}),
            help_text="A bare number is in the unit named with what was measured. Or type one: 0.06 mm, 2.4 thou.",
            error_messages={"required": "Enter the value.", "max_length": "Type one value with its unit."},
        )
        self.fields["at"] = when("When was it?", self.now)
        self.fields["hits_into_run"] = into_run()

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])
        quantity, place = cleaned.get("quantity"), self.places.get(cleaned.get("position", ""))
        if quantity and cleaned.get("value"):
            try:
                self.typed = units.parse(cleaned["value"], quantity, self.system)
                if self.typed.value < 0:
                    raise units.NotANumber(f"A {quantity} below nought cannot be.")
                if len(self.typed.typed_unit) > 20:
                    raise units.UnknownUnit("Type one value with its unit.")
            except units.UnitError as error:
                self.add_error("value", str(error))
        if quantity and cleaned.get("position") and MEASURED[quantity][0] and not (place and place.kind.cuts):
            where = f"{place.called} does not cut" if place else "The whole die has many edges"
            self.add_error("position", f"{where}: {quantity} is measured at a cutting edge. Pick one.")

    def doubts(self, cleaned: dict) -> Iterator[str]:
        quantity = cleaned["quantity"]
        _, least, most = MEASURED[quantity]
        if self.typed.value and not least <= self.typed.value <= most:
            shown = f"{self.typed.typed_value} {self.typed.typed_unit}"
            size = "little" if self.typed.value < least else "much"
            yield f"{shown} is very {size} for {quantity}. Check the unit."

    def save(self, by: write.Actor) -> list[Event]:
        c = self.cleaned_data
        place = self.places.get(c["position"])
        reading = write.log_reading(
            by=by,
            at=c["at"],
            quantity=c["quantity"],
            value_si=self.typed.value_si,
            typed_value=self.typed.typed_value,
            typed_unit=self.typed.typed_unit,
            die=None if place else self.die,
            position=place.position if place else None,
            hits_into_run=c["hits_into_run"],
            note=c["note"],
            key=c["key"] or None,
        )
        return [reading]

    @classmethod
    def initial_of(cls, events, system):
        row: Reading = events[0]
        return super().initial_of(events, system) | {
            "quantity": row.quantity,
            "position": str(row.position_id or cls.WHOLE_DIE),
            "value": f"{row.typed_value} {row.typed_unit}".strip(),
            "hits_into_run": row.hits_into_run,
        }
