"""PURE. Tool steels by AISI designation, cemented carbide and coatings.

Ratings from 1 to 9 compare grades with one another; they are no lives. Sources, by number:

1. Selected properties of tool steels (AISI grades), table 11-4 of a steel data book: wear, toughness and working
   hardness of the high-speed grades and H13.
2. ASM and Machinery's Handbook tool steel tables, from memory: the same for the cold-work grades.
3. T. Altan (ed.), Metal Forming Handbook, Springer 1998, table 6.7.4: hardness customary in punches and dies, 60 +- 1
   for 1.2363 and 1.2379, 62 +- 1 for 1.3343.
4. Common practice in blanking stainless, no source: S5 at 57 to 60 HRC.
5. J. Manuf. Mater. Process. 6(2) (2022) 38: carbide punches of 85 HRA, powder high-speed steel at 65 HRC.

Wear of D2 against M2: the tables rate D2 at 8 and M2 at 7. At equal hardness the order O1 < A2 < D2 < M2 is common
practice; steel against steel M2 outlasts D2, against grit D2's chromium carbides hold as well. Ratings from two tables
are therefore not set against each other: within one table they give the order, between D2 and M2 they do not. The
wear model takes the order of practice (maintenance/life/prior.py) and none of the ratings.

S7's working range of 47 to 57 HRC holds hot work too. Tempered at 205 to 315 C, as for cutting cold, it has 57 to 54
HRC (data sheets of S7, from 58 to 55 in another): its usual hardness is counted from 55, not from the middle of the
range.

A bare HSS is taken as M2, the usual one (common practice, no source). European (W.-Nr., EN ISO 4957) and Japanese
(JIS) names: 1.2379, 1.2363 and SKD11 are printed in source 3 and in comparisons of D2 with SKD11; all others from
memory. Equivalents are near, not identical: the certificate decides.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

_TABLE_11_4 = "table 11-4, selected properties of tool steels, steel data book"
_MEMORY = "tool steel tables, from memory"
_CUSTOMARY = "T. Altan (ed.), Metal Forming Handbook, Springer 1998, table 6.7.4 (customary in punches and dies)"
_MIDDLE = "middle of the working range"
_COLD_S7 = "data sheets of S7, tempered at 205 to 315 C for cold work"


@dataclass(frozen=True, kw_only=True)
class Grade:
    """A grade of tool steel.

    group: what the wear model calls it: A2, D2, M2, PM, carbide, or the grade's own name. usual_hrc: the hardness that
    "harder than usual" is counted from; None where no figure is known. hrc: working range. wear, toughness: 1 to 9.
    known: False for a name that the handbook does not hold.
    """

    name: str
    group: str
    usual_hrc: float | None = None
    hrc: tuple[float, float] | None = None
    wear: int | None = None
    toughness: int | None = None
    usual_source: str = ""
    source: str = ""
    also: tuple[str, ...] = ()
    known: bool = True


def _grade(
    name: str,
    hrc: tuple[float, float],
    wear: int | None,
    toughness: int | None,
    source: str,
    *also: str,
    usual: float | None = None,
    usual_source: str = _CUSTOMARY,
    group: str = "",
) -> Grade:
    return Grade(
        name=name,
        group=group or name,
        usual_hrc=sum(hrc) / 2 if usual is None else usual,
        usual_source=_MIDDLE if usual is None else usual_source,
        hrc=hrc,
        wear=wear,
        toughness=toughness,
        source=source,
        also=also,
    )


_ALL = (
    _grade("W1", (58, 65), 3, 7, _MEMORY, "1.1545", "C105U", "SK105"),  # wear rated 2 to 4
    _grade("O1", (57, 62), 4, 3, _MEMORY, "1.2510", "100MnCrW4", "SKS3"),
    _grade("A2", (57, 62), 6, 4, _MEMORY, "1.2363", "X100CrMoV5", "X100CrMoV5-1", "SKD12", usual=60),
    _grade("D2", (58, 64), 8, 2, _MEMORY, "1.2379", "X153CrMoV12", "X155CrVMo12-1", "SKD11", usual=60),
    _grade("S7", (47, 57), 3, 8, _MEMORY, "1.2355", usual=55, usual_source=_COLD_S7),
    _grade("S5", (57, 60), None, None, "common practice in blanking stainless, no source"),
    _grade("H13", (40, 53), 3, 9, _TABLE_11_4, "1.2344", "X40CrMoV5-1", "SKD61"),
    _grade("T1", (63, 65), 7, 3, _TABLE_11_4, "1.3355", "HS18-0-1", "SKH2"),
    _grade("M2", (63, 65), 7, 3, _TABLE_11_4, "1.3343", "HS6-5-2", "HS6-5-2C", "S6-5-2", "SKH51", "HSS", usual=62),
    _grade("M50", (61, 63), 6, 3, _TABLE_11_4),
    _grade("M42", (66, 70), 8, 1, _TABLE_11_4, "1.3247", "HS2-9-1-8", "SKH59"),
    # M4 and T15 are rated alike whether cast or made from powder, and are mostly made from powder today (from memory):
    # the wear model counts them with the powder steels.
    _grade("M4", (63, 66), 9, 3, _TABLE_11_4, "1.3351", "HS6-5-4", "SKH54", group="PM"),
    _grade("T15", (64, 68), 9, 1, _TABLE_11_4, "1.3202", "HS12-1-4-5", "SKH10", group="PM"),
    _grade("PM", (60, 66), None, None, "powder high-speed steel, from memory", "HSS-PM", "powder metal"),
    Grade(
        name="carbide",
        group="carbide",
        usual_source="",
        source="J. Manuf. Mater. Process. 6(2) (2022) 38: 85 HRA; carbide is not rated in HRC",
        also=("WC", "HM", "tungsten carbide", "cemented carbide", "hard metal", "hardmetal", "WC-Co"),
    ),
)

GRADES: dict[str, Grade] = {grade.name: grade for grade in _ALL}


def _plain(text: str) -> str:
    return re.sub(r"[\s_\-]+", "", text).casefold().removeprefix("aisi").removeprefix("w.nr.")


_BY_NAME = {_plain(name): grade for grade in _ALL for name in (grade.name, *grade.also)}


def grade(text: str | None) -> Grade | None:
    """The grade of a written name; None where nothing is written. Never raises.

    Tolerant of case, spaces and hyphens and of other countries' names. Any steel written as powder steel (PM-M4, PM 23)
    is in the group PM. An unknown name is a group of its own, with no usual hardness and `known` False.
    """
    if not isinstance(text, str) or not text.strip():
        return None
    written = text.strip()
    plain = _plain(written)
    if plain in _BY_NAME:
        return _BY_NAME[plain]
    powder = re.fullmatch(r"(?:[a-z]?pm)(?P<rest>.*)|(?P<before>.+?)(?:pm|powder)", plain)
    if powder:
        inner = _BY_NAME.get((powder["rest"] or powder["before"] or "").strip())
        if inner is not None:
            return replace(inner, name=f"PM-{inner.name}", group="PM", also=())
        return replace(GRADES["PM"], name=written, also=())
    if "carbide" in plain or "hardmetal" in plain:
        return replace(GRADES["carbide"], name=written, also=())
    return Grade(name=written, group=written, source="not in the handbook", known=False)


@dataclass(frozen=True, kw_only=True)
class Coating:
    """A coating as the wear model names it. No multiple of life is given: none was found but makers' own claims.

    That hard PVD coatings reduce wear in blanking, also on softer steels: Podgornik et al., Wear 270 (2011) 850-856.
    That a coated tool still outlasts a bare one after its face is ground: "Sharpening for a longer life", The
    Fabricator.
    """

    name: str
    meaning: str
    also: tuple[str, ...] = ()


_COATINGS = (
    Coating(name="none", meaning="Bare tool steel.", also=("no", "uncoated", "bare", "-", "–", "")),
    Coating(name="TiN", meaning="Titanium nitride, gold in colour.", also=("titanium nitride",)),
    Coating(
        name="TiCN",
        meaning="Titanium carbonitride, harder than TiN, blue-grey.",
        also=("titanium carbonitride", "titanium carbo-nitride"),
    ),
    Coating(
        name="AlCrN",
        meaning="Aluminium chromium nitride, grey, stands heat well.",
        also=("AlCr", "CrAlN", "aluminium chromium nitride", "aluminum chromium nitride"),
    ),
)  # colours and properties: common practice, no source

COATINGS: dict[str, Coating] = {coating.name: coating for coating in _COATINGS}
_BY_COATING = {_plain(name): made.name for made in _COATINGS for name in (made.name, *made.also)}


def coating(text: str | None) -> str:
    """The coating's name as the wear model has it; nothing written means none; an unknown one as written."""
    if not isinstance(text, str):
        return "none"
    plain = re.sub(r"(coated|coating)$", "", _plain(text))
    if plain == "un":
        return "none"
    return _BY_COATING.get(plain, text.strip())
