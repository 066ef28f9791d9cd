"""Who may do what: six roles, each a Django group with the permissions named here, granted after every migrate."""

from __future__ import annotations

from diestore.texts import gettext_noop

SETTER, TOOLMAKER, LEAD, BUYER, SALES, ADMINISTRATOR = ROLES = (
    gettext_noop("setter"),
    gettext_noop("toolmaker"),
    gettext_noop("lead"),
    gettext_noop("buyer"),
    gettext_noop("sales"),
    gettext_noop("administrator"),
)

# What a permission lets a person do; the views name these, never a role.
LOG_RUN = "diestore.log_run"
LOG_STOP = "diestore.log_stop"
LOG_READING = "diestore.log_reading"
LOG_SHARPENING = "diestore.log_sharpening"
LOG_REPLACEMENT = "diestore.log_replacement"
LOG_MISHAP = "diestore.log_mishap"
PLAN_BENCH = "diestore.plan_bench"
STRIKE_ENTRY = "diestore.strike_entry"
SEE_SPARES = "diestore.see_spares"
ORDER_SPARES = "diestore.order_spares"
SOURCE_SPARES = "diestore.source_spares"
TAKE_IN_SPARES = "diestore.take_in_spares"
SEE_COST = "diestore.see_cost"
OUTLINE_TOOLS = "diestore.outline_tools"
EDIT_REGISTER = "diestore.edit_register"
EDIT_SPARES = "diestore.edit_spares"
RUN_FIT = "diestore.run_fit"
MANAGE_PEOPLE = "diestore.manage_people"

PERMISSIONS = (
    (LOG_RUN, "May log a run"),
    (LOG_STOP, "May log a stop"),
    (LOG_READING, "May log a reading"),
    (LOG_SHARPENING, "May log a sharpening"),
    (LOG_REPLACEMENT, "May log a replacement"),
    (LOG_MISHAP, "May log a mishap"),
    (PLAN_BENCH, "May plan the bench, hold and release dies"),
    (STRIKE_ENTRY, "May strike out an entry"),
    (SEE_SPARES, "May see the spares to order"),
    (ORDER_SPARES, "May order spares from suppliers"),
    (SOURCE_SPARES, "May say who supplies a spare, and its level"),
    (TAKE_IN_SPARES, "May take spares in and count the shelf"),
    (SEE_COST, "May see what a tool costs"),
    (OUTLINE_TOOLS, "May outline tools and price them"),
    (EDIT_REGISTER, "May change the register of dies"),
    (EDIT_SPARES, "May change the catalogue of spares"),
    (RUN_FIT, "May have the forecasts computed anew"),
    (MANAGE_PEOPLE, "May enter people and set their PINs"),
)

_PRESS_SIDE = {LOG_RUN, LOG_STOP, LOG_READING, LOG_MISHAP}
_BENCH = _PRESS_SIDE | {LOG_SHARPENING, LOG_REPLACEMENT, SEE_SPARES, TAKE_IN_SPARES}

# What the administrator may do in the administration: with users and their settings all, the rest is there to read.
_ACTS = ("view", "add", "change", "delete")
_BY_HAND = {"user": _ACTS, "usersettings": _ACTS, "plantofuser": _ACTS}

GRANTS: dict[str, set[str]] = {
    SETTER: _PRESS_SIDE,
    TOOLMAKER: _BENCH,
    LEAD: _BENCH
    | {
        PLAN_BENCH,
        STRIKE_ENTRY,
        ORDER_SPARES,
        SEE_COST,
        OUTLINE_TOOLS,
        EDIT_REGISTER,
        EDIT_SPARES,
        RUN_FIT,
        MANAGE_PEOPLE,
    },
    BUYER: {SEE_SPARES, EDIT_SPARES, ORDER_SPARES, SOURCE_SPARES, TAKE_IN_SPARES},
    SALES: {SEE_COST, OUTLINE_TOOLS},
    ADMINISTRATOR: {code for code, _ in PERMISSIONS},
}


def grant_roles(using: str = "default", **kwargs) -> None:
    """Create the groups and give each its permissions. Runs after every migrate; twice is fine."""
    from django.contrib.auth.models import Group, Permission

    known = {
        f"diestore.{p.codename}": p
        for p in Permission.objects.using(using).filter(
            content_type__app_label="diestore", codename__in=[code.split(".")[1] for code, _ in PERMISSIONS]
        )
    }
    if len(known) < len(PERMISSIONS):
        return  # the permissions themselves are written by a later step of the same migrate
    by_hand = set(_of_the_administration(using))
    for role in ROLES:
        group, _ = Group.objects.using(using).get_or_create(name=role)
        granted = {known[code] for code in GRANTS[role]} | (by_hand if role == ADMINISTRATOR else set())
        missing = granted - set(group.permissions.all())
        group.permissions.add(*missing)


def _of_the_administration(using: str):
    """Users, who are changed by hand in the administration, and what is there to read."""
    from django.contrib import admin
    from django.contrib.auth.models import Permission
    from django.db.models import Q

    admin.autodiscover()
    wanted = Q(pk__in=())
    for model in admin.site._registry:
        app, name = model._meta.app_label, model._meta.model_name
        acts = _BY_HAND.get(name, ("view",)) if app in ("auth", "diestore", "maintenance", "reports") else ()
        wanted |= Q(content_type__app_label=app, codename__in=[f"{act}_{name}" for act in acts])
    return Permission.objects.using(using).filter(wanted)


def role_of(user) -> str:
    """The person's first role in the order above, or '' without one; asked of the database once a request."""
    if not hasattr(user, "has_role"):
        user.has_role = _role_of(user)
    return user.has_role


def _role_of(user) -> str:
    names = set()
    if user.is_authenticated:
        names = set(user.in_groups if hasattr(user, "in_groups") else user.groups.values_list("name", flat=True))
    return next((role for role in reversed(ROLES) if role in names), "administrator" if user.is_superuser else "")
