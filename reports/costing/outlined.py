"""What running an outlined tool costs a part, from stated assumptions: many sets of them and many worlds at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diestore.texts import gettext_noop as _  # translated where it is shown

from .money import MoneyRefused, amount

Array = NDArray[np.float64]
RUNNING = ("sharpening", "spares", "burr stops", "breaks", "press time")
LEAST_SHARE = 0.02  # of the life to dull: below it a burr limit is what a fresh edge leaves
COMMON = _("common practice, no source")
ALIKE = _("not known: alike for every way")


@dataclass(frozen=True, kw_only=True)
class Assumption:
    """low, high: between which it is moved to see what it matters. source: where the usual value comes from."""

    key: str
    words: str
    unit: str
    usual: float
    low: float
    high: float
    least: float
    most: float
    source: str = COMMON


def _one(key: str, words: str, unit: str, usual: float, low: float, high: float, least: float, most: float,
         source: str = COMMON) -> Assumption:  # fmt: skip
    return Assumption(
        key=key, words=words, unit=unit, usual=usual, low=low, high=high, least=least, most=most, source=source
    )


ASSUMED: dict[str, Assumption] = {
    one.key: one
    for one in (
        _one("interest_pct", _("money costs"), _("% a year"), 8, 4, 12, 0, 100),
        _one("rise_pct", _("prices and wages rise"), _("% a year"), 0, 0, 4, -50, 100),
        _one("toolroom_rate", _("toolroom"), _("an hour"), 60, 45, 80, 0, 10_000),
        _one("press_rate", _("press"), _("an hour"), 90, 60, 130, 0, 10_000),
        _one("press_runs_pct", _("the press runs"), _("% of its time"), 85, 70, 95, 1, 100),
        _one("refit_hours", _("pulling, opening, closing and trying out the die"), _("h a sharpening"),
             1.6, 1, 3, 0, 100),
        _one("grind_minutes", _("grinding an edge of tool steel"), "min", 12, 6, 20, 0, 1_000),
        _one("powder_times", _("grinding powder steel takes"), _("times as long"), 1.3, 1, 1.6, 0.1, 20),
        _one("carbide_times", _("grinding carbide takes"), _("times as long"), 2.5, 1.5, 4, 0.1, 20),
        _one("grind_mm", _("a grind takes off tool steel"), "mm", 0.1, 0.05, 0.2, 0.001, 10),
        _one("carbide_grind_mm", _("a grind takes off carbide"), "mm", 0.06, 0.04, 0.1, 0.001, 10),
        _one("allowance_mm", _("a piece may be ground down by"), "mm", 4, 2, 6, 0, 100),
        _one("piece_price", _("a punch or die piece that the price list does not hold"), "", 60, 30, 150, 0, 1e6),
        _one("fit_hours", _("fitting a new piece that is ground out"), "h", 1, 0.5, 2, 0, 100),
        _one("chip_times", _("edges chip, over what is told of them,"), _("times as often"), 1, 0.5, 2, 0, 100),
        _one("break_piece_pct", _("chips that take the piece with them"), "%", 50, 20, 100, 0, 100),
        _one("break_hours", _("putting a chipped place right"), "h", 2, 1, 4, 0, 100),
        _one("solid_break_times", _("a chip in a solid plate takes"), _("times as long"), 1, 1, 4, 0.1, 50, ALIKE),
        _one("chip_gap_power", _("a tighter gap chips more: (10 % / gap) to the power"), "", 0, 0, 1, -2, 4, ALIKE),
        _one("dull_stop_pct", _("sharpenings that stop a job in the press"), "%", 50, 20, 80, 0, 100),
        _one("stop_minutes", _("such a stop takes the press"), "min", 60, 30, 120, 0, 10_000),
        _one("look_hits", _("strokes between two looks at the parts"), "", 5_000, 2_000, 10_000, 0, 1e9),
        _one("sorting_rate", _("sorting"), _("an hour"), 35, 25, 45, 0, 10_000),
        _one("sorted_an_hour", _("parts sorted in an hour"), "", 4_000, 2_000, 8_000, 1, 1e9),
        _one("part_worth", _("a scrapped part"), "", 0.02, 0.01, 0.1, 0, 1e6),
        _one("roller_times", _("with roller guides edges last"), _("times as long"), 1, 0.9, 1.3, 0.1, 10, ALIKE),
        _one("fixed_stripper_times", _("with a fixed stripper edges last"), _("times as long"),
             1, 0.7, 1.05, 0.1, 10, ALIKE),
        _one("fresh_burr_um", _("burr of a fresh edge"), "µm", 10, 5, 15, 0, 10_000),
        _one("dull_burr_um", _("burr at which an edge is called dull"), "µm", 60, 40, 100, 0.1, 10_000),
    )
}  # fmt: skip
NOT_MOVED = frozenset({"press_runs_pct"})  # of no interest where the ways hit alike


@dataclass(frozen=True, kw_only=True)
class EdgesAlike:
    """Some edges of a way. grade: steel, powder or carbide. piece: money for one; None: as assumed. chips: in 100,000
    strokes of one edge. below: on the die side."""

    count: int
    grade: str
    piece: Decimal | None
    chips: float
    gap_pct: float | None
    below: bool

    def __post_init__(self) -> None:
        if self.piece is not None:
            amount(self.piece, "the price of a piece")
        if self.count < 1:
            raise MoneyRefused(f"{self.count} edges; at least one is needed.")


@dataclass(frozen=True, kw_only=True)
class Built:
    """A way as it runs. intervals: float[worlds], mean strokes from sharp to the first dull edge. burr_share: of that
    interval until the part's burr limit, where the shop's readings say; None: by the assumptions and `burr_limit_um`
    (None: no limit)."""

    intervals: Array
    edges: tuple[EdgesAlike, ...]
    parts_per_hit: int
    strokes_per_minute: float
    roller: bool = False
    fixed_stripper: bool = False
    solid: bool = False
    burr_limit_um: float | None = None
    burr_share: float | None = None


def usual() -> dict[str, float]:
    return {key: one.usual for key, one in ASSUMED.items()}


def sets(figures: Mapping[str, ArrayLike]) -> dict[str, Array]:
    """Every figure as float[sets, 1]; what is not given stands as usual.

    Raises MoneyRefused for a figure beyond what it can be, or that is not known.
    """
    unknown = set(figures) - set(ASSUMED)
    if unknown:
        raise MoneyRefused(f"There is no assumption called {sorted(unknown)[0]!r}.")
    given = {key: np.atleast_1d(np.asarray(figures.get(key, one.usual), float)) for key, one in ASSUMED.items()}
    most = max(len(values) for values in given.values())
    for key, values in given.items():
        one = ASSUMED[key]
        if not np.isfinite(values).all() or (values < one.least).any() or (values > one.most).any():
            raise MoneyRefused(f"{one.words}: {values.tolist()[0]:g} cannot be; {one.least:g} to {one.most:g} can.")
    return {key: np.broadcast_to(values, (most,))[:, None] for key, values in given.items()}


def burr_share(limit_um: ArrayLike, figures: Mapping[str, Array]) -> Array:
    """Share of the interval to dull until the burr comes to a limit: (limit - fresh) / (dull - fresh), at most 1.

    That burr grows in proportion to the strokes is an assumption (common practice, no source); the shop's own readings
    say better where there are some. Raises MoneyRefused for a limit that a fresh edge passes already.
    """
    limit = np.asarray(limit_um, float)
    fresh, dull = figures["fresh_burr_um"], figures["dull_burr_um"]
    if (dull <= fresh).any():
        raise MoneyRefused("A dull edge must leave more burr than a fresh one.")
    share = (limit - fresh) / (dull - fresh)
    if (share < LEAST_SHARE).any():
        raise MoneyRefused(
            f"A burr limit of {float(np.min(limit)):g} µm is no more than a fresh edge leaves, "
            f"{float(np.max(fresh)):g} µm."
        )
    return np.minimum(share, 1.0)


def interval(way: Built, figures: Mapping[str, Array], share: Array | None = None) -> Array:
    """float[sets, worlds]: strokes between two sharpenings, to the burr limit where there is one.

    share: float[sets, 1] in place of the way's own, where the burr limit itself is moved.
    """
    if share is None:
        if way.burr_share is not None:
            share = np.array([[way.burr_share]])
        elif way.burr_limit_um is not None:
            share = burr_share(way.burr_limit_um, figures)
        else:
            share = np.ones((1, 1))
    times = np.ones((1, 1))
    if way.roller:
        times = times * figures["roller_times"]
    if way.fixed_stripper:
        times = times * figures["fixed_stripper_times"]
    return way.intervals[None, :] * times * share


def running(way: Built, figures: Mapping[str, Array], share: Array | None = None) -> dict[str, Array]:
    """Money a part by RUNNING, each float[sets, worlds]; figures: as `sets` gives them.

    With I strokes between sharpenings, a stroke costs
        sharpening   (refit hours + sum of edges x minutes x times of the grade / 60) x toolroom rate / I
        spares       sum of edges x (piece + fitting hours x rate) / (grinds + 1) / I, grinds = allowance // grind
        burr stops   share that stops a job x (press time + sorting the parts since the last look + half of them) / I
        breaks       sum of edges x chips x (share that takes the piece x piece + hours x rate + press time)
        press time   press rate / (60 x strokes a minute x share that it runs)
    and a part that over the parts of a hit. Limits: the long run, in which the first interval is like all others; all
    edges are ground together; what the press costs while it stands is its rate.
    """
    rate, press = figures["toolroom_rate"], figures["press_rate"]
    every = interval(way, figures, share)
    grinding = {"steel": np.ones_like(rate), "powder": figures["powder_times"], "carbide": figures["carbide_times"]}
    hours, worn, broken = figures["refit_hours"], np.zeros_like(rate), np.zeros_like(rate)
    standing = figures["stop_minutes"] / 60 * press
    for one in way.edges:
        off = figures["carbide_grind_mm" if one.grade == "carbide" else "grind_mm"]
        grinds = np.floor(figures["allowance_mm"] / off + 1e-9)
        piece = figures["piece_price"] if one.piece is None else float(one.piece)
        hours = hours + one.count * figures["grind_minutes"] / 60 * grinding[one.grade]
        worn = worn + one.count * (piece + figures["fit_hours"] * rate) / (grinds + 1)
        gap = np.power(10 / max(one.gap_pct or 10.0, 1.0), figures["chip_gap_power"])
        longer = figures["solid_break_times"] if way.solid and one.below else np.ones_like(rate)
        each = figures["break_piece_pct"] / 100 * piece + figures["break_hours"] * longer * rate + standing
        broken = broken + one.count * one.chips * figures["chip_times"] / 1e5 * gap * each
    parts = figures["look_hits"] * way.parts_per_hit
    stop = standing + parts / figures["sorted_an_hour"] * figures["sorting_rate"] + parts / 2 * figures["part_worth"]
    a_hit = press / (60 * way.strokes_per_minute * figures["press_runs_pct"] / 100)
    money = {
        "sharpening": hours * rate / every,
        "spares": worn / every,
        "burr stops": figures["dull_stop_pct"] / 100 * stop / every,
        "breaks": broken,
        "press time": a_hit,
    }
    shape = np.broadcast_shapes(every.shape, rate.shape)
    return {key: np.broadcast_to(value / way.parts_per_hit, shape) for key, value in money.items()}


@dataclass(frozen=True, kw_only=True)
class Bar:
    """What an answer comes to with one assumption at its low and at its high; the widest matters most."""

    key: str
    words: str
    at_low: float
    at_high: float
    from_value: float
    to_value: float

    @property
    def width(self) -> float:
        return abs(self.at_high - self.at_low)


def moved(figures: Mapping[str, float], keys: Sequence[str]) -> dict[str, Array]:
    """Sets of figures, float[1 + 2 keys, 1]: as they are, then each key at its low and at its high in turn.

    A figure that lies beyond its usual range is moved by as much as the range is wide: by the same ratio up and down.
    """
    made = {key: np.full(1 + 2 * len(keys), float(figures.get(key, one.usual))) for key, one in ASSUMED.items()}
    for n, key in enumerate(keys):
        low, high = span(key, float(figures.get(key, ASSUMED[key].usual)))
        made[key][1 + 2 * n], made[key][2 + 2 * n] = low, high
    return sets(made)


def span(key: str, value: float) -> tuple[float, float]:
    """Between which values an assumption is moved, about the one that holds."""
    one = ASSUMED[key]
    if one.low <= value <= one.high:
        return one.low, one.high
    if one.usual > 0 and one.low > 0 and value > 0:
        low, high = value * one.low / one.usual, value * one.high / one.usual
    else:
        low, high = value + one.low - one.usual, value + one.high - one.usual
    return min(max(low, one.least), value), max(min(high, one.most), value)


def worth_of_saving(
    saved: Array, *, extra: float, parts_by_year: Sequence[int], interest: Array, rise: Array,
    extra_by_year: Sequence[float] = (),
) -> Array:  # fmt: skip
    """float as `saved`: today's worth of what a way saves a part (money at today's prices), less what it costs more.

    sum over years t = 1 .. n of (saved x parts_t - extra_t) x (1 + rise)^t / (1 + interest)^t - extra.
    extra_by_year: money more for tools that are built again in that year.
    Source: Brealey and Myers, Principles of Corporate Finance, present value (from memory).
    """
    later = extra_by_year or [0.0] * len(parts_by_year)
    growth = (1 + rise) / (1 + interest)
    total = np.zeros(np.broadcast(saved, growth).shape) - extra
    for year, (parts, more) in enumerate(zip(parts_by_year, later, strict=True), start=1):
        total = total + (saved * parts - more) * growth**year
    return total
