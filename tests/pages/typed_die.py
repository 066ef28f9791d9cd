"""A die as it is typed on its card: what a browser sends of each form there."""

from __future__ import annotations

from django.urls import reverse
from django.utils import timezone

from diestore.register.models import Die, Position
from maintenance.forecasts import store
from maintenance.models import fresh_key
from tests import factories as make


def address(die) -> str:
    return reverse("maintenance:die_card", args=[die.pk])


def send(client, die, do, follow=True, **values):
    return client.post(address(die), {"do": do, **values}, follow=follow)


def place(die, kind="pierce_punch", side="upper", station="1", **more):
    values = {
        "side": side, "station": die.stations.get(code=station).pk if station else "", "kind": kind,
        "key": fresh_key(), "meant": "% a side", "opening": "new",
    }  # fmt: skip
    return values | more


def cutting(die, **more):
    return place(die, **({"cut_length": "20", "gap": "9", "tool_steel": "M2", "hardness": "64", "with_partner": "on",
                          "p_tool_steel": "D2", "p_hardness": "60"} | more))  # fmt: skip


def new_die() -> Die:
    made = Die.objects.create(
        plant=make.plant(), code="K-1", usual_stock=make.stock(thickness_mm=1.5), strokes_per_minute=60
    )
    for n, operation in enumerate(("pierce", "pilot", "cut off"), 1):
        made.stations.create(code=str(n), sequence=n, operation=operation)
    return made


def run_in(lead, die: Die) -> Die:
    """The die with a past: six intervals of an edge, and a forecast."""
    send(lead, die, "place", **cutting(die, gap="2", meant="% a side"))
    edge = Position.objects.get(code="1-A")
    for n in range(6):
        make.run(die, 4 * n + 1, 20_000 + 1_000 * n)
        make.sharpen(die, 4 * n + 3, edge, why="dull", found="dull")
    make.run(die, 30, 4_000)
    store.fit_and_forecast(die.plant)
    return die


def change(client, die, place="1-A", **values):
    of = Position.objects.get(die=die, code=place)
    form = client.get(address(die), {"place": of.pk}).context["change_form"]
    sent = {form.add_prefix(name): form[name].value() for name in form.fields}
    sent |= {form.add_prefix(name): value for name, value in values.items()}
    sent = {name: "" if value is None else value for name, value in sent.items()}
    return send(client, die, "change", place=of.pk, **sent)


def at(day: float) -> str:
    return timezone.localtime(make.moment(day)).strftime("%Y-%m-%dT%H:%M")
