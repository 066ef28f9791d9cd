"""The pull planner's page: which die to pull in which week, over all its jobs."""

import datetime as dt
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from diestore.register.models import Die, Rate
from maintenance.forecasts import pull_plan, store
from maintenance.forecasts.pull_plan import Terms
from maintenance.log import write
from maintenance.models import Absence, BenchHours, DieForecast, DieInPress, EdgeForecast
from maintenance.screens.pulls import page as pulls_page
from tests import factories as make

from .as_read import as_read

pytestmark = pytest.mark.django_db
FRESH = {f"{p / 100:g}": round(60_000 * (p / 50) ** 0.5) for p in range(5, 100, 5)}
WORN = {p: round(h / 6) for p, h in FRESH.items()}


def a_die(code="H-001", *, weeks=(1, 3), hits=(20_000, 30_000), now=WORN, **more) -> Die:
    """With jobs due in so many weeks from this Monday, and a forecast as if it had been worked out."""
    die = make.die(code, **more)
    make.position(die, "1-A")
    monday = timezone.localdate() - dt.timedelta(days=timezone.localdate().weekday())
    for n, (week, job) in enumerate(zip(weeks, hits, strict=True)):
        make.order(die, f"{code}-{n + 1}", parts=job, due=monday + dt.timedelta(weeks=week, days=4))
    return forecast_of(die, now)


def forecast_of(die: Die, now) -> Die:
    """As if it had been worked out: one edge, which is the die."""
    edge = die.positions.get()
    damage = list(DieForecast.objects.filter(die=die, is_newest=True).values_list("damage", flat=True))
    DieForecast.objects.filter(die=die).delete()
    row = DieForecast.objects.create(
        die=die, as_of=timezone.now(), remaining=now, fresh={"remaining": FRESH}, usual_hours=4.0, limiting=edge,
        hits_since_sharpening=40_000, damage=damage[0] if damage else [],
    )  # fmt: skip
    EdgeForecast.objects.create(
        forecast=row, position=edge, remaining=now, fresh=FRESH, hits_since_sharpening=40_000, first_to_go=1.0
    )
    return die


def plan(**terms):
    return pull_plan.of_plants(make.plant(), None, Terms(**terms))


def shown(client, **asked) -> str:
    answer = client.get(reverse("maintenance:pulls"), asked)
    assert answer.status_code == 200
    return as_read(answer)


