"""PURE. What cutting takes: force, work, load on the punch and the press; the gap, and the sizes that follow from it.

Lengths in mm, forces in N, stresses in MPa (N/mm2), work in J. Formulas, with their sources by number:

1. T. Altan (ed.), Metal Forming Handbook, Springer 1998, shear cutting: F = sum of all cut edges x thickness x shear
   strength; stripping force as a share of it.
2. P. C. Sharma, A Textbook of Production Engineering, 11th ed. 2008, ex. 2.1 to 2.7, pp. 132-135: work and shear.
3. Press-tool course notes, module 2: dull edges raise the force by 15 to 30 %; stripping a tenth of the cutting force
   (common practice).
4. "How can I reduce blanking tonnage required", The Fabricator: share of a press's rating to stay below.
5. From memory: stripping rules by cut area (handbooks of die design; P. N. Rao, Manufacturing Technology vol. 1), and
   the gap by the root of the shear strength (German handbooks in the tradition of VDI 3368). Course notes on press
   tools print it too, with k 0.01 for usual and 0.005 for accurate work and without a branch for thick stock.
6. Groover, Fundamentals of Modern Manufacturing, 5th ed., answer 19.3: which of punch and die carries the size.

Limits: square-edged punch, even gap, sharp edges unless said. Not for shaving or fine blanking, nor for hot stock. Die
design is for qualified people: a computed load is no licence to run a press.
"""

from __future__ import annotations

import math
import numbers
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import NoReturn, Self

from .sources import COMMON_PRACTICE, FROM_MEMORY, SCHULER, Span

DULL_FACTOR = Span(low=1.15, high=1.30, source="press-tool course notes, module 2: dull edges take 15 to 30 % more")
BREAKS_AT = Span(
    low=0.25, high=0.5,
    source="share of the thickness, worked examples: P. C. Sharma, 11th ed., ex. 2.4 and 2.7, pp. 134-135 (0.25, 0.4); "
    "an examination question (0.5)",
)  # fmt: skip
STAGGER_OF_THICKNESS = 1.0  # groups a whole thickness apart never cut together: common practice, no source


class CuttingError(ValueError):
    """A figure that cutting cannot be computed from; the message is one sentence."""


class ClearanceMix(TypeError):
    """Clearance per side and in total (or a bare number) were about to be taken for one another."""


def _positive(what: str, value: float) -> float:
    if isinstance(value, bool) or not isinstance(value, numbers.Real) or not math.isfinite(value) or value <= 0:
        raise CuttingError(f"The {what} must be above nought, not {value!r}.")
    return value


def _share(what: str, value: float) -> float:
    if not _positive(what, value) <= 1:
        raise CuttingError(f"The {what} must be a share up to 1, not {value!r}.")
    return value


# --- clearance --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, order=True)
class _Clearance:
    mm: float

    def __post_init__(self) -> None:
        if isinstance(self.mm, _Clearance):
            raise ClearanceMix(f"{self.mm!r} has to be converted by .per_side() or .total().")
        if (
            isinstance(self.mm, bool)
            or not isinstance(self.mm, numbers.Real)
            or not math.isfinite(self.mm)
            or self.mm < 0
        ):
            raise CuttingError(f"A clearance must be nought or more, not {self.mm!r}.")

    def _same(self, other: object, doing: str) -> Self:
        if type(other) is not type(self):
            raise ClearanceMix(f"{self!r} and {other!r} cannot be {doing}: convert by .per_side() or .total() first.")
        return other

    def __add__(self, other: object) -> Self:
        return type(self)(self.mm + self._same(other, "added").mm)

    def __sub__(self, other: object) -> Self:
        return type(self)(self.mm - self._same(other, "subtracted").mm)

    def __radd__(self, other: object) -> Self:
        return self._same(other, "added")

    def __rsub__(self, other: object) -> Self:
        return self._same(other, "subtracted")

    def __float__(self) -> NoReturn:
        raise ClearanceMix(f"{self!r} is no bare number: say .mm where per side or total is meant.")


@dataclass(frozen=True, order=True)
class PerSide(_Clearance):
    """The gap between one edge of the punch and the die, in mm: what records and the wear model hold."""

    @classmethod
    def of_percent(cls, pct_per_side: float, thickness_mm: float) -> PerSide:
        """From % of stock thickness, per side."""
        return cls(_percent(pct_per_side) / 100 * _positive("thickness", thickness_mm))

    def percent_of(self, thickness_mm: float) -> float:
        return 100 * self.mm / _positive("thickness", thickness_mm)

    def total(self) -> Total:
        return Total(2 * self.mm)


