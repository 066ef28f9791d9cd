"""Every write to the log: what it saves, what it refuses; a repeat or a strike-out leaves no number changed."""

import dataclasses
import datetime as dt
import random

import pytest
from django.utils import timezone

from diestore.register.models import Piece, Variant
from maintenance.clockwork import cycles as clockwork_cycles
from maintenance.clockwork import states as clockwork_states
from maintenance.log import queries, write
from maintenance.log import read as log_read
from maintenance.log.write import EntryRefused
from maintenance.models import (
    EVENTS,
    Fitting,
    HitCorrection,
    Incident,
    Reading,
    Replacement,
    Run,
    StockMovement,
    Stop,
    Work,
)
from tests import factories as make

pytestmark = pytest.mark.django_db

HOUR = dt.timedelta(hours=1)


@pytest.fixture
def die():
    made = make.die()
    make.position(made, "1-A", item=make.item())
    make.position(made, "3-A", kind="shape_punch")
    make.position(made, "2-P", kind="pilot", length_mm=None)
    return made


@pytest.fixture
def punch(die):
    return die.positions.get(code="1-A")


def count_of_everything():
    return {model.__name__: model.objects.count() for model in (*EVENTS, Piece, Fitting)}


def stand(die, day=400.0):
    """All numbers of a die: how each position stands and every cycle, with pieces named by their order alone."""
    log, when = log_read.of_die(die), make.moment(day).timestamp()
    states = [dataclasses.replace(s, piece=None) for s in clockwork_states.states(log, when).values()]
    cycles = [dataclasses.replace(c, piece=0) for c in clockwork_cycles.cycles(log, when)]
    return states, cycles


# --- refusals -------------------------------------------------------------------------------------


def later(**more):
    return timezone.now() + dt.timedelta(**more)


RUN = {"started": make.moment(1), "ended": make.moment(1) + 4 * HOUR, "hits": 10_000}

RUNS_REFUSED = {
    "no hits": ({"hits": 0}, "hits", "no run"),
    "hits below nought": ({"hits": -5}, "hits", "no run"),
    "10^12 hits": ({"hits": 10**12}, "hits", "cannot be"),
    "hits with a fraction": ({"hits": 12.5}, "hits", "whole number"),
    "hits as yes or no": ({"hits": True}, "hits", "whole number"),
    "hits that are no number": ({"hits": float("nan")}, "hits", "whole number"),
    "an end before its start": ({"ended": make.moment(0)}, "ended", "before it starts"),
    "an end at its start": ({"ended": make.moment(1)}, "ended", "before it starts"),
    "an end to come": ({"ended": later(days=2)}, "ended", "still to come"),
    "a start long ago": ({"started": dt.datetime(1899, 1, 1, tzinfo=dt.UTC)}, "started", "too long ago"),
    "a time without a zone": ({"started": dt.datetime(2025, 1, 6)}, "started", "no time zone"),
    "good parts below nought": ({"good_parts": -1}, "good_parts", "fewer than none"),
    "a lot of 5 MB": ({"lot": "x" * 5_000_000}, "lot", "5,000,000 letters"),
}


@pytest.mark.parametrize(("change", "field", "says"), RUNS_REFUSED.values(), ids=RUNS_REFUSED)
def test_a_run_is_refused_with_a_sentence_and_nothing_is_saved(die, change, field, says):
    before = count_of_everything()
    with pytest.raises(EntryRefused, match=says) as refused:
        write.log_run(by=make.actor(), die=die, **(RUN | change))
    assert refused.value.field == field
    assert count_of_everything() == before


def test_overlapping_runs_are_refused_and_the_sentence_names_the_run_that_stands(die):
    make.run(die, 1, 10_000)
    with pytest.raises(EntryRefused, match=r"has a run from 7 Jan 2025, 06:00 to 7 Jan 2025, 10:00 .*10,000 hits"):
        make.run(die, 1.1)
    make.run(die, 1 + 4 / 24)  # runs may touch
    assert Run.objects.count() == 2


