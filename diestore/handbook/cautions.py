"""PURE. Cautions for work that can hurt somebody, each with the rule it rests on.

The words are the project's own; rules are named, not quoted. They are reminders beside a form, no safety programme.
US rules are named because their text is public; elsewhere the local ones hold. What is in force may have changed since
this was written: whoever is responsible for safety in the shop looks it up. Rules marked "from memory" were not read.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from diestore.texts import gettext
from diestore.texts import gettext_noop as _

FIRST = _("Local codes, the maker's instructions and qualified people come first.")


class CautionError(ValueError):
    """A figure that no rule can be worked out from."""


@dataclass(frozen=True, kw_only=True)
class Caution:
    """key: what a form asks by. short: one line beside a button. text: the whole of it. rule: what it rests on."""

    key: str
    title: str
    short: str
    text: str
    rule: str

    @property
    def reminder(self) -> str:
        """The short line in the reader's language."""
        return gettext(self.short)


_ALL = (
    Caution(
        key="press",
        title=_("At the press"),
        short=_("Never reach into the die until the press is stopped and locked off."),
        text=_(
            "Nobody reaches between the halves of a die while the press can move. Guards or other "
            "protection of the place where the die closes stay in use. A guide post that leaves its "
            "bushing by more than a quarter of an inch (6 mm) near the operator is a place to be caught "
            "in as well. Tell the person responsible of an injury at once: such injuries may have to be "
            "reported."
        ),
        rule=(
            "29 CFR 1910.217 (mechanical power presses only; hydraulic and other presses have other rules): (c) and "
            "(d)(4). Report within 30 days: 1910.217(g), from memory."
        ),
    ),
    Caution(
        key="blocks",
        title=_("Safety blocks"),
        short=_("Put the safety blocks in before you adjust or repair a die in the press."),
        text=_(
            "When a die is adjusted or repaired in the press, safety blocks stand between the halves, "
            "strong enough for the slide and the upper half, and linked so that the press cannot run with "
            "them in. Blocks hold what is still; they do not stop a stroke. Switch off and lock as well."
        ),
        rule=(
            "29 CFR 1910.217(d)(9)(iv); also 8 CCR 4199(a)(3) and WAC 296-806-45532. "
            "That blocks hold only what is still: common practice, no source."
        ),
    ),
    Caution(
        key="lockout",
        title=_("Lock it, and let the energy out"),
        short=_("Lock the press off, and let out what is stored: slide, springs, gas cylinders, air."),
        text=_(
            "Before work in the press: switch off, lock with your own lock, and take out, block or let "
            "out all that is "
            "stored: the raised slide, springs, nitrogen cylinders, air and oil under pressure, the "
            "flywheel. Then prove it is dead, and prove it again if pressure can build up. Each lock-off "
            "procedure is looked over at least once a year by an authorised person who does not use it."
        ),
        rule="29 CFR 1910.147(c)(6) and (d)(5).",
    ),
    Caution(
        key="lifting",
        title=_("Lifting a die"),
        short=_("Know the weight; use the die's own lifting points; nobody stands under or beside it."),
        text=_(
            "A die's weight belongs on the die or in its record wherever crane, truck or slings could be "
            "overloaded; the upper half's weight where the press is counterbalanced. Lift by the points "
            "made for it, with gear rated for it, the halves pinned or strapped together. Keep hands and "
            "feet out from under."
        ),
        rule="29 CFR 1910.217(d)(6) for marking; lifting itself: common practice, no source.",
    ),
    Caution(
        key="springs",
        title=_("Springs and gas cylinders"),
        short=_("A stripper under spring load jumps: hold it before you loosen the last screws."),
        text=_(
            "A stripper plate is pushed by its springs even in an open die. Clamp it, or let it out "
            "evenly with long screws, before the holding screws come out, and stand to the side. Gas "
            "cylinders are discharged as their maker says, never cut or heated. A broken spring can leave "
            "pieces under load."
        ),
        rule="29 CFR 1910.147(d)(5) for stored energy in springs; how it is let out: common practice, no source.",
    ),
    Caution(
        key="gas springs",
        title=_("Gas springs"),
        short=_("Under pressure: opened, let out and charged only by qualified people, as its maker says."),
        text=_(
            "A gas spring is never cut, welded on or heated. Gas springs are let out before a die is taken apart where "
            "the maker says so, and charged with nitrogen only, never above the pressure marked on them. Nobody stands "
            "in line with the rod. One that was hit, leaks or was overloaded is not charged again; its maker says what "
            "becomes of it. Read the pressure at room temperature: thirty degrees warmer it reads a tenth higher."
        ),
        rule="29 CFR 1910.147(d)(5) for stored energy, nitrogen cylinders named; the rest: common practice, no source.",
    ),
    Caution(
        key="grinding",
        title=_("Grinding"),
        short=_("Goggles, guards, coolant on; ring-test the wheel before mounting; stand aside while it runs up."),
        text=_(
            "The wheel suits the machine's speed and the steel. Look it over before you mount it. "
            "Ring-test a vitrified wheel: tapped lightly with something not of metal, a sound one gives a "
            "clear tone and a cracked one a dead one. Resin-bonded diamond and CBN wheels do not ring: "
            "look for cracks and chips, and go by the maker. With the guard on, let the wheel run up to "
            "speed for a minute before it touches the work, and stand aside, out of its plane, while it "
            "does. On bench grinders the rest stands within 1/8 in (3 mm) of the wheel and the tongue "
            "guard within 1/4 in (6 mm). Grind punches cool: a burnt edge is soft or cracked. Demagnetise "
            "what was held by a magnet, and take the feather edge off."
        ),
        rule=(
            "29 CFR 1910.215(a)(4) for the rest (OSHA STD 01-12-008); (d)(1) ring test, and that organic "
            "bonds do not ring as vitrified ones do; (b)(9) tongue guard, from memory. A minute's run "
            "with nobody in line: ANSI B7.1, from memory. Grinding cool: common practice, no source."
        ),
    ),
    Caution(
        key="carbide",
        title=_("Grinding carbide"),
        short=_("Carbide dust holds cobalt: extract it at the wheel, grind wet, and do not blow it about."),
        text=_(
            "Dust and mist of cemented carbide hold cobalt, which can harm lungs and skin; coolant takes "
            "cobalt up and "
            "carries it on. Extract the dust at the wheel, keep coolant fresh, wear the mask and "
            "gloves the shop has laid down, wash before eating, take no dusty clothes home, never use "
            "compressed air to clean up. Air limits for cobalt over a shift: 0.1 mg/m3 (OSHA), 0.05 "
            "(NIOSH), 0.02 (ACGIH), 0.005 for hard metal (ACGIH)."
        ),
        rule="OSHA chemical sampling page for cobalt; OSHA letter of 11 February 1987 (mixtures above 2 % cobalt).",
    ),
    Caution(
        key="lead",
        title=_("Checking shut height with lead or solder"),
        short=_("Use lead-free solder where you can; wash your hands; measure with the press locked off."),
        text=_(
            "Crushed lead or soft solder between the corners shows whether the press closes evenly. Use "
            "lead-free wire wherever it serves. With lead: no eating or smoking near by, wash hands, "
            "collect the pieces. Lead in air stays below 50 ug/m3 over eight hours, with action from 30; "
            "on longer shifts below 400 over the hours. Lay and fetch the pieces with the press stopped "
            "and locked."
        ),
        rule="29 CFR 1910.1025 (limits); 1926.62(c)(2) for longer shifts.",
    ),
    Caution(
        key="marking",
        title=_("What the setter must find on the die"),
        short=_("Stamp on the die, or keep at hand: force and stroke it needs, and its weight."),
        text=_(
            "The force and stroke a die needs are stamped on it or readily at hand for the setter, the "
            "weight where lifting gear could be overloaded. A computed cutting force is an estimate from "
            "sharp edges: allow for dull ones, and for what the stock can be at most."
        ),
        rule="29 CFR 1910.217(d)(6).",
    ),
    Caution(
        key="inspection",
        title=_("Looking after the press"),
        short=_(
            "Clutch, brake, anti-repeat and single stroke: tested at least once a week where the rule asks for it."
        ),
        text=_(
            "Clutch and brake, anti-repeat and single stroke are tested at least weekly, with presses "
            "that have control reliability and brake monitoring outside that rule. Regular inspections, "
            "and the maintenance and repairs done in them, are certified in writing with date, signature "
            "and press number."
        ),
        rule="29 CFR 1910.217 as changed on 20 November 2013 (78 FR 69543).",
    ),
    Caution(
        key="burr",
        title=_("Sharp parts and slugs"),
        short=_("Burrs cut: gloves for handling parts, never at running machinery."),
        text=_(
            "A burr is felt from about 0.003 in (0.08 mm) and can cut above about 0.005 in (0.13 mm). "
            "Slugs and strip ends are as sharp. Measure burr on a part that lies still, away from the "
            "press."
        ),
        rule="Figures: P. Ulintz, Defining acceptable burr height, MetalForming, August 2013; the rest common "
        "practice.",
    ),
)

