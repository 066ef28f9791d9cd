"""How addresses name sorts of entries: by words of the shop, where the tables have names of their own.

Addresses by the tables' names stand in bookmarks, messages and open pages; they lead on to those of today.
"""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponsePermanentRedirect, QueryDict
from django.urls import reverse

from maintenance.log import listing

_SORT_OF = {sort.address: name for name, sort in listing.SORTS.items()}


class EntrySort:
    """`<entry:sort>` in an address. Views hear the sort's own name."""

    regex = "[a-z-]+"

    def to_python(self, value: str) -> str:
        if value not in _SORT_OF:
            raise ValueError(value)
        return _SORT_OF[value]

    def to_url(self, value: str) -> str:
        if value not in listing.SORTS:
            raise ValueError(value)
        return listing.SORTS[value].address


class FormerSort:
    """`<former_entry:sort>`: a sort by the name of its table, where addresses call it otherwise now."""

    regex = "[a-z]+"

    def to_python(self, value: str) -> listing.Sort:
        if value not in listing.SORTS or value in _SORT_OF:
            raise ValueError(value)
        return listing.SORTS[value]

    def to_url(self, value: listing.Sort) -> str:
        return value.name


def list_of_today(asked: QueryDict) -> str:
    """Where the list of entries asked for a sort by its table's name stands now; '' where it asks by words of today."""
    sort = asked.get("sort", "")
    if sort not in listing.SORTS or sort in _SORT_OF:
        return ""
    asked = asked.copy()
    asked["sort"] = listing.SORTS[sort].address
    return f"{reverse('maintenance:entries')}?{asked.urlencode()}"


def to_today(request: HttpRequest, sort: listing.Sort, rest: str) -> HttpResponse:
    """On to the address of today, for good. What a page that stood open sends goes there whole."""
    there = f"{reverse('maintenance:entries')}{sort.address}/{rest}"
    query = request.META.get("QUERY_STRING", "")
    reads = request.method in ("GET", "HEAD")
    return HttpResponsePermanentRedirect(f"{there}?{query}" if query else there, preserve_request=not reads)
