"""PURE. How a table of a history folder is described: columns, what may stand in them, what every entry carries."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum


class Sort(Enum):
    """What stands in a cell."""

    TEXT = "text"
    WORDS = "free text"  # kept to the last space, where TEXT is trimmed
    WHOLE = "whole number"
    NUMBER = "number"
    MONEY = "money"
    TIME = "time"
    DATE = "date"
    YES_NO = "yes or no"
    LIST = "list"


@dataclass(frozen=True, kw_only=True)
class Column:
    """needed: the file must have the column. filled: and no cell of it may be empty.

    at_least, at_most: for numbers, both allowed. above: for numbers that must be more. longest: characters of a text.
    choices: the words that may stand there. past: a time that cannot lie ahead.
    """

    name: str
    meaning: str
    sort: Sort = Sort.TEXT
    needed: bool = False
    filled: bool = False
    longest: int = 200
    at_least: float | None = None
    at_most: float | None = None
    above: float | None = None
    choices: tuple[str, ...] = ()
    past: bool = False


@dataclass(frozen=True, kw_only=True)
class Table:
    """file: its name. same: the columns that say which thing a row speaks of, where it brings no name of its own."""

    file: str
    about: str
    columns: tuple[Column, ...]
    same: tuple[str, ...]
    plain: bool = False  # one of the eight that are enough for a forecast
    by_name: dict[str, Column] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "by_name", {c.name: c for c in self.columns})


MOST = 1e15  # beyond any count in a shop, within what both databases hold
INT = 2_000_000_000
MONEY = 1e11
HITS = 100_000_000


def must(name: str, meaning: str, sort: Sort = Sort.TEXT, **more) -> Column:
    return Column(name=name, meaning=meaning, sort=sort, needed=True, filled=True, **more)


def need(name: str, meaning: str, sort: Sort = Sort.TEXT, **more) -> Column:
    return Column(name=name, meaning=meaning, sort=sort, needed=True, **more)


def may(name: str, meaning: str, sort: Sort = Sort.TEXT, **more) -> Column:
    return Column(name=name, meaning=meaning, sort=sort, **more)


# What every entry may carry; an entry is a row of a table of what happened.
ENTRY = (
    may("entry_id", "The entry's own name, never used twice. Empty: made from what happened, where and when.",
         longest=160),
    may("recorded_at", "When it was written down. Empty: when it happened.", Sort.TIME, past=True),
    may("order_within_time", "Settles the order of entries at the same time.", Sort.WHOLE, at_least=-INT, at_most=INT),
    may("person", "Who did it.", longest=120),
    may("sign_in", "The sign-in it was entered under.", longest=150),
    may("came_by", "By which way it came. Empty: import.", longest=10,
         choices=("form", "import", "counter", "interface")),
    may("device", "The device it came from.", longest=80),
    may("note", "A note.", Sort.WORDS, longest=8_000),
    may("struck_at", "When it was struck out.", Sort.TIME, past=True),
    may("struck_by", "Who struck it out.", longest=120),
    may("struck_reason", "Why it was struck out.", Sort.WORDS, longest=300),
    may("replaced_by", "The entry_id of the entry that stands in its place.", longest=160),
)  # fmt: skip
