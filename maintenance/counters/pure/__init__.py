"""PURE. From the absolute totals of a press counter to hits, each exactly once, and questions about the rest."""

from .chain import Answer, Aside, Chain, CounterTotal, Step, Verdict, chain
from .stretches import Block, Counted, InPress, Kind, Question, Stretch, count

__all__ = [
    "Answer",
    "Aside",
    "Block",
    "Chain",
    "Counted",
    "CounterTotal",
    "InPress",
    "Kind",
    "Question",
    "Step",
    "Stretch",
    "Verdict",
    "chain",
    "count",
]