@dataclass(frozen=True, order=True)
class Total(_Clearance):
    """Die size less punch size, both sides together, in mm on the diameter."""

    @classmethod
    def of_percent(cls, pct_total: float, thickness_mm: float) -> Total:
        """From % of stock thickness, in total (on the diameter), as punch makers' charts often print it."""
        return cls(_percent(pct_total) / 100 * _positive("thickness", thickness_mm))

    def per_side(self) -> PerSide:
        return PerSide(self.mm / 2)


def _percent(pct: float) -> float:
    if isinstance(pct, _Clearance):
        raise ClearanceMix(f"{pct!r} is in mm already, not in % of the thickness.")
    if isinstance(pct, bool) or not isinstance(pct, numbers.Real) or not math.isfinite(pct) or not 0 <= pct <= 100:
        raise CuttingError(f"A clearance of {pct!r} % of the thickness is none.")
    return pct


def gap_by_root_rule(*, thickness_mm: float, shear_mpa: float, k: float = 0.01) -> PerSide:
    """Gap per side by the root of the shear strength, from memory (source 5).

    c = k s sqrt(tau / 10) up to s = 3 mm; c = 1.5 k (s - 1) sqrt(tau / 10) above. k from 0.005 (accurate parts) to 0.01
    (usual work); k outside that is refused.
    Above 3 mm the handbooks print (1.5 k s - 0.015): the same for k = 0.01. For a smaller k that would halve the gap
    from one sheet to the next, 3.0 to 1.5 % at k = 0.005 and 360 MPa; taking the 0.015 as 1.5 k, so that both branches
    meet for every k, is the project's reading.
    """
    if not 0.005 <= k <= 0.01:
        raise CuttingError(f"k goes from 0.005 (accurate parts) to 0.01 (usual work), not {k!r}.")
    s = _positive("thickness", thickness_mm)
    root = math.sqrt(_positive("shear strength", shear_mpa) / 10)
    return PerSide(k * s * root if s <= 3 else 1.5 * k * (s - 1) * root)


class Operation(StrEnum):
    BLANK = "blank"  # what falls through is the part
    PIERCE = "pierce"  # what falls through is scrap


@dataclass(frozen=True, kw_only=True)
class ToolSizes:
    """Sizes of punch and die opening, in mm on the diameter or across."""

    punch_mm: float
    die_mm: float

    @property
    def clearance(self) -> Total:
        return Total(self.die_mm - self.punch_mm)


def tool_sizes(operation: Operation | str, *, size_mm: float, gap: PerSide, recovery_mm: float = 0.0) -> ToolSizes:
    """Punch and die for a part's size (source 6): a blank takes the die's size, a hole takes the punch's.

    recovery_mm, on the diameter: a blank springs larger and a hole closes after the cut, so the die is made smaller by
    it or the punch larger (source 2, ex. 2.5). `gap` is a PerSide; anything else raises ClearanceMix.
    """
    if not isinstance(gap, PerSide):
        raise ClearanceMix(f"The gap has to be given per side, not as {gap!r}.")
    size = _positive("size", size_mm)
    if not 0 <= recovery_mm < size:
        raise CuttingError(f"A recovery of {recovery_mm!r} mm does not suit a size of {size} mm.")
    if Operation(operation) is Operation.BLANK:
        die = size - recovery_mm
        return ToolSizes(punch_mm=_positive("punch that is left", die - gap.total().mm), die_mm=die)
    punch = size + recovery_mm
    return ToolSizes(punch_mm=punch, die_mm=punch + gap.total().mm)


# --- force ------------------------------------------------------------------------------------------------------------


def cutting_force_n(*, length_mm: float, thickness_mm: float, shear_mpa: float) -> float:
    """F = L t tau of sharp edges, in N. L is the length of what is cut, once for punch and die together (source 1)."""
    return (
        _positive("length of cut", length_mm)
        * _positive("thickness", thickness_mm)
        * _positive("shear strength", shear_mpa)
    )


def shear_mpa_of(tensile_mpa: float, ratio: float) -> float:
    """Shear strength from tensile strength; published ratios are in `materials.SHEAR_RATIOS`, from 0.5 to 0.8."""
    return _positive("tensile strength", tensile_mpa) * _share("ratio of shear to tensile strength", ratio)