def test_the_inserts_of_another_die_are_refused(die):
    other = Variant.objects.get(die=make.die("X-1"))
    with pytest.raises(EntryRefused, match="is not a set of inserts of H-900"):
        write.log_run(by=make.actor(), die=die, variant=other, **RUN)


CORRECTIONS_REFUSED = {
    "nought": ({"hits": 0}, "hits", "not nought"),
    "too many": ({"hits": 10**12}, "hits", "not nought"),
    "no reason": ({"reason": "  "}, "reason", "Say why"),
    "a long reason": ({"reason": "x" * 201}, "reason", "201 letters"),
    "more taken off than logged": ({"hits": -10_001}, "hits", "only 10,000 are logged"),
    "taken off before anything ran": ({"hits": -1, "at": make.moment(0.5)}, "hits", "only 0 are logged"),
    "strokes without stock taken off that never were": ({"hits": -1, "with_stock": False}, "hits", "only 0 are logged"),
}


@pytest.mark.parametrize(("change", "field", "says"), CORRECTIONS_REFUSED.values(), ids=CORRECTIONS_REFUSED)
def test_a_correction_is_refused_with_a_sentence(die, change, field, says):
    make.run(die, 1, 10_000)
    values = {"at": make.moment(2), "hits": 50, "with_stock": True, "reason": "counter jumped"} | change
    with pytest.raises(EntryRefused, match=says) as refused:
        write.log_hit_correction(by=make.actor(), die=die, **values)
    assert refused.value.field == field
    assert not HitCorrection.objects.exists()


STOPS_REFUSED = {
    "minutes below nought": ({"minutes": -1}, "minutes", "nought or more"),
    "minutes that are no number": ({"minutes": float("nan")}, "minutes", "not a number"),
    "minutes without end": ({"minutes": float("inf")}, "minutes", "not a number"),
    "minutes of a year": ({"minutes": 525_600}, "minutes", "no more than"),
    "scrap below nought": ({"parts_scrapped": -3}, "parts_scrapped", "fewer than none"),
    "to come": ({"at": later(hours=5)}, "at", "still to come"),
}


@pytest.mark.parametrize(("change", "field", "says"), STOPS_REFUSED.values(), ids=STOPS_REFUSED)
def test_a_stop_is_refused_with_a_sentence(die, change, field, says):
    with pytest.raises(EntryRefused, match=says) as refused:
        write.log_stop(by=make.actor(), die=die, **({"at": make.moment(1), "cause": "slug", "minutes": 5} | change))
    assert refused.value.field == field
    assert not Stop.objects.exists()


def sharpened(position, **more):
    return write.SharpenedPiece(**({"position": position, "removed_mm": 0.1} | more))


def test_a_sharpening_is_refused_whole(die, punch):
    """All or none: one piece that cannot be refuses the set."""
    pilot, foreign = die.positions.get(code="2-P"), make.position(make.die("X-1"), "1-A")
    late = make.position(die, "9-A", since_start=False, at=make.moment(50))
    empty = make.position(die, "8-A", since_start=False, at=make.moment(1))
    write.log_replacement(by=make.actor(), position=empty, at=make.moment(2), why="broken", take_out_only=True)
    cases = {
        "which is not ground": [sharpened(pilot)],
        "is not a position of": [sharpened(foreign)],
        "is named twice": [sharpened(punch)],
        "not a work that is done here": [sharpened(die.positions.get(code="3-A"), operation="polished with care")],
        "nought or more": [sharpened(die.positions.get(code="3-A"), removed_mm=-0.1)],
        "no more than 100": [sharpened(die.positions.get(code="3-A"), removed_mm=120.0)],
        "only a spacer does that": [sharpened(die.positions.get(code="3-A"), raised_mm=0.1)],
        "A spacer of 0 mm": [sharpened(die.positions.get(code="3-A"), operation="spacer", raised_mm=0.0)],
        "The coating has 41 letters": [sharpened(die.positions.get(code="3-A"), coating_after="x" * 41)],
        "is not a number": [sharpened(die.positions.get(code="3-A"), removed_mm=float("nan"))],
        "was fitted on 25 Feb 2025": [sharpened(late)],
        "Nothing sat in 8-A": [sharpened(empty)],
    }
    for says, pieces in cases.items():
        with pytest.raises(EntryRefused, match=says):
            write.log_sharpening(by=make.actor(), die=die, at=make.moment(10), pieces=[sharpened(punch), *pieces])
        assert not Work.objects.exists(), says
    with pytest.raises(EntryRefused, match="at least one piece"):
        write.log_sharpening(by=make.actor(), die=die, at=make.moment(10), pieces=[])
    with pytest.raises(EntryRefused, match="The hours"):
        write.log_sharpening(by=make.actor(), die=die, at=make.moment(10), pieces=[sharpened(punch)], hours=-1)
    with pytest.raises(EntryRefused, match="hits into the run"):
        write.log_sharpening(by=make.actor(), die=die, at=make.moment(10), pieces=[sharpened(punch)], hits_into_run=-4)
    with pytest.raises(EntryRefused, match="still to come"):
        write.log_sharpening(by=make.actor(), die=die, at=later(days=1), pieces=[sharpened(punch)])


