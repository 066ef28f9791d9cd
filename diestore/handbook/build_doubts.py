"""PURE. What there is to doubt about how a die is built, while somebody types it: warnings with their source.

Nothing here forbids anything: a shop may have its reasons. Each doubt says what stands there, what is usual, and where
that is from. Lengths in mm, forces in N, stresses in MPa, hardness in HRC. Forces are computed from sharp edges and an
even gap (`cutting`), so they are estimates: the press's own rating, its maker and qualified people come first.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from diestore import units

from . import cutting, materials, tool_steels
from .kinds import KINDS
from .sources import COMMON_PRACTICE, PRESS_TOOL_NOTES

GROUP_TOLERANCE_MM = 0.05  # punches that enter together: more than this proud is doubted (common practice, no source)
USUAL_SHEAR_RATIO = 0.8  # shear over tensile strength where the handbook does not hold the stock: the highest published


@dataclass(frozen=True, kw_only=True)
class Strip:
    """The stock. shear_mpa: None where no certificate says it."""

    material: str
    tensile_mpa: float
    thickness_mm: float
    shear_mpa: float | None = None

    @property
    def shear(self) -> tuple[float, str]:
        """Shear strength in MPa and what it rests on."""
        if self.shear_mpa:
            return self.shear_mpa, "the stock's own shear strength"
        known = materials.material(self.material)
        if known is not None:
            share = known.shear_ratio
            return known.shear_from(self.tensile_mpa), f"{share.middle:g} of the tensile strength, {share.source}"
        return USUAL_SHEAR_RATIO * self.tensile_mpa, f"0.8 of the tensile strength, {PRESS_TOOL_NOTES}"


@dataclass(frozen=True, kw_only=True)
class Place:
    """A place of the die with what sits in it. kind: a key of `kinds.KINDS`."""

    code: str
    kind: str
    side: str
    tool_steel: str = ""
    hardness_hrc: float | None = None
    length_mm: float | None = None
    height_group: str = ""
    seat_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Contour:
    """A cut. upper, lower: the codes of the places that carry its edges, "" where there is none."""

    code: str
    upper: str
    lower: str
    length_mm: float
    gap_mm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """place: whose it is, "" for the whole die. field: what to look at. source: what it rests on."""

    place: str
    field: str
    text: str
    source: str


@dataclass(frozen=True, kw_only=True)
class Build:
    """A die as far as it is typed. rated_force_n: of its press. spring_force_n: of each spring place, None unknown."""

    strip: Strip
    places: Sequence[Place]
    cuts: Sequence[Contour]
    press: str = ""
    rated_force_n: float | None = None
    spring_force_n: Mapping[str, float | None] = field(default_factory=dict)
    system: units.System = units.System.METRIC


def doubts(build: Build) -> list[Doubt]:
    """All there is to doubt, of single places first, of the whole die last."""
    by_code = {place.code: place for place in build.places}
    found: list[Doubt] = []
    for place in build.places:
        found += of_hardness(place.tool_steel, place.hardness_hrc, place=place.code)
    found += of_groups(build.places, build.system)
    for cut in build.cuts:
        found += of_gap(cut.gap_mm, build.strip, place=cut.upper or cut.lower, system=build.system)
        found += of_partner(cut, by_code)
    return found + of_forces(build)


# --- one place --------------------------------------------------------------------------------------------------------


def usual_gap_pct(strip: Strip) -> tuple[float, float, str] | None:
    """Least and most of the published gaps per side in % of the thickness, and their sources; None where none is held.

    The guides print no range of thickness of their own (a share of it holds for all), save where a source says so.
    """
    guides = materials.gap_guidance(strip.material, strip.tensile_mpa)
    if not guides:
        return None
    spans = [guide.pct_per_side for guide in guides]
    sources = dict.fromkeys(f"{guide.pct_per_side.source}, for {guide.holds_for}" for guide in guides)
    return min(s.low for s in spans), max(s.high for s in spans), "; ".join(sources)


def of_gap(
    gap_mm: float | None, strip: Strip, *, place: str = "", system: units.System = units.System.METRIC
) -> list[Doubt]:
    """A gap per side outside all that is published for the stock."""
    if gap_mm is None:
        return []
    pct = cutting.PerSide(gap_mm).percent_of(strip.thickness_mm)
    usual = usual_gap_pct(strip)
    if usual is None:
        return []
    low, high, source = usual
    if low - 1e-9 <= pct <= high + 1e-9:
        return []
    span = f"{low:g} %" if low == high else f"{low:g} to {high:g} %"
    thick = units.show(strip.thickness_mm, "thickness_mm", system)
    from_, to = (units.show(share / 100 * strip.thickness_mm, "gap_mm", system) for share in (low, high))
    text = (
        f"A gap of {pct:.3g} % a side is {'less' if pct < low else 'more'} than is usual for {strip.material}: {span}, "
        f"which at {thick} is {from_ if low == high else f'{from_} to {to}'} a side."
    )
    return [Doubt(place=place, field="gap", text=text, source=source)]


def of_hardness(steel: str, hardness_hrc: float | None, *, place: str = "") -> list[Doubt]:
    """A hardness outside the working range of its grade."""
    grade = tool_steels.grade(steel)
    if grade is None or hardness_hrc is None:
        return []
    if grade.hrc is None:
        if grade.group != "carbide":
            return []
        text = f"{hardness_hrc:g} HRC for {grade.name}: carbide is rated in HRA, not in HRC."
        return [Doubt(place=place, field="hardness", text=text, source=grade.source)]
    low, high = grade.hrc
    if low <= hardness_hrc <= high:
        return []
    side = "softer" if hardness_hrc < low else "harder"
    text = f"{hardness_hrc:g} HRC is {side} than {grade.name} is worked at: {low:g} to {high:g} HRC."
    return [Doubt(place=place, field="hardness", text=text, source=grade.source)]


# --- places together --------------------------------------------------------------------------------------------------


def of_groups(places: Iterable[Place], system: units.System = units.System.METRIC) -> list[Doubt]:
    """Punches that stand proud of the others of their height group: they meet the strip alone.

    Held against the median of the others' heights, length and seat together; lengths are as entered, so a piece that
    has been ground counts as it was when new.
    """
    groups: dict[tuple[str, str], list[Place]] = {}
    for place in places:
        if place.height_group and place.length_mm is not None and place.side == "upper":
            groups.setdefault((place.side, place.height_group), []).append(place)
    found = []
    for (_, group), members in groups.items():
        for place in members:
            others = [height for p in members if p is not place and (height := _height_mm(p)) is not None]
            height = _height_mm(place)
            if not others or height is None:
                continue
            usual = statistics.median_low(others)
            proud = height - usual
            if proud > GROUP_TOLERANCE_MM + 1e-9:
                shown, more = units.show(usual, "length_mm", system), units.show(proud, "clearance_mm", system)
                text = (
                    f"{place.code} is {more} longer than the others of height group {group} ({shown}): "
                    "it meets the strip first and takes the load alone."
                )
                found.append(Doubt(place=place.code, field="length", text=text, source=COMMON_PRACTICE))
    return found


def _height_mm(place: Place) -> float | None:
    """How high it stands when new, from the plate that heights are measured from."""
    return None if place.length_mm is None else place.length_mm + (place.seat_mm or 0.0)


def of_partner(cut: Contour, places: Mapping[str, Place]) -> list[Doubt]:
    """A cut with one side only."""
    if cut.upper and cut.lower:
        return []
    code = cut.upper or cut.lower
    what = KINDS[places[code].kind].name if code in places else "piece"
    lacks = "die opening under it" if cut.upper else "punch above it"
    text = f"{code} ({what}) cuts, and no {lacks} is entered. Add it, so that both edges have a record."
    return [Doubt(place=code, field="partner", text=text, source=COMMON_PRACTICE)]


# --- forces -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Forces:
    """What a hit takes, in N. peak_n: of the height group that takes most, sharp. strip_n: a tenth of all."""

    total_n: float
    peak_n: float
    peak_group: str
    peak_dull_n: float
    strip_n: float
    shear_mpa: float
    shear_source: str


def forces(build: Build) -> Forces | None:
    """Cutting force of a hit by height groups, and what strips the strip off the punches; None where nothing cuts."""
    by_code = {place.code: place for place in build.places}
    shear, source = build.strip.shear
    loads = [
        cutting.CutLoad(
            length_mm=cut.length_mm,
            thickness_mm=build.strip.thickness_mm,
            shear_mpa=shear,
            group=by_code[cut.upper].height_group if cut.upper in by_code else "",
        )
        for cut in build.cuts
    ]
    if not loads:
        return None
    hit = cutting.hit_force(loads)
    return Forces(
        total_n=hit.total_n,
        peak_n=hit.peak_n,
        peak_group=hit.peak_group,
        peak_dull_n=hit.peak_dull_n.high,
        strip_n=cutting.strip_by_tenth(force_n=hit.total_n).force_n.high,
        shear_mpa=shear,
        shear_source=source,
    )


def of_forces(build: Build) -> list[Doubt]:
    """The cutting force against the press, with dull edges, and the stripping force against the springs."""
    force = forces(build)
    if force is None:
        return []
    return [*_against_press(build, force), *_against_springs(build, force)]


def _against_press(build: Build, force: Forces) -> list[Doubt]:
    if not build.rated_force_n:
        return []
    c_frame = cutting.WORKING_SHARE[cutting.Frame.C_FRAME]
    straight = cutting.WORKING_SHARE[cutting.Frame.STRAIGHT_SIDE]
    share = force.peak_dull_n / build.rated_force_n
    if share <= c_frame.low:
        return []
    load, rated = (units.show(n, "force_n", build.system) for n in (force.peak_dull_n, build.rated_force_n))
    if share > 1:
        words = "more than it is rated for"
    elif share > straight.high:
        words = f"more than the {100 * straight.high:.0f} % that is advised for any frame"
    else:
        words = (
            f"more than the {100 * c_frame.low:.0f} to {100 * c_frame.high:.0f} % that is advised for a C-frame "
            f"(straight side: {100 * straight.high:.0f} %)"
        )
    text = (
        f"With dull edges its cuts take about {load} at once, {100 * share:.0f} % of what press {build.press} has "
        f"({rated}): {words}. The rating holds near the bottom of the stroke only."
    )
    return [Doubt(place="", field="press", text=text, source=f"{c_frame.source}; {force.shear_source}")]


def _against_springs(build: Build, force: Forces) -> list[Doubt]:
    springs = [place for place in build.places if place.kind == "stripper_spring"]
    if not springs:
        return []
    known = [build.spring_force_n.get(place.code) for place in springs]
    have = sum(n for n in known if n is not None)
    if any(n is None for n in known) or have >= force.strip_n:
        return []
    needs, has = (units.show(n, "force_n", build.system) for n in (force.strip_n, have))
    text = (
        f"Stripping takes about {needs}, a tenth of the cutting force; its {len(springs)} springs give {has}. "
        "The strip may hang on the punches."
    )
    return [Doubt(place="", field="springs", text=text, source=PRESS_TOOL_NOTES)]
