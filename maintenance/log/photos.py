"""Photos of entries and of works on the bench: added, struck out, and found beside what they show."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.pictures import Picture
from diestore.register.models import Plant
from maintenance.models import BenchWork, Event, Photo, Work
from maintenance.models.photos import WORDS_AT_MOST

from .listing import SORTS, Entry, in_plants, sort_of
from .rules import EntryRefused, check_text, saving
from .write import Actor

AT_MOST = 12  # of one entry or work
BENCH = "benchwork"
# What a photo may be of.
SHOWN = ("stop", "incident", "work", "replacement", "reading", "setup", "run", "inspection", BENCH)


def name_of(thing: Event | BenchWork) -> tuple[str, str]:
    """Sort and key of what a photo is of. All rows of a sharpening are one entry."""
    if isinstance(thing, BenchWork):
        return BENCH, thing.key
    return sort_of(thing).name, _key_of(thing)


def _key_of(event: Event) -> str:
    return getattr(event, "set_key", "") or event.key


def add_photo(
    *,
    by: Actor,
    plant: Plant,
    of: Event | BenchWork,
    picture: Picture,
    words: str = "",
    at: dt.datetime | None = None,
) -> Photo:
    """Beside an entry or a work. The same picture beside the same thing again is the one that is there."""
    sort, key = name_of(of)
    words = " ".join(words.split())
    check_text(words, field="photo", what=_("What the photo shows"), at_most=WORDS_AT_MOST)
    if sort not in SHOWN:
        raise EntryRefused(_("No photo is kept of this sort of entry."), field="photo")
    own = hashlib.sha256(b"\x00".join((sort.encode(), key.encode(), picture.jpeg))).hexdigest()[:32]
    if known := Photo.objects.without_pictures().filter(key=own).first():
        return known
    if Photo.objects.standing().filter(of_sort=sort, of_key=key).count() >= AT_MOST:
        raise EntryRefused(
            _("There are {at_most} photos here already. Strike one out first.").format(at_most=AT_MOST), field="photo"
        )
    with saving(_("This photo is there already.")):
        return Photo.objects.create(
            plant=plant, key=own, of_sort=sort, of_key=key, at=at or timezone.now(), person=by.person,
            user_id=getattr(by.user, "pk", None), words=words, width=picture.width, height=picture.height,
            small=picture.small, jpeg=picture.jpeg,
        )  # fmt: skip


def strike_photo(*, by: Actor, photo: Photo, reason: str) -> Photo:
    """The photo is shown no more; it stays, and a history folder carries it with who struck it out and why."""
    if by.person is None:
        raise EntryRefused(_("Say who strikes it out."), field="person")
    if not reason.strip():
        raise EntryRefused(_("Say why it is struck out."), field="reason")
    check_text(reason.strip(), field="reason", what=_("The reason"), at_most=300)
    with saving():
        found = Photo.objects.without_pictures().select_for_update(of=("self",)).get(pk=photo.pk)
        if found.is_struck:
            raise EntryRefused(_("This photo is struck out already."))
        found.struck_at, found.struck_by, found.struck_reason = timezone.now(), by.person, reason.strip()
        found.save(update_fields=["struck_at", "struck_by", "struck_reason"])
        return found


# --- beside what they show --------------------------------------------------------------------------------------------


def beside(entries: Iterable[Entry]) -> list[Entry]:
    """The entries with their photos; one struck out has none to show. One question."""
    entries = list(entries)
    found = _of({_key_of(entry.event) for entry in entries if not entry.struck})
    return [
        entry if entry.struck else replace(entry, photos=tuple(found.get((entry.sort.name, _key_of(entry.event)), ())))
        for entry in entries
    ]


def of_works(works: Iterable[BenchWork]) -> dict[int, list[Photo]]:
    """The photos of works on the bench, by number. One question."""
    works = list(works)
    found = _of({work.key for work in works})
    return {work.pk: found[BENCH, work.key] for work in works if (BENCH, work.key) in found}


def _of(keys: set[str]) -> dict[tuple[str, str], list[Photo]]:
    made: dict[tuple[str, str], list[Photo]] = defaultdict(list)
    if keys:
        rows = Photo.objects.standing().without_pictures().filter(of_key__in=keys).select_related("person")
        for photo in rows.order_by("at", "key"):
            made[photo.of_sort, photo.of_key].append(photo)
    return dict(made)


def thing_of(photo: Photo) -> Event | BenchWork | None:
    """What a photo is of."""
    if photo.of_sort == BENCH:
        return BenchWork.objects.filter(key=photo.of_key).select_related("die").first()
    if (sort := SORTS.get(photo.of_sort)) is None:
        return None
    named = Q(key=photo.of_key) | Q(set_key=photo.of_key) if sort.model is Work else Q(key=photo.of_key)
    return sort.model.objects.filter(named).order_by("pk").first()


def known_keys(sort: str, keys: Iterable[str], plant: Plant) -> set[str]:
    """Which of the keys name something of that sort in the plant."""
    keys = list(keys)
    if sort == BENCH:
        return set(BenchWork.objects.filter(die__plant=plant, key__in=keys).values_list("key", flat=True))
    here = SORTS[sort].model.objects.filter(in_plants(SORTS[sort], [plant.pk]))
    found = set(here.filter(key__in=keys).values_list("key", flat=True))
    if sort == "work":
        of_sets = Work.objects.filter(in_plants(SORTS[sort], [plant.pk]), set_key__in=keys).exclude(set_key="")
        found |= set(of_sets.values_list("set_key", flat=True))
    return found


def is_shown(photo: Photo) -> bool:
    """Whether neither the photo nor the entry that it is of is struck out."""
    if photo.is_struck:
        return False
    thing = thing_of(photo)
    return thing is not None and not getattr(thing, "is_struck", False)
