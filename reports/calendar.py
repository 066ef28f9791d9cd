"""What is due as a calendar (RFC 5545), for any program that shows one. Its address holds a token, and goes with it."""

from __future__ import annotations

import datetime as dt

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext
from django.views.decorators.http import conditional_page, require_safe
from icalendar import Calendar, Event, vDate

from diestore.access import plants, roles, shop
from diestore.access.queries import language_of
from maintenance.api.auth import DeviceToken, Scope
from maintenance.forecasts import due
from maintenance.log import bench_plan, queries
from maintenance.wording import odds
from reports.spares.kept import to_order

SPARES_AT_MOST = 200


@login_not_required
@require_safe
@conditional_page
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """Each open order of a die on the day it is due, each spare on the day by which it has to be ordered, and each work
    on the bench on the days that the plan has it."""
    device = DeviceToken().authenticate(request, token)
    if device is None or Scope.CALENDAR not in device.scopes:
        raise Http404(_("There is no such calendar."))
    with translation.override(_language(device.made_by)):
        answer = HttpResponse(_written(device.plant), content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'inline; filename="due.ics"'
    return answer


def _language(made_by: User | None) -> str:
    """That of whoever made the address, else the shop's: a program that fetches a calendar names none of its own."""
    return language_of(made_by) if made_by else shop.current().language


@require_safe
def bench_calendar(request: HttpRequest) -> HttpResponse:
    """The plan of the bench as a file, for whoever is signed in."""
    if not request.user.has_perm(roles.LOG_MISHAP):
        raise PermissionDenied(_("Not allowed: the bench."))
    plant = plants.picked(request).plant
    if plant is None:
        raise Http404(_("There is no plant yet."))
    made = _begun(_("Bench: {plant}").format(plant=plant))
    _add_bench(made, plant, _stamp(plant))
    answer = HttpResponse(made.to_ical(), content_type="text/calendar; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="bench.ics"'
    return answer


def _begun(name: str) -> Calendar:
    made = Calendar()
    made.add("prodid", "-//diestore//what is due//EN")
    made.add("version", "2.0")
    made.add("x-wr-calname", name)
    return made


def _stamp(plant) -> dt.datetime:
    newest = queries.newest_forecasts(plant).order_by("-made_at").first()
    return newest.made_at if newest else timezone.now().replace(hour=0, minute=0, second=0, microsecond=0)


def _add_bench(made: Calendar, plant, stamp: dt.datetime) -> None:
    """Each work from its first day to its last, with who does it."""
    for row in bench_plan.plan_of(plant).rows:
        if row.first is None or row.last is None:
            continue
        told = [f"{row.person}, {row.hours:g} h, {row.work.get_state_display()}."]
        if row.late_days:
            told.append(ngettext("{days} days late.", "{days} days late.", row.late_days).format(days=row.late_days))
        if row.waits:
            told.append(_("Waits: {why}.").format(why="; ".join(row.waits)))
        words = " ".join(told)
        named = f"{row.work.die.code}: {row.work.what} ({row.person})"
        event = _day(f"bench-{row.work.pk}", row.first, named, words, stamp)
        event["dtend"] = vDate(row.last + dt.timedelta(days=1))
        made.add_component(event)


def _written(plant) -> bytes:
    stamp = _stamp(plant)
    made = _begun(_("Due: {plant}").format(plant=plant))
    for row in due.rows(plant, plants={plant.pk}):
        finishing = _("Chance of finishing the job: {chance}.")
        chance = row.refusal if row.chance is None else finishing.format(chance=odds.chance(row.chance))
        told = _("{hits:,} hits to go. {standing}. {chance}")
        words = told.format(hits=row.hits_left, standing=pgettext("standing", row.standing.word), chance=chance)
        named = _("{code}: job {job} due").format(code=row.code, job=row.order_number)
        made.add_component(_day(f"order-{row.order.order_id}", row.due, named, words, stamp))
    for row in to_order(plant, within_days=366, most=SPARES_AT_MOST).rows:
        if row.order_by is not None and row.quantity:
            named = _("Order {pieces:,} of {code}").format(pieces=row.quantity, code=row.code)
            made.add_component(
                _day(f"spare-{plant.pk}-{row.item.pk}", row.order_by, named, row.item.description, stamp)
            )
    _add_bench(made, plant, stamp)
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