def dull_force_n(force_n: float) -> Span:
    """What the same cut takes with dull edges: 15 to 30 % more (source 3)."""
    _positive("force", force_n)
    return Span(low=force_n * DULL_FACTOR.low, high=force_n * DULL_FACTOR.high, source=DULL_FACTOR.source)


@dataclass(frozen=True, kw_only=True)
class CutLoad:
    """One contour that is cut. Punch and die edge are the two sides of one cut: it is given once.

    group: cuts of equal group meet the strip together; another group meets it earlier or later. A piercing punch that
    stands a stock thickness behind the others is a group of its own (the step is common practice, no source).
    """

    length_mm: float
    thickness_mm: float
    shear_mpa: float
    group: str = ""

    @property
    def force_n(self) -> float:
        return cutting_force_n(length_mm=self.length_mm, thickness_mm=self.thickness_mm, shear_mpa=self.shear_mpa)


@dataclass(frozen=True, kw_only=True)
class HitForce:
    """Force of one hit, by stagger group. peak_n is what the press feels at once; total_n drives the work."""

    by_group: Mapping[str, float]
    total_n: float
    peak_group: str
    peak_n: float

    @property
    def peak_dull_n(self) -> Span:
        return dull_force_n(self.peak_n)


def hit_force(cuts: Iterable[CutLoad]) -> HitForce:
    """Cutting force of a hit: summed over cuts, once each, by group; the largest group is the peak.

    Holds where groups differ in height by more than the depth at which the stock breaks through, so that one is done
    before the next begins. Raises CuttingError where there is no cut.
    """
    by_group: dict[str, list[float]] = {}
    for cut in cuts:
        by_group.setdefault(cut.group, []).append(cut.force_n)
    if not by_group:
        raise CuttingError("Nothing is cut, so there is no cutting force.")
    sums = {group: math.fsum(forces) for group, forces in by_group.items()}
    peak = max(sorted(sums), key=lambda group: sums[group])
    return HitForce(by_group=sums, total_n=math.fsum(sums.values()), peak_group=peak, peak_n=sums[peak])


def cutting_work_j(*, force_n: float, thickness_mm: float, penetration: float) -> float:
    """W = F k t in J: force over the share k of the thickness at which the stock breaks (source 2, ex. 2.4).

    Other texts use a triangle of load, W = F t / 2 for k = 1; say k = 0.5 for it.
    """
    return (
        _positive("force", force_n)
        * _share("penetration", penetration)
        * _positive("thickness", thickness_mm)
        / 1000  # N mm to J
    )


class ShearForm(StrEnum):
    """Two published forms of what shear (a slope of the punch face) saves. They differ by more than half: say which."""

    TRAVELS = "travels"  # F' = F k t / (k t + i), Sharma, ex. 2.7
    WORK = "work"  # F' = F k t / i, from equal work; only where i > k t


def sheared_force_n(
    *, force_n: float, thickness_mm: float, penetration: float, shear_mm: float, form: ShearForm | str
) -> float:
    """Force with shear of depth i ground on the punch or die.

    Raises CuttingError for the work form where the shear is no deeper than the penetration: it would give more force
    than without.
    """
    force = _positive("force", force_n)
    kt = _share("penetration", penetration) * _positive("thickness", thickness_mm)
    i = _positive("shear", shear_mm)
    if ShearForm(form) is ShearForm.TRAVELS:
        return force * kt / (kt + i)
    if i <= kt:
        raise CuttingError(f"Shear of {i:g} mm is no deeper than the cut of {kt:g} mm: equal work says nothing there.")
    return force * kt / i


def shear_for_force_mm(*, ratio: float, thickness_mm: float, penetration: float, form: ShearForm | str) -> float:
    """The depth of shear that brings the force down to `ratio` of what it was."""
    if not 0 < ratio < 1:
        raise CuttingError(f"The force can come down to a share between 0 and 1, not {ratio!r}.")
    kt = _share("penetration", penetration) * _positive("thickness", thickness_mm)
    return kt * (1 - ratio) / ratio if ShearForm(form) is ShearForm.TRAVELS else kt / ratio


def punch_stress_mpa(*, force_n: float, face_mm2: float) -> float:
    """Compressive stress in the punch: force over the area of its face."""
    return _positive("force", force_n) / _positive("face of the punch", face_mm2)


def round_punch_stress_mpa(*, diameter_mm: float, thickness_mm: float, shear_mpa: float) -> float:
    """4 tau t / d: a round hole smaller than four thicknesses loads its punch beyond the stock's shear strength."""
    force = cutting_force_n(
        length_mm=math.pi * _positive("diameter", diameter_mm), thickness_mm=thickness_mm, shear_mpa=shear_mpa
    )
    return punch_stress_mpa(force_n=force, face_mm2=math.pi / 4 * diameter_mm**2)


