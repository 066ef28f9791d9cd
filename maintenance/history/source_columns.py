"""PURE. The tables of who supplies a spare, at which prices, and of levels set by hand, in a history folder."""

from __future__ import annotations

from diestore.handbook import limits

from .described import MONEY, Sort, Table
from .described import may as _may
from .described import must as _must


def _within(table: str, column: str) -> dict:
    limit = limits.OF[table, column]
    return {"at_least": limit.least, "at_most": limit.most}


SPARE = (
    _must("spare", "The spare.", longest=80),
    _may("spare_revision", "Revision of its drawing.", longest=20),
)
SPARE_SOURCES = Table(
    file="spare_sources.csv",
    about="Who supplies a spare: each way to come by it. Supplier, days, pack and price in spares.csv are those of the "
          "preferred one.",
    same=("source",),
    columns=(
        _must("source", "The source's own name, never used twice.", longest=160),
        *SPARE,
        _may("sort", "What comes from there. Empty: bought finished.", longest=10,
             choices=("finished", "blank", "in house", "service")),
        _may("service", "Of an outside service, which.", longest=14,
             choices=("grinding", "wire cutting", "coating", "welding")),
        _may("supplier", "From whom; empty where it is made in house.", longest=40),
        _may("part_number", "What the supplier calls it.", longest=80),
        _may("least_quantity", "Fewest pieces at a time. Empty: 1.", Sort.WHOLE, **_within("source", "least_quantity")),
        _may("pack_size", "Sold in packs of so many. Empty: 1.", Sort.WHOLE, **_within("source", "pack_size")),
        _must("lead_days", "Days that are promised from order to delivery.", Sort.WHOLE,
              **_within("source", "lead_days")),
        _may("on_their_shelf", "Whether the supplier has it lying there.", Sort.YES_NO),
        _must("currency", "Of its prices: three letters, ISO 4217.", longest=3),
        _may("shop_money", "What one of that currency is in the shop's, where it is another.", Sort.NUMBER,
             **_within("source", "shop_money")),
        _may("priced_by", "By the piece or by the hour. Empty: by the piece.", longest=5, choices=("piece", "hour")),
        _may("minutes_each", "Minutes a piece, where it is priced by the hour.", Sort.NUMBER,
             **_within("source", "minutes_each")),
        _may("incremental", "Whether a lower price holds only for the pieces from its number on.", Sort.YES_NO),
        _may("preferred", "Whether it is the one that is bought from.", Sort.YES_NO),
        _may("why_preferred", "Why.", Sort.WORDS, longest=300),
        _may("ended_on", "The day from which nothing comes from there.", Sort.DATE),
        _may("ended_reason", "Why.", Sort.WORDS, longest=300),
        _may("entered", "When it was entered.", Sort.TIME, past=True),
        _may("changes", "How often it was changed.", Sort.WHOLE, at_least=0, at_most=2_000_000_000),
    ),
)  # fmt: skip
SPARE_PRICES = Table(
    file="spare_prices.csv",
    about="Price lists of the sources in spare_sources.csv: the rows of one day are a list until the next begins.",
    same=("source", "valid_from", "from_quantity"),
    columns=(
        _must("source", "The source, as in spare_sources.csv.", longest=160),
        _must("valid_from", "The first day.", Sort.DATE),
        _must("from_quantity", "From so many pieces on.", Sort.WHOLE, **_within("sourceprice", "from_quantity")),
        _must("unit_price", "Of one piece, or of an hour.", Sort.MONEY, at_least=0, at_most=MONEY),
    ),
)  # fmt: skip
SPARE_LEVELS = Table(
    file="spare_levels.csv",
    about="Levels of spares that somebody set by hand: a chance, or so many pieces at least.",
    same=("level",),
    columns=(
        _must("level", "The level's own name, never used twice.", longest=160),
        *SPARE,
        _may("chance_percent", "Enough so many times in 100.", Sort.NUMBER, **_within("sparelevel", "chance_percent")),
        _may("least_pieces", "Or: pieces at least.", Sort.WHOLE, **_within("sparelevel", "least_pieces")),
        _must("reason", "Why.", Sort.WORDS, longest=300),
        _must("set_on", "Since when.", Sort.DATE),
        _may("sign_in", "The sign-in it was set under.", longest=150),
        _may("back_on", "When it was taken back.", Sort.DATE),
        _may("back_sign_in", "The sign-in it was taken back under.", longest=150),
    ),
)  # fmt: skip
SOURCE_TABLES = (SPARE_SOURCES, SPARE_PRICES, SPARE_LEVELS)
