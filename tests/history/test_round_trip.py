"""Written, loaded into an empty database and written again: the same bytes, and the same clocks."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path

import pytest
from django.apps import apps
from django.contrib.auth.models import User

from diestore.access.models import Person, Shop
from diestore.register import actions, amendments
from diestore.register.models import (
    Amendment,
    Cut,
    Die,
    Item,
    Output,
    Part,
    Party,
    Piece,
    Plant,
    Position,
    Press,
    Rate,
    Station,
    Stock,
    Variant,
    Volume,
)
from diestore.register.sources import Source, SourcePrice, SpareLevel
from maintenance.forecasts.fit import as_json, compute
from maintenance.history.columns import TABLES
from maintenance.history.load import load
from maintenance.history.write import write
from maintenance.log import derived
from maintenance.log import write as log
from maintenance.models import (
    EVENTS,
    Absence,
    BenchEdge,
    BenchHours,
    BenchPiece,
    BenchStep,
    BenchWork,
    Bill,
    BillPaper,
    CostBearer,
    CostLine,
    Counter,
    CounterDevice,
    CounterQuestion,
    CounterReading,
    DieHold,
    DieInPress,
    ElementPrice,
    Fitting,
    Grinder,
    HitCorrection,
    Incident,
    Inspection,
    InspectionPlan,
    Order,
    Outline,
    OutlinePlace,
    OutlineWay,
    Photo,
    PurchaseLine,
    PurchaseOrder,
    PurchaseStep,
    Reading,
    RecordRestart,
    Replacement,
    Retirement,
    Run,
    SetUp,
    SignedReport,
    StockMovement,
    Stop,
    Work,
)
from maintenance.policy.stop_blocks import BlockReading
from tests import factories
from tests.history.benched import bench
from tests.history.billed import billed
from tests.history.counted import counters
from tests.history.inspected import inspected
from tests.history.moved import moved
from tests.history.outlined import outlined
from tests.history.paid import paid
from tests.history.pictured import pictured
from tests.history.purchased import purchased
from tests.history.shop import as_written, cycles, empty_the_database, files, fittings
from tests.history.signed import signed
from tests.history.sourced import sourced

DEMO = Path(__file__).resolve().parents[2] / "fixtures" / "demo-shop"


def moment(days: float) -> dt.datetime:
    return dt.datetime(2023, 3, 1, 6, tzinfo=dt.UTC) + dt.timedelta(days=days)


def everything() -> None:
    """A plant with something in every table and every column that a form or a folder can fill."""
    plant = Plant.objects.create(code="north", name='North "works"')
    ina = Person.objects.create(plant=plant, name="Ina T.")
    Person.objects.create(plant=plant, name="Left, long ago", active=False)
    user = User.objects.create_user("ina", password="not a real password")
    by = log.Actor(person=ina, user=user, through="form", device="bench tablet")
    customer = Party.objects.create(code="QF", name="Quillfen", role="customer", retired_at=moment(2))
    grinder = Party.objects.create(code="FG", role="supplier")
    press = Press.objects.create(
        plant=plant,
        code="P1",
        rated_force_n=8e5,
        shut_height_min_mm=220,
        shut_height_max_mm=320.5,
        frame="C-frame",
        stroke_mm=60.5,
        rated_at_mm=3.2,
        strokes_least=60,
        strokes_most=240,
        passline_min_mm=80,
        passline_max_mm=140,
        upper_weight_max_kg=300.5,
        retired_at=moment(3),
    )
    steel = Stock.objects.create(
        code="DC01", material="low-carbon steel", tensile_mpa=340, shear_mpa=272.25, hardness="55 HRB",
        thickness_mm=1.2, price_kg=Decimal("1.1025"), scrap_kg=Decimal("0.21"),
        source="certificate 7, heat = 3", retired_at=moment(4.5),
    )  # fmt: skip
    thin = Stock.objects.create(code="DC01 thin", material="low-carbon steel", tensile_mpa=340, thickness_mm=1.0)
    die = Die.objects.create(
        plant=plant, code="H-201", description="hinge, left; right", owner=customer, usual_stock=steel,
        usual_press=press,
        strokes_per_minute=82.5, build_price=Decimal("41250.5"), expected_parts=2_000_000, status="in repair",
        shut_height_mm=301.25, passline_mm=110, feed_pitch_mm=58.1, pilot_release_mm=10.8, strip_width_mm=80,
        oil='emulsion 5 %; "light"', stroke_needed_mm=40, contact_mm=6.1, stagger_mm=0.9, weight_kg=158,
        spring_fitted_mm=51.5, stripper_travel_mm=3.1,
        upper_weight_kg=66.5,
    )  # fmt: skip
    bare = Die.objects.create(plant=plant, code="-2", usual_stock=thin, strokes_per_minute=140)
    short = Variant.objects.create(die=die, code="short", is_default=True)
    long = Variant.objects.create(die=die, code="long; with hook")
    Variant.objects.create(die=bare, is_default=True)
    left = Part.objects.create(number="4711", revision="B", description="left", customer=customer, burr_limit_um=60,
                               last_needed=dt.date(2031, 12, 31), retired_at=moment(1))  # fmt: skip
    right = Part.objects.create(number="4711", revision="C")
    for variant, part, n in ((short, left, 1), (short, right, 2), (long, left, 1)):
        Output.objects.create(variant=variant, part=part, parts_per_hit=n)
    first = Station.objects.create(die=die, sequence=10, code="1", operation="pierce")
    Station.objects.create(die=die, sequence=5, code="0a")
    punch = Item.objects.create(
        code="PP", revision="2", description="punch", kind="pierce_punch", tool_steel="M2", coating="TiN",
        hardness_hrc=62.5, length_mm=71, grind_allowance_mm=4, criticality="stops the press", supplier=grinder,
        lead_days=21, shelf_place="C-14, top; left",
        spring_rate_n_mm=70.5, spring_class="ISO 10243 red", gas_force_n=2500.5, gas_charge_mpa=14.5,
        unit_price=Decimal("0.0385"), pack_size=10, retired_at=moment(7),
    )  # fmt: skip
    Item.objects.create(code="SP", newer=punch, old_stock="usable")
    upper = Position.objects.create(
        die=die, station=first, code="1-A", kind="pierce_punch", side="upper", item=punch, x_mm=-12.5, y_mm=0.1 + 0.2,
        height_group="a", seat_mm=4.0, stroke_share=0.125, valid_from=moment(-400), valid_to=moment(4000),
    )  # fmt: skip
    upper.variants.set([long])
    lower = Position.objects.create(die=die, code="1-D", kind="die_button", side="lower")
    post = Position.objects.create(
        die=die, code="GP", kind="guide_post", side="lower", wear_of="guide clearance", wear_limit=0.1 + 0.2
    )  # fmt: skip
    late = Position.objects.create(die=bare, code="1-A", kind="pierce_punch", side="upper")
    Position.objects.create(die=bare, code="empty", kind="pilot", side="upper")
    Cut.objects.create(die=die, code="hole", upper=upper, lower=lower, length_mm=18.85, gap_mm=0.1, valid_to=moment(50))
    now = Cut.objects.create(die=die, code="hole", upper=upper, lower=lower, length_mm=18.85, gap_mm=0.11,
                             valid_from=moment(50))  # fmt: skip
    Cut.objects.create(die=die, code="slot", lower=lower, length_mm=7)
    pieces = {
        key: Piece.objects.create(
            plant=plant,
            key=key,
            item=item,
            mark=mark,
            tool_steel="M2",
            hardness_hrc=62,
            grind_allowance_mm=4.25,
            **more,
        )
        for key, item, mark, more in (
            ("a", punch, "A1", {"opening": "counted", "opening_life_hits": 5000, "opening_hits_since_sharpening": 7}),
            ("b", None, "", {"opening": "unknown", "coating": "TiN", "length_mm": 71}),
            ("c", None, "", {"opening": "estimated", "opening_life_hits": 0}),
            ("never fitted", punch, "", {}),
            ("late", None, "", {}),
        )
    }
    for position, key in ((upper, "a"), (lower, "b"), (post, "c")):
        Replacement.objects.create(
            position=position, piece_in=pieces[key], at=moment(-1), why="first", since_start=True, key=f"first {key}"
        )
        derived.rebuild_fittings(position)
    log.log_replacement(by=by, position=late, at=moment(3), why="first", piece=pieces["late"])
    order = Order.objects.create(plant=plant, number="23-1", part=left, die=die, parts=5000, due=moment(40).date(),
                                 placed_at=moment(0), closed_at=moment(39))  # fmt: skip
    Order.objects.create(plant=plant, number="23-1", part=right, parts=1, due=moment(41).date())
    run = log.log_run(by=by, die=die, started=moment(1), ended=moment(1.25), hits=20_000, press=press, lot="coil 7",
                          order=order, good_parts=19_990, note="first\nshift")  # fmt: skip
    wrong = log.log_run(by=by, die=die, started=moment(2), ended=moment(2.25), hits=200, variant=long,
                            basis="estimated", stock=thin)  # fmt: skip
    Run.objects.create(
        die=bare, variant=bare.variants.get(), stock=thin, started=moment(1), at=moment(1.5), hits=3, through="counter"
    )
    log.strike_out(by=by, entry=wrong, reason="= one nought short")
    wrong.replaced_by = log.log_run(by=by, die=die, started=moment(2), ended=moment(2.25), hits=2000, variant=long)
    wrong.save()
    log.log_hit_correction(by=by, die=die, at=moment(2.5), hits=-5, with_stock=True, reason="counter slipped")
    log.log_hit_correction(by=by, die=die, at=moment(2.5), hits=40, with_stock=False, reason="set-up")
    log.log_set_up(
        by=by, die=die, at=moment(1.1), press=press, shut_height_mm=310.25, is_good=True, note="at dawn",
        readings=[BlockReading(place="SB-1", crushed_mm=1.9, slot_mm=1.27, x_mm=-3.5, y_mm=0),
                  BlockReading(place="left, by the window", crushed_mm=2.01)],
    )  # fmt: skip
    log.restart_record(by=by, die=die, at=moment(1.2), reason="other oil; dull twice as often", note="asked")
    stop = log.log_stop(by=by, die=die, at=moment(1.1), cause="slug", minutes=12.5, parts_scrapped=7, planned=True,
                            press=press, position=upper)  # fmt: skip
    log.log_stop(by=by, die=die, at=moment(1.15), cause="die protection", minutes=3, station=upper.station)
    log.log_incident(by=by, die=die, at=moment(1.1), sort="misfeed", pieces=[pieces["a"], pieces["b"]], note="both")
    log.log_sharpening(
        by=by, die=die, at=moment(4), hours=1.5, supplier=grinder, hits_into_run=3, note="set",
        pieces=[
            log.SharpenedPiece(position=upper, why="dull", found="dull", removed_mm=0.1, wear_mm=0.05,
                                   length_after_mm=70.9),
            log.SharpenedPiece(position=lower, why="with set", operation="recoated", coating_after="AlCrN"),
        ],
    )  # fmt: skip
    for day, raised_mm in ((4.1, 0.3), (4.2, -0.05)):
        spacer = log.SharpenedPiece(position=lower, why="other", operation="spacer", raised_mm=raised_mm)
        log.log_sharpening(by=by, die=die, at=moment(day), pieces=[spacer])
    Work.objects.create(piece=pieces["never fitted"], at=moment(5), operation="ground", why="planned", removed_mm=0.2)
    log.log_replacement(by=by, position=upper, at=moment(6), why="chipped", found="chipped", hits_into_run=9)
    log.log_replacement(by=by, position=lower, at=moment(7), why="other", take_out_only=True)
    log.log_replacement(by=by, position=upper, at=moment(8), why="other", piece=pieces["b"])
    slip = log.log_replacement(by=by, position=post, at=moment(9), why="dull")
    log.strike_out(by=by, entry=slip, reason="another die")
    for n, thing in enumerate(({"die": die}, {"position": upper}, {"piece": pieces["a"]}, {"cut": now})):
        log.log_reading(by=by, at=moment(1.3), quantity="burr height", value_si=(31 + n) * 1e-6,
                            typed_value=f"0,0{31 + n}", typed_unit="mm", **thing)  # fmt: skip
    log.log_reading(by=by, at=moment(1.3), position=upper, quantity="spring force", value_si=905.0, typed_value="905",
                    typed_unit="N", at_length_mm=51.5, parts_scrapped=12)  # fmt: skip
    log.log_reading(by=by, at=moment(1.3), position=upper, quantity="gas pressure", value_si=1.4e7, typed_value="140",
                    typed_unit="bar", charged_to_mpa=15.0)  # fmt: skip
    Reading.objects.create(position=upper, at=moment(1.3), quantity="burr height", value_si=1e-5, typed_value="10",
                           typed_unit="um", sequence=2)  # fmt: skip
    StockMovement.objects.create(
        plant=plant, item=punch, piece=pieces["a"], quantity=12, kind="delivered", at=moment(0)
    )
    StockMovement.objects.create(plant=plant, item=punch, quantity=10, kind="ordered", place="on order", at=moment(1))
    for kind, more in (("repair", {"work": Work.objects.first()}), ("stop", {"stop": stop}), ("build", {"die": die})):
        CostLine.objects.create(kind=kind, amount=Decimal("120.25"), payer=customer, at=moment(8), **more)
    CostLine.objects.create(kind="other", amount=Decimal("-0.0001"), at=moment(8))
    Rate.objects.create(plant=plant, kind="press hour", valid_from=dt.date(2023, 1, 1), amount=Decimal("95.5"))
    assert run.order == order
    counters(plant=plant, die=die, bare=bare, press=press, variant=long, order=order, person=ina, user=user, at=moment)
    own, of_press = Counter.objects.get(die=bare), Counter.objects.get(press=press)
    Run.objects.filter(die=bare).update(counter=own, device=own.device.name)
    HitCorrection.objects.create(
        die=die, variant=long, at=moment(2.7), counted_from=moment(2.6), hits=12, with_stock=False, reason="counted",
        through="counter", device=of_press.device.name, counter=of_press,
    )  # fmt: skip
    pictured(plant=plant, die=die, person=ina, user=user, at=moment)
    bench(plant=plant, die=die, person=ina, user=user, supplier=grinder, item=punch, at=moment)
    inspected(plant=plant, die=die, press=press, by=by, at=moment)
    purchased(plant=plant, by=by, at=moment)
    billed(plant=plant, by=by, die=die)
    moved(plant=plant, by=by, die=die, at=moment)
    sourced(plant=plant, user=user, at=moment)
    outlined(plant=plant, user=user, at=moment)
    signed(die=die, by=by, customer=customer)
    paid(die=die, by=by, customer=customer, at=moment)
    for event in EVENTS:
        slip_of_the_pen(event, by)
    Shop.objects.create(
        name="Quillfen dies; ltd", currency="CHF", time_zone="Europe/Zurich", units="inch", language="es-mx"
    )
    Volume.objects.create(part=left, year=2024, parts=120_000)
    past_of_the_register(user, customer=customer)


def past_of_the_register(user: User, *, customer: Party) -> None:
    """Changes of every sort, on rows of every table, and some of them struck out."""
    user.first_name = "Ina"
    user.save()
    plant, die = Plant.objects.get(), Die.objects.get(code="H-201")
    upper, cut = die.positions.get(code="1-A"), Cut.objects.get(code="slot")
    other = Stock.objects.create(code="DC04", material="low-carbon steel", tensile_mpa=310, thickness_mm=1.2)
    entered = {
        Press: Press(plant=plant, code="P2"), Person: Person(plant=plant, name="Otto; K."),
        Station: Station(die=die, sequence=30, code="9"), Volume: Volume(part=Part.objects.first(), year=2025, parts=9),
        Rate: Rate(plant=plant, kind="sorting hour", valid_from=dt.date(2023, 2, 1), amount=Decimal("31")),
        Output: Output(variant=die.variants.get(code="short"), part=Part.objects.create(number="99"), parts_per_hit=3),
        Order: Order(plant=plant, number="23-2", part=Part.objects.first(), parts=7, due=moment(60).date()),
        Variant: Variant(die=die, code="third"), Item: Item(code="new", kind="pilot"),
        Party: Party(code="PW", role="supplier"),
    }  # fmt: skip
    for row in entered.values():
        actions.enter(by=user, row=row, at=moment(1), reason="= new here")
    actions.enter(by=user, row=Position(die=die, code="9-A", kind="pilot", side="upper"),
                  several={"variants": list(die.variants.values_list("pk", flat=True))})  # fmt: skip

    def change(row, day, **values):
        return actions.amend(by=user, row=row, values=values, at=moment(day), reason="as the drawing says")

    change(die, 3, usual_stock=other, usual_press=None, expected_parts=3_000_000)
    change(die, 2, usual_stock=Stock.objects.get(code="DC01 thin"))  # told late: it takes its place by its date
    change(die, 4, usual_press=entered[Press])
    change(upper, 4, station=entered[Station], height_group="b")
    change(cut, 5, gap_mm=0.1 + 0.2, upper=upper)
    struck = change(cut, 3, length_mm=8.5)
    actions.take_back(by=user, amendment=struck, reason="another cut; \n")
    actions.correct(by=user, row=Cut.objects.get(code="slot", valid_to=None), values={"length_mm": 7.25}, reason="slip")
    actions.correct(by=user, row=upper, values={"variants": list(die.variants.all())}, reason="never so")
    actions.correct(by=user, row=Piece.objects.get(key="a"), values={"mark": "A7"}, reason="read again")
    actions.amend(by=None, row=Part.objects.get(revision="C"), values={"customer": customer}, at=moment(6), reason="?")
    actions.retire(by=user, row=entered[Press], at=moment(9), reason="sold")
    actions.restore(by=user, row=entered[Press], at=moment(10), reason="leased back")
    actions.merge(by=user, row=entered[Party], into=Party.objects.get(code="FG"), reason="entered twice")
    actions.delete(by=user, row=entered[Rate], reason="a mistake")
    plant_named = actions.amend(by=user, row=plant, values={"name": "North"}, at=moment(11), reason="shorter")
    assert plant_named.table == "diestore.plant"


def past() -> list[dict]:
    """What the register's changes say, with rows by what they are called."""
    found = []
    for a in Amendment.objects.order_by("recorded_at", "pk"):
        row = amendments.model_of(a.table)._base_manager.filter(pk=a.row_key).first()
        columns = {
            name: {k: v for k, v in entry.items() if k not in ("was", "now") and v is not None}
            | {which: _named_in(a, name, entry[which]) for which in ("was", "now")}
            for name, entry in a.fields.items()
        }
        plain = {n: getattr(a, n) for n in ("table", "called", "sort", "at", "opened_row", "reason", "who",
                                            "recorded_at", "struck_at", "struck_who", "struck_reason")}  # fmt: skip
        names = {n: str(getattr(a, n)) for n in ("die", "plant", "user", "struck_by")}
        found.append(plain | names | {"row": row and _name(row), "fields": columns,
                                      "was_called": (a.kept or {}).get("called")})  # fmt: skip
    return found


