"""The rules that the database keeps itself, broken on purpose, past every check in Python."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import CheckConstraint
from django.utils import timezone

from diestore.register import sourcing
from diestore.register.models import Party, Piece, Position
from diestore.register.sources import Source, SourcePrice, SpareLevel
from maintenance.log import bills, owners, purchases, write
from maintenance.models import (
    Bill,
    CostLine,
    Fitting,
    HitCorrection,
    Order,
    PurchaseLine,
    PurchaseOrder,
    Reading,
    Run,
    SignedReport,
    StockMovement,
    Work,
    fresh_key,
)
from maintenance.models.constraints import RULES, install_rules
from tests import factories as make
from tests.history.signed import SAID

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


# --- sources, prices, levels, orders, movements and bills -------------------------------------------------------------


@pytest.fixture
def bought():
    """A spare with a source, its price list, a level by hand, an order that is placed, and a bill of one line."""
    supplier = Party.objects.create(code="QUILLFEN", role="supplier")
    item = make.item(supplier=supplier)
    source = make.source(item, supplier=supplier)
    sourcing.set_level(by=None, plant=make.plant(), item=item, least_pieces=2, reason="slow to come")
    (order,) = purchases.draft(
        by=make.actor(), plant=make.plant(), wanted=[purchases.Wanted(item=item, quantity=4)], currency="EUR"
    ).orders
    order = purchases.place(by=make.actor(), order=order)
    bill = bills.enter_bill(
        by=make.actor(), plant=make.plant(), number="R-1", supplier=supplier, on=dt.date(2025, 3, 4), currency="EUR",
        own_currency="EUR", total=Decimal(5), lines=[bills.BillLine(amount=Decimal(5), kind="spares")],
    )  # fmt: skip
    return {
        "source": source, "price": source.prices.get(), "level": SpareLevel.objects.get(), "order": order,
        "line": order.lines.get(), "movement": StockMovement.objects.get(), "bill": bill, "cost": bill.lines.get(),
        "item": item,
        "report": owners.sign(
            person=make.person(), user=None, die=make.die("H-990"), customer=None, said=SAID
        ),
    }  # fmt: skip


BROKEN = [
    ("source", "source_ended_not_preferred", {"ended_on": dt.date(2025, 1, 1), "ended_reason": "closed down"}),
    ("source", "source_preferred_with_a_reason", {"why_preferred": ""}),
    ("source", "source_of_somebody", {"supplier": None}),
    ("source", "source_of_somebody", {"sort": "in house"}),
    ("source", "source_names_its_service", {"sort": "service"}),
    ("source", "source_names_its_service", {"service": "coating"}),
    ("source", "source_takes_a_day_or_lies_there", {"lead_days": 0}),
    ("source", "source_lots_at_least_one", {"pack_size": 0}),
    ("source", "source_lots_at_least_one", {"least_quantity": 0}),
    ("source", "source_hours_say_minutes", {"priced_by": "hour"}),
    ("source", "source_hours_say_minutes", {"minutes_each": 5.0}),
    ("source", "source_ended_whole", {"preferred": False, "ended_reason": "closed down"}),
    ("source", "source_ended_whole", {"preferred": False, "ended_on": dt.date(2025, 1, 1)}),
    ("source", "source_has_a_currency", {"currency": ""}),
    ("price", "source_price_not_negative", {"unit_price": Decimal("-0.01")}),
    ("price", "source_price_not_negative", {"from_quantity": 0}),
    ("level", "spare_level_one_of_two", {"least_pieces": None}),
    ("level", "spare_level_one_of_two", {"chance_percent": 95.0}),
    ("level", "spare_level_has_a_reason", {"reason": ""}),
    ("order", "purchase_placed_with_somebody", {"supplier": None}),
    ("order", "purchase_cancelled_whole", {"cancelled_reason": "why"}),
    ("order", "purchase_cancelled_whole", {"cancelled_at": make.moment(1)}),
    ("order", "purchase_has_a_number", {"number": ""}),
    ("order", "purchase_has_a_number", {"currency": ""}),
    ("line", "purchase_line_pieces_possible", {"quantity": 0}),
    ("line", "purchase_line_pieces_possible", {"quantity": 1_000_001}),
    ("line", "purchase_line_price_not_negative", {"unit_price": Decimal("-0.01")}),
    ("movement", "movement_back_as_possible", {"length_mm": 0.0}),
    ("movement", "movement_back_as_possible", {"length_mm": 10_001.0}),
    ("movement", "movement_back_as_possible", {"grinds_left": 10_001}),
    ("movement", "movement_back_as_possible", {"worth": Decimal(-1)}),
    ("movement", "stockmovement_struck_out_whole", {"struck_reason": "why"}),
    ("bill", "bill_struck_out_whole", {"struck_reason": "why"}),
    ("bill", "bill_struck_out_whole", {"struck_at": make.moment(1)}),
    ("bill", "bill_has_a_number", {"number": ""}),
    ("bill", "bill_has_a_number", {"currency": ""}),
    ("bill", "bill_total_possible", {"total": Decimal(0)}),
    ("bill", "bill_total_possible", {"total": Decimal(10) ** 12}),
    ("bill", "bill_currency_worth_something", {"million_worth": Decimal(0)}),
    ("report", "signed_report_struck_out_whole", {"struck_reason": "why"}),
    ("report", "signed_report_struck_out_whole", {"struck_at": make.moment(1)}),
    ("cost", "costline_of_a_bill_says_both", {"billed": None}),
    ("cost", "costline_of_a_bill_says_both", {"bill": None}),
]


def test_what_is_bought_holds_in_the_database(bought):
    """Each rule broken by itself, past every check in Python; the row as it stands breaks none."""
    held = []
    for name, rule, columns in BROKEN:
        row = bought[name]
        try:
            with transaction.atomic():
                type(row).objects.filter(pk=row.pk).update(**columns)
                held.append((rule, columns, "was let through"))
                transaction.set_rollback(True)
        except IntegrityError as error:
            if rule not in str(error):
                held.append((rule, columns, str(error)))
    assert not held


def test_every_check_of_what_is_bought_is_broken_here():
    """A rule that is added to one of these tables asks for its line above."""
    told = {rule for _, rule, _ in BROKEN}
    bought_here = (Source, SourcePrice, SpareLevel, PurchaseOrder, PurchaseLine, StockMovement, Bill, CostLine)
    for model in (*bought_here, SignedReport):
        checks = {c.name for c in model._meta.constraints if isinstance(c, CheckConstraint)}
        assert checks - told - {"costline_struck_out_whole"} == set(), model


def test_what_is_bought_is_there_once(bought):
    source, price, level, order, line = (bought[n] for n in ("source", "price", "level", "order", "line"))
    twice = [
        ("source_one_preferred", lambda: _again(source, key="other")),
        ("source_price_once", lambda: _again(price)),
        ("spare_level_once", lambda: _again(level, key="other")),
        ("purchase_number_once", lambda: _again(order, key="other")),
        ("purchase_line_once_an_item", lambda: _again(line, key="other")),
        *(("key", lambda row=row, more=more: _again(row, **more)) for row, more in (
            (source, {"preferred": False, "why_preferred": ""}), (level, {"back_on": dt.date(2025, 1, 1)}),
            (order, {"number": "PO-0"}), (bought["movement"], {}), (bought["bill"], {}), (bought["report"], {}),
        )),
    ]  # fmt: skip
    columns = {"source_price_once": "from_quantity", "spare_level_once": "item_id", "source_one_preferred": "item_id",
               "purchase_number_once": "number", "purchase_line_once_an_item": "item_id", "key": "key"}  # fmt: skip
    for rule, save in twice:
        with refused() as caught, transaction.atomic():
            save()
        said = str(caught.value)  # SQLite names the columns, PostgreSQL the rule
        assert rule in said or said.endswith(columns[rule]), said


def _again(row, **columns) -> None:
    """The same row once more."""
    fields = {f.attname: getattr(row, f.attname) for f in type(row)._meta.concrete_fields if not f.primary_key}
    type(row).objects.bulk_create([type(row)(**fields | columns)])
