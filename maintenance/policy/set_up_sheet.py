"""PURE. The set-up sheet of a die and a press: what cutting and stripping take, what the springs hold, and what does
not fit.

All is computed from what the register and the log hold, by `diestore.handbook.cutting`; nothing is made up: a figure
that cannot be computed is None, and `not_known` says what is missing. Lengths in mm, forces in N, stresses in MPa,
weights in kg.

Cutting: F = sum of L t tau over all cuts, from sharp edges [1]; dull ones take 15 to 30 % more [2]. Height groups that
stand apart load the press one after the other as far as one is through before the next begins: the stock breaks at a
quarter to half of its thickness [3], so groups a step of half the thickness apart do not add up. Stripping: 3 to 20 %
of the cutting force of all punches together, as they are all pulled out at once [1]. Press: the rated force, what is
advised of it by the frame [4], and above the height down to which it holds, what the crank can push [5].

1. T. Altan (ed.), Metal Forming Handbook, Springer 1998, shear cutting.
2. Press-tool course notes, module 2.
3. P. C. Sharma, A Textbook of Production Engineering, 11th ed. 2008, ex. 2.4 and 2.7, and an examination question.
4. The Fabricator, how can I reduce blanking tonnage required.
5. Geometry of the crank, from memory; the maker's own curve comes first.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from diestore.handbook import cutting
from diestore.handbook.cutting import BREAKS_AT, STRIP_AREA_MPA, WORKING_SHARE, CutLoad, Frame, StripForce
from diestore.handbook.gas_springs import GasSpring
from diestore.handbook.sources import SCHULER, Span
from diestore.handbook.springs import FittedSpring
from diestore.texts import gettext as _

STRIP_SHARE = Span(low=0.03, high=0.20, source=f"{SCHULER}, shear cutting: 3 to 5 % of wide cuts, 10 to 20 % of narrow")
NEAR = 1e-9  # of a limit: a figure in inches and back


@dataclass(frozen=True, kw_only=True)
class DieSheet:
    """What is known of the die. None: not known."""

    strokes_per_minute: float
    shut_height_mm: float | None = None
    passline_mm: float | None = None
    feed_pitch_mm: float | None = None
    pilot_release_mm: float | None = None
    strip_width_mm: float | None = None
    stroke_needed_mm: float | None = None
    contact_mm: float | None = None
    stagger_mm: float | None = None
    weight_kg: float | None = None
    upper_weight_kg: float | None = None


@dataclass(frozen=True, kw_only=True)
class PressSheet:
    """What is known of the press. None, or no frame: not known."""

    name: str
    rated_n: float | None = None
    rated_at_mm: float | None = None
    stroke_mm: float | None = None
    frame: str = ""
    shut_height_min_mm: float | None = None
    shut_height_max_mm: float | None = None
    strokes_least: float | None = None
    strokes_most: float | None = None
    passline_min_mm: float | None = None
    passline_max_mm: float | None = None
    upper_weight_max_kg: float | None = None


@dataclass(frozen=True, kw_only=True)
class Strip:
    """shear_mpa: its shear strength, with where it comes from. family: of the stock, for the rule by cut area."""

    thickness_mm: float
    shear_mpa: Span
    family: str = ""


@dataclass(frozen=True, kw_only=True)
class SheetCut:
    """One contour. group: its height group, as its punch stands."""

    length_mm: float
    group: str = ""


@dataclass(frozen=True, kw_only=True)
class SpringForce:
    """Springs at one place. force_n: of one of them, None where nobody measured it and nothing says its rate."""

    place: str
    force_n: float | None = None
    number: int = 1
    is_measured: bool = True


@dataclass(frozen=True, kw_only=True)
class SpringSort:
    """Springs of one sort as they sit in the die: coil springs or gas springs. wrong: why they cannot sit so, in one
    sentence; then neither."""

    name: str
    places: tuple[str, ...]
    spring: FittedSpring | None = None
    gas: GasSpring | None = None
    wrong: str = ""


class Fit(StrEnum):
    """What does not fit, by what it is held against."""

    SHUT_HEIGHT = "shut height"
    PASSLINE = "passline"
    STROKE = "stroke"
    STROKES = "strokes a minute"
    FORCE = "cutting force"
    CURVE = "cutting force at its height"
    UPPER_WEIGHT = "weight of the upper half"


@dataclass(frozen=True, kw_only=True)
class Misfit:
    """value is beyond limit: above it, or below. at_mm: of a force above the bottom of the stroke, how far above."""

    what: Fit
    value: float
    limit: float
    at_mm: float | None = None

    @property
    def is_above(self) -> bool:
        return self.value > self.limit


@dataclass(frozen=True, kw_only=True)
class Force:
    """What cutting takes, N, sharp.

    together_n: all groups at once. groups_n: each height group alone, by the middle of the shear strength. peak_n: the
    most at once with groups as deep as they stand, None where that is not known or there is one group. depths_mm: how
    far each enters after the first by the lengths of its pieces now; None where the card's one step between groups was
    taken. apart_mm: the step from which groups do not add up. dull_n: together_n, or peak_n where it is known, with
    dull edges.
    """

    together_n: Span
    groups_n: Mapping[str, float]
    peak_n: Span | None
    apart_mm: float
    length_mm: float
    depths_mm: Mapping[str, float] | None = None

    @property
    def counts_n(self) -> Span:
        """What the press is held against."""
        return self.together_n if self.peak_n is None else self.peak_n

    @property
    def dull_n(self) -> Span:
        low, high = cutting.dull_force_n(self.counts_n.low), cutting.dull_force_n(self.counts_n.high)
        return Span(low=low.low, high=high.high, source=low.source)


@dataclass(frozen=True, kw_only=True)
class Stripping:
    """needed_n: the published range. rules: single rules within or about it. held_n: the sum over springs whose force
    is known, None where none is; unknown: places of which nothing is known.
    """

    needed_n: Span
    rules: tuple[StripForce, ...]
    held_n: float | None
    measured: int
    computed: int
    unknown: tuple[str, ...]

    @property
    def holds(self) -> bool | None:
        """Whether the springs hold the least that any rule asks; None where not all of them are known."""
        if self.held_n is None:
            return None
        if self.held_n >= self.needed_n.low * (1 - NEAR):
            return True
        return None if self.unknown else False

    @property
    def is_inside(self) -> bool:
        """Between the least and the most that is asked: enough by some rules and too little by others."""
        return self.held_n is not None and self.needed_n.low <= self.held_n < self.needed_n.high


@dataclass(frozen=True, kw_only=True)
class Load:
    """The force on the press. share, dull_share: of its rated force. advised: the share to stay below. allowed_n: what
    it can push with at_mm above the bottom of the stroke, None where nothing says its curve. at_is_typed: the die says
    where its punches meet the strip; else one thickness is taken.
    """

    share: Span
    dull_share: Span
    advised: Span
    is_advised: bool
    allowed_n: float | None
    at_mm: float
    at_is_typed: bool


@dataclass(frozen=True, kw_only=True)
class SetUpSheet:
    """All of it. release_deg: where the crank stands when the feed lets go, where the stroke of the press is known."""

    force: Force | None
    no_force: str
    stripping: Stripping | None
    load: Load | None
    misfits: tuple[Misfit, ...]
    release_deg: float | None

    @property
    def fits(self) -> bool:
        return not self.misfits


def set_up_sheet(
    *,
    die: DieSheet,
    strip: Strip | None,
    cuts: Sequence[SheetCut],
    springs: Sequence[SpringForce] = (),
    press: PressSheet | None = None,
    depths_mm: Mapping[str, float] | None = None,
) -> SetUpSheet:
    """The sheet of a die as it stands, in a press where one is named. The order of cuts and springs does not matter.

    depths_mm: how far each height group enters after the first, by the lengths of its pieces, as far as it is known.

    A die without cuts, or whose stock has no figure, has no force; everything else is told all the same.
    """
    force, why = None, ""
    if strip is None:
        why = _("Nothing says how strong its stock is, so no force is computed.")
    elif not cuts:
        why = _("No cut of it is entered, so no force is computed.")
    else:
        force = cutting_force(die, strip, cuts, depths_mm=depths_mm)
    stripping = None
    if force is not None and strip is not None:
        stripping = stripping_force(force, strip, cuts, springs)
    load = None
    if press is not None and press.rated_n is not None and force is not None and strip is not None:
        load = load_on(press, force, die, strip)
    return SetUpSheet(
        force=force,
        no_force=why,
        stripping=stripping,
        load=load,
        misfits=() if press is None else tuple(_misfits(die, press, force, load)),
        release_deg=_release(die, press),
    )


def cutting_force(
    die: DieSheet, strip: Strip, cuts: Sequence[SheetCut], *, depths_mm: Mapping[str, float] | None = None
) -> Force:
    """F = L t tau over all cuts, once each, by height group. Where the depth of each group is known it counts; else
    the card's step between groups, where it says one. Raises CuttingError for figures that cannot be."""
    middle = strip.shear_mpa.middle
    hit = cutting.hit_force(
        CutLoad(length_mm=cut.length_mm, thickness_mm=strip.thickness_mm, shear_mpa=middle, group=cut.group)
        for cut in cuts
    )
    low, high, source = strip.shear_mpa.low / middle, strip.shear_mpa.high / middle, strip.shear_mpa.source

    def span(force_n: float) -> Span:
        return Span(low=force_n * low, high=force_n * high, source=source)

    through = BREAKS_AT.high * strip.thickness_mm
    peak = known = None
    if len(hit.by_group) > 1 and depths_mm is not None and set(hit.by_group) <= set(depths_mm):
        known = {name: depths_mm[name] for name in sorted(hit.by_group)}
        peak = span(cutting.peak_at_depths_n(forces_n=hit.by_group, depths_mm=known, through_mm=through))
    elif die.stagger_mm is not None and len(hit.by_group) > 1:
        peak = span(cutting.peak_of_groups_n(forces_n=hit.by_group, step_mm=die.stagger_mm, through_mm=through))
    return Force(
        together_n=span(hit.total_n),
        groups_n=dict(sorted(hit.by_group.items())),
        peak_n=peak,
        apart_mm=through,
        length_mm=math.fsum(cut.length_mm for cut in cuts),
        depths_mm=known,
    )


