"""Pages of the register and what hangs in them: who may, what they say, and how many queries they take."""

import re

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from diestore.models import UserSettings
from maintenance import actions, forecasts
from tests import factories as make

pytestmark = pytest.mark.django_db


def shop(dies: int, *, orders: bool = True):
    made = []
    for n in range(dies):
        die = make.die(f"H-{n:03d}", description="hinge leaf")
        for code in ("1-A", "2-A"):
            make.position(die, code)
        make.position(die, "2-P", kind="pilot", length_mm=None, tool_steel="M2")
        for day in range(1, 7):
            make.run(die, day + n * 0.001, 9_000)
        make.sharpen(die, 7.5, die.positions.get(code="1-A"))
        make.run(die, 8 + n * 0.001, 20_000)
        if orders:
            make.order(die, f"26-{n:04d}", parts=30_000)
        made.append(die)
    forecasts.fit_and_forecast(made[0].plant)
    return made


def queries_of(client, django_assert_max_num_queries, url, most):
    with django_assert_max_num_queries(most) as seen:
        assert client.get(url).status_code == 200
    return len(seen)


@pytest.mark.parametrize("name", ["diestore:dies", "maintenance:due", "reports:today"])
def test_a_list_takes_the_same_queries_at_three_and_at_thirty_dies(as_role, django_assert_max_num_queries, name):
    client = as_role("lead")
    shop(3)
    few = queries_of(client, django_assert_max_num_queries, reverse(name), 60)
    for n in range(3, 30):
        die = make.die(f"H-{n:03d}")
        make.position(die)
        make.order(die, f"26-{n:04d}")
    forecasts.fit_and_forecast(die.plant)
    assert queries_of(client, django_assert_max_num_queries, reverse(name), 60) <= few + 1


@pytest.mark.parametrize("role", ["setter", "toolmaker", "lead", "buyer", "sales", "administrator"])
def test_everybody_who_is_signed_in_sees_how_a_die_stands(as_role, role):
    client, (die, *_) = as_role(role), shop(2)
    page = client.get(reverse("diestore:die", args=[die.pk])).content.decode()
    assert "H-000" in page and "What is left" in page and "9 times in 10" in page
    assert "Rests on" in page and "26-0000" in page
    assert ("Log a run" in page) == (role in ("setter", "toolmaker", "lead", "administrator"))


def test_a_figure_on_the_dies_page_never_stands_without_what_it_rests_on(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    page = client.get(reverse("diestore:die", args=[die.pk])).content.decode()
    rows = re.findall(r'<tr id="c-[12]-A".*?</tr>', page, re.S)
    assert len(rows) == 2
    for row in rows:
        assert "cycles" in row and "handbook" in row


def test_without_a_forecast_the_page_says_so_and_shows_no_number(as_role):
    client, die = as_role("lead"), make.die()
    make.position(die)
    page = client.get(reverse("diestore:die", args=[die.pk])).content.decode()
    assert "No forecast has been computed yet" in page
    assert "9 times in 10" not in page


def test_an_empty_die_and_an_empty_register_say_what_to_do(as_role):
    client = as_role("lead")
    assert "load_history" in client.get(reverse("diestore:dies")).content.decode()
    assert "load_history" in client.get(reverse("reports:today")).content.decode()
    die = make.die()
    assert "No component is entered" in client.get(reverse("diestore:die", args=[die.pk])).content.decode()


def test_units_follow_the_person(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    url = reverse("diestore:die", args=[die.pk])
    assert "0.100 mm" in client.get(url).content.decode()
    UserSettings.objects.create(user=User.objects.get(username="lead"), units="inch")
    page = client.get(url).content.decode()
    assert "0.100 mm" not in page and ("in ·" in page or "thou" in page)


@pytest.mark.parametrize("column", ["code", "stock", "thickness", "press", "strokes_per_minute", "positions_count"])
def test_the_list_of_dies_sorts_both_ways(as_role, column):
    client = as_role("lead")
    for code, t in (("A-1", 0.8), ("A-2", 1.5)):
        make.die(code, of=make.stock(thickness_mm=t), strokes_per_minute=100 * t)
    up = client.get(reverse("diestore:dies"), {"sort": column})
    down = client.get(reverse("diestore:dies"), {"sort": f"-{column}"})
    codes = [[row.record.code for row in answer.context["table"].rows] for answer in (up, down)]
    assert sorted(codes[0]) == sorted(codes[1]) == ["A-1", "A-2"]
    if column in ("code", "stock", "thickness", "strokes_per_minute"):
        assert codes[0] == codes[1][::-1]


def test_dies_due_stand_by_the_chance_of_not_finishing(as_role):
    client, dies = as_role("lead"), shop(3)
    dies[1].orders.update(parts=400_000)
    rows = client.get(reverse("maintenance:due")).context["every"]
    assert rows[0].code == "H-001"
    assert [r.risk for r in rows] == sorted((r.risk for r in rows), reverse=True)
    only = client.get(reverse("maintenance:due"), {"q": "H-002"})
    assert [r.record.code for r in only.context["table"].rows] == ["H-002"]


def test_a_struck_entry_stays_visible_with_its_reason(as_role):
    client, (die, *_) = as_role("lead"), shop(1)
    run = die.runs.order_by("-at").first()
    actions.strike_out(by=make.actor(), entry=run, reason="typed twice")
    forecasts.refresh_die(die)
    page = client.get(reverse("diestore:die", args=[die.pk])).content.decode()
    assert "typed twice" in page and 'class="struck"' in page


def test_a_label_leads_to_its_die(as_role):
    client, die = as_role("setter"), make.die("H-7/2")
    answer = client.get("/d/h-7%2F2/")
    assert answer.status_code in (302, 404)
    die = make.die("H-8")
    assert client.get("/d/h-8/")["Location"] == reverse("diestore:die", args=[die.pk])


def test_twenty_stations_and_sixty_positions_are_drawn(as_role):
    client, die = as_role("lead"), make.die()
    for n in range(1, 21):
        for letter in "ABC":
            make.position(die, f"{n}-{letter}", side="lower" if letter == "C" else "upper",
                          kind="die_section" if letter == "C" else "pierce_punch")  # fmt: skip
    page = client.get(reverse("diestore:die", args=[die.pk])).content.decode()
    assert page.count('href="#c-') >= 60


@pytest.mark.parametrize("role", ["setter", "sales"])
def test_my_settings_are_kept(as_role, role):
    client = as_role(role)
    assert client.post(reverse("diestore:settings"), {"units": "inch", "look": "dark", "person": ""}).status_code == 302
    assert UserSettings.objects.get().units == "inch"
    assert 'data-theme="dark"' in client.get(reverse("diestore:words")).content.decode()


def test_sign_in_and_out(client):
    make.user("lead", "ann")
    answer = client.post(reverse("diestore:sign_in"), {"username": "ann", "password": "not a real password"})
    assert answer.status_code == 302 and answer["Location"] == reverse("reports:today")
    assert client.get(reverse("diestore:sign_out")).status_code == 405
    client.post(reverse("diestore:sign_out"))
    assert client.get(reverse("reports:today")).status_code == 302


def test_the_page_forbids_what_comes_from_elsewhere(as_role):
    answer = as_role("lead").get(reverse("diestore:words"))
    policy = answer["Content-Security-Policy"]
    assert "default-src 'self'" in policy and "script-src" not in policy
    assert not re.search(r"<script(?![^>]*\bsrc=)", answer.content.decode())
    assert "http://" not in answer.content.decode().replace("http://www.w3.org", "")