def _named_in(a: Amendment, name: str, kept):
    field = amendments.model_of(a.table)._meta.get_field(name)
    if not field.is_relation or not kept:
        return kept
    keys = kept if field.many_to_many else [kept]
    return sorted(_name(row) for row in field.related_model._base_manager.filter(pk__in=keys))


def slip_of_the_pen(event, by: log.Actor) -> None:
    """A struck-out copy of an entry, with all that an entry can carry."""
    first = event.objects.standing().order_by("at", "key").first()
    copy = event.objects.get(pk=first.pk)
    copy.pk, copy.key, copy.sequence, copy.note = None, f"slip | {event.__name__}", -3, " typed twice\n"
    copy.through, copy.device, copy.person, copy.user = "interface", "=counter 4", by.person, by.user
    copy.recorded_at, copy.struck_at = moment(20), moment(20.5)
    copy.struck_by, copy.struck_reason, copy.replaced_by = by.person, "twice", first
    if hasattr(copy, "hits_into_run"):
        copy.hits_into_run = 11
    if hasattr(copy, "found"):
        copy.found = "galled"
    copy.save()


def trip(folder: Path, *, again: bool = True) -> None:
    """Out, into an empty database, and out again."""
    plant = Plant.objects.get()
    write(folder, plant)
    before, log, changed = files(folder), (fittings(), cycles()), past()
    empty_the_database()
    load(folder, allow_future=True)
    assert as_written() == before
    assert (fittings(), cycles()) == log
    assert past() == changed
    if again:
        load(folder, allow_future=True)
        assert as_written() == before
        assert past() == changed


