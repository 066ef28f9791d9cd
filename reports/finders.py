"""What the reports add to finding: spares."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Q
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

from diestore.access import plants, roles
from diestore.finding.finders import Finder, Hit, best
from diestore.finding.of_register import said
from diestore.finding.spelling import Asked
from diestore.register.models import Item
from reports.spares import reads


def spares(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    """A spare that no die takes and that never lay on a shelf has its card alone."""
    columns, gone = ("description", "supplier__name", "shelf_place"), Q(retired_at__isnull=False)
    rows = Item.objects.select_related("supplier")
    items = list(best(rows, asked, "code", "revision", words=columns, last=gone)[:at_most])
    in_use = reads.which_in_use(plants.all_seen(user), [item.pk for item in items]) if items else set()
    for item in items:
        shelf = _("lies at {place}").format(place=item.shelf_place) if item.shelf_place else ""
        words = item.description or item.get_kind_display()
        page = "reports:spare" if item.pk in in_use else "diestore:spares_card"
        yield Hit(
            kind=gettext_noop("spare"), name=str(item), rank=item.rank, url=reverse(page, args=[item.pk]),
            more=said(words, shelf, item.supplier, _("no longer used") if item.retired_at else ""),
        )  # fmt: skip


FINDERS = (Finder(key="spares", many=gettext_lazy("spares"), find=spares, rights=(roles.SEE_SPARES,)),)