def test_a_replacement_is_refused_with_a_sentence_and_nothing_is_saved(die, punch):
    by, at = make.actor(), make.moment(10)
    bare, late = die.positions.get(code="3-A"), make.position(die, "9-A", since_start=False, at=make.moment(50))
    sitting = Fitting.objects.get(position=bare).piece
    before = count_of_everything()
    cases = [
        ("no spare in the catalogue", {"position": bare, "from_shelf": True}),
        ("Nothing goes in", {"position": punch, "from_shelf": True, "take_out_only": True}),
        ("Nothing goes in", {"position": punch, "piece": sitting, "take_out_only": True}),
        ("is taken at that time already", {"position": punch, "piece": sitting}),
        ("was fitted on 25 Feb 2025", {"position": late}),
        ("hits into the run", {"position": punch, "hits_into_run": 10**10}),
        ("too long ago", {"position": punch, "at": dt.datetime(1900, 1, 1, tzinfo=dt.UTC)}),
    ]
    for says, values in cases:
        with pytest.raises(EntryRefused, match=says):
            write.log_replacement(**({"by": by, "at": at, "why": "dull"} | values))
        assert count_of_everything() == before, says


def test_a_reading_is_refused_with_a_sentence(die, punch):
    values = {
        "by": make.actor(), "at": make.moment(5), "position": punch, "quantity": "burr height", "value_si": 60e-6,
        "typed_value": "60", "typed_unit": "µm",
    }  # fmt: skip
    cases = [
        ("nought or more", "value", {"value_si": -1e-6}),
        ("not a number", "value", {"value_si": float("nan")}),
        ("still to come", "at", {"at": later(days=1)}),
        ("of one thing", "position", {"die": die}),
        ("of one thing", "position", {"position": None}),
        ("letters", "value", {"typed_value": "6" * 5_000_000}),
        ("letters", "unit", {"typed_unit": "µ" * 21}),
        ("letters", "quantity", {"quantity": "b" * 61}),
        ("Nothing sat in", "at", {"position": empty_position(die)}),
    ]
    for says, field, change in cases:
        with pytest.raises(EntryRefused, match=says) as refused:
            write.log_reading(**(values | change))
        assert refused.value.field == field
    assert not Reading.objects.exists()


def empty_position(die):
    position = make.position(die, "8-A", since_start=False, at=make.moment(1))
    write.log_replacement(by=make.actor(), position=position, at=make.moment(2), why="broken", take_out_only=True)
    return position


