"""A die's strip from its register, for drawings to scale; none where nobody said where its places are."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from diestore.drawing import strip_cuts

from .models import Die, Position, Station


def of_die(
    die: Die,
    positions: Iterable[Position],
    stations: Iterable[Station],
    *,
    lengths: Mapping[int, float],
    idle: Collection[int] = (),
) -> strip_cuts.Strip | None:
    """lengths: of the edge that each position cuts. idle: positions that do not work as the die is set up now."""
    places = [
        strip_cuts.Place(
            code=p.code,
            kind=p.kind,
            side=p.side,
            station=p.station.sequence if p.station else None,
            x_mm=p.x_mm,
            y_mm=p.y_mm,
            length_mm=lengths.get(p.pk),
            idle=p.pk in idle,
        )
        for p in positions
    ]
    try:
        return strip_cuts.lay_out(
            places,
            [(s.sequence, s.code, s.operation) for s in stations],
            pitch_mm=die.feed_pitch_mm,
            width_mm=die.strip_width_mm,
        )
    except strip_cuts.NoPlan:
        return None
