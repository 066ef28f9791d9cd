"""A die at the bench, and the lead signed in, for the tests of the log's pages."""

import pytest

from diestore.register.models import Press
from tests import factories as make


@pytest.fixture
def die():
    made = make.die(description="hinge leaf", usual_press=Press.objects.create(plant=make.plant(), code="press 3"))
    make.position(made, "1-A", item=make.item())
    make.position(made, "3-A", kind="shape_punch")
    make.position(made, "3-D", kind="die_section", side="lower")
    make.position(made, "4-F", kind="forming_punch", length_mm=None)
    make.position(made, "2-P", kind="pilot", length_mm=None)
    return made


@pytest.fixture
def ina():
    return make.person()


@pytest.fixture
def lead(client, ina):
    client.force_login(make.user("lead"))
    return client
