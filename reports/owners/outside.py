"""What a customer's link shows: the newest signed report of each of his tools, and nothing else.

No sign-in and no session comes of it. One that is withdrawn, over or made up is answered alike.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django.views.decorators.http import require_safe

from diestore.access import shop, throttle
from maintenance.log import owners
from maintenance.wording.standing import Standing

from . import reads
from .condition_views import as_paper, body
from .reads import CustomerLink, SignedReport

HEADERS = {
    "X-Robots-Tag": "noindex, nofollow, noarchive",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "private, no-store",
}
CLOSED = gettext_noop("This address opens nothing. It was withdrawn, its time is over, or it was never given out.")


class NothingThere(Exception):
    """There is no such report behind this link."""


def _by_link(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Opened by a link that stands: looked at behind the throttle, kept, and answered with headers of its own."""

    @login_not_required
    @require_safe
    @wraps(view)
    def opened(request: HttpRequest, token: str, **more: int) -> HttpResponse:
        try:
            answer = _answer(request, token, view, more)
        except throttle.Held as held:
            answer = _page("closed", {"words": str(held), "title": _("Please wait"), "waits": True}, status=429)
            answer["Retry-After"] = str(held.seconds)
        for name, value in HEADERS.items():
            answer[name] = value
        return answer

    return opened


def _answer(request: HttpRequest, token: str, view: Callable[..., HttpResponse], more: dict) -> HttpResponse:
    door = (throttle.LINK, throttle.address_of(request))
    at = throttle.enter(door, where=door[1])
    link = owners.link_of(token)
    if link is None:
        return _nothing()
    throttle.was_right(door, at=at)
    throttle.enter((throttle.LINK_OPENED, str(link.pk)))
    try:
        return view(request, link, token, **more)
    except NothingThere:
        return _nothing()


@_by_link
def tools(request: HttpRequest, link: CustomerLink, token: str) -> HttpResponse:
    """The list of his tools."""
    rows = [(row, owners.read(row.said)) for row in reads.shown_by(link)]
    owners.opened(link)
    listed = [
        {"pk": row.pk, "said": said, "mark": Standing(said.standing, said.css)} for row, said in rows
    ]  # fmt: skip
    return _page("tools", {"link": link, "rows": listed, "token": token})


@_by_link
def tool(request: HttpRequest, link: CustomerLink, token: str, pk: int) -> HttpResponse:
    """One report, as it was signed."""
    report = _report(link, pk)
    owners.opened(link, report=report)
    return _page("tool", body(owners.read(report.said)) | {"link": link, "token": token, "pk": report.pk})


@_by_link
def tool_pdf(request: HttpRequest, link: CustomerLink, token: str, pk: int) -> HttpResponse:
    report = _report(link, pk)
    owners.opened(link, report=report, is_paper=True)
    return as_paper(owners.read(report.said))


def _report(link: CustomerLink, pk: int) -> SignedReport:
    found = next((row for row in reads.shown_by(link) if row.pk == pk), None)
    if found is None:
        raise NothingThere
    return found


def _nothing() -> HttpResponse:
    return _page("closed", {"words": _(CLOSED), "title": _("Nothing to see here")}, status=404)


def _page(name: str, shown: dict, *, status: int = 200) -> HttpResponse:
    """Made without the request: nothing of a session or of whoever is signed in goes in."""
    own = shop.current().name
    return HttpResponse(render_to_string(f"reports/owners/outside_{name}.html", {"shop": own, **shown}), status=status)
