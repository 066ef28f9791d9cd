"""Photos of an entry of the log, or of a work on the bench."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from diestore.access.models import Person
from diestore.register.models import Plant

from .keys import file_key

WORDS_AT_MOST = 200


class PhotoQuerySet(models.QuerySet):
    def standing(self):
        return self.filter(struck_at__isnull=True)

    def without_pictures(self):
        """What a list needs: the pictures themselves are fetched by their addresses."""
        return self.defer("small", "jpeg")

    def delete(self):
        raise TypeError("Photos are never deleted. Strike them out: maintenance.log.photos.strike_photo.")


class Photo(models.Model):
    """A picture, drawn anew when it came, beside the entry or the work that it shows.

    What it is of is named by sort and key, as entries are in a folder: their keys never change, their numbers do.
    """

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="photos")
    key = file_key()
    of_sort = models.CharField(max_length=20, help_text="A sort of entry, or benchwork.")
    of_key = models.CharField(max_length=160, help_text="Its key; of a sharpening that of the set.")
    at = models.DateTimeField(default=timezone.now)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    words = models.CharField(max_length=WORDS_AT_MOST, blank=True)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    struck_reason = models.CharField(max_length=300, blank=True)
    small = models.BinaryField(help_text="A JPEG for lists.")  # the large columns last: what is read without them is
    jpeg = models.BinaryField()  # read from the first page of the row

    objects = PhotoQuerySet.as_manager()

    class Meta:
        ordering = ["at", "key"]
        indexes = [models.Index(fields=["of_key", "of_sort"], name="photo_by_what_it_is_of")]
        constraints = [
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True, struck_by__isnull=True, struck_reason="")
                | (Q(struck_at__isnull=False, struck_by__isnull=False) & ~Q(struck_reason="")),
                name="photo_struck_out_whole",
            ),
            models.CheckConstraint(
                condition=Q(width__gte=1, width__lte=1_600, height__gte=1, height__lte=1_600),
                name="photo_size_possible",
            ),
        ]

    def __str__(self) -> str:
        return self.words or f"photo of {self.at:%d %b %Y}"

    @property
    def is_struck(self) -> bool:
        return self.struck_at is not None

    def delete(self, *args, **kwargs):
        raise TypeError("Photos are never deleted. Strike them out: maintenance.log.photos.strike_photo.")
