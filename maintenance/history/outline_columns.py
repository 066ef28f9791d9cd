"""PURE. The tables of outlined tools and of the shop's price list of new tools, in a history folder."""

from __future__ import annotations

from diestore.handbook.build_elements import DIE_SIDES, ELEMENTS, GUIDES, STRIPPERS

from .described import MONEY, Sort, Table
from .described import may as _may
from .described import must as _must

BUILD_PRICES = Table(
    file="build_prices.csv",
    about="What the elements of a new tool cost, from which day on.",
    same=("element", "valid_from"),
    columns=(
        _must("element", "The element.", longest=30, choices=tuple(ELEMENTS)),
        _must("valid_from", "The first day.", Sort.DATE),
        _must("price", "Of one tool, cutting place, mm of cut or piece.", Sort.MONEY, at_least=0, at_most=MONEY),
        _may("sign_in", "The sign-in it was entered under.", longest=150),
    ),
)  # fmt: skip
OUTLINES = Table(
    file="outlines.csv",
    about="Tools that are outlined for a customer and not built yet.",
    same=("outline",),
    columns=(
        _must("outline", "The outline's own name, never used twice.", longest=64),
        _must("customer", "For whom.", longest=120),
        _must("part", "What it makes.", longest=120),
        _must("material", "Of the strip.", longest=120),
        _must("thickness_mm", "Of the strip.", Sort.NUMBER, above=0, at_most=1_000),
        _must("tensile_mpa", "Of the strip.", Sort.NUMBER, above=0, at_most=10_000),
        _may("burr_limit_um", "The highest burr that the customer takes.", Sort.NUMBER, above=0, at_most=100_000),
        _may("parts_per_hit", "Empty: 1.", Sort.WHOLE, at_least=1, at_most=100_000),
        _must("strokes_per_minute", "As it is to run.", Sort.NUMBER, above=0, at_most=100_000),
        _must("volumes", "Parts of each year, with spaces between.", longest=400),
        _may("wanted_months", "Until the tool is wanted.", Sort.WHOLE, at_least=0, at_most=1_200),
        _must("on", "The day of the offer.", Sort.DATE),
        _may("valid_until", "The last day of the offer.", Sort.DATE),
        _may("note", "A line for the offer.", Sort.WORDS, longest=600),
        _may("assumed", "Figures that were changed: name=value, with spaces between.", longest=2_000),
        _may("shop_pays", "Elements of cost that the shop bears, with semicolons between.", longest=200),
        _may("sign_in", "The sign-in it was last changed under.", longest=150),
        _may("changed_at", "When it was last changed.", Sort.TIME, past=True),
        _may("put_away_at", "Since when it is no longer listed.", Sort.TIME, past=True),
    ),
)  # fmt: skip
OUTLINE_PLACES = Table(
    file="outline_places.csv",
    about="Cutting places of the tools in outlines.csv, those alike in one row.",
    same=("outline", "sequence"),
    columns=(
        _must("outline", "The outline, as in outlines.csv.", longest=64),
        _must("sequence", "Its number within the outline.", Sort.WHOLE, at_least=1, at_most=1_000),
        _must("kind", "Kind of the punch.", longest=30),
        _must("count", "How many.", Sort.WHOLE, at_least=1, at_most=100_000),
        _must("length_mm", "Of the contour that one of them cuts.", Sort.NUMBER, above=0, at_most=100_000),
    ),
)  # fmt: skip
OUTLINE_WAYS = Table(
    file="outline_ways.csv",
    about="Ways of building the tools in outlines.csv.",
    same=("outline", "sequence"),
    columns=(
        _must("outline", "The outline, as in outlines.csv.", longest=64),
        _must("sequence", "Its number within the outline, 1 to 5.", Sort.WHOLE, at_least=1, at_most=5),
        _must("name", "What it is called.", longest=60),
        _must("steel", "Of the punches.", longest=40),
        _may("hardness_hrc", "Of the punches.", Sort.NUMBER, at_least=0, at_most=100),
        _may("steel_below", "Of the die side. Empty: as the punches.", longest=40),
        _may("hardness_below_hrc", "Of the die side.", Sort.NUMBER, at_least=0, at_most=100),
        _may("coating", "Of the punches.", longest=40),
        _may("gap_pct", "Of the pair, % of the thickness a side.", Sort.NUMBER, above=0, at_most=100),
        _may("guides", "Empty: plain.", longest=10, choices=tuple(GUIDES)),
        _may("die_side", "Empty: solid.", longest=10, choices=tuple(DIE_SIDES)),
        _may("stripper", "Empty: spring.", longest=10, choices=tuple(STRIPPERS)),
        _may("parts_per_hit", "Empty: as the outline says.", Sort.WHOLE, at_least=1, at_most=100_000),
        _may("lasts_hits", "Of the tool. Empty: for all parts.", Sort.WHOLE, at_least=1, at_most=1_000_000_000_000),
        _may("price", "Of the build. Empty: by build_prices.csv.", Sort.MONEY, at_least=0, at_most=MONEY),
    ),
)  # fmt: skip
OUTLINE_TABLES = (BUILD_PRICES, OUTLINES, OUTLINE_PLACES, OUTLINE_WAYS)
