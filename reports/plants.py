"""Which plant a person is looking at."""

from __future__ import annotations

from diestore.models import Plant


def plant_of(user) -> Plant | None:
    """The plant of the person's settings, else the first one; None before anything is loaded."""
    chosen = Plant.objects.filter(usersettings__user=user).first()
    return chosen or Plant.objects.order_by("pk").first()
