"""PURE. The tables of who pays, and of dies whose life ended, in a history folder."""

from __future__ import annotations

from .described import ENTRY, MONEY, Sort, Table
from .described import may as _may
from .described import must as _must

COST_BEARERS = Table(
    file="cost_bearers.csv",
    about="Who pays for an element of what a die costs, from a moment on, or for one entry of its log.",
    same=("die", "at", "element", "work", "replacement", "stop", "reading"),
    columns=(
        _must("die", "The die.", longest=60),
        _must("at", "From when on; of one entry, when that happened.", Sort.TIME, past=True),
        _must("element", "What is paid.", longest=12, choices=("sharpening", "spares", "repair", "stop")),
        _may("payer", "Who pays. Empty: the shop.", longest=40),
        _may("work", "entry_id of the work that alone it is of.", longest=160),
        _may("replacement", "entry_id of the replacement that alone it is of.", longest=160),
        _may("stop", "entry_id of the stop that alone it is of.", longest=160),
        _may("reading", "entry_id of the reading that alone it is of.", longest=160),
        *ENTRY,
    ),
)
RETIREMENTS = Table(
    file="retirements.csv",
    about="The end of a die's life: what became of it. Its state in dies.csv is retired.",
    same=("die", "at"),
    columns=(
        _must("die", "The die.", longest=60),
        _must("at", "When it happened.", Sort.TIME, past=True),
        _must("fate", "What became of it.", longest=10, choices=("scrapped", "returned", "sold")),
        _may("weight_kg", "What was scrapped weighed.", Sort.NUMBER, at_least=0, at_most=1_000_000),
        _may("worth", "What it brought. Empty: nothing.", Sort.MONEY, at_least=0, at_most=MONEY),
        _may("cost", "What ending it cost. Empty: nothing.", Sort.MONEY, at_least=0, at_most=MONEY),
        _may("payer", "Who pays that and has what it brought. Empty: the shop.", longest=40),
        _may("went_to", "Who has it, or the scrap of it, now.", Sort.WORDS, longest=120),
        *ENTRY,
    ),
)
PAYER_TABLES = (COST_BEARERS, RETIREMENTS)