def test_striking_out_needs_a_person_and_a_reason_once(die):
    run = make.run(die, 1)
    for by, reason, says in [
        (write.Actor(), "twice", "Say who"),
        (make.actor(), " ", "Say why"),
        (make.actor(), "x" * 301, "301 letters"),
    ]:
        with pytest.raises(EntryRefused, match=says):
            write.strike_out(by=by, entry=run, reason=reason)
    with pytest.raises(EntryRefused, match="its own sort"):
        write.strike_out(
            by=make.actor(),
            entry=run,
            reason="twice",
            replaced_by=make.sharpen(die, 2, die.positions.get(code="1-A"))[0],
        )
    stale = Run.objects.get(pk=run.pk)
    write.strike_out(by=make.actor(), entry=run, reason="twice")
    for read in (Run.objects.get(pk=run.pk), stale):
        with pytest.raises(EntryRefused, match="struck out already"):
            write.strike_out(by=make.actor("Marek O."), entry=read, reason="again")
    assert Run.objects.get(pk=run.pk).struck_by == make.person()


def test_a_replacement_that_a_later_one_rests_on_cannot_be_struck_out_alone(die, punch):
    """1-A's old piece was fitted into 5-A afterwards: without the replacement it would sit in both places."""
    other = make.position(die, "5-A")
    old = Fitting.objects.get(position=punch).piece
    out = write.log_replacement(by=make.actor(), position=punch, at=make.moment(5), why="other")
    write.log_replacement(by=make.actor(), position=other, at=make.moment(6), why="broken", piece=old)
    before = list(Fitting.objects.values_list("position", "piece", "since", "until"))
    with pytest.raises(EntryRefused, match="a later entry rests on it"):
        write.strike_out(by=make.actor(), entry=out, reason="wrong place")
    assert not Replacement.objects.get(pk=out.pk).is_struck
    assert list(Fitting.objects.values_list("position", "piece", "since", "until")) == before


# --- what is saved --------------------------------------------------------------------------------


def test_every_entry_carries_both_times_who_and_through_what(die):
    user = make.user("lead")
    by = write.Actor(person=make.person(), user=user, device="bench tablet 2")
    asked = timezone.now()
    run = write.log_run(by=by, die=die, **RUN)
    run.refresh_from_db()
    assert (run.person, run.user, run.through, run.device) == (make.person(), user, "form", "bench tablet 2")
    assert run.at == RUN["ended"] and asked <= run.recorded_at <= timezone.now()
    assert run.stock == die.usual_stock and run.variant.is_default


def test_the_hours_of_a_set_are_shared_over_its_rows(die):
    works = write.log_sharpening(
        by=make.actor(), die=die, at=make.moment(3), hours=3.0,
        pieces=[sharpened(p, why="dull") for p in die.positions.filter(code__in=["1-A", "3-A"])],
    )  # fmt: skip
    assert [w.hours for w in works] == [1.5, 1.5]
    assert len({w.set_key for w in works}) == 1


def test_a_new_piece_is_as_the_spare_says_and_else_like_the_old_one(die, punch):
    make.item("PP-6.0-M2")
    row = write.log_replacement(by=make.actor(), position=punch, at=make.moment(5), why="chipped")
    assert (row.piece_in.tool_steel, row.piece_in.hardness_hrc, row.piece_in.opening) == ("M2", 62, "new")
    bare = die.positions.get(code="3-A")
    row = write.log_replacement(by=make.actor(), position=bare, at=make.moment(5), why="chipped")
    assert (row.piece_in.tool_steel, row.piece_in.hardness_hrc, row.piece_in.grind_allowance_mm) == ("D2", 60, 4.0)


def on_shelf(item):
    return queries.stock_of_spares().get(item.pk)


@pytest.mark.parametrize(
    ("why", "found", "stands"),
    [
        ("broken", "", "broken"),
        ("broken", "not looked", "broken"),
        ("chipped", "not looked", "chipped"),
        ("broken", "chipped", "chipped"),
        ("chipped", "sharp", "sharp"),
        ("dull", "not looked", "not looked"),
        ("other", "", ""),
    ],
)
def test_a_piece_that_came_out_broken_was_found_broken_unless_somebody_says_otherwise(die, punch, why, found, stands):
    out = write.log_replacement(by=make.actor(), position=punch, at=make.moment(5), why=why, found=found)
    assert out.found == stands
    if why != "broken":
        assert make.sharpen(die, 6, punch, why=why, found=found)[0].found == stands


