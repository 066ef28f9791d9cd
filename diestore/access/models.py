"""Who signs in and who did it: people and their PINs, settings, tries at a door."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from diestore.register.models import Plant


class Person(models.Model):
    """Somebody who does things, apart from the sign-in: a bench tablet is shared."""

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="people")
    name = models.CharField(max_length=120)
    pin_hash = models.CharField(max_length=160, blank=True)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]
        verbose_name_plural = _("people")
        constraints = [models.UniqueConstraint(fields=["plant", "name"], name="person_once_a_plant")]

    def __str__(self) -> str:
        return self.name


class UserSettings(models.Model):
    """How one signed-in user sees the service."""

    class Units(models.TextChoices):
        METRIC = "metric", _("metric (mm, N, MPa)")
        INCH = "inch", _("inch (in, lbf, ksi)")

    user = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="shop_settings")
    units = models.CharField(max_length=6, choices=Units, default=Units.METRIC)
    plant = models.ForeignKey(Plant, null=True, blank=True, on_delete=models.SET_NULL)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL)
    shared_device = models.BooleanField(
        default=False,
        help_text=_("A tablet at a bench or a press that stays signed in: who logs is picked there by name and PIN."),
    )
    page_keys = models.BooleanField(default=True, help_text=_("Single keys open pages."))
    language = models.CharField(
        max_length=10, blank=True, choices=settings.LANGUAGES, help_text=_("Empty: the shop's.")
    )

    class Meta:
        verbose_name_plural = _("user settings")

    def __str__(self) -> str:
        return f"settings of {self.user}"

    @property
    def roles(self) -> str:
        """Whose rights a shared tablet has."""
        return gettext(" or a ").join(gettext(group.name) for group in self.user.groups.all()) or gettext("nobody")


class PlantOfUser(models.Model):
    """A plant that the user sees. Without any, all of them: `plants` says what that comes to."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="plants_bound")
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["user", "plant"]
        verbose_name = _("plant of the user")
        verbose_name_plural = _("plants that the user sees")
        constraints = [models.UniqueConstraint(fields=["user", "plant"], name="plant_once_a_user")]

    def __str__(self) -> str:
        return f"{self.user} sees {self.plant}"


class Tries(models.Model):
    """How often something that is guessed at (a password, a PIN) was tried in a row, and until when it is held.

    In the database, so that it counts over every process and host. `who` is a keyed hash: people type passwords into
    the box for the name.
    """

    door = models.CharField(max_length=20)
    who = models.CharField(max_length=64)
    count = models.PositiveIntegerField(default=0)
    last = models.DateTimeField()
    held_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = _("tries")
        indexes = [models.Index(fields=["last"], name="tries_by_age")]
        constraints = [models.UniqueConstraint(fields=["door", "who"], name="tries_once")]

    def __str__(self) -> str:
        return f"{self.count} tries at {self.door}"


class Shop(models.Model):
    """What the shop is called, its money, its clock, its units and its language: one row, once somebody has said so."""

    name = models.CharField(max_length=80)
    currency = models.CharField(max_length=10, default="EUR")
    time_zone = models.CharField(max_length=60, default="UTC")
    units = models.CharField(max_length=6, choices=UserSettings.Units, default=UserSettings.Units.METRIC)
    language = models.CharField(max_length=10, choices=settings.LANGUAGES, default=settings.LANGUAGE_CODE)

    class Meta:
        verbose_name = verbose_name_plural = _("the shop")
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="one_shop")]

    def __str__(self) -> str:
        return self.name

    def save(self, *args, **kwargs) -> None:
        self.pk = 1
        super().save(*args, **kwargs)
