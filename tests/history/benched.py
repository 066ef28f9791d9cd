"""A bench with something in every column, for the round trip."""

from __future__ import annotations

from decimal import Decimal

from diestore.register.models import Piece
from maintenance.models import (
    Absence,
    BenchEdge,
    BenchHours,
    BenchPiece,
    BenchStep,
    BenchWork,
    DieHold,
    Grinder,
    Incident,
    Stop,
    Work,
)


def bench(*, plant, die, person, user, supplier, item, at) -> None:
    BenchHours.objects.create(person=person, hours_a_day=7.5, days="mon-thu", retired_at=at(30))
    Absence.objects.create(person=person, first=at(12).date(), last=at(14).date(), note="a course; two days")
    Absence.objects.create(person=person, first=at(12).date(), last=at(14).date(), retired_at=at(11))
    Grinder.objects.create(plant=plant, code="surface; 1", hours_a_day=6.5, retired_at=at(40))
    place = die.positions.get(code="1-A")
    whole = BenchWork.objects.create(
        die=die, key="work; 1", what="grind the set, look at 1-A", source="mishap", position=place,
        stop=Stop.objects.filter(die=die).first(), incident=Incident.objects.filter(die=die).first(), item=item,
        state="dropped", opened_at=at(9), hours_foreseen=4.25, hours_used=1.5, needed_on=at(15).date(),
        not_before=at(10).date(), person=person, day=at(11).date(), supplier=supplier, away_days=6,
        back_on=at(13).date(), late_cost=Decimal("120.5"), ended_at=at(16), ended_by=person,
        ended_reason="= done by the builder",
    )  # fmt: skip
    whole.entries.set(Work.objects.filter(position__die=die)[:2])
    plain = BenchWork.objects.create(die=die, key="plain", what="new springs", opened_at=at(9))
    BenchStep.objects.create(
        work=whole, key="step 1", at=at(9), words="opened: by hand", state="planned", person=person, user=user
    )
    BenchEdge.objects.create(work=whole, position=place, advised_mm=0.12, grind_mm=0.1, done_mm=0.15)
    BenchEdge.objects.create(work=plain, position=place, advised_mm=0.12, left_out=True, why="- sharp; the lens")
    BenchPiece.objects.create(work=whole, item=item, quantity=3)
    BenchPiece.objects.create(work=plain, piece=Piece.objects.get(key="never fitted"))
    DieHold.objects.create(
        die=die, key="hold 1", at=at(9), reason="burr on the left part", held_by=person, held_user=user,
        released_at=at(10), released_by=person, released_user=user, measured="burr 18 um, hole 6.02",
    )  # fmt: skip
    DieHold.objects.create(die=die, key="hold 2", at=at(17), reason="bent part")
