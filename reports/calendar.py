"""What is due as a calendar (RFC 5545), for any program that shows one. Its address holds a token, and goes with it."""

from __future__ import annotations

import datetime as dt

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import conditional_page, require_safe
from icalendar import Calendar, Event

from maintenance.api.auth import DeviceToken, Scope
from maintenance.forecasts import due
from maintenance.log import queries
from maintenance.wording import odds
from reports.spares.kept import to_order

SPARES_AT_MOST = 200


@login_not_required
@require_safe
@conditional_page
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """Each open order of a die on the day it is due, and each spare on the day by which it has to be ordered."""
    device = DeviceToken().authenticate(request, token)
    if device is None or Scope.CALENDAR not in device.scopes:
        raise Http404("There is no such calendar.")
    answer = HttpResponse(_written(device.plant), content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'inline; filename="due.ics"'
    return answer


def _written(plant) -> bytes:
    newest = queries.newest_forecasts(plant).order_by("-made_at").first()
    stamp = newest.made_at if newest else timezone.now().replace(hour=0, minute=0, second=0, microsecond=0)
    made = Calendar()
    made.add("prodid", "-//diestore//what is due//EN")
    made.add("version", "2.0")
    made.add("x-wr-calname", f"Due: {plant}")
    for row in due.rows(plant, plants={plant.pk}):
        chance = row.refusal if row.chance is None else f"Chance of finishing it: {odds.chance(row.chance)}."
        words = f"{row.hits_left:,} hits to go. {row.standing.word}. {chance}"
        named = f"{row.code}: order {row.order_number} due"
        made.add_component(_day(f"order-{row.order.order_id}", row.due, named, words, stamp))
    for row in to_order(plant, within_days=366, most=SPARES_AT_MOST).rows:
        if row.order_by is not None and row.quantity:
            named = f"Order {row.quantity:,} of {row.code}"
            made.add_component(
                _day(f"spare-{plant.pk}-{row.item.pk}", row.order_by, named, row.item.description, stamp)
            )
    return made.to_ical()


def _day(uid: str, day: dt.date, summary: str, words: str, stamp: dt.datetime) -> Event:
    event = Event()
    event.add("uid", f"{uid}@diestore")
    event.add("dtstamp", stamp.astimezone(dt.UTC))
    event.add("dtstart", day)
    event.add("dtend", day + dt.timedelta(days=1))
    event.add("summary", summary)
    event.add("description", words)
    event.add("transp", "TRANSPARENT")
    return event
