"""How right past forecasts were: looked back on from what was known then, against a plain count of what came."""

import datetime as dt
import json

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from maintenance.forecasts import track_record
from maintenance.life.record import TooShort
from maintenance.log import queries, read, write
from maintenance.models import PastForecasts, RecordRestart, Run, Work
from tests import factories as make

from .long_shop import shop

pytestmark = pytest.mark.django_db


def counted_plainly(die, origin) -> tuple[float, float, bool]:
    """What came of a die: walk its runs from the origin until the first grind; the set is always ground together."""
    grinds = sorted({w.at for w in Work.objects.standing().filter(position__die=die, at__gt=origin)})
    runs = [r for r in Run.objects.standing().filter(die=die).order_by("started") if r.at > origin]
    if not grinds:
        return sum(r.hits for r in runs), sum(r.hits for r in runs), False
    hits = [r.hits for r in runs if r.at <= grinds[0]]
    return sum(hits[:-1]), sum(hits), True


def test_what_came_is_what_a_plain_count_gives_and_wrong_calls_lie_outside_their_band(db):
    dies = {die.pk: die for die in shop()}
    found = track_record.compute(make.plant())
    assert len(found.origins) == 8 and len(found.statements) > 80
    assert [o.at for o in found.origins] == sorted(o.at for o in found.origins)
    for s in found.statements:
        low, high, ended = counted_plainly(dies[s.die], s.origin)
        assert (s.came.low, s.came.high, s.went) == (low, high, ended), (s.code, s.origin)
    # A right model of a shop as simple as this: within two standard errors and a half of 0.80.
    assert abs(found.die.band_80 - 0.8) < 2.5 * found.die.se
    assert found.die.se < 0.08
    rows = track_record.wrong_calls(found)
    assert rows
    for row in rows:
        if row["sort"] == "early":
            assert row["came_high"] < row["low"] and row["gone"] < 0.1
        else:
            assert row["came_low"] > row["high"] and row["gone"] > 0.9
    for sort, sign in (("early", 1), ("late", -1)):
        gone = [sign * row["gone"] for row in rows if row["sort"] == sort]
        assert gone == sorted(gone)
        assert [row["rank"] for row in rows if row["sort"] == sort] == list(range(1, len(gone) + 1))


def said_at(found, n):
    return {s.code: s.remaining for s in found.origins[n].statements}


def two_origins(last) -> list:
    return track_record.origins_before(last)[4::3]


def test_what_was_said_rests_on_what_was_known_then(db):
    (first, *_) = shop(weeks=110)
    plant, last = make.plant(), read.last_moment(make.plant())
    origin, _ = two = two_origins(last)
    before = track_record.compute(plant, as_of=last, origins=two)
    # What happened later, whatever becomes of it, changes nothing of what was said.
    late = Run.objects.filter(die=first, started__gt=origin).order_by("started").first()
    write.strike_out(by=make.actor(), entry=late, reason="never happened")
    again = track_record.compute(plant, as_of=last, origins=two)
    assert said_at(again, 0) == said_at(before, 0)
    came = {s.code: s.came.high for s in before.origins[0].statements}
    assert {s.code for s in again.origins[0].statements if s.came.high != came[s.code]} <= {first.code}
    # A run that was entered only after the origin was not known then: less was on the edges of that die.
    known = Run.objects.filter(die=first, at__lt=origin).order_by("-at").first()
    Run.objects.filter(pk=known.pk).update(recorded_at=origin + dt.timedelta(days=1))
    without = track_record.compute(plant, as_of=last, origins=two)
    assert said_at(without, 0)[first.code][0.5] > said_at(before, 0)[first.code][0.5]
    assert said_at(without, 1)[first.code] == said_at(again, 1)[first.code]


