"""Outlined tools with something in every column, for the round trip."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from maintenance.log import outlines as written
from maintenance.models import Outline


def outlined(*, plant, user, at) -> None:
    written.put_prices(by=user, plant=plant, day=dt.date(2024, 2, 1), prices={"piece D2": Decimal("38.0625")})
    written.put_prices(by=user, plant=plant, day=dt.date(2024, 3, 1), prices={"piece D2": Decimal("41")})
    values = {
        "customer": "=Dovecott; Seating", "part": "clip 7", "material": "low-carbon steel", "thickness_mm": 1.2,
        "tensile_mpa": 340.5, "burr_limit_um": 45.0, "parts_per_hit": 2, "strokes_per_minute": 77.5,
        "volumes": [0, 250_000, 400_000], "wanted_months": 5, "on": dt.date(2024, 4, 1),
        "valid_until": dt.date(2024, 6, 1), "note": "for a frame; \n drawing to come ",
    }  # fmt: skip
    places = [
        written.Place(kind="pierce_punch", count=4, length_mm=18.85),
        written.Place(kind="trim_punch", count=1, length_mm=96.0),
    ]
    made = written.put_outline(by=user, plant=plant, values=values, places=places)
    written.put_way(by=user, outline=made, values={"name": "plain", "steel": "D2"})
    written.put_way(
        by=user, outline=made,
        values={
            "name": "better; dearer", "steel": "PM", "hardness_hrc": 64.5, "steel_below": "carbide", "coating": "TiCN",
            "hardness_below_hrc": 61.0, "gap_pct": 7.5, "guides": "roller", "die_side": "inserts", "stripper": "fixed",
            "parts_per_hit": 4, "lasts_hits": 9_000_000, "price": Decimal("48000.25"),
        },
    )  # fmt: skip
    written.assume(
        by=user, outline=made, figures={"interest_pct": 6.25, "grind_mm": 0.08}, shop_pays=["breaks", "burr stops"]
    )
    second = written.copy_outline(by=user, outline=made)
    written.put_away(by=user, outline=second, away=True)
    Outline.objects.filter(pk=made.pk).update(changed_at=at(31))
    Outline.objects.filter(pk=second.pk).update(changed_at=at(32), put_away_at=at(32))
