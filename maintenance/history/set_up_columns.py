"""PURE. What a set-up sheet is made of, in a history folder: columns of presses and of dies."""

from __future__ import annotations

from diestore.handbook import limits
from diestore.handbook.cutting import Frame

from .described import Column, Sort
from .described import may as _may


def _figure(table: str, column: str, words: str) -> Column:
    limit = limits.OF[table, column]
    return _may(column, words, Sort.NUMBER, at_least=limit.least, at_most=limit.most)


OF_PRESSES = (
    _may("frame", "How its frame is built.", longest=20, choices=tuple(frame.value for frame in Frame)),
    _figure("press", "stroke_mm", "Stroke."),
    _figure("press", "rated_at_mm", "Up to so far above the bottom of the stroke the rated force holds."),
    _figure("press", "strokes_least", "Strokes a minute, least."),
    _figure("press", "strokes_most", "Strokes a minute, most."),
    _figure("press", "passline_min_mm", "Lowest strip of its feed above the bed."),
    _figure("press", "passline_max_mm", "Highest strip of its feed above the bed."),
    _figure("press", "upper_weight_max_kg", "Heaviest upper half that its slide carries."),
)
OF_DIES = (
    _figure("die", "shut_height_mm", "Height of the closed die, as last measured."),
    _figure("die", "passline_mm", "Strip above the bed of the press."),
    _figure("die", "feed_pitch_mm", "Feed at a stroke."),
    _figure("die", "pilot_release_mm", "So far above the bottom of the stroke the feed lets go of the strip."),
    _figure("die", "strip_width_mm", "Width of the strip."),
    _may("oil", "Oil on the strip.", Sort.WORDS, longest=80),
    _figure("die", "stroke_needed_mm", "Least stroke of a press that it runs in."),
    _figure("die", "contact_mm", "So far above the bottom of the stroke the first punch meets the strip."),
    _figure("die", "stagger_mm", "Each height group meets the strip so much after the one before."),
    _figure("die", "spring_fitted_mm", "Length of its stripper springs in the open die."),
    _figure("die", "stripper_travel_mm", "By so much they are shorter in the closed die."),
    _figure("die", "weight_kg", "Weight of the die."),
    _figure("die", "upper_weight_kg", "Weight of its upper half."),
)
OF_SPARES = (
    _figure("item", "spring_rate_n_mm", "Rate of a coil spring, newtons a millimetre."),
    _may("spring_class", "Its standard and colour, as ISO 10243 red.", Sort.WORDS, longest=40),
    _figure("item", "gas_force_n", "Force of a gas spring, rod out, at the pressure that it is charged to, newtons."),
    _figure("item", "gas_charge_mpa", "The pressure that a gas spring is charged to, megapascals."),
)