CAUTIONS: dict[str, Caution] = {caution.key: caution for caution in _ALL}

# Which cautions stand beside which work.
FOR_WORK: dict[str, tuple[str, ...]] = {
    "run": ("press",),
    "reading": ("press", "burr"),
    "reading gas springs": ("press", "burr", "gas springs"),
    "sharpening": ("lockout", "lifting", "springs", "grinding"),
    "sharpening carbide": ("lockout", "lifting", "springs", "grinding", "carbide"),
    "replacement": ("lockout", "blocks", "springs", "lifting"),
    "mishap": ("press", "lockout", "blocks", "springs"),
    "dressing in the press": ("lockout", "blocks"),
    "stop": ("press", "lockout", "blocks"),
    "set-up sheet": ("lockout", "blocks", "lifting", "springs", "marking", "press"),
    "set-up": ("lockout", "blocks", "lifting", "marking", "lead"),
}


def first() -> str:
    """What comes before all of them, in the reader's language."""
    return gettext(FIRST)


def for_work(work: str) -> tuple[Caution, ...]:
    """The cautions for a sort of work, in order of use. Raises KeyError for a sort that is not known."""
    return tuple(CAUTIONS[key] for key in FOR_WORK[work])


def lead_limit_ug_m3(hours: float) -> float:
    """Lead in air over a shift of so many hours: 50 up to eight hours, above that 400 / hours (29 CFR 1910.1025).

    The text of the formula was read in the parallel 1926.62(c)(2).
    """
    if isinstance(hours, bool) or not math.isfinite(hours) or not 0 < hours <= 24:
        raise CautionError(f"A shift of {hours!r} hours is none.")
    return 50.0 if hours <= 8 else 400.0 / hours


SLENDER_AT_MOST = 11  # length over side, WAC 296-806-43006, table 430-2


@dataclass(frozen=True, kw_only=True)
class WoodenBlock:
    """still_lb: what it carries at rest, allowed_lb: what may stand on it, in lbf. longest_in: how long it may be."""

    still_lb: float
    allowed_lb: float
    longest_in: float


def wooden_block(*, side_in: float, psi: float = 5000, safety: float = 10) -> WoodenBlock:
    """What a square block of wood carries: side^2 x strength, over the factor; no longer than eleven times its side.

    Sound wood, cut square. The table is one for hammers; metal blocks made for the press are the usual ones.
    Source: WAC 296-806-43006, table 430-2. Raises CautionError for what is no block.
    """
    if not (side_in > 0 and psi > 0 and safety >= 1):
        raise CautionError("A block needs a size, a strength and a factor of at least 1.")
    still = side_in**2 * psi
    return WoodenBlock(still_lb=still, allowed_lb=still / safety, longest_in=SLENDER_AT_MOST * side_in)
