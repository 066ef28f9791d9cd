"""The plain cards of the bench: people's hours, absences, grinders."""

from __future__ import annotations

from diestore.access import roles
from diestore.cards.described import Card, Typed
from maintenance.models import Absence, BenchHours, Grinder


def _active(people):
    return people.filter(active=True)


TAKE_BACK = ("Take it back", "It holds again", "{} is taken back.", "{} holds again.", "taken back")

HOURS = Card(
    key="bench_hours", app="maintenance", model=BenchHours, one="person's hours for the bench",
    many="hours for the bench",
    intro="How many hours a day each person has for work on dies. The bench is planned by it.",
    typed=(
        Typed("person", "Person", only=_active),
        Typed("hours_a_day", "Hours a day", "At the bench, without what goes to presses and paper."),
        Typed("days", "On which days"),
    ),
    columns=("person", "hours_a_day", "days"), search=("person__name",), see=(roles.LOG_SHARPENING,),
    edit=(roles.PLAN_BENCH,), plant="person__plant", related=("person",), order=("person__name", "pk"),
)  # fmt: skip
ABSENCES = Card(
    key="absences", app="maintenance", model=Absence, one="absence", many="absences",
    intro="Days on which somebody is away: nothing is planned for them then.",
    typed=(
        Typed("person", "Person", only=_active),
        Typed("first", "First day away"),
        Typed("last", "Last day away"),
        Typed("note", "Note", "No reason is needed."),
    ),
    columns=("person", "first", "last", "note"), search=("person__name", "note"), see=(roles.LOG_SHARPENING,),
    edit=(roles.PLAN_BENCH,), plant="person__plant", related=("person",), order=("-first", "person__name", "pk"),
    out=TAKE_BACK,
)  # fmt: skip
GRINDERS = Card(
    key="grinders", app="maintenance", model=Grinder, one="grinder", many="grinders",
    intro="Grinding machines of the toolroom: not more is planned at them than they run.",
    typed=(
        Typed("code", "Grinder"),
        Typed("plant", "Plant"),
        Typed("hours_a_day", "Hours on a working day"),
    ),
    columns=("code", "hours_a_day"), search=("code",), see=(roles.LOG_SHARPENING,), edit=(roles.PLAN_BENCH,),
    plant="plant", related=("plant",), order=("code", "pk"),
)  # fmt: skip
CARDS = (HOURS, ABSENCES, GRINDERS)
