"""Parts left in the steel: which pieces of a die are ground out first, what new ones buy, what comes then.

Pieces that are ground out before the first of them would be ground again are made new in one go: one step. A step is a
big spend where its pieces cost a stated share of all ground pieces of the die.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

import numpy as np

BIG_SHARE = Decimal("0.1")  # of what all ground pieces of the die cost new; common practice, no source
ONE = 1 - 1e-9  # of an interval: a piece that lasts one grind more is in the next step


class SteelRefused(ValueError):
    """Figures from which nothing can be told; the message carries them."""


@dataclass(frozen=True, kw_only=True)
class PieceLeft:
    """strokes: of the die until the piece is ground out as often as not. fresh: that a new one lasts in its place.

    interval: strokes from one of its grinds to the next. price: of a new one; None: not known. Raises SteelRefused for
    figures that cannot be.
    """

    place: str
    item: str
    strokes: float
    fresh: float
    interval: float
    price: Decimal | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.strokes) and self.strokes >= 0):
            raise SteelRefused(f"{self.place}: {self.strokes} strokes are left; it must be nought or more.")
        for name, value in (("a new piece lasts", self.fresh), ("an interval is", self.interval)):
            if not (math.isfinite(value) and value > 0):
                raise SteelRefused(f"{self.place}: {name} {value} strokes; it must be more than nought.")
        if self.price is not None and self.price < 0:
            raise SteelRefused(f"{self.place}: the price {self.price} is below nought.")


@dataclass(frozen=True, kw_only=True)
class Step:
    """Pieces that have to be new at once. strokes: of the die from now. buys: that new ones let the die go on until the
    next step. money: of all of them; None: a price is not known."""

    items: tuple[str, ...]
    places: tuple[str, ...]
    strokes: float
    buys: float
    money: Decimal | None
    is_big: bool


def steps(pieces: Sequence[PieceLeft], *, ahead: int = 6) -> tuple[Step, ...]:
    """The next steps of a die, the soonest first. None without pieces.

    Each piece is taken to be new when its step has come, and to last `fresh` from then on. A price that is not known
    makes no step big; where no price is known, every step is.
    """
    if ahead < 1:
        raise SteelRefused(f"{ahead} steps ahead were asked for; at least one is needed.")
    if not pieces:
        return ()
    ends, fresh, interval = (np.array([getattr(p, n) for p in pieces]) for n in ("strokes", "fresh", "interval"))
    known = [piece.price for piece in pieces if piece.price is not None]
    big = BIG_SHARE * sum(known, Decimal(0))
    found: list[tuple[float, np.ndarray]] = []
    for _ in range(ahead + 1):
        at = float(ends.min())
        together = ends - at < ONE * interval[ends == at].min()
        found.append((at, together))
        ends = np.where(together, at + fresh, ends)
    made = []
    for (at, together), (then, _) in pairwise(found):
        chosen = [piece for piece, is_in in zip(pieces, together, strict=True) if is_in]
        prices = [piece.price for piece in chosen]
        money = None if None in prices else sum((p for p in prices if p is not None), Decimal(0))
        made.append(
            Step(
                items=tuple(sorted({piece.item for piece in chosen})),
                places=tuple(sorted(piece.place for piece in chosen)),
                strokes=at,
                buys=then - at,
                money=money,
                is_big=not known or (money is not None and money >= big),
            )
        )
    return tuple(made)


def next_big(ahead: Sequence[Step]) -> Step | None:
    """The soonest that is big; None: none within the steps that are looked at."""
    return next((step for step in ahead if step.is_big), None)


def buys_most(ahead: Sequence[Step]) -> Step | None:
    """The step after which the die goes furthest until the next one; of equals the soonest."""
    return max(ahead, key=lambda step: step.buys, default=None)
