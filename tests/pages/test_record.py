"""The record of past forecasts: how right were you? And what other pages say of it."""

import datetime as dt
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from diestore.register.models import Die
from maintenance.forecasts import record_line
from maintenance.log import queries, read
from maintenance.models import DriftFlag, PastForecasts, RecordRestart
from tests import factories as make

from .as_read import as_read
from .small_shop import more, shop

pytestmark = pytest.mark.django_db
ROLES = ["setter", "toolmaker", "lead", "buyer", "sales", "administrator"]


def page(client, **asked) -> str:
    answer = client.get(reverse("maintenance:record"), asked)
    assert answer.status_code == 200
    return as_read(answer)


def said(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def looked_back(plant, *, band=0.79, se=0.04, calls=3, of_die=None, went_last=0.88) -> PastForecasts:
    """A stored look back, as `track` stores it."""
    moment = timezone.now().replace(microsecond=0)
    dies = list(Die.objects.order_by("code"))
    marks = [round(0.1 * i, 1) for i in range(1, 10)]
    origins = [
        {"at": (moment - dt.timedelta(days=91 * n)).isoformat(), "cycles": 900 - 10 * n, "dull_ends": 80,
         "no_stroke": 1, "statements": 12, "within": 9.4, "early": 1.2, "late": 0.4, "open": 1, "refusal": ""}
        for n in range(8, 0, -1)
    ]  # fmt: skip
    origins[0] = origins[0] | {"refusal": "no run was logged yet", "statements": 0}
    rows = [
        {"sort": "early" if n % 2 else "late", "rank": n // 2 + 1, "die": dies[n % len(dies)].pk,
         "code": dies[n % len(dies)].code, "origin": origins[3]["at"], "low": 12_000 + n, "high": 90_000,
         "half": 40_000, "came_low": 3_000 if n % 2 else 120_000, "came_high": 6_000 if n % 2 else 131_000,
         "came_as": "dull",
         "came_at": moment.isoformat(), "running": False, "position": "1-A", "limiting": "2-A",
         "gone": 0.02 + 0.001 * n if n % 2 else 0.96, "rests_on": "this die's records and the shop's"}
        for n in range(calls)
    ]  # fmt: skip
    chances = [
        {"low": 0.7, "high": 0.9, "statements": 30, "said": 0.81, "held": 0.83, "held_low": 0.68, "held_high": 0.92,
         "finished": 23.5, "not_finished": 4.5, "stopped": 2},
        {"low": 0.9, "high": 1.0, "statements": 2, "said": 0.95, "held": 1.0, "held_low": 0.42, "held_high": 1.0,
         "finished": 2.0, "not_finished": 0.0, "stopped": 0},
    ]  # fmt: skip
    return PastForecasts.objects.create(
        plant=plant, as_of=moment, code_version="4", records_hash="0" * 64, wrong_calls=rows,
        by_die={queries.key_of_die(dies[0].pk): of_die} if of_die else {},
        scores={
            "forecasts": 96, "ended": 84, "dies": 12, "band_80": band, "se": se, "marks": marks,
            "went": [*[m - 0.01 for m in marks[:-1]], went_last], "went_se": [0.04] * 9,
            "edges": {"forecasts": 1_200, "ended": 200, "band_80": 0.81, "se": 0.03},
            "origins": origins, "chances": chances,
        },
    )  # fmt: skip


@pytest.mark.parametrize("role", ROLES)
def test_everybody_who_is_signed_in_may_read_it_and_it_speaks_first(as_role, role):
    client = as_role(role)
    shop(2)
    looked_back(make.plant())
    text = said(page(client))
    assert "8 in 10”, 79 held . Luck alone would give 73 to 87" in text
    assert "So the forecasts claim no more than they keep." in text
    assert "Rests on 96 forecasts of 12 dies, made at 7 dates" in text
    assert "Of 1,200 forecasts of single edges, 81 of 100 held." in text
    assert 'aria-current="page"' in page(client) and ">Track record</a>" in page(client)


@pytest.mark.parametrize(("band", "words"), [(0.6, "They claimed too much:"), (0.95, "They claimed too little:")])
def test_it_says_so_where_the_bands_were_wrong(as_role, band, words):
    client = as_role("lead")
    shop(1)
    looked_back(make.plant(), band=band)
    assert words in said(page(client))


def test_wrong_calls_by_name_lead_to_their_dies_and_sort(as_role):
    client, dies = as_role("lead"), shop(3)
    looked_back(make.plant(), calls=5)
    html = page(client)
    assert html.count(f'href="{reverse("diestore:die", args=[dies[0].pk])}"') == 2
    text = said(html)
    assert "1-A dull between 3,000 and 6,000 hits early 1 in 50" in text
    assert "1-A dull between 120,000 and 131,000 hits late 1 in 30" in text
    assert (
        "2 surely dull or chipped earlier than forecast, 3 surely lasted longer; up to about 10 each way are usual"
        in text
    )
    first = re.search(r'<th scope="row"[^>]*><a [^>]*>([^<]+)', page(client, sort="-code")).group(1)
    assert first == dies[2].code


def test_chances_told_stand_against_orders_finished_and_few_are_said_as_few(as_role):
    client = as_role("sales")
    shop(1)
    looked_back(make.plant())
    text = said(page(client))
    assert "70 to 90 % 81 % 30 23.5 4.5 2 83 % 68 to 92 %" in text
    assert "90 to 100 % 95 % 2 2 0 0 too few to say" in text
    assert "no run was logged yet" in text


def test_a_mark_that_is_not_known_is_said_as_not_known(as_role):
    client = as_role("lead")
    shop(1)
    looked_back(make.plant(), went_last=None)
    assert "90 of 100 too few left to say" in said(page(client))


def test_nothing_yet_and_too_little_are_said_in_words(as_role):
    client = as_role("setter")
    assert "Nobody has looked back" not in page(client)  # an empty register shows how to begin
    shop(1)
    assert "Nobody has looked back yet." in page(client)
    reason = "3 past forecasts of 2 dies, 1 of them ended; 10 dies and 10 ends are needed"
    PastForecasts.objects.create(plant=make.plant(), as_of=timezone.now(), code_version="4", refusal=reason)
    text = said(page(client))
    assert "Too little has happened yet" in text and reason in text


def test_the_newest_look_back_is_shown(as_role):
    client = as_role("lead")
    shop(1)
    looked_back(make.plant(), band=0.55)
    looked_back(make.plant(), band=0.81)
    assert "81 held" in page(client)


def test_the_page_takes_the_same_queries_at_three_and_at_thirty_calls(as_role, django_assert_num_queries):
    client = as_role("lead")
    shop(3)
    looked_back(make.plant(), calls=3)
    page(client)
    with django_assert_num_queries(100, exact=False) as few:
        page(client)
    looked_back(make.plant(), calls=30)
    with django_assert_num_queries(len(few)):
        page(client, per_page=50)


# --- beside the forecasts ---------------------------------------------------------------------------------------------


def die_page(client, die) -> str:
    return as_read(client.get(reverse("diestore:die", args=[die.pk])))


def test_a_dies_page_says_how_right_such_statements_have_been_here(as_role):
    client, (die, other) = as_role("setter"), shop(2)
    assert "Track record : " not in die_page(client, die)
    looked_back(make.plant(), of_die=[7, 5.6])
    assert "Track record : 79 of 100 such ranges held in this shop; on this die about 6 of 7." in said(
        die_page(client, die)
    )
    assert "Track record : 79 of 100 such ranges held in this shop." in said(die_page(client, other))
    looked_back(make.plant(), of_die=[5, 5.0])  # too few of one die to say
    assert "on this die" not in said(die_page(client, die))


def test_it_is_read_with_one_question(django_assert_num_queries):
    (die,) = shop(1)
    looked_back(make.plant(), of_die=[9, 8.0])
    plant = make.plant()
    with django_assert_num_queries(1):
        found = record_line.here(plant, die)
    assert (found.held, found.statements, found.of_die) == (79, 96, (8, 9))
    with django_assert_num_queries(1):
        assert record_line.here(plant).of_die is None


def test_dies_due_says_it_too(as_role):
    client = as_role("lead")
    shop(1)
    url = reverse("maintenance:due")
    assert "such ranges held" not in as_read(client.get(url))
    looked_back(make.plant())
    assert "Track record</a>: 79 of 100 such ranges held" in as_read(client.get(url))


# --- drift ------------------------------------------------------------------------------------------------------------


def flag(die, **more) -> DriftFlag:
    told = {"since": make.moment(2), "as_of": make.moment(9), "dull_ends": 9, "expected": 3.14, "chance": 0.002}
    return DriftFlag.objects.create(die=die, **told | more)


def test_a_die_that_goes_dull_too_often_is_told_on_its_page_and_to_the_lead(as_role):
    lead, (die, other) = as_role("lead"), shop(2)
    flag(die)
    words = "9 dull edges since 8 Jan 2025 where 3.1 were expected"
    assert words in said(die_page(lead, die)) and words not in said(die_page(lead, other))
    today = as_read(lead.get(reverse("reports:today")))
    assert words in said(today) and "Dies that go dull more often than they did" in today
    restart = f"{reverse('maintenance:restart')}?die={die.pk}"
    assert restart in die_page(lead, die)


def test_who_cannot_start_a_record_anew_sees_the_words_and_no_button(as_role):
    setter, (die,) = as_role("setter"), shop(1)
    flag(die)
    assert "9 dull edges" in die_page(setter, die)
    assert reverse("maintenance:restart") not in die_page(setter, die)
    assert "go dull more often" not in as_read(setter.get(reverse("reports:today")))
    assert setter.get(reverse("maintenance:restart"), {"die": die.pk}).status_code == 403


def test_a_record_is_started_anew_through_its_form_and_struck_out_again(as_role):
    client, (die,) = as_role("lead"), shop(1)
    row = flag(die)
    url = f"{reverse('maintenance:restart')}?die={die.pk}"
    shown = client.get(url)
    form = shown.context["form"]
    assert form["at"].initial == row.since and "9 dull edges" in said(as_read(shown))
    data = {"key": form["key"].value(), "at": "2025-01-08T06:00", "person": make.person().pk, "reason": ""}
    assert client.post(url, data).status_code == 422
    answer = client.post(url, data | {"reason": "other oil"}, follow=True)
    assert "Record started anew from 8 Jan 2025, 06:00" in said(as_read(answer))
    (entry,) = RecordRestart.objects.all()
    assert entry.reason == "other oil" and entry.person == make.person()
    assert read.of_die(die).restarts == (entry.at.timestamp(),)
    html = said(die_page(client, die))
    assert "Its record starts anew on 8 Jan 2025" in html and "9 dull edges" not in html
    client.post(reverse("maintenance:strike", args=["recordrestart", entry.pk]),
                {"reason": "it was the press", "person": make.person().pk})  # fmt: skip
    assert read.of_die(die).restarts == ()
    assert "starts anew" not in said(die_page(client, die)).replace("Record started anew", "")


def test_a_restart_before_the_first_run_is_refused_on_the_form(as_role):
    client, (die,) = as_role("lead"), shop(1)
    url = f"{reverse('maintenance:restart')}?die={die.pk}"
    data = {"key": "k", "at": "2025-01-06T06:00", "person": make.person().pk, "reason": "oil"}
    answer = client.post(url, data)
    assert answer.status_code == 422 and "begins only on" in as_read(answer)
    assert not RecordRestart.objects.exists()


def test_the_die_and_today_take_the_same_queries_however_many_are_flagged(as_role, django_assert_num_queries):
    client, dies = as_role("lead"), shop(3)
    flag(dies[0])
    url = reverse("reports:today")
    client.get(url)
    with django_assert_num_queries(300, exact=False) as few:
        client.get(url)
    more(3, 12)
    for die in Die.objects.exclude(pk=dies[0].pk):
        flag(die)
    with django_assert_num_queries(len(few)):
        client.get(url)