def test_nothing_of_a_full_plant_is_lost(db, tmp_path):
    everything()
    trip(tmp_path / "out")
    written = {path.name for path in (tmp_path / "out").iterdir()}
    files_beside = {"photos", "bills", "signed_reports"}
    assert written == files_beside | {table.file for table in TABLES}  # the plant has something in every table


def test_every_field_of_the_records_is_in_the_folder(db, tmp_path):
    """`everything` says something in each field of each model, and all of it comes back: no column was forgotten."""
    everything()
    write(tmp_path / "out", Plant.objects.get())
    before = {model: held(model) for model in EVERY_MODEL}
    untried = {f"{model.__name__}.{name}" for model in EVERY_MODEL for name in same_everywhere(model)}
    assert not untried
    empty_the_database()
    User.objects.all().delete()
    load(tmp_path / "out", allow_future=True)
    for model, rows in before.items():
        assert held(model) == rows, model.__name__


EVERY_MODEL = (
    Shop,
    Plant,
    Person,
    Party,
    Press,
    Stock,
    Part,
    Volume,
    Die,
    Variant,
    Output,
    Station,
    Item,
    Position,
    Cut,
    Piece,
    Rate,
    Order,
    Run,
    HitCorrection,
    RecordRestart,
    SetUp,
    SignedReport,
    Stop,
    Incident,
    Work,
    Replacement,
    Reading,
    StockMovement,
    CostLine,
    CostBearer,
    Retirement,
    Fitting,
    PurchaseOrder,
    PurchaseLine,
    PurchaseStep,
    Source,
    SourcePrice,
    SpareLevel,
    CounterDevice,
    DieInPress,
    CounterReading,
    CounterQuestion,
    BenchHours,
    Absence,
    Grinder,
    BenchWork,
    BenchStep,
    BenchEdge,
    BenchPiece,
    DieHold,
    InspectionPlan,
    Inspection,
    Photo,
    Bill,
    BillPaper,
    ElementPrice,
    Outline,
    OutlinePlace,
    OutlineWay,
)