def test_a_record_started_anew_takes_nothing_away_from_what_came(db):
    (first, *_) = shop(weeks=110)
    plant = make.plant()
    last = read.last_moment(plant)
    two = two_origins(last)
    before = track_record.compute(plant, as_of=last, origins=two)
    RecordRestart.objects.create(die=first, at=last - dt.timedelta(days=10), reason="other oil")
    after = track_record.compute(plant, as_of=last, origins=two)
    assert [(s.code, s.came) for s in after.statements] == [(s.code, s.came) for s in before.statements]


def parts_at(die: int, origin: int) -> int:
    return 8_000 * (1 + (die + origin) % 6)


def test_orders_open_then_are_held_against_what_came(db):
    dies = shop(weeks=110)
    last = read.last_moment(make.plant())
    for n, die in enumerate(dies):
        # Placed before an origin, closed after it; their runs name no order, so that all of it is still to go.
        for k, origin in enumerate(track_record.origins_before(last)):
            order = make.order(die, f"{n}-{k}", parts=parts_at(n, k), placed_at=origin - dt.timedelta(days=1))
            order.closed_at = origin + dt.timedelta(days=60)
            order.save()
    found = track_record.compute(make.plant(), as_of=last)
    numbers = [die.pk for die in dies]
    moments = [o.at for o in found.origins]
    assert all(s.order_hits == parts_at(numbers.index(s.die), moments.index(s.origin)) for s in found.statements)
    rows = found.chances
    assert sum(r.statements for r in rows) == len(found.statements)
    # By hand: an order is finished where the die ran all of it before an edge was found dull.
    for row in rows:
        mine = [s for s in found.statements if row.low <= s.chance < row.high or s.chance == row.high == 1]
        surely = sum(s.came.low >= s.order_hits for s in mine)
        maybe = sum(s.came.high >= s.order_hits for s in mine)
        assert surely <= row.finished <= maybe
        assert row.finished + row.not_finished + row.stopped == pytest.approx(row.statements)
    said = np.array([r.said for r in rows])
    held = np.array([r.held for r in rows])
    weight = np.array([r.statements for r in rows])
    assert np.average(held, weights=weight) == pytest.approx(np.average(said, weights=weight), abs=0.15)


def test_too_little_is_refused_with_its_numbers_and_that_is_kept_for_the_pages(db):
    shop(dies=3, weeks=60)
    with pytest.raises(TooShort, match=r"\d+ past forecasts of 3 dies"):
        track_record.compute(make.plant())
    with pytest.raises(CommandError, match="10 dies and 10 ends are needed"):
        call_command("track_record", store=True, verbosity=0)
    row = queries.newest_record(make.plant())
    assert "of 3 dies" in row.refusal and row.scores == {}


def test_an_empty_log_is_refused(db):
    make.die()
    with pytest.raises(CommandError, match="log is empty"):
        call_command("track_record", store=True, verbosity=0)
    assert not PastForecasts.objects.exists()


def test_the_command_prints_and_keeps_what_was_found(db, capsys):
    shop(weeks=110)
    call_command("track_record", as_json=True, store=True, as_of="2026-06-01", verbosity=0)
    told = json.loads(capsys.readouterr().out)
    row = queries.newest_record(make.plant())
    assert row.scores == {k: v for k, v in told.items() if k in row.scores}
    assert row.wrong_calls == told["wrong_calls"] and row.by_die == told["by_die"]
    origins = row.scores["origins"]
    assert sum(out for out, _ in row.by_die.values()) == sum(o["statements"] - o["open"] for o in origins)
    for o in origins:
        assert o["within"] + o["early"] + o["late"] == pytest.approx(o["statements"] - o["open"], abs=0.16)
    call_command("track_record", store=True, as_of="2026-06-01", verbosity=0)
    text = capsys.readouterr().out
    assert "8 in 10" in text and "Dull or chipped earlier than forecast" in text
    first, second = PastForecasts.objects.order_by("pk")
    assert first.records_hash == second.records_hash and first.scores == second.scores  # kept beside, not over it
