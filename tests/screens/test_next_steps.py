"""What would make a die's forecast better: asked for while it is missing, and by whoever can do it."""

import re

import pytest
from django.urls import reverse

from maintenance.forecasts import store
from tests import factories as make
from tests.pages.as_read import as_read

pytestmark = pytest.mark.django_db


def steps(client, die) -> list[str]:
    said = as_read(client.get(reverse("diestore:die", args=[die.pk])))
    assert "manage.py" not in said
    there = re.search(r'<div class="next">.*?</div>', said, re.S)
    return re.findall(r"<li><a [^>]*>([^<]*)</a></li>", " ".join(there[0].split())) if there else []


def test_each_step_goes_once_it_is_done(as_role):
    client, die = as_role("lead"), make.die()
    edge = make.position(die, "1-A", gap_mm=None, tool_steel="", hardness_hrc=None)
    assert [step[:20] for step in steps(client, die)] == [
        "Log its next run: hi", "Enter the gap of 1-A", "Enter the tool steel",
    ]  # fmt: skip
    die.cuts.update(gap_mm=0.06)
    edge.fittings.get().piece.__class__.objects.update(tool_steel="D2")
    make.run(die, 1)
    store.fit_and_forecast(die.plant)
    assert [step[:20] for step in steps(client, die)] == ["Log the next sharpen", "Enter its next job: "]
    make.sharpen(die, 2, edge, why="planned")
    assert steps(client, die)[0] == "Say what you find at each sharpening: of 1 edges ground, 0 say it so far."
    make.run(die, 3)
    make.sharpen(die, 4, edge, why="dull", found="dull")
    make.order(die)
    assert steps(client, die) == []


@pytest.mark.parametrize(("role", "some"), [("toolmaker", 1), ("setter", 1), ("sales", 0), ("buyer", 0)])
def test_nobody_is_asked_for_what_is_not_theirs(as_role, role, some):
    client, die = as_role(role), make.die()
    make.position(die, "1-A", gap_mm=None)
    assert len(steps(client, die)) == some


def test_a_die_without_pieces_leads_to_its_card(as_role):
    die = make.die()
    card = f'href="{reverse("maintenance:die_card", args=[die.pk])}"'
    assert card in as_read(as_role("lead").get(reverse("diestore:die", args=[die.pk])))
