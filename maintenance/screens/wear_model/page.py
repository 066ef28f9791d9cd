"""The wear model's page put together: what is asked, what is answered, the drawings and their tables. Formats only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django import forms
from django.core.exceptions import ValidationError

from diestore import units
from diestore.frame.fields import MeasureField, TypedField
from diestore.handbook import tool_steels
from diestore.handbook.kinds import KINDS
from maintenance.forecasts import builds
from maintenance.life.cycles import FAMILIES, EdgeSpec, SampleRefused
from maintenance.life.fleet import FleetFit
from maintenance.life.handbook import Interval
from maintenance.life.prior import GAP_AT_LEAST, GAP_AT_MOST
from maintenance.life.seen import Seen
from maintenance.wording import numbers

from . import drawing as wear_model_drawing

AS_IT_IS = "as it is"
HRC = (40.0, 72.0)
STOCKS = [(family, "other stock" if family == "other" else family) for family in FAMILIES]
SIDES = [("upper", "punch"), ("lower", "die side")]
# Of nothing better, an edge to start from: common practice, no source.
PLAIN = {
    "stock_family": "carbon steel",
    "steel": "D2",
    "coating": "none",
    "side": "upper",
    "gap_pct": 8.0,
    "tensile_mpa": 340.0,
    "thickness_mm": 1.2,
    "hardness_above_usual_hrc": None,
}

TITLES = {
    "gap_pct": ("Gap", "gap a side, % of thickness"),
    "tensile_mpa": ("Strength of the stock", "tensile strength"),
    "thickness_mm": ("Thickness of the stock", "thickness"),
    "hardness_above_usual_hrc": ("Hardness of the edge", "HRC above (below) what is usual for its steel"),
}
TICKS = {
    ("gap_pct", "metric"): (2, 4, 6, 8, 10, 12, 15, 20, 25, 30, 40),
    ("tensile_mpa", "metric"): (100, 150, 200, 300, 400, 600, 800, 1100, 1500, 2000),
    ("tensile_mpa", "inch"): (15, 25, 40, 60, 80, 110, 150, 200, 300),
    ("thickness_mm", "metric"): (0.05, 0.1, 0.25, 0.5, 1, 2, 4, 8, 16),
    ("thickness_mm", "inch"): (0.002, 0.005, 0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64),
    ("hardness_above_usual_hrc", "metric"): (-12, -8, -6, -4, -2, 0, 2, 4, 6, 8, 12),
}
SHOWN_IN = {"tensile_mpa": "stress_mpa", "thickness_mm": "thickness_mm"}


def spec_from(known: dict) -> EdgeSpec:
    """An edge to start from: what is known of the shop's usual one, the rest plain."""
    edge = {name: PLAIN[name] if known.get(name) is None else known[name] for name in PLAIN}
    if known:
        edge |= {name: known.get(name) for name in ("steel", "coating", "gap_pct", "hardness_above_usual_hrc")}
    return EdgeSpec(die=0, **edge)


