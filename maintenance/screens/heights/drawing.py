"""PURE. The pieces of each group side by side, from their plate to their tips, what is out of level enlarged. Geometry
only; the template draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diestore.drawing.scales import Even

WIDTH, LEFT, TOP, LANE = 760.0, 128.0, 22.0, 132.0
PLATE, LEVEL, CLIP = 16.0, 74.0, 34.0  # down a lane: where the plate ends, where the group stands, room beside it
LEAST_SHOWN_MM, MOST_SHOWN_MM = 0.1, 0.5  # what the room beside the level stands for
MOST_IN_A_LANE = 14
PX_PER_MM = 96 / 25.4  # of a drawing at its natural size


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A piece to draw. out_mm: out of its level, None where its height is not known. words: written at its tip."""

    code: str
    out_mm: float | None
    words: str
    has_spacer: bool = False
    is_out: bool = False


@dataclass(frozen=True, kw_only=True)
class Level:
    """Pieces that are held against one level. hangs: from the plate of the punch side; otherwise they stand up."""

    name: str
    words: str
    hangs: bool
    pieces: Sequence[Standing]


@dataclass(frozen=True, kw_only=True)
class Bar:
    piece: Standing
    x: float
    y: float
    w: float
    h: float
    spacer_y: float
    spacer_h: float
    tip: float
    words_y: float
    code_y: float  # where its name stands, beyond the plate
    beyond: bool  # further out than the drawing shows

    @property
    def middle(self) -> float:
        return self.x + self.w / 2


@dataclass(frozen=True, kw_only=True)
class Lane:
    level: Level
    top: float
    plate_y: float
    level_y: float
    band_y: float
    band_h: float
    bars: Sequence[Bar]

    @property
    def words_y(self) -> float:
        return self.top + LEVEL - 4


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """times: by how much what is out of level is drawn larger than life. bar_mm, bar_px: a length to compare with."""

    lanes: Sequence[Lane]
    width: float
    height: float
    times: int
    bar_mm: float
    bar_px: float


def draw(levels: Sequence[Level], *, tolerance_mm: float) -> Drawing | None:
    """Lanes below each other, all to one scale; nothing where no height is known."""
    known = [abs(p.out_mm) for level in levels for p in level.pieces if p.out_mm is not None]
    if not known:
        return None
    most = min(max([*known, LEAST_SHOWN_MM]), MOST_SHOWN_MM)
    px = CLIP / most
    lanes = [_lane(part, TOP + n * LANE, px, most, tolerance_mm) for n, part in enumerate(_parts(levels))]
    bar = 0.1 if most <= 0.3 else 0.2
    return Drawing(lanes=lanes, width=WIDTH, height=TOP + len(lanes) * LANE, times=round(px / PX_PER_MM), bar_mm=bar,
                   bar_px=bar * px)  # fmt: skip


def _parts(levels: Sequence[Level]) -> list[Level]:
    """Levels with more pieces than go side by side are drawn in several lanes."""
    made = []
    for level in levels:
        for first in range(0, len(level.pieces), MOST_IN_A_LANE):
            here = level.pieces[first : first + MOST_IN_A_LANE]
            name = level.name if first == 0 else f"{level.name}, on"
            made.append(Level(name=name, words=level.words if first == 0 else "", hangs=level.hangs, pieces=here))
    return made


def _lane(level: Level, top: float, px: float, most: float, tolerance_mm: float) -> Lane:
    down = 1 if level.hangs else -1
    plate_y = top + (PLATE if level.hangs else LANE - PLATE)
    level_y = top + (LEVEL if level.hangs else LANE - LEVEL)
    scale = Even(-most, most, level_y - down * CLIP, level_y + down * CLIP)
    each = (WIDTH - LEFT) / max(len(level.pieces), 4)
    wide = min(each * 0.5, 34.0)
    bars = []
    for n, piece in enumerate(level.pieces):
        tip = level_y if piece.out_mm is None else scale.at(piece.out_mm)
        start, end = sorted((plate_y, tip))
        spacer = 7.0 if piece.has_spacer else 0.0
        bars.append(
            Bar(
                piece=piece, x=LEFT + each * (n + 0.5) - wide / 2, y=start, w=wide, h=max(end - start, 1.0),
                spacer_y=plate_y if level.hangs else plate_y - spacer, spacer_h=spacer, tip=tip,
                words_y=tip + (14 if level.hangs else -5), code_y=plate_y + (-5 if level.hangs else 14),
                beyond=piece.out_mm is not None and bool(scale.beyond(piece.out_mm)),
            )
        )  # fmt: skip
    band = min(tolerance_mm, most) * px
    return Lane(level=level, top=top, plate_y=plate_y, level_y=level_y, band_y=level_y - band, band_h=2 * band,
                bars=bars)  # fmt: skip
