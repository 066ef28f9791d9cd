"""PURE. Stock materials: family, tensile and shear strength, clearance guidance per side. Each figure with its source.

Strengths are ranges of a designation, to start from; what counts in a record is the coil's own certificate. Clearance
is guidance to start from too: makers' tables differ by a factor of two, and a die's own burr and life decide.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from .sources import (
    AHSS,
    ASM_PROPERTIES,
    ASM_TITANIUM,
    DP_TEST,
    FROM_MEMORY,
    GROOVER,
    KALPAKJIAN,
    PRESS_TOOL_NOTES,
    SCHULER,
    SHEAR_TABLE,
    Span,
    about,
)

FAMILIES = ("carbon steel", "stainless", "high-strength steel", "aluminium", "copper alloy", "other")

# --- which family a name belongs to -----------------------------------------------------------------------------------

_STAINLESS = r"""
    stainless | \binox | rostfrei | edelstahl | \bduplex\ | \bsus\s?-?\d{3} | \b1\.4\d{3}\b | \bx\d+cr
  | \b17-?[47]\s?ph\b
"""
_STAINLESS_NUMBER = r"""
    \b(?:aisi\s*)?(30[1-5]l?n?|31[067]l?|32[19]|347|40[39]|41[06]|420|43[0469]|44[0145])\b(?!\s*(mpa|n/mm|hv|hb))
"""
_HIGH_STRENGTH = r"""
    \bdp\s?-?\d{3} | -dp\b | \bdual.?phase | \btrip\b | \btrip\s?\d | \btwip | \bcp\s?-?\d{3} | complex.?phase
  | \bmartensit | \bms\s?-?\d{3,4} | ^(?!.*(alumin|copper|brass|bronze|titan)).*high.?(strength|tensile)
  | \bu?ahss\b | \buhss\b | \bhss\b | \bhsla\b | \bh[cdx]t?\d{3} | \bh\d{3}la | micro.?alloy
  | \bs(355mc|[4-9]\d\d(mc|m|n|ml|nl|q|ql)?)\b | \bcr\d{3}(la|y) | \bspfc\s?\d{3} | \b1\.09\d\d\b | \b1\.89\d\d\b
  | 22mnb5 | boron\ steel | press.?harden | bainit
  | ^(?!.*\b(annealed|soft)\b).*(spring\ (steel|strip|temper|band) | \bc(60|67|75|80|85|90|100|125)s\b
      | \b1\.12(31|48|69|74)\b | \b51crv4 | \b65mn\b) | \bhardened\ and\ tempered
"""
_ELECTRICAL = r"electrical | silicon.?(iron|steel) | lamination | transformer | \bm\d{3}-\d{2}[apkn]\b"
_OTHER_METALS = (
    r"titan | \bti-?6 | nickel | invar | zinc | molybd | tungsten | magnesium | \b3\.7\d{3}\b | \b2\.4\d{3}\b"
)
_STEEL = r"steel | \bd[cdx]\d{2} | \bstahl | \bacier | \bacciaio | \btinplate | \btin\ plate | \biron\b | \bblech"
_COPPER = r"""
    copper | brass | bronze | messing | \bkupfer | beryll | nickel.?silver | \bcu(?![a-z]{3}) | \bcu[a-z]{2}\d
  | \bcw\d{3}[a-z] | \bc[1-9]\d{3,4}\b | \bc\d{3}\b | \bofhc\b | \b2\.[01]\d{3}\b
"""
_ALUMINIUM = r"""
    alumin | \balu\b | \bal(?![a-z]) | \bal(mg|mn|cu|si|zn) | \b(en\s?)?aw-?\s?\d{4} | \baa\s?\d{4}
  | \b(1[12]00|1145|1235|1350|20(14|17|24)|300[345]|31[05]\d|5005|50(49|52|54|83|86)|51(54|82)|5251|5[45]54|5754
      |60(05|16|60|61|63|82)|6[12]81|6111|70(20|22|75)|8011|8079)\b
  | \b[1-8]\d{3}-?\s?(o|h\d{2,3}|t\d{1,4})\b | \b3\.[0-5]\d{3}\b
