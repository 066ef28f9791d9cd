"""PURE. Points and shapes as the words of an SVG path. Places are written to a tenth."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

Point = tuple[float, float]


def place(value: float) -> str:
    return f"{round(value, 1):g}"


def line(points: Iterable[Point]) -> str:
    """A line through the points; nothing where there are none."""
    words = " L".join(f"{place(x)} {place(y)}" for x, y in points)
    return f"M{words}" if words else ""


def area(there: Sequence[Point], back: Sequence[Point]) -> str:
    """What lies between two lines, both told from left to right."""
    return f"{line([*there, *reversed(back)])}Z" if there and back else ""


def broken(points: Iterable[Point | None]) -> str:
    """A line that is lifted wherever there is no point."""
    pieces, piece = [], []
    for point in [*points, None]:
        if point is not None:
            piece.append(point)
        elif piece:
            pieces.append(line(piece))
            piece = []
    return " ".join(pieces)


def pointer(x: float, y: float, *, width: float, height: float) -> str:
    """A filled arrow head whose tip stands at x, y: to the right where the width is above nought, else to the left."""
    return f"M{place(x)} {place(y)}l{place(-width)} {place(-height / 2)}v{place(height)}z"


def notch(x: float, y: float, *, width: float = 10, height: float = 7) -> str:
    """A filled mark that points down at x, y."""
    return f"M{place(x)} {place(y)}l{place(-width / 2)} {place(-height)}h{place(width)}z"
