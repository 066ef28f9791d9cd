"""The forms of the card: a place, the moment and reason that additions hold from, an opening, a change, a copy."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore import units
from diestore.frame.fields import MeasureField, MomentField, TypedField, WholeField, choices
from diestore.handbook import build_doubts, tool_steels
from diestore.handbook.gaps import CuttingError, GapMeant, gap_mm
from diestore.handbook.kinds import KINDS, Kind
from diestore.handbook.places import PARTNER, asked, next_code, partner_code
from diestore.register.models import Item, Part, Piece, Station
from maintenance.log.building import Opening, PlaceSpec
from maintenance.models import fresh_key

from .card import Card, CardPlace
from .cells import gap_text

MOST_AT_ONCE = 24
STEEL = ("tool_steel", "hardness", "coating", "length", "allowance")
OPENINGS = (
    (Piece.Opening.NEW, gettext_lazy("new: it has not run yet")),
    (Piece.Opening.COUNTED, gettext_lazy("it has run: hits counted")),
    (Piece.Opening.ESTIMATED, gettext_lazy("it has run: hits estimated")),
    (Piece.Opening.UNKNOWN, gettext_lazy("it has run: not known how long")),
)
COATINGS = (("", gettext_lazy("none")), *((name, name) for name in tool_steels.COATINGS if name != "none"))


def text_field(label: str, most: int, **attrs) -> forms.CharField:
    return forms.CharField(
        label=label,
        max_length=most,
        required=False,
        widget=forms.TextInput({"autocomplete": "off", **attrs}),
        error_messages={"max_length": _("{most} letters are the most.").format(most=most)},
    )


def now_minute() -> dt.datetime:
    return timezone.localtime().replace(second=0, microsecond=0)


class OpeningFields:
    """How pieces stood when the records began, as three fields of a form."""

    def add_opening(self, opening: Opening) -> None:
        self.fields["opening"] = forms.ChoiceField(label=_("How worn are its pieces?"), choices=OPENINGS,
                                                   initial=opening.how)  # fmt: skip
        self.fields["life_hits"] = WholeField(label=_("Hits on them in all"), required=False, initial=opening.life_hits)
        self.fields["since_sharpening"] = WholeField(
            label=_("Hits since sharpened"), required=False, initial=opening.since_sharpening
        )

    def opening_of(self, cleaned: dict) -> Opening:
        new = cleaned.get("opening") == Piece.Opening.NEW
        return Opening(
            how=cleaned.get("opening") or Piece.Opening.UNKNOWN,
            life_hits=None if new else cleaned.get("life_hits"),
            since_sharpening=None if new else cleaned.get("since_sharpening"),
        )


class OpeningForm(OpeningFields, forms.Form):
    def __init__(self, data=None, *, opening: Opening) -> None:
        super().__init__(data, prefix="all")
        self.add_opening(opening)


class TicketForm(forms.Form):
    """Of a die that has run: since when what is typed now holds, and why."""

    since_start = forms.ChoiceField(
        label=gettext_lazy("What you type now"),
        choices=(
            ("change", gettext_lazy("changed on a day")),
            ("start", gettext_lazy("was always so, and was left out")),
        ),
        widget=forms.RadioSelect,
        initial="change",
    )
    reason = forms.CharField(
        label=gettext_lazy("Why?"),
        max_length=300,
        widget=forms.TextInput(
            {"placeholder": gettext_lazy("rebuilt after a crash, one more hole, engineering change ...")}
        ),
        error_messages={"required": gettext_lazy("Say why."), "max_length": gettext_lazy("300 letters are the most.")},
    )

    def __init__(self, data=None) -> None:
        super().__init__(data, prefix="ticket")
        self.fields["since"] = MomentField(label=_("Since when?"), required=False, initial=now_minute())

    def clean(self) -> dict:
        cleaned = super().clean()
        if cleaned.get("since_start") == "change" and not cleaned.get("since") and "since" not in self.errors:
            self.add_error("since", _("Say since when it is so."))
        return cleaned


# --- what a place starts with -----------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Starts:
    """What the fields of a kind start with: as the place like it that was typed last."""

    values: dict[str, object]
    like: str = ""  # its name
    opening: Opening | None = None


def starts(card: Card, kind: Kind, side: str, meant: GapMeant) -> Starts:
    """As the last of that kind in this die; of a kind that cuts, else as the last that cuts on that side."""
    like = next((p for p in card.newest if p.kind.key == kind.key), None)
    if like is None and kind.cuts:
        like = next((p for p in card.newest if p.kind.cuts and p.position.side == side), None)
    newest = card.newest[0] if card.newest else None
    opening = None if newest is None or newest.piece is None else opening_of_piece(newest.piece)
    values: dict[str, object] = {}
    if like is not None:
        values |= _of_piece(like, kind)
        if like.cut is not None and kind.cuts:
            values["gap"] = gap_text(like.cut.gap_mm, meant, like.thickness_mm)
    partner = PARTNER.get(kind.key)
    if partner is not None:
        other = next((p for p in card.newest if p.kind.key == partner), None) or (
            next((p for p in card.newest if p.kind.cuts and p.position.side == "lower"), None) if kind.cuts else None
        )
        if other is not None:
            values |= {f"p_{name}": value for name, value in _of_piece(other, KINDS[partner]).items() if name in STEEL}
    return Starts(values=values, like="" if like is None else like.code, opening=opening)


def _of_piece(place: CardPlace, kind: Kind) -> dict[str, object]:
    wanted, piece = asked(kind), place.piece
    if piece is None:
        return {}
    values = {
        "tool_steel": piece.tool_steel,
        "hardness": piece.hardness_hrc,
        "coating": piece.coating if piece.coating in tool_steels.COATINGS and piece.coating != "none" else "",
        "length": piece.length_mm,
        "allowance": piece.grind_allowance_mm,
        "height_group": place.position.height_group,
        "seat": place.position.seat_mm,
    }
    if isinstance(values["hardness"], float):
        values["hardness"] = f"{values['hardness']:g}"
    return {name: value for name, value in values.items() if name in wanted and value not in (None, "")}


def opening_of_piece(piece: Piece) -> Opening:
    return Opening(how=piece.opening, life_hits=piece.opening_life_hits,
                   since_sharpening=piece.opening_hits_since_sharpening)  # fmt: skip


def usual_gap(card: Card) -> str:
    """What is usual for the stock, for the field's own words."""
    usual = build_doubts.usual_gap_pct(card.build.strip)
    if usual is None:
        return ""
    low, high = usual[:2]
    return f"{low:g}" if low == high else _("{low:g} to {high:g}").format(low=low, high=high)


