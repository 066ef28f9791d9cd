"""What a finder is, and their register. Each app puts its own in at its start, so nothing here imports upwards."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from django.db.models import Case, IntegerField, Q, QuerySet, Value, When
from django.db.models.expressions import Combinable
from django.db.models.functions import Concat, Replace, Upper

from .spelling import BETWEEN, Asked, squeezed

EXACT, BEGINS, WORDS = range(3)
SHOWN, SHOWN_OF_ONE_KIND, IN_THE_HEAD = 8, 100, 10


@dataclass(frozen=True, kw_only=True)
class Hit:
    """name: what it is called. more: what tells it from others of that name. rank: how well it fits."""

    kind: str
    name: str
    more: str
    url: str
    rank: int = WORDS


@dataclass(frozen=True, kw_only=True)
class Finder:
    """many: what its things are called. find: the best hits for somebody, at most so many, in one question. rights: any
    of them is enough; none: for everybody who is signed in."""

    key: str
    many: str
    find: Callable[[object, Asked, int], Iterable[Hit]]
    rights: tuple[str, ...] = ()

    def is_for(self, user) -> bool:
        return not self.rights or any(user.has_perm(right) for right in self.rights)


FINDERS: dict[str, Finder] = {}


def put_in(*finders: Finder) -> None:
    """They are asked in the order in which they came."""
    FINDERS.update({finder.key: finder for finder in finders})


@dataclass(frozen=True)
class Found:
    """hits: the best first. more: finders that have more than is shown."""

    hits: tuple[Hit, ...] = ()
    more: tuple[Finder, ...] = ()

    @property
    def only(self) -> Hit | None:
        """The one that must be meant: the only one that is called so, or the only one there is."""
        exact = [hit for hit in self.hits if hit.rank == EXACT]
        among = exact if exact else self.hits
        return among[0] if len(among) == 1 else None


def find(user, asked: Asked, kind: str = "") -> Found:
    if not asked:
        return Found()
    at_most = SHOWN_OF_ONE_KIND if kind in FINDERS else SHOWN
    hits: list[Hit] = []
    more = []
    for finder in [FINDERS[kind]] if kind in FINDERS else FINDERS.values():
        if not finder.is_for(user):
            continue
        of_it = list(finder.find(user, asked, at_most + 1))
        hits += of_it[:at_most]
        if len(of_it) > at_most:
            more.append(finder)
    return Found(tuple(sorted(hits, key=lambda hit: hit.rank)), tuple(more))


def rank_of(name: str, asked: Asked) -> int | None:
    """For things that are in no table: how well a name fits; None where it does not."""
    code = squeezed(name)
    if code == asked.code:
        return EXACT
    if code.startswith(asked.code):
        return BEGINS
    folded = name.casefold()
    return WORDS if all(word.casefold() in folded for word in asked.words) else None


def best(
    rows: QuerySet,
    asked: Asked,
    *codes: str,
    words: tuple[str, ...] = (),
    also: Callable[[str], Q] | None = None,
    last: Combinable | None = None,
    order: tuple[str, ...] = (),
) -> QuerySet:
    """Rows that fit, the best first, with their rank. codes: columns that make the name, one after the other. words:
    columns that each word may stand in. also: what else a word may mean. last: true of rows that come after the others,
    such as retired ones."""
    named = rows.annotate(squeezed_name=_squeezed(*codes))
    begins = _like("squeezed_name", "istartswith", asked.code)
    fits = _all_words(asked, words, also)
    if len(asked.words) > 1:  # else what begins so holds the word too, and is not compared twice
        fits |= begins
    rank = Case(
        When(_like("squeezed_name", "iexact", asked.code), then=Value(EXACT)),
        When(begins, then=Value(BEGINS)),
        default=Value(WORDS),
        output_field=IntegerField(),
    )
    found = named.filter(fits).annotate(rank=rank)
    if last is not None:
        found = found.annotate(comes_last=Case(When(last, then=Value(1)), default=Value(0)))
    return found.order_by("rank", *(("comes_last",) if last is not None else ()), *order, *codes, "pk")


def _squeezed(*codes: str):
    whole = Concat(*codes) if len(codes) > 1 else codes[0]
    for sign in BETWEEN:
        whole = Replace(whole, Value(sign), Value(""))
    return Upper(whole)


def _all_words(asked: Asked, columns: tuple[str, ...], also) -> Q:
    whole = Q()
    for word in asked.words:
        one = also(word) if also is not None else Q()
        if code := squeezed(word):
            one |= _like("squeezed_name", "icontains", code)
        for column in columns:
            one |= _like(column, "icontains", word)
        whole &= one
    return whole


def _like(column: str, how: str, text: str) -> Q:
    """A database may know capitals of plain letters only: an umlaut is looked for in both."""
    wanted = Q()
    for spelling in {text} if text.isascii() else {text, text.upper(), text.lower(), text.capitalize()}:
        wanted |= Q(**{f"{column}__{how}": spelling})
    return wanted
