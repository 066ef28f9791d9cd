"""PURE. The tables of the counters in a history folder: boxes, dies in presses, counts, answers."""

from __future__ import annotations

from .described import ENTRY, INT, MOST, Sort, Table
from .described import may as _may
from .described import must as _must

COUNTER_OF = (
    _must("device", "The device that sends the counts.", longest=80),
    _may("press", "The press whose counter it is; or", longest=40),
    _may("die", "the die, where it carries a counter of its own.", longest=60),
)
STRUCK_TOO = tuple(c for c in ENTRY if c.name in ("entry_id", "recorded_at", "note", "struck_at", "struck_by",
                                                  "struck_reason"))  # fmt: skip
COUNTER_BOXES = Table(
    file="counter_boxes.csv",
    about="Boxes that send counts. Their tokens are in no folder: make new ones.",
    same=("device",),
    columns=(
        COUNTER_OF[0],
        _may("may", "What its token lets it do.", Sort.LIST, longest=200),
        _may("presses", "The presses it may speak for. Empty, as dies are: all.", Sort.LIST, longest=9_000),
        _may("dies", "The dies it may speak for.", Sort.LIST, longest=9_000),
        _may("digits", "How many digits its counters show.", Sort.WHOLE, at_least=3, at_most=12),
        _may("made", "When it was made known.", Sort.TIME),
        _may("withdrawn", "Since when its token opens nothing.", Sort.TIME),
    ),
)
DIE_IN_PRESS = Table(
    file="die_in_press.csv",
    about="Which die was in which press.",
    same=("die", "press", "since"),
    columns=(
        _must("die", "The die.", longest=60),
        _must("press", "The press.", longest=40),
        _must("since", "When it was set.", Sort.TIME, past=True),
        _may("until", "When it was taken out. Empty: it is there still.", Sort.TIME, past=True),
        _may("variant", "Its set of inserts. Empty: the usual one.", longest=40),
        _may("order", "The order it ran for.", longest=80),
        _may("order_part", "Which part of the order.", longest=80),
        _may("order_revision", "Its revision.", longest=20),
        _may("set_by", "Who set it.", longest=120),
        _may("removed_by", "Who took it out.", longest=120),
        _may("set_sign_in", "The sign-in it was set under.", longest=150),
        _may("removed_sign_in", "The sign-in it was taken out under.", longest=150),
        *STRUCK_TOO,
    ),
)
COUNTS = Table(
    file="counts.csv",
    about="What counters showed: absolute totals.",
    same=("device", "id"),
    columns=(
        *COUNTER_OF,
        _must("at", "When, by the device's clock.", Sort.TIME),
        _must("total", "What it showed.", Sort.WHOLE, at_least=0, at_most=MOST),
        _must("id", "The message's own name, never twice of a device.", Sort.WORDS, longest=80),
        _may("received", "When it came. Empty: at that time.", Sort.TIME),
        _may("stock", "Whether the strokes since the count before had stock. Empty: yes.", Sort.YES_NO),
        _may("wrong_clock", "Whether its time could not be when it came. Empty: no.", Sort.YES_NO),
        _may("as_sent", "The message as it came.", Sort.WORDS, longest=8_000),
    ),
)
COUNTER_ANSWERS = Table(
    file="counter_answers.csv",
    about="What people answered where a count alone does not decide.",
    same=("device", "press", "die", "kind", "since", "settled"),
    columns=(
        *COUNTER_OF,
        _must("kind", "What was asked.", longest=20,
              choices=("no die", "which die", "typed", "jump", "reset or roll-over", "fall", "odd", "clock")),
        _must("since", "About which time: from", Sort.TIME),
        _must("until", "to.", Sort.TIME),
        _must("verdict", "The answer.", longest=24,
              choices=("leave out", "leave out wrong times", "at arrival", "reset", "rolled over", "set", "to die",
                       "without stock", "to nobody")),
        _must("settled", "When it was given.", Sort.TIME),
        _may("ran", "The die that ran, where the answer names one.", longest=60),
        _may("variant", "Its set of inserts.", longest=40),
        _may("strokes", "How many strokes it was about.", Sort.WHOLE, at_least=0, at_most=MOST),
        _may("before", "The total before.", Sort.WHOLE, at_least=0, at_most=MOST),
        _may("after", "The total after.", Sort.WHOLE, at_least=0, at_most=MOST),
        _may("readings", "Counts that were set aside.", Sort.WHOLE, at_least=0, at_most=INT),
        _may("dies", "The dies that came into it.", Sort.LIST, longest=9_000),
        _may("fell", "Of a fall, the time of the count after it.", Sort.TIME),
        _may("asked", "When it was asked.", Sort.TIME),
        _may("person", "Who answered.", longest=120),
        _may("sign_in", "The sign-in it was answered under.", longest=150),
        _may("taken_back", "Since when the answer holds no longer.", Sort.TIME),
    ),
)  # fmt: skip

COUNTER_TABLES = (COUNTER_BOXES, DIE_IN_PRESS, COUNTS, COUNTER_ANSWERS)