# --- a place ----------------------------------------------------------------------------------------------------------


class PlaceForm(OpeningFields, forms.Form):
    """A place of one kind, or several at once, with its die side. What its kind does not need is not asked."""

    def __init__(self, data=None, *, card: Card, kind: Kind, side: str, station: Station | None,
                 meant: GapMeant = GapMeant.PERCENT_A_SIDE) -> None:  # fmt: skip
        self.card, self.kind, self.side, self.station = card, kind, side, station
        self.starts = starts(card, kind, side, meant)
        super().__init__(data, initial={"key": fresh_key(), "meant": meant.value, **self.starts.values})
        self.partner = KINDS[PARTNER[kind.key]] if kind.key in PARTNER and side == kind.side else None
        self.wanted = asked(kind)
        self.fields["key"] = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
        self._add_cut()
        self._add_steel("", self.wanted)
        self._add_where()
        if self.partner is not None:
            self.fields["with_partner"] = forms.BooleanField(
                label=_("with its {kind}").format(kind=_(self.partner.name)), required=False, initial=True
            )
            self._add_steel("p_", [name for name in asked(self.partner) if name in STEEL])
        self.add_opening(self.starts.opening or Opening(how=Piece.Opening.NEW))
        if not self.is_bound:
            first = "cut_length" if "cut_length" in self.fields else "how_many"
            self.fields[first].widget.attrs["autofocus"] = True

    @property
    def first_of_die(self) -> bool:
        """Nothing says yet how far its pieces are."""
        return not self.card.places

    def _add_cut(self) -> None:
        if "cut_length" not in self.wanted:
            return
        self.fields["cut_length"] = MeasureField(
            "length_mm", self.card.system, label=_("Length of cut"), required=False
        )
        usual = usual_gap(self.card)
        self.fields["gap"] = forms.CharField(
            label=_("Gap"),
            max_length=40,
            required=False,
            widget=forms.TextInput(
                {
                    "inputmode": "decimal",
                    "autocomplete": "off",
                    "placeholder": _("usual {usual} %").format(usual=usual) if usual else "",
                }
            ),
        )
        self.fields["meant"] = forms.ChoiceField(
            label=_("of the gap"), choices=[(m.value, _(m.value)) for m in GapMeant]
        )
        if self.side == "lower":
            open_cuts = [
                (place.code, _("the cut of {code}").format(code=place.code))
                for place in self.card.places
                if place.cut is not None and place.is_upper and place.cut.lower_id is None
            ]
            if open_cuts:
                here = [code for code, _ in open_cuts if self._stands_here(code)]
                self.fields["upper_of"] = forms.ChoiceField(
                    label=_("Closes"),
                    required=False,
                    choices=[*open_cuts, ("", _("a cut of its own"))],
                    initial=(here or [""])[0],
                )

    def _stands_here(self, code: str) -> bool:
        place = next(p for p in self.card.places if p.code == code)
        return place.position.station_id == (None if self.station is None else self.station.pk)

    def _add_steel(self, prefix: str, names) -> None:
        system, fields = self.card.system, self.fields
        if "tool_steel" in names:
            fields[f"{prefix}tool_steel"] = text_field(_("Steel"), 40, list="steels")
        if "hardness" in names:
            fields[f"{prefix}hardness"] = TypedField(label="HRC", required=False)
        if "coating" in names:
            fields[f"{prefix}coating"] = forms.ChoiceField(label=_("Coating"), required=False, choices=COATINGS)
        if "length" in names:
            fields[f"{prefix}length"] = MeasureField("length_mm", system, label=_("Length"), required=False)
        if "allowance" in names:
            fields[f"{prefix}allowance"] = MeasureField(
                "grind_allowance_mm", system, label=_("To grind off"), required=False
            )
        fields[f"{prefix}item"] = text_field(_("Spare"), 101, list="spares")

    def _add_where(self) -> None:
        system, station = self.card.system, self.station
        name = next_code(self.kind.key, station.code if station else "", self.card.codes)
        self.fields["code"] = text_field(_("Name"), 40, placeholder=name)
        self.fields["how_many"] = WholeField(label=_("How many?"), required=False, placeholder="1")
        if "height_group" in self.wanted and self.side == "upper":
            self.fields["height_group"] = text_field(_("Height group"), 20)
        if "seat" in self.wanted:
            self.fields["seat"] = MeasureField("seat_mm", system, label=_("Seat"), required=False)
        if station is not None:
            self.fields["x"] = MeasureField("x_mm", system, label=_("Along the strip"), required=False)
            self.fields["y"] = MeasureField("y_mm", system, label=_("Across, from the middle"), required=False)
        self.fields["share"] = TypedField(label=_("Works in % of the strokes"), required=False, placeholder="100")
        if len(self.card.variants) > 1:
            self.fields["variants"] = forms.MultipleChoiceField(
                label=_("Only with the inserts"),
                required=False,
                choices=choices((v.pk, v.code) for v in self.card.variants),
                widget=forms.CheckboxSelectMultiple,
            )

    # --- what was typed ---------------------------------------------------------------------------------------------

    def clean(self) -> dict:
        cleaned = super().clean()
        number = cleaned.get("how_many")
        if number is not None and not 1 <= number <= MOST_AT_ONCE:
            self.add_error("how_many", _("From 1 to {most_at_once} at once.").format(most_at_once=MOST_AT_ONCE))
        if cleaned.get("code") and (number or 1) > 1:
            self.add_error("code", _("Several at once get the next names by themselves. Leave this empty."))
        if cleaned.get("share") is not None and not 0.01 <= cleaned["share"] <= 100:
            self.add_error("share", _("A share of the strokes goes from 0.01 to 100 %."))
        self._clean_cut(cleaned)
        for name in ("item", "p_item"):
            if cleaned.get(name):
                self._clean_item(cleaned, name)
        if not self.errors:
            cleaned["specs"] = list(self._specs(cleaned))
        return cleaned

    def _clean_cut(self, cleaned: dict) -> None:
        cleaned["gap_mm"] = None
        if "cut_length" not in self.fields or cleaned.get("upper_of"):
            return
        if cleaned.get("cut_length") is None and "cut_length" not in self.errors:
            self.add_error("cut_length", _("Say how long its cut is: once around the hole, or along the edge."))
        if text := (cleaned.get("gap") or "").strip():
            try:
                cleaned["gap_mm"] = gap_mm(text, cleaned.get("meant") or GapMeant.PERCENT_A_SIDE,
                                           self.card.die.usual_stock.thickness_mm)  # fmt: skip
            except (units.UnitError, CuttingError) as error:
                self.add_error("gap", str(error))

    def _clean_item(self, cleaned: dict, name: str) -> None:
        text = " ".join(cleaned[name].split())
        found = next((item for item in Item.objects.filter(code__iexact=text)), None)
        if found is None and " " in text:
            code, revision = text.rsplit(" ", 1)
            found = Item.objects.filter(code__iexact=code, revision__iexact=revision).first()
        if found is None:
            self.add_error(
                name, _("There is no spare {text}. Leave it empty, or enter it under Spares first.").format(text=text)
            )
        cleaned[name] = found

    def _specs(self, cleaned: dict) -> Iterator[PlaceSpec]:
        taken = list(self.card.codes)
        station_code = self.station.code if self.station is not None else ""
        variants = tuple(v for v in self.card.variants if str(v.pk) in cleaned.get("variants", ()))
        for __ in range(cleaned.get("how_many") or 1):
            code = cleaned.get("code") or next_code(self.kind.key, station_code, taken)
            first = PlaceSpec(
                code=code,
                kind=self.kind.key,
                side=self.side,
                station=self.station,
                x_mm=cleaned.get("x"),
                y_mm=cleaned.get("y"),
                height_group=cleaned.get("height_group") or "",
                seat_mm=cleaned.get("seat"),
                stroke_share=1.0 if cleaned.get("share") is None else cleaned["share"] / 100,
                variants=variants,
                cut_length_mm=None if cleaned.get("upper_of") else cleaned.get("cut_length"),
                gap_mm=cleaned["gap_mm"],
                upper_of=cleaned.get("upper_of") or "",
                opening=self.opening_of(cleaned),
                **_steel(cleaned, ""),
            )
            taken.append(code)
            yield first
            if cleaned.get("with_partner") and self.partner is not None:
                other = partner_code(code)
                while other.casefold() in {one.casefold() for one in taken}:
                    other += "2"
                taken.append(other)
                yield replace(
                    first,
                    code=other,
                    kind=self.partner.key,
                    side=self.partner.side,
                    height_group="",
                    cut_length_mm=None,
                    gap_mm=None,
                    upper_of=code if self.kind.cuts else "",
                    **_steel(cleaned, "p_"),
                )

    @property
    def more_is_open(self) -> bool:
        return bool(
            {"code", "x", "y", "share", "variants", "opening", "life_hits", "since_sharpening"} & set(self.errors)
        )

    @property
    def typed_doubts(self) -> list[build_doubts.Doubt]:
        """What there is to doubt about the place as typed, among those that stand."""
        if not self.is_bound:
            return []
        self.errors  # noqa: B018  has it read what was typed
        return of_specs(self.card, self.cleaned_data.get("specs") or list(self._as_far_as_typed()))

    def _as_far_as_typed(self) -> Iterator[PlaceSpec]:
        """What can be judged while something is still wrong or missing."""
        c = self.cleaned_data
        code = c.get("code") or self.fields["code"].widget.attrs["placeholder"]
        yield PlaceSpec(code=code, kind=self.kind.key, side=self.side, height_group=c.get("height_group") or "",
                        cut_length_mm=c.get("cut_length"), gap_mm=c.get("gap_mm"), **_steel(c, ""))  # fmt: skip
        if c.get("with_partner") and self.partner is not None:
            yield PlaceSpec(code=partner_code(code), kind=self.partner.key, side=self.partner.side,
                            upper_of=code if self.kind.cuts else "", **_steel(c, "p_"))  # fmt: skip


