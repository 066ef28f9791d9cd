"""The bench forms that name pieces: a replacement, a sharpening of the set, a reading."""

from __future__ import annotations

from collections.abc import Iterator

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from diestore import units
from diestore.frame.fields import MeasureField, Pick, WholeField
from diestore.handbook import gas_springs
from diestore.handbook.springs import MeasuredForce, SpringError
from maintenance.log import expected as log_expected
from maintenance.log import spring_reads, write
from maintenance.models import Event, Reading, Replacement, StockMovement

from . import on_plan
from .forms import LogForm, picks, when


def into_run() -> WholeField:
    return WholeField(
        label=_("Mid-run? Hits so far in this run"),
        required=False,
        help_text=_("Blank if between runs."),
    )


def place_picks(places: list[log_expected.BenchPlace], *, expected: bool, shelf: bool = False):
    for place in places:
        notes = [_(place.kind.name)]
        if shelf and place.on_shelf is not None:
            notes.append(_("{on_shelf} on the shelf").format(on_shelf=place.on_shelf))
        if not place.fitted:
            notes.append(_("empty"))
        yield place.position.pk, Pick(place.position.code, ", ".join(notes), expected=expected and place.limits)


EDGE_STATES = (
    gettext_noop("sharp"),
    gettext_noop("dull"),
    gettext_noop("chipped"),
    gettext_noop("broken"),
    gettext_noop("galled"),
)
# Why a piece came out, and what was found on its edge that tells otherwise.
CONTRADICTED = {"dull": ("sharp",), "chipped": ("sharp", "dull"), "broken": ("sharp", "dull")}