def words(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", re.sub(r"<svg.*?</svg>", " ", html, flags=re.S)).split())


def test_a_worn_die_is_pulled_before_its_job_and_a_fresh_one_is_not(lead_client):
    worn, fresh = a_die(), a_die("H-002", weeks=(2,), hits=(9_000,), now=FRESH)
    told = plan()
    one, other = told.rows
    assert (one.pk, one.pulls[0].job, one.pulls[0].after_hits) == (worn.pk, "H-001-1", None)
    assert one.pulls[0].week in (0, 1) and one.saves > 0 and one.regret[one.pulls[0].week] == pytest.approx(0)
    assert (other.pk, other.pulls) == (fresh.pk, ()) and other.saves == pytest.approx(0)
    html = shown(lead_client)
    said = words(html)
    assert "before job H-001-1" in said and "no early pull pays" in said and "not at all:" in said
    assert f"The plan saves {pulls_page.money(told.saves)} against never pulling early" in said
    assert html.count("<title>pull before job") == 1 and "4,000 parts sorted in an hour" in said


def test_bench_hours_bind_and_what_more_would_save_is_said(lead_client):
    for n in range(4):
        a_die(f"H-{n:03d}", weeks=(0,), hits=(30_000,))
    free, tight = plan(), plan(bench_hours=8)
    assert sum(bool(row.pulls) for row in free.rows) == 4 and free.held_up == pytest.approx(0)
    assert sum(bool(row.pulls) for row in tight.rows) == 2 and tight.used[0] <= 8
    assert tight.worth[0] > 0 and tight.held_up >= tight.worth[0] - 1e-6
    said = words(shown(lead_client, bench_hours="8"))
    assert "Bench hours are short: 4 hours more would save in the week of" in said
    assert "bench hours cost" in said and "Bench hours are short" not in words(shown(lead_client))


def test_the_bench_has_the_hours_of_its_people_less_the_days_on_which_they_are_away(lead_client):
    for n in range(4):
        a_die(f"H-{n:03d}", weeks=(0,), hits=(30_000,))
    assert plan().hours == (40.0,) * 8 and "40 bench hours a week, as nobody has" in words(shown(lead_client))
    ina = make.person()
    BenchHours.objects.create(person=ina, hours_a_day=2.0, days="mon-thu")
    monday = timezone.localdate() - dt.timedelta(days=timezone.localdate().weekday())
    tuesday = monday + dt.timedelta(days=1)
    Absence.objects.create(person=ina, first=tuesday, last=tuesday + dt.timedelta(days=29))  # to a Wednesday
    told = plan()
    assert told.hours[:6] == (2.0, 0.0, 0.0, 0.0, 2.0, 8.0) and told.hours_of_people
    assert not told.used[0] and "0 to 8 bench hours a week" in words(shown(lead_client))
    assert "as nobody has" not in words(shown(lead_client, bench_hours="8"))


def test_a_damaged_die_stands_first_and_is_never_planned_to_run_as_it_is(lead_client):
    die = a_die(now=FRESH)
    with make.nothing_follows():
        write.log_incident(
            by=make.actor(), die=die, at=make.moment(1), sort="misfeed", positions=[die.positions.get(code="1-A")]
        )
    store.refresh_die(die)
    forecast_of(die, FRESH)
    (row,) = plan().rows
    assert row.must and plan().used[0] == pytest.approx(row.hours)
    said = words(shown(lead_client))
    assert "before it runs" in said and "1-A damaged" in said and "Pull this week: H-001" in said


def test_jobs_of_one_press_follow_each_other_and_late_ones_are_named(lead_client):
    press = make.press("P7")
    for n in range(2):
        a_die(f"H-{n:03d}", weeks=(0,), hits=(400_000,), usual_press=press)
    first, second = sorted((job for row in plan().rows for job in row.jobs), key=lambda job: job.start)
    assert first.end == pytest.approx(second.start) and second.late
    assert "late: H-00" in words(shown(lead_client))
    DieInPress.objects.create(
        die=Die.objects.get(code="H-001"), press=press, since=make.moment(1),
        order=Die.objects.get(code="H-001").orders.get(),
    )  # fmt: skip
    begun = next(job for row in plan().rows for job in row.jobs if job.begun)
    assert begun.number == "H-001-1" and begun.start == min(j.start for row in plan().rows for j in row.jobs)


def test_against_the_interval_of_the_past_and_the_shops_own_rates():
    die = a_die(weeks=(1, 4), hits=(20_000, 20_000))
    die.orders.update(placed_at=make.moment(-30))
    start = timezone.now() - dt.timedelta(days=200)
    for n in range(5):
        at = start + dt.timedelta(days=10 * n)
        with make.nothing_follows():
            write.log_run(by=make.actor(), die=die, started=at, ended=at + dt.timedelta(hours=4), hits=9_000)
        ground = write.SharpenedPiece(position=die.positions.get(code="1-A"), why="planned", removed_mm=0.1)
        with make.nothing_follows():
            write.log_sharpening(by=make.actor(), die=die, at=at + dt.timedelta(hours=6), pieces=[ground])
    (row,) = plan().rows
    assert row.usual_every == 9_000 and row.saves_usual >= 0 and "look_hits" not in plan().assumed
    assert "toolroom_rate" in plan().assumed
    Rate.objects.create(plant=die.plant, kind="toolroom hour", valid_from="2020-01-01", amount=600)
    assert "toolroom_rate" not in plan().assumed
    assert plan().rows[0].not_at_all < row.not_at_all, "a dearer pull is worth less"


def test_what_cannot_be_planned_is_named_and_bad_terms_are_answered(lead_client):
    a_die()
    bare = a_die("H-009", now={})
    assert [(code, why) for _, code, why in plan().left_out] == [
        ("H-009", "How it would go once sharpened is not forecast yet.")
    ]
    assert "Not planned: H-009" in words(shown(lead_client, weeks="99", bench_hours="many", press_hours="0"))
    html = shown(lead_client, weeks="99", bench_hours="-1", press_hours="2,5")
    assert "99 weeks cannot be: enter 2 to 12 weeks." in html and "-1 h cannot be" in html
    assert len(plan(weeks=12).rows[0].regret) == 12 and bare.pk


def test_nothing_to_plan_is_said(lead_client):
    assert "No die has an open job." in words(shown(lead_client))


def test_the_page_asks_as_often_at_three_dies_and_at_thirty(lead_client, django_assert_num_queries):
    for n in range(3):
        a_die(f"H-{n:03d}")
    shown(lead_client)  # what a process asks once and keeps is no part of the count
    with django_assert_num_queries(25, exact=False) as few:
        html = shown(lead_client)
    for n in range(3, 30):
        a_die(f"H-{n:03d}")
    with django_assert_num_queries(len(few)):
        html = shown(lead_client)
    assert html.count("<tr id=") == 25 and "25 of 30" in words(html)
    assert shown(lead_client, page=2).count("<tr id=") == 5


def test_dies_of_another_plant_and_whoever_sees_no_cost_are_left_out(as_role, client):
    a_die()
    seen = pull_plan.of_plants(None, [make.plant("other").pk], Terms())
    assert not seen.rows
    assert as_role("setter").get(reverse("maintenance:pulls")).status_code == 403


@pytest.fixture
def lead_client(as_role):
    return as_role("lead")
