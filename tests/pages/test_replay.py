"""Looking back: what the page says of decisions looked back on, and to whom."""

import re

import pytest
from django.urls import reverse
from django.utils import timezone

from diestore.access.models import UserSettings
from maintenance.models import PastDecision, PastDecisions
from tests import factories as make

from .as_read import as_read
from .small_shop import shop

pytestmark = pytest.mark.django_db


def page(client, **asked) -> str:
    answer = client.get(reverse("maintenance:replay"), asked)
    assert answer.status_code == 200
    return as_read(answer)


def said(html: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def three(low: float, expected: float, high: float, variance: float = 0.0) -> dict:
    return {"low": low, "expected": expected, "high": high, "variance": variance}


def sums_of(dies, *, jobs=41, same=20, expected=4_312.0, worse=2) -> dict:
    of_die = {
        "decisions": jobs, "same": same, "worse": worse, "first": make.moment(3).isoformat(),
        "euros": three(-1_000, expected, 9_000, 2.5e6), "stops": three(-2, 6.6, 12, 9.0),
        "steel_mm": three(0, 0.4, 1),
    }  # fmt: skip
    nothing = {"decisions": 0, "same": 0, "worse": 0, "first": None, "dies": {},
               "euros": three(0, 0, 0), "stops": three(0, 0, 0), "steel_mm": three(0, 0, 0)}  # fmt: skip
    kinds = {"job": of_die | {"dies": {str(die.pk): of_die for die in dies}}, "teardown": nothing}
    return {"since": make.moment(0).isoformat(), "kinds": kinds, "forced": 7, "untold": 0, "left_out": 0,
            "without_job": 3}  # fmt: skip


def looked_back(dies, *, cases=3, **of) -> PastDecisions:
    row = PastDecisions.objects.create(
        plant=make.plant(), as_of=timezone.now(), code_version="4", sums=sums_of(dies, **of)
    )
    for n in range(cases):
        is_worse = n % 2
        PastDecision.objects.create(
            look_back=row, die=dies[n % len(dies)], at=make.moment(10 + n), kind="job", job=f"25-{n:04d}", hits=40_000,
            advised={"pulls": [] if is_worse else [0], "job_hits": 40_000},
            done={"pulls": [0] if is_worse else [], "stop": None if is_worse else 18_584, "torn": False,
                  "dull_at_start": False},
            euros_low=-555, euros_expected=-90 - n if is_worse else 157 + n, euros_high=224, stops_low=0,
            stops_expected=0.88, stops_high=1, steel_low_mm=-0.2, steel_expected_mm=-0.127, steel_high_mm=0,
        )  # fmt: skip
    PastDecision.objects.create(
        look_back=row, die=dies[0], at=make.moment(20), kind="teardown", hits=23_000,
        advised={"grind": ["1-A", "2-A"], "of": 2}, done={"grind": ["1-A"], "bad": ["1-A"], "dull": ["2-A"],
                                                          "still_runs": False},
        euros_low=-62, euros_expected=267, euros_high=268, stops_low=0, stops_expected=1, stops_high=1,
        steel_low_mm=-0.1, steel_expected_mm=-0.1, steel_high_mm=-0.1,
    )  # fmt: skip
    return row


def test_it_speaks_first_and_names_where_the_advice_was_worse(as_role):
    client, dies = as_role("lead"), shop(2)
    looked_back(dies)
    text = said(page(client))
    assert "When to sharpen: 41 jobs since 9 Jan 2025, 20 of them done as the advice would have said." in text
    assert "Had the other 21 followed it, they are expected to have cost 4,300 EUR less , with 7 stops fewer" in text
    assert "8 in 10: 2,300 to 6,300 EUR, 3 to 10 stops. At worst and best: −1,000 to 9,000 EUR" in text
    assert "What to grind" not in text.split("Where the advice was worse")[0]
    worse = text.split("Where the advice was worse")[1].split("By die")[0]
    assert "17 Jan 2025 H-001 25-0001 Sharpened first Run it as it is Ran through, 40,000 hits" in worse
    assert "91 EUR dearer −555 to 224 0.9 −0.13 mm" in worse and "25-0000" not in worse
    every = text.split("Every decision that differs")[1]
    assert "Ran it as it was Sharpen first Dull after 18,584 of 40,000 hits 157 EUR saved" in every
    assert "Ground 1 of 2 edges Grind all 2 edges also 2-A 2-A dull 23,000 hits on 267 EUR saved" in every
    assert "7 jobs began after an edge was known to be dull or chipped" in text and "3 runs name no job" in text
    assert reverse("maintenance:record") in page(client)
    assert reverse("maintenance:replay") in as_read(client.get(reverse("maintenance:record")))


def test_few_are_said_as_few_and_an_advice_that_cost_more_says_so(as_role):
    client, dies = as_role("lead"), shop(1)
    looked_back(dies, jobs=22, same=20)
    assert "Only 2 differ: nothing to conclude. Following the advice there is expected to have saved" in said(
        page(client)
    )
    looked_back(dies, jobs=21, same=20, expected=-50.0)
    assert "Only 1 differs: nothing to conclude." in said(page(client))
    looked_back(dies, expected=-1_234.0)
    assert "they are expected to have cost 1,200 EUR more" in said(page(client))
    looked_back(dies, jobs=20, same=20, worse=0, cases=0)
    assert "20 of them done as the advice would have said. Nothing differs." in said(page(client))


def test_nothing_yet_and_nothing_to_look_back_on_are_said_in_words(as_role):
    client = as_role("lead")
    assert "Nobody has looked back" not in page(client)  # an empty register shows how to begin
    (die,) = shop(1)
    assert "Nobody has looked back yet." in page(client)
    reason = "Nothing was forecast yet that could have been followed."
    PastDecisions.objects.create(plant=die.plant, as_of=timezone.now(), code_version="4", refusal=reason)
    assert "There is nothing to look back on" in said(page(client)) and reason in page(client)


def test_it_is_for_those_who_see_what_a_die_costs_and_the_record_leads_only_them_there(as_role):
    setter, dies = as_role("setter"), shop(1)
    looked_back(dies)
    assert setter.get(reverse("maintenance:replay")).status_code == 403
    assert reverse("maintenance:replay") not in as_read(setter.get(reverse("maintenance:record")))


def test_decisions_are_picked_by_die_job_and_kind_and_what_cannot_be_asked_is_ignored(as_role):
    client, dies = as_role("lead"), shop(2)
    looked_back(dies)
    every = said(page(client, q="h-001")).split("Every decision that differs")[1]
    assert "25-0001" in every and "25-0000" not in every
    assert "25-0002" in said(page(client, q="0002")).split("Every decision that differs")[1]
    every = said(page(client, kind="teardown")).split("Every decision that differs")[1]
    assert "Grind all 2" in every and "25-0000" not in every
    assert "25-0000" in page(client, kind="x", sort="-nothing", page="99")


def test_an_inch_shop_reads_steel_in_inches(as_role):
    client, dies = as_role("lead"), shop(1)
    user = client.get(reverse("maintenance:record")).wsgi_request.user
    UserSettings.objects.create(user=user, plant=make.plant(), units="inch")
    looked_back(dies)
    text = said(page(client))
    assert "0.0050 in" in text and " mm " not in text.split("Every decision")[1].split("How this is")[0]


def test_it_takes_the_same_questions_at_three_and_at_sixty_cases(as_role, django_assert_num_queries):
    client, dies = as_role("lead"), shop(3)
    looked_back(dies, cases=3)
    page(client)
    with django_assert_num_queries(25, exact=False) as few:
        page(client)
    looked_back(dies, cases=60)
    with django_assert_num_queries(len(few)):
        page(client, per_page=100)