# --- stripping --------------------------------------------------------------------------------------------------------

_WIDE, _NARROW = 10.0, 2.0  # size over thickness at which the shares are printed


@dataclass(frozen=True, kw_only=True)
class StripForce:
    """Force to pull the strip off a punch, by one published rule."""

    rule: str
    force_n: Span
    printed: bool = True  # False: read off between the printed points


def strip_by_size(*, force_n: float, size_mm: float, thickness_mm: float) -> StripForce:
    """3 to 5 % of the cutting force at size / thickness about 10, 10 to 20 % at about 2 (source 1).

    Between, straight in the logarithm of size / thickness, which is the project's reading; beyond 2 or 10 the end's
    share is kept. Tough stock takes more.
    """
    force = _positive("force", force_n)
    ratio = _positive("size", size_mm) / _positive("thickness", thickness_mm)
    x = (math.log(min(max(ratio, _NARROW), _WIDE)) - math.log(_NARROW)) / math.log(_WIDE / _NARROW)
    low, high = (math.exp(math.log(a) + x * (math.log(b) - math.log(a))) for a, b in ((0.10, 0.03), (0.20, 0.05)))
    return StripForce(
        rule="share of the cutting force by size over thickness",
        force_n=Span(low=force * low, high=force * high, source=f"{SCHULER}, shear cutting"),
        printed=ratio in (_NARROW, _WIDE),
    )


def strip_by_tenth(*, force_n: float) -> StripForce:
    """A tenth of the cutting force (source 3)."""
    tenth = _positive("force", force_n) / 10
    return StripForce(
        rule="a tenth of the cutting force",
        force_n=Span(low=tenth, high=tenth, source=f"press-tool course notes; {COMMON_PRACTICE}"),
    )


STRIP_AREA_MPA: dict[str, float] = {
    "low-carbon steel under 1.5 mm (0.06 in), near an edge or another cut": 10.3,
    "low-carbon steel under 1.5 mm (0.06 in), other cuts": 14.5,
    "over 1.5 mm (0.06 in)": 20.7,
    "3,500 lbf for each square inch of cut": 24.13,
}  # from memory (source 5). An older "L t / 0.00117" is left out: its unit is not certain.


def strip_by_area(*, length_mm: float, thickness_mm: float, case: str) -> StripForce:
    """P = K L t with K by case (`STRIP_AREA_MPA`), from memory."""
    if case not in STRIP_AREA_MPA:
        raise CuttingError(f"{case!r} is none of the cases of this rule.")
    force = STRIP_AREA_MPA[case] * _positive("length of cut", length_mm) * _positive("thickness", thickness_mm)
    return StripForce(
        rule=f"by cut area: {case}",
        force_n=Span(low=force, high=force, source=f"handbooks of die design, {FROM_MEMORY}"),
    )


# --- press ------------------------------------------------------------------------------------------------------------


class Frame(StrEnum):
    STRAIGHT_SIDE = "straight side"
    C_FRAME = "C-frame"


# Share of the rated force to stay below in running work (source 4).
WORKING_SHARE: dict[Frame, Span] = {
    Frame.STRAIGHT_SIDE: Span(low=0.8, high=0.8, source="The Fabricator, how can I reduce blanking tonnage"),
    Frame.C_FRAME: Span(low=0.6, high=0.7, source="The Fabricator, how can I reduce blanking tonnage"),
}


@dataclass(frozen=True, kw_only=True)
class PressLoad:
    """How a load sits on a press. verdict: within, near or above what is advised, or above the press's rating."""

    share: float
    advised_n: Span
    verdict: str
    sentence: str


def press_load(*, load_n: float, rated_n: float, frame: Frame | str) -> PressLoad:
    """A load against a press's rated force, for a mechanical press by its frame (source 4).

    The rated force holds only near the bottom of the stroke: a load that acts higher needs the maker's curve of force
    over stroke. Work over a shift is limited by the flywheel as well.
    """
    load, rated = _positive("load", load_n), _positive("rated force", rated_n)
    span = WORKING_SHARE[Frame(frame)]
    share = load / rated
    if share > 1:
        verdict, words = "above rating", "more than the press is rated for: do not run it"
    elif share > span.high:
        verdict, words = "above advice", "above what is advised for such a frame"
    elif share > span.low:
        verdict, words = "near", "at the upper end of what is advised for such a frame"
    else:
        verdict, words = "within", "within what is advised for such a frame"
    return PressLoad(
        share=share,
        advised_n=Span(low=span.low * rated, high=span.high * rated, source=span.source),
        verdict=verdict,
        sentence=f"{100 * share:.0f} % of the rated force, {words}.",
    )


