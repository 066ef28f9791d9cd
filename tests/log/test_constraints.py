"""The rules that the database keeps itself, broken on purpose, past every check in Python."""

import datetime as dt

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from diestore.register.models import Piece, Position
from maintenance.log import write
from maintenance.models import Fitting, HitCorrection, Order, Reading, Run, Work, fresh_key
from maintenance.models.constraints import RULES, install_rules
from tests import factories as make

pytestmark = pytest.mark.django_db


def bare_run(die, start, end, **more):
    return Run(
        die=die, variant=die.variants.get(), started=make.moment(start), at=make.moment(end),
        **({"hits": 10, "key": fresh_key()} | more),
    )  # fmt: skip


def refused(name=None):
    return pytest.raises(IntegrityError, match=name)


@pytest.mark.parametrize(("start", "end"), [(1.5, 2.5), (0.5, 1.5), (1.2, 1.8), (0, 3), (1, 2)])
def test_two_runs_of_one_die_never_overlap(start, end):
    die = make.die()
    bare_run(die, 1, 2).save()
    with refused("run_no_overlap"), transaction.atomic():
        bare_run(die, start, end).save()


def test_runs_that_touch_other_dies_and_struck_out_runs_are_let_through():
    die, other = make.die("A"), make.die("B")
    bare_run(die, 1, 2).save()
    bare_run(die, 2, 3).save()
    bare_run(die, 0, 1).save()
    bare_run(other, 1, 2).save()
    bare_run(die, 1, 2, struck_at=timezone.now(), struck_by=make.person(), struck_reason="twice").save()
    assert Run.objects.count() == 5


def test_a_run_in_one_bulk_with_its_double_is_refused():
    die = make.die()
    with refused("run_no_overlap"), transaction.atomic():
        Run.objects.bulk_create([bare_run(die, 1, 2), bare_run(die, 1.5, 3)])


def test_moving_a_run_onto_another_is_refused():
    die = make.die()
    bare_run(die, 1, 2).save()
    later = bare_run(die, 2, 3)
    later.save()
    with refused("run_no_overlap"), transaction.atomic():
        Run.objects.filter(pk=later.pk).update(started=make.moment(1.5))


def piece(die):
    return Piece.objects.create(plant=die.plant, key=fresh_key())


def test_two_pieces_never_sit_in_one_position():
    die = make.die()
    place = Position.objects.create(die=die, code="1-A", kind="pilot", side="upper")
    Fitting.objects.create(position=place, piece=piece(die), since=make.moment(1), until=make.moment(3))
    Fitting.objects.create(position=place, piece=piece(die), since=make.moment(3))
    for since, until in ((2, 2.5), (None, 2), (0, None)):
        with refused(), transaction.atomic():
            Fitting.objects.create(
                position=place,
                piece=piece(die),
                since=None if since is None else make.moment(since),
                until=None if until is None else make.moment(until),
            )


def test_one_piece_never_sits_in_two_positions():
    die = make.die()
    one, two = (Position.objects.create(die=die, code=c, kind="pilot", side="upper") for c in ("1-A", "1-B"))
    moved = piece(die)
    Fitting.objects.create(position=one, piece=moved, since=None, until=make.moment(3))
    with refused(), transaction.atomic():
        Fitting.objects.create(position=two, piece=moved, since=make.moment(2), until=make.moment(4))
    Fitting.objects.create(position=two, piece=moved, since=make.moment(3))
    with refused(), transaction.atomic():
        Fitting.objects.create(position=one, piece=moved, since=make.moment(9))


def test_the_rules_are_put_back_when_a_table_was_remade():
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("DROP TRIGGER run_no_overlap_insert")
    install_rules()
    install_rules()
    die = make.die()
    bare_run(die, 1, 2).save()
    with refused("run_no_overlap"), transaction.atomic():
        bare_run(die, 1, 2).save()
    assert len({rule.name for rule in RULES}) == len(RULES)


def test_check_constraints_hold():
    die = make.die()
    place = make.position(die)
    variant = die.variants.get()
    wrong = [
        lambda: bare_run(die, 2, 1).save(),
        lambda: bare_run(die, 1, 2, hits=0).save(),
        lambda: bare_run(die, 1, 2, hits=10**12).save(),
        lambda: bare_run(die, 1, 2, struck_at=timezone.now()).save(),  # without a person and a reason
        lambda: bare_run(die, 1, 2, struck_reason="why").save(),
        lambda: HitCorrection.objects.create(
            die=die, variant=variant, at=make.moment(1), hits=0, with_stock=True, reason="r"
        ),
        lambda: Work.objects.create(at=make.moment(1), why="dull"),
        lambda: Work.objects.create(at=make.moment(1), why="dull", position=place, removed_mm=-1),
        lambda: Reading.objects.create(
            at=make.moment(1), quantity="q", value_si=1, typed_value="1", typed_unit="m", die=die, position=place
        ),
        lambda: Order.objects.create(
            plant=die.plant, number="1", part=variant.outputs.get().part, parts=0, due=dt.date(2026, 1, 1)
        ),
    ]
    for save in wrong:
        with refused(), transaction.atomic():
            save()


def test_keys_are_taken_once_and_entries_never_deleted():
    die = make.die()
    run = make.run(die, 1, key="k")
    assert write.log_run(
        by=make.actor(), die=die, started=make.moment(5), ended=make.moment(6), hits=1, key="k"
    ).pk == run.pk  # fmt: skip
    with refused(), transaction.atomic():
        bare_run(die, 7, 8, key="k").save()
    with pytest.raises(TypeError, match="Strike them out"):
        run.delete()
    with pytest.raises(TypeError, match="Strike them out"):
        Run.objects.all().delete()
