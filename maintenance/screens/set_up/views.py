"""How the die stands at its stop blocks."""

from __future__ import annotations

from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views import View

from diestore import units
from diestore.access import plants, roles
from diestore.access.queries import system_of
from diestore.handbook.cautions import first, for_work
from diestore.register.models import Die
from maintenance.log import set_ups
from maintenance.policy.stop_blocks import STAND_OFF_MM

from . import page

SHOWN = 8


class SetUpPage(PermissionRequiredMixin, View):
    """For whoever may log a run: the setter sets it in."""

    raise_exception = True
    permission_required = roles.LOG_RUN

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        dies = plants.within(Die.objects.select_related("plant", "usual_stock", "usual_press"), request.user)
        die = get_object_or_404(dies, pk=min(pk, 2**63 - 1))
        system = system_of(request.user)
        past = set_ups.latest(die, count=SHOWN)
        context = {
            "die": die,
            "system": system,
            "past": [_line(standing, system) for standing in past],
            "stand_off": _("{low} to {high}").format(
                low=units.show(STAND_OFF_MM[0], "clearance_mm", system),
                high=units.show(STAND_OFF_MM[1], "clearance_mm", system),
            ),
            "cautions": [first(), *(caution.reminder for caution in for_work("set-up"))],
        }
        if past:
            last = past[0]
            context |= {
                "last": last,
                "headline": page.headline(last.closing, [one.place for one in last.readings], system),
                "remarks": list(page.remarks(last, system)),
                "above": page.from_above(last, system),
                "next_height": page.next_height(last, system),
                "rows": [
                    (one, _mm(contact, system), _mm(target, system))
                    for one, contact, target in zip(
                        last.readings, last.closing.to_contact_mm, last.closing.to_target_mm, strict=True
                    )
                ],
            }
        return render(request, "maintenance/screens/set_up/set_up.html", context)


def _mm(mm: float, system: units.System) -> str:
    return units.show(mm, "clearance_mm", system).replace("-", "\u2212")


def _line(standing: set_ups.Standing, system: units.System) -> dict:
    height = standing.row.shut_height_mm
    return {
        "row": standing.row,
        "height": "" if height is None else units.show(height, "shut_height_mm", system),
        "lower": _mm(standing.closing.lower_by_mm, system),
        "spread": _mm(standing.closing.spread_mm, system),
        "odd": standing.closing.odd_place,
    }