def _steel(cleaned: dict, prefix: str) -> dict:
    return {
        "tool_steel": (cleaned.get(f"{prefix}tool_steel") or "").strip(),
        "hardness_hrc": cleaned.get(f"{prefix}hardness"),
        "coating": cleaned.get(f"{prefix}coating") or "",
        "length_mm": cleaned.get(f"{prefix}length"),
        "grind_allowance_mm": cleaned.get(f"{prefix}allowance"),
        "item": cleaned.get(f"{prefix}item") or None,
    }


def of_specs(card: Card, specs: list[PlaceSpec]) -> list[build_doubts.Doubt]:
    """What there is to doubt about places that are to come, beside those that stand."""
    new = {spec.code for spec in specs}
    sides: dict[str, str] = {spec.upper_of: spec.code for spec in specs if spec.upper_of}
    cuts = [
        build_doubts.Contour(
            code=spec.code,
            upper=spec.code if spec.side == "upper" else "",
            lower=spec.code if spec.side == "lower" else sides.get(spec.code, ""),
            length_mm=spec.cut_length_mm,
            gap_mm=spec.gap_mm,
        )
        for spec in specs
        if spec.cut_length_mm is not None and spec.cut_length_mm > 0
    ]
    places = [
        build_doubts.Place(code=s.code, kind=s.kind, side=s.side, tool_steel=s.tool_steel, hardness_hrc=s.hardness_hrc,
                           length_mm=s.length_mm, height_group=s.height_group, seat_mm=s.seat_mm)
        for s in specs
    ]  # fmt: skip
    build = replace(card.build, places=[*card.build.places, *places], cuts=[*card.build.cuts, *cuts])
    return [doubt for doubt in build_doubts.doubts(build) if doubt.place in new or not doubt.place]