"""
_CARBON = r"""
    carbon | \bmild\b | \bcr[1-5]\b | \bcrs\b | \bcrca\b | \bhrs\b | cold.?rolled | hot.?rolled | galvan
  | \bsp[ch][cde]\b | \bs[eg]cc\b | \bst\s?\d{2} | \bs(185|235|275|355) | \bq(195|215|235|275)\b | \bfepo\d
  | \bc\d{2,3}[erks]?\b | \b1\.[01]\d{3}\b | \b(aisi|sae)\s*1\d{3}\b
  | \b10(0[5-9]|1\d|2\d|3\d|4\d|5[235]|6[458]|7[458]|8[46]|9[05])\b | \b0?8al\b | \b08f\b | \ba366\b | \ba1008\b
"""

# The order decides: "stainless spring strip" is stainless, "aluminised steel" and "copper-plated steel" are steel,
# "aluminium bronze" is a copper alloy, "nickel silver" too.
_ORDER = tuple(
    (family, re.compile(pattern, re.VERBOSE))
    for family, pattern in (
        ("stainless", _STAINLESS),
        ("high-strength steel", _HIGH_STRENGTH),
        ("stainless", _STAINLESS_NUMBER),
        ("other", _ELECTRICAL),
        ("carbon steel", _STEEL),
        ("copper alloy", _COPPER),
        ("other", _OTHER_METALS),
        ("aluminium", _ALUMINIUM),
        ("carbon steel", _CARBON),
    )
)


def family_of(name: str) -> str:
    """The stock family that a free name belongs to, 'other' where none is recognised. Never raises.

    The family says which gap suits (the best gap differs by stock), so hardened spring strip counts as high-strength
    steel, which it cuts like, and electrical steel as other. A bare 1050, 1060, 1070 or 1080 is both an aluminium and a
    steel: other.
    """
    if not isinstance(name, str):
        return "other"
    text = " ".join(name[:200].casefold().replace("_", " ").split())
    return next((family for family, pattern in _ORDER if pattern.search(text)), "other")


# --- figures ----------------------------------------------------------------------------------------------------------

# Shear strength over tensile strength, as published; the choice is worth up to 60 % of a force, so a form says which.
SHEAR_RATIOS: dict[float, str] = {
    0.5: "sheet-metal cost sheet of a university course (0.5 x tensile)",
    0.6: "rule of thumb in press-tool notes",
    0.7: f"{KALPAKJIAN}; university notes on sheet metal",
    0.8: f"{PRESS_TOOL_NOTES}; {SCHULER}, shear cutting; {SHEAR_TABLE} (0.78 to 0.83 for carbon steels)",
}

_EN_STRIP = "EN 10139, skin-passed, as printed in strip makers' tables"
_EN_HARD_STRIP = (
    "EN 10139, C390 (by its 117 to 172 HV nearest to ASTM A109's temper No. 2, half-hard, 70 to 85 HRB) to C490 "
    "(half-hard by the older DIN 1624, from memory)"
)
_EN_MICRO = "EN 10149-2, as printed in suppliers' tables"
_EN_SPRING = "EN 10132-4, as printed in steelmakers' data sheets"
_EN_DP = "EN 10338 and its designation (at least 780 MPa); upper end from memory"
_EN_BRASS = "EN 1652, R300 and R350, as printed in a brass maker's data sheet"
_EN_ALU = "EN 485-2, H22/H32, as printed in a supplier's table"


@dataclass(frozen=True, kw_only=True)
class Material:
    """A stock material.

    tensile_mpa, shear_mpa: ranges; shear_mpa None where only the ratio is given. shear_ratio: shear over tensile
    strength. gap_pct: clearance PER SIDE in % of thickness, where guidance was found; several sources stand side by
    side.
    """

    name: str
    family: str
    tensile_mpa: Span
    shear_ratio: Span
    gap_pct: tuple[Span, ...]
    shear_mpa: Span | None = None
    also: tuple[str, ...] = ()

    def shear_from(self, tensile_mpa: float) -> float:
        """Shear strength in MPa of a coil of that tensile strength, by the ratio's middle."""
        return tensile_mpa * self.shear_ratio.middle


def _gap(low: float, high: float, source: str) -> Span:
    return Span(low=low, high=high, source=source)


