"""PURE. Is the die home? Stop blocks read with crushed solder, and how far the slide still has to come.

A block stands on the lower shoe and takes the upper shoe, or nearly. Where a slot of known depth is ground into its
top, a piece of soft solder laid in it and crushed by a slow stroke measures slot and opening together: what it measures
above the depth of the slot is how far the upper shoe still stands above the block [1]. Blocks are set so that the shoe
comes to a small stand-off above them and not onto them, or a soft plate is dented [1].

All lengths in mm; a tilt is in mm over a metre (the same as mrad).

[1] Common practice, no source: a slot of 0.050 in, a piece that measures 0.075 in means 0.025 in to come down; 0.001 to
    0.002 in of stand-off.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

STAND_OFF_MM = (0.0254, 0.0508)  # 0.001 to 0.002 in: common practice, no source
READING_SD_MM = 0.01  # of one crushed piece and the micrometer on it; from memory
AGREES_WITHIN_MM = (0.025, 0.05)  # corners of one set-up: toolroom practice, from memory
SURE = 0.05  # chance of naming an odd one among readings that are all right
NAMED_FROM = 6  # readings without a last good set-up: a plane takes three, and the odd one has to stand out of the rest
THINNEST_SHARE = 1e-3  # of their spread along one line that readings need across it, to fit a plane


class StopBlockError(ValueError):
    """Readings that cannot be; the message is one sentence that says what to do."""


def _length(what: str, value: float, place: str, *, least: float = 0.0) -> float:
    if isinstance(value, bool) or not math.isfinite(value) or value < least:
        raise StopBlockError(f"The {what} at {place} must be {least:g} mm or more, not {value:g} mm.")
    return float(value)


@dataclass(frozen=True, kw_only=True)
class BlockReading:
    """One crushed piece. slot_mm: depth of the slot, nought where the piece lies on a plain block. x_mm along the feed
    and y_mm across it, from wherever the die's places are measured; None where nobody measured them.
    """

    place: str
    crushed_mm: float
    slot_mm: float = 0.0
    stand_off_mm: float = STAND_OFF_MM[1]
    x_mm: float | None = None
    y_mm: float | None = None

    def __post_init__(self) -> None:
        _length("crushed piece", self.crushed_mm, self.place)
        _length("slot", self.slot_mm, self.place)
        _length("stand-off", self.stand_off_mm, self.place)

    @property
    def to_contact_mm(self) -> float:
        """How far the upper shoe stands above the block."""
        return self.crushed_mm - self.slot_mm

    @property
    def to_target_mm(self) -> float:
        """How far it has to come down to its stand-off; less than nought where it has come too far."""
        return self.to_contact_mm - self.stand_off_mm


@dataclass(frozen=True, kw_only=True)
class Tilt:
    """A plane through the openings. mm over a metre, above nought where the opening grows along x, across y.

    error_*: standard error, by the scatter about the plane with four readings or more, otherwise None: three readings
    lie on a plane whatever they are.
    """

    x_mm_m: float
    y_mm_m: float
    error_x_mm_m: float | None
    error_y_mm_m: float | None
    scatter_mm: float | None
    residuals_mm: tuple[float, ...]


class Odd(StrEnum):
    """What the readings say of one that does not fit the others."""

    NONE = "none"
    NAMED = "named"
    TOO_FEW = "too few"  # something may be wrong, and these readings cannot say where


@dataclass(frozen=True, kw_only=True)
class Closing:
    """How the die stands. lower_by_mm: how far the slide may come before the first block is at its target."""

    to_contact_mm: tuple[float, ...]
    to_target_mm: tuple[float, ...]
    lower_by_mm: float
    spread_mm: float
    tilt: Tilt | None
    odd: Odd
    odd_place: str = ""
    odd_by_mm: float = 0.0

    @property
    def is_level(self) -> bool:
        """Within what four corners of a good set-up agree to."""
        return self.spread_mm <= AGREES_WITHIN_MM[1]

    @property
    def is_home(self) -> bool:
        """No block touched, and every one at its stand-off within what one reading is good for."""
        return min(self.to_contact_mm) >= 0 and max(map(abs, self.to_target_mm)) <= 2 * READING_SD_MM


def closing(readings: Sequence[BlockReading], *, last_good: Sequence[BlockReading] = ()) -> Closing:
    """Where the slide stands, how it is tilted, and which reading does not fit.

    readings: one or more, each place once. last_good: those of a set-up of this die that was right, for the same
    places. The plane needs three places that do not lie on one line; without their x and y there is none.
    Raises StopBlockError.
    """
    if not readings:
        raise StopBlockError("Lay solder on at least one block and measure it.")
    places = [reading.place for reading in readings]
    if len(set(places)) < len(places):
        twice = next(place for place in places if places.count(place) > 1)
        raise StopBlockError(f"There are two readings at {twice}: keep the one that counts.")
    contact = np.array([reading.to_contact_mm for reading in readings])
    target = np.array([reading.to_target_mm for reading in readings])
    tilt = _tilt(readings, target)
    odd, place, by = _odd_one(readings, target, tilt, last_good)
    return Closing(
        to_contact_mm=tuple(contact.tolist()),
        to_target_mm=tuple(target.tolist()),
        lower_by_mm=float(target.min()),
        spread_mm=float(np.ptp(contact)),
        tilt=tilt,
        odd=odd,
        odd_place=place,
        odd_by_mm=by,
    )


def next_shut_height_mm(now_mm: float, closing: Closing) -> float:
    """What to dial in: the shut height now less what the slide may come down."""
    if not math.isfinite(now_mm) or now_mm <= 0:
        raise StopBlockError("Type the shut height that the press shows now, in mm.")
    return now_mm - closing.lower_by_mm


def _where(readings: Sequence[BlockReading]) -> np.ndarray | None:
    """Columns 1, x, y about their means, in m; None where they do not span a plane."""
    if len(readings) < 3 or any(reading.x_mm is None or reading.y_mm is None for reading in readings):
        return None
    at = np.array([(reading.x_mm, reading.y_mm) for reading in readings], dtype=float) / 1000
    at -= at.mean(axis=0)
    spread = np.linalg.svd(at, compute_uv=False)
    if spread[0] == 0 or spread[1] < THINNEST_SHARE * spread[0]:
        return None
    return np.column_stack([np.ones(len(at)), at])


def _tilt(readings: Sequence[BlockReading], opening: np.ndarray) -> Tilt | None:
    design = _where(readings)
    if design is None:
        return None
    fitted, *_ = np.linalg.lstsq(design, opening, rcond=None)
    residuals = opening - design @ fitted
    free = len(opening) - 3
    error_x = error_y = scatter = None
    if free:
        scatter = math.sqrt(float(residuals @ residuals) / free)
        spread = np.linalg.inv(design.T @ design)
        error_x, error_y = (scatter * math.sqrt(spread[i, i]) for i in (1, 2))
    return Tilt(
        x_mm_m=float(fitted[1]),
        y_mm_m=float(fitted[2]),
        error_x_mm_m=error_x,
        error_y_mm_m=error_y,
        scatter_mm=scatter,
        residuals_mm=tuple(residuals.tolist()) if free else (0.0,) * 3,
    )


def _odd_one(
    readings: Sequence[BlockReading], opening: np.ndarray, tilt: Tilt | None, last_good: Sequence[BlockReading]
) -> tuple[Odd, str, float]:
    """Where something binds or a chip lies under: one reading that stands out from the rest.

    Against the last good set-up of the same places the slide has come down by one amount everywhere; the one that has
    not is odd. Without it, the readings are held against their own plane. Four corners of a rectangle share an error e
    of any one of them as e/4 each, so they name none; from six on the residual over its own standard error without it
    follows Student's t with n - 4 degrees of freedom, and the largest of n is held against SURE / n (Bonferroni).
    """
    from scipy import stats  # three quarters of a second that no page waits for at the start

    before = {reading.place: reading.to_target_mm for reading in last_good}
    if len(readings) >= 3 and all(reading.place in before for reading in readings):
        change = opening - np.array([before[reading.place] for reading in readings])
        off = np.array([change[i] - np.median(np.delete(change, i)) for i in range(len(change))])
        # The reading, its like in the last good set-up, and about half of that for the middle of the others.
        limit = float(stats.norm.isf(SURE / (2 * len(off)))) * READING_SD_MM * math.sqrt(3)
        worst = int(np.argmax(np.abs(off)))
        others = np.delete(off, worst)
        if abs(off[worst]) > limit and np.abs(others).max() < abs(off[worst]):
            return Odd.NAMED, readings[worst].place, float(off[worst])
        return Odd.NONE, "", 0.0
    if tilt is None or len(readings) < 4:
        return (Odd.TOO_FEW if np.ptp(opening) > AGREES_WITHIN_MM[1] else Odd.NONE), "", 0.0
    residuals = np.array(tilt.residuals_mm)
    count = len(residuals)
    if count < NAMED_FROM:
        # The plane's own scatter has one or two degrees of freedom: held against what a reading is good for.
        chance = float(stats.chi2.sf((residuals @ residuals) / READING_SD_MM**2, count - 3))
        return (Odd.TOO_FEW if chance < SURE else Odd.NONE), "", 0.0
    design = _where(readings)
    assert design is not None
    hat = np.einsum("ij,jk,ik->i", design, np.linalg.inv(design.T @ design), design)
    free = count - 4
    left = np.clip(1 - hat, 1e-12, None)
    without = np.sqrt(np.clip((residuals @ residuals - residuals**2 / left) / free, 0, None))
    # Readings that agree better than any micrometer would call anything odd.
    t = np.abs(residuals) / (np.maximum(without, READING_SD_MM / 2) * np.sqrt(left))
    worst = int(np.argmax(t))
    if 2 * stats.t.sf(t[worst], free) * count < SURE:
        return Odd.NAMED, readings[worst].place, float(residuals[worst] / left[worst])
    return Odd.NONE, "", 0.0
