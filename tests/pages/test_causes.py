"""What the dies say of the presses, and why an edge was dull when it was."""

import pytest
from django.urls import reverse

from maintenance.forecasts import store
from maintenance.log import write
from maintenance.models import WearCause
from maintenance.policy.stop_blocks import BlockReading
from maintenance.screens.causes import page
from tests import factories as make

from .as_read import as_read
from .small_shop import shop

pytestmark = pytest.mark.django_db

FIGURES = {"cycles": 40, "dull": 12.0, "expected": 8.0, "times": 0.8, "low": 0.7, "high": 0.9, "chance": 0.95}
SLOPE = {
    "dies": 5,
    "dull": 44,
    "along": [-0.2, 0.0],
    "covariance": [[0.002, 0], [0, 0.002]],
    "chance": 0.97,
    "refusal": "",
}


def kept(**more) -> WearCause:
    return WearCause.objects.create(plant=make.plant(), as_of=make.moment(9), **FIGURES | more)


@pytest.fixture
def edge():
    """An edge whose only ended cycle ran 54,000 hits in P1, of coil C-9, after a grind by Ina T."""
    die = shop(1, orders=False, fit=False)[0]
    edge = die.positions.get(code="1-A")
    make.run(die, 9, 5_000, press=make.press("P1"), lot="C-9")
    make.sharpen(die, 9.8, edge)
    store.fit_and_forecast(make.plant())
    return edge


def read_page(client, edge, number):
    answer = client.get(reverse("maintenance:short_cycle", args=[edge.pk, number]))
    assert answer.status_code == 200
    return as_read(answer)


def test_presses_before_anything_was_looked_for(as_role):
    assert "Nothing has been looked for yet" in as_read(as_role("setter").get(reverse("maintenance:presses")))


def test_a_press_with_a_side_is_said_first_and_held_against_the_solder(as_role):
    die = make.die()
    kept(sort="press", press=make.press("P1"), slope=SLOPE | {"chance": 0.05})
    kept(sort="press", press=make.press("P2"), slope=SLOPE)
    kept(sort="press", press=make.press("P3"), slope=SLOPE | {"refusal": "7 dull ends seen in it, 20 needed"})
    client, address = as_role("setter"), reverse("maintenance:presses")
    said = as_read(client.get(address))
    assert "In P2 edges go dull sooner towards the end of the strip: 18 % shorter lives for every 100 mm." in said
    assert said.index("In P2") < said.index("no side") and "Not enough records: 7 dull ends seen in it" in said
    corners = {"a": (0, 0), "b": (400, 0), "c": (400, 250)}
    for open_at, words in ((0, "the wear agrees"), (400, "the wear points the other way")):
        readings = [
            BlockReading(place=p, crushed_mm=1.9 + 0.2 * (x == open_at), slot_mm=1.27, x_mm=x, y_mm=y)
            for p, (x, y) in corners.items()
        ]
        write.log_set_up(
            by=make.actor(), die=die, at=make.moment(5 + open_at / 100), readings=readings, press=make.press("P2")
        )
        assert words in as_read(client.get(address))


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [
        (1, 0.1, "the end of the strip"),
        (-1, 0.1, "the beginning of the strip"),
        (0.1, 1, "the upper side of the plan"),
        (0.7, -0.7, "the end of the strip and the lower side of the plan"),
        (0, 0, ""),
    ],
)
def test_which_side_it_is(x, y, words):
    assert page.side(x, y) == words


def test_suspects_come_with_their_odds_and_nobody_is_blamed_from_one_case(as_role, edge):
    kept(sort="press", press=make.press("P1"), slope=SLOPE)
    kept(sort="lot", die=edge.die, coil="c-9", cycles=2.2)
    kept(sort="person", person=make.person(), chance=0.5)
    said = read_page(as_role("lead"), edge, 2)
    assert "press P1" in said and "a suspect" in said and "coil C-9" in said
    assert "fewer than 3 cases: too few to say" in said
    assert "ground by Ina T." in said and "not enough records" in said
    assert said.index("press P1") < said.index("ground by Ina T.") < said.index("coil C-9")


def test_who_ground_it_is_not_told_at_the_press(as_role, edge):
    kept(sort="person", person=make.person())
    said = read_page(as_role("setter"), edge, 2)
    assert "ground by" not in said and "shown to those who plan the bench" in said


def test_a_cycle_that_never_ended_has_no_page(as_role, edge):
    client = as_role("lead")
    for number in (0, 3, 99):
        assert client.get(reverse("maintenance:short_cycle", args=[edge.pk, number])).status_code == 404


def test_the_edge_leads_there_where_it_was_dull(as_role, edge):
    html = as_read(as_role("setter").get(reverse("maintenance:edge", args=[edge.pk])))
    assert reverse("maintenance:short_cycle", args=[edge.pk, 1]) in html
