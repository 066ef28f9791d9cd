"""The wear model's page: the answer in words, the form that asks, drawings and tables, who sees it and at what cost."""

import re
import xml.etree.ElementTree as ET

import pytest
from django.urls import reverse

from diestore.access.models import UserSettings
from maintenance.forecasts import other_builds, store
from maintenance.life import EdgeSpec, FleetFit, expected_interval, handbook_interval, what_if
from maintenance.log import queries
from maintenance.screens.wear_model import page as wear_model_page
from maintenance.wording import numbers
from tests import factories as make

from . import money_shop
from .small_shop import more, shop

pytestmark = pytest.mark.django_db
ASKED = {
    "side": "upper", "steel": "M2", "hardness": "63", "coating": "TiN", "gap": "6", "stock": "stainless",
    "thickness": "1.5", "tensile": "640",
}  # fmt: skip


def page(client, **asked) -> str:
    answer = client.get(reverse("maintenance:wear"), asked)
    assert answer.status_code == 200
    return answer.content.decode()


def plain(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).replace("&#x27;", "'").split())


def spec(**more) -> EdgeSpec:
    values = {
        "die": 0, "thickness_mm": 1.5, "tensile_mpa": 640.0, "stock_family": "stainless", "steel": "M2",
        "hardness_above_usual_hrc": 1.0, "coating": "TiN", "gap_pct": 6.0,
    }  # fmt: skip
    return EdgeSpec(**(values | more))


@pytest.fixture
def worked(as_role):
    """Two dies with dull ends, a stored fit, and the lead signed in."""
    dies = [money_shop.worked_die(code) for code in ("H-900", "H-901")]
    money_shop.forecast()
    return as_role("lead"), dies


def test_an_empty_shop_gets_the_handbook_and_is_told_so(as_role):
    said = plain(page(as_role("lead")))
    plain_edge = wear_model_page.spec_from({})
    told = handbook_interval(plain_edge)
    assert f"half last longer than {numbers.hits(told.usual_hits)} hits" in said
    assert "this shop has no records of it yet" in said and "nothing is worked out from the records yet" in said
    assert "this shop's records, shaded 8 in 10" not in said


@pytest.mark.parametrize("role", ["setter", "toolmaker", "lead", "buyer", "sales", "administrator"])
def test_everybody_may_read_it_and_those_who_reckon_find_it_on_the_strip(as_role, role):
    html = page(as_role(role))
    on_strip = re.search(f'href="{reverse("maintenance:wear")}"[^>]* aria-current', html) is not None
    assert on_strip == (role in ("lead", "sales", "administrator"))


def test_it_takes_the_same_queries_at_three_and_at_thirty(as_role, django_assert_num_queries):
    client = as_role("lead")
    shop(3)
    page(client)  # what a process asks once and keeps is no part of the count
    with django_assert_num_queries(60, exact=False) as few:
        page(client)
    more(3, 30)
    with django_assert_num_queries(len(few)):
        page(client)
    assert len(few) <= 14


def test_the_answer_is_what_the_engine_says_of_that_edge(worked):
    client, dies = worked
    row = store.newest_fit(dies[0].plant)
    fit = FleetFit.from_dict(row.parameters)
    said = plain(page(client, **ASKED, to_gap="12"))
    told, book = expected_interval(fit, spec()), handbook_interval(spec())
    assert f"half last longer than {numbers.hits(told.usual_hits)} hits" in said
    assert f"({numbers.hits(told.low_hits)} to {numbers.hits(told.high_hits)} by this shop's records" in said
    assert f"handbook alone {numbers.hits(book.usual_hits)}" in said
    change = what_if(fit, spec(), spec(gap_pct=12.0))
    band = f"({wear_model_page.times(change.times_low)} to {wear_model_page.times(change.times_high)})"
    assert f"With a gap of 12 %: {wear_model_page.times(change.times)} times as long {band}" in said
    assert "no such gap has been run in this shop" in said  # all of its edges have 0.1 mm in 1.2 mm
    assert "punch, M2 of 63 HRC, TiN, in 1.50 mm stainless of 640 MPa, gap 6 % a side" in said


def test_it_begins_with_the_shops_most_usual_edge(worked):
    client, _ = worked
    html = page(client)
    assert re.search(r'name="thickness" value="1.2"', html)
    assert "in 1.20 mm carbon steel of 340 MPa, gap 8.33 % a side" in plain(html)
    assert 'value="D2" selected' in html


