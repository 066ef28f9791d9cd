"""PURE (standard library). How long and how high a piece stands after its entries, and what stands out of its group.

A piece stands as high as it is long, with the spacers under it. A length that was measured counts from then on,
whatever the entries before it sum up to; what they differ by is told. What came off and was not written down leaves the
length unknown until somebody measures it: nothing is guessed.

One rule for groups. Pieces of one height group have to be level [1]. The group stands where most of its pieces stand:
the median of their heights, the lower of the two middle ones.

All lengths in mm; a moment is any number that sorts.

[1] Level within 0.05 mm, steps of 0.15 mm asked about: common practice, no source.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeVar

LEVEL_MM = 0.05
STEP_MM = 0.15
SLIP_MM = 0.02  # a measured length further than this from the sum of the entries is told
HAIR = 1e-9


class HeightError(ValueError):
    """Heights that cannot be; the message is one sentence that says what to do."""


Name = TypeVar("Name", bound=Hashable)


# --- one group --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Step:
    """A piece that stands out of its group. by_mm: above nought where it is proud of the others, below where short."""

    name: Hashable
    height_mm: float
    reference_mm: float

    @property
    def by_mm(self) -> float:
        return self.height_mm - self.reference_mm


def reference_mm(heights_mm: Mapping[Name, float]) -> float:
    """Where a group stands: the median of its pieces' heights, the lower of the two middle ones.

    heights_mm: one or more, by any name. Raises HeightError.
    """
    if not heights_mm:
        raise HeightError("No height of this group is known: measure at least one piece.")
    for name, height in heights_mm.items():
        if isinstance(height, bool) or not math.isfinite(height) or height < 0:
            raise HeightError(f"The height of {name} must be 0 mm or more, not {height:g} mm.")
    return statistics.median_low(heights_mm.values())


def step_against_group(heights_mm: Mapping[Name, float], *, step_mm: float = STEP_MM) -> tuple[Step, ...]:
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
        if abs(height - level) > step_mm + HAIR
    )


# --- one piece --------------------------------------------------------------------------------------------------------


class Lack(StrEnum):
    """Why a height is not known."""

    EMPTY = "empty"  # nothing sits in the place
    LENGTH = "length"  # no length was ever entered
    AMOUNT = "amount"  # something came off, and nobody wrote how much
    SPACERS = "spacers"  # more spacers came out than went under
    SEAT = "seat"  # of another length than its group when new, and its seat was not entered


@dataclass(frozen=True, kw_only=True)
class Entry:
    """What one entry of the log did to a piece.

    off_mm: ground away, None where that was not written. under_mm: spacer set under it, below nought where one came
    out. measured_mm: how long it was afterwards.
    """

    at: float
    off_mm: float | None = 0.0
    under_mm: float = 0.0
    measured_mm: float | None = None

    def __post_init__(self) -> None:
        for what, value, least in (
            ("What came off", self.off_mm, 0.0),
            ("The spacer", self.under_mm, -math.inf),
            ("The length", self.measured_mm, 0.0),
        ):
            if value is not None and (isinstance(value, bool) or not math.isfinite(value) or value < least):
                raise HeightError(f"{what} cannot be {value:g} mm: measure it again.")


@dataclass(frozen=True, kw_only=True)
class Slip:
    """A length that was measured, and what the entries before it lead to expect less."""

    at: float
    measured_mm: float
    by_mm: float


@dataclass(frozen=True, kw_only=True)
class Standing:
    """How a piece stands, without its seat. off_mm: all that is known to have come off it. at: of the entry in which
    something lacks."""

    length_mm: float | None
    spacers_mm: float = 0.0
    off_mm: float = 0.0
    lack: Lack | None = None
    at: float | None = None
    slips: tuple[Slip, ...] = ()

    @property
    def height_mm(self) -> float | None:
        return None if self.length_mm is None or self.lack else self.length_mm + self.spacers_mm


def standing(new_mm: float | None, entries: Iterable[Entry], *, at: float = math.inf) -> Standing:
    """Length and spacers of a piece after its entries up to a moment, that moment included.

    new_mm: its length when its record began. Off a known length the amounts add up; what was measured replaces the sum.
    Raises HeightError.
    """
    if new_mm is not None and (isinstance(new_mm, bool) or not math.isfinite(new_mm) or new_mm < 0):
        raise HeightError(f"A piece cannot be {new_mm:g} mm long: type its length again.")
    mine = sorted((entry for entry in entries if entry.at <= at), key=lambda entry: entry.at)
    base, gone, slips = new_mm, [], []
    lack, lacks_at = (Lack.LENGTH if new_mm is None else None), None
    for entry in mine:
        if entry.off_mm is None:
            if base is not None:
                base, lack, lacks_at = None, Lack.AMOUNT, entry.at
        else:
            gone.append(entry.off_mm)
        if entry.measured_mm is not None:
            if base is not None:
                by = entry.measured_mm - (base - math.fsum(gone))
                if abs(by) > SLIP_MM + HAIR:
                    slips.append(Slip(at=entry.at, measured_mm=entry.measured_mm, by_mm=by))
            base, gone, lack, lacks_at = entry.measured_mm, [], None, None
    spacers = math.fsum(entry.under_mm for entry in mine)
    length = None if base is None else base - math.fsum(gone)
    if length is not None and length < -HAIR:
        raise HeightError("More came off a piece than it is long: type its length, or what came off, again.")
    if spacers < -HAIR:
        lack, lacks_at = Lack.SPACERS, mine[-1].at
    return Standing(
        length_mm=length,
        spacers_mm=spacers,
        off_mm=math.fsum(entry.off_mm or 0.0 for entry in mine),
        lack=lack,
        at=lacks_at,
        slips=tuple(slips),
    )
