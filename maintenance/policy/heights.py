"""PURE (standard library). How high the pieces of a die stand after grinding, what is out, and what puts it right.

A piece stands as high as it is long, with the spacers under it and the depth of its seat. Pieces of one height group
have to be level; the group stands where most of its pieces stand: the median of their heights, the lower of the two
middle ones. All lengths in mm.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Hashable, Mapping
from dataclasses import dataclass

STEP_MM = 0.15  # between neighbours of one group, from which a sharpening is asked about: common practice, no source


class HeightError(ValueError):
    """Heights that cannot be; the message is one sentence that says what to do."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """A piece that stands out of its group. by_mm: above nought where it is proud of the others, below where short."""

    name: Hashable
    height_mm: float
    reference_mm: float

    @property
    def by_mm(self) -> float:
        return self.height_mm - self.reference_mm


def reference_mm(heights_mm: Mapping[Hashable, float]) -> float:
    """Where a group stands: the median of its pieces' heights, the lower of the two middle ones.

    heights_mm: one or more, by any name. Raises HeightError.
    """
    if not heights_mm:
        raise HeightError("No height of this group is known: measure at least one piece.")
    for name, height in heights_mm.items():
        if isinstance(height, bool) or not math.isfinite(height) or height < 0:
            raise HeightError(f"The height of {name} must be 0 mm or more, not {height:g} mm.")
    return statistics.median_low(heights_mm.values())


def step_against_group(heights_mm: Mapping[Hashable, float], *, step_mm: float = STEP_MM) -> tuple[Step, ...]:
    """The pieces of one height group that differ from it by more than step_mm, in the order given.

    heights_mm: of each piece of the group, length and spacers together (lengths alone where none has a spacer). One
    piece, or none, is never out. Raises HeightError.
    """
    if not heights_mm:
        return ()
    if isinstance(step_mm, bool) or not math.isfinite(step_mm) or step_mm < 0:
        raise HeightError(f"A step must be 0 mm or more, not {step_mm:g} mm.")
    level = reference_mm(heights_mm)
    return tuple(
        Step(name=name, height_mm=height, reference_mm=level)
        for name, height in heights_mm.items()
        if abs(height - level) > step_mm + 1e-9
    )
