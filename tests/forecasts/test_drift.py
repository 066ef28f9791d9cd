"""Dies that go dull more often than their record said, and their records started anew."""

import datetime as dt

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from maintenance.clockwork import cycles
from maintenance.forecasts import drift, samples, store
from maintenance.log import queries, read, write
from maintenance.models import DriftFlag, RecordRestart, Run, Work
from tests import factories as make

from .long_shop import shop

pytestmark = pytest.mark.django_db

WEEKS, CHANGED = 110, 80  # lives are halved for the last thirty weeks, of which the last 26 are looked at


@pytest.fixture
def worn():
    return shop(weeks=WEEKS, halved=2, halved_from_week=CHANGED)


def test_the_dies_whose_lives_were_halved_are_flagged_and_no_others(worn):
    found = drift.compute(make.plant())
    assert {d.code for d in found.flagged} == {"H-000", "H-001"}
    assert len(found.dies) == 12
    for d in found.dies:
        plain = Work.objects.filter(position__die=d.die, at__gt=found.since, found="dull").count()
        assert d.drift.dull_ends == plain
        if not d.flagged:
            assert d.drift.expected == pytest.approx(plain, abs=2.5 * plain**0.5 + 1)
        else:
            assert d.drift.expected < 0.75 * plain and d.drift.chance < 0.01


def test_hits_before_the_date_count_for_nothing_afterwards(worn):
    die = worn[5]
    log, last = read.of_die(die), read.last_moment(make.plant()).timestamp()
    since = last - drift.BACK_DAYS * 86_400
    before, after, specs = drift.split(log, since, last)
    assert len(specs) == 2
    runs = sum(r.hits for r in Run.objects.filter(die=die) if r.at.timestamp() > since)
    for edge in (0, 1):
        mine = after.edge == edge
        assert (after.hits[mine] - after.from_hits[mine]).sum() == runs
    whole = samples.Gathered([samples.of_die(log, last)]).life
    assert (before.ended == 1).sum() + (after.ended == 1).sum() == (whole.ended == 1).sum()


def test_flags_are_kept_with_the_nightly_forecast_and_go_when_they_no_longer_hold(worn):
    call_command("forecast", store=True, verbosity=0)
    first = {f.die.code: f.found_at for f in queries.drift_flags(make.plant())}
    assert set(first) == {"H-000", "H-001"}
    assert queries.drift_flag(worn[0]).dull_ends > 0 and queries.drift_flag(worn[5]) is None
    drift.store(drift.compute(make.plant()))
    assert {f.die.code: f.found_at for f in queries.drift_flags()} == first
    early = drift.compute(make.plant(), as_of=make.moment(7 * CHANGED))  # before the change
    drift.store(early)
    assert not DriftFlag.objects.filter(die__in=worn[:2]).exists()
    assert {f.die.code for f in queries.drift_flags()} == {d.code for d in early.flagged}


def test_the_command_lists_them(worn, capsys):
    call_command("dulling_faster", verbosity=0)
    text = capsys.readouterr().out
    assert "2 dies go dull more often" in text and "H-000" in text and "H-005" not in text
    call_command("dulling_faster", every=True, store=True, as_json=True, verbosity=0)
    assert '"die": "H-005"' in capsys.readouterr().out
    assert DriftFlag.objects.count() == 2


def test_an_empty_log_is_refused():
    make.die()
    with pytest.raises(CommandError, match="log is empty"):
        call_command("dulling_faster", verbosity=0)


def usual_hits(die) -> float:
    """Half of fresh edges of the die last longer, as forecast now."""
    return min(edge.usual_hits for edge in queries.edges_of(store.refresh_die(die)))


def as_told(die) -> list:
    row = store.refresh_die(die)
    edges = [(e.position_id, e.remaining, e.usual_hits, e.rests_on) for e in queries.edges_of(row)]
    return [row.remaining, row.rests_on, row.fresh, sorted(edges, key=lambda e: e[0])]


