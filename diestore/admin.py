"""The register by hand, for administrators: entries of the log are not here, since they are only ever struck out."""

from __future__ import annotations

from django.contrib import admin, messages
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.models import User
from django.db import transaction
from django.http import HttpResponseRedirect
from django.urls import reverse
from simple_history.admin import SimpleHistoryAdmin

from . import models
from .register import actions, build, changes, forms

admin.site.site_header = "Register"
admin.site.site_title = "Register"
admin.site.index_title = "What the shop owns"


class TellingAdmin(admin.ModelAdmin):
    """Says which rows were saved or deleted, so that what rests on them follows."""

    def save_related(self, request, form, formsets, change) -> None:
        super().save_related(request, form, formsets, change)
        rows = self.rows_saved(form, change)
        for formset in formsets:
            rows += [*formset.new_objects, *(row for row, _ in formset.changed_objects), *formset.deleted_objects]
        self._tell(request, rows)

    def rows_saved(self, form, change) -> list:
        return [form.instance] if form.has_changed() or not change else []

    def delete_model(self, request, obj) -> None:
        with transaction.atomic():
            self._tell(request, [obj])
            super().delete_model(request, obj)

    def delete_queryset(self, request, queryset) -> None:
        with transaction.atomic():
            self._tell(request, list(queryset))
            super().delete_queryset(request, queryset)

    def _tell(self, request, rows) -> None:
        for sentence in changes.tell(*rows):
            self.message_user(request, sentence, messages.INFO)


class ToRead:
    """What has a card of its own is changed there, with a date and a reason; here it is only seen."""

    def has_add_permission(self, request, obj=None) -> bool:
        return False

    def has_change_permission(self, request, obj=None) -> bool:
        return False

    def has_delete_permission(self, request, obj=None) -> bool:
        return False


class StationInline(admin.TabularInline):
    model = models.Station
    extra = 0


class VariantInline(admin.TabularInline):
    """The usual inserts come with the die; which they are is not asked here."""

    model = models.Variant
    fields = ("code",)
    extra = 0


class PositionInline(admin.TabularInline):
    """New ones are added here; one that stands is changed on its own page, which keeps its past."""

    model = models.Position
    fields = ("code", "station", "kind", "side", "item", "stroke_share")
    autocomplete_fields = ("item",)
    extra = 0
    show_change_link = True
    can_delete = False

    def has_change_permission(self, request, obj=None) -> bool:
        return False


class KeepsThePastAdmin(TellingAdmin, SimpleHistoryAdmin):
    """What was typed wrong is put right in place, with that as the reason in the row's history."""

    def get_fields(self, request, obj=None):
        fields = super().get_fields(request, obj)
        last = [name for name in forms.ONLY_OF_A_CHANGE if obj and name in fields]
        return [name for name in fields if name not in forms.ONLY_OF_A_CHANGE] + last

    def save_model(self, request, obj, form, change) -> None:
        if change and form.differing:
            obj._change_reason = actions.NEVER_SO
        super().save_model(request, obj, form, change)


@admin.register(models.Die)
class DieAdmin(TellingAdmin, SimpleHistoryAdmin):
    list_display = ("code", "description", "usual_stock", "usual_press", "status")
    list_filter = ("plant", "status")
    search_fields = ("code", "description")
    list_select_related = ("usual_stock", "usual_press")
    inlines = (StationInline, VariantInline, PositionInline)

    def get_readonly_fields(self, request, obj=None):
        """A die is moved on its own page, where its open orders and pieces go along."""
        own = super().get_readonly_fields(request, obj)
        return (*own, "plant") if obj is not None else own

    def save_related(self, request, form, formsets, change) -> None:
        super().save_related(request, form, formsets, change)
        build.default_variant(form.instance)


@admin.register(models.Position)
class PositionAdmin(KeepsThePastAdmin):
    form = forms.PositionForm
    list_display = ("code", "die", "kind", "side", "item")
    list_filter = ("kind", "side")
    search_fields = ("code", "die__code")
    autocomplete_fields = ("die", "item")
    list_select_related = ("die", "item")


@admin.register(models.Cut)
class CutAdmin(KeepsThePastAdmin):
    form = forms.CutForm
    list_display = ("code", "die", "length_mm", "gap_mm", "valid_from", "valid_to")
    search_fields = ("code", "die__code")
    autocomplete_fields = ("die", "upper", "lower")
    list_select_related = ("die",)

    def save_model(self, request, obj, form, change) -> None:
        if form.since is not None:
            new = {name: form.cleaned_data[name] for name in form.differing}
            obj.after = actions.change_cut(by=request.user, cut=form.stored, at=form.since, **new)
            obj.refresh_from_db()
        elif form.differing:
            actions.correct_cut(by=request.user, cut=obj)
        else:
            super().save_model(request, obj, form, change)

    def rows_saved(self, form, change) -> list:
        return [] if form.differing else super().rows_saved(form, change)  # the action has said so

    def response_change(self, request, obj):
        after = getattr(obj, "after", None)
        if after is None:
            return super().response_change(request, obj)
        messages.success(
            request,
            f"Until {actions.day_of(after.valid_from)} {obj.code} stays as it was; from then on it is as below.",
        )
        return HttpResponseRedirect(reverse("admin:diestore_cut_change", args=[after.pk]))


@admin.register(models.Item)
class ItemAdmin(TellingAdmin, SimpleHistoryAdmin):
    list_display = ("code", "description", "kind", "supplier", "lead_days", "unit_price")
    list_filter = ("kind", "supplier")
    search_fields = ("code", "description")
    list_select_related = ("supplier",)


@admin.register(models.Stock)
class StockAdmin(KeepsThePastAdmin):
    form = forms.StockForm
    list_display = ("code", "material", "thickness_mm", "tensile_mpa", "source")
    search_fields = ("code", "material")


@admin.register(models.Rate)
class RateAdmin(ToRead, TellingAdmin, SimpleHistoryAdmin):
    list_display = ("kind", "plant", "valid_from", "amount")
    list_filter = ("plant", "kind")


class OutputInline(admin.TabularInline):
    model = models.Output
    extra = 0


@admin.register(models.Variant)
class VariantAdmin(TellingAdmin):
    list_display = ("die", "code", "is_default")
    search_fields = ("die__code", "code")
    list_select_related = ("die",)
    inlines = (OutputInline,)

    def save_related(self, request, form, formsets, change) -> None:
        super().save_related(request, form, formsets, change)
        build.default_variant(form.instance.die)


@admin.register(models.Part)
class PartAdmin(ToRead, TellingAdmin):
    list_display = ("number", "revision", "description", "customer", "burr_limit_um")
    search_fields = ("number", "description")


@admin.register(models.Person)
class PersonAdmin(ToRead, admin.ModelAdmin):
    list_display = ("name", "plant", "active")
    list_filter = ("plant", "active")
    exclude = ("pin_hash",)


@admin.register(models.Press)
class PressAdmin(ToRead, admin.ModelAdmin):
    list_display = ("code", "plant", "rated_force_n")


@admin.register(models.Party)
class PartyAdmin(ToRead, TellingAdmin):
    list_display = ("code", "name", "role")
    list_filter = ("role",)


@admin.register(models.Plant)
class PlantAdmin(ToRead, admin.ModelAdmin):
    list_display = ("code", "name")


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
