"""Inspections with something in every column, for the round trip."""

from __future__ import annotations

from maintenance.log import inspections
from maintenance.models import BenchWork, Grinder, Inspection, InspectionPlan


def inspected(*, plant, die, press, by, at) -> None:
    plan = inspections.plan_inspection(
        by=by, plant=plant, die=die, kind=die.positions.get(code="1-A").kind, what="springs; all eight",
        every_days=30, every_hits=250_000,
        why="= the maker says so", proposal="springs", since=at(5), key="plan 1",
    )  # fmt: skip
    grinder = Grinder.objects.first()
    for number, named in enumerate(({"press": press}, {"grinder": grinder}, {})):
        inspections.plan_inspection(
            by=by, plant=plant, what="looked over", every_days=7 + number, since=at(6), key=f"plan 2{number}", **named
        )
    InspectionPlan.objects.filter(key="plan 21").update(retired_at=at(9))
    look = inspections.log_inspection(by=by, plan=plan, at=at(7), is_finding=True, note="one broken", key="look; 1",
                                      parts_scrapped=3)  # fmt: skip
    BenchWork.objects.filter(key="plain").update(inspection=look)
    inspections.log_inspection(by=by, plan=InspectionPlan.objects.get(key="plan 20"), at=at(8))
    assert Inspection.objects.count() == 2
