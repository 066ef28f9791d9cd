"""PURE. The table of bills in a history folder. Their lines are rows of costs.csv; a paper is a file beside it."""

from __future__ import annotations

from .described import MONEY, Sort, Table
from .described import may as _may
from .described import must as _must

PAPERS = "bills"  # the folder in the folder

BILLS = Table(
    file="bills.csv",
    about="Bills of suppliers. Their lines are rows of costs.csv; the photo or PDF is the file bills/KEY.jpg or .pdf.",
    same=("bill",),
    columns=(
        _must("bill", "The bill's own name, and that of its file: letters, digits, - and _ only.", longest=64),
        _must("number", "As the supplier writes it.", longest=40),
        _must("supplier", "Whose it is.", longest=40),
        _must("on", "The day that stands on it.", Sort.DATE),
        _must("currency", "Three letters, ISO 4217.", longest=3),
        _must("total", "As it stands on the bill.", Sort.MONEY, above=0, at_most=10_000_000),
        _may("credit", "Whether it is a credit note. Empty: no.", Sort.YES_NO),
        _must("million_worth", "What a million of its currency is worth in the shop's money.", Sort.MONEY, above=0,
              at_most=MONEY),
        _may("note", "A note.", Sort.WORDS, longest=300),
        _may("recorded_at", "When it was entered.", Sort.TIME, past=True),
        _may("person", "Who entered it.", longest=120),
        _may("sign_in", "The sign-in it was entered under.", longest=150),
        _may("paper", "What its file is. Empty: there is none.", longest=3, choices=("pdf", "jpg")),
        _may("struck_at", "When it was struck out.", Sort.TIME, past=True),
        _may("struck_by", "Who struck it out.", longest=120),
        _may("struck_reason", "Why it was struck out.", Sort.WORDS, longest=300),
    ),
)  # fmt: skip
BILL_TABLES = (BILLS,)