def test_a_record_started_anew_forecasts_right_and_struck_out_the_old_numbers_are_back():
    # The shop's own truth of its first die: half of its edges last longer than scale (ln 2)^(1 / 2.5), then half that.
    # Some thirty cycles of two edges since: the logarithm of that is known to about 1 / (2.5 sqrt(30)) = 0.07.
    dies = shop(weeks=WEEKS, halved=1, halved_from_week=CHANGED, seed=4)
    die, plant = dies[0], make.plant()
    truly = 45_000 * np.exp(np.random.default_rng(4).normal(0, 0.25)) * np.log(2) ** 0.4 / 2
    store.fit_and_forecast(plant)
    mixed, told = usual_hits(die), as_told(die)
    assert mixed > 1.4 * truly
    row = write.restart_record(by=make.actor(), die=die, at=make.moment(7 * CHANGED), reason="other oil")
    assert usual_hits(die) == pytest.approx(truly, rel=0.2)
    assert as_told(die) != told
    store.fit_and_forecast(plant)  # and with the fleet fitted on it
    assert usual_hits(die) == pytest.approx(truly, rel=0.2)
    write.strike_out(by=make.actor(), entry=row, reason="it was the press")
    store.fit_and_forecast(plant)
    assert as_told(die) == told


def test_only_what_ran_since_counts_and_the_cycle_under_way_from_its_hits():
    die = make.die()
    place = make.position(die)
    for day in range(10):
        make.run(die, day, 10_000)
        if day in (2, 6):
            make.sharpen(die, day + 0.5, place)
    write.restart_record(by=make.actor(), die=die, at=make.moment(4.5), reason="rebuilt")  # 20,000 on the edge
    log = read.of_die(die)
    assert [c.hits for c in cycles.cycles(log, make.moment(20).timestamp())] == [30_000, 40_000, 30_000]
    part = samples.of_die(log, make.moment(20).timestamp())
    assert [(c.from_hits, c.lower_hits, c.hits) for _, c in part.rows] == [
        (20_000, 30_000, 40_000),
        (0, 30_000, 30_000),
    ]
    earlier = samples.of_die(log, make.moment(4).timestamp())  # as of then nobody had started it anew
    assert [c.from_hits for _, c in earlier.rows] == [0, 0]
    known = read.of_die(die, known_at=make.moment(4))
    assert known.restarts == ()


def test_a_die_is_not_held_against_a_record_that_starts_anew_within_the_half_year(worn):
    plant = make.plant()
    drift.store(drift.compute(plant))
    at = drift.compute(plant).since + dt.timedelta(days=1)
    write.restart_record(by=make.actor(), die=worn[0], at=at, reason="not known")
    assert not DriftFlag.objects.filter(die=worn[0]).exists() and DriftFlag.objects.filter(die=worn[1]).exists()
    again = next(d for d in drift.compute(plant).dies if d.die == worn[0].pk)
    assert not again.flagged and "starts anew" in again.refusal


def test_a_restart_that_cannot_be_is_refused_in_words():
    die = make.die()
    make.position(die)
    with pytest.raises(write.EntryRefused, match="no run yet"):
        write.restart_record(by=make.actor(), die=die, at=make.moment(1), reason="oil")
    make.run(die, 2)
    with pytest.raises(write.EntryRefused, match="begins only on 8 Jan 2025"):
        write.restart_record(by=make.actor(), die=die, at=make.moment(1), reason="oil")
    with pytest.raises(write.EntryRefused, match="what changed"):
        write.restart_record(by=make.actor(), die=die, at=make.moment(3), reason=" ")
    row = write.restart_record(by=make.actor(), die=die, at=make.moment(3), reason="oil", key="k")
    assert write.restart_record(by=make.actor(), die=die, at=make.moment(3), reason="oil", key="k") == row
    with pytest.raises(write.EntryRefused, match="already"):
        write.restart_record(by=make.actor(), die=die, at=make.moment(3), reason="oil again")
    assert RecordRestart.objects.count() == 1
