"""Who may open which address: the table that every address of the site has to stand in, one line each.

To add an address: one line in TABLE. `see` is a page that is only read, `form` one that is also sent, `send` one that
is only sent, `call` one of the interface for programs; the first argument says who (`may(roles.X)`, EVERYBODY), the
others the parts of the address. A value that names something of the shop made in `shop()` stands for its number.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from decimal import Decimal

from django.contrib.auth.models import User
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from diestore.access import roles
from diestore.access.models import Person
from diestore.pictures import drawn_anew
from diestore.register import actions
from diestore.register.models import Die, Part, Party, Press, Rate, Volume
from maintenance.counters import devices
from maintenance.log import bills, outlines, owners, photos, purchases, write
from maintenance.models import (
    Absence,
    BenchHours,
    BenchWork,
    Counter,
    CounterDevice,
    CounterQuestion,
    Grinder,
    Incident,
    InspectionPlan,
    Outline,
    SignedReport,
    Stop,
    Workbook,
)
from maintenance.workbooks.pure.sheets import Grid
from maintenance.workbooks.take import packed
from tests import factories as make
from tests.history.pictured import drawn
from tests.history.signed import SAID
from tests.pages import money_shop

EVERYBODY = frozenset(roles.ROLES)
SPARES: list[list[object]] = [["Spare", "On the shelf"], ["PP-6.0-M2", 3]]
NOBODY: frozenset[str] = frozenset()


def may(*permissions: str) -> frozenset[str]:
    """The roles that have one of these permissions."""
    return frozenset(role for role, granted in roles.GRANTS.items() if granted & set(permissions))


@dataclass(frozen=True)
class Row:
    get: frozenset[str]
    post: frozenset[str] = NOBODY  # none: a POST is not answered by anybody's
    parts: dict[str, str] = field(default_factory=dict)
    query: str = ""
    signed_out: bool = False  # open to somebody who is not signed in
    by_token: bool = False  # for programs: a device's token opens it and no sign-in does


def see(who: frozenset[str], query: str = "", **parts: str) -> Row:
    return Row(get=who, parts=parts, query=query)


def form(who: frozenset[str], query: str = "", **parts: str) -> Row:
    return Row(get=who, post=who, parts=parts, query=query)


def call(**parts: str) -> Row:
    return Row(get=NOBODY, parts=parts, by_token=True)


def send(who: frozenset[str], **parts: str) -> Row:
    return Row(get=NOBODY, post=who, parts=parts)


def card(name: str, pk: str, see: frozenset[str], also: str = roles.EDIT_REGISTER) -> dict[str, Row]:
    """The four addresses of a plain card."""
    edit = may(roles.EDIT_REGISTER, also)
    return {
        name: Row(get=see | edit),
        f"{name}_new": Row(get=edit, post=edit),
        f"{name}_card": Row(get=see | edit, post=edit, parts={"pk": pk}),
        f"{name}_past": Row(get=see | edit, parts={"pk": pk}),
    }


def bench_card(name: str, pk: str) -> dict[str, Row]:
    """The same of a card of the bench: the toolroom reads it, the lead types it."""
    edit = may(roles.PLAN_BENCH)
    see = may(roles.LOG_SHARPENING) | edit
    return {
        name: Row(get=see),
        f"{name}_new": Row(get=edit, post=edit),
        f"{name}_card": Row(get=see, post=edit, parts={"pk": pk}),
        f"{name}_past": Row(get=see, parts={"pk": pk}),
    }


LOGS = (roles.LOG_RUN, roles.LOG_STOP, roles.LOG_READING, roles.LOG_SHARPENING, roles.LOG_REPLACEMENT, roles.LOG_MISHAP)

TABLE: dict[str, Row] = {
    # The register and the site
    "diestore:sign_in": Row(get=EVERYBODY, post=EVERYBODY, signed_out=True),
    "diestore:sign_out": Row(get=NOBODY, post=EVERYBODY, signed_out=True),
    "diestore:first_start": Row(get=EVERYBODY, signed_out=True),
    "diestore:sign_ins": form(frozenset({roles.ADMINISTRATOR})),
    "diestore:shop": form(may(roles.MANAGE_PEOPLE)),
    "diestore:demo_beside": form(may(roles.MANAGE_PEOPLE)),
    "diestore:password": form(EVERYBODY),
    "diestore:settings": form(EVERYBODY),
    "diestore:who": form(EVERYBODY),
    "diestore:people": form(may(roles.MANAGE_PEOPLE)),
    "diestore:person": form(may(roles.MANAGE_PEOPLE), pk="person"),
    "diestore:dies": see(EVERYBODY),
    "diestore:die_new": form(may(roles.EDIT_REGISTER)),
    "diestore:dies_card": form(may(roles.EDIT_REGISTER), pk="die"),
    "diestore:dies_past": see(may(roles.EDIT_REGISTER), pk="die"),
    "diestore:die": see(EVERYBODY, pk="die"),
    "diestore:die_by_label": see(EVERYBODY, code="H-900"),
    "diestore:words": see(EVERYBODY),
    "diestore:find": see(EVERYBODY),
    "diestore:find_lines": see(EVERYBODY),
    "diestore:keys": see(EVERYBODY),
    # The plain cards: who may change them reads them too
    "diestore:register": see(may(roles.EDIT_REGISTER, roles.EDIT_SPARES, roles.SEE_SPARES, roles.SEE_COST)),
    "diestore:change_strike": form(may(roles.EDIT_REGISTER), pk="change"),
    **card("diestore:parts", "part", may(roles.SEE_COST)),
    **card("diestore:volumes", "volume", may(roles.SEE_COST)),
    **card("diestore:customers", "customer", may(roles.SEE_COST)),
    **card("diestore:rates", "rate", may(roles.SEE_COST)),
    **card("diestore:presses", "press", may(roles.LOG_SHARPENING)),
    **card("diestore:stocks", "stock", may(roles.LOG_SHARPENING)),
    **card("diestore:plants", "plant", NOBODY),
    **card("diestore:spares", "item", may(roles.SEE_SPARES), also=roles.EDIT_SPARES),
    **card("diestore:suppliers", "supplier", may(roles.SEE_SPARES), also=roles.EDIT_SPARES),
    **card("maintenance:jobs", "job", may(roles.SEE_COST)),
    **bench_card("maintenance:bench_hours", "hours"),
    **bench_card("maintenance:absences", "absence"),
    **bench_card("maintenance:grinders", "grinder"),
    "maintenance:labels": form(may(roles.EDIT_REGISTER, roles.EDIT_SPARES, roles.LOG_SHARPENING)),
    "maintenance:jobs_split": form(may(roles.EDIT_REGISTER), pk="job"),
    # The log and the forecasts
    "maintenance:die_card": form(may(roles.EDIT_REGISTER), pk="die"),
    "maintenance:due": see(EVERYBODY),
    "maintenance:pulls": see(may(roles.SEE_COST)),
    "maintenance:wear": see(EVERYBODY),
    "maintenance:decide": see(EVERYBODY, pk="die"),
    "maintenance:die_station": see(EVERYBODY, pk="die", code="1"),
    "maintenance:round": see(EVERYBODY),
    "maintenance:record": see(EVERYBODY),
    "maintenance:replay": see(may(roles.SEE_COST)),
    "maintenance:restart": form(may(roles.RUN_FIT), "die"),
    "maintenance:log": see(may(*LOGS)),
    "maintenance:log_run": form(may(roles.LOG_RUN), "die"),
    "maintenance:log_sharpening": form(may(roles.LOG_SHARPENING), "die"),
    "maintenance:log_replacement": form(may(roles.LOG_REPLACEMENT), "die"),
    "maintenance:log_stop": form(may(roles.LOG_STOP), "die"),
    "maintenance:log_reading": form(may(roles.LOG_READING), "die"),
    "maintenance:log_correction": form(may(roles.LOG_RUN), "die"),
    "maintenance:log_set_up": form(may(roles.LOG_RUN), "die"),
    "maintenance:set_up": see(may(roles.LOG_RUN), pk="die"),
    "maintenance:heights": see(may(roles.LOG_RUN), pk="die"),
    "maintenance:set_up_sheet": see(may(roles.LOG_RUN), pk="die"),
    "maintenance:set_up_paper": see(may(roles.LOG_RUN), pk="die"),
    "maintenance:edge": see(EVERYBODY, pk="position"),
    "maintenance:short_cycle": see(EVERYBODY, pk="position", number="1"),
    "maintenance:presses": see(EVERYBODY),
    "maintenance:entry": see(EVERYBODY, sort="run", pk="first run"),
    "maintenance:log_mishap": form(may(roles.LOG_MISHAP), "die"),
    "maintenance:payers": Row(get=may(roles.SEE_COST), post=may(roles.EDIT_REGISTER), parts={"pk": "die"}),
    "maintenance:payers_entry": Row(
        get=may(roles.SEE_COST), post=may(roles.EDIT_REGISTER), parts={"sort": "stop", "pk": "first stop"}
    ),
    "maintenance:retirement": form(may(roles.EDIT_REGISTER), "die"),
    "maintenance:move": form(may(roles.EDIT_REGISTER), pk="die"),
    "maintenance:mishap": see(may(*LOGS), pk="mishap"),
    "maintenance:entries": see(EVERYBODY),
    "maintenance:take_back": send(may(*LOGS), sort="run", pk="first run"),
    "maintenance:strike": form(may(roles.STRIKE_ENTRY), sort="run", pk="first run"),
    # The bench
    "maintenance:bench": see(may(roles.LOG_MISHAP)),
    "maintenance:bench_better": send(may(roles.PLAN_BENCH)),
    "maintenance:bench_new": form(may(roles.LOG_MISHAP), "die"),
    "maintenance:bench_work": form(may(roles.LOG_MISHAP), pk="bench work"),
    "maintenance:bench_put": send(may(roles.PLAN_BENCH), pk="bench work"),
    "maintenance:bench_sheet": see(may(roles.LOG_MISHAP), pk="bench work"),
    "maintenance:hold": form(may(roles.LOG_SHARPENING), pk="die"),
    "reports:bench_calendar": see(may(roles.LOG_MISHAP)),
    # The counters of the presses
    "maintenance:counters": see(may(roles.LOG_RUN)),
    "maintenance:counters_count": send(may(roles.LOG_RUN)),
    "maintenance:in_press": form(may(roles.LOG_RUN), "die"),
    "maintenance:counter_question": form(may(roles.LOG_RUN), pk="question"),
    "maintenance:counter_question_again": send(may(roles.STRIKE_ENTRY), pk="answer"),
    "maintenance:counter_devices": form(may(roles.EDIT_REGISTER)),
    "maintenance:programs": see(may(roles.EDIT_REGISTER)),
    "maintenance:wiring": see(EVERYBODY),
    "maintenance:counter_device_revoke": send(may(roles.EDIT_REGISTER), pk="device"),
    # Spreadsheets in and out
    "maintenance:book_new": form(may(roles.EDIT_REGISTER, roles.EDIT_SPARES)),
    "maintenance:book_whole": see(may(roles.EDIT_REGISTER)),
    "maintenance:book_template": see(may(roles.EDIT_REGISTER, roles.EDIT_SPARES), sort="prices"),
    "maintenance:book": form(may(roles.EDIT_REGISTER, roles.EDIT_SPARES), pk="book"),
    "maintenance:book_away": send(may(roles.EDIT_REGISTER, roles.EDIT_SPARES), pk="book"),
    "maintenance:list": form(may(roles.TAKE_IN_SPARES), pk="list"),
    "maintenance:list_new": form(may(roles.TAKE_IN_SPARES), sort="count"),
    "maintenance:list_out": see(may(roles.TAKE_IN_SPARES), sort="count"),
    "maintenance:list_out_csv": see(may(roles.TAKE_IN_SPARES), sort="count"),
    # For whoever watches the service: the monitor shows a key of its own
    "diestore:alive": Row(get=EVERYBODY, signed_out=True),
    "diestore:service": see(may(roles.RUN_FIT)),
    "diestore:service_json": Row(get=may(roles.RUN_FIT), signed_out=True),
    # The interface for programs
    "api:openapi-json": see(EVERYBODY),
    "api:post_count": call(),
    "api:post_counts": call(),
    "api:post_run": call(),
    "api:get_dies": call(),
    "api:get_forecast": call(code="H-900"),
    "api:get_due": call(),
    "api:get_short": call(),
    "api:get_advice": call(),
    "api:get_orders": call(),
    "api:get_register": call(),
    "api:get_places": call(code="H-900"),
    "api:get_forecasts": call(),
    "api:get_jobs": call(),
    "api:post_job": call(),
    "api:post_job_change": call(),
    "api:post_job_close": call(),
    "api:get_cost": call(),
    # The token stands in the address: whoever has it reads the calendar
    "reports:calendar": Row(get=EVERYBODY, parts={"token": "token"}, signed_out=True),
    # Photos: of the plant, for everybody there
    "maintenance:photo": see(EVERYBODY, key="photo"),
    "maintenance:photo_small": see(EVERYBODY, key="photo"),
    "maintenance:photo_strike": form(may(roles.STRIKE_ENTRY), key="photo"),
    "maintenance:photo_new": form(may(roles.LOG_MISHAP), sort="benchwork", pk="bench work"),
    "maintenance:inspections": form(may(roles.LOG_MISHAP)),
    "maintenance:inspection_plan": form(may(roles.LOG_MISHAP), pk="inspection"),
    "maintenance:inspection_new": form(may(roles.PLAN_BENCH)),
    "maintenance:inspection_proposals": form(may(roles.PLAN_BENCH)),
    "maintenance:complaint": form(may(roles.LOG_MISHAP), query="die"),
    # Orders to suppliers: seen by whoever sees the spares, taken in on the bench, placed by whoever buys
    "maintenance:shelf": form(may(roles.TAKE_IN_SPARES)),
    "maintenance:movement": form(may(roles.TAKE_IN_SPARES), query="item"),
    "maintenance:revision": form(may(roles.EDIT_SPARES, roles.EDIT_REGISTER), pk="item"),
    "maintenance:purchases": Row(get=may(roles.SEE_SPARES), post=may(roles.ORDER_SPARES)),
    "maintenance:purchase_new": send(may(roles.ORDER_SPARES)),
    "maintenance:purchase": Row(get=may(roles.SEE_SPARES), post=may(roles.ORDER_SPARES), parts={"pk": "purchase"}),
    "maintenance:purchase_take_in": form(may(roles.TAKE_IN_SPARES), pk="purchase"),
    "maintenance:purchase_pdf": see(may(roles.SEE_SPARES), pk="purchase"),
    "maintenance:purchase_xlsx": see(may(roles.SEE_SPARES), pk="purchase"),
    "maintenance:purchase_csv": see(may(roles.SEE_SPARES), pk="purchase"),
    # Bills: entered by whoever buys, seen by whoever sees cost too
    "maintenance:bills": see(may(roles.SEE_COST, roles.ORDER_SPARES)),
    "maintenance:bill_new": form(may(roles.ORDER_SPARES)),
    "maintenance:bill": see(may(roles.SEE_COST, roles.ORDER_SPARES), pk="bill"),
    "maintenance:bill_paper": see(may(roles.SEE_COST, roles.ORDER_SPARES), pk="bill"),
    "maintenance:bill_strike": form(may(roles.ORDER_SPARES), pk="bill"),
    # Money and spares
    "reports:today": see(EVERYBODY),
    "reports:spares": see(may(roles.SEE_SPARES)),
    "reports:shelf_money": see(may(roles.SEE_SPARES)),
    "reports:spares_record": see(may(roles.SEE_SPARES)),
    "reports:spares_record_csv": see(may(roles.SEE_SPARES)),
    "reports:spares_ahead": see(may(roles.SEE_SPARES)),
    "reports:spares_ahead_csv": see(may(roles.SEE_SPARES)),
    "reports:spares_ahead_xlsx": see(may(roles.SEE_SPARES)),
    "reports:spares_csv": see(may(roles.SEE_SPARES)),
    "reports:spare": see(may(roles.SEE_SPARES), pk="item"),
    "reports:sources": see(may(roles.SEE_SPARES), pk="item"),
    "reports:source_new": form(may(roles.SOURCE_SPARES), pk="item"),
    "reports:source": form(may(roles.SOURCE_SPARES), pk="sourced", source="source"),
    "reports:order_more": see(may(roles.ORDER_SPARES), pk="draft"),
    "reports:level": form(may(roles.SOURCE_SPARES), pk="item"),
    "reports:cost": see(may(roles.SEE_COST)),
    # Outlined tools: entered by whoever sells
    "reports:outlines": see(may(roles.SEE_COST)),
    "reports:outline_new": form(may(roles.OUTLINE_TOOLS)),
    "reports:build_prices": Row(get=may(roles.SEE_COST), post=may(roles.OUTLINE_TOOLS)),
    "reports:outline": see(may(roles.SEE_COST), pk="outline"),
    "reports:outline_change": form(may(roles.OUTLINE_TOOLS), pk="outline"),
    "reports:outline_copy": send(may(roles.OUTLINE_TOOLS), pk="outline"),
    "reports:outline_away": send(may(roles.OUTLINE_TOOLS), pk="outline"),
    "reports:outline_assumed": form(may(roles.OUTLINE_TOOLS), pk="outline"),
    "reports:outline_way_new": form(may(roles.OUTLINE_TOOLS), pk="outline"),
    "reports:outline_way": form(may(roles.OUTLINE_TOOLS), pk="outline", number="1"),
    "reports:outline_pdf": see(may(roles.SEE_COST), pk="outline"),
    "reports:outline_csv": see(may(roles.SEE_COST), pk="outline"),
    "reports:outline_xlsx": see(may(roles.SEE_COST), pk="outline"),
    "reports:outline_series": see(may(roles.SEE_COST), pk="outline"),
    "reports:outline_series_csv": see(may(roles.SEE_COST), pk="outline"),
    "reports:changes": see(may(roles.SEE_COST)),
    "reports:changes_csv": see(may(roles.SEE_COST)),
    "reports:gains": see(may(roles.SEE_COST)),
    "reports:gains_csv": see(may(roles.SEE_COST)),
    "reports:cost_die": see(may(roles.SEE_COST), pk="die"),
    "reports:cost_part": see(may(roles.SEE_COST), pk="die"),
    "reports:cost_promise": see(may(roles.SEE_COST), pk="die"),
    "reports:cost_ledger": see(may(roles.SEE_COST), pk="die"),
    "reports:cost_ledger_csv": see(may(roles.SEE_COST), pk="die"),
    "reports:cost_ledger_pdf": see(may(roles.SEE_COST), pk="die"),
    "reports:cost_ledger_xlsx": see(may(roles.SEE_COST), pk="die"),
    "reports:customer_list": see(may(roles.SEE_COST)),
    "reports:customer": form(may(roles.SEE_COST), pk="customer"),
    "reports:customer_ahead": see(may(roles.SEE_COST), pk="customer"),
    "reports:link_withdraw": send(may(roles.SEE_COST), pk="customer link"),
    # The token stands in the address: whoever has it reads the signed reports of one customer's tools
    "reports:tools": Row(get=EVERYBODY, parts={"token": "link token"}, signed_out=True),
    "reports:tools_report": Row(get=EVERYBODY, parts={"token": "link token", "pk": "linked"}, signed_out=True),
    "reports:tools_report_pdf": Row(get=EVERYBODY, parts={"token": "link token", "pk": "linked"}, signed_out=True),
    "reports:condition": form(may(roles.SEE_COST), pk="die"),
    "reports:condition_pdf": see(may(roles.SEE_COST), pk="die"),
    "reports:signed_report": see(may(roles.SEE_COST), pk="signed"),
    "reports:signed_report_pdf": see(may(roles.SEE_COST), pk="signed"),
    "reports:signed_report_strike": form(may(roles.SEE_COST), pk="signed"),
    "reports:cost_years": see(may(roles.SEE_COST), pk="die"),
    "reports:cost_years_csv": see(may(roles.SEE_COST), pk="die"),
    "reports:cost_replace": see(may(roles.SEE_COST), pk="die"),
    "reports:cost_replace_csv": see(may(roles.SEE_COST), pk="die"),
}

# The administration's own addresses are walked as one: staff only. Its sign-in leads to ours.
ADMINISTRATION = "admin:"
# The interface's root is no page for anybody.
# What stood elsewhere once leads on: tests/pages/test_entries.py.
NOT_WALKED = {"administration_sign_in", "api:api-root", "maintenance:entry_of_before"}


def shop(first: str = "H-900", second: str = "H-901", item: str = "PP-6.0-M2") -> dict[str, int]:
    """Two dies with a past, and the numbers of the things that addresses name."""
    item = money_shop.spare(item, on_hand=2, lead_days=200)
    for code in (first, second):
        die = money_shop.worked_die(code, item, cycles=2)
        make.position(die, "3-P", kind="pilot", length_mm=None)
    make.order(Die.objects.get(code=first), parts=60_000)
    money_shop.rates()
    return things(first)


def things(code: str = "H-900") -> dict[str, int]:
    """The numbers of what addresses name, in a shop that has that die with a run; what else it takes is made."""
    die = Die.objects.get(code=code)
    device = CounterDevice.objects.create(plant=die.plant, name="counter box")
    press = Press.objects.create(plant=die.plant, code="press 9")
    counter = Counter.objects.create(device=device, press=press)
    asked = {"counter": counter, "kind": "no die", "strokes": 400, "since": make.moment(40), "until": make.moment(41)}
    settled = {"verdict": "to nobody", "settled_at": make.moment(42)}
    place = die.positions.get(code="1-A")
    part = Part.objects.filter(outputs__variant__die=die).first()
    change = actions.amend(by=None, row=die, values={"description": "bracket"}, at=make.moment(1), reason="clearer")
    return {
        "change": change.pk,
        "part": part.pk,
        "volume": Volume.objects.get_or_create(part=part, year=2026, defaults={"parts": 1})[0].pk,
        "customer": Party.objects.get_or_create(code="customer 9", role="customer")[0].pk,
        "supplier": Party.objects.get_or_create(code="supplier 9", role="supplier")[0].pk,
        "rate": Rate.objects.get_or_create(plant=die.plant, kind="press hour", valid_from="2001-01-01", amount=1)[0].pk,
        "press": press.pk,
        "stock": die.usual_stock_id,
        "plant": die.plant_id,
        "job": (die.orders.first() or make.order(die, f"job of {die}")).pk,
        "die": die.pk,
        "position": place.pk,
        "first stop": _stop(die).pk,
        "first run": die.runs.order_by("pk").first().pk,
        "item": place.item_id,
        "person": Person.objects.filter(plant=die.plant).order_by("pk").first().pk,
        "mishap": Incident.objects.create(die=die, at=make.moment(30), sort="misfeed").pk,
        "device": device.pk,
        "token": _calendar_token(die),
        "list": Workbook.objects.create(
            plant=die.plant,
            name="count.csv",
            choices={"list": "count"},
            cells=packed([Grid("count", [["Spare", "Lies there"], ["PP-6.0-M2", 3]])]),
        ).pk,
        "book": Workbook.objects.create(plant=die.plant, name="stock.csv", cells=packed([Grid("stock", SPARES)])).pk,
        "bench work": BenchWork.objects.create(die=die, what="a spring", key=f"bench work of {die}").pk,
        "photo": _photo(die),
        "inspection": _inspection(die),
        "purchase": _purchase(die),
        **_source(),
        "draft": _draft(die),
        "bill": _bill(die),
        "signed": signed_report(die).pk,
        **_customer_link(die),
        "outline": outlined_tool(die.plant).pk,
        "hours": BenchHours.objects.get_or_create(person=make.person(), defaults={"hours_a_day": 7})[0].pk,
        "absence": _absence(die),
        "grinder": Grinder.objects.get_or_create(plant=die.plant, code="surface grinder")[0].pk,
        "question": CounterQuestion.objects.create(**asked).pk,
        "answer": CounterQuestion.objects.create(**asked | settled).pk,
    }


def _photo(die: Die) -> str:
    """The key of a photo of a stop."""
    return photos.add_photo(by=write.Actor(), plant=die.plant, of=_stop(die), picture=drawn_anew(drawn())).key


def _stop(die: Die) -> Stop:
    defaults = {"die": die, "at": make.moment(31), "minutes": 4}
    return Stop.objects.get_or_create(key=f"stop of {die}", defaults=defaults)[0]


def _inspection(die: Die) -> int:
    said = {"plant": die.plant, "die": die, "what": "springs", "every_days": 30, "since": make.moment(2)}
    return InspectionPlan.objects.get_or_create(key=f"inspection of {die}", defaults=said)[0].pk


def _purchase(die: Die) -> int:
    """An order that is placed and waited for."""
    item = make.item("ordered for stock", supplier=money_shop.supplier(), lead_days=20)
    wanted = [purchases.Wanted(item=item, quantity=4)]
    told = purchases.draft(by=write.Actor(), plant=die.plant, wanted=wanted, currency="EUR")
    order = told.orders[0] if told.orders else told.there[0][1]
    return purchases.place(by=write.Actor(), order=order).pk


def _draft(die: Die) -> int:
    item = make.item("wanted for stock", supplier=money_shop.supplier(), lead_days=20)
    wanted = [purchases.Wanted(item=item, quantity=4)]
    told = purchases.draft(by=write.Actor(), plant=die.plant, wanted=wanted, currency="EUR")
    return (told.orders[0] if told.orders else told.there[0][1]).pk


def _bill(die: Die) -> int:
    """A bill of one line, with a PDF."""
    paper = bills.Paper(kind="pdf", data=b"%PDF-1.7 %%EOF")
    lines = [bills.BillLine(amount=Decimal(40), kind="repair", of=bills.LineFor(die=die))]
    return bills.enter_bill(
        by=write.Actor(), plant=die.plant, number="R-40", supplier=money_shop.supplier(), on=make.moment(20).date(),
        currency="EUR", own_currency="EUR", total=Decimal(40), lines=lines, paper=paper, other_bill=True,
    ).pk  # fmt: skip


def signed_report(die: Die, customer: Party | None = None) -> SignedReport:
    """A condition report with a name under it, of its die for that customer."""
    said = SAID.model_copy(update={"die": die.code, "owner": str(customer) if customer else ""})
    return owners.sign(person=make.person(), user=None, die=die, customer=customer, said=said)


def _customer_link(die: Die) -> dict:
    """A link for a customer who owns another die of that plant, with a signed report of it."""
    customer = Party.objects.get_or_create(code=f"owner {die.pk}", role="customer")[0]
    own = make.die(f"{die.code}-own", owner=customer)
    if own.plant_id != die.plant_id:
        Die.objects.filter(pk=own.pk).update(plant=die.plant)
    made = owners.make_link(
        person=make.person(), user=None, customer=customer, plant=die.plant, last_day=timezone.localdate()
    )
    return {"customer link": made.link.pk, "link token": made.token, "linked": signed_report(own, customer).pk}


def _source() -> dict[str, int]:
    """A spare with one source."""
    item = make.item("of one supplier", supplier=money_shop.supplier(), lead_days=20)
    source = item.sources.first() or make.source(item, supplier=money_shop.supplier())
    return {"sourced": item.pk, "source": source.pk}


def outlined_tool(plant, ways: int = 2, **values) -> Outline:
    """An outlined tool with ways of building it, their prices typed; made by somebody who may."""
    by = User.objects.filter(is_active=True).first() or User.objects.create(username="seller")
    told = {
        "customer": "Quillfen", "part": "clip 9", "material": "low-carbon steel", "thickness_mm": 1.2,
        "tensile_mpa": 340.0, "burr_limit_um": None, "strokes_per_minute": 80.0, "volumes": [300_000, 500_000],
        "on": dt.date(2026, 3, 1), "valid_until": dt.date(2026, 5, 1),
    }  # fmt: skip
    places = [outlines.Place(kind="pierce_punch", count=3, length_mm=18.8)]
    made = outlines.put_outline(by=by, plant=plant, values=told | values, places=places)
    for steel, price in (("D2", 20_000), ("PM", 26_000), ("carbide", 41_000), ("A2", 19_000), ("M2", 22_000))[:ways]:
        values = {"name": f"of {steel}", "steel": steel, "gap_pct": 8.0, "price": Decimal(price)}
        outlines.put_way(by=by, outline=made, values=values)
    return made


def _absence(die: Die) -> int:
    day = make.moment(100).date()
    return Absence.objects.get_or_create(person=make.person(), first=day, last=day)[0].pk


def _calendar_token(die: Die) -> str:
    token = f"calendar-of-{die.code}"
    CounterDevice.objects.create(
        plant=die.plant, name=f"days of {die.code}", scopes=["calendar"], token_hash=devices.hash_of(token)
    )
    return token


def parts_of(row: Row, numbers: dict[str, int]) -> dict[str, object]:
    return {name: numbers.get(value, value) for name, value in row.parts.items()}


def address(name: str, numbers: dict[str, int]) -> str:
    row = TABLE[name]
    query = "&".join(f"{key}={numbers[key]}" for key in row.query.split())
    return reverse(name, kwargs=parts_of(row, numbers)) + (f"?{query}" if query else "")


def names(resolver=None, namespace: str = "") -> list[str]:
    """The name of every address there is; one without a name is told by its pattern."""
    found = []
    for entry in (resolver or get_resolver()).url_patterns:
        if isinstance(entry, URLResolver):
            found += names(entry, ":".join(n for n in (namespace, entry.namespace) if n))
        elif isinstance(entry, URLPattern):
            found.append(":".join(n for n in (namespace, entry.name or f"without a name {entry.pattern}") if n))
    return found