def stripping_force(force: Force, strip: Strip, cuts: Sequence[SheetCut], springs: Sequence[SpringForce]) -> Stripping:
    """What pulls the strip off all punches at once, against what the springs hold."""
    total = force.together_n.middle
    by_size = [
        cutting.strip_by_size(
            force_n=cutting.cutting_force_n(
                length_mm=cut.length_mm, thickness_mm=strip.thickness_mm, shear_mpa=strip.shear_mpa.middle
            ),
            size_mm=cut.length_mm / math.pi,
            thickness_mm=strip.thickness_mm,
        ).force_n
        for cut in cuts
    ]
    rules = [
        StripForce(
            rule="by the size of each cut, as a round of its length",
            force_n=Span(
                low=math.fsum(one.low for one in by_size),
                high=math.fsum(one.high for one in by_size),
                source=by_size[0].source,
            ),
            printed=False,
        ),
        cutting.strip_by_tenth(force_n=total),
        *(
            cutting.strip_by_area(length_mm=force.length_mm, thickness_mm=strip.thickness_mm, case=case)
            for case in area_cases(strip)
        ),
    ]
    known = [spring for spring in springs if spring.force_n is not None]
    return Stripping(
        needed_n=Span(low=total * STRIP_SHARE.low, high=total * STRIP_SHARE.high, source=STRIP_SHARE.source),
        rules=tuple(rules),
        held_n=math.fsum((spring.force_n or 0.0) * spring.number for spring in known) if known else None,
        measured=sum(spring.number for spring in known if spring.is_measured),
        computed=sum(spring.number for spring in known if not spring.is_measured),
        unknown=tuple(sorted(spring.place for spring in springs if spring.force_n is None)),
    )


