"""The finders of the register, of the words and of the pages themselves."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Q
from django.urls import reverse
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from diestore.access import plants, roles
from diestore.handbook import words
from diestore.handbook.kinds import KINDS
from diestore.navigation import stops_for
from diestore.register.models import Die, Part, Party, Position

from .finders import BEGINS, Finder, Hit, best, rank_of
from .spelling import Asked, squeezed


def said(*parts: object) -> str:
    """A second line of what there is of it."""
    return " · ".join(str(part) for part in parts if part)


def plant_of(user):
    """How a row's plant is called, where the person sees several; asked of the database once a request."""
    if not hasattr(user, "finds_in_several"):
        user.finds_in_several = len(plants.all_seen(user)) > 1
    several = user.finds_in_several
    return lambda plant: str(plant) if several else ""


def dies(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    rows = plants.within(Die.objects.select_related("plant", "owner"), user)
    named, gone = plant_of(user), Die.Status.RETIRED
    for die in best(rows, asked, "code", words=("description", "owner__name"), last=Q(status=gone))[:at_most]:
        status = "" if die.status == Die.Status.IN_SERVICE else die.get_status_display()
        more = said(die.description, die.owner, named(die.plant), status)
        yield Hit(
            kind=gettext_noop("die"),
            name=die.code,
            more=more,
            url=reverse("diestore:die", args=[die.pk]),
            rank=die.rank,
        )


def _kinds(word: str) -> Q:
    """By its name in either language: whoever reads Spanish may still say it as it stands in the files."""
    part = word.casefold()
    return Q(kind__in=[k.key for k in KINDS.values() if part in k.name.casefold() or part in k.english.casefold()])


DIES_AT_MOST = 200  # among whose places is looked, where the code begins as theirs do


def _of_dies(user, asked: Asked) -> Q:
    """Places of the dies whose codes begin what is asked for, or begin so; of any die where there are none. A die has
    sixty places: all of a large shop are compared only where no die is named."""
    codes = plants.within(Die.objects.order_by(), user).values_list("pk", "code")
    named = [(pk, squeezed(code)) for pk, code in codes]
    begun = [pk for pk, code in named if code and (asked.code.startswith(code) or code.startswith(asked.code))]
    return Q(die__in=begun) if 0 < len(begun) <= DIES_AT_MOST else Q()


def places(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    rows = plants.within(Position.objects.select_related("die__plant", "item", "station"), user, "die__plant")
    rows = rows.filter(_of_dies(user, asked))
    fitting = best(rows, asked, "die__code", "code", words=("item__code",), also=_kinds, last=Q(valid_to__isnull=False))
    named = plant_of(user)
    for place in fitting[:at_most]:
        gone = _("no longer in the die") if place.valid_to else ""
        works = place.station.operation if place.station else ""
        yield Hit(
            kind=gettext_noop("position"), name=f"{place.die.code} {place.code}", rank=place.rank,
            more=said(place.get_kind_display(), works, place.item, named(place.die.plant), gone),
            url=reverse("maintenance:edge", args=[place.pk]),
        )  # fmt: skip


def parts(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    rows = Part.objects.select_related("customer")
    columns = ("description", "customer__name")
    for part in best(rows, asked, "number", "revision", words=columns, last=Q(retired_at__isnull=False))[:at_most]:
        more = said(part.description, part.customer, _("no longer used") if part.retired_at else "")
        url = reverse("diestore:parts_card", args=[part.pk])
        yield Hit(kind=gettext_noop("part"), name=str(part), more=more, url=url, rank=part.rank)


def customers(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    rows = Party.objects.filter(role=Party.Role.CUSTOMER)
    for party in best(rows, asked, "code", words=("name",), last=Q(retired_at__isnull=False))[:at_most]:
        by_name = rank_of(party.name, asked)
        rank = party.rank if by_name is None else min(party.rank, by_name)
        more = said(party.code if party.name else "", _("no longer used") if party.retired_at else "")
        url = reverse("reports:customer", args=[party.pk])
        yield Hit(kind=gettext_noop("customer"), name=str(party), more=more, url=url, rank=rank)


def glossary(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    """A word is not opened at once while something of the shop is found by that name."""
    ranked = []
    for word in (word for group in words.by_letter().values() for word in group):
        ranks = [rank for name in (word.term, word.name, *word.also) if (rank := rank_of(name, asked)) is not None]
        if ranks:
            ranked.append((max(min(ranks), BEGINS), word))
    url = reverse("diestore:words")
    for rank, word in sorted(ranked, key=lambda one: one[0])[:at_most]:
        yield Hit(
            kind=gettext_noop("word"),
            name=word.name,
            more=word.what_it_means,
            url=f"{url}#{slugify(word.term)}",
            rank=rank,
        )


def pages(user, asked: Asked, at_most: int) -> Iterator[Hit]:
    own = [(_("My settings"), reverse("diestore:settings")), (_("Keys"), reverse("diestore:keys"))]
    for name, url in [*((str(stop.label), url) for stop, url in stops_for(user)), *own]:
        rank = rank_of(name, asked)
        if rank is not None:
            yield Hit(kind=gettext_noop("page"), name=name, more="", url=url, rank=rank)


FINDERS = (
    Finder(key="dies", many=gettext_noop("dies"), find=dies),
    Finder(key="places", many=gettext_noop("positions"), find=places),
    Finder(key="parts", many=gettext_noop("parts"), find=parts, rights=(roles.SEE_COST, roles.EDIT_REGISTER)),
    Finder(key="customers", many=gettext_noop("customers"), find=customers, rights=(roles.SEE_COST,)),
    Finder(key="pages", many=gettext_noop("pages"), find=pages),
    Finder(key="words", many=gettext_noop("words"), find=glossary),
)