class EdgeForm(forms.Form):
    """The edge asked for, and what if it were built otherwise. A GET form, so that a question can be kept or sent."""

    side = forms.ChoiceField(label="Edge", choices=SIDES)
    steel = forms.ChoiceField(label="Steel", required=False)
    hardness = TypedField(label="Hardness, HRC", required=False)
    coating = forms.ChoiceField(label="Coating", required=False)
    gap = TypedField(label="Gap a side, %", required=False)
    stock = forms.ChoiceField(label="Stock", choices=STOCKS)
    kind = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)
    edge = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, data, *, system: units.System, start: EdgeSpec) -> None:
        super().__init__(data, initial=_typed_of(start))
        self.start = start
        for prefix, needed in (("", True), ("to_", False)):
            for name, label, quantity in (
                ("thickness", "Thickness", "thickness_mm"),
                ("tensile", "Tensile strength", "stress_mpa"),
            ):
                field = MeasureField(quantity, system, required=needed)
                field.label = f"{label}, {field.unit}"
                self.fields[prefix + name] = field
        self.fields["to_steel"] = forms.ChoiceField(label="Steel", required=False)
        self.fields["to_hardness"] = TypedField(label="Hardness, HRC", required=False)
        self.fields["to_coating"] = forms.ChoiceField(label="Coating", required=False)
        self.fields["to_gap"] = TypedField(label="Gap a side, %", required=False)
        steels = [(name, builds.steel_words(name)) for name in tool_steels.GRADES]
        if start.steel and start.steel not in tool_steels.GRADES:
            steels.append((start.steel, start.steel))
        coatings = [(name, builds.coating_words(name)) for name in tool_steels.COATINGS]
        if start.coating and start.coating not in tool_steels.COATINGS:
            coatings.append((start.coating, start.coating))
        self.fields["steel"].choices = [*steels, ("", "not known")]
        self.fields["coating"].choices = [*coatings, ("", "not known")]
        self.fields["to_steel"].choices = [("", AS_IT_IS), *steels]
        self.fields["to_coating"].choices = [("", AS_IT_IS), *coatings]
        for name in ("to_hardness", "to_gap", "to_thickness", "to_tensile"):
            self.fields[name].widget.attrs["placeholder"] = AS_IT_IS

    @property
    def edge_fields(self):
        names = ("side", "steel", "hardness", "coating", "gap", "stock", "thickness", "tensile")
        return [self[name] for name in names]

    @property
    def change_fields(self):
        names = ("to_gap", "to_steel", "to_hardness", "to_coating", "to_thickness", "to_tensile")
        return [self[name] for name in names]

    def clean(self):
        asked = super().clean()
        for name in ("hardness", "to_hardness"):
            self._between(name, *HRC, "HRC")
        for name in ("gap", "to_gap"):
            self._between(name, GAP_AT_LEAST, GAP_AT_MOST, "%")
        if self.errors:
            return asked
        try:
            self.before = EdgeSpec(
                die=0,
                thickness_mm=asked["thickness"],
                tensile_mpa=asked["tensile"],
                stock_family=asked["stock"],
                steel=builds.steel_group(asked["steel"]),
                hardness_above_usual_hrc=builds.above_usual(asked["steel"], asked["hardness"]),
                coating=asked["coating"] or None,
                gap_pct=asked["gap"],
                side=asked["side"],
                kind=asked["kind"] if asked["kind"] in KINDS else "",
            )
            self.after = self._after(asked)
        except SampleRefused as reason:
            raise ValidationError(f"This edge cannot be: {reason}.") from reason
        return asked

    def _between(self, name: str, low: float, high: float, unit: str) -> None:
        value = self.cleaned_data.get(name)
        if value is not None and not low <= value <= high:
            self.add_error(name, f"{value:g} {unit} cannot be taken; it must lie between {low:g} and {high:g} {unit}.")

    def _after(self, asked: dict) -> EdgeSpec | None:
        """The edge as it would be; None where nothing is asked for, or where it is so already."""
        hardness = asked["to_hardness"]
        after = builds.built_otherwise(
            self.before,
            # Of a steel that stays the grade itself is named, as its group has another usual hardness.
            tool_steel=asked["to_steel"] or (asked["steel"] if hardness is not None else ""),
            hardness_hrc=hardness,
            coating=asked["to_coating"],
            gap_pct=asked["to_gap"],
            thickness_mm=asked["to_thickness"],
            tensile_mpa=asked["to_tensile"],
        )
        return after if after != self.before else None


def _typed_of(spec: EdgeSpec) -> dict:
    """An edge as the form holds it."""
    named = tool_steels.grade(spec.steel)
    above, usual = spec.hardness_above_usual_hrc, named.usual_hrc if named else None
    return {
        "side": spec.side,
        "steel": spec.steel or "",
        "hardness": "" if above is None or usual is None else f"{usual + above:g}",
        "coating": spec.coating or "",
        "gap": "" if spec.gap_pct is None else f"{spec.gap_pct:.3g}",
        "stock": spec.stock_family if spec.stock_family in FAMILIES else "other",
        "thickness": spec.thickness_mm,
        "tensile": spec.tensile_mpa,
        "kind": spec.kind,
    }