def press_rating_needed_n(*, load_n: float, frame: Frame | str) -> Span:
    """The rated force a press should have for a load: the load divided by (never times) the working share."""
    span = WORKING_SHARE[Frame(frame)]
    load = _positive("load", load_n)
    return Span(low=load / span.high, high=load / span.low, source=span.source)


def crank_force_n(*, rated_n: float, rated_at_mm: float, stroke_mm: float, at_mm: float) -> float:
    """What a crank press can push with at a height above the bottom of its stroke, in N, from memory.

    Up to `rated_at_mm` the rated force, by the strength of the frame; above it the torque of the crank is the limit:
    F = F_rated sin(a_rated) / sin(a), with h = s (1 - cos a) / 2, so F = F_rated sqrt(h_r (s - h_r) / (h (s - h))).
    A long connecting rod is taken; link drives and servo presses have curves of their own, and hydraulic ones none.
    Limits: 0 < at < stroke, rated_at below half the stroke. Raises CuttingError. The maker's own curve comes first.
    """
    rated, stroke = _positive("rated force", rated_n), _positive("stroke", stroke_mm)
    rated_at, at = _positive("height of the rated force", rated_at_mm), _positive("height of the load", at_mm)
    if rated_at > stroke / 2:
        raise CuttingError(f"A force rated {rated_at:g} mm above the bottom does not suit a stroke of {stroke:g} mm.")
    if at >= stroke:
        raise CuttingError(f"A load {at:g} mm above the bottom lies above the stroke of {stroke:g} mm.")
    if at <= rated_at:
        return rated
    return rated * math.sqrt(rated_at * (stroke - rated_at) / (at * (stroke - at)))


def crank_angle_deg(*, stroke_mm: float, above_bottom_mm: float) -> float:
    """How far from the bottom of the stroke a crank stands, in degrees: cos a = 1 - 2 h / s, for a long rod."""
    stroke = _positive("stroke", stroke_mm)
    if not 0 <= above_bottom_mm <= stroke:
        raise CuttingError(f"{above_bottom_mm:g} mm above the bottom lies outside the stroke of {stroke:g} mm.")
    return math.degrees(math.acos(1 - 2 * above_bottom_mm / stroke))


def peak_of_groups_n(*, forces_n: Mapping[str, float], step_mm: float, through_mm: float) -> float:
    """The most that groups of punches take at once, in N, where each meets the strip `step_mm` after the one before.

    A group loads the press from where it meets the strip until the stock breaks, `through_mm` later; groups whose
    spans overlap add up, so a step of through_mm or more leaves the largest group alone. Order: by name, as people
    number them. Raises CuttingError where there is no group.
    """
    if not forces_n:
        raise CuttingError("Nothing is cut, so there is no cutting force.")
    through = _positive("depth at which the stock breaks", through_mm)
    if not math.isfinite(step_mm) or step_mm < 0:
        raise CuttingError(f"A step of {step_mm!r} mm between groups is none.")
    names = sorted(forces_n, key=lambda name: (len(name), name))
    starts = {name: number * step_mm for number, name in enumerate(names)}
    return peak_at_depths_n(forces_n=forces_n, depths_mm=starts, through_mm=through)


def peak_at_depths_n(*, forces_n: Mapping[str, float], depths_mm: Mapping[str, float], through_mm: float) -> float:
    """The same where each group meets the strip its own depth after the first one, mm; any order, none left out.

    Raises CuttingError where there is no group, or a depth is missing or none.
    """
    if not forces_n:
        raise CuttingError("Nothing is cut, so there is no cutting force.")
    through = _positive("depth at which the stock breaks", through_mm)
    names, starts = list(forces_n), dict(depths_mm)
    if not all(name in starts and math.isfinite(starts[name]) for name in names):
        raise CuttingError("A group's depth is not known, so groups cannot be set apart.")
    # The load only rises where a group meets the strip. A group that breaks through there has let go already.
    return max(
        math.fsum(forces_n[other] for other in names if -1e-9 <= starts[name] - starts[other] < through - 1e-9)
        for name in names
    )
