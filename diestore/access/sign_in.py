"""Who is signed in, with all that every page asks of them: the settings with the user, the rights in one question."""

from __future__ import annotations

from django.contrib.auth import get_user_model
from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.models import Group, Permission

from diestore import together


class WithSettings(ModelBackend):
    """Django's own sign-in; only what it reads, it reads at once."""

    def get_user(self, user_id):
        users = get_user_model()._default_manager.select_related("shop_settings__plant")
        user = users.filter(pk=user_id).first()
        return user if user is not None and self.user_can_authenticate(user) else None

    def _get_permissions(self, user_obj, obj, from_name):
        asked_of_all = user_obj.is_active and not user_obj.is_anonymous and obj is None
        if asked_of_all and not user_obj.is_superuser and not hasattr(user_obj, "in_groups"):
            self._read_rights(user_obj)
        return super()._get_permissions(user_obj, obj, from_name)

    def _read_rights(self, user) -> None:
        """Into the places where Django keeps them, and the names of the groups, by which the role is told."""
        codes = ("content_type__app_label", "codename")
        told = together.read(
            own=Permission.objects.filter(user=user).order_by().values_list(*codes),
            by_group=Permission.objects.filter(group__user=user).order_by().values_list(*codes).distinct(),
            groups=Group.objects.filter(user=user).order_by().values_list("name"),
        )
        user._user_perm_cache = {f"{app}.{code}" for app, code in told["own"]}
        user._group_perm_cache = {f"{app}.{code}" for app, code in told["by_group"]}
        user.in_groups = [name for (name,) in told["groups"]]
