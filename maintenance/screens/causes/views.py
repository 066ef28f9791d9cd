"""The page of the presses, and the page of one short cycle."""

from __future__ import annotations

from django.http import Http404
from django.shortcuts import get_object_or_404, render
from django.utils.decorators import method_decorator
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants, roles
from diestore.access.queries import system_of
from diestore.register.models import Position
from maintenance.models import WearCause

from . import page


@method_decorator(require_safe, name="dispatch")
class Presses(View):
    """Everybody who is signed in may read it: it names presses and nobody."""

    def get(self, request):
        picked = plants.picked(request)
        lines = page.presses(picked.plant) if picked.plant else []
        context = {
            "picked": picked,
            "lines": lines,
            "sloping": [line for line in lines if line.is_sloping],
            "drawn": page.DRAWN,
            "before": page.SLOPE_BEFORE,
            "system": system_of(request.user),
            "looked": WearCause.objects.filter(plant=picked.plant).first() if picked.plant else None,
        }
        return render(request, "maintenance/screens/causes/presses.html", context)


@method_decorator(require_safe, name="dispatch")
class ShortCycle(View):
    """Who ground an edge is told to those only who plan the bench."""

    def get(self, request, pk: int, number: int):
        positions = Position.objects.select_related("die__plant", "die__usual_stock", "station")
        position = get_object_or_404(plants.within(positions, request.user, "die__plant"), pk=pk)
        with_names = request.user.has_perm(roles.PLAN_BENCH)
        cycle = page.short_cycle(position, number, with_names=with_names)
        if cycle is None:
            raise Http404("No interval of that number has ended there.")
        context = {"position": position, "die": position.die, "short": cycle, "with_names": with_names}
        return render(request, "maintenance/screens/causes/short_cycle.html", context)