@dataclass(frozen=True, kw_only=True)
class Figures:
    """A curve's drawing, and its values for print and for reading aloud."""

    drawing: wear_model_drawing.CurveDrawing
    rows: list[dict]


def shown(fit: FleetFit | None, seen: Seen, spec: EdgeSpec, after: EdgeSpec | None, system: units.System) -> dict:
    """All that the page shows of one edge."""
    curves = builds.curves(fit, spec, seen)
    choices = builds.choices(fit, spec, seen)
    hits = wear_model_drawing.scale_of(curves, [c for some in choices.values() for c in some])
    return {
        "answer": _answer(builds.answer(fit, spec)),
        "edge_words": in_words(spec, system),
        "change": _change(fit, seen, spec, after, system) if after else None,
        "figures": [_figures(fit, spec, after, curve, hits, system) for curve in curves],
        "bars": [
            wear_model_drawing.bars(choices["steel"], title="Steel of the edge", hits=hits),
            wear_model_drawing.bars(
                [*choices["coating"], *choices["side"]], title="Coating, and side of the cut", hits=hits
            ),
        ],
        "choice_rows": [_choice(c, group) for group, some in choices.items() for c in some],
        "lines": [_line(factor) for factor in builds.factors(fit, seen, plain_stock=_plain_stock(system))],
        "rests": builds.rests_on(fit),
        "has_record": builds.has_record(fit),
        "gap_least": GAP_AT_LEAST,
        "gap_most": GAP_AT_MOST,
    }


def in_words(spec: EdgeSpec, system: units.System) -> str:
    return builds.in_words(
        spec,
        units.show(spec.thickness_mm, "thickness_mm", system),
        units.show(spec.tensile_mpa, "stress_mpa", system),
    )


def _answer(usual: builds.UsualInterval) -> dict:
    return {
        "half": numbers.hits(usual.best.usual_hits),
        "handbook": _band(usual.handbook),
        "record": _band(usual.record),
    }


def _band(interval: Interval | None) -> dict | None:
    if interval is None:
        return None
    return {
        "half": numbers.hits(interval.usual_hits),
        "low": numbers.hits(interval.low_hits),
        "high": numbers.hits(interval.high_hits),
    }


def times(value: float) -> str:
    """Times as long: 1.2; 0.85; 12; near one to the hundredth."""
    if value >= 100:
        return f"{float(f'{value:.2g}'):,.0f}"
    return f"{value:.2f}".rstrip("0").rstrip(".") if 0.1 <= value < 2 else f"{value:.2g}"


def _change(fit, seen: Seen, spec: EdgeSpec, after: EdgeSpec, system: units.System) -> dict:
    made = builds.changed(fit, spec, after)
    middle, low, high = made.times
    return {
        "words": _difference(spec, after, system),
        "times": times(middle),
        "low": times(low),
        "high": times(high),
        "longer": low > 1,
        "shorter": high < 1,
        "after": _answer(made.after),
        "beyond": _beyond(seen, spec, after) if builds.has_record(fit) else [],
    }


def _difference(spec: EdgeSpec, after: EdgeSpec, system: units.System) -> str:
    bits = []
    if after.gap_pct != spec.gap_pct:
        bits.append(f"a gap of {after.gap_pct:.3g} %")
    if after.steel != spec.steel:
        bits.append(builds.steel_words(after.steel))
    above = after.hardness_above_usual_hrc
    if above is not None and above != spec.hardness_above_usual_hrc:
        named = tool_steels.grade(after.steel)
        bits.append(f"{named.usual_hrc + above:g} HRC" if named and named.usual_hrc else f"{above:+g} HRC")
    if after.coating != spec.coating:
        bits.append("no coating" if after.coating == "none" else after.coating)
    if after.thickness_mm != spec.thickness_mm:
        bits.append(f"stock of {units.show(after.thickness_mm, 'thickness_mm', system)}")
    if after.tensile_mpa != spec.tensile_mpa:
        bits.append(f"stock of {units.show(after.tensile_mpa, 'stress_mpa', system)}")
    return ", ".join(bits) or "the same"


