"""A set-up at the bench: one line a stop block, one for each other place where solder was laid."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django import forms
from django.forms.boundfield import BoundField
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore import units
from diestore.frame.fields import MeasureField
from diestore.register.models import Position, Press
from maintenance.log import set_ups, write
from maintenance.models import Event, SetUp
from maintenance.policy.stop_blocks import STAND_OFF_MM, BlockReading, Closing, StopBlockError, closing

from .forms import LogForm, when

OTHERS = 4  # lines for places that are no stop block
STOP_BLOCK = "stop_block"
MUCH_MM = 20.0  # solder is thinner than that


@dataclass(frozen=True, kw_only=True)
class Line:
    """One place of the form. block: its position; None where the place is typed."""

    block: Position | None
    place: BoundField | None
    at: str
    x: BoundField | None
    y: BoundField | None
    crushed: BoundField
    slot: BoundField
    stand_off: BoundField

    @property
    def errors(self) -> list[str]:
        fields = (self.place, self.x, self.y, self.crushed, self.slot, self.stand_off)
        return [error for field in fields if field is not None for error in field.errors]


class SetUpForm(LogForm):
    heading = gettext_lazy("Log a set-up")
    work = "set-up"

    def build(self) -> None:
        self.blocks = list(
            Position.objects.filter(die=self.die, kind=STOP_BLOCK, valid_to__isnull=True).order_by("code")
        )
        last = SetUp.objects.standing().filter(die=self.die).order_by("-at", "-pk").first()
        before = {one.place: one for one in set_ups.readings_of(last)} if last else {}
        for n, block in enumerate(self.blocks):
            self._add(n, block.code, known=before.get(block.code))
        codes = {block.code for block in self.blocks}
        elsewhere = [one for place, one in before.items() if place not in codes]
        for n in range(len(self.blocks), len(self.blocks) + max(OTHERS, len(elsewhere) + 1)):
            other = elsewhere[n - len(self.blocks)] if n - len(self.blocks) < len(elsewhere) else None
            self.fields[f"place_{n}"] = forms.CharField(
                max_length=40,
                required=False,
                widget=forms.TextInput({"aria-label": _("line {n}: where").format(n=n + 1)}),
            )
            self.initial.setdefault(f"place_{n}", other.place if other else "")
            for axis in "xy":
                self.fields[f"{axis}_{n}"] = field = MeasureField(
                    "length_mm", self.system, required=False, placeholder=axis
                )
                field.widget.attrs["aria-label"] = _("line {n}: {axis}").format(n=n + 1, axis=axis)
                if other is not None:
                    self.initial.setdefault(f"{axis}_{n}", getattr(other, f"{axis}_mm"))
            self._add(n, _("line {n}").format(n=n + 1), known=other)
        self.count = n + 1
        self.fields["shut_height"] = MeasureField(
            "shut_height_mm", self.system, label=_("Shut height that the press shows"), required=False
        )
        self.fields["press"] = forms.ModelChoiceField(
            label=_("Press"),
            queryset=Press.objects.filter(plant=self.die.plant_id, retired_at__isnull=True),
            required=False,
            empty_label=_("not said"),
            initial=self.die.usual_press_id,
        )
        self.fields["is_good"] = forms.BooleanField(label=_("It is left to run like this"), required=False)
        self.fields["at"] = when(_("When was it?"), self.now)

    def _add(self, n: int, named: str, *, known: BlockReading | None) -> None:
        for name, label in (("crushed", _("crushed piece")), ("slot", _("slot")), ("off", _("stand-off"))):
            self.fields[f"{name}_{n}"] = field = MeasureField("clearance_mm", self.system, required=False)
            field.widget.attrs["aria-label"] = f"{named}: {label}"
        self.initial.setdefault(f"slot_{n}", known.slot_mm if known and known.slot_mm else "")
        usual = STAND_OFF_MM[1] if self.system is units.System.INCH else round(STAND_OFF_MM[1], 2)
        self.initial.setdefault(f"off_{n}", known.stand_off_mm if known else usual)

    def lines(self) -> Iterator[Line]:
        for n in range(self.count):
            block = self.blocks[n] if n < len(self.blocks) else None
            yield Line(
                block=block,
                place=None if block else self[f"place_{n}"],
                at=self._where(block) if block else "",
                x=None if block else self[f"x_{n}"],
                y=None if block else self[f"y_{n}"],
                crushed=self[f"crushed_{n}"],
                slot=self[f"slot_{n}"],
                stand_off=self[f"off_{n}"],
            )

    def block_lines(self) -> list[Line]:
        return [line for line in self.lines() if line.block]

    def other_lines(self) -> list[Line]:
        return [line for line in self.lines() if not line.block]

    @property
    def unit(self) -> str:
        return units.column("clearance_mm").unit(self.system)

    def _where(self, block: Position) -> str:
        if block.x_mm is None or block.y_mm is None:
            return ""
        along, across = (f"{units.shown_value(mm, 'length_mm', self.system):.6g}" for mm in (block.x_mm, block.y_mm))
        return _("{along} along, {across} across").format(along=along, across=across)

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])
        self.readings: list[BlockReading] = []
        for n in range(self.count):
            if (crushed := cleaned.get(f"crushed_{n}")) is None:
                continue
            block = self.blocks[n] if n < len(self.blocks) else None
            place = block.code if block else cleaned.get(f"place_{n}", "").strip()
            if not place:
                self.add_error(f"place_{n}", _("Say where this piece lay."))
                continue
            try:
                self.readings.append(
                    BlockReading(
                        place=place,
                        crushed_mm=crushed,
                        slot_mm=cleaned.get(f"slot_{n}") or 0.0,
                        stand_off_mm=cleaned.get(f"off_{n}") or 0.0,
                        x_mm=block.x_mm if block else cleaned.get(f"x_{n}"),
                        y_mm=block.y_mm if block else cleaned.get(f"y_{n}"),
                    )
                )
            except StopBlockError as error:
                self.add_error(f"crushed_{n}", str(error))
        if self.errors:
            return
        try:
            set_ups.check(self.readings)
        except StopBlockError as error:
            self.add_error("crushed_0", str(error))

    def doubts(self, cleaned: dict) -> Iterator[str]:
        for reading in self.readings:
            if reading.to_contact_mm < 0:
                yield (
                    _(
                        "The piece at {place} measures less than its slot is deep: {crushed_mm} in a slot of "
                        "{slot_mm}. Check both."
                    ).format(
                        place=reading.place,
                        crushed_mm=self._shown(reading.crushed_mm),
                        slot_mm=self._shown(reading.slot_mm),
                    )
                )
            elif reading.crushed_mm > MUCH_MM:
                shown = self._shown(reading.crushed_mm)
                yield _("{shown} at {place} is very thick for crushed solder. Check the unit.").format(
                    shown=shown, place=reading.place
                )
        if cleaned["is_good"] and not self.closing.is_level:
            yield _("The readings differ by {spread_mm}, and it is left to run like this.").format(
                spread_mm=self._shown(self.closing.spread_mm)
            )

    @property
    def closing(self) -> Closing:
        return closing(self.readings)

    def _shown(self, mm: float) -> str:
        return units.show(mm, "clearance_mm", self.system)

    def save(self, by: write.Actor) -> list[Event]:
        c = self.cleaned_data
        row = write.log_set_up(
            by=by,
            die=self.die,
            at=c["at"],
            readings=self.readings,
            press=c["press"],
            shut_height_mm=c["shut_height"],
            is_good=c["is_good"],
            note=c["note"],
            key=c["key"] or None,
        )
        return [row]

    @classmethod
    def initial_of(cls, events, system):
        row: SetUp = events[0]
        codes = list(
            Position.objects.filter(die=row.die_id, kind=STOP_BLOCK, valid_to__isnull=True)
            .order_by("code")
            .values_list("code", flat=True)
        )
        initial = super().initial_of(events, system) | {
            "press": row.press_id,
            "shut_height": row.shut_height_mm,
            "is_good": row.is_good,
        }
        others = len(codes)
        for one in set_ups.readings_of(row):
            if one.place in codes:
                n = codes.index(one.place)
            else:
                n, others = others, others + 1
                initial |= {f"place_{n}": one.place, f"x_{n}": one.x_mm, f"y_{n}": one.y_mm}
            initial |= {f"crushed_{n}": one.crushed_mm, f"slot_{n}": one.slot_mm or "", f"off_{n}": one.stand_off_mm}
        return initial