_EIGHT_TENTHS = Span(low=0.78, high=0.83, source=SHEAR_TABLE)
_SEVEN_TENTHS = about(0.7, KALPAKJIAN)
_GROOVER_SOFT = _gap(4.5, 4.5, GROOVER)
_GROOVER_MIDDLE = _gap(6.0, 6.0, GROOVER)
_GROOVER_HARD = _gap(7.5, 7.5, GROOVER)

_ALL = (
    Material(
        name="low-carbon steel",
        family="carbon steel",
        tensile_mpa=Span(low=270, high=410, source=_EN_STRIP),
        # no shear strength of its own: those of 08 annealed, 260 to 340, belong to its 300 to 440 of tensile strength
        shear_ratio=_EIGHT_TENTHS,
        gap_pct=(_gap(5, 10, PRESS_TOOL_NOTES), _gap(6, 6, AHSS), _GROOVER_MIDDLE),
        also=(
            "mild steel",
            "DC01",
            "DC03",
            "DC04",
            "1008",
            "1010",
            "cold-rolled steel",
            "galvanised steel",
            "tinplate",
        ),
    ),
    Material(
        name="half-hard low-carbon steel",
        family="carbon steel",
        tensile_mpa=Span(low=390, high=640, source=_EN_HARD_STRIP),
        shear_ratio=_EIGHT_TENTHS,
        gap_pct=(_GROOVER_HARD,),
        also=("half-hard cold-rolled steel", "cold-rolled steel, half hard", "DC01 C390", "DC01 C440", "DC01 C490"),
    ),
    Material(
        name="medium-carbon steel",
        family="carbon steel",
        tensile_mpa=Span(low=550, high=700, source=f"45 annealed, {SHEAR_TABLE}"),
        shear_ratio=_EIGHT_TENTHS,
        shear_mpa=Span(low=440, high=560, source=f"45 annealed, {SHEAR_TABLE}"),
        gap_pct=(_gap(6, 6, PRESS_TOOL_NOTES),),
        also=("C45", "1045", "1.0503"),
    ),
    Material(
        name="high-carbon steel, annealed",
        family="carbon steel",
        tensile_mpa=Span(low=550, high=640, source=f"upper end: {_EN_SPRING}; lower end {FROM_MEMORY}"),
        shear_ratio=_EIGHT_TENTHS,
        gap_pct=(_gap(10, 10, PRESS_TOOL_NOTES),),
        also=("high-carbon steel", "C75S annealed", "1075 annealed"),
    ),
    Material(
        name="spring steel, hardened",
        family="high-strength steel",
        tensile_mpa=Span(low=1200, high=1900, source=_EN_SPRING),
        shear_ratio=_SEVEN_TENTHS,
        gap_pct=(_gap(10, 16, AHSS + " (for 1 GPa and above)"),),
        also=("spring steel", "spring steel strip", "C75S", "C67S"),
    ),
    Material(
        name="micro-alloyed steel S420MC",
        family="high-strength steel",
        tensile_mpa=Span(low=480, high=620, source=_EN_MICRO),
        shear_ratio=_EIGHT_TENTHS,
        gap_pct=(_gap(6, 10, AHSS + " (between mild steel and DP500/800)"),),
        also=("S420MC", "S420", "micro-alloyed steel S420", "HSLA", "micro-alloyed steel"),
    ),
    Material(
        name="dual-phase steel DP600",
        family="high-strength steel",
        tensile_mpa=Span(low=600, high=700, source=f"designation DP350/600 (at least 600); upper end {FROM_MEMORY}"),
        shear_ratio=_SEVEN_TENTHS,
        gap_pct=(_gap(6, 6, AHSS + " (DP350/600)"),),
        also=("DP600", "HCT600X", "HCT590X"),
    ),
    Material(
        name="dual-phase steel DP780",
        family="high-strength steel",
        tensile_mpa=Span(low=780, high=900, source=_EN_DP),
        shear_ratio=_SEVEN_TENTHS,
        gap_pct=(_gap(12, 15, DP_TEST), _gap(10, 10, AHSS + " (DP500/800)")),
        also=("DP780", "DP800", "HCT780X"),
    ),
    Material(
        name="dual-phase steel DP980",
        family="high-strength steel",
        tensile_mpa=Span(low=980, high=1130, source=f"designation (at least 980); upper end {FROM_MEMORY}"),
        shear_ratio=_SEVEN_TENTHS,
        gap_pct=(_gap(12, 15, DP_TEST),),
        also=("DP980", "DP1000", "HCT980X"),
    ),
    Material(
        name="martensitic steel MS1150/1400",
        family="high-strength steel",
        tensile_mpa=Span(low=1400, high=1600, source=f"designation (at least 1400); upper end {FROM_MEMORY}"),
        shear_ratio=_SEVEN_TENTHS,
        gap_pct=(_gap(14, 14, AHSS),),
        also=("MS1150/1400", "MS1400"),
    ),
    Material(
        name="stainless 304, soft",
        family="stainless",
        tensile_mpa=Span(low=500, high=750, source="EN 10088-2 and -3, 1.4301 annealed, from memory"),
        shear_ratio=_SEVEN_TENTHS,
        gap_pct=(_GROOVER_MIDDLE,),
        also=("stainless 304", "304", "1.4301", "stainless", "stainless steel", "316", "1.4404"),
    ),
    Material(
        name="stainless 301, spring hard",
        family="stainless",
        tensile_mpa=Span(low=1300, high=1500, source="EN 10151, +C1300, as printed in suppliers' data sheets"),
        shear_ratio=_SEVEN_TENTHS,
        gap_pct=(_GROOVER_HARD,),
        also=("stainless 301 spring temper", "stainless 301 spring hard", "1.4310 spring hard", "1.4310 +C1300"),
    ),
    Material(
        name="aluminium 1100, soft",
        family="aluminium",
        tensile_mpa=Span(low=75, high=105, source=FROM_MEMORY),
        shear_ratio=about(0.7, f"62 over 90 MPa, {ASM_PROPERTIES}"),
        shear_mpa=about(62, ASM_PROPERTIES),
        gap_pct=(_GROOVER_SOFT,),
        also=("aluminium 1100", "aluminium 1050", "aluminium", "aluminum", "1100-O", "EN AW-1050A"),
    ),
    Material(
        name="aluminium 5052-H32",
        family="aluminium",
        tensile_mpa=Span(low=210, high=260, source=_EN_ALU),
        shear_ratio=about(0.61, f"140 over 230 MPa, {ASM_PROPERTIES}"),
        shear_mpa=Span(low=138, high=140, source=ASM_PROPERTIES),
        gap_pct=(_GROOVER_SOFT,),
        also=("aluminium 5052", "5052", "EN AW-5052"),
    ),
    Material(
        name="aluminium 6061-T6",
        family="aluminium",
        tensile_mpa=Span(low=290, high=320, source=FROM_MEMORY),
        shear_ratio=about(0.67, f"207 over 310 MPa, {ASM_PROPERTIES}"),
        shear_mpa=about(207, ASM_PROPERTIES),
        gap_pct=(_GROOVER_MIDDLE,),
        also=("aluminium 6061", "6061", "EN AW-6061"),
    ),
    Material(
        name="brass CuZn37",
        family="copper alloy",
        tensile_mpa=Span(low=300, high=440, source=_EN_BRASS),
        shear_ratio=_SEVEN_TENTHS,
        shear_mpa=Span(low=234, high=276, source=f"cartridge brass, soft to half hard, {ASM_PROPERTIES}"),
        gap_pct=(_GROOVER_MIDDLE,),
        also=("brass", "CuZn37", "CuZn30", "C26000", "C27200", "cartridge brass"),
    ),
    Material(
        name="bronze CuSn6",
        family="copper alloy",
        tensile_mpa=Span(low=390, high=570, source="quarter to half hard, as printed in a strip maker's table"),
        shear_ratio=about(0.8, FROM_MEMORY),
        gap_pct=(_gap(6, 8, FROM_MEMORY),),
        also=("CuSn6", "phosphor bronze", "bronze", "C51900"),
    ),
    Material(
        name="copper",
        family="copper alloy",
        tensile_mpa=Span(low=220, high=300, source=f"soft to half hard, {FROM_MEMORY}"),
        shear_ratio=_SEVEN_TENTHS,
        shear_mpa=Span(low=152, high=179, source=f"soft to half hard, {ASM_PROPERTIES}"),
        gap_pct=(_gap(4, 6, FROM_MEMORY),),
        also=("Cu-ETP", "C11000", "CW004A"),
    ),
    Material(
        name="electrical steel",
        family="other",
        tensile_mpa=Span(low=350, high=550, source=FROM_MEMORY),
        shear_ratio=about(0.8, FROM_MEMORY),
        gap_pct=(_gap(4, 7, FROM_MEMORY),),
        also=("silicon steel", "lamination steel"),
    ),
    Material(
        name="titanium Ti-6Al-4V",
        family="other",
        tensile_mpa=Span(low=950, high=965, source=f"{ASM_TITANIUM}; 140,000 psi, {KALPAKJIAN}"),
        # the worked example of the same book takes 0.7, the rule for all stock (`SHEAR_RATIOS`): a fifth too much here
        shear_ratio=about(0.58, ASM_TITANIUM),
        gap_pct=(),
        also=("Ti-6Al-4V",),
    ),
)

