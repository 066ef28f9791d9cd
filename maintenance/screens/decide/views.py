"""The page of one die, and the round of readings for the shift."""

from __future__ import annotations

from django.shortcuts import get_object_or_404, render
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.http import require_safe

from diestore import units
from diestore.access import plants, roles, shop
from diestore.access.queries import system_of
from diestore.register.models import Die
from maintenance.forecasts import burr_limits, decisions, due, store
from maintenance.life.fleet import FleetFit
from maintenance.life.readings import ReadingModel
from maintenance.log import damage, queries
from maintenance.models import DieInPress
from maintenance.policy import looks, of_die

from . import page
from .forms import NAMED, WITHOUT_MONEY, DecideForm

DIES_ON_THE_ROUND = 8
READ_ON_THE_ROUND = 3  # edges of a die
TO_THE_BENCH = 4  # of the dies that are to be sharpened first


@method_decorator(require_safe, name="dispatch")
class Decide(View):
    """Everybody who is signed in may read it; money only who may see what a tool costs."""

    def get(self, request, pk: int):
        dies = plants.within(Die.objects.select_related("plant"), request.user)
        die = get_object_or_404(dies, pk=min(pk, 2**63 - 1))
        currency, system = shop.current().currency, system_of(request.user)
        form = DecideForm(request.GET or None, currency=currency, system=system)
        typed = form.typed
        newest, known = decisions.of_one(die, {n: v for n, v in typed.items() if n in NAMED})
        order = next(iter(queries.open_orders(dies=[die])), None)
        hits = typed.get("job_hits") or (order.hits_left if order else None)
        shown = {
            "die": die,
            "form": form,
            "order": order,
            "hits": hits,
            "forecast": newest,
            "known": known,
            "with_money": request.user.has_perm(roles.SEE_COST),
            "without_money": WITHOUT_MONEY,
            "currency": currency,
            "wrong": damage.sentences(known.damage, system) if known else [],
        }
        if known is not None:
            form.stands_at(known.basis.figures)
            shown["assumed"] = [NAMED[name] for name in known.basis.assumed]
        if known is not None and hits:
            shown |= _told(request.user, die, known, int(hits), currency, system)
        return render(request, "maintenance/screens/decide/decide.html", shown)


def _told(user, die: Die, known: decisions.DieAhead, hits: int, currency: str, system: units.System) -> dict:
    with_money = user.has_perm(roles.SEE_COST)
    decision = known.decide(hits, on_shelf=decisions.pieces_on_shelf(known, die.plant_id))
    row = store.newest_fit(die.plant)
    model = _burr_model(row.parameters) if row else None
    worth = page.readings(decision.usual, known, model, hits)
    return {
        "lead": page.lead(decision, known, currency, with_money=with_money),
        "rows": page.rows(decision, known, currency, system),
        "turns": page.turns(decision, known, hits, currency, with_money=with_money),
        "grind": page.to_grind(decision, known, currency, with_money=with_money),
        "interval": page.interval(
            decision, decisions.hits_a_year(die), decisions.usual_interval(die), currency, with_money=with_money
        ),
        "has_model": model is not None,
        "readings": [
            {
                "code": edge.code,
                "position": edge.position,
                "on_it": f"{edge.on_it:,}",
                "when": when,
                "critical": units.show(critical, "burr_um", system),
                "worth": page.money(told.worth, currency),
            }
            for edge, when, told, critical in worth[: page.EDGES_READ]
        ],
    }


def _burr_model(parameters: dict) -> ReadingModel | None:
    return burr_limits.model_of(FleetFit.from_dict(parameters))


@method_decorator(require_safe, name="dispatch")
class Round(View):
    """What to measure next, in the order of the presses: for the shift, on paper."""

    def get(self, request):
        picked = plants.picked(request)
        plant = picked.plant
        currency, system = shop.current().currency, system_of(request.user)
        lines: list[dict] = []
        row = store.newest_fit(plant) if plant else None
        model = _burr_model(row.parameters) if row else None
        if plant and model is not None:
            lines = _round(plant, model, currency, system)
        return render(
            request,
            "maintenance/screens/decide/round.html",
            {
                "picked": picked,
                "plant": plant,
                "lines": lines,
                "has_model": model is not None,
                "most": DIES_ON_THE_ROUND,
                "with_money": request.user.has_perm(roles.SEE_COST),
                "forecast": queries.newest_forecasts(plant).order_by("-made_at").first() if plant else None,
            },
        )


def _round(plant, model: ReadingModel, currency: str, system: units.System) -> list[dict]:
    """The dies whose decision hangs on least, each with the readings that may turn it: at the press before a job, or on
    the bench where the die is to be sharpened first."""
    close = [r for r in due.rows(plant, plants=[plant.pk]) if r.advice is not None and not r.wrong]
    close.sort(key=lambda r: (r.advice.gain, r.code))
    to_bench = [r for r in close if r.advice.sharpen][:TO_THE_BENCH]
    running = [r for r in close if not r.advice.sharpen][: DIES_ON_THE_ROUND - len(to_bench)]
    some = {r.pk: r for r in [*to_bench, *running]}
    in_press = dict(DieInPress.objects.now().filter(die__in=some).values_list("die_id", "press__code"))
    dies = Die.objects.in_bulk(list(some))
    own_press = dict(Die.objects.filter(pk__in=some).values_list("pk", "usual_press__code"))
    known = decisions.of_some(some, named=True)
    lines = []
    for pk, ahead in known.items():
        hits = some[pk].hits_left
        usual = of_die(ahead.fresh, ahead.costs, order_looks=len(looks(hits, ahead.costs.look_hits)))
        on_bench = some[pk].advice.sharpen
        told_of = page.readings(usual, ahead, model, None if on_bench else hits)
        of_place = [one for one in told_of if (one[1] == page.APART) == on_bench]
        for edge, _, told, critical in of_place[:READ_ON_THE_ROUND]:
            lines.append(
                {
                    "press": in_press.get(pk) or own_press.get(pk) or "",
                    "in_press": pk in in_press,
                    "die": dies[pk],
                    "edge": edge,
                    "on_it": f"{edge.on_it:,}",
                    "critical": units.show(critical, "burr_um", system),
                    "on_bench": on_bench,
                    "worth": page.money(told.worth, currency),
                }
            )
    return sorted(
        lines,
        key=lambda line: (line["on_bench"], line["press"] == "", line["press"], line["die"].code, line["edge"].code),
    )
