"""One station of a die, opened large: its places on the strip, and a line for each."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views import View

from diestore.access.plants import within
from diestore.access.queries import system_of
from diestore.drawing import scale_plan
from diestore.register.models import Die

from . import panels
from . import state as die_state

TALLEST = 430.0


class StationPage(View):
    """Everybody who is signed in may look, as at the die's page."""

    def get(self, request: HttpRequest, pk: int, code: str) -> HttpResponse:
        die = get_object_or_404(within(Die.objects.select_related("plant", "usual_stock"), request.user), pk=pk)
        state = die_state.of_die(die, system_of(request.user))
        station = next((s for s in state.stations if s.code == code), None)
        if station is None:
            raise Http404
        complain = panels.complain_url(request, die)
        places, strip = panels.places_of(state, complain), panels.strip_of(state)
        here = [row for row in state.rows if row.position.station_id == station.pk]
        at = state.stations.index(station)
        return render(
            request,
            "maintenance/screens/die/station.html",
            {
                "die": die,
                "station": station,
                "complain": complain,
                "scaled": strip and scale_plan.lay_out(strip, places, station=station.sequence, tallest=TALLEST),
                "rows": [panels.figures(row) for row in here if row.cuts],
                "others": [row for row in here if not row.cuts],
                "before": state.stations[at - 1] if at else None,
                "after": state.stations[at + 1] if at + 1 < len(state.stations) else None,
                "asks": "?complain=1" if complain else "",
            },
        )
