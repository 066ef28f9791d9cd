"""What a card is: its columns, what helps whoever types, who sees it and who changes it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from django.db import models
from django.urls import path, reverse

from diestore import units
from diestore.access import plants

OUT = ("Take out of use", "Use it again", "{} is no longer used.", "{} is used again.", "no longer used")


@dataclass(frozen=True)
class Typed:
    """One column that is typed. The unit follows from its name. must_say: a bare number is refused, since people mean
    two units by it. only: which rows may be named. offers: words offered while typing."""

    name: str
    label: str
    help: str = ""
    must_say: bool = False
    only: Callable[[models.QuerySet], models.QuerySet] | None = None
    offers: tuple[str, ...] = ()


@dataclass(frozen=True)
class Below:
    """Rows that name this one, shown on its card. url_name: where such a row leads, with its key. new: where another
    one is typed, with this one filled in. plant: the way from such a row to its plant, where it has one: what is
    another plant's is not shown on the card of what is the shop's."""

    title: str
    rows: Callable[[models.Model], models.QuerySet]
    says: Callable[[models.Model], str]
    url_name: str = ""
    new: str = ""
    column: str = ""
    plant: str = ""


@dataclass(frozen=True)
class Card:
    """key: in addresses. one, many: what it is called. see, edit: rights, any of which is enough. plant: the way from a
    row to its plant, where it has one. out: words for taking it out of use, and back. acts: further pages of a row, for
    those who edit; of a name that ends in "?die" the address asks for the row. elsewhere: its pages that are no card's,
    by what they are, "" for the list. notes: what the handbook makes of a row, in the reader's units. doubts: what the
    handbook thinks of a row; it warns and forbids nothing."""

    key: str
    app: str
    model: type[models.Model]
    one: str
    many: str
    intro: str
    typed: tuple[Typed, ...]
    columns: tuple[str, ...]
    search: tuple[str, ...]
    see: tuple[str, ...]
    edit: tuple[str, ...]
    plant: str = ""
    related: tuple[str, ...] = ()
    order: tuple[str, ...] = ()
    always: dict[str, object] = field(default_factory=dict)
    below: tuple[Below, ...] = ()
    doubts: Callable[[models.Model], list[str]] | None = None
    notes: Callable[[models.Model, units.System], list[str]] | None = None
    out: tuple[str, ...] = (
        "Take out of use",
        "Use it again",
        "{} is no longer used.",
        "{} is used again.",
        "no longer used",
    )
    acts: tuple[tuple[str, str], ...] = ()
    prefix: str = "register/"
    elsewhere: dict[str, str] = field(default_factory=dict)

    def rows(self, user) -> models.QuerySet:
        found = self.model._base_manager.filter(**self.always).select_related(*self.related)
        return plants.within(found, user, self.plant) if self.plant else found

    def typed_by(self, user) -> list[Typed]:
        """What this person is asked: of one plant nobody is asked which."""
        return [one for one in self.typed if one.name != "plant" or not only_plant(user)]

    def sees(self, user) -> bool:
        return any(user.has_perm(right) for right in (*self.see, *self.edit))

    def edits(self, user) -> bool:
        return any(user.has_perm(right) for right in self.edit)

    def address(self, what: str = "", *args) -> str:
        return reverse(self.elsewhere.get(what) or f"{self.app}:{self.key}{'_' + what if what else ''}", args=args)


def page_of(name: str, pk: int) -> str:
    """A further page of a row, as `Card.acts` names it."""
    plain, _, asked = name.partition("?")
    return f"{reverse(plain)}?{asked}={pk}" if asked else reverse(plain, args=[pk])


def only_plant(user) -> bool:
    return len(plants.all_seen(user)) < 2


BY_TABLE: dict[str, list[Card]] = {}


def of_row(row: models.Model) -> Card | None:
    """The card that shows a row."""
    for card in BY_TABLE.get(row._meta.label_lower, ()):
        if all(getattr(row, name) == value for name, value in card.always.items()):
            return card
    return None


def addresses_of(card: Card) -> list:
    """The addresses of a card's pages; with them it is known by its table."""
    from . import views

    BY_TABLE.setdefault(card.model._meta.label_lower, []).append(card)
    at = f"{card.prefix}{card.key.replace('_', '-')}/"
    pages = {
        "": path(at, views.CardList.as_view(card=card), name=card.key),
        "new": path(f"{at}new/", views.NewRow.as_view(card=card), name=f"{card.key}_new"),
        "card": path(f"{at}<key:pk>/", views.OneRow.as_view(card=card), name=f"{card.key}_card"),
        "past": path(f"{at}<key:pk>/changes/", views.Past.as_view(card=card), name=f"{card.key}_past"),
    }
    return [page for what, page in pages.items() if what not in card.elsewhere]
