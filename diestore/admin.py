"""The administration: users, their roles and plants. All else is there to read, since people have pages for it."""

from __future__ import annotations

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.models import User

from . import models

admin.site.site_header = "Administration"
admin.site.site_title = "Administration"
admin.site.index_title = "Users and their rights; all else is here to read"


class ToRead(admin.ModelAdmin):
    """What has a page of its own is changed there, with a date and a reason; here it is only seen."""

    list_per_page = 50

    def has_add_permission(self, request, obj=None) -> bool:
        return False

    def has_change_permission(self, request, obj=None) -> bool:
        return False

    def has_delete_permission(self, request, obj=None) -> bool:
        return False


class Below(admin.TabularInline):
    """Rows that belong to the one shown. It is not changed here, so neither are they."""

    extra = 0
    can_delete = False
    has_add_permission = has_change_permission = has_delete_permission = lambda self, request, obj=None: False


def below(of: type, *columns: str, name: str | None = None) -> type[Below]:
    return type(f"{of.__name__}Below", (Below,), {"model": of, "fields": columns, "fk_name": name})


@admin.register(models.Die)
class DieAdmin(ToRead):
    list_display = ("code", "description", "usual_stock", "usual_press", "status")
    list_filter = ("plant", "status")
    search_fields = ("code", "description")
    list_select_related = ("usual_stock", "usual_press")
    inlines = (
        below(models.Station, "code", "operation", "sequence"),
        below(models.Variant, "code", "is_default"),
        below(models.Position, "code", "kind", "side", "stroke_share", "valid_from", "valid_to"),
    )


@admin.register(models.Position)
class PositionAdmin(ToRead):
    list_display = ("code", "die", "kind", "side", "item")
    list_filter = ("kind", "side")
    search_fields = ("code", "die__code")
    list_select_related = ("die", "item")


@admin.register(models.Cut)
class CutAdmin(ToRead):
    list_display = ("code", "die", "length_mm", "gap_mm", "valid_from", "valid_to")
    search_fields = ("code", "die__code")
    list_select_related = ("die",)


@admin.register(models.Item)
class ItemAdmin(ToRead):
    list_display = ("code", "description", "kind", "supplier", "lead_days", "unit_price")
    list_filter = ("kind", "supplier")
    search_fields = ("code", "description")
    list_select_related = ("supplier",)


@admin.register(models.Stock)
class StockAdmin(ToRead):
    list_display = ("code", "material", "thickness_mm", "tensile_mpa", "source")
    search_fields = ("code", "material")


@admin.register(models.Rate)
class RateAdmin(ToRead):
    list_display = ("kind", "plant", "valid_from", "amount")
    list_filter = ("plant", "kind")


@admin.register(models.Variant)
class VariantAdmin(ToRead):
    list_display = ("die", "code", "is_default")
    search_fields = ("die__code", "code")
    list_select_related = ("die",)
    inlines = (below(models.Output, "part", "parts_per_hit"),)


@admin.register(models.Part)
class PartAdmin(ToRead):
    list_display = ("number", "revision", "description", "customer", "burr_limit_um")
    search_fields = ("number", "description")
    list_select_related = ("customer",)


@admin.register(models.Person)
class PersonAdmin(ToRead):
    list_display = ("name", "plant", "active")
    list_filter = ("plant", "active")
    list_select_related = ("plant",)
    exclude = ("pin_hash",)


@admin.register(models.Press)
class PressAdmin(ToRead):
    list_display = ("code", "plant", "rated_force_n")
    list_select_related = ("plant",)


@admin.register(models.Party)
class PartyAdmin(ToRead):
    list_display = ("code", "name", "role")
    list_filter = ("role",)


@admin.register(models.Plant)
class PlantAdmin(ToRead):
    list_display = ("code", "name")


@admin.register(models.Source)
class SourceAdmin(ToRead):
    list_display = ("item", "supplier", "sort", "lead_days", "preferred", "ended_on")
    list_filter = ("sort", "preferred")
    search_fields = ("item__code", "part_number")
    list_select_related = ("item", "supplier")


@admin.register(models.SourcePrice)
class SourcePriceAdmin(ToRead):
    list_display = ("source", "valid_from", "from_quantity", "unit_price")
    list_select_related = ("source__supplier",)


@admin.register(models.SpareLevel)
class SpareLevelAdmin(ToRead):
    list_display = ("item", "plant", "chance_percent", "least_pieces", "set_on", "back_on")
    list_select_related = ("item", "plant")


@admin.register(models.Amendment)
class AmendmentAdmin(ToRead):
    list_display = ("recorded_at", "called", "sort", "at", "reason", "who", "struck_at")
    list_filter = ("sort",)
    search_fields = ("called", "reason", "who")


admin.site.register(models.UserSettings)


class PlantsInline(admin.TabularInline):
    """Whoever may change a user says which plants that user sees."""

    model = models.PlantOfUser
    extra = 0
    verbose_name_plural = "plants that the user sees; none named: all. An administrator always sees all"

    def has_view_permission(self, request, obj=None) -> bool:
        return request.user.has_perm("auth.view_user")

    def has_change_permission(self, request, obj=None) -> bool:
        return request.user.has_perm("auth.change_user")

    has_add_permission = has_delete_permission = has_change_permission


class UsersByHand(UserAdmin):
    """Users for whoever has the role administrator: nobody makes a superuser of anybody who is none."""

    inlines = (PlantsInline,)

    def get_inlines(self, request, obj):
        return self.inlines if obj is not None else ()  # Django's page of a new user asks for name and password only

    def get_readonly_fields(self, request, obj=None):
        own = super().get_readonly_fields(request, obj)
        return own if request.user.is_superuser else (*own, "is_superuser", "user_permissions")

    def get_queryset(self, request):
        rows = super().get_queryset(request)
        return rows if request.user.is_superuser else rows.filter(is_superuser=False)


admin.site.unregister(User)
admin.site.register(User, UsersByHand)
