"""PURE. The words on the pages, each in one or two plain sentences: for the Words page and the help beside figures.

Words of the trade as commonly used; no source. What the service itself means by a word is said as such.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from diestore.texts import gettext, pgettext
from diestore.texts import gettext_noop as _
from diestore.texts import pgettext_noop as _term


@dataclass(frozen=True, kw_only=True)
class Word:
    """term: as it stands on pages. also: other words for the same. see: terms that help to understand it."""

    term: str
    meaning: str
    also: tuple[str, ...] = ()
    see: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The term in the reader's language."""
        return pgettext("word", self.term)

    @property
    def what_it_means(self) -> str:
        """The meaning in the reader's language."""
        return gettext(self.meaning)

    @property
    def helped_by(self) -> list[Word]:
        """The words to see with it."""
        return [WORDS[term] for term in self.see]


def _word(term: str, meaning: str, *also: str, see: tuple[str, ...] = ()) -> Word:
    return Word(term=term, meaning=meaning, also=also, see=see)


_ALL = (
    # the die and its work
    _word(
        _term("word", "die"),
        _("The whole tool in the press: all punches, die sections, plates and guides that make one part."),
        "tool",
    ),
    _word(
        _term("word", "progressive die"),
        _("A die through which the strip moves step by step. Each station does its work; at the end a part leaves."),
        see=("station", "pitch"),
    ),
    _word(
        _term("word", "station"),
        _("One step of the strip through the die. What works there is counted by its number along the strip."),
    ),
    _word(
        _term("word", "position"),
        _("A spot in a station that holds one piece, such as 3-A. Pieces come and go, the position stays."),
        "place",
    ),
    _word(
        _term("word", "piece"),
        _("The thing in a position: this very punch, with its own past."),
        "component",
        see=("position", "spare"),
    ),
    _word(_term("word", "pitch"), _("How far the strip moves at each hit.")),
    _word(
        _term("word", "inserts"),
        _("Pieces that are changed together, so that one die makes one part or another."),
        "variant",
        "set of inserts",
    ),
    _word(
        _term("word", "parts a hit"), _("What falls out at one hit: a left and a right part are two kinds."), "output"
    ),
    _word(
        _term("word", "hit"), _("One stroke of the press with stock in the die."), "stroke with stock", see=("stroke",)
    ),
    _word(
        _term("word", "stroke"),
        _("One closing of the press, with stock or without. Guides and springs wear at each, edges only at hits."),
    ),
    _word(
        _term("word", "stroke share"),
        _("How many of the die's strokes this position works in: 1 is each one, 0.5 every other."),
    ),
    _word(_term("word", "run"), _("Time in which the die made parts, with its hits from start to end.")),
    _word(
        _term("word", "hits since sharpened"),
        _("Hits on an edge since it was last made sharp, by grinding or by a new piece."),
    ),
    _word(_term("word", "hits over its life"), _("All hits of a piece since it was new, through every grind.")),
    _word(
        _term("word", "job"),
        _("Parts a customer has ordered, due on a day. What is left of it is its parts less the parts run."),
        see=("order",),
    ),
    _word(_term("word", "order"), _("Spares ordered from a supplier. What customers order is a job."), see=("job",)),
    # cutting
    _word(
        _term("word", "cut"),
        _("One contour that is cut out of the strip. Its punch and its die are two edges; its force counts once."),
        see=("edge",),
    ),
    _word(
        _term("word", "edge"),
        _("One side of a cut: the punch's above or the die's below. An edge is what goes dull."),
        "cutting edge",
    ),
    _word(
        _term("word", "gap"),
        _(
            "The distance between punch and die on one side of the cut, the clearance per side. In total it is twice "
            "that, and this service never mixes the two."
        ),
        "clearance per side",
        "clearance",
        see=("per side",),
    ),
    _word(
        _term("word", "per side"),
        _("Counted on one side of the cut only. The opening is larger than the punch by twice as much."),
    ),
    _word(_term("word", "thickness"), _("How thick the strip is. Gaps are often said in per cent of it.")),
    _word(_term("word", "strip stock"), _("The strip that is cut: its material, strength and thickness."), "stock"),
    _word(
        _term("word", "tensile strength"),
        _("The pull at which the stock tears, for each square millimetre: how hard it is to cut."),
    ),
    _word(
        _term("word", "shear strength"),
        _("What it takes to cut the stock, for each square millimetre; about 0.7 to 0.8 of the tensile."),
    ),
    _word(
        _term("word", "cutting force"),
        _("What the press must give to cut: length of cut times thickness times shear strength."),
    ),
    _word(
        _term("word", "height group"),
        _("Punches of equal length cut together; another group is shorter and cuts a little later."),
        "stagger",
    ),
    _word(_term("word", "stripping force"), _("What it takes to pull the strip off the punches again."), "strip force"),
    _word(_term("word", "slug"), _("The piece that is cut out and falls through the die.")),
    _word(
        _term("word", "burr"),
        _("The sharp lip that is left along a cut. It grows as the edge goes dull."),
        "burr height",
    ),
    _word(
        _term("word", "burr limit"),
        _("The burr a customer will take. It is typed in for each part; the service has none of its own."),
    ),
    _word(
        _term("word", "burnish"), _("The shiny band of a cut face, where the punch really cut before the stock broke.")
    ),
    _word(
        _term("word", "misfeed"),
        _("The strip was out of position when the press closed. One misfeed can damage many pieces at once."),
    ),
    # wear and how an edge ends
    _word(_term("word", "sharp"), _("Fit to go on: burr and parts are as they should be.")),
    _word(_term("word", "dull"), _("Worn so far that the burr or the part is no longer good: time to grind."), "blunt"),
    _word(
        _term("word", "chipped"), _("A bit of the edge has broken out. It can come at any time, also on a sharp edge.")
    ),
    _word(_term("word", "broken"), _("The piece itself has failed, and is replaced.")),
    _word(_term("word", "galled"), _("Stock has welded itself to the tool and scores it."), "pick-up"),
    _word(
        _term("word", "wear land"),
        _("The worn strip along an edge, measured up the punch. That much has to be ground away."),
        "wear",
    ),
    _word(
        _term("word", "edge radius"),
        _("How round an edge has become. It can rise and fall, so one reading says little."),
    ),
    _word(
        _term("word", "found"),
        _("How the edge was when somebody looked: sharp, dull, chipped, broken, galled, or not looked."),
    ),
    _word(
        _term("word", "why"),
        _("The reason it was ground. An edge ground because the die was apart may still have been sharp."),
    ),
    _word(
        _term("word", "reading"),
        _("Something measured and entered: burr, wear land, a bore, a force. What a counter sends is a count."),
        see=("count",),
    ),
    _word(
        _term("word", "count"), _("The running total that a press counter shows. On the shelf: what was counted there.")
    ),
    # sharpening and replacing
    _word(_term("word", "sharpening"), _("Grinding the face of an edge until it is sharp again."), "grind", "regrind"),
    _word(
        _term("word", "ground with the set"),
        _(
            "Ground because the die was apart, not because this edge was dull. How long it would have lasted is not "
            "known."
        ),
        "with the set",
    ),
    _word(
        _term("word", "interval"),
        _("An edge's time from one sharpening or replacement to the next, in hits."),
        "grind to grind",
    ),
    _word(
        _term("word", "grind allowance"),
        _("How much can be ground off in all before the piece is used up."),
        see=("land",),
    ),
    _word(
        _term("word", "land"),
        _("The straight part of a die opening, from its edge down to where it widens. Grinding uses it up."),
        "die land",
        see=("grind allowance", "wear land"),
    ),
    _word(_term("word", "used up"), _("No grind allowance is left."), "ground out"),
    _word(_term("word", "shim"), _("A thin plate under a ground piece that brings it back to its height."), "spacer"),
    _word(
        _term("word", "height"),
        _("How far a piece reaches from its plate towards the strip: seat, length and shims."),
        see=("seat",),
    ),
    _word(
        _term("word", "seat"),
        _(
            "How far what a piece stands on lies from the plate that heights are measured from. Nought where it stands "
            "on that plate; pieces of different lengths that work level have different seats."
        ),
    ),
    _word(_term("word", "punch entry"), _("How deep a punch goes into the die when the press is closed.")),
    _word(
        _term("word", "room when closed"),
        _("How much further the closed die could come down before something strikes."),
    ),
    _word(_term("word", "replacement"), _("Another piece in a position.")),
    _word(_term("word", "spare"), _("A piece on the shelf for a position.")),
    _word(
        _term("word", "opening"),
        _("What was known of a piece when the records began: new, counted, estimated, or unknown."),
    ),
    _word(
        _term("word", "coating"),
        _("A thin hard layer on the tool. It is ground off the face, and still helps along the sides."),
    ),
    _word(_term("word", "HRC"), _("Hardness of tool steel on the Rockwell C scale.")),
    _word(
        _term("word", "carbide"),
        _("Tungsten carbide in cobalt: wears very slowly, chips easily, and its dust is harmful."),
    ),
    _word(_term("word", "powder steel"), _("High-speed steel made from powder: even and wear-resistant."), "PM"),
    # components
    _word(
        _term("word", "pilot"), _("A pin that finds a pierced hole and sets the strip's place before anything cuts.")
    ),
    _word(
        _term("word", "stripper"),
        _("The plate that holds the strip down and pulls it off the punches."),
        "stripper plate",
    ),
    _word(
        _term("word", "oil breaker"),
        _("A sprung pin that breaks the film of oil, so that the part drops off instead of sticking."),
    ),
    _word(
        _term("word", "semi-pierce"),
        _("Cut only partly through, so that a stud stands out of the part."),
        "half-pierce",
    ),
    _word(_term("word", "knockout"), _("Pushes a part or slug out of the tool.")),
    _word(_term("word", "lifter"), _("Lifts the strip so that it can move on.")),
    _word(_term("word", "die button"), _("A bushing in the die; its bore is the lower edge of a round cut.")),
    _word(_term("word", "die section"), _("A block of the die that carries lower edges.")),
    _word(_term("word", "guide post"), _("With its bushing and roller cage it keeps the two halves in line.")),
    _word(_term("word", "stop block"), _("Keeps the halves from closing too far. In running they should not meet.")),
    _word(
        _term("word", "shut height"),
        _("Height of the die when it is closed. It falls with each grind unless shims make up for it."),
    ),
    _word(_term("word", "stop"), _("The press stood still because of the die: how long, why, and what was scrapped.")),
    # what the service says
    _word(
        _term("word", "half last another"),
        _("Half of such edges last at least so many hits more before they are dull or chipped: an even chance."),
        "even chance",
        see=("9 in 10",),
    ),
    _word(
        _term("word", "borderline"),
        _("The chance of finishing the job is even to 4 in 5: it may go either way."),
        see=("chance of finishing",),
    ),
    _word(
        _term("word", "9 in 10"), _("Nine of ten such edges last longer than this. Plan by it where a stop is dear.")
    ),
    _word(
        _term("word", "chance of finishing"),
        _("How likely the die gets through what is left of its job before its first edge goes dull or chips."),
    ),
    _word(
        _term("word", "remaining hits"),
        _("Hits until an edge goes dull or chips, said as a range and never as one number."),
    ),
    _word(_term("word", "limits"), _("The edge most likely to be dull or chipped first limits the die."), "limited by"),
    _word(
        _term("word", "rests on"),
        _("What a forecast is made of: how many intervals were seen, how many ended dull, and how much is handbook."),
        see=("mostly handbook",),
    ),
    _word(
        _term("word", "mostly handbook"),
        _("The shop's own records are too few yet, so the figure leans on general experience."),
    ),
    _word(
        _term("word", "forecast"),
        _("What is likely to come, worked out from all records. Its date stands beside the figures."),
        "worked out",
    ),
    _word(
        _term("word", "strike out"),
        _("Mark an entry as wrong. It stays to be seen, counts for nothing, and says who did it and why."),
    ),
    _word(
        _term("word", "order by"),
        _("The last day to order a spare so that it arrives before it is likely to be needed."),
    ),
    _word(
        _term("word", "cost per thousand"),
        _("What the tool costs for a thousand good parts: build, sharpening, spares and stops."),
    ),
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
    """The glossary in the order of the reader's alphabet, by first letter (figures first)."""
    letters: dict[str, list[Word]] = {}
    for each in sorted(_ALL, key=lambda w: _plain(w.name)):
        letters.setdefault(each.name[0].upper(), []).append(each)
    return letters
