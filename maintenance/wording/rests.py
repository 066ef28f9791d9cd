"""PURE. What a forecast rests on, in words."""

from __future__ import annotations

import math

from diestore.texts import counted

from . import numbers


def on_record(cycles: int, dull: int, chipped: int, of: str, shop: int = 0) -> str:
    """Intervals of an edge or a die (`of`) and of the shop; those on which nothing has run yet are not counted in."""
    told = f"Rests on {counted(cycles, 'interval', 'intervals')} of this {of}"
    if cycles:
        told += f", of which {numbers.none(dull)} ended dull and {numbers.none(chipped)} chipped"
    if shop:
        told += f", and on {counted(shop, 'interval', 'intervals')} of the shop"
    return told


def as_unsure(prior_share: float) -> str:
    """How wide the band of the usual hits is, on a scale of ratios, in parts of that by the handbook alone.

    prior_share: the same as a ratio of variances, 0 to 1. It is no weight that the handbook's values carry.
    """
    return f"{100 * math.sqrt(prior_share):.0f} %"


def unsure(prior_share: float) -> str:
    if prior_share >= 1.0:
        return "The range of the usual hits is as wide as by the handbook alone"
    return f"The range of the usual hits is {as_unsure(prior_share)} as wide as by the handbook alone"


_WORKS = {
    "dressed in the press": ("a touch with the stone", "touches"),
    "recoated": ("a new coat", "new coats"),
}
ENOUGH = 10  # works with hits run after them, for the shop's own record to be named first


def touched(work: str, share: float, seen: int) -> str:
    """What a work in between is taken to give back, and on what that stands."""
    one, many = _WORKS[work]
    told = f"{one[0].upper()}{one[1:]} is taken to give back {100 * share:.0f} % of what an edge has worn"
    if seen >= ENOUGH:
        return f"{told}, as learnt from {seen:,} {many} here and what ran after them."
    so_far = f"; so far it has {seen}" if seen else ""
    return f"{told}: mostly common practice, until this shop has run hits after {ENOUGH} of them{so_far}."