# What a database has beside the records: each says why it is in no folder.
NOT_IN_A_FOLDER = {
    "UserSettings": "a user's own", "PlantOfUser": "a user's own", "Tries": "of sign-ins", "TaskWorker": "of hosts",
    "Host": "of hosts", "DemoShop": "a wish", "Amendment": "compared as `past`", "Change": "what waits",
    "SentForm": "kept for a while", "Counter": "follows from counts and devices", "OpenCount": "follows from counts",
    "FleetFit": "worked out", "DieForecast": "worked out", "EdgeForecast": "worked out", "PastForecasts": "worked out",
    "PastDecisions": "worked out", "PastDecision": "worked out",
    "DriftFlag": "worked out", "KeptBenchPlan": "worked out", "WearCause": "worked out",
    "Workbook": "waits to be brought in", "KnownHeading": "how books are read",
    "KeptSheets": "worked out", "KeptSpares": "worked out", "KeptSpare": "worked out",
    "KeptFigures": "worked out", "PurchasingRecord": "worked out", "KeptGains": "worked out",
    "KeptChanges": "worked out",
    "CustomerLink": "a secret of one database", "LinkOpening": "of such a secret",
}  # fmt: skip


def test_every_table_is_in_a_folder_or_says_why_not():
    tables = {
        model.__name__
        for app in ("diestore", "maintenance", "reports")
        for model in apps.get_app_config(app).get_models()
        if not model.__name__.startswith("Historical")
    }
    assert tables == {model.__name__ for model in EVERY_MODEL} | set(NOT_IN_A_FOLDER)


