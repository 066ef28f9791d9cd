"""What a figure of the register can be at all: beyond it somebody typed in the wrong cell. Common practice, no source.

Forms, the loader of history folders, the administration and the interface all ask here, so that what one of them takes
none of the others trips over.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Limit:
    """The least and the most that can be, both allowed."""

    least: float
    most: float

    def holds(self, value: float | None) -> bool:
        return value is None or (math.isfinite(value) and self.least <= value <= self.most)

    def sentence(self, value: float) -> str:
        """Why a value beyond it cannot be."""
        side = f"{self.least:,.15g} is the least" if value < self.least else f"{self.most:,.15g} is the most"
        shown = f"{value:,}" if isinstance(value, int) else f"{value:g}"
        return f"{shown} cannot be: {side}."


COUNT = Limit(
    0, 1_000_000_000_000
)  # parts or hits of a life: a press at a thousand strokes a minute for a thousand years
WHOLE = Limit(0, 2_000_000_000)
STOP_MINUTES = Limit(0, 100_000)

# Of a table of the register and its column.
OF: dict[tuple[str, str], Limit] = {
    ("press", "rated_force_n"): Limit(1, 1e10),
    ("press", "shut_height_min_mm"): Limit(0, 100_000),
    ("press", "shut_height_max_mm"): Limit(0, 100_000),
    ("press", "stroke_mm"): Limit(0.1, 10_000),
    ("press", "rated_at_mm"): Limit(0.01, 1_000),
    ("press", "strokes_least"): Limit(0.01, 100_000),
    ("press", "strokes_most"): Limit(0.01, 100_000),
    ("press", "passline_min_mm"): Limit(0, 10_000),
    ("press", "passline_max_mm"): Limit(0, 10_000),
    ("press", "upper_weight_max_kg"): Limit(0.1, 1_000_000),
    ("stock", "tensile_mpa"): Limit(0.1, 10_000),
    ("stock", "shear_mpa"): Limit(0.1, 10_000),
    ("stock", "thickness_mm"): Limit(0.001, 1_000),
    ("part", "burr_limit_um"): Limit(0, 100_000),
    ("volume", "year"): Limit(1950, 2100),
    ("volume", "parts"): COUNT,
    ("die", "strokes_per_minute"): Limit(0.01, 100_000),
    ("die", "expected_parts"): Limit(1, COUNT.most),
    ("die", "shut_height_mm"): Limit(1, 100_000),
    ("die", "passline_mm"): Limit(0, 10_000),
    ("die", "stroke_needed_mm"): Limit(0.1, 10_000),
    ("die", "contact_mm"): Limit(0.01, 1_000),
    ("die", "stagger_mm"): Limit(0, 100),
    ("die", "feed_pitch_mm"): Limit(0.01, 10_000),
    ("die", "pilot_release_mm"): Limit(0.01, 1_000),
    ("die", "strip_width_mm"): Limit(0.1, 10_000),
    ("die", "spring_fitted_mm"): Limit(0.1, 1_000),
    ("die", "stripper_travel_mm"): Limit(0, 1_000),
    ("die", "weight_kg"): Limit(0.1, 1_000_000),
    ("die", "upper_weight_kg"): Limit(0.1, 1_000_000),
    ("output", "parts_per_hit"): Limit(1, 100_000),
    ("station", "sequence"): WHOLE,
    ("item", "hardness_hrc"): Limit(0, 100),
    ("item", "length_mm"): Limit(0, 10_000),
    ("item", "grind_allowance_mm"): Limit(0, 1_000),
    ("item", "spring_rate_n_mm"): Limit(0.001, 100_000),
    ("item", "gas_force_n"): Limit(1, 1_000_000),
    ("item", "gas_charge_mpa"): Limit(0.1, 100),
    ("item", "lead_days"): Limit(0, 3_650),
    ("item", "pack_size"): Limit(1, 1_000_000),
    ("source", "lead_days"): Limit(0, 3_650),
    ("source", "pack_size"): Limit(1, 1_000_000),
    ("source", "least_quantity"): Limit(1, 1_000_000),
    ("source", "minutes_each"): Limit(0.01, 100_000),
    ("source", "shop_money"): Limit(1e-6, 1e6),
    ("sourceprice", "from_quantity"): Limit(1, 1_000_000),
    ("sparelevel", "chance_percent"): Limit(1, 99.9),
    ("sparelevel", "least_pieces"): Limit(0, 1_000_000),
    ("position", "x_mm"): Limit(-1e6, 1e6),
    ("position", "y_mm"): Limit(-1e6, 1e6),
    ("position", "seat_mm"): Limit(-1_000, 1_000),
    ("position", "stroke_share"): Limit(0.0001, 1),
    ("position", "wear_limit"): Limit(1e-6, 1e9),
    ("cut", "length_mm"): Limit(0.001, 100_000),
    ("cut", "gap_mm"): Limit(0, 100),
    ("piece", "hardness_hrc"): Limit(0, 100),
    ("piece", "length_mm"): Limit(0, 10_000),
    ("piece", "grind_allowance_mm"): Limit(0, 1_000),
    ("piece", "opening_life_hits"): COUNT,
    ("piece", "opening_hits_since_sharpening"): COUNT,
}
# Of the figures that decisions are priced by and that are no money, by their kinds. Common practice, no source.
OF_RATES = {
    "parts sorted an hour": Limit(1, 1_000_000),
    "refit percent": Limit(1, 99),
    "reading minutes": Limit(0, 600),
    "capital percent": Limit(0, 100),
    "keeping percent": Limit(0, 100),
    "ageing percent": Limit(0, 100),
    "spares level percent": Limit(1, 99.9),
}
# Of a table: a figure that is no more than another, and what to say where it is.
ORDER: dict[str, tuple[tuple[str, str, str], ...]] = {
    "press": (
        ("shut_height_min_mm", "shut_height_max_mm", "The least shut height is above the greatest."),
        ("strokes_least", "strokes_most", "The least strokes a minute are above the most."),
        ("passline_min_mm", "passline_max_mm", "The lowest passline is above the highest."),
        ("rated_at_mm", "stroke_mm", "The rated force cannot hold higher than the stroke."),
    ),
    "die": (
        ("upper_weight_kg", "weight_kg", "The upper half is heavier than the whole die."),
        ("passline_mm", "shut_height_mm", "The strip would run above the closed die."),
        ("stripper_travel_mm", "spring_fitted_mm", "The travel of the stripper is longer than its springs."),
        ("contact_mm", "stroke_needed_mm", "The punches would meet the strip above the stroke that the die needs."),
    ),
}


def out_of_order(table: str, value_of: Callable[[str], float | None]) -> dict[str, str]:
    """Column -> sentence of each figure that is above one it has to stay within."""
    wrong = {}
    for low, high, sentence in ORDER.get(table, ()):
        least, most = value_of(low), value_of(high)
        if least is not None and most is not None and least > most:
            wrong[low] = sentence
    return wrong


LEAD_DAYS, STROKE_SHARE = OF["item", "lead_days"], OF["position", "stroke_share"]