def area_cases(strip: Strip) -> list[str]:
    """The cases of the rule by cut area that suit the strip: those for low-carbon steel under 1.5 mm only for it."""
    cases = list(STRIP_AREA_MPA)
    if strip.thickness_mm > 1.5:
        return cases[2:]
    return [*cases[:2], cases[3]] if strip.family == "carbon steel" else cases[3:]


def load_on(press: PressSheet, force: Force, die: DieSheet, strip: Strip) -> Load:
    """The force against the press's rating and its curve."""
    rated = press.rated_n or math.nan
    counts, dull = force.counts_n, force.dull_n
    if press.frame:
        advised = WORKING_SHARE[Frame(press.frame)]
    else:  # both frames
        spans = list(WORKING_SHARE.values())
        advised = Span(low=min(s.low for s in spans), high=max(s.high for s in spans), source=spans[0].source)
    at = strip.thickness_mm if die.contact_mm is None else die.contact_mm
    allowed = None
    rated_at, stroke = press.rated_at_mm, press.stroke_mm
    if rated_at is not None and stroke is not None and at < stroke and rated_at <= stroke / 2:
        allowed = cutting.crank_force_n(rated_n=rated, rated_at_mm=rated_at, stroke_mm=stroke, at_mm=at)
    return Load(
        share=Span(low=counts.low / rated, high=counts.high / rated, source=counts.source),
        dull_share=Span(low=dull.low / rated, high=dull.high / rated, source=dull.source),
        advised=advised,
        is_advised=dull.high / rated <= advised.low * (1 + NEAR),
        allowed_n=allowed,
        at_mm=at,
        at_is_typed=die.contact_mm is not None,
    )