def test_a_spare_off_the_shelf_lowers_its_count_and_striking_out_gives_it_back(die, punch):
    StockMovement.objects.create(plant=die.plant, item=punch.item, quantity=3, kind="count", at=make.moment(0))
    row = write.log_replacement(by=make.actor(), position=punch, at=make.moment(5), why="broken", from_shelf=True)
    assert on_shelf(punch.item).on_hand == 2
    struck = write.strike_out(by=make.actor(), entry=row, reason="never done")
    assert len(struck) == 2 and on_shelf(punch.item).on_hand == 3


# --- a repeat adds nothing ------------------------------------------------------------------------


def test_the_same_key_twice_adds_nothing(die, punch):
    by, at = make.actor(), make.moment(5)
    entries = [
        lambda: write.log_run(by=by, die=die, key="k1", **RUN),
        lambda: write.log_hit_correction(
            by=by, die=die, at=at, hits=20, with_stock=False, reason="set-up", key="k2"
        ),
        lambda: write.log_stop(by=by, die=die, at=at, cause="slug", minutes=5, key="k3"),
        lambda: write.log_incident(by=by, die=die, at=at, sort="misfeed", key="k4"),
        lambda: write.log_sharpening(by=by, die=die, at=at, pieces=[sharpened(punch)], key="k5"),
        lambda: write.log_replacement(by=by, position=punch, at=at, why="dull", from_shelf=True, key="k6"),
        lambda: write.log_reading(
            by=by, at=at, position=punch, quantity="burr height", value_si=6e-5, typed_value="60", typed_unit="µm",
            key="k7",
        ),
    ]  # fmt: skip
    for enter in entries:
        first = enter()
        saved = count_of_everything()
        again = enter()
        assert count_of_everything() == saved
        assert (again[0].pk if isinstance(again, list) else again.pk) == (
            first[0].pk if isinstance(first, list) else first.pk
        )


def test_a_struck_entry_is_not_revived_by_its_key(die):
    run = write.log_run(by=make.actor(), die=die, key="k1", **RUN)
    write.strike_out(by=make.actor(), entry=run, reason="wrong die")
    assert write.log_run(by=make.actor(), die=die, key="k1", **RUN).is_struck
    assert not Run.objects.standing().exists()


# --- struck out and entered again -----------------------------------------------------------------


def test_a_set_is_struck_out_as_one(die):
    works = make.sharpen(die, 3, *die.positions.filter(code__in=["1-A", "3-A"]))
    struck = write.strike_out(by=make.actor(), entry=works[0], reason="wrong die")
    assert {w.pk for w in struck} == {w.pk for w in works}
    assert not Work.objects.standing().exists() and Work.objects.count() == 2


def test_an_entry_in_the_place_of_a_struck_one_is_named_there(die):
    run = make.run(die, 1, 10_000)
    write.strike_out(by=make.actor(), entry=run, reason="miscounted")
    again = make.run(die, 1, 12_000)
    write.name_successor(struck=run, entry=again)
    run.refresh_from_db()
    assert run.replaced_by == again
    for struck, entry in ((again, run), (run, run), (run, make.sharpen(die, 2, die.positions.get(code="1-A"))[0])):
        with pytest.raises(EntryRefused, match="of its own sort"):
            write.name_successor(struck=struck, entry=entry)


def test_entries_are_never_deleted(die):
    run = make.run(die, 1)
    with pytest.raises(TypeError, match="never deleted"):
        run.delete()
    with pytest.raises(TypeError, match="never deleted"):
        Run.objects.all().delete()


