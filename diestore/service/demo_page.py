"""The page on which the demo shop beside one's own is asked for, found and thrown away."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views import View

from diestore.access import roles
from diestore.access.demo_users import PINS, USERS

from . import demo_shop
from .models import DemoShop


class DemoBeside(View):
    http_method_names = ("get", "head", "options", "post")

    def dispatch(self, request: HttpRequest, *args, **kwargs):
        if settings.DEMO:
            raise Http404
        if not request.user.has_perm(roles.MANAGE_PEOPLE):
            raise PermissionDenied("The lead or the administrator has the demo shop shown.")
        return super().dispatch(request, *args, **kwargs)

    def get(self, request: HttpRequest) -> HttpResponse:
        row = demo_shop.now()
        state = _state(row)
        context = {
            "row": row,
            "state": state,
            "problem": _problem(row),
            "address": f"http://{_host(request)}:{row.port}/" if row is not None and row.port else "",
            "users": [user for user in USERS if user.name in ("lead", "buyer", "setter", "sales", "tablet")],
            "pins": PINS,
        }
        return render(request, "diestore/service/demo.html", context)

    def post(self, request: HttpRequest) -> HttpResponse:
        if "show" in request.POST:
            demo_shop.wish(request.user.get_username())
        elif "away" in request.POST and demo_shop.throw_away():
            messages.success(request, "The demo shop is thrown away. Nothing of it was in your shop.")
        return redirect("diestore:demo_beside")


def _state(row: DemoShop | None) -> str:
    if row is None:
        return "none"
    if row.problem or row.is_left:
        return "wrong"
    return "ready" if row.ready else "making"


def _problem(row: DemoShop | None) -> str:
    if row is None:
        return ""
    return row.problem or (demo_shop.ENDED if row.owner else demo_shop.NOBODY)


def _host(request: HttpRequest) -> str:
    """The name that this service was reached by, without its port."""
    host = request.get_host()
    return host if host.endswith("]") else host.rpartition(":")[0] or host
