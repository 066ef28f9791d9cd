"""The page of one entry."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views import View

from diestore.access import roles, shop
from diestore.access.plants import plants_of
from diestore.access.queries import system_of
from maintenance.log import listing, payers, photos

from .tasks import sees_cost

SHOWN_ENTRIES = ("run", "work", "replacement", "stop", "reading", "hitcorrection", "incident", "setup", "inspection",
                 "retirement")  # fmt: skip


class EntryPage(View):
    """One entry of the log with every row of it, whether it stands or is struck out."""

    def get(self, request: HttpRequest, sort: str, pk: int) -> HttpResponse:
        seen = plants_of(request.user)
        entry = listing.find(sort, pk, system=system_of(request.user), plants=seen) if sort in SHOWN_ENTRIES else None
        if entry is None:
            raise Http404("No such entry.")
        (entry,) = photos.beside([entry])
        return render(
            request,
            "maintenance/screens/entry/one_entry.html",
            {
                "entry": entry,
                "system": system_of(request.user),
                "takes_photos": sort in photos.SHOWN and not entry.struck,
                "currency": shop.current().currency,
                "pays": sort in payers.ENTRIES and entry.die and not entry.struck and sees_cost(request),
                "works": [w for w in entry.events if sort == "work"],
                "may_strike": request.user.has_perm(roles.STRIKE_ENTRY) and not entry.struck,
            },
        )
