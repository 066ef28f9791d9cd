"""What a die will cost in the year ahead, with a band, from what the forecast says will happen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np
from numpy.typing import ArrayLike

from .elements import Stage, per_thousand
from .money import MoneyRefused, amount
from .own_log import ELEMENTS, BuildPrice
from .spread import Spread


@dataclass(frozen=True, kw_only=True)
class ExpectedElement:
    """One line of the year ahead. expected, low, high: money a year; low to high holds the band's share of the chance.

    parts: the parts that bear it. how_many: the expected count behind it, None where it is sure.
    """

    key: str
    name: str
    stage: Stage
    expected: Decimal
    low: Decimal
    high: Decimal
    parts: int
    how_many: float | None = None

    @property
    def per_thousand(self) -> Decimal:
        return per_thousand(self.expected, self.parts)

    @property
    def per_thousand_band(self) -> tuple[Decimal, Decimal]:
        return per_thousand(self.low, self.parts), per_thousand(self.high, self.parts)


@dataclass(frozen=True, kw_only=True)
class YearAhead:
    """The elements, and their sum with a band of its own (narrower than the sum of the elements' bands)."""

    planned_parts: int
    elements: tuple[ExpectedElement, ...]
    expected: Decimal
    low: Decimal
    high: Decimal
    share_of_band: float
    left_out: tuple[str, ...] = ()

    @property
    def per_thousand(self) -> Decimal:
        return per_thousand(self.expected, self.planned_parts)

    @property
    def per_thousand_band(self) -> tuple[Decimal, Decimal]:
        return per_thousand(self.low, self.planned_parts), per_thousand(self.high, self.planned_parts)


@dataclass(frozen=True, kw_only=True)
class World:
    """One way the unknown lives of the edges may be, and what the year brings in it.

    weight: its chance, in any unit. sharpenings[n]: the chance of n sharpenings of the die in the year.
    spares: name of the item -> chances of 0, 1, 2 ... pieces. stops[n]: the chance of n unplanned stops.
    """

    weight: float
    sharpenings: ArrayLike
    spares: dict[str, ArrayLike] = field(default_factory=dict)
    stops: ArrayLike | None = None


def expected_year(
    *,
    planned_parts: int,
    build: BuildPrice | None,
    parts_made: int = 0,
    worlds: Sequence[World],
    cost_per_sharpening: Decimal | None,
    unit_prices: dict[str, Decimal | None] | None = None,
    cost_per_stop: Spread | None = None,
    share_of_band: float = 0.8,
) -> YearAhead:
    """Expected cost of a year in which `planned_parts` good parts are made.

    In each world: count of sharpenings x cost of one + sum over items of pieces x price + a random count of stops, each
    spread like `cost_per_stop`; independent of each other within a world. Then the worlds are mixed by weight, so that
    what makes every part dear at once (short lives) is shared. The build price adds its share for those parts, surely;
    once the die has made the parts it was built for it is paid off and adds nothing.
    What has no price is left out and said so. Raises MoneyRefused where no part is planned or no world given.
    """
    if planned_parts < 1:
        raise MoneyRefused(f"{planned_parts} parts are planned; at least one is needed.")
    if not worlds:
        raise MoneyRefused("no forecast is given for the year ahead.")
    if not 0 < share_of_band < 1:
        raise MoneyRefused(f"a band that holds {share_of_band:g} of the chance; it must lie between 0 and 1.")
    prices = unit_prices or {}
    left_out: list[str] = []
    weights = [world.weight for world in worlds]
    per_world = [_parts_of(world, cost_per_sharpening, prices, cost_per_stop) for world in worlds]

    elements: list[ExpectedElement] = []
    sure = Decimal(0)
    if build is None:
        left_out.append("The build price or the parts the die is built for are not known.")
    else:
        bearing = min(planned_parts, max(build.expected_parts - parts_made, 0))
        sure = build.price * bearing / build.expected_parts
        elements.append(_element("build", Spread.sure(sure), planned_parts, share_of_band, None))
    counts = _expected_counts(worlds, weights, prices)
    for key in ("sharpening", "spares", "stop"):
        spreads = [parts[key] for parts in per_world if key in parts]
        if len(spreads) < len(per_world):
            continue
        mixed = Spread.mixture(spreads, weights)
        elements.append(_element(key, mixed, planned_parts, share_of_band, counts[key]))
    if cost_per_sharpening is None:
        left_out.append("What a sharpening costs is not known (hours or toolroom rate missing).")
    for item in sorted({name for world in worlds for name in world.spares if prices.get(name) is None}):
        left_out.append(f"{item} has no price.")
    if cost_per_stop is None and any(world.stops is not None for world in worlds):
        left_out.append("What a stop costs is not known (press rate missing).")

    totals = []
    for parts in per_world:
        total = Spread.sure(sure)
        for spread in parts.values():
            total = total.plus(spread)
        totals.append(total)
    whole = Spread.mixture(totals, weights)
    low, high = whole.band(share_of_band)
    return YearAhead(
        planned_parts=planned_parts,
        elements=tuple(elements),
        expected=whole.expected,
        low=low,
        high=high,
        share_of_band=share_of_band,
        left_out=tuple(left_out),
    )


def _parts_of(
    world: World, per_sharpening: Decimal | None, prices: dict[str, Decimal | None], per_stop: Spread | None
) -> dict[str, Spread]:
    parts: dict[str, Spread] = {}
    if per_sharpening is not None:
        parts["sharpening"] = Spread.of_counts(world.sharpenings, per_sharpening)
    for name, chances in sorted(world.spares.items()):
        price = prices.get(name)
        if price is not None:
            spread = Spread.of_counts(chances, amount(price, f"the price of {name}"))
            parts["spares"] = parts["spares"].plus(spread) if "spares" in parts else spread
    if per_stop is not None and world.stops is not None:
        parts["stop"] = Spread.compound(world.stops, per_stop)
    return parts


def _expected_counts(
    worlds: Sequence[World], weights: Sequence[float], prices: dict[str, Decimal | None]
) -> dict[str, float]:
    def mean(chances: ArrayLike | None) -> float:
        p = np.asarray([1.0] if chances is None else chances, float)
        return float(np.arange(len(p)) @ p / p.sum())

    rows = {
        "sharpening": [mean(w.sharpenings) for w in worlds],
        "spares": [sum(mean(p) for name, p in w.spares.items() if prices.get(name) is not None) for w in worlds],
        "stop": [mean(w.stops) for w in worlds],
    }
    return {key: float(np.average(row, weights=weights)) for key, row in rows.items()}


def _element(key: str, spread: Spread, parts: int, share: float, how_many: float | None) -> ExpectedElement:
    name, stage = ELEMENTS[key]
    low, high = spread.band(share)
    return ExpectedElement(
        key=key,
        name=name,
        stage=stage,
        expected=spread.expected,
        low=low,
        high=high,
        parts=parts,
        how_many=how_many,
    )
