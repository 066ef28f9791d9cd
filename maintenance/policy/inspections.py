"""When the next look at a die, a press or a grinder is due: by hits, by date, or by both, whichever comes first.

By date it is due on the day so many days after the last one; the day itself is still in time. By hits it is due when
so many were made since the last one; when that will be is reckoned by the pace of late, and so is how late it is. An
interval is what the shop has set: where a rule or a maker names one, it is the shop that has to know it.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

SOON_DAYS = 7
FAR_DAYS = 3_650  # beyond ten years nobody plans: the day is left out


class InspectionError(ValueError):
    """An interval, or a count, that cannot be."""


@dataclass(frozen=True, kw_only=True)
class Due:
    """Of one plan, on one day.

    on: the day by which it is due; None where only hits count and nothing is known of when they come.
    by_hits: it is the hits that make it due then, and not the date. hits_left: until it is due by hits; less than
    nought of one that is overdue; None where hits do not count. overdue_days: since when, nought where it is not; of
    one that is overdue by hits reckoned by their pace, and one at least.
    """

    on: dt.date | None
    by_hits: bool
    hits_left: int | None
    is_overdue: bool
    overdue_days: int

    def days_left(self, today: dt.date) -> int | None:
        """Until it is due: nought today, less than nought of one that is overdue; None where nobody knows."""
        return None if self.on is None else (self.on - today).days

    def is_soon(self, today: dt.date) -> bool:
        left = self.days_left(today)
        return not self.is_overdue and left is not None and left <= SOON_DAYS


def due(
    *,
    last: dt.date,
    today: dt.date,
    every_days: int | None = None,
    every_hits: int | None = None,
    hits_since: int = 0,
    hits_a_day: float = 0.0,
) -> Due:
    """When it is due. last: the day of the last look, or of the beginning. hits_since: made since then.

    hits_a_day: how many come on a day, resting days and all; nought: none came of late, and none are foreseen.
    Raises InspectionError for an interval of nought, or for none.
    """
    if every_days is None and every_hits is None:
        raise InspectionError("Say every how many days, or every how many hits.")
    for interval in (every_days, every_hits):
        if interval is not None and interval < 1:
            raise InspectionError(f"An interval of {interval} is none. Enter 1 or more.")
    if hits_since < 0 or not (math.isfinite(hits_a_day) and hits_a_day >= 0):
        raise InspectionError("Hits since the last look, and hits a day, are nought or more.")
    by_date = None if every_days is None else last + dt.timedelta(days=every_days)
    hits_left = None if every_hits is None else every_hits - hits_since
    by_count = _day_of(hits_left, hits_a_day, last=last, today=today)
    days = [day for day in (by_date, by_count) if day is not None]
    on = min(days, default=None)
    late = [(today - by_date).days] if by_date is not None and by_date < today else []
    if hits_left is not None and hits_left < 0:
        late.append(1 if by_count is None else max((today - by_count).days, 1))
    return Due(
        on=on,
        by_hits=by_count is not None and on == by_count and (by_date is None or by_count < by_date),
        hits_left=hits_left,
        is_overdue=bool(late),
        overdue_days=max(late, default=0),
    )


def _day_of(hits_left: int | None, hits_a_day: float, *, last: dt.date, today: dt.date) -> dt.date | None:
    """The day on which the last of the hits is made, by their pace; of hits already made never before the last look."""
    if hits_left is None:
        return None
    if hits_left < 0:
        back = 1 if hits_a_day <= 0 else max(math.ceil(-hits_left / hits_a_day), 1)
        return max(today - dt.timedelta(days=min(back, FAR_DAYS)), min(last, today - dt.timedelta(days=1)))
    if hits_a_day <= 0:
        return today if hits_left == 0 else None
    ahead = math.floor(hits_left / hits_a_day)
    return today + dt.timedelta(days=ahead) if ahead <= FAR_DAYS else None
