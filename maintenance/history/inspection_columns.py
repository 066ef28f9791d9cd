"""PURE. The tables of inspections in a history folder: what is planned, and each look."""

from __future__ import annotations

from diestore.handbook.kinds import KINDS

from .described import ENTRY, MOST, Sort, Table
from .described import may as _may
from .described import must as _must

INSPECTION_PLANS = Table(
    file="inspection_plans.csv",
    about="What is looked at how often: of a die, a press or a grinder, or of the plant where none is named.",
    same=("plan",),
    columns=(
        _must("plan", "The plan's own name.", longest=160),
        _must("what", "What is looked at.", longest=200),
        _may("die", "The die.", longest=60),
        _may("kind", "All places of this kind in the die. Empty: the whole die.", longest=30, choices=tuple(KINDS)),
        _may("press", "The press.", longest=40),
        _may("grinder", "The grinder, as in grinders.csv.", longest=40),
        _may("every_hits", "Every so many hits of the die or the press.", Sort.WHOLE, at_least=1, at_most=1e9),
        _may("every_days", "Every so many days. With both, what comes first.", Sort.WHOLE, at_least=1, at_most=3_650),
        _may("why", "The rule or the habit that it rests on.", Sort.WORDS, longest=300),
        _may("proposal", "Of the handbook's proposals, which one.", longest=40),
        _must("since", "From when on it counts, until it is looked at once.", Sort.TIME, past=True),
        _may("retired_at", "Since when it is not looked at any more.", Sort.TIME, past=True),
    ),
)  # fmt: skip
INSPECTIONS = Table(
    file="inspections.csv",
    about="Each look at what inspection_plans.csv names.",
    same=("plan", "at"),
    columns=(
        _must("plan", "The plan, as in inspection_plans.csv.", longest=160),
        _must("at", "When it happened.", Sort.TIME, past=True),
        _may("is_finding", "Whether something was found; the note says what. Empty: no.", Sort.YES_NO),
        _may("parts_scrapped", "Parts of the die thrown away for it. Empty: 0.", Sort.WHOLE, at_least=0, at_most=MOST),
        *ENTRY,
    ),
)
INSPECTION_TABLES = (INSPECTION_PLANS, INSPECTIONS)
