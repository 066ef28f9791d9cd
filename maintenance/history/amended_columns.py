"""PURE. The tables of a history folder that say how the register came to be as it is: its changes, each with a date."""

from __future__ import annotations

from .described import Sort, Table
from .described import may as _may
from .described import must as _must

NAMES = 9_000
AMENDMENTS = Table(
    file="amendments.csv",
    about="Changes of the register: what was entered, changed, put right, retired, joined or deleted. What they "
    "changed stands in amended.csv. What was deleted or joined is told, and cannot come back from a folder.",
    same=("amendment",),
    columns=(
        _must("amendment", "The change's own name.", longest=320),
        _must("table", "The table of the row, as diestore.cut.", longest=60),
        _may("row", "What names the row there: of a cut its die and its code. Empty: it is gone.", Sort.LIST,
             longest=NAMES),
        _must("called", "What the row was called then.", Sort.WORDS, longest=200),
        _may("die", "The die it is about.", longest=60),
        _may("plant", "The plant it is about. Empty: all of them.", longest=40),
        _must("sort", "What was done.", longest=10,
              choices=("entered", "changed", "corrected", "retired", "restored", "merged", "deleted")),
        _may("at", "Since when it is so. Empty: it was never otherwise.", Sort.TIME),
        _may("opened_row", "yes: it began a row of its own, which goes when it is struck out.", Sort.YES_NO),
        _may("was_called", "Of a duplicate that was joined, what that was called.", Sort.WORDS, longest=200),
        _may("reason", "Why.", Sort.WORDS, longest=300),
        _may("sign_in", "The sign-in it was entered under.", longest=150),
        _may("who", "Who entered it.", Sort.WORDS, longest=150),
        _must("recorded_at", "When it was written down.", Sort.TIME, past=True),
        _may("struck_at", "When it was struck out.", Sort.TIME, past=True),
        _may("struck_sign_in", "The sign-in it was struck out under.", longest=150),
        _may("struck_who", "Who struck it out.", Sort.WORDS, longest=150),
        _may("struck_reason", "Why it was struck out.", Sort.WORDS, longest=300),
    ),
)  # fmt: skip
AMENDED = Table(
    file="amended.csv",
    about="What each change of amendments.csv says of one column. Rows of other tables are named as there.",
    same=("amendment", "column"),
    columns=(
        _must("amendment", "The change's own name.", longest=320),
        _must("column", "The column.", longest=60),
        _must("label", "What it is called where people read it.", Sort.WORDS, longest=200),
        _may("was", "What stood there.", Sort.WORDS, longest=NAMES),
        _may("now", "What stands there since.", Sort.WORDS, longest=NAMES),
        _may("was_read", "What stood there, as people read it.", Sort.WORDS, longest=NAMES),
        _may("now_read", "What stands there since, as people read it.", Sort.WORDS, longest=NAMES),
        _may("at", "Since when. Empty: from the start.", Sort.TIME),
        _may("until", "Of a cut, when the column was set anew. Empty: not.", Sort.TIME),
    ),
)
AMENDED_TABLES = (AMENDMENTS, AMENDED)
