"""Decisions of the past looked back on: the advice of then knows nothing of later, and what came is a plain count."""

import datetime as dt

import pytest

from maintenance.clockwork.cycles import History, cycles
from maintenance.forecasts import past_moments, replay, store
from maintenance.forecasts.fleet_log import read_fleet
from maintenance.log import queries, read, write
from maintenance.models import PastDecision, PastDecisions, Run, Work
from maintenance.policy.replay import NOUGHT
from tests import factories as make

from .long_shop import HITS, shop

pytestmark = pytest.mark.django_db
RUNS_A_JOB = 8


def with_jobs(dies=3, weeks=60) -> list:
    """The long shop, each die's runs cut into jobs of eight."""
    made = shop(dies=dies, weeks=weeks)
    for die in made:
        runs = list(Run.objects.filter(die=die).order_by("started"))
        for k in range(0, len(runs), RUNS_A_JOB):
            some = runs[k : k + RUNS_A_JOB]
            order = make.order(die, f"{die.code}-{k}", parts=RUNS_A_JOB * HITS, placed_at=some[0].started,
                               closed_at=some[-1].at)  # fmt: skip
            Run.objects.filter(pk__in=[run.pk for run in some]).update(order=order)
    store.fit_and_forecast(make.plant())
    return made


def fits_at(dies, moments) -> dict:
    return {at: read_fleet(dies, at, known_at=at).fit() for at in moments}


@pytest.fixture
def looked_at():
    dies = with_jobs()
    last = read.last_moment(make.plant())
    origins = [last - dt.timedelta(days=days) for days in (250, 120)]
    return dies, origins, fits_at(dies, origins)


def by_moment(found) -> dict:
    return {(c.moment.die, c.moment.kind, c.moment.at): c for c in found.cases}


def test_each_decision_is_what_a_plain_walk_finds_and_its_bounds_hold(looked_at):
    dies, (first, _), fits = looked_at
    found = replay.compute(make.plant(), fits)
    jobs = [c for c in found.cases if c.moment.kind == "job"]
    assert len(jobs) > 20 and found.untold == 0 and found.without_job == 0
    for die in dies:
        grinds = sorted({w.at for w in Work.objects.filter(position__die=die)})
        runs = list(Run.objects.filter(die=die).order_by("started"))
        begun = [run.started for run in runs[::RUNS_A_JOB]]
        starts = {c.moment.at: c.moment for c in jobs if c.moment.die == die.pk}
        for k, started in enumerate(begun):
            some = runs[k * RUNS_A_JOB : (k + 1) * RUNS_A_JOB]
            before = [g for g in grinds if g <= started and (k == 0 or g > runs[k * RUNS_A_JOB - 1].at)]
            m = starts.get(started.timestamp())
            if before or started <= first:
                # this shop grinds only what it found dull: then a start was no free choice
                assert m is None
                continue
            until = runs[(k + 1) * RUNS_A_JOB].started if (k + 1) * RUNS_A_JOB < len(runs) else None
            stops = [g for g in grinds if g > started and (until is None or g < until)]
            ran = None if not stops else sum(run.hits for run in some if run.at < stops[0])
            assert (m.job.hits, m.job.stop, m.job.pulls) == (len(some) * HITS, ran, ())
            assert m.job.since_look == (HITS if stops else 0) and m.job_hits == RUNS_A_JOB * HITS
    torn = [c for c in found.cases if c.moment.kind == "teardown"]
    assert all(c.moment.bad and len(c.moment.ground) == 2 for c in torn)
    for case in found.cases:
        d = case.difference
        assert d.euros.low <= d.euros.expected <= d.euros.high
        assert d.same == (d.euros == NOUGHT == d.stops)
    assert any(not c.difference.same for c in jobs)


def test_nothing_that_was_known_later_changes_the_advice(looked_at):
    dies, _, fits = looked_at
    plant, die = make.plant(), looked_at[0][0]
    before = by_moment(replay.compute(plant, fits))
    cut = read.last_moment(plant) - dt.timedelta(days=60)
    # What came after it is struck out or added, entered only afterwards, or entered afterwards of the time before.
    later = Run.objects.filter(die=die, started__gt=cut).order_by("started")
    write.strike_out(by=make.actor(), entry=later[2], reason="never happened")
    write.strike_out(by=make.actor(), entry=Work.objects.filter(position__die=die).order_by("-at").first(), reason="no")
    late = Run.objects.filter(die=die, started__lt=cut).order_by("-started")[4]
    Run.objects.filter(pk=late.pk).update(struck_at=cut + dt.timedelta(days=30), struck_by=make.person(),
                                          struck_reason="counted twice")  # fmt: skip
    after = by_moment(replay.compute(plant, fits))
    alike = [key for key in before if key in after and key[2] < cut.timestamp()]
    assert len(alike) > 20 and sum(key[0] == die.pk for key in alike) > 5
    for key in alike:
        assert after[key].advised == before[key].advised, key
    # A run of then that was entered only later was not known: less was on the edges when the advice was asked.
    known = Run.objects.filter(die=dies[1], started__lt=cut).order_by("-started")[3]
    Run.objects.filter(pk=known.pk).update(recorded_at=cut + dt.timedelta(days=1))
    log = read.of_die(dies[1])
    later_of = replay.written_later(dies)[dies[1].pk]
    told = replay.Told.of(dies[1], log, later_of, read.last_moment(plant))
    assert not later_of.knows(cut.timestamp()) and later_of.knows(known.started.timestamp() - 1)
    runs, made = told.known(cut.timestamp())
    assert made is None and known.started.timestamp() not in [run.started for run in runs.runs]


def test_the_cycles_at_a_moment_are_those_made_up_to_it(looked_at):
    for log in read.of_dies(looked_at[0]):
        history, n = History(log, log.last_moment), 0
        for run in log.runs[::9]:
            for moment in (run.started, (run.started + run.ended) / 2, run.ended):
                assert history.at(moment) == cycles(log, moment)
                n += 1
        assert n > 30 and history.at(log.last_moment) == cycles(log, log.last_moment)


def test_what_is_kept_is_the_newest_and_its_sums_are_those_of_its_cases(looked_at):
    plant, fits = make.plant(), looked_at[2]
    found = replay.compute(plant, fits, most=40)
    assert len(found.cases) == 40 and found.left_out > 0
    first, row = replay.store_replayed(found), replay.store_replayed(found)
    assert queries.newest_past_decisions(plant) == row and not first.cases.exists()
    for kind in PastDecision.Kind.values:
        of = row.sums["kinds"][kind]
        kept = list(row.cases.filter(kind=kind))
        assert of["decisions"] - of["same"] == len(kept)
        assert of["euros"]["expected"] == pytest.approx(sum(case.euros_expected for case in kept), abs=0.01)
        assert of["worse"] == sum(case.euros_expected < 0 for case in kept)
        assert sum(one["decisions"] for one in of["dies"].values()) == of["decisions"]
    assert sum(of["decisions"] for of in row.sums["kinds"].values()) == 40


def test_without_a_forecast_of_the_past_there_is_nothing_to_follow(db):
    make.die()
    row = replay.look_back_and_store(make.plant(), {})
    assert "Nothing was forecast yet" in row.refusal and not PastDecision.objects.exists()
    assert PastDecisions.objects.count() == 1
    assert past_moments.orders_of(make.plant()) == {}
