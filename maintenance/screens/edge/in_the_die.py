"""Where an edge sits in its die: the plan to scale, small, with its own mark and no other."""

from __future__ import annotations

from django.db.models import F, Q

from diestore.drawing import scale_plan
from diestore.drawing.strip_plan import PlanPosition
from diestore.handbook.kinds import KINDS
from diestore.register import strips
from maintenance.log.expected import cut_lengths

from .page import EdgeState

WIDTH, TALLEST = 440.0, 130.0


def plan_of(edge: EdgeState) -> scale_plan.ScalePlan | None:
    """None where nobody said where the places are, or where it belongs to no station."""
    here = edge.position
    if here.station is None or here.x_mm is None or here.y_mm is None:
        return None
    now = edge.now
    in_use = Q(valid_to__isnull=True) | Q(valid_to__gt=now)
    places = here.die.positions.filter(in_use).select_related("station")
    positions = list(places.order_by(F("station__sequence").asc(nulls_last=True), "code"))
    stations = {p.station_id: p.station for p in positions if p.station}
    strip = strips.of_die(here.die, positions, stations.values(), lengths=cut_lengths(edge.log, now.timestamp()))
    if strip is None:
        return None
    mark = PlanPosition(
        code=here.code,
        kind=here.kind,
        shape=KINDS[here.kind].shape,
        side=here.side,
        station=here.station.code,
        cuts=edge.cuts,
        share_left=edge.edge.share_left if edge.edge else None,
        title=f"{here.code} {edge.kind}",
        url="",
    )
    others = [
        PlanPosition(code=p.code, kind=p.kind, shape="", side=p.side, station="", cuts=False)
        for p in positions
        if p.pk != here.pk
    ]
    return scale_plan.lay_out(strip, [mark, *others], only=here.code, width=WIDTH, tallest=TALLEST)
