"""PURE. The tables of the bench in a history folder: works, what was done in them, hours, absences, dies on hold."""

from __future__ import annotations

from .described import MONEY, Sort, Table
from .described import may as _may
from .described import must as _must

PERSON = _must("person", "Who.", longest=120)
NO_LONGER = _may("retired_at", "Since when it no longer holds. Empty: it holds.", Sort.TIME)
WORK = _must("work", "The work's own name, as in bench_works.csv.", longest=160)
DIE = _must("die", "The die.", longest=60)
STATES = ("reported", "planned", "on the bench", "away", "try-out", "released", "dropped")
MM = dict(sort=Sort.NUMBER, at_least=0, at_most=100)

BENCH_HOURS = Table(
    file="bench_hours.csv",
    about="How many hours a day somebody has for the bench.",
    same=("person",),
    columns=(
        PERSON,
        _must("hours_a_day", "Hours on each of these days.", Sort.NUMBER, above=0, at_most=24),
        _may("days", "On which days. Empty: mon-fri.", longest=7, choices=("mon-fri", "mon-sat", "mon-thu", "all")),
        NO_LONGER,
    ),
)  # fmt: skip
ABSENCES = Table(
    file="absences.csv",
    about="Days on which somebody is away.",
    same=("person", "first", "last"),
    columns=(
        PERSON,
        _must("first", "The first day away.", Sort.DATE),
        _must("last", "The last day away.", Sort.DATE),
        _may("note", "A note.", Sort.WORDS, longest=120),
        NO_LONGER,
    ),
)
GRINDERS = Table(
    file="grinders.csv",
    about="Grinding machines of the toolroom.",
    same=("grinder",),
    columns=(
        _must("grinder", "The machine.", longest=40),
        _may("hours_a_day", "Hours on a working day. Empty: 8.", Sort.NUMBER, above=0, at_most=24),
        NO_LONGER,
    ),
)
BENCH_WORKS = Table(
    file="bench_works.csv",
    about="Work on dies: from when it was reported until the die was released or the work dropped.",
    same=("work",),
    columns=(
        WORK,
        DIE,
        _must("what", "What is to be done.", longest=200),
        _may("source", "What it was opened for. Empty: other.", longest=10,
             choices=("due", "stop", "mishap", "complaint", "inspection", "spare", "other")),
        _may("position", "Where in the die.", longest=40),
        _may("stop", "entry_id of the stop it was opened for.", longest=160),
        _may("mishap", "entry_id of the mishap it was opened for.", longest=160),
        _may("inspection", "entry_id of the look it was opened for, as in inspections.csv.", longest=160),
        _may("spare", "The spare that came.", longest=80),
        _may("spare_revision", "Its revision.", longest=20),
        _must("state", "How it stands.", longest=12, choices=STATES),
        _must("opened", "When it was opened.", Sort.TIME, past=True),
        _may("hours_foreseen", "Hours that it takes.", Sort.NUMBER, above=0, at_most=2_000),
        _may("hours_used", "Hours worked on it.", Sort.NUMBER, at_least=0, at_most=10_000),
        _may("needed_on", "The day on which the die is needed.", Sort.DATE),
        _may("not_before", "The first day on which it can begin.", Sort.DATE),
        _may("person", "Who does it, where set by hand.", longest=120),
        _may("day", "On which day, where set by hand.", Sort.DATE),
        _may("supplier", "The supplier that it goes to.", longest=40),
        _may("away_days", "Days at the supplier.", Sort.WHOLE, at_least=0, at_most=365),
        _may("back_on", "While it is away: when it is said to be back.", Sort.DATE),
        _may("late_cost", "What a day late costs.", Sort.MONEY, at_least=0, at_most=MONEY),
        _may("ended", "When it was released or dropped.", Sort.TIME, past=True),
        _may("ended_by", "Who released or dropped it.", longest=120),
        _may("ended_reason", "Why.", Sort.WORDS, longest=300),
    ),
)  # fmt: skip
BENCH_STEPS = Table(
    file="bench_steps.csv",
    about="What somebody did about a work, in words.",
    same=("key",),
    columns=(
        _must("key", "The step's own name.", longest=160),
        WORK,
        _must("at", "When.", Sort.TIME, past=True),
        _must("words", "What was done.", Sort.WORDS, longest=1_000),
        _must("state", "How the work stood afterwards.", longest=12, choices=STATES),
        _may("person", "Who did it.", longest=120),
        _may("sign_in", "The sign-in it was entered under.", longest=150),
    ),
)
BENCH_EDGES = Table(
    file="bench_edges.csv",
    about="Pieces to be ground in a work.",
    same=("work", "position"),
    columns=(
        WORK,
        _must("position", "The position.", longest=40),
        _may("advised_mm", "What was advised when the work was opened.", **MM),
        _may("grind_mm", "What is to come off. Empty: as much as it takes.", **MM),
        _may("done_mm", "What came off.", **MM),
        _may("left_out", "yes: advised, and not to be ground.", Sort.YES_NO),
        _may("why", "Why otherwise than advised.", Sort.WORDS, longest=200),
    ),
)
BENCH_PIECES = Table(
    file="bench_pieces.csv",
    about="What a work has set aside on the shelf.",
    same=("work", "spare", "spare_revision", "piece"),
    columns=(
        WORK,
        _may("spare", "The spare; or", longest=80),
        _may("spare_revision", "its revision.", longest=20),
        _may("piece", "the key of a marked piece.", longest=120),
        _may("quantity", "How many. Empty: 1.", Sort.WHOLE, at_least=1, at_most=999),
    ),
)
BENCH_ENTRIES = Table(
    file="bench_entries.csv",
    about="Which entries of the log were made in a work.",
    same=("work", "entry"),
    columns=(WORK, _must("entry", "entry_id, as in sharpenings.csv or other_work.csv.", longest=160)),
)
HOLDS = Table(
    file="holds.csv",
    about="Dies that make no parts until a first piece is approved.",
    same=("key",),
    columns=(
        _must("key", "The hold's own name.", longest=160),
        DIE,
        _must("at", "Since when.", Sort.TIME, past=True),
        _must("reason", "Why.", Sort.WORDS, longest=300),
        _may("held_by", "Who held it.", longest=120),
        _may("sign_in", "The sign-in it was entered under.", longest=150),
        _may("released", "When it was released. Empty: it is on hold.", Sort.TIME, past=True),
        _may("released_by", "Who approved the first piece.", longest=120),
        _may("released_sign_in", "The sign-in that was entered under.", longest=150),
        _may("measured", "What was measured on the first piece.", Sort.WORDS, longest=500),
    ),
)

BENCH_TABLES = (
    BENCH_HOURS, ABSENCES, GRINDERS, BENCH_WORKS, BENCH_STEPS, BENCH_EDGES, BENCH_PIECES, BENCH_ENTRIES, HOLDS,
)  # fmt: skip
