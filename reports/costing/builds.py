"""Two ways of building the same die: cost per thousand parts against volume, and where they cross."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from .break_even import BreakEven, break_even
from .elements import THOUSAND
from .money import LARGEST, MoneyRefused, amount, from_float, quantity


@dataclass(frozen=True, kw_only=True)
class BuildPlan:
    """A way of building a die and what it brings.

    price: of the build. parts_per_hit: good parts a stroke. intervals_hits: mean strokes between sharpenings of the
    die, one figure for each of several equally likely worlds; world 3 of one plan is world 3 of the other. sharpening:
    money for one sharpening of the set (hours at their rate, bought work). spares_per_sharpening: what one grind uses
    up of the set, see `worn_off_per_sharpening`. per_million_hits: what goes by the stroke whatever the interval
    (chipped punches, stops).
    """

    name: str
    price: Decimal
    parts_per_hit: int
    intervals_hits: tuple[float, ...]
    sharpening: Decimal
    spares_per_sharpening: Decimal = Decimal(0)
    per_million_hits: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        for name in ("price", "sharpening", "spares_per_sharpening", "per_million_hits"):
            amount(getattr(self, name), f"{name.replace('_', ' ')} of {self.name}")
        if self.parts_per_hit < 1:
            raise MoneyRefused(f"{self.name} makes {self.parts_per_hit} parts a hit; at least one is needed.")
        intervals = np.asarray(self.intervals_hits, float)
        if intervals.size == 0 or not np.isfinite(intervals).all() or (intervals <= 0).any():
            raise MoneyRefused(
                f"{self.name} needs intervals between sharpenings above nought, got {intervals.tolist()}."
            )

    def running_per_part(self) -> NDArray[np.float64]:
        """Money a part apart from the build price, one a world: in the long run 1 / interval sharpenings a stroke."""
        per_hit = float(self.sharpening + self.spares_per_sharpening) / np.asarray(self.intervals_hits, float)
        return (per_hit + float(self.per_million_hits) / 1e6) / self.parts_per_hit

    def running_per_thousand(self, share_of_band: float = 0.8) -> Figure:
        return _figure(self.running_per_part() * 1000, share_of_band)

    def parts_of_running(self) -> dict[str, Decimal]:
        """Expected money per thousand parts by element: sharpening, spares, other. They add up to the mean."""
        a_hit = float(np.mean(1 / np.asarray(self.intervals_hits, float)))
        per_thousand_hits = Decimal(1000) / self.parts_per_hit
        return {
            "sharpening": from_float(float(self.sharpening * per_thousand_hits) * a_hit),
            "spares": from_float(float(self.spares_per_sharpening * per_thousand_hits) * a_hit),
            "by the stroke": from_float(float(self.per_million_hits * per_thousand_hits) / 1e6),
        }


@dataclass(frozen=True, kw_only=True)
class Figure:
    """An expected amount and the band that holds the asked share of the worlds."""

    expected: Decimal
    low: Decimal
    high: Decimal


@dataclass(frozen=True, kw_only=True)
class CostCurve:
    """Cost per thousand parts at each volume: build price / volume x 1000 + running cost."""

    name: str
    expected: tuple[Decimal, ...]
    low: tuple[Decimal, ...]
    high: tuple[Decimal, ...]


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """volumes: parts over the life of the die. crossing: by the expected running costs.

    crossing_band: parts between which the lines cross in the band's share of the worlds. Where they never do, the
    dearer build never pays: that counts as a crossing beyond every volume, and an end there is None. The whole band is
    None where they cross in no world. share_that_cross: how many of the worlds have a crossing.
    """

    a: BuildPlan
    b: BuildPlan
    volumes: tuple[int, ...]
    curves: tuple[CostCurve, CostCurve]
    crossing: BreakEven
    crossing_band: tuple[Decimal | None, Decimal | None] | None
    share_that_cross: float
    share_of_band: float

    def chance_b_is_cheaper(self, parts: int) -> float:
        """Share of the worlds in which B has cost less than A after so many parts; half where they cost the same."""
        difference = _total(self.b, parts) - _total(self.a, parts)
        return float(np.mean(np.where(difference < 0, 1.0, np.where(difference == 0, 0.5, 0.0))))


def worn_off_per_sharpening(pieces: Sequence[tuple[Decimal, float | None]]) -> Decimal:
    """What one sharpening of a set uses up of its pieces: sum of price / (grinds in a new piece + 1).

    pieces: (unit price, grinds that a new piece allows on average); None grinds: never ground out, adds nothing. A
    piece with g grinds serves g + 1 intervals.
    """
    total = Decimal(0)
    for price, grinds in pieces:
        if grinds is None:
            continue
        if grinds < 0:
            raise MoneyRefused(f"a new piece allows {grinds} grinds; it must be nought or more.")
        total += amount(price, "the price of a piece") / (quantity(grinds, "the grinds of a new piece") + 1)
    return total


def compare_builds(a: BuildPlan, b: BuildPlan, *, volumes: Sequence[int], share_of_band: float = 0.8) -> Comparison:
    """Cost per thousand of two builds at each volume, the volume where they cross, and how sure that is.

    Cost of V parts in a world = price + V x running cost a part; crossing V = (price B - price A) / (running A -
    running B), see `break_even`.
    Limits: both outlast the volume (worn pieces are in the running cost); the first sharpening comes a whole interval
    after the start, so that volumes below some five intervals are charged a part of a sharpening that comes later.
    Raises MoneyRefused where the plans do not describe the same worlds or a volume is not above nought.
    """
    if len(a.intervals_hits) != len(b.intervals_hits):
        raise MoneyRefused(
            f"{a.name} has intervals in {len(a.intervals_hits)} worlds, {b.name} in {len(b.intervals_hits)}."
        )
    if not volumes or min(volumes) < 1:
        raise MoneyRefused("a volume of at least one part is needed.")
    if not 0 < share_of_band < 1:
        raise MoneyRefused(f"a band that holds {share_of_band:g} of the worlds; it must lie between 0 and 1.")
    run_a, run_b = a.running_per_part(), b.running_per_part()
    extra = float(b.price - a.price)
    saved = run_a - run_b
    # beyond the largest amount no die is ever run: alike but for rounding, such lines never meet
    with np.errstate(divide="ignore", invalid="ignore"):
        crossings = np.where(saved != 0, extra / saved, np.inf)
    crossings[~((crossings > 0) & (crossings < float(LARGEST)))] = np.inf
    band = None
    if np.isfinite(crossings).any():
        tail = (1 - share_of_band) / 2
        low = float(np.quantile(crossings, tail, method="lower"))
        high = float(np.quantile(crossings, 1 - tail, method="higher"))
        band = (_amount(low), _amount(high))
    return Comparison(
        a=a,
        b=b,
        volumes=tuple(int(v) for v in volumes),
        curves=(_curve(a, volumes, share_of_band), _curve(b, volumes, share_of_band)),
        crossing=break_even(
            tool_cost_a=a.price,
            part_cost_a=_mean(run_a),
            tool_cost_b=b.price,
            part_cost_b=_mean(run_b),
        ),
        crossing_band=band,
        share_that_cross=float(np.isfinite(crossings).mean()),
        share_of_band=share_of_band,
    )


def _amount(parts: float) -> Decimal | None:
    """None: never."""
    return from_float(parts) if np.isfinite(parts) else None


def _mean(running: NDArray[np.float64]) -> Decimal:
    # a part may cost far less than a ten-thousandth: keep all digits, the crossing divides by their difference
    return Decimal(repr(float(np.mean(running))))


def _total(plan: BuildPlan, parts: int) -> NDArray[np.float64]:
    return float(plan.price) + parts * plan.running_per_part()


def _figure(values: NDArray[np.float64], share_of_band: float) -> Figure:
    tail = (1 - share_of_band) / 2
    low, high = np.quantile(values, [tail, 1 - tail])
    return Figure(expected=from_float(float(np.mean(values))), low=from_float(float(low)), high=from_float(float(high)))


def _curve(plan: BuildPlan, volumes: Sequence[int], share_of_band: float) -> CostCurve:
    running = plan.running_per_thousand(share_of_band)
    build = [plan.price * THOUSAND / int(v) for v in volumes]
    return CostCurve(
        name=plan.name,
        expected=tuple(share + running.expected for share in build),
        low=tuple(share + running.low for share in build),
        high=tuple(share + running.high for share in build),
    )
