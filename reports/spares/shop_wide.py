"""What the whole shop says of spares, whichever of them are looked at."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from reports.purchasing.removal import Taken

from .costs import ShopCosts
from .mishaps import KindMishaps


@dataclass(frozen=True, kw_only=True)
class ShopWide:
    """What the use of every item rests on beside its own dies. breaks: kind -> (pieces, strokes)."""

    today: dt.date
    records_until: dt.date
    horizon_days: int
    removal: Taken
    breaks: dict[str, tuple[int, float]]
    die_grinds: dict[int, int] = field(default_factory=dict)
    costs: ShopCosts = field(default_factory=ShopCosts)
    mishaps: dict[str, KindMishaps] = field(default_factory=dict)
    records_since: dt.datetime | None = None
