"""A sharpening of the set: one line for all of it, and what differs opened piece by piece."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop, ngettext

from diestore import units
from diestore.frame.fields import MeasureField, Opens, Pick, TypedField, choices
from diestore.handbook.tool_steels import COATINGS
from diestore.register.models import Party, Side
from maintenance.clockwork import usual as clockwork_usual
from maintenance.clockwork.works import OPERATIONS
from maintenance.log import doubts, lengths, read, write
from maintenance.log import expected as log_expected
from maintenance.models import Event, Found, Work
from maintenance.policy import heights

from . import on_plan
from .forms import LogForm, picks, when
from .piece_forms import into_run

SEAT_MM = 1_000.0  # stands for a length that nobody said: only differences are looked at
AMOUNTS_MM = (0.05, 0.08, 0.10, 0.12, 0.15, 0.20, 0.30, 0.50)  # offered to a finger
AMOUNTS_IN = (0.002, 0.003, 0.004, 0.005, 0.006, 0.008, 0.012, 0.020)
HOURS = (0.5, 1, 1.5, 2, 3, 4)
DRESSED = "dressed in the press"
DIE_SIDE = gettext_noop("the die side")


@dataclass(frozen=True, kw_only=True)
class GroundRow:
    """One piece in the sharpening form: its place, its fields, and whether it alone was ground or dressed.

    said: what it differs in, for the tile that opens it. measured: its length is known, so the next one is asked for.
    """

    place: log_expected.BenchPlace
    alone: str
    dressed: str
    sides: str
    found: forms.BoundField
    removed: forms.BoundField
    length: forms.BoundField
    why: forms.BoundField
    said: str
    measured: bool

    @property
    def errors(self) -> list[str]:
        return [error for field in (self.found, self.removed, self.length, self.why) for error in field.errors]


@dataclass(frozen=True, kw_only=True)
class HeightGroup:
    """Pieces that have to be level. name: as it is called on the form. field: of their length after."""

    name: str
    field: str
    places: tuple[log_expected.BenchPlace, ...]


class SharpeningForm(LogForm):
    """One line for the whole set; single pieces are opened and corrected below it.

    Each piece goes with the set unless its row says otherwise. A row that says what was found, or that has an amount of
    its own, is part of the set whichever side was ground.
    """

    heading = gettext_lazy("Log a sharpening")
    BOTH, ALL, AS_FOUND, WITH_SET, LEFT_OUT = "both", "all", "as found", "set", "out"
    ONLY, ONLY_DRESSED = "only-", "dressed-"
    UNDER, OUT = "under", "out"

    def build(self) -> None:
        log = read.of_die(self.die)
        ground = [p for p in log_expected.places(self.die, self.now, log=log) if p.kind.is_ground]
        self.places = [p for p in ground if p.fitted]
        self.empty = [p for p in ground if not p.fitted]
        self.kept = {w.position_id: w for w in self.instead.events} if self.instead else {}
        sides = {p.position.side for p in self.places if p.kind.cuts}
        whole = [(Side.UPPER.value, _("punch side")), (Side.LOWER.value, _("die side")), (self.BOTH, _("both sides"))]
        if len(sides) < 2:
            whole = [(self.BOTH, _("the whole set"))]
        alone = [
            (f"{which}{place.position.pk}", _("only this"))
            for place in self.places
            for which in (self.ONLY, self.ONLY_DRESSED)
        ]
        self.fields["sides"] = picks(
            _("What was ground?"),
            [*whole, *alone],
            initial=self.BOTH if len(sides) < 2 else None,
            required=len(sides) > 1,
            missing=_("Pick which side was ground."),
        )
        self.fields["sides"].widget.choices = choices(whole)  # the others stand in the rows
        variants = log_expected.variants(self.die)
        if len(variants) > 1 and any(p.variants for p in self.places):
            in_the_die = log_expected.last_variant(self.die) or variants[0].pk
            self.fields["variant"] = picks(
                _("With which inserts?"),
                [*((v.pk, Pick(v.code, _("in the die") if v.pk == in_the_die else "")) for v in variants),
                 (self.ALL, _("all of them"))],
                initial=str(in_the_die),
            )  # fmt: skip
        self.usual_mm = usual = clockwork_usual.usual_grind_mm(log)
        self.fields["removed"] = MeasureField(
            "removed_mm",
            self.system,
            label=_("How much came off each?"),
            required=False,
            big=True,
            placeholder="" if usual is None else units.show(usual, "removed_mm", self.system, with_unit=False),
        )
        self.fields["why"] = picks(
            _("Why was it ground?"),
            [
                (self.AS_FOUND, Pick(_("an edge was dull or chipped"), _("open it and tap it"))),
                (Work.Why.PLANNED.value, Pick(_("on schedule"), _("nothing dull"))),
                (Work.Why.CHANGE.value, _("engineering change")),
                (Work.Why.OTHER.value, _("other")),
            ],
            initial=self.AS_FOUND,
        )
        self.fields["rest"] = picks(
            _("And the other edges?"),
            [(Found.NOT_LOOKED.value, _("not looked at")), (Found.SHARP.value, _("looked at, still sharp"))],
            initial=Found.NOT_LOOKED.value,
        )
        self.fields["operation"] = forms.ChoiceField(
            label=_("What was done?"),
            choices=[(key, _(one.words)) for key, one in OPERATIONS.items()],
            initial="ground",
        )
        self.fields["spacer"] = picks(
            _("Was the spacer put under or taken out?"),
            [
                (self.UNDER, Pick(_("put under"), _("it stands higher"))),
                (self.OUT, Pick(_("taken out"), _("it stands lower"))),
            ],
            initial=self.UNDER,
            required=False,
            help_text=_("Only for a spacer. Type its thickness where the amount ground off goes otherwise."),
        )
        self.fields["coating"] = forms.CharField(
            label=_("Coated with"),
            max_length=40,
            required=False,
            widget=forms.TextInput({"placeholder": ", ".join(name for name in COATINGS if name != "none")}),
            help_text=_("Only where it was coated anew."),
            error_messages={"max_length": _("Name the coating in 40 letters.")},
        )
        hours = clockwork_usual.usual_hours(log)
        self.fields["hours"] = TypedField(
            label=_("Hours in all"), required=False, placeholder="" if hours is None else f"{hours:g}"
        )
        self.fields["supplier"] = forms.ModelChoiceField(
            label=_("Who ground it?"),
            queryset=Party.objects.filter(role=Party.Role.SUPPLIER),
            required=False,
            empty_label=_("our own toolroom"),
        )
        self.fields["at"] = when(_("When was it?"), self.now)
        self.fields["hits_into_run"] = into_run()
        self.lengths = lengths.lengths_now(place.position.pk for place in self.places)
        for place in self.places:
            self._add_row(place)
        self.groups = self._height_groups()
        for group in self.groups:
            self._add_length(group.field, _("Length after, {name}").format(name=group.name), group.places)

    def _height_groups(self) -> list[HeightGroup]:
        """The cutting pieces that have to be level: punches that enter together, and the face of the die."""
        members: dict[str, list[log_expected.BenchPlace]] = defaultdict(list)
        for place in self.places:
            own = place.position.height_group
            name = (
                _("height group {own}").format(own=own)
                if own
                else _(DIE_SIDE)
                if place.position.side == Side.LOWER
                else ""
            )
            if name and place.kind.cuts:
                members[name].append(place)
        return [
            HeightGroup(name=name, field=f"length_of_group_{number}", places=tuple(places))
            for number, (name, places) in enumerate(members.items())
            if len(places) > 1
        ]

    def _add_length(self, name: str, label: str, places: Iterable[log_expected.BenchPlace]) -> None:
        known = [
            now.length_mm
            for place in places
            if (now := self.lengths.get(place.position.pk)) is not None and now.length_mm is not None
        ]
        before = units.show(min(known), "length_mm", self.system, with_unit=False) if known else ""
        self.fields[name] = MeasureField("length_mm", self.system, label=label, required=False, placeholder=before)

    def _add_row(self, place: log_expected.BenchPlace) -> None:
        pk = place.position.pk
        cuts = place.kind.cuts
        options = [
            (self.WITH_SET, _("as the others")),
            ("dull", Pick(_("dull"), _("expected"), expected=True) if place.limits else _("dull")),
            *((state, _(state)) for state in ("sharp", "chipped", "galled")),
            (self.LEFT_OUT, _("not ground")),
        ]
        initial = self.initial.get(f"found_{pk}")
        if initial and initial not in dict(options):
            options.insert(-1, (initial, _(initial)))
        self.fields[f"found_{pk}"] = picks(
            _("{called}: what was found?").format(called=place.called),
            options,
            required=False,
            initial=self.WITH_SET if cuts else self.LEFT_OUT,
        )
        self.fields[f"removed_{pk}"] = MeasureField(
            "removed_mm",
            self.system,
            label=_("{code}: how much came off?").format(code=place.position.code),
            required=False,
        )
        self._add_length(f"length_{pk}", _("{code}: how long is it now?").format(code=place.position.code), [place])
        self.fields[f"why_{pk}"] = forms.ChoiceField(
            label=_("{code}: why was it ground?").format(code=place.position.code),
            choices=[("", _("as found")), *Work.Why.choices],
            required=False,
            widget=Opens,
        )

    @property
    def work(self) -> str:
        return "sharpening carbide" if log_expected.any_carbide(self.places) else "sharpening"

    @property
    def rows(self) -> list[GroundRow]:
        made = []
        sides = self["sides"].value() or ""
        for place in self.places:
            pk = place.position.pk
            now = self.lengths.get(pk)
            made.append(
                GroundRow(
                    place=place,
                    alone=f"{self.ONLY}{pk}",
                    dressed=f"{self.ONLY_DRESSED}{pk}",
                    sides=sides,
                    found=self[f"found_{pk}"],
                    removed=self[f"removed_{pk}"],
                    length=self[f"length_{pk}"],
                    why=self[f"why_{pk}"],
                    said=self._said(place, sides),
                    measured=now is not None and now.length_mm is not None,
                )
            )
        return made

    def _said(self, place: log_expected.BenchPlace, sides: str) -> str:
        pk = place.position.pk
        alone = {f"{self.ONLY}{pk}": _("only this"), f"{self.ONLY_DRESSED}{pk}": _("only this, stoned")}.get(sides, "")
        found, own = self[f"found_{pk}"].value() or "", self[f"removed_{pk}"].value()
        if found in ("", self.WITH_SET) or (alone and found == self.LEFT_OUT):
            state = ""
        else:
            state = _("not ground") if found == self.LEFT_OUT else _(found)
        amount = "" if own in (None, "") else f"{self.fields[f'removed_{pk}'].prepare_value(own)} {self.unit}"
        return " · ".join(one for one in (state, amount, alone) if one)

    @property
    def tiles(self) -> list[tuple[str, list[GroundRow], bool]]:
        """The rows by what goes together: punches, the die side, and what is left out unless somebody takes it in.

        Of each its heading, the rows, and whether they lie open.
        """
        rows = self.rows
        cutting = [row for row in rows if row.place.kind.cuts]
        parts = [
            (_("Punch side"), [row for row in cutting if row.place.position.side == Side.UPPER]),
            (_("Die side"), [row for row in cutting if row.place.position.side != Side.UPPER]),
        ]
        others = [row for row in rows if not row.place.kind.cuts]
        differ = any(row.errors or row.said not in ("", "left out") for row in others)
        many = ngettext(
            "{n} forming piece, not ground with the set", "{n} forming pieces, not ground with the set", len(others)
        ).format(n=len(others))
        return [*((name, some, True) for name, some in parts if some), *([(many, others, differ)] if others else [])]

    @property
    def on_plan(self) -> on_plan.TapPlan | None:
        """A tap opens the tile of that piece."""
        return on_plan.of_places(self.die, self.places, {p.position.pk: f"piece-{p.position.pk}" for p in self.places})

    @property
    def empty_codes(self) -> str:
        return ", ".join(place.position.code for place in self.empty)

    @property
    def edges(self) -> int:
        return sum(place.kind.cuts for place in self.places)

    @property
    def lengths_asked(self) -> list[forms.BoundField]:
        """Of the groups whose pieces are of one length, as far as anybody has said: the next one is asked for."""
        return [self[group.field] for group in self.groups if self._known(group) and self._is_level(group)]

    @property
    def lengths_to_ask(self) -> list[forms.BoundField]:
        """Of the groups of which nobody has said a length."""
        return [self[group.field] for group in self.groups if not self._known(group)]

    def _known(self, group: HeightGroup) -> list[float]:
        now = [self.lengths.get(place.position.pk) for place in group.places]
        return [one.length_mm for one in now if one is not None and one.length_mm is not None]

    def _is_level(self, group: HeightGroup) -> bool:
        known = self._known(group)
        return max(known) - min(known) <= heights.STEP_MM

    @property
    def more_is_open(self) -> bool:
        inside = ("at", "operation", "spacer", "coating", "supplier", "hits_into_run", "note")
        return any(name in self.errors for name in inside)

    @property
    def amounts(self) -> str:
        """What is offered to a finger for what came off, in the reader's unit."""
        usual = self.fields["removed"].widget.attrs.get("placeholder", "")
        ladder = AMOUNTS_MM if self.system is units.System.METRIC else AMOUNTS_IN
        digits = 2 if self.system is units.System.METRIC else 3
        shown = {float(usual): usual} if usual else {}
        shown = {value: f"{value:.{digits}f}" for value in ladder} | shown
        return " ".join(text for _, text in sorted(shown.items()))

    @property
    def hours_offered(self) -> str:
        return " ".join(f"{hours:g}" for hours in HOURS)

    @property
    def unit(self) -> str:
        return self.fields["removed"].unit

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])
        self._check_figures(cleaned)
        if any(name in self.errors for name in ("sides", "variant", "operation", "why", "rest")):
            return
        if cleaned["sides"].startswith(self.ONLY_DRESSED):
            if cleaned["operation"] not in ("ground", DRESSED):
                self.add_error("operation", _("One piece is tapped as stoned in the press. Pick one of the two works."))
                return
            cleaned["operation"] = DRESSED
        self._check_operation(cleaned)
        self.pieces = self._pieces(cleaned)
        if not self.pieces:
            self.add_error(None, _("No piece was ground by what is picked below. Pick at least one."))
        elif OPERATIONS[cleaned["operation"]].raises and any(p.raised_mm is None for p in self.pieces):
            without = self._named([p for p in self.pieces if p.raised_mm is None])
            self.add_error("removed", _("Enter how thick the spacer of {without} is.").format(without=without))
        elif cleaned["why"] == self.AS_FOUND and not self._touched_up and self._is_without_reason():
            self.add_error("why", _("Open the edge that was dull or chipped and tap it, or pick another reason."))

    def _check_figures(self, cleaned: dict) -> None:
        for name in ("removed", *(f"removed_{p.position.pk}" for p in self.places)):
            amount = cleaned.get(name)
            if amount is not None and not 0 < amount <= 100:
                meant = doubts.meant_mm(amount, self.usual_mm)
                refused = [_("{amount} cannot come off. Enter what was ground away, or leave it empty.")]
                if meant is not None:
                    refused.append(_("Did you mean {meant}?"))
                shown = {"amount": self._shown(amount), "meant": "" if meant is None else self._shown(meant)}
                self.add_error(name, " ".join(refused).format(**shown))
        for name in (*(f"length_{p.position.pk}" for p in self.places), *(group.field for group in self.groups)):
            length = cleaned.get(name)
            if length is not None and not 0 < length <= 10_000:
                self.add_error(
                    name,
                    _("{length} is no length. Enter what the piece measures now.").format(length=self._length(length)),
                )
        hours = cleaned.get("hours")
        if hours is not None and not 0 <= hours <= 10_000:
            self.add_error("hours", _("Enter the hours as nought or more."))

    def _is_without_reason(self) -> bool:
        return all(piece.why == Work.Why.WITH_SET for piece in self.pieces)

    @property
    def _touched_up(self) -> bool:
        """A stone in the press takes off what nobody measures, and needs no reason of its own."""
        return OPERATIONS[self.cleaned_data["operation"]].touches_up

    def _check_operation(self, cleaned: dict) -> None:
        """What is typed beside a work belongs to it, and what belongs to it is typed."""
        done = OPERATIONS[cleaned["operation"]]
        amounts = ["removed", *(f"removed_{p.position.pk}" for p in self.places)]
        if not (done.removes or done.raises):
            for name in amounts:
                if cleaned.get(name) is not None:
                    self.add_error(
                        name, _("Nothing comes off a piece that is {work}. Leave it empty.").format(work=_(done.words))
                    )
        if done.coats and not cleaned.get("coating") and "coating" not in self.errors:
            self.add_error("coating", _("Say what it was coated with."))

    def _pieces(self, cleaned: dict) -> list[write.SharpenedPiece]:
        sides = cleaned.get("sides") or self.BOTH
        alone = sides.startswith((self.ONLY, self.ONLY_DRESSED))
        inserts = cleaned.get("variant") or self.ALL
        done = OPERATIONS[cleaned["operation"]]
        way = -1 if cleaned.get("spacer") == self.OUT else 1
        of_group = {p.position.pk: cleaned.get(group.field) for group in self.groups for p in group.places}
        made = []
        for place in self.places:
            position = place.position
            state = cleaned.get(f"found_{position.pk}") or self.LEFT_OUT
            own = cleaned.get(f"removed_{position.pk}")
            length = cleaned.get(f"length_{position.pk}")
            if alone:
                if sides.rpartition("-")[2] != str(position.pk):
                    continue
                state = self.WITH_SET if state == self.LEFT_OUT else state
            elif state == self.LEFT_OUT:
                continue
            goes_along = alone or (sides in (self.BOTH, position.side) and self._with_inserts(place, inserts))
            if state == self.WITH_SET and own is None and length is None and place.kind.cuts and not goes_along:
                continue
            found = cleaned["rest"] if state == self.WITH_SET else state
            before = self.kept.get(position.pk)
            amount = own if own is not None else cleaned.get("removed")
            length = of_group.get(position.pk) if length is None else length
            if amount is None and done.removes:
                amount = self._by_lengths(position.pk, length)
            made.append(
                write.SharpenedPiece(
                    position=position,
                    why=cleaned.get(f"why_{position.pk}") or self._why(cleaned["why"], found),
                    found=found,
                    removed_mm=amount if done.removes else None,
                    raised_mm=way * amount if done.raises and amount is not None else None,
                    operation=cleaned["operation"],
                    wear_mm=before.wear_mm if before else None,
                    length_after_mm=length,
                    coating_after=cleaned.get("coating", ""),
                )
            )
        return made

    def _by_lengths(self, pk: int, after_mm: float | None) -> float | None:
        """What came off where nobody typed it: by the length before, as the records have it, and the one measured."""
        now = self.lengths.get(pk)
        if after_mm is None or now is None or now.length_mm is None or now.length_mm - after_mm < 0.001:
            return None
        return round(now.length_mm - after_mm, 4)

    def _with_inserts(self, place: log_expected.BenchPlace, inserts: str) -> bool:
        return inserts == self.ALL or not place.variants or inserts in {str(pk) for pk in place.variants}

    def _why(self, of_set: str, found: str) -> str:
        """Why one piece was ground: as the set, or, where an edge was the reason, by what was found on this one."""
        if of_set != self.AS_FOUND:
            return of_set
        if self._touched_up and found in (Found.NOT_LOOKED, Found.SHARP):
            return Work.Why.OTHER
        return {"dull": Work.Why.DULL, "chipped": Work.Why.CHIPPED, "broken": Work.Why.CHIPPED}.get(
            found, Work.Why.WITH_SET
        )

    def doubts(self, cleaned: dict) -> Iterator[str]:
        state = {p.position.pk: p.state for p in self.places}
        without = [p for p in self.pieces if p.removed_mm is None]
        if OPERATIONS[cleaned["operation"]].removes and without and not self._touched_up:
            yield (
                _(
                    "Nothing is entered for what came off {named}: the grind allowance will then read too high. If "
                    "nobody measured, enter what usually comes off."
                ).format(named=self._named(without))
            )
        yield from self._amounts_doubted()
        yield from self._lengths_doubted()
        if not OPERATIONS[cleaned["operation"]].raises:
            yield from self._steps_doubted()
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
                _(
                    "That is more than is left to grind on {named}: {code} has {left} of its allowance left, "
                    "{removed_mm} came off."
                ).format(
                    named=self._named(over),
                    code=least.position.code,
                    left=left,
                    removed_mm=self._shown(least.removed_mm),
                )
            )

    def _amounts_doubted(self) -> Iterator[str]:
        """Amounts that look like a slip of the point or of the unit; else those that are very much."""
        amounts = {p.removed_mm: p for p in self.pieces if p.removed_mm is not None}
        usual = self.usual_mm or doubts.USUAL_OFF_MM
        slips = []
        for mm, piece in amounts.items():
            if (mm < usual and self._touched_up) or (piece.found in (Found.CHIPPED, Found.BROKEN) and mm >= usual):
                continue
            if (meant := doubts.meant_mm(mm, usual)) is not None:
                slips.append(doubts.of_slip(self._shown(mm), self._shown(meant), self._shown(usual)))
        yield from slips
        if amounts and not slips and (doubt := doubts.of_removed(self._shown(max(amounts)), max(amounts))):
            yield doubt

    def _lengths_doubted(self) -> Iterator[str]:
        for piece in self.pieces:
            now = self.lengths.get(piece.position.pk)
            if piece.length_after_mm is None or now is None or now.length_mm is None:
                continue
            expected = now.length_mm - (piece.removed_mm or 0.0)
            if abs(expected - piece.length_after_mm) > heights.STEP_MM + 1e-9:
                after, by_record = self._length(piece.length_after_mm), self._length(expected)
                yield doubts.of_length(piece.position.code, after, by_record)

    def _steps_doubted(self) -> Iterator[str]:
        """Pieces that stand out of their height group by what was ground now, and by all their lengths where known."""
        ground = {piece.position.pk: piece for piece in self.pieces}
        for group in self.groups:
            members = [p for p in group.places if p.position.pk in ground or not p.variants]
            if not any(p.position.pk in ground for p in members):
                continue
            fallen = {p.position.code: self._fallen_mm(p.position.pk, ground) for p in members}
            stand = heights.step_against_group({code: SEAT_MM - mm for code, mm in fallen.items()})
            stood = {p.position.code: self.lengths.get(p.position.pk) for p in members}
            if all(now is not None and now.length_mm is not None for now in stood.values()):
                after = {code: now.length_mm + now.spacers_mm - fallen[code] for code, now in stood.items()}
                out = {step.name for step in heights.step_against_group({c: max(mm, 0.0) for c, mm in after.items()})}
                stand = [step for step in stand if step.name in out]
            for step in stand:
                yield doubts.of_step(step.name, self._shown(abs(step.by_mm)), lower=step.by_mm < 0)

    def _fallen_mm(self, pk: int, ground: dict[int, write.SharpenedPiece]) -> float:
        piece, now = ground.get(pk), self.lengths.get(pk)
        if piece is None:
            return 0.0
        if piece.length_after_mm is not None and now is not None and now.length_mm is not None:
            return now.length_mm - piece.length_after_mm
        return piece.removed_mm or 0.0

    def _shown(self, mm: float) -> str:
        return units.show(mm, "removed_mm", self.system)

    def _length(self, mm: float) -> str:
        return units.show(mm, "length_mm", self.system)

    @staticmethod
    def _named(pieces: list[write.SharpenedPiece], most: int = 4) -> str:
        codes = [p.position.code for p in pieces]
        if len(codes) <= most:
            return ", ".join(codes)
        return _("{codes} and {n} more").format(codes=", ".join(codes[:most]), n=len(codes) - most)

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
            initial[f"length_{work.position_id}"] = work.length_after_mm
            if amount_of[work.pk] != usual:
                initial[f"removed_{work.position_id}"] = amount_of[work.pk]
        return super().initial_of(events, system) | initial
