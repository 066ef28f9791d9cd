"""Run or sharpen: the page of one die, and the round of readings."""

import pytest
from django.urls import reverse

from diestore.register.models import Rate
from maintenance.forecasts import decisions, due, store
from maintenance.log import bench
from maintenance.models import DieForecast
from maintenance.policy.orders import AS_IT_STANDS, WORTH
from tests import factories as make

from .as_read import as_read
from .money_shop import movement
from .small_shop import more, shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    (one,) = shop(1)
    for n in range(6):
        make.run(one, 10 + 3 * n, 20_000)
        make.sharpen(one, 11 + 3 * n, one.positions.get(code="1-A"), one.positions.get(code="2-A"), why="dull")
    make.run(one, 40, 14_000)
    store.fit_and_forecast(one.plant)
    return one


def page(client, die, status=200, **asked) -> str:
    answer = client.get(reverse("maintenance:decide", args=[die.pk]), asked)
    assert answer.status_code == status
    return as_read(answer)


def test_options_stand_side_by_side_and_the_first_is_what_the_list_says(as_role, die):
    client = as_role("lead")
    html = page(client, die)
    for words in ("Run it as it is", "recommended", "With the die apart", "How often", "What to measure next"):
        assert words in html
    row = due.rows()[0]
    _, known = decisions.of_one(die)
    decision = known.decide(row.hits_left)
    assert row.advice.sharpen == decision.best.sharpens_first
    assert row.advice.gain == pytest.approx(decision.gain, abs=0.02)
    assert f"{decision.named(AS_IT_STANDS).chance:.0%}".replace("%", " %") in html


def test_money_is_for_who_may_see_cost(as_role, die):
    assert "Money in this job" in page(as_role("lead"), die) and "EUR" in page(as_role("sales"), die)
    for role in ("setter", "toolmaker", "buyer"):
        html = page(as_role(role), die)
        assert "Money in this job" not in html and "EUR" not in html and "recommended" in html
        assert ("Log a sharpening of these" in html) == (role == "toolmaker")


def test_what_nobody_named_is_assumed_and_said_and_may_be_typed(as_role, die):
    client = as_role("lead")
    assert "Assumed, because not entered" in page(client, die) and "An hour of the toolroom" in page(client, die)
    _, before = decisions.of_one(die)
    assert before.basis.figures["toolroom_rate"].assumed and before.basis["toolroom_rate"] == 60
    Rate.objects.create(plant=die.plant, kind=Rate.Kind.TOOLROOM_HOUR, valid_from="2020-01-01", amount=80)
    Rate.objects.create(plant=die.plant, kind=Rate.Kind.TOOLROOM_HOUR, valid_from="2099-01-01", amount=500)
    _, known = decisions.of_one(die)
    assert known.basis["toolroom_rate"] == 80 and "toolroom_rate" not in known.basis.assumed
    _, typed = decisions.of_one(die, {"toolroom_rate": 120.0})
    assert typed.costs.teardown == pytest.approx(1.5 * known.costs.teardown)
    assert "as typed" in page(client, die, toolroom_rate="120")


def test_what_the_shop_says_of_its_costs_is_its_own_from_its_day_on(as_role, die):
    kinds = (("refit percent", 25), ("parts sorted an hour", 1_500), ("scrapped part", 0), ("reading minutes", 12))
    for kind, amount in kinds:
        Rate.objects.create(plant=die.plant, kind=kind, valid_from="2020-01-01", amount=amount)
        Rate.objects.create(plant=die.plant, kind=kind, valid_from="2099-01-01", amount=50)
    basis = decisions.of_one(die)[1].basis
    told = [basis[name] for name in ("apart_share", "sorted_an_hour", "part_worth", "reading_minutes")]
    assert told == [0.25, 1_500, 0, 12]
    assert not {"apart_share", "sorted_an_hour", "part_worth", "reading_minutes"} & set(basis.assumed)
    assert page(as_role("lead"), die).count("the shop&#x27;s own") == 4
    # By hand: a quarter of the hours to take it apart; what is scrap is worth nothing, so dull costs the sorting.
    costs = basis.costs([1], [0.0])
    parts = basis["look_hits"] * basis.parts_per_hit
    assert costs.teardown == pytest.approx(basis["hours"] * 0.25 * basis["toolroom_rate"])
    assert costs.dull == pytest.approx(parts / 1_500 * basis["sorting_rate"])