def test_it_begins_with_a_real_edge_or_with_the_one_that_limits_a_die(worked):
    client, dies = worked
    edge = dies[1].positions.get(code="2-A")
    html = page(client, edge=edge.pk)
    assert f"It is 2-A of H-901 as built now" in plain(html).replace(" .", ".")  # noqa: F541
    itself = next(e for e in other_builds.edges_now(dies[1]) if e.position == edge.pk).usual_hits
    assert f"freshly ground, half last longer than {numbers.hits(itself)} hits of the die" in plain(html)
    limiting = queries.newest_forecast(dies[0]).limiting.code
    assert f"It is {limiting} of H-900" in plain(page(client, die=dies[0].pk))
    assert client.get(reverse("maintenance:wear"), {"edge": 10**9}).status_code == 404


def test_an_edge_without_forecast_is_said_to_have_none(worked):
    client, dies = worked
    pilot = make.position(dies[0], "2-P", kind="pilot", length_mm=None)
    assert "Nothing is forecast for that edge" in plain(page(client, edge=pilot.pk))
    assert page(client, edge="x", die="1e9")  # no number: nobody meant an edge


@pytest.mark.parametrize(
    ("field", "value", "wrong"),
    [
        ("thickness", "", "Enter a number."),
        ("thickness", "900", "thickness_mm is 900; it must lie between"),
        ("gap", "70", "70 % cannot be taken; it must lie between 1 and 40 %"),
        ("hardness", "12", "12 HRC cannot be taken"),
        ("tensile", "strong", "does not begin with a number"),
        ("side", "left", "Select a valid choice"),
        ("to_gap", "0.1", "0.1 % cannot be taken"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_the_page_stands(worked, field, value, wrong):
    client, _ = worked
    said = plain(page(client, **(ASKED | {field: value})))
    assert wrong in said and "What each thing does to the hits between grinds" in said


def test_another_steel_has_its_own_usual_hardness(worked):
    client, dies = worked
    fit = FleetFit.from_dict(store.newest_fit(dies[0].plant).parameters)
    change = what_if(fit, spec(), spec(steel="PM", hardness_above_usual_hrc=None))
    said = plain(page(client, **ASKED, to_steel="PM"))
    assert f"With powder steel: {wear_model_page.times(change.times)} times as long" in said
    assert "no edge of powder steel has been run in this shop" in said
    harder = what_if(fit, spec(), spec(steel="D2", hardness_above_usual_hrc=2.0))
    said = plain(page(client, **ASKED, to_steel="D2", to_hardness="62"))
    assert f"With D2, 62 HRC: {wear_model_page.times(harder.times)} times as long" in said


def test_inch_people_ask_and_read_in_inch(worked):
    client, dies = worked
    person = make.User.objects.get(username="lead")
    UserSettings.objects.update_or_create(user=person, defaults={"units": "inch"})
    fit = FleetFit.from_dict(store.newest_fit(dies[0].plant).parameters)
    html = page(client, **(ASKED | {"thickness": "0.06", "tensile": "90"}))
    told = expected_interval(fit, spec(thickness_mm=0.06 * 25.4, tensile_mpa=90 * 6.894757))
    assert f"half last longer than {numbers.hits(told.usual_hits)} hits" in plain(html)
    assert "0.0600 in" in html and "thickness, in" in html and "tensile strength, ksi" in html


def test_every_drawing_is_well_formed_named_in_words_and_beside_a_table(worked):
    client, _ = worked
    html = page(client, **ASKED, to_gap="12")
    drawings = re.findall(r'<svg class="plan".*?</svg>', html, re.DOTALL)
    assert len(drawings) == 6
    for drawn in drawings:
        root = ET.fromstring(drawn)
        assert root.get("role") == "img" and "usual hits to dull" in root.get("aria-label")
        assert "NaN" not in drawn and "None" not in drawn
    curves = [d for d in drawings if "marks under the line" in d or "no edge of this shop" in d]
    assert len(curves) == 4
    for drawn in curves:
        texts = [t.text for t in ET.fromstring(drawn).iter("text")]
        assert "handbook" in texts and "this shop's records" in texts
    assert html.count("<table") == 2
    for heading in ("gap a side, % of thickness", "tensile strength, MPa", "thickness, mm", "steel", "coating", "side"):
        assert f'scope="rowgroup">{heading}<' in html


def test_the_models_own_words_stand_beside_the_record(worked):
    client, _ = worked
    said = plain(page(client))
    assert "Archard's law of wear (1953), from memory" in said
    assert "common practice, no source" in said
    for says in ("nothing yet", "a lot"):
        assert says in said


def test_a_fit_of_an_older_form_of_the_numbers_is_not_shown(worked):
    client, dies = worked
    row = store.newest_fit(dies[0].plant)
    type(row).objects.filter(pk=row.pk).update(code_version="0")
    assert "nothing is worked out from the records yet" in plain(page(client))


def test_numbers_of_times_are_said_to_two_figures():
    assert [wear_model_page.times(v) for v in (1.0, 1.204, 0.849, 0.0312, 12.34, 456.7)] == [
        "1", "1.2", "0.85", "0.031", "12", "460",
    ]  # fmt: skip