def _release(die: DieSheet, press: PressSheet | None) -> float | None:
    if die.pilot_release_mm is None or press is None or press.stroke_mm is None:
        return None
    if die.pilot_release_mm > press.stroke_mm:
        return None
    return cutting.crank_angle_deg(stroke_mm=press.stroke_mm, above_bottom_mm=die.pilot_release_mm)


def _misfits(die: DieSheet, press: PressSheet, force: Force | None, load: Load | None) -> Iterator[Misfit]:
    """A figure outside what the press can. Of a force the least that the stock can take: what is refused is sure."""
    within = (
        (Fit.SHUT_HEIGHT, die.shut_height_mm, press.shut_height_min_mm, press.shut_height_max_mm),
        (Fit.PASSLINE, die.passline_mm, press.passline_min_mm, press.passline_max_mm),
        (Fit.STROKE, press.stroke_mm, die.stroke_needed_mm, None),
        (Fit.STROKES, die.strokes_per_minute, press.strokes_least, press.strokes_most),
        (Fit.UPPER_WEIGHT, die.upper_weight_kg, None, press.upper_weight_max_kg),
        (Fit.FORCE, None if force is None else force.counts_n.low, None, press.rated_n),
    )
    for what, value, least, most in within:
        if value is None:
            continue
        if least is not None and value < least * (1 - NEAR):
            yield Misfit(what=what, value=value, limit=least)
        elif most is not None and value > most * (1 + NEAR):
            yield Misfit(what=what, value=value, limit=most)
    if force is not None and load is not None and load.allowed_n is not None:
        over_curve = force.counts_n.low > load.allowed_n * (1 + NEAR)
        if over_curve and load.allowed_n < (press.rated_n or 0.0):
            yield Misfit(what=Fit.CURVE, value=force.counts_n.low, limit=load.allowed_n, at_mm=load.at_mm)
