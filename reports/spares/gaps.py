"""What the use ahead of a spare does not know, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from reports.purchasing.ahead import Programme

if TYPE_CHECKING:
    from .use import PlantAhead


def gaps_of(ahead: PlantAhead, item: int) -> list[str]:
    notes = []
    places = ahead.places.get(item, ())
    if not places:
        notes.append(_("No place in a die at work names this spare, so no use is expected."))
    ground = [p.row for p in places if p.grinds_left is not None]
    silent = sorted({row.die_code for row in ground if not has_law(ahead.forecasts.get(row.die_id))})
    if silent:
        told = _("Nothing is forecast of {dies}: only breaks are counted there.")
        notes.append(told.format(dies=", ".join(silent)))
    if any(p.grinds_left is not None and not p.removal_known for p in places):
        notes.append(_("What a grind takes off is not written down: what is usual is taken (common practice)."))
    ends = ahead.ends(item)
    if ends is not None and (ends - ahead.today).days <= ahead.horizon_days:
        rest = ahead.use(item, max((ends - ahead.today).days + 1, 0))
        told = _(
            "Last buy: nothing needs it after {day}. Until then even chance of at most {half}, 9 in 10 of at most "
            "{nine}: order no more than that."
        )
        day = date_format(ends, "j M Y")
        notes.append(told.format(day=day, half=rest.quantile(0.5), nine=rest.quantile(0.9)))
    stated = sorted({p.row.die_code for p in places if ahead.programmes.get(p.row.die_id, Programme()).years})
    if stated:
        told = _("Of {dies} the year goes by the volume entered for the part, not by past pace.")
        notes.append(told.format(dies=", ".join(stated)))
    still = sorted({p.row.die_code for p in places if ahead.strokes(p.row.die_id, ahead.horizon_days) == 0})
    if still:
        told = _("{dies}: no job and no run in the last year, so no use there.")
        notes.append(told.format(dies=", ".join(still)))
    return notes


def has_law(forecast) -> bool:
    return bool(forecast is not None and forecast.fresh and forecast.remaining)
