"""What takes long to work out for a whole shop and is kept from night to night. Derived: may be thrown away."""

from __future__ import annotations

from collections.abc import Iterable

from django.db import models
from django.utils import timezone

from diestore.register.models import Item, Plant
from maintenance.log import freshness


class KeptSheets(models.Model):
    """The cost sheets of a plant's dies. mark: where the log stood when they were made."""

    plant = models.OneToOneField(Plant, on_delete=models.CASCADE, related_name="kept_sheets")
    made_at = models.DateTimeField(default=timezone.now)
    mark = models.JSONField()
    sheets = models.JSONField()

    class Meta:
        verbose_name_plural = "kept sheets"

    def __str__(self) -> str:
        return f"cost sheets of {self.plant}"


class KeptSpares(models.Model):
    """What the spares of a plant were told from. mark: where the records stood; shop: what the whole shop says."""

    plant = models.OneToOneField(Plant, on_delete=models.CASCADE, related_name="kept_spares")
    made_at = models.DateTimeField(default=timezone.now)
    today = models.DateField()
    mark = models.JSONField()
    shop = models.JSONField()
    took_s = models.FloatField(default=0.0, help_text="The last telling anew of those that waited.")

    class Meta:
        verbose_name_plural = "kept spares"

    def __str__(self) -> str:
        return f"spares of {self.plant}"


class KeptFigures(models.Model):
    """What all spares of a plant come to, from the night: sums over every row that no page adds up by itself."""

    kept = models.ForeignKey(KeptSpares, on_delete=models.CASCADE, related_name="sums")
    name = models.CharField(max_length=20)
    figures = models.JSONField()

    class Meta:
        verbose_name_plural = "kept figures"
        constraints = [models.UniqueConstraint(fields=["kept", "name"], name="one_kept_sum_a_name")]

    def __str__(self) -> str:
        return f"{self.name} of {self.kept}"


class KeptSpare(models.Model):
    """The advice on one spare as it was told last. Columns to sort by hold a number where the unknown stands too."""

    kept = models.ForeignKey(KeptSpares, on_delete=models.CASCADE, related_name="rows")
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    code = models.CharField(max_length=101)
    kind = models.CharField(max_length=30, blank=True)
    supplier = models.CharField(max_length=300, blank=True)
    words = models.TextField(help_text="In small letters, what is looked for: code, description, dies.")
    on_hand = models.IntegerField()
    on_order = models.IntegerField()
    unknown = models.BooleanField()
    order_day = models.IntegerField(help_text="Days since the year 1; far ahead where it is not within the year.")
    stops_rank = models.SmallIntegerField()
    lead_sorted = models.IntegerField()
    half_sorted = models.IntegerField()
    nine_sorted = models.IntegerField()
    short_sorted = models.IntegerField()
    quantity_sorted = models.IntegerField()
    told = models.JSONField(help_text="The rest of the advice, or why there is none.")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["kept", "item"], name="one_kept_advice_a_spare")]
        indexes = [
            models.Index(fields=["kept", "order_day", "unknown", "stops_rank"], name="kept_spare_by_urgency"),
        ]

    def __str__(self) -> str:
        return self.code


class PurchasingRecord(models.Model):
    """The last years of a plant's purchasing again, as looked back on last. figures: of each spare, as reports/record
    writes and reads them; refusal: why there is none."""

    plant = models.OneToOneField(Plant, on_delete=models.CASCADE, related_name="purchasing_record")
    made_at = models.DateTimeField(default=timezone.now)
    figures = models.JSONField(default=dict)
    refusal = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"record for purchasing of {self.plant}"


class KeptOfDies(models.Model):
    """What a night found of each die of a plant. dies: by key, as the report writes and reads them. mark: where the
    records stood."""

    made_at = models.DateTimeField(default=timezone.now)
    mark = models.JSONField()
    dies = models.JSONField(default=dict)

    class Meta:
        abstract = True

    def keep(self) -> None:
        """In the place of what was kept before."""
        type(self).objects.filter(plant=self.plant).delete()
        self.save()

    def read(self, there: Iterable[int]) -> tuple[list[tuple[int, dict]], set[int]]:
        """(die, its columns) of the dies that are there still; and the dies on which something was entered since."""
        there = frozenset(there)
        changes = freshness.since(self.mark)
        waiting = set(there) if changes is None else changes.dies_in("records", "price", "forecast")
        return [(int(pk), columns) for pk, columns in self.dies.items() if int(pk) in there], waiting


class KeptGains(KeptOfDies):
    """What every change on every die of a plant is worth, from the night."""

    plant = models.OneToOneField(Plant, on_delete=models.CASCADE, related_name="kept_gains")

    class Meta:
        verbose_name_plural = "kept gains"

    def __str__(self) -> str:
        return f"what changes on the dies of {self.plant} are worth"


class KeptChanges(KeptOfDies):
    """What came of every change made on the dies of a plant, and what was promised of it, from the night."""

    plant = models.OneToOneField(Plant, on_delete=models.CASCADE, related_name="kept_changes")

    class Meta:
        verbose_name_plural = "kept changes"

    def __str__(self) -> str:
        return f"what happened after the changes on the dies of {self.plant}"