# heads_set is derived: which row of a sharpening came first. A token's hash and its use are of one database.
NOT_CARRIED = ("id", "history", "pin_hash", "heads_set", "token_hash", "last_used_at", "made_by", "revoked_by")


def same_everywhere(model) -> set[str]:
    """The fields that hold one value in all rows of a model, and that the usual one."""
    rows = list(model._base_manager.all())
    found = set()
    for field in model._meta.get_fields():
        if field.auto_created or field.name in NOT_CARRIED:
            continue
        if field.many_to_many:
            values = [other for row in rows for other in getattr(row, field.name).all()]
        else:
            values = [getattr(row, field.attname) for row in rows]
        usual = field.get_default() if not field.many_to_many else None
        if all(value in (None, "", usual) for value in values):
            found.add(field.name)
    return found


def held(model) -> list[str]:
    """The rows of a model as text, with what they point at by its name and not by its id."""
    rows = []
    for thing in model._base_manager.all():
        row = {}
        for field in model._meta.get_fields():
            if field.auto_created or field.name in NOT_CARRIED:
                continue
            value = getattr(thing, field.name)
            if isinstance(value, list) and field.name == "dies":
                value = sorted(Die.objects.filter(pk__in=value).values_list("code", flat=True))
            if field.many_to_many:
                value = sorted(_name(other) for other in value.all())
            elif field.is_relation and value is not None:
                value = _name(value)
            row[field.name] = value
        rows.append(repr(row))
    return sorted(rows)


