"""The states that a list may be narrowed to, as taps: each with its count, as a link that can be sent."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.http import HttpRequest


@dataclass(frozen=True)
class Tap:
    words: str
    count: int | None
    address: str
    is_on: bool


def taps(request: HttpRequest, name: str, states: Iterable[tuple[str, str, int | None]], usual: str = "") -> list[Tap]:
    """One tap for each (value, words, count) of the parameter `name`; the rest of the address stays, but for the page.

    usual: the value that holds where the address names none, or one that is no state.
    """
    states = list(states)
    asked = request.GET.get(name, usual)
    chosen = asked if any(value == asked for value, _, _ in states) else usual
    made = []
    for value, words, count in states:
        query = request.GET.copy()
        for gone in (name, "page"):
            query.pop(gone, None)
        if value != usual:
            query[name] = value
        made.append(Tap(words, count, f"?{query.urlencode()}", value == chosen))
    return made
