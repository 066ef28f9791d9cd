"""Which plants a person sees: the only place that says so. A page, a form, a file goes by it, whatever it shows."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet

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
