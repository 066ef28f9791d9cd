"""A die's forecast counts to its parts' burr limit, where that is tighter than where the shop calls an edge dull."""

import pytest
from django.urls import reverse

from diestore.register.models import Output, Part
from maintenance.forecasts import burr_limits, decisions, store
from maintenance.life import FleetFit
from maintenance.log import queries
from maintenance.models import Reading, fresh_key
from maintenance.policy.orders import AS_IT_STANDS
from tests import factories as make

pytestmark = pytest.mark.django_db
RUNS, HITS, CYCLES = 4, 8_000, 6


def burr(position, day: float, um: float) -> None:
    Reading.objects.create(
        position=position, at=make.moment(day), quantity="burr height", value_si=um * 1e-6, typed_value=f"{um:g}",
        typed_unit="µm", key=fresh_key(),
    )  # fmt: skip


def worn(code: str, *, read: bool = True, kind: str = "pierce_punch"):
    """A die whose two edges go dull every four runs; after each run the burr on them is read: 17, 29, 41, 53 um."""
    die = make.die(code)
    places = [make.position(die, place, kind=kind) for place in ("1-A", "1-B")]
    for cycle in range(CYCLES):
        for k in range(RUNS):
            day = 10 * cycle + 2 * k + 1
            make.run(die, day, HITS)
            if read:
                for n, place in enumerate(places):
                    burr(place, day + 0.5, 5 + 12 * (k + 1) * (1 + 0.02 * n))
        make.sharpen(die, 10 * cycle + 9, *places, why="dull", found="dull")
    make.run(die, 70, HITS)
    return die


def limit(die, um: float | None) -> None:
    Part.objects.filter(outputs__variant__die=die).update(burr_limit_um=um)


def newest(die):
    return queries.newest_forecast(die)


@pytest.fixture
def dies():
    made = [worn(f"H-90{n}") for n in range(3)]
    store.fit_and_forecast(make.plant())
    return made


def model():
    fit = FleetFit.from_dict(store.newest_fit(make.plant()).parameters)
    return burr_limits.model_of(fit)


def test_the_tighter_limit_shortens_what_is_left_and_says_so(dies, client):
    before = newest(dies[0])
    usual = {e.position_id: e.usual_hits for e in queries.edges_of(before)}
    limit(dies[0], 30)
    after = store.refresh_die(dies[0])
    share = model().share_at(30, 1.2)
    assert 0.3 < share < 0.8
    assert after.rests_on["burr_limit"] == {"um": 30, "share": round(share, 3)}
    assert after.half_hits < before.half_hits and after.nine_in_ten_hits < before.nine_in_ten_hits
    assert after.fresh["remaining"]["0.5"] == pytest.approx(share * before.fresh["remaining"]["0.5"], rel=0.05)
    for edge in queries.edges_of(after):
        assert edge.usual_hits == pytest.approx(share * usual[edge.position_id], rel=0.01)
        assert edge.rests_on["burr_limit"]["um"] == 30
    client.force_login(make.user("lead"))
    said = client.get(reverse("diestore:die", args=[dies[0].pk])).content.decode()
    assert f"Counts to the burr limit of 30 µm, reached at {share:.2g} of the life to dull." in said
    assert "Usual hits to the burr limit" in said and "usual hits to dull" not in said


def test_run_or_sharpen_counts_to_the_limit_too(dies):
    """A job that the edges last to dull, and not to the tighter burr: sharpening first is worth more."""

    def of_a_job() -> tuple[float, float]:
        decision = decisions.of_one(dies[0])[1].decide(16_000, with_turns=False)
        runs = decision.named(AS_IT_STANDS)
        return runs.chance, runs.against_best

    chance, dearer = of_a_job()
    limit(dies[0], 30)
    store.refresh_die(dies[0])
    tighter, more = of_a_job()
    assert tighter < chance - 0.1 and more > dearer


def test_the_fleet_and_one_die_say_the_same_and_the_others_do_not_change(dies):
    before = {f.die_id: f.remaining for f in queries.newest_forecasts()}
    limit(dies[0], 30)
    alone = store.refresh_die(dies[0]).remaining
    store.fit_and_forecast(make.plant())
    after = {f.die_id: f.remaining for f in queries.newest_forecasts()}
    assert after[dies[0].pk] == alone != before[dies[0].pk]
    assert after[dies[1].pk] == before[dies[1].pk]


def test_a_wider_limit_or_none_changes_nothing(dies):
    before = newest(dies[0]).remaining
    for um in (500, None):
        limit(dies[0], um)
        after = store.refresh_die(dies[0])
        assert after.remaining == before and "burr_limit" not in after.rests_on


def test_without_enough_readings_the_limit_is_named_as_not_used(client):
    die = worn("H-910", read=False)
    limit(die, 30)
    store.fit_and_forecast(make.plant())
    told = newest(die)
    assert told.rests_on["burr_limit"] == {"um": 30, "not_used": burr_limits.TOO_FEW}
    assert all("burr_limit" not in e.rests_on for e in queries.edges_of(told))
    client.force_login(make.user("lead"))
    said = client.get(reverse("diestore:die", args=[die.pk])).content.decode()
    assert "The burr limit of 30 µm is not used: it takes 30 burr readings" in said


def test_a_limit_that_fresh_edges_pass_is_not_used(dies):
    before = newest(dies[0]).remaining
    limit(dies[0], 1)
    after = store.refresh_die(dies[0])
    assert after.rests_on["burr_limit"]["not_used"] == burr_limits.AS_FRESH and after.remaining == before


def test_an_edge_that_leaves_no_burr_is_not_held(dies):
    die = worn("H-920", kind="semi_pierce_punch")
    store.fit_and_forecast(make.plant())
    before = newest(die).remaining
    limit(die, 30)
    after = store.refresh_die(die)
    assert after.remaining == before and "burr_limit" not in after.rests_on


def test_a_reading_beyond_the_limit_leaves_nothing(dies):
    limit(dies[0], 30)
    sharp = store.refresh_die(dies[0])
    for place in dies[0].positions.all():
        burr(place, 70.5, 44)
    passed = store.refresh_die(dies[0])
    assert sharp.half_hits > 1_000 and passed.half_hits == 0
    assert passed.limiting_id is not None
    burr(dies[0].positions.first(), 70.9, 14)  # measured again, and within it
    assert store.refresh_die(dies[0]).half_hits == 0  # the other one still lies beyond


def test_the_limit_is_that_of_the_parts_that_run_next(dies):
    die = dies[0]
    wide, tight = die.variants.get(), die.variants.create(code="B")
    Output.objects.create(variant=tight, part=Part.objects.create(number="P-tight", burr_limit_um=30), parts_per_hit=1)
    before = newest(die).remaining
    assert queries.burr_limits_um([die]) == {die.pk: {tight.pk: 30.0}}
    assert store.refresh_die(die).remaining == before  # the last run was of the other
    make.run(die, 72, 100, variant=tight)
    held = store.refresh_die(die)
    assert held.rests_on["burr_limit"]["um"] == 30
    make.run(die, 74, 100, variant=wide)
    assert "burr_limit" not in store.refresh_die(die).rests_on


def test_the_tightest_of_a_variants_parts_counts(dies):
    limit(dies[0], 40)
    variant = dies[0].variants.get()
    Output.objects.create(variant=variant, part=Part.objects.create(number="P-left", burr_limit_um=25), parts_per_hit=1)
    assert queries.burr_limits_um(dies) == {dies[0].pk: {variant.pk: 25.0}}