MATERIALS: dict[str, Material] = {material.name: material for material in _ALL}


def _plain(text: str) -> str:
    return re.sub(r"[\s_\-,./]+", "", text.casefold().replace("aluminum", "aluminium"))


_BY_NAME = {_plain(name): material for material in _ALL for name in (material.name, *material.also)}

# Words beside a designation that say another temper, and designations whose strength goes from 600 to 1900 MPa with it.
_TEMPER = re.compile(
    r"\bhard\w* | \bspring\b | \btemper\w* | \bc\d{3,4}\b | \bh\d{2,3}\b | \bt\d\b | \br\d{3}\b", re.VERBOSE
)
_NEEDS_TEMPER = re.compile(r"\b301l?n?\b | \b1\.4310\b | \bx10crni18-?8\b", re.VERBOSE)


def material(name: str) -> Material | None:
    """The handbook's material of that name or designation; None where the handbook does not hold it. Never raises.

    A longer name that begins or ends with a known designation ("dual-phase steel DP780", "cold-rolled strip DC04")
    finds it too, unless what is left of it says a temper: "stainless 304 half hard" is not stainless 304, soft. 301 and
    1.4310 without a temper are nothing that could be named.
    """
    if not isinstance(name, str) or not name.strip():
        return None
    if known := _BY_NAME.get(_plain(name)):
        return known
    words = name.casefold().replace(",", " ").split()
    for count in (4, 3, 2, 1):
        for start in (len(words) - count, 0):
            if start >= 0 and (known := _BY_NAME.get(_plain(" ".join(words[start : start + count])))):
                left = " ".join(words[:start] + words[start + count :])
                is_of_the_temper = all(temper in known.name for temper in _TEMPER.findall(left))
                fits = known.family == family_of(name) and is_of_the_temper and not _NEEDS_TEMPER.search(left)
                return known if fits else None
    return None


