"""What stands on the page of a place in which a spring sits. Reads only."""

from __future__ import annotations

from dataclasses import dataclass

from diestore.handbook.cautions import CAUTIONS
from diestore.register.models import Position
from maintenance.log import spring_reads, spring_words

from .page import EdgeState


@dataclass(frozen=True, kw_only=True)
class SpringPanel:
    """verdict: of its strokes, or that it cannot run so. missing: what its cards do not say."""

    is_gas: bool
    verdict: str
    is_short: bool
    lines: list[spring_words.Told]
    missing: list[str]
    caution: str


def of_position(edge: EdgeState) -> SpringPanel:
    die, code = edge.position.die, edge.position.code

    def keep(place: Position) -> bool:
        still = place.valid_to is None or place.valid_to > edge.now
        return place.pk == edge.position.pk or (place.item_id == edge.position.item_id and still)

    places = spring_reads.places_of(die, keep=keep)
    mine = next(place for place in places if place.position.pk == edge.position.pk)
    alike = [place.position for place in places if place.position.kind == edge.position.kind]
    sort = None if mine.position.item is None else spring_reads.sort_of(die, mine.position.item, alike)
    clocks = {} if sort is None else spring_reads.clocks_of(edge.log, [sort], edge.now.timestamp())
    clock = clocks.get(code)
    lines = [] if sort is None else list(spring_words.of_sort(sort, {}, edge.system))
    if clock is not None:
        lines.append(spring_words.strokes(clock))
    lines += spring_words.of_place(mine, sort, edge.system)
    wrong = "" if sort is None else spring_words.over(sort, edge.system)
    return SpringPanel(
        is_gas=mine.is_gas,
        verdict=wrong or spring_words.verdict(clock),
        is_short=bool(wrong) or any(line.is_short for line in lines),
        lines=lines,
        missing=spring_reads.missing_of(die, mine),
        caution=CAUTIONS["gas springs" if mine.is_gas else "springs"].reminder,
    )
