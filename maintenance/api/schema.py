"""What a program may send and what it is answered. Numbers are numbers and times are texts with their time zone:
a counter that sends `true` or `"12"` has a fault that is better known."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Any, Literal

from ninja import Field, Schema
from pydantic import AfterValidator, AwareDatetime, BaseModel, BeforeValidator, ConfigDict

from maintenance.models import HITS_AT_MOST, TOTAL_AT_MOST

BATCH_AT_MOST = 500
RAW_AT_MOST = 4_000

# --- what a value may be --------------------------------------------------------------------------------------------


def _whole(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("this is not a whole number")
    if isinstance(value, float) and not value.is_integer():
        raise ValueError("this is not a whole number")
    return int(value)


def _yes_or_no(value: Any) -> Any:
    if not isinstance(value, bool):
        raise ValueError("this is neither true nor false")
    return value


TIME = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d([.,]\d+)?)?([Zz]|[+-]\d\d:?\d\d)")


def _time_as_text(value: Any) -> Any:
    if not isinstance(value, str) or not TIME.fullmatch(value):
        raise ValueError("write a date and time with its time zone, such as 2026-11-25T14:05:00+01:00")
    return value


def _time_in_reach(value: dt.datetime) -> dt.datetime:
    """Years that both databases can hold in any time zone."""
    if not 1900 <= value.year <= 2200:
        raise ValueError(f"the year {value.year} cannot be")
    return value.astimezone(dt.UTC)


# Field stands first: behind a validator the published schema would lose its limits.
Total = Annotated[int, Field(ge=0, le=TOTAL_AT_MOST, description="What the counter shows."), BeforeValidator(_whole)]
Hits = Annotated[int, Field(ge=1, le=HITS_AT_MOST), BeforeValidator(_whole)]
Parts = Annotated[int, Field(ge=0, le=TOTAL_AT_MOST), BeforeValidator(_whole)]
YesNo = Annotated[bool, Field(), BeforeValidator(_yes_or_no)]
Moment = Annotated[
    AwareDatetime,
    Field(description="With its time zone, such as 2026-11-25T14:05:00+01:00."),
    BeforeValidator(_time_as_text),
    AfterValidator(_time_in_reach),
]
PRINTED = r"^[^\x00-\x1f\x7f]+$"
Code = Annotated[str, Field(min_length=1, max_length=60, pattern=PRINTED)]
MessageId = Annotated[
    str, Field(min_length=1, max_length=80, pattern=PRINTED, description="The message's own: never twice of a device.")
]
Words = Annotated[str, Field(max_length=2_000, pattern=r"^[^\x00]*$")]


class Sent(BaseModel):
    """What a program sends: nothing but what is known here, so that a misspelt name does not go unseen."""

    model_config = ConfigDict(extra="forbid")


class Count(Sent):
    """An absolute total of one counter, of a press or of a die that carries its own."""

    id: MessageId
    press: Code | None = None
    die: Code | None = None
    total: Total
    at: Moment
    stock: YesNo = Field(True, description="Whether the strokes since the count before had stock under the punch.")


class Counts(Sent):
    counts: Annotated[list[Count], Field(min_length=1, max_length=BATCH_AT_MOST)]


class Run(Sent):
    """A run of a die, from when to when, with its hits."""

    id: MessageId
    die: Code
    started: Moment
    ended: Moment
    hits: Hits
    variant: Code | None = None
    press: Code | None = None
    stock: Code | None = None
    order: Code | None = None
    lot: Annotated[str, Field(max_length=80, pattern=r"^[^\x00]*$")] = ""
    good_parts: Parts | None = None
    estimated: YesNo = False
    confirmed: YesNo = Field(False, description="It stands as sent, though another die ran in that press meanwhile.")
    note: Words = ""


class Receipt(BaseModel):
    """taken: kept. known: sent before, nothing was added. refused: the message says why; of a
    run or a count that is taken it says why its die should make no parts: on hold, or damaged."""

    id: str
    outcome: Literal["taken", "known", "refused"]
    message: str = ""


class BatchReceipt(BaseModel):
    taken: int
    known: int
    refused: int
    counts: list[Receipt]


class Refused(Schema):
    """message: why not, in a sentence. where: the part of the message that it is about."""

    message: str
    where: str = ""


class Die(Schema):
    code: str
    description: str
    status: str
    strokes_per_minute: float
    press: str | None = Field(description="The press that it is in now.")


class Dies(Schema):
    found: int
    dies: list[Die]


class Edge(Schema):
    position: str
    hits_since_sharpening: int
    half_last_hits: int | None
    nine_in_ten_last_hits: int | None
    why_unknown: str


class Forecast(Schema):
    """Further strokes of the die. half_last_hits: half last so many more; nine_in_ten_last_hits: 9 in 10 do.
    limiting_position: the edge that stops the die first. why_unknown: why nothing can be said."""

    die: str
    as_of: dt.datetime | None
    hits_since_sharpening: int | None
    half_last_hits: int | None
    nine_in_ten_last_hits: int | None
    limiting_position: str | None
    remaining_hits: dict[str, int] = Field(description="Chance of the first dull or chipped edge -> strokes by then.")
    edges: list[Edge]
    why_unknown: str


class DueDie(Schema):
    """A die with an open job. chance: of finishing it without a dull or chipped edge. standing: as the pages say."""

    die: str
    order: str
    due: dt.date
    hits_left: int
    chance: float | None
    standing: str
    limiting_position: str | None
    half_last_hits: int | None
    nine_in_ten_last_hits: int | None
    why_unknown: str


class DueDies(Schema):
    dies: list[DueDie]


class Page(Sent):
    """Which part of a list."""

    limit: Annotated[int, Field(ge=1, le=200)] = 50
    offset: Annotated[int, Field(ge=0, le=1_000_000)] = 0