def test_a_cost_that_cannot_be_is_refused_in_a_sentence(as_role):
    client = as_role("lead")
    sent = {"kind": "refit percent", "plant": make.plant().pk, "valid_from": "2026-01-01", "reason": "measured"}
    for amount, said in (("140", "enter 1 to 99"), ("-1", "Refit percent"), ("much", "number")):
        answer = client.post(reverse("diestore:rates_new"), sent | {"amount": amount})
        assert answer.status_code == 422 and said in as_read(answer), amount
    assert client.post(reverse("diestore:rates_new"), sent | {"amount": "35"}).status_code == 302
    assert Rate.objects.get().amount == 35


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"job_hits": "0"}, "there is nothing to run"),
        ({"job_hits": "soon"}, "is not a number"),
        ({"hours": "-3"}, "cannot be"),
        ({"apart_share": "1.5"}, "cannot be: enter 0.01 to 0.99"),
        ({"toolroom_rate": "1e999"}, "number"),
    ],
)
def test_what_cannot_be_is_said_and_the_rest_is_worked_out(as_role, die, asked, said):
    html = page(as_role("lead"), die, **asked)
    assert said in html and "recommended" in html


def test_only_what_lies_free_on_the_shelf_is_offered_for_a_swap(as_role, die):
    """One piece of a spare that two edges take: none where none lies there, where another die's work has it set aside,
    and once where it is free or set aside for this die."""
    client, item = as_role("lead"), make.item(code="PP-1")
    edges = die.positions.filter(code__in=("1-A", "2-A"))
    edges.update(item=item)
    swap = "Put in ground pieces from the shelf"

    def offered() -> int:
        known = decisions.of_one(die)[1]
        return len(decisions.pieces_on_shelf(known, die.plant_id))

    assert offered() == 0 and swap not in page(client, die)
    movement(item, 1)
    assert offered() == 1 and swap in page(client, die)
    others = bench.open_work(by=make.actor(), die=make.die("Z-2"), what="new punch")
    bench.reserve(by=make.actor(), work=others, item=item)
    assert offered() == 0 and swap not in page(client, die)
    bench.set_state(by=make.actor(), work=others, state="dropped", reason="not needed")
    mine = bench.open_work(by=make.actor(), die=die, what="new punch")
    bench.reserve(by=make.actor(), work=mine, item=item)
    assert offered() == 1
    movement(item, 1)
    assert offered() == 2


def test_a_die_without_a_job_asks_for_its_hits(as_role, die):
    client = as_role("lead")
    die.orders.all().delete()
    html = page(client, die)
    assert "No job is open for it" in html and "recommended" not in html
    assert "Asked for a job of 12,000 hits" in page(client, die, job_hits="12,000") and "recommended" in page(
        client, die, job_hits="12000"
    )


def test_a_die_of_which_nothing_is_known_says_so(as_role, die):
    bare = make.die("Z-1")
    client = as_role("lead")
    assert "No forecast has been worked out" in page(client, bare)
    DieForecast.objects.create(die=bare, as_of=make.START, refusal="No piece with a cutting edge sits in this die.")
    assert "No piece with a cutting edge" in page(client, bare)
    page(client, type("Gone", (), {"pk": 987_654})(), status=404)


def test_a_damaged_die_is_not_to_run_as_it_stands(as_role, die):
    position = die.positions.get(code="1-A")
    newest = DieForecast.objects.get(die=die, is_newest=True)
    damage = {
        "what": "mishap",
        "at": make.START.isoformat(),
        "position": position.pk,
        "place": "1-A",
        "cause": "misfeed",
    }
    newest.damage = [damage]
    newest.save()
    html = page(as_role("lead"), die)
    assert "Do not run it until that is put right" in html and "not while it is damaged" in html
    assert "grind it whatever else is done" in html
    _, known = decisions.of_one(die)
    told = known.decide(2_000)
    assert told.best.sharpens_first and known.edges[known.bad[0]].code == "1-A"


