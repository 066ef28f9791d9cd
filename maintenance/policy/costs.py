"""What decisions on a die cost, in one currency, and what they take of hours, parts and steel."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


class CostsRefused(ValueError):
    """A cost below nought or no number; the message says which."""


def _column(value: ArrayLike) -> Array:
    return np.atleast_1d(np.asarray(value, float))


@dataclass(frozen=True, kw_only=True)
class Costs:
    """teardown: C0, of pulling the die, taking it apart and putting it back, whatever is ground. grind: [edges] c_e of
    grinding one edge while the die is apart: bench time, and the steel that it takes off. dull: delta, of a dull edge
    that is found at a usual look: sorting the parts since the look before, and half a look of scrap. pull: more where
    the order is broken off for it, planned or not: the press waits, out and in again. chip: of a chipped edge, its own
    repair and its scrap. chip_rate: [edges] lambda, chips a hit. look_hits: hits from one look to the next.

    Beside the money: teardown_hours and grind_hours [edges] at the bench, swap_hours to change one piece for a ground
    one from the shelf, stop_hours that the press waits when an order is broken off, scrap_parts of a dull edge,
    grind_mm [edges] taken off at a grind.
    """

    teardown: float
    grind: Array
    dull: float
    pull: float = 0.0
    chip: float = 0.0
    chip_rate: Array = field(default_factory=lambda: np.zeros(1))
    look_hits: float = 10_000.0
    teardown_hours: float = 0.0
    grind_hours: Array = field(default_factory=lambda: np.zeros(1))
    swap_hours: float = 0.0
    stop_hours: float = 0.0
    scrap_parts: float = 0.0
    grind_mm: Array = field(default_factory=lambda: np.zeros(1))

    def __post_init__(self) -> None:
        object.__setattr__(self, "grind", _column(self.grind))
        for name in ("chip_rate", "grind_hours", "grind_mm"):
            column = _column(getattr(self, name))
            object.__setattr__(self, name, np.broadcast_to(column, self.grind.shape) if len(column) == 1 else column)
            if getattr(self, name).shape != self.grind.shape:
                raise CostsRefused(f"{len(column)} figures of {name} for {len(self.grind)} edges.")
        for name in self.__dataclass_fields__:
            value = np.asarray(getattr(self, name))
            if not np.isfinite(value).all() or (value < 0).any():
                raise CostsRefused(f"{name} is {float(value.min()):g}; it must be nought or more.")
        if self.look_hits <= 0:
            raise CostsRefused("hits between looks must be more than nought.")
        if self.set <= 0:
            raise CostsRefused("sharpening the set costs nothing by these figures, so it would never stop.")

    @property
    def set(self) -> float:
        """C: a teardown in which every edge is ground."""
        return self.teardown + float(self.grind.sum())

    @property
    def chips_a_hit(self) -> float:
        """n lambda of the whole die."""
        return float(self.chip_rate.sum())

    def usual_dull(self, order_looks: float) -> float:
        """Of a dull edge found at any look of an order with so many: the last one breaks nothing off."""
        return self.dull + self.pull * (1 - 1 / max(order_looks, 1.0))

    def times(self, name: str, by: float) -> Costs:
        """The same with one figure so many times as large."""
        return replace(self, **{name: getattr(self, name) * by})