class History:
    """A die's made-up history as a list of entries, each of which can be entered, struck out and entered again."""

    def __init__(self, seed: int, *, code: str = "R-1", left_out: frozenset[int] = frozenset()) -> None:
        rng = random.Random(seed)
        self.die = make.die(code)
        item = make.item()
        self.positions = [
            make.position(self.die, "1-A", item=item),
            make.position(self.die, "3-A", kind="shape_punch", stroke_share=0.5),
            make.position(self.die, "3-D", kind="die_section", side="lower", opening="unknown"),
            make.position(self.die, "2-P", kind="pilot", length_mm=None),
        ]
        self.plans = [self._plan(rng, day) for day in range(1, 41)]
        self.rows = [None if i in left_out else plan() for i, plan in enumerate(self.plans)]

    def _plan(self, rng, day):
        ground = [p for p in self.positions if p.kind != "pilot"]
        within = day + rng.choice([0.05, 0.3, 0.6])  # in the middle of that day's run, or after it
        position = rng.choice(self.positions)
        sort = rng.choices(["run", "set", "replace", "correct", "read"], [6, 2, 1, 1, 1])[0]
        if sort == "run":
            hits, hours = rng.randrange(1_000, 30_000), rng.choice([2, 8, 12])
            return lambda: make.run(self.die, day, hits, hours=hours)
        if sort == "set":
            chosen = [p for p in ground if rng.random() < 0.7] or ground[:1]
            found = {p.pk: rng.choice(["", "sharp", "dull", "chipped", "not looked"]) for p in chosen}
            into = rng.choice([None, None, 700])
            return lambda: write.log_sharpening(
                by=make.actor(), die=self.die, at=make.moment(within), hits_into_run=into,
                pieces=[sharpened(p, why="with set", found=found[p.pk]) for p in chosen],
            )  # fmt: skip
        if sort == "replace":
            why = rng.choice(["dull", "chipped", "broken", "ground out"])
            return lambda: write.log_replacement(by=make.actor(), position=position, at=make.moment(within), why=why)
        if sort == "correct":
            hits, stock = rng.randrange(1, 400), rng.random() < 0.5
            return lambda: write.log_hit_correction(
                by=make.actor(), die=self.die, at=make.moment(within), hits=hits, with_stock=stock, reason="count"
            )
        micrometres = rng.randrange(20, 90)
        return lambda: write.log_reading(
            by=make.actor(), at=make.moment(within), position=position, quantity="burr height",
            value_si=micrometres * 1e-6, typed_value=str(micrometres), typed_unit="µm",
        )  # fmt: skip

    def strike(self, i: int) -> None:
        row = self.rows[i]
        write.strike_out(by=make.actor(), entry=row[0] if isinstance(row, list) else row, reason="wrong")


@pytest.mark.parametrize("seed", range(8))
def test_striking_out_and_entering_again_restores_every_number(seed):
    history = History(seed)
    before = stand(history.die)
    for i in random.Random(seed + 100).sample(range(40), 8):
        history.strike(i)
        history.rows[i] = history.plans[i]()
        assert stand(history.die) == before, f"entry {i}"


@pytest.mark.parametrize("seed", range(8))
def test_what_is_struck_out_counts_as_if_it_had_never_been_entered(seed):
    history = History(seed)
    gone = frozenset(random.Random(seed + 100).sample(range(40), 12))
    before = stand(history.die)
    for i in gone:
        history.strike(i)
    assert stand(history.die) != before
    twin = History(seed, code="R-2", left_out=gone)
    assert by_code(twin.die) == by_code(history.die)


def by_code(die):
    states, cycles = stand(die)
    code = {p.pk: p.code for p in die.positions.all()}
    return (
        [dataclasses.replace(s, position=code[s.position]) for s in states],
        [dataclasses.replace(c, position=code[c.position]) for c in cycles],
    )


def test_a_mishap_names_the_pieces_it_damaged(die):
    pieces = list(Piece.objects.all()[:2])
    write.log_incident(by=make.actor(), die=die, at=make.moment(3), sort="misfeed", pieces=pieces)
    assert set(Incident.objects.get().pieces.all()) == set(pieces)
    with pytest.raises(EntryRefused, match="letters"):
        write.log_incident(by=make.actor(), die=die, at=make.moment(3), sort="m" * 41)
