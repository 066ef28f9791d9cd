"""A photo as a picture, another one added to an entry or a work, and one struck out."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants, roles
from diestore.access.queries import system_of
from diestore.access.tablet import tablet_of
from diestore.access.who_does import who_can, who_did
from diestore.register.models import Plant
from maintenance.log import listing, photos, write
from maintenance.models import BenchWork, Event, Photo

from .forms import AddForm, StrikeForm

KEPT_S = 3_600  # so long a browser may keep a picture for whoever looked at it


def _photos(request: HttpRequest):
    return plants.within(Photo.objects.without_pictures(), request.user)


def _picture(request: HttpRequest, key: str, name: str) -> HttpResponse:
    found = get_object_or_404(_photos(request), key=key)
    if not photos.is_shown(found):
        raise Http404(_("This photo is struck out."))
    picture = Photo.objects.values_list(name, flat=True).get(pk=found.pk)
    return HttpResponse(
        bytes(picture),
        content_type="image/jpeg",
        headers={
            "Content-Disposition": "inline; filename=photo.jpg",
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": f"private, max-age={KEPT_S}",
        },
    )


@require_safe
def photo(request: HttpRequest, key: str) -> HttpResponse:
    return _picture(request, key, "jpeg")


@require_safe
def photo_small(request: HttpRequest, key: str) -> HttpResponse:
    return _picture(request, key, "small")


def _thing(request: HttpRequest, sort: str, pk: int) -> tuple[Event | BenchWork, Plant, str]:
    """What is named, its plant, and how it is called; raises Http404 where it is not seen or takes no photo."""
    if sort not in photos.SHOWN:
        raise Http404(_("No photo is kept of that."))
    if sort == photos.BENCH:
        works = plants.within(BenchWork.objects.select_related("die__plant"), request.user, "die__plant")
        work = get_object_or_404(works, pk=pk)
        return work, work.die.plant, f"{work.die}: {work.what}"
    entry = listing.find(sort, pk, system=system_of(request.user), plants=plants.plants_of(request.user))
    plant = None if entry is None else entry.die.plant if entry.die else getattr(entry.event, "plant", None)
    if entry is None or entry.struck or plant is None:
        raise Http404(_("There is no such entry."))
    return entry.event, plant, f"{entry.die}: {entry.words}" if entry.die else entry.words


def _page_of(sort: str, pk: int) -> str:
    return reverse("maintenance:bench_work", args=[pk]) if sort == photos.BENCH else reverse(
        "maintenance:entry", args=[sort, pk]
    )  # fmt: skip


class AddPhoto(PermissionRequiredMixin, View):
    """One more photo of an entry or a work."""

    raise_exception = True
    permission_required = roles.LOG_MISHAP

    def get(self, request: HttpRequest, sort: str, pk: int) -> HttpResponse:
        __, plant, words = _thing(request, sort, pk)
        return self._show(request, sort, pk, AddForm(**who_can(request, plant.pk)), words)

    def post(self, request: HttpRequest, sort: str, pk: int) -> HttpResponse:
        thing, plant, words = _thing(request, sort, pk)
        form = AddForm(request.POST, request.FILES, **who_can(request, plant.pk))
        if form.is_valid():
            c = form.cleaned_data
            try:
                photos.add_photo(
                    by=write.Actor(**who_did(request, c["person"])),
                    plant=plant,
                    of=thing,
                    picture=c["photo"],
                    words=c["words"],
                )
            except write.EntryRefused as refused:
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            else:
                messages.success(request, _("The photo is saved."))
                return HttpResponseRedirect(_page_of(sort, pk))
        return self._show(request, sort, pk, form, words, status=422)

    def _show(self, request, sort, pk, form, words, *, status: int = 200) -> HttpResponse:
        shown = {"form": form, "words": words, "back": _page_of(sort, pk), "tablet": tablet_of(request)}
        return render(request, "maintenance/screens/photos/new.html", shown, status=status)


class StrikePhoto(PermissionRequiredMixin, View):
    """A photo is struck out, with who and why."""

    raise_exception = True
    permission_required = roles.STRIKE_ENTRY

    def get(self, request: HttpRequest, key: str) -> HttpResponse:
        photo = self._photo(request, key)
        return self._show(request, photo, StrikeForm(**who_can(request, photo.plant_id)))

    def post(self, request: HttpRequest, key: str) -> HttpResponse:
        photo = self._photo(request, key)
        form = StrikeForm(request.POST, **who_can(request, photo.plant_id))
        if form.is_valid():
            try:
                photos.strike_photo(
                    by=write.Actor(**who_did(request, form.cleaned_data["person"])),
                    photo=photo,
                    reason=form.cleaned_data["reason"],
                )
            except write.EntryRefused as refused:
                form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            else:
                messages.success(request, _("The photo is struck out."))
                return HttpResponseRedirect(self._back(photo))
        return self._show(request, photo, form, status=422)

    def _photo(self, request: HttpRequest, key: str) -> Photo:
        found = get_object_or_404(_photos(request).select_related("person"), key=key)
        if not photos.is_shown(found):
            raise Http404(_("This photo is struck out."))
        return found

    @staticmethod
    def _back(photo: Photo) -> str:
        thing = photos.thing_of(photo)
        return reverse("reports:today") if thing is None else _page_of(photo.of_sort, thing.pk)

    def _show(self, request, photo: Photo, form, *, status: int = 200) -> HttpResponse:
        shown = {"photo": photo, "form": form, "back": self._back(photo), "tablet": tablet_of(request)}
        return render(request, "maintenance/screens/photos/strike.html", shown, status=status)
