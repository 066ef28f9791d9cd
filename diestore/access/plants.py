"""Which plants a person sees: the only place that says so. A page, a form, a file goes by it, whatever it shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib.auth.models import User
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.http import Http404
from django.utils.html import format_html
from django.utils.safestring import SafeString

from diestore.register.models import Plant

from .models import PlantOfUser
from .roles import ADMINISTRATOR, role_of


def plants_of(user) -> frozenset[int] | None:
    """The ids of the plants that the person sees; None: all of them. Asked of the database once a request.

    Whoever is bound to no plant sees all, and so does the administrator, who binds the others. Nobody sees none.
    """
    if not user.is_authenticated:
        return frozenset()
    if user.is_superuser:
        return None
    if not hasattr(user, "bound_plants"):
        user.get_all_permissions()  # the sign-in reads roles and plants along with the rights
    if not hasattr(user, "bound_plants"):
        user.bound_plants = frozenset(PlantOfUser.objects.filter(user=user).values_list("plant", flat=True))
    return None if role_of(user) == ADMINISTRATOR else user.bound_plants or None


def sees(user, plant: int | None) -> bool:
    """Whether the person sees what is of the plant with this id."""
    ids = plants_of(user)
    return ids is None or plant in ids


def within(queryset: QuerySet[Any], user, path: str = "plant") -> QuerySet[Any]:
    """What of the rows is of the person's plants. path: from a row to its plant, as the query set writes it; 'pk' of
    the plants themselves."""
    ids = plants_of(user)
    return queryset if ids is None else queryset.filter(**{f"{path}__in": sorted(ids)})


def users_within(user) -> QuerySet[User]:
    """The users with whom the person shares a plant: not those who are bound to others only."""
    ids = plants_of(user)
    if ids is None:
        return User.objects.all()
    bound = PlantOfUser.objects.filter(user=OuterRef("pk"))
    return User.objects.filter(~Exists(bound) | Q(Exists(bound.filter(plant__in=sorted(ids)))))


def all_seen(user) -> list[Plant]:
    return list(within(Plant.objects.order_by("pk"), user, path="pk"))


def sees_several(user, *, there_are_several: bool) -> bool:
    """Whether the person sees more than one plant, where it is known already whether there are more than one."""
    ids = plants_of(user)
    return there_are_several if ids is None else len(ids) > 1


def own_plant(user) -> Plant | None:
    """The plant of the person's settings, where it is one of those seen."""
    row = getattr(user, "shop_settings", None)
    return row.plant if row and row.plant_id and sees(user, row.plant_id) else None


def shown(user) -> list[Plant]:
    """The plants whose dies this person looks after: that of the settings; without one, all that are seen."""
    own = own_plant(user)
    return [own] if own else all_seen(user)


@dataclass(frozen=True, kw_only=True)
class Picked:
    """The plant that a page is of, where it is of one; and those to go to from there, none where there is no other."""

    plant: Plant | None
    seen: tuple[Plant, ...]

    @property
    def several(self) -> tuple[Plant, ...]:
        return self.seen if len(self.seen) > 1 else ()

    @property
    def query(self) -> str:
        """What an address takes along so that it stays with this plant; nothing where there is one only."""
        return f"plant={self.plant.pk}" if self.several and self.plant else ""

    @property
    def field(self) -> SafeString:
        """The same for a form that is sent by its address."""
        if not self.query:
            return SafeString("")
        return format_html('<input type="hidden" name="plant" value="{}">', str(self.plant.pk))


def picked(request) -> Picked:
    """The plant asked for with ?plant=, else that which the person is shown first. Raises Http404 for one not seen."""
    seen, asked = tuple(all_seen(request.user)), request.GET.get("plant", "")
    if not asked:
        own = own_plant(request.user)
        return Picked(plant=own or next(iter(seen), None), seen=seen)
    plant = next((plant for plant in seen if str(plant.pk) == asked), None)
    if plant is None:
        raise Http404("There is no such plant.")
    return Picked(plant=plant, seen=seen)
