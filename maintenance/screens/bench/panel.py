"""What the bench hangs into a die's page: that it is on hold, and the works that are open on it."""

from __future__ import annotations

from django.template.loader import render_to_string

from diestore.access import roles
from maintenance.log import bench_reads


def on_the_bench(request, die) -> str:
    """Nothing where there is nothing to say."""
    hold = bench_reads.hold_shown(die)
    works = list(bench_reads.open_works().filter(die=die).select_related("person"))
    if hold is None and not works:
        return ""
    context = {
        "die": die,
        "hold": hold,
        "works": works,
        "may_open": request.user.has_perm(roles.LOG_MISHAP),
        "may_release": request.user.has_perm(roles.PLAN_BENCH),
    }
    return render_to_string("maintenance/screens/bench/panel.html", context, request=request)
