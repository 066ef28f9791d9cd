"""A shared tablet, signed in, two people with PINs and one without; and a die to log for."""

import pytest
from django.contrib.auth.models import User
from django.test import Client

from diestore.access import actions, roles
from diestore.access.models import Person, UserSettings
from tests import factories as make


@pytest.fixture
def bench():
    user = make.user(roles.TOOLMAKER, "bench 2")
    UserSettings.objects.create(user=user, plant=make.plant(), shared_device=True)
    root = User.objects.create_superuser("root")
    for name, pin in (("Ina T.", "4071"), ("Jory T.", "880215")):
        actions.set_pin(by=root, person=make.person(name), pin=pin)
    make.person("Odd B.")
    client = Client()
    client.force_login(user)
    return client


def ina() -> Person:
    return Person.objects.get(name="Ina T.")


def jory() -> Person:
    return Person.objects.get(name="Jory T.")


@pytest.fixture
def die():
    made = make.die(description="hinge leaf")
    make.position(made, "1-A", item=make.item())
    make.position(made, "3-A", kind="shape_punch")
    make.position(made, "3-D", kind="die_section", side="lower")
    make.position(made, "2-P", kind="pilot", length_mm=None)
    return made
