"""PURE. Inspections that a shop may want to plan: what is looked at, how often, and the rule or habit it rests on.

They are proposals and no programme. US rules are named because their text is public; they bind only where they are in
force and for what they cover. What is in force may have changed since this was written: whoever is responsible for
safety in the plant looks it up. Intervals marked "common practice, no source" are where others start; the shop's own
record, and the maker's instructions, say better.
"""

from __future__ import annotations

from dataclasses import dataclass

from diestore.texts import gettext_noop as _

from .sources import COMMON_PRACTICE

LOCAL = _(
    "Local law, the maker's instructions and the plant's own programme come first: these are reminders, no programme."
)
PRESS, DIE, GRINDER, PLANT = "press", "die", "grinder", "plant"
WEEK, HALF_YEAR, YEAR = 7, 182, 365  # days


@dataclass(frozen=True, kw_only=True)
class Proposal:
    """key: what it is known by. of: a press, a die, a grinder, or the plant. kinds: components that a die must have one
    of. applies: for what the rule is and for what not, in a sentence. rule: what it rests on."""

    key: str
    of: str
    what: str
    rule: str
    every_days: int | None = None
    every_hits: int | None = None
    kinds: tuple[str, ...] = ()
    applies: str = ""


PROPOSALS = (
    Proposal(
        key="press-weekly",
        of=PRESS,
        what=_("clutch and brake, anti-repeat and single stroke tested"),
        every_days=WEEK,
        applies=_(
            "Mechanical power presses only, not hydraulic or pneumatic ones or press brakes; presses with control "
            "reliability and brake monitoring are outside the weekly test."
        ),
        rule="29 CFR 1910.217(e)(1) as changed in 2013 (78 FR 69543): at least once a week",
    ),
    Proposal(
        key="press-regular",
        of=PRESS,
        what=_("whole press looked over: parts, auxiliary equipment, safeguards; what was repaired is written down"),
        every_days=HALF_YEAR,
        applies=_("The federal rule says periodic and regular and names no number; Michigan says six months at most."),
        rule="29 CFR 1910.217(e)(1); Michigan R 408.12412",
    ),
    Proposal(
        key="lockout",
        of=PRESS,
        what=_("lock-off procedure gone through by somebody authorised who does not use it himself"),
        every_days=YEAR,
        rule="29 CFR 1910.147(c)(6): at least once a year",
    ),
    Proposal(
        key="blocks",
        of=PLANT,
        what=_("safety blocks: none split, worn or missing, each marked with what it holds"),
        every_days=HALF_YEAR,
        applies=_("What a wooden block may hold by its section, and its greatest length: WAC 296-806-43006."),
        rule=f"The blocks: 29 CFR 1910.217(d)(9)(iv). The interval: {COMMON_PRACTICE}",
    ),
    Proposal(
        key="wheel",
        of=GRINDER,
        what=_("grinding wheel: work rest within 1/8 in (3 mm) of it, tongue guard within 1/4 in, no crack"),
        every_days=WEEK,
        applies=_("Work rest and tongue guard are of bench and pedestal grinders; the tongue guard is from memory."),
        rule=f"29 CFR 1910.215(a)(4), OSHA STD 01-12-008. The interval: {COMMON_PRACTICE}",
    ),
    Proposal(
        key="guides",
        of=DIE,
        what=_("guide posts and bushings: clearance, scoring, oil"),
        every_hits=500_000,
        every_days=YEAR,
        kinds=("guide_post", "bushing", "roller_cage"),
        rule=COMMON_PRACTICE,
    ),
    Proposal(
        key="springs",
        of=DIE,
        what=_("springs: broken, set, shorter than the others"),
        every_hits=500_000,
        kinds=("stripper_spring",),
        rule=COMMON_PRACTICE,
    ),
    Proposal(
        key="gas-springs",
        of=DIE,
        what=_("gas springs: pressure read, oil at the rod, scoring, lines"),
        every_days=HALF_YEAR,
        kinds=("gas_spring",),
        applies=_("Opened, let out and charged only by people qualified for it, as the maker says."),
        rule=COMMON_PRACTICE,
    ),
    Proposal(
        key="pilots",
        of=DIE,
        what=_("pilots: worn, bent, loose"),
        every_hits=250_000,
        kinds=("pilot",),
        rule=COMMON_PRACTICE,
    ),
    Proposal(
        key="stop-blocks",
        of=DIE,
        what=_("stop blocks: dented, loose, height against the die set"),
        every_hits=1_000_000,
        kinds=("stop_block",),
        rule=COMMON_PRACTICE,
    ),
)
BY_KEY = {proposal.key: proposal for proposal in PROPOSALS}
# [T7-14] is of an accident and not of an interval: said beside the list.
INJURY = _(
    "An injury at the point of operation of a mechanical power press may have to be reported, in the US within 30 days "
    "(29 CFR 1910.217(g), from memory). Tell whoever is responsible at once."
)
