"""PURE. The table of signed condition reports in a history folder. What each says is a file of its own beside it."""

from __future__ import annotations

from .described import Sort, Table
from .described import may as _may
from .described import must as _must

REPORTS = "signed_reports"  # the folder in the folder

SIGNED_REPORTS = Table(
    file="signed_reports.csv",
    about="Condition reports that were signed. What each said is the file signed_reports/KEY.json.",
    same=("key",),
    columns=(
        _must("key", "The report's own name, and that of its file: letters, digits, - and _ only.", longest=64),
        _must("die", "The die.", longest=60),
        _may("customer", "For whom it is. Empty: the shop's own tool.", longest=40),
        _must("signed_at", "When it was signed.", Sort.TIME, past=True),
        _must("signer", "Who signed it.", longest=120),
        _may("sign_in", "The sign-in it was signed under.", longest=150),
        _may("note", "What the signer added.", Sort.WORDS, longest=600),
        _may("struck_at", "When it was struck out.", Sort.TIME, past=True),
        _may("struck_by", "Who struck it out.", longest=120),
        _may("struck_reason", "Why it was struck out.", Sort.WORDS, longest=300),
    ),
)
OWNER_TABLES = (SIGNED_REPORTS,)
