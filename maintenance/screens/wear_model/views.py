"""The wear model's page: what hardness, gap and steel do here."""

from __future__ import annotations

from django.shortcuts import get_object_or_404, render
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants
from diestore.access import queries as register
from diestore.register.models import Die, Position
from maintenance.forecasts import other_builds, store
from maintenance.forecasts.other_builds import EdgeNow
from maintenance.life.fleet import FleetFit
from maintenance.log import queries
from maintenance.wording import numbers as wording_numbers

from . import page


@method_decorator(require_safe, name="dispatch")
class WearModel(View):
    """Everybody who is signed in may read it: it holds no money and nobody's name."""

    def get(self, request):
        edge, die, missing = _asked(request)
        picked = plants.picked(request)
        plant = die.plant if die else picked.plant
        row = store.newest_fit(plant) if plant else None
        fit = FleetFit.from_dict(row.parameters) if row else None
        seen = store.seen_by(row)
        system = register.system_of(request.user)
        start = edge.spec if edge else page.spec_from(seen.usual)
        asked = any(name in request.GET for name in ("side", "thickness", "stock"))
        form = page.EdgeForm(request.GET if asked else None, system=system, start=start)
        spec, after = start, None
        if asked and form.is_valid():
            spec, after = form.before, form.after
        return render(
            request,
            "maintenance/screens/wear_model/wear_model.html",
            {
                "form": form,
                "asked": asked and form.is_valid(),
                "edge": edge,
                "die": die,
                "itself": wording_numbers.hits(edge.usual_hits) if edge else "",
                "missing": missing,
                "fit": row,
                "picked": picked if die is None else None,
                "seen": seen,
                "system": system,
                **page.shown(fit, seen, spec, after, system),
            },
        )


def _asked(request) -> tuple[EdgeNow | None, Die | None, str]:
    """The real edge to start from, by ?edge= or ?die=, and why there is none."""
    numbers = {name: request.GET.get(name, "") for name in ("edge", "die")}
    known = {name: int(text) for name, text in numbers.items() if text.isdecimal() and len(text) < 16}
    if "edge" in known:
        positions = plants.within(Position.objects.select_related("die__plant"), request.user, "die__plant")
        position = get_object_or_404(positions, pk=known["edge"])
        die, wanted = position.die, position.pk
    elif "die" in known:
        die = get_object_or_404(plants.within(Die.objects.select_related("plant"), request.user), pk=known["die"])
        forecast = queries.newest_forecast(die)
        wanted = forecast.limiting_id if forecast else None
    else:
        return None, None, ""
    edges = other_builds.edges_now(die)
    edge = next((e for e in edges if e.position == wanted), edges[0] if edges and "edge" not in known else None)
    if edge is None:
        return None, die, "Nothing is forecast for that edge, so the shop's most usual edge is shown instead."
    return edge, die, ""