# --- a copy -----------------------------------------------------------------------------------------------------------


class CopyForm(OpeningFields, forms.Form):
    """Another die like this one."""

    code = forms.CharField(
        label=gettext_lazy("Name of the new die"),
        max_length=60,
        error_messages={"required": gettext_lazy("Give it a name.")},
    )
    which = forms.ChoiceField(
        label=gettext_lazy("It is"),
        choices=(
            ("same", gettext_lazy("a second copy: it makes the same parts")),
            ("like", gettext_lazy("a like one: it makes another part")),
        ),
        widget=forms.RadioSelect,
        initial="same",
    )
    part = forms.CharField(label=gettext_lazy("Its part, where it makes another"), max_length=80, required=False)

    def __init__(self, data=None) -> None:
        super().__init__(data, prefix="copy")
        self.add_opening(Opening(how=Piece.Opening.NEW))

    def part_of(self) -> Part | None:
        number = " ".join(self.cleaned_data.get("part", "").split())
        if self.cleaned_data["which"] != "like" or not number:
            return None
        return Part.objects.filter(number=number).order_by("pk").last() or Part.objects.create(number=number)


class ReasonForm(forms.Form):
    """Of what ends: since when, why, and what becomes of the pieces that sit there."""

    piece = forms.ChoiceField(
        label=gettext_lazy("Its piece"),
        choices=(("scrapped", gettext_lazy("is scrapped")), ("shelf", gettext_lazy("goes back to the shelf"))),
        widget=forms.RadioSelect,
        error_messages={"required": gettext_lazy("Say what becomes of the piece.")},
    )
    reason = forms.CharField(
        label=gettext_lazy("Why?"),
        max_length=300,
        error_messages={"required": gettext_lazy("Say why."), "max_length": gettext_lazy("300 letters are the most.")},
    )

    def __init__(self, data=None, *, prefix: str = "end") -> None:
        super().__init__(data, prefix=prefix)
        self.fields["at"] = MomentField(label=_("Since when?"), initial=now_minute())

    @property
    def to_shelf(self) -> bool:
        return self.cleaned_data.get("piece") == "shelf"