class ReplacementForm(LogForm):
    heading = gettext_lazy("Log a replacement")
    work = "replacement"
    NEW, NOTHING = "new", "nothing"

    def build(self) -> None:
        self.places = {str(p.position.pk): p for p in log_expected.places(self.die, self.now)}
        self.fields["position"] = picks(
            _("Which piece?"),
            place_picks(list(self.places.values()), expected=True, shelf=True),
            missing=_("Pick the piece that was replaced."),
        )
        limiting = next((p.position.code for p in self.places.values() if p.limits), "")
        self.fields["position"].help_text = (
            _("{limiting} limits the die.").format(limiting=limiting) if limiting else ""
        )
        whys = [(w.value, w.label) for w in Replacement.Why if w != Replacement.Why.FIRST]
        self.fields["why"] = picks(_("Why did it come out?"), whys, required=False, missing=_("Pick why it came out."))
        self.fields["from_shelf"] = picks(
            _("Where did the new one come from?"),
            [("yes", Pick(_("off the shelf"), _("its count goes down by one"))), ("no", _("from elsewhere"))],
            initial="yes",
        )
        self.fields["at"] = when(_("When was it?"), self.now)
        self.pieces = {str(piece.pk): piece for piece in log_expected.loose_pieces(self.die)}
        before = self.instead.event.piece_in if self.instead else None
        again = [] if before is None or before.mark else [(str(before.pk), _("the piece of the entry struck out"))]
        self.fields["goes_in"] = forms.ChoiceField(
            label=_("What went in?"),
            choices=[
                (self.NEW, _("a new one")),
                *again,
                *((pk, _("the piece marked {mark}").format(mark=piece.mark)) for pk, piece in self.pieces.items()),
                (self.NOTHING, _("nothing: it was only taken out")),
            ],
            initial=self.NEW,
        )
        if again:
            self.pieces[str(before.pk)] = before
        self.fields["found"] = picks(
            _("How was its edge?"),
            [("not looked", _("not looked at")), *((state, _(state)) for state in EDGE_STATES)],
            initial="not looked",
        )
        self.fields["hits_into_run"] = into_run()

    @property
    def on_plan(self) -> on_plan.TapPlan | None:
        return on_plan.of_places(self.die, self.places.values(), on_plan.boxes_of(self["position"]))

    @property
    def empty(self) -> str:
        """The places in which nothing sits: a first fitting asks nothing about what came out."""
        return " ".join(pk for pk, place in self.places.items() if not place.fitted)

    @property
    def is_first(self) -> bool:
        return str(self["position"].value() or "") in self.empty.split()

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
            self.add_error("why", _("Pick why it came out."))
        if not place.fitted and cleaned.get("goes_in") == self.NOTHING:
            self.add_error(
                "goes_in",
                _("Nothing sits in {code} now, so nothing can be taken out.").format(code=place.position.code),
            )
        piece = self.pieces.get(cleaned.get("goes_in", ""))
        if piece is not None and not log_expected.belongs_in(piece, place.position):
            self.add_error(
                "goes_in",
                _("{piece} does not belong in {code}.").format(piece=str(piece).capitalize(), code=place.position.code),
            )

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
                _(
                    "By the count there is no {item} on the shelf ({on_shelf}). If you did take one, the shelf "
                    "should be counted."
                ).format(item=place.position.item, on_shelf=place.on_shelf)
            )
        why, found = cleaned.get("why"), cleaned.get("found")
        if place.fitted and why in CONTRADICTED and found in CONTRADICTED[why]:
            yield _("It came out as {why}, but its edge was found {found}: what was found will count.").format(
                why=_(why), found=_(found)
            )

    def save(self, by: write.Actor) -> list[Event]:
        c, place = self.cleaned_data, self.place
        row = write.log_replacement(
            by=by,
            position=place.position,
            at=c["at"],
            why=c["why"] if place.fitted else Replacement.Why.FIRST,
            found=c["found"] if place.fitted else "",
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


# What is read at the bench, whether it belongs to a cut edge, and the span (in the unit of the quantity's column)
# outside which a slip of the unit is likelier than the value. Spans: common practice, no source.
MEASURED: dict[str, tuple[bool, float, float]] = {
    gettext_noop("burr height"): (True, 2, 500),
    gettext_noop("wear land"): (True, 2, 2_000),
    gettext_noop("edge radius"): (True, 1, 1_000),
    gettext_noop("bore clearance"): (False, 0.001, 1),
    gettext_noop("diameter"): (False, 0.2, 500),
    gettext_noop("length"): (False, 2, 1_000),
    gettext_noop("punch entry"): (True, 0.05, 20),
    gettext_noop("room when closed"): (False, 0.05, 100),
    gettext_noop("wear"): (False, 0.001, 10),
    gettext_noop("free length"): (False, 2, 1_000),
    gettext_noop("spring force"): (False, 1, 200_000),
    gettext_noop("strip force"): (False, 20, 2_000_000),
    gas_springs.PRESSURE: (False, 1, 40),
}


class ReadingForm(LogForm):
    heading = gettext_lazy("Log a reading")
    work = "reading"
    WHOLE_DIE = "die"

    def build(self) -> None:
        self.places = {str(p.position.pk): p for p in log_expected.places(self.die, self.now)}
        self.fields["quantity"] = picks(
            _("What was measured?"),
            [
                (name, Pick(_(name), units.quantity(name).unit(self.system)))
                for name in MEASURED
                if name != gas_springs.PRESSURE or any(p.kind.key == gas_springs.KIND for p in self.places.values())
            ],
            missing=_("Pick what was measured."),
        )
        self.fields["position"] = picks(
            _("Which position?"),
            [*place_picks(list(self.places.values()), expected=True), (self.WHOLE_DIE, _("the whole die"))],
            missing=_("Pick the position that was measured."),
        )
        self.fields["value"] = forms.CharField(
            label=_("Value"),
            max_length=40,
            widget=forms.TextInput({"class": "one", "inputmode": "decimal", "autocomplete": "off"}),
            help_text=_("No unit typed: the one on the button. Or type it: 0.06 mm, 2.4 thou."),
            error_messages={"required": _("Enter the value."), "max_length": _("Type one value with its unit.")},
        )
        self.fields["at_length"] = MeasureField(
            "at_length_mm", self.system, label=_("At which length?"), required=False,
            help_text=_("Of a spring's force: how long it was on the tester. A force without it tells nothing."),
        )  # fmt: skip
        if gas_springs.PRESSURE in dict(self.fields["quantity"].choices):
            self.work = "reading gas springs"
            self.fields["charged_to"] = MeasureField(
                "pressure_mpa", self.system, label=_("Charged to"), required=False,
                help_text=_(
                    "Of a gas spring, where it was charged after that, with nitrogen, as its maker says; read at "
                    "room temperature. Empty: it was only read."
                ),
            )  # fmt: skip
        self.fields["at"] = when(_("When was it?"), self.now)
        self.fields["hits_into_run"] = into_run()
        self.fields["parts_scrapped"] = WholeField(
            label=_("Parts scrapped for it"), required=False, placeholder="0",
            help_text=_("Thrown away for what was measured here. What was scrapped at a stop stands there."),
        )  # fmt: skip

    @property
    def on_plan(self) -> on_plan.TapPlan | None:
        return on_plan.of_places(self.die, self.places.values(), on_plan.boxes_of(self["position"]))

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])
        quantity, place = cleaned.get("quantity"), self.places.get(cleaned.get("position", ""))
        if quantity and cleaned.get("value"):
            try:
                self.typed = units.parse(cleaned["value"], quantity, self.system)
                if self.typed.value < 0:
                    raise units.NotANumber(_("A {quantity} below nought cannot be.").format(quantity=_(quantity)))
                if len(self.typed.typed_unit) > 20:
                    raise units.UnknownUnit(_("Type one value with its unit."))
            except units.UnitError as error:
                self.add_error("value", str(error))
        if quantity and cleaned.get("position") and MEASURED[quantity][0] and not (place and place.kind.cuts):
            self.add_error("position", self._no_edge(place, quantity))
        if quantity == gas_springs.PRESSURE and not (place and place.kind.key == gas_springs.KIND):
            self.add_error("position", self._no_gas_spring(place, quantity))
        # What belongs to another quantity was typed before that was changed: the form hides it, and it is not kept.
        for name, of in (("at_length", spring_reads.FORCE), ("charged_to", gas_springs.PRESSURE)):
            if quantity != of:
                cleaned[name] = None
                self.errors.pop(name, None)
            elif cleaned.get(name) is not None and not cleaned[name] > 0:
                self.add_error(name, _("It must be above nought; leave it empty where nobody knows it."))

    def doubts(self, cleaned: dict) -> Iterator[str]:
        quantity = cleaned["quantity"]
        least, most = MEASURED[quantity][1:]
        if self.typed.value and not least <= self.typed.value <= most:
            shown = f"{self.typed.typed_value} {self.typed.typed_unit}"
            if self.typed.value < least:
                doubt = _("{shown} is very little for {quantity}. Check the unit.")
            else:
                doubt = _("{shown} is very much for {quantity}. Check the unit.")
            yield doubt.format(shown=shown, quantity=_(quantity))
        if quantity == spring_reads.FORCE:
            yield from self._doubts_of_force(cleaned)
        charged = cleaned.get("charged_to")
        if charged is not None and charged < self.typed.value:
            yield _("It was charged to less than was in it. Check both pressures.")

    @staticmethod
    def _no_edge(place: log_expected.BenchPlace | None, quantity: str) -> str:
        if place is None:
            refused = _("The whole die has many edges: {quantity} is measured at a cutting edge. Pick one.")
            return refused.format(quantity=_(quantity))
        refused = _("{place} does not cut: {quantity} is measured at a cutting edge. Pick one.")
        return refused.format(place=place.called, quantity=_(quantity))

    @staticmethod
    def _no_gas_spring(place: log_expected.BenchPlace | None, quantity: str) -> str:
        if place is None:
            refused = _("The whole die is none: a {quantity} is read at a gas spring. Pick one.")
            return refused.format(quantity=_(quantity))
        refused = _("{place} is none: a {quantity} is read at a gas spring. Pick one.")
        return refused.format(place=place.called, quantity=_(quantity))

    def _doubts_of_force(self, cleaned: dict) -> Iterator[str]:
        length, place = cleaned.get("at_length"), self.places.get(cleaned["position"])
        if length is None:
            yield _("A spring's force belongs to a length: type how long it was, or nothing can be held against it.")
            return
        item = place.position.item if place else None
        sort = None if item is None else spring_reads.sort_of(self.die, item, [place.position])
        if sort is None or sort.spring is None:
            return
        try:
            against = MeasuredForce(
                force_n=max(self.typed.value, 1e-9), length_mm=length, rate_n_mm=sort.spring.rate_n_mm,
                free_mm=sort.spring.free_mm,
            )  # fmt: skip
        except SpringError as error:
            yield _("{problem} Check the length.").format(problem=error)
            return
        if against.is_strong:
            expected = units.show_span(
                against.expected_n.low, against.expected_n.high, "force_n", self.system, digits=3
            )
            yield _("By its rate it holds {expected} at that length, and this is more. Check force and length.").format(
                expected=expected
            )

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
            at_length_mm=c.get("at_length"),
            charged_to_mpa=c.get("charged_to"),
            parts_scrapped=c["parts_scrapped"] or 0,
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
            "at_length": row.at_length_mm,
            "charged_to": row.charged_to_mpa,
            "parts_scrapped": row.parts_scrapped or "",
            "hits_into_run": row.hits_into_run,
        }
