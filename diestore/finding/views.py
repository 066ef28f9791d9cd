"""The page of what was found, its lines for the field in the head, and the page of the keys."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import resolve, reverse
from django.views.decorators.http import require_safe

from diestore.navigation import stops_for

from . import finders, spelling


def _path_of_label(text: str) -> str:
    """Where a scanned label leads, where that is a page of this service; the page itself asks who may open it."""
    path = spelling.path_of(text)
    try:
        resolve(path)
    except Http404:
        return ""
    return path if path.startswith("/") and not path.startswith("//") else ""


@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """What was found. Where only one thing can be meant it is opened."""
    typed, kind = request.GET.get("q", ""), request.GET.get("kind", "")
    if path := _path_of_label(typed.strip()):
        return redirect(path)
    asked = spelling.asked(typed)
    found = finders.find(request.user, asked, kind)
    if found.only is not None and not kind:
        return redirect(found.only.url)
    of_kind = finders.FINDERS.get(kind)
    return render(
        request,
        "diestore/finding/find.html",
        {"asked": asked, "found": found, "kind": of_kind, "nobody_said": not asked},
    )


@require_safe
def lines(request: HttpRequest) -> HttpResponse:
    """The same as lines alone, for the field in the head; whoever opens them as a page gets the page."""
    if request.headers.get("Sec-Fetch-Dest") == "document":
        return redirect(f"{reverse('diestore:find')}?{request.GET.urlencode()}")
    asked = spelling.asked(request.GET.get("q", ""))
    found = finders.find(request.user, asked)
    return render(request, "diestore/finding/lines.html", {"asked": asked, "hits": found.hits[: finders.IN_THE_HEAD]})


@require_safe
def keys(request: HttpRequest) -> HttpResponse:
    """Which keys open what."""
    stops = [(stop.key, str(stop.label), url) for stop, url in stops_for(request.user)]
    return render(request, "diestore/finding/keys.html", {"stops": stops})