@dataclass(frozen=True, kw_only=True)
class GapGuidance:
    """Clearance per side to start from, in % of thickness, and what it holds for."""

    pct_per_side: Span
    holds_for: str


def gap_guidance(name: str, tensile_mpa: float | None = None) -> tuple[GapGuidance, ...]:
    """Clearance guidance for a stock, per side; of the family where the handbook does not hold the stock itself.

    With a tensile strength of 1 GPa or more, the guideline for such strengths stands beside it. Empty where nothing was
    found: then nothing is guessed.
    """
    known = material(name)
    family = family_of(name)
    if known is not None:
        given = [GapGuidance(pct_per_side=span, holds_for=known.name) for span in known.gap_pct]
    else:
        given = [
            GapGuidance(pct_per_side=span, holds_for=m.name)
            for m in _ALL
            if m.family == family and family != "other"
            for span in m.gap_pct
            if tensile_mpa is None or m.tensile_mpa.low * 0.8 <= tensile_mpa <= m.tensile_mpa.high * 1.2
        ]
    if tensile_mpa is not None and tensile_mpa >= 1000 and family not in ("aluminium", "copper alloy"):
        strong = GapGuidance(pct_per_side=_gap(10, 16, AHSS), holds_for="sheet of 1 GPa and above")
        if all(strong.pct_per_side.low != g.pct_per_side.low or AHSS not in g.pct_per_side.source for g in given):
            given.append(strong)
    return tuple(given)
