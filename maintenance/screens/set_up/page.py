"""What the last set-up says in words, and its readings from above. Words and geometry; the template draws."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from diestore import units
from maintenance.log.set_ups import Standing
from maintenance.policy.stop_blocks import NAMED_FROM, Closing, Odd, next_shut_height_mm

WIDTH, HIGHEST, MARGIN = 720.0, 220.0, 56.0


def _mm(mm: float, system: units.System) -> str:
    return units.show(abs(mm), "clearance_mm", system)


def headline(said: Closing, places: list[str], system: units.System) -> str:
    """What to do with the slide, in one sentence."""
    first = places[said.to_target_mm.index(said.lower_by_mm)]
    if said.is_home:
        return _("It is home: every block is at its stand-off.")
    lower, by = said.lower_by_mm, _mm(said.lower_by_mm, system)
    if lower < 0:
        words = _("Raise the slide by {by}: {first} is closer than its stand-off.")
    elif by == _mm(0.0, system):
        words = _("Leave the slide where it is: {first} is at its stand-off, and others stand higher.")
    elif len(places) > 1:
        words = _("The slide may come down by {by} more. Then {first} is at its stand-off, before the others.")
    else:
        words = _("The slide may come down by {by} more. Then {first} is at its stand-off.")
    return words.format(by=by, first=first)


def remarks(standing: Standing, system: units.System) -> Iterator[str]:
    """Level or not, tilted how, and which reading does not fit."""
    said, places = standing.closing, [one.place for one in standing.readings]
    if len(places) > 1:
        high = places[said.to_contact_mm.index(max(said.to_contact_mm))]
        low = places[said.to_contact_mm.index(min(said.to_contact_mm))]
        if said.is_level:
            yield _("The readings agree within {spread}.").format(spread=_mm(said.spread_mm, system))
        else:
            words = _("{high} stands {spread} further open than {low}.")
            yield words.format(high=high, spread=_mm(said.spread_mm, system), low=low)
    if said.tilt is not None and not said.is_level:
        yield _tilted(said, system)
    if said.odd is Odd.NAMED:
        if said.odd_by_mm > 0:
            words = _(
                "{place} is {by} further open than the others lead to expect. Look for a chip under it, for something "
                "that binds, and measure that piece again."
            )
        else:
            words = _(
                "{place} is {by} less open than the others lead to expect. Look for a chip under it, for something "
                "that binds, and measure that piece again."
            )
        yield words.format(place=said.odd_place, by=_mm(said.odd_by_mm, system))
    elif said.odd is Odd.TOO_FEW:
        yield _(
            "One place seems off, and {n} readings cannot say which: on a rectangle four share the error of any one "
            "corner alike. Read {least} places or more, or all of those of a set-up that was right."
        ).format(n=len(places), least=NAMED_FROM)


def _slope(mm_m: float, system: units.System) -> str:
    """As it is said: mm over a metre, or inches over a foot, which is twelve thousandths of the same number."""
    return f"{abs(mm_m) * 0.012:.4f}" if system is units.System.INCH else f"{abs(mm_m):.2f}"


def _tilted(said: Closing, system: units.System) -> str:
    tilt = said.tilt
    assert tilt is not None
    along, across = (_slope(value, system) for value in (tilt.x_mm_m, tilt.y_mm_m))
    if tilt.error_x_mm_m is None or tilt.error_y_mm_m is None:
        sure = _("Three readings lie on a plane whatever they are, so how sure that is cannot be said.")
    else:
        error_along, error_across = (_slope(value, system) for value in (tilt.error_x_mm_m, tilt.error_y_mm_m))
        sure = _("Give or take {along} and {across} (one standard error).").format(
            along=error_along, across=error_across
        )
    if system is units.System.INCH:
        tilted = _("The slide is tilted by {along} in a foot along the feed and {across} across it.")
    else:
        tilted = _("The slide is tilted by {along} mm a metre along the feed and {across} across it.")
    return f"{tilted.format(along=along, across=across)} {sure}"


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A reading from above, x and y of its middle; words: how far to its stand-off."""

    place: str
    words: str
    x: float
    y: float
    is_odd: bool


@dataclass(frozen=True, kw_only=True)
class FromAbove:
    marks: list[Mark]
    width: float
    height: float


def from_above(standing: Standing, system: units.System) -> FromAbove | None:
    """Readings where they lie, to scale; nothing where fewer than two have a place of their own."""
    known = [
        (one, to_target)
        for one, to_target in zip(standing.readings, standing.closing.to_target_mm, strict=True)
        if one.x_mm is not None and one.y_mm is not None
    ]
    xs = [one.x_mm for one, _ in known]
    ys = [one.y_mm for one, _ in known]
    if len(set(zip(xs, ys, strict=True))) < 2:
        return None
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    scale = min(
        (room - 2 * MARGIN) / extent if extent else math.inf for room, extent in ((WIDTH, wide), (HIGHEST, high))
    )
    height = high * scale + 2 * MARGIN
    middle = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2
    marks = [
        Mark(
            place=one.place,
            words=("" if to_target >= 0 else "\u2212") + _mm(to_target, system),
            x=WIDTH / 2 + (one.x_mm - middle[0]) * scale,
            y=height / 2 - (one.y_mm - middle[1]) * scale,
            is_odd=one.place == standing.closing.odd_place,
        )
        for one, to_target in known
    ]
    return FromAbove(marks=marks, width=WIDTH, height=height)


def next_height(standing: Standing, system: units.System) -> str:
    """What to dial in; nothing where nobody typed the shut height."""
    height = standing.row.shut_height_mm
    if height is None or standing.closing.is_home:
        return ""
    return units.show(next_shut_height_mm(height, standing.closing), "clearance_mm", system)