def test_what_is_wrong_elsewhere_than_at_an_edge_no_grinding_puts_right(as_role, die):
    pilot = die.positions.get(code="2-P")
    newest = DieForecast.objects.get(die=die, is_newest=True)
    newest.damage = [{"what": "mishap", "at": make.START.isoformat(), "position": pilot.pk, "place": "2-P"}]
    newest.save()
    html = page(as_role("lead"), die)
    assert "Do not run it until that is put right" in html and "Once that is put right:" in html
    assert "grind it whatever else is done" not in html
    newest.damage = [{"what": "stopped for burr", "at": make.START.isoformat()}]  # some edge, nobody knows which
    newest.save()
    _, known = decisions.of_one(die)
    best = known.decide(2_000).best
    assert best.sharpens_first and best.ground[known.limiting]


def test_the_edges_to_leave_are_left_out_on_the_form_of_the_sharpening(as_role, die):
    client = as_role("toolmaker")
    left = die.positions.get(code="2-A")
    answer = client.get(reverse("maintenance:log_sharpening"), {"die": die.pk, "left": f"{left.pk},x,"})
    form = answer.context["form"]
    assert form["note"].value() == "Advised: leave 2-A; grind the other edges."  # and stays with what was done
    none_left = client.get(reverse("maintenance:log_sharpening"), {"die": die.pk, "left": ""}).context["form"]
    assert none_left["note"].value() == "Advised: grind every edge."
    assert not client.get(reverse("maintenance:log_sharpening"), {"die": die.pk}).context["form"]["note"].value()
    assert (
        form[f"found_{left.pk}"].value() == "out" and form[f"found_{die.positions.get(code='1-A').pk}"].value() == "set"
    )


def test_the_page_takes_the_same_questions_whatever_the_die_has(as_role, die, django_assert_max_num_queries):
    client = as_role("lead")
    page(client, die)
    with django_assert_max_num_queries(25) as asked:
        page(client, die)
    few = len(asked)
    for n in range(12):
        make.position(die, f"9-{n}")
    store.fit_and_forecast(die.plant)
    with django_assert_max_num_queries(few):
        page(client, die)


def test_the_round_is_of_the_shift(as_role, die, django_assert_max_num_queries, monkeypatch):
    client = as_role("setter")
    address = reverse("maintenance:round")
    assert "Nothing to measure yet" in as_read(client.get(address))
    from maintenance.life.readings import ReadingModel
    from maintenance.screens.decide import views

    model = ReadingModel(
        quantity=0, c0=5.0, c0_sd=0.5, a=3.5, alpha=0.3, gamma=0.9, cycle_sd=0.1, reading_sd=0.1, readings=60, cycles=20
    )
    monkeypatch.setattr(views, "_burr_model", lambda parameters: model)
    monkeypatch.setitem(decisions.ASSUMED, "reading_minutes", 0.0)
    with django_assert_max_num_queries(25) as asked:
        html = as_read(client.get(address))
    few = len(asked)
    assert "Read" in html and die.code in html and "µm" in html and "EUR" not in html
    assert "Worth" in as_read(as_role("lead").get(address))
    more(1, 12)
    with django_assert_max_num_queries(few):
        client.get(address)


def test_what_is_kept_is_read_between_its_points():
    kept = {
        "hits": [100.0, 10_000.0, 40_000.0],
        "margin": [-4.0, 6.0, 8.0],
        "pull": [1, 0, 0],
        "sharpened": [1, 0.9, 0.5],
    }

    def read(hits):
        told = decisions.advised(kept, hits)
        return told.sharpen, round(told.gain, 6), told.pull_inside, round(told.sharpened, 6)

    assert read(1_000) == (True, 1.0, False, 0.95)  # half way in ln hits
    assert read(100) == read(3) == (False, 4.0, True, 1.0)
    assert read(10_000) == (True, 6.0, False, 0.9) and read(1e9) == (True, 8.0, False, 0.5)
    assert decisions.advised(kept, 0) is None


def test_many_dies_at_once_say_the_same_as_one(die):
    shopful = decisions.of_some([die.pk])
    _, one = decisions.of_one(die)
    assert shopful[die.pk].decide(20_000, with_turns=False).named(WORTH).advantage == pytest.approx(
        one.decide(20_000, with_turns=False).named(WORTH).advantage
    )
    assert decisions.of_some([]) == {} and decisions.advised({}, 100) is None and decisions.advised(None, 100) is None
