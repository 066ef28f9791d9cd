"""Who is signed in, with all that every page asks of them: the settings and the shop's with the user, rights and plants
in one question."""

from __future__ import annotations

from django.contrib.auth import get_user_model
from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.models import Group, Permission
from django.db.models import CharField, Subquery, Value
from django.db.models.functions import Cast, JSONObject

from . import shop
from .models import PlantOfUser, Shop

_PLANT = "plant of the user"  # no app is called so


class WithSettings(ModelBackend):
    """Django's own sign-in; only what it reads, it reads in fewer questions."""

    def get_user(self, user_id):
        users = get_user_model()._default_manager.select_related("shop_settings__plant")
        row = Shop.objects.values(told=JSONObject(**{name: name for name in shop.COLUMNS}))[:1]
        user = users.annotate(shop_row=Subquery(row)).filter(pk=user_id).first()
        return user if user is not None and self.user_can_authenticate(user) else None

    def _get_permissions(self, user_obj, obj, from_name):
        asked_of_all = user_obj.is_active and not user_obj.is_anonymous and obj is None
        if asked_of_all and not user_obj.is_superuser and not hasattr(user_obj, "in_groups"):
            self._read_rights(user_obj)
        return super()._get_permissions(user_obj, obj, from_name)

    def _read_rights(self, user) -> None:
        """Into the places where Django keeps them, the names of the groups, by which the role is told, and the plants
        that the user is bound to."""
        of_groups = Group.objects.filter(user=user).values_list(
            "name", "permissions__content_type__app_label", "permissions__codename"
        )  # a group without rights comes once, with none
        own = Permission.objects.filter(user=user).values_list(Value(""), "content_type__app_label", "codename")
        bound = PlantOfUser.objects.filter(user=user).values_list(
            Value(""), Value(_PLANT), Cast("plant", CharField(max_length=100))
        )
        read = list(of_groups.order_by().union(own.order_by(), bound.order_by(), all=True))
        user.bound_plants = frozenset(int(plant) for _, mark, plant in read if mark == _PLANT)
        rows = [row for row in read if row[1] != _PLANT]
        user._user_perm_cache = {f"{app}.{code}" for group, app, code in rows if not group}
        user._group_perm_cache = {f"{app}.{code}" for group, app, code in rows if group and code}
        user.in_groups = sorted({group for group, _, _ in rows if group})
