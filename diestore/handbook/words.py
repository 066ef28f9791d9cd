"""PURE. The words on the pages, each in one or two plain sentences: for the Words page and the help beside figures.

Words of the trade as commonly used; no source. What the service itself means by a word is said as such.
"""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Word:
    """term: as it stands on pages. also: other words for the same. see: terms that help to understand it."""

    term: str
    meaning: str
    also: tuple[str, ...] = ()
    see: tuple[str, ...] = ()


def _word(term: str, meaning: str, *also: str, see: tuple[str, ...] = ()) -> Word:
    return Word(term=term, meaning=meaning, also=also, see=see)


_ALL = (
    # the die and its work
    _word(
        "die", "The whole tool in the press: all punches, die sections, plates and guides that make one part.", "tool"
    ),
    _word(
        "progressive die",
        "A die through which the strip moves step by step. Each station does its work; at the end a part leaves.",
        see=("station", "pitch"),
    ),
    _word(
        "station", "One step of the strip through the die. What works there is counted by its number along the strip."
    ),
    _word(
        "position",
        "A spot in a station that holds one piece, such as 3-A. Pieces come and go, the position stays.",
        "place",
    ),
    _word(
        "piece", "The thing in a position: this very punch, with its own past.", "component", see=("position", "spare")
    ),
    _word("pitch", "How far the strip moves at each hit."),
    _word(
        "inserts",
        "Pieces that are changed together, so that one die makes one part or another.",
        "variant",
        "set of inserts",
    ),
    _word("parts a hit", "What falls out at one hit: a left and a right part are two kinds.", "output"),
    _word("hit", "One stroke of the press with stock in the die.", "stroke with stock", see=("stroke",)),
    _word(
        "stroke",
        "One closing of the press, with stock or without. Guides and springs wear at each, edges only at hits.",
    ),
    _word("stroke share", "How many of the die's strokes this position works in: 1 is each one, 0.5 every other."),
    _word("run", "Time in which the die made parts, with its hits from start to end."),
    _word("hits since sharpened", "Hits on an edge since it was last made sharp, by grinding or by a new piece."),
    _word("hits over its life", "All hits of a piece since it was new, through every grind."),
    _word(
        "job",
        "Parts a customer has ordered, due on a day. What is left of it is its parts less the parts run.",
        see=("order",),
    ),
    _word("order", "Spares ordered from a supplier. What customers order is a job.", see=("job",)),
    # cutting
    _word(
        "cut",
        "One contour that is cut out of the strip. Its punch and its die are two edges; its force counts once.",
        see=("edge",),
    ),
    _word(
        "edge", "One side of a cut: the punch's above or the die's below. An edge is what goes dull.", "cutting edge"
    ),
    _word(
        "gap",
        "The distance between punch and die on one side of the cut, the clearance per side. In total it is twice that, "
        "and this service never mixes the two.",
        "clearance per side",
        "clearance",
        see=("per side",),
    ),
    _word(
        "per side",
        "Counted on one side of the cut only. The opening is larger than the punch by twice as much.",
    ),
    _word("thickness", "How thick the strip is. Gaps are often said in per cent of it."),
    _word("strip stock", "The strip that is cut: its material, strength and thickness.", "stock"),
    _word("tensile strength", "The pull at which the stock tears, for each square millimetre: how hard it is to cut."),
    _word(
        "shear strength", "What it takes to cut the stock, for each square millimetre; about 0.7 to 0.8 of the tensile."
    ),
    _word("cutting force", "What the press must give to cut: length of cut times thickness times shear strength."),
    _word(
        "height group",
        "Punches of equal length cut together; another group is shorter and cuts a little later.",
        "stagger",
    ),
    _word("stripping force", "What it takes to pull the strip off the punches again.", "strip force"),
    _word("slug", "The piece that is cut out and falls through the die."),
    _word("burr", "The sharp lip that is left along a cut. It grows as the edge goes dull.", "burr height"),
    _word(
        "burr limit", "The burr a customer will take. It is typed in for each part; the service has none of its own."
    ),
    _word("burnish", "The shiny band of a cut face, where the punch really cut before the stock broke."),
    _word(
        "misfeed", "The strip was out of position when the press closed. One misfeed can damage many pieces at once."
    ),
    # wear and how an edge ends
    _word("sharp", "Fit to go on: burr and parts are as they should be."),
    _word("dull", "Worn so far that the burr or the part is no longer good: time to grind.", "blunt"),
    _word("chipped", "A bit of the edge has broken out. It can come at any time, also on a sharp edge."),
    _word("broken", "The piece itself has failed, and is replaced."),
    _word("galled", "Stock has welded itself to the tool and scores it.", "pick-up"),
    _word("wear land", "The worn strip along an edge, measured up the punch. That much has to be ground away.", "wear"),
    _word("edge radius", "How round an edge has become. It can rise and fall, so one reading says little."),
    _word("found", "How the edge was when somebody looked: sharp, dull, chipped, broken, galled, or not looked."),
    _word("why", "The reason it was ground. An edge ground because the die was apart may still have been sharp."),
    _word(
        "reading",
        "Something measured and entered: burr, wear land, a bore, a force. What a counter sends is a count.",
        see=("count",),
    ),
    _word("count", "The running total that a press counter shows. On the shelf: what was counted there."),
    # sharpening and replacing
    _word("sharpening", "Grinding the face of an edge until it is sharp again.", "grind", "regrind"),
    _word(
        "ground with the set",
        "Ground because the die was apart, not because this edge was dull. How long it would have lasted is not known.",
        "with the set",
    ),
    _word("interval", "An edge's time from one sharpening or replacement to the next, in hits.", "grind to grind"),
    _word("grind allowance", "How much can be ground off in all before the piece is used up.", see=("land",)),
    _word(
        "land",
        "The straight part of a die opening, from its edge down to where it widens. Grinding uses it up.",
        "die land",
        see=("grind allowance", "wear land"),
    ),
    _word("used up", "No grind allowance is left.", "ground out"),
    _word("shim", "A thin plate under a ground piece that brings it back to its height.", "spacer"),
    _word("height", "How far a piece reaches from its plate towards the strip: seat, length and shims.", see=("seat",)),
    _word(
        "seat",
        "How far what a piece stands on lies from the plate that heights are measured from. Nought where it stands on "
        "that plate; pieces of different lengths that work level have different seats.",
    ),
    _word("punch entry", "How deep a punch goes into the die when the press is closed."),
    _word("room when closed", "How much further the closed die could come down before something strikes."),
    _word("replacement", "Another piece in a position."),
    _word("spare", "A piece on the shelf for a position."),
    _word("opening", "What was known of a piece when the records began: new, counted, estimated, or unknown."),
    _word("coating", "A thin hard layer on the tool. It is ground off the face, and still helps along the sides."),
    _word("HRC", "Hardness of tool steel on the Rockwell C scale."),
    _word("carbide", "Tungsten carbide in cobalt: wears very slowly, chips easily, and its dust is harmful."),
    _word("powder steel", "High-speed steel made from powder: even and wear-resistant.", "PM"),
    # components
    _word("pilot", "A pin that finds a pierced hole and sets the strip's place before anything cuts."),
    _word("stripper", "The plate that holds the strip down and pulls it off the punches.", "stripper plate"),
    _word("oil breaker", "A sprung pin that breaks the film of oil, so that the part drops off instead of sticking."),
    _word("semi-pierce", "Cut only partly through, so that a stud stands out of the part.", "half-pierce"),
    _word("knockout", "Pushes a part or slug out of the tool."),
    _word("lifter", "Lifts the strip so that it can move on."),
    _word("die button", "A bushing in the die; its bore is the lower edge of a round cut."),
    _word("die section", "A block of the die that carries lower edges."),
    _word("guide post", "With its bushing and roller cage it keeps the two halves in line."),
    _word("stop block", "Keeps the halves from closing too far. In running they should not meet."),
    _word("shut height", "Height of the die when it is closed. It falls with each grind unless shims make up for it."),
    _word("stop", "The press stood still because of the die: how long, why, and what was scrapped."),
    # what the service says
    _word(
        "half last another",
        "Half of such edges last at least so many hits more before they are dull or chipped: an even chance.",
        "even chance",
        see=("9 in 10",),
    ),
    _word(
        "borderline",
        "The chance of finishing the job is even to 4 in 5: it may go either way.",
        see=("chance of finishing",),
    ),
    _word("9 in 10", "Nine of ten such edges last longer than this. Plan by it where a stop is dear."),
    _word(
        "chance of finishing",
        "How likely the die gets through what is left of its job before its first edge goes dull or chips.",
    ),
    _word(
        "remaining hits",
        "Hits until an edge goes dull or chips, said as a range and never as one number.",
    ),
    _word("limits", "The edge most likely to be dull or chipped first limits the die.", "limited by"),
    _word(
        "rests on",
        "What a forecast is made of: how many intervals were seen, how many ended dull, and how much is handbook.",
        see=("mostly handbook",),
    ),
    _word("mostly handbook", "The shop's own records are too few yet, so the figure leans on general experience."),
    _word(
        "forecast",
        "What is likely to come, worked out from all records. Its date stands beside the figures.",
        "worked out",
    ),
    _word(
        "strike out", "Mark an entry as wrong. It stays to be seen, counts for nothing, and says who did it and why."
    ),
    _word("order by", "The last day to order a spare so that it arrives before it is likely to be needed."),
    _word("cost per thousand", "What the tool costs for a thousand good parts: build, sharpening, spares and stops."),
)

WORDS: dict[str, Word] = {word.term: word for word in _ALL}


def _plain(text: str) -> str:
    return re.sub(r"[\s\-_]+", " ", text.strip().casefold())


_BY_NAME = {_plain(name): word for word in _ALL for name in (*word.also, word.term)}


def word(text: str) -> Word | None:
    """The word of that term or of another name for it; None where the glossary does not hold it."""
    return _BY_NAME.get(_plain(text)) if isinstance(text, str) else None


def meaning(text: str) -> str:
    """The help beside a figure; empty where there is none."""
    entry = word(text)
    return entry.meaning if entry else ""


def by_letter() -> dict[str, list[Word]]:
    """The glossary in the order of the alphabet, by first letter (figures first)."""
    letters: dict[str, list[Word]] = {}
    for each in sorted(_ALL, key=lambda w: _plain(w.term)):
        letters.setdefault(each.term[0].upper(), []).append(each)
    return letters