def _beyond(seen: Seen, spec: EdgeSpec, after: EdgeSpec) -> list[str]:
    """What of the change nobody here has run, so that the handbook speaks there."""
    beyond = []
    if after.steel != spec.steel and not seen.edges_with("steel", after.steel or ""):
        beyond.append(f"no edge of {builds.steel_words(after.steel)}")
    if after.coating != spec.coating and not seen.edges_with("coating", after.coating or ""):
        beyond.append("no bare edge" if after.coating == "none" else f"no edge with {after.coating}")
    for name, what in (
        ("gap_pct", "no such gap"),
        ("hardness_above_usual_hrc", "no such hardness"),
        ("thickness_mm", "no stock so thick or thin"),
        ("tensile_mpa", "no stock of such strength"),
    ):
        value, within = getattr(after, name), seen.range_of(name)
        if value is None or value == getattr(spec, name):
            continue
        if within is None or not within[0] <= value <= within[1]:
            beyond.append(what)
    return beyond


def _shown(quantity: str, system: units.System) -> tuple[str, float]:
    """The unit that a quantity is shown in, and what one of it is in the unit of the column."""
    if quantity not in SHOWN_IN:
        return "", 1.0
    of = units.QUANTITIES[SHOWN_IN[quantity]]
    unit = of.unit(system)
    return unit, units.convert(1.0, unit, of.stored)


def _ticks(quantity: str, system: units.System) -> Sequence[tuple[float, str]]:
    _, one = _shown(quantity, system)
    values = TICKS.get((quantity, str(system)), TICKS[quantity, "metric"])
    sign = "+" if quantity == "hardness_above_usual_hrc" else ""
    return [(v * one, f"{v:{sign}g}" if v else "0") for v in values]


def _figures(fit, spec, after, curve: builds.QuantityCurve, hits, system: units.System) -> Figures:
    quantity = curve.quantity
    title, name = TITLES[quantity]
    unit, _ = _shown(quantity, system)
    ticks = _ticks(quantity, system)
    asked = getattr(after, quantity) if after else None
    drawing = wear_model_drawing.draw(
        curve,
        title=title,
        name=f"{name}, {unit}" if unit else name,
        unit=unit,
        hits=hits,
        ticks=ticks,
        asked=asked if asked != getattr(spec, quantity) else None,
    )
    at = builds.at(fit, spec, curve, [v for v, _ in ticks])
    labels = {v: text for v, text in ticks}
    rows = []
    for i, x in enumerate(at.x):
        rows.append(
            {
                "value": f"{labels[x]} {unit}".strip(),
                "handbook": _of(at.handbook, i),
                "record": _of(at.record, i) if at.record else None,
                "times": [times(float(v[i])) for v in (at.times.times, at.times.low, at.times.high)],
                "within": curve.speaks_at(x),
            }
        )
    return Figures(drawing=drawing, rows=rows)


def _of(intervals, i: int) -> dict:
    return _band(
        Interval(
            usual_hits=float(intervals.usual_hits[i]),
            low_hits=float(intervals.low_hits[i]),
            high_hits=float(intervals.high_hits[i]),
        )
    )


def _choice(choice: builds.Choice, group: str) -> dict:
    return {
        "group": group,
        "value": choice.words,
        "handbook": _band(choice.handbook),
        "record": _band(choice.record),
        "times": [times(v) for v in choice.times],
        "edges": choice.edges,
        "dull_ends": choice.dull_ends,
        "chosen": choice.chosen,
    }


def _plain_stock(system: units.System) -> str:
    spec = builds.PLAIN_EDGE
    thickness = units.show(spec.thickness_mm, "thickness_mm", system)
    return f"{thickness} stock of {units.show(spec.tensile_mpa, 'stress_mpa', system)}"


def _line(factor: builds.Factor) -> dict:
    say = numbers.hits if factor.as_hits else times
    return {
        "group": factor.group,
        "words": factor.words,
        "handbook": [say(v) for v in factor.handbook],
        "own": None if factor.own is None else [say(v) for v in factor.own],
        "says": factor.says,
        "source": "" if factor.source == builds.MEMORY else factor.source,
        "edges": factor.edges,
        "unit": "hits" if factor.as_hits else "",
    }