def _name(thing) -> str:
    for field in ("key", "username", "name", "code", "number"):
        if getattr(thing, field, ""):
            place = getattr(thing, "die", None)
            return f"{place.code if place else ''} {getattr(thing, field)} {getattr(thing, 'revision', '')}"
    return str(thing)


def test_a_shop_made_at_forms(db, tmp_path):
    die = factories.die()
    a, b = factories.position(die, "1-A"), factories.position(die, "1-B", item=factories.item())
    for day in range(5):
        factories.run(die, day)
    factories.sharpen(die, 5, a, b)
    struck = factories.sharpen(die, 6, a)
    log.strike_out(by=factories.actor(), entry=struck[0], reason="not ground after all")
    log.log_replacement(by=factories.actor(), position=b, at=factories.moment(7), why="broken")
    factories.order(die)
    trip(tmp_path / "out")


def test_a_die_with_a_dated_change_forecasts_and_is_put_back_as_it_was(db, tmp_path):
    """Moved to another database, its forecasts are the same to the last figure; the change struck out there restores
    every number, as it does here."""
    by = User.objects.create_superuser("root", password="x")
    die = factories.die()
    a, b = (factories.position(die, code, gap_mm=0.02) for code in ("1-A", "1-B"))
    for n in range(5):
        factories.run(die, 4 * n + 1, 20_000)
        factories.sharpen(die, 4 * n + 3, a, b, why="dull", found="dull")
    factories.run(die, 22, 9_000)

    def forecasts() -> dict:
        return as_json(compute(Plant.objects.get()))

    def cuts() -> list[tuple]:
        return sorted(Cut.objects.values_list("code", "gap_mm", "length_mm", "valid_from", "valid_to"), key=str)

    before, built = forecasts(), cuts()
    made = actions.amend(by=by, row=a.cuts_as_punch.get(), values={"gap_mm": 0.05}, at=factories.moment(9), reason="o")
    actions.delete(by=by, row=factories.press("P9"), reason="a mistake")
    changed = forecasts()
    assert changed["components"] != before["components"]
    write(tmp_path / "out", Plant.objects.get())
    empty_the_database()
    load(tmp_path / "out", allow_future=True)
    assert forecasts() == changed and not Amendment.objects.filter(pk=made.pk, struck_at__isnull=False)
    actions.take_back(by=by, amendment=Amendment.objects.get(table="diestore.cut", sort="changed"), reason="no")
    assert cuts() == built and forecasts() == before
    with pytest.raises(actions.ChangeRefused, match="does not hold what went: enter P9 anew"):
        actions.take_back(by=by, amendment=Amendment.objects.get(sort="deleted"), reason="no")


@pytest.mark.skipif(not DEMO.exists(), reason="the demo shop's tables are not made yet")
def test_the_demo_shop(db, tmp_path):
    load(DEMO, allow_future=True)
    trip(tmp_path / "out", again=False)
