"""The administration is for users and their rights. All else is there to read: people have pages for it."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.contrib import admin
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from diestore.access import roles
from diestore.cards import described
from diestore.register import actions
from diestore.register.models import Cut, Party, Rate
from maintenance.models import EVENTS
from tests import factories as make

pytestmark = pytest.mark.django_db
CHANGED_HERE = {"user", "group", "usersettings"}
REGISTER = ("plant", "party", "press", "stock", "part", "volume", "die", "variant", "output", "station", "item",
            "position", "cut", "piece", "rate", "person")  # fmt: skip
# Columns that nobody types: keys, what follows from an act, what moves by an act of its own.
NEVER_TYPED = {
    "id", "pin_hash", "party.role", "die.plant", "piece.plant", "piece.key", "piece.item", "piece.mark", "person.plant",
    "position.die", "position.valid_to", "cut.die", "cut.code", "cut.upper", "cut.lower", "cut.valid_to", "station.die",
    "station.sequence", "variant.die", "output.variant", "retired_at",
}  # fmt: skip
# On the die card: the field's name there. Its acts and forms have tests of their own in tests/pages/test_die_card.py.
ON_THE_DIE_CARD = {
    "variant.code", "variant.is_default", "output.part", "output.parts_per_hit", "station.code", "station.operation",
    "position.station", "position.code", "position.kind", "position.side", "position.item", "position.x_mm",
    "position.y_mm", "position.height_group", "position.seat_mm", "position.stroke_share", "position.variants",
    "position.wear_of", "position.wear_limit", "position.valid_from", "cut.length_mm", "cut.gap_mm", "cut.valid_from",
    "piece.tool_steel", "piece.coating", "piece.hardness_hrc", "piece.length_mm", "piece.grind_allowance_mm",
    "piece.opening",
    "piece.opening_life_hits", "piece.opening_hits_since_sharpening",
}  # fmt: skip
ON_THEIR_OWN_PAGE = {"item.newer", "item.old_stock"}  # a change of drawing; tests/log/test_revisions.py
UNDER_PEOPLE = {"person.name", "person.active", "person.code", "person.user"}


@pytest.fixture
def office():
    client = Client()
    client.force_login(User.objects.create_superuser("root", password="x"))
    return client


@pytest.fixture
def administrator(as_role):
    client = as_role(roles.ADMINISTRATOR)
    User.objects.filter(pk=client.session["_auth_user_id"]).update(is_staff=True)
    return client


def rows() -> dict[str, object]:
    die = make.die(usual_press=make.press())
    place = make.position(die, "1-A", gap_mm=0.02, item=make.item())
    make.run(die, 1, 20_000)
    make.sharpen(die, 3, place)
    make.order(die)
    make.person()
    Party.objects.create(code="C", role="customer")
    Rate.objects.create(plant=make.plant(), kind="press hour", valid_from="2026-01-01", amount=60)
    actions.amend(by=None, row=die, values={"description": "bracket"}, at=make.moment(1), reason="clearer")
    ours = [model for model in admin.site._registry if model._meta.app_label in ("diestore", "maintenance")]
    read = [model for model in ours if model._meta.model_name not in CHANGED_HERE]
    return {model._meta.label_lower: model._default_manager.first() for model in read}


def test_what_has_a_page_is_only_read_here_by_whoever_it_is(office, administrator):
    known = rows()
    assert {model._meta.label_lower for model in EVENTS} <= set(known)
    for client in (office, administrator):
        assert client.get(reverse("admin:index")).status_code == 200
        for label, row in known.items():
            name = label.replace(".", "_")
            assert client.get(reverse(f"admin:{name}_changelist")).status_code == 200, label
            assert client.get(reverse(f"admin:{name}_add")).status_code == 403, label
            if row is None:
                continue
            there = reverse(f"admin:{name}_change", args=[row.pk])
            page = client.get(there)
            assert page.status_code == 200 and b'name="_save"' not in page.content, label
            before = type(row)._default_manager.filter(pk=row.pk).values().get()
            assert client.post(there, {"code": "X", "number": "X"}).status_code == 403, label
            gone = client.post(reverse(f"admin:{name}_delete", args=[row.pk]), {"post": "yes"})
            assert gone.status_code == 403, label
            many = {"action": "delete_selected", "_selected_action": [row.pk], "post": "yes"}
            client.post(reverse(f"admin:{name}_changelist"), many)
            assert type(row)._default_manager.filter(pk=row.pk).values().get() == before, label
    assert sum(row is not None for row in known.values()) >= 15
    assert Cut.objects.get().gap_mm == 0.02


def test_users_and_their_settings_are_changed_here(administrator):
    client, user = administrator, make.user(roles.SETTER)
    for name in ("auth_user", "diestore_usersettings"):
        assert client.get(reverse(f"admin:{name}_add")).status_code == 200
    assert b'name="_save"' in client.get(reverse("admin:auth_user_change", args=[user.pk])).content


def test_every_column_of_the_register_has_a_page_where_it_is_typed():
    """Else what the administration gives only to read could be changed by nobody."""
    on_cards = {
        f"{card.model._meta.model_name}.{typed.name}"
        for some in described.BY_TABLE.values() for card in some for typed in card.typed
    }  # fmt: skip
    nowhere = []
    for name in REGISTER:
        model = apps.get_model("diestore", name)
        for field in (*model._meta.concrete_fields, *model._meta.many_to_many):
            column = f"{name}.{field.name}"
            if not {column, field.name} & (NEVER_TYPED | ON_THE_DIE_CARD | ON_THEIR_OWN_PAGE | UNDER_PEOPLE | on_cards):
                nowhere.append(column)
    assert nowhere == []
