"""PURE. What a forecast rests on, in words."""

from __future__ import annotations

import math

from diestore.texts import counted, gettext_noop
from diestore.texts import gettext as _

from . import numbers


def on_record(cycles: int, dull: int, chipped: int, of: str, shop: int = 0) -> str:
    """Intervals of an edge or a die (`of`) and of the shop; those on which nothing has run yet are not counted in."""
    intervals = counted(cycles, "interval", "intervals")
    told = (
        _("Rests on {intervals} of this die").format(intervals=intervals)
        if of == "die"
        else _("Rests on {intervals} of this edge").format(intervals=intervals)
    )
    if cycles:
        told += _(", of which {dull} ended dull and {chipped} chipped").format(
            dull=numbers.none(dull), chipped=numbers.none(chipped)
        )
    if shop:
        told += _(", and on {intervals} of the shop").format(intervals=counted(shop, "interval", "intervals"))
    return told


def as_unsure(prior_share: float) -> str:
    """How wide the band of the usual hits is, on a scale of ratios, in parts of that by the handbook alone.

    prior_share: the same as a ratio of variances, 0 to 1. It is no weight that the handbook's values carry.
    """
    return f"{100 * math.sqrt(prior_share):.0f} %"


def unsure(prior_share: float) -> str:
    if prior_share >= 1.0:
        return _("The range of the usual hits is as wide as by the handbook alone")
    return _("The range of the usual hits is {share} as wide as by the handbook alone").format(
        share=as_unsure(prior_share)
    )


ENOUGH = 10  # works with hits run after them, for the shop's own record to be named first
_WORKS = {  # what it gives back: by the record of the shop, by too few here, by none
    "dressed in the press": (
        gettext_noop(
            "A touch with the stone is taken to give back {share:.0f} % of what an edge has worn, as learnt from "
            "{seen:,} touches here and what ran after them."
        ),
        gettext_noop(
            "A touch with the stone is taken to give back {share:.0f} % of what an edge has worn: mostly common "
            "practice, until this shop has run hits after {enough} of them; so far it has {seen}."
        ),
        gettext_noop(
            "A touch with the stone is taken to give back {share:.0f} % of what an edge has worn: mostly common "
            "practice, until this shop has run hits after {enough} of them."
        ),
    ),
    "recoated": (
        gettext_noop(
            "A new coat is taken to give back {share:.0f} % of what an edge has worn, as learnt from {seen:,} new "
            "coats here and what ran after them."
        ),
        gettext_noop(
            "A new coat is taken to give back {share:.0f} % of what an edge has worn: mostly common practice, until "
            "this shop has run hits after {enough} of them; so far it has {seen}."
        ),
        gettext_noop(
            "A new coat is taken to give back {share:.0f} % of what an edge has worn: mostly common practice, until "
            "this shop has run hits after {enough} of them."
        ),
    ),
}


def touched(work: str, share: float, seen: int) -> str:
    """What a work in between is taken to give back, and on what that stands."""
    learnt, few, none = _WORKS[work]
    told = learnt if seen >= ENOUGH else few if seen else none
    return _(told).format(share=100 * share, seen=seen, enough=ENOUGH)
