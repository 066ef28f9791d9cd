"""The ledger of a die: it agrees with the cost sheet to the cent, its files with the page, its paper with itself."""

from __future__ import annotations

import csv
import io
import re
from decimal import Decimal

import openpyxl
import pytest
import time_machine
from django.urls import reverse

from diestore.register import actions
from diestore.register.models import Party, Rate, Stock
from maintenance.log import inspections, payers, write
from maintenance.log.rules import EntryRefused
from maintenance.models import CostLine, Retirement, Stop, Work, fresh_key
from reports.cost import ledger as ledgers
from reports.cost import periods, reads, sheets
from reports.costing.ledger import By, Payer, Plan
from reports.costing.money import rounded
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    """Eight sharpenings of 4 h, a chipped piece and one ground out, stops, a bill of next month, one of the owner's."""
    shop.rates()
    made = shop.worked_die("H-900", shop.spare("PP-6.0-M2", on_hand=4))
    made.owner = Party.objects.create(code="DOVECOTT", name="Dovecott Seating", role="customer")
    made.save()
    place = made.positions.get(code="1-A")
    for day, why in ((31, "chipped"), (93, "ground out")):
        write.log_replacement(by=make.actor(), position=place, at=make.moment(day), why=why)
    for day, minutes in ((35, 7), (36, 11.1), (160, 20)):
        Stop.objects.create(die=made, cause="burr", minutes=minutes, at=make.moment(day), key=fresh_key())
    ground = Work.objects.filter(position=place).order_by("at").first()
    for amount, kind, day, more in (
        ("310.00", "sharpening", 40, {"work": ground}), ("99.99", "repair", 50, {"payer": made.owner}),
        ("0.0049", "other", 51, {"payer": Party.objects.create(code="OTHER", role="customer")}),
        ("1500", "build", 60, {}),
    ):  # fmt: skip
        CostLine.objects.create(
            die=made, kind=kind, amount=Decimal(amount), at=make.moment(day), key=fresh_key(), **more
        )
    return made


def page(client, die, query: str = "") -> str:
    return as_read(client.get(reverse("reports:cost_ledger", args=[die.pk]) + query))


def test_it_agrees_with_the_cost_sheet_to_the_cent(die):
    told = ledgers.ledger_of(die)
    paid = told.ledger.by_element(By.CASH)
    sheet = sheets.cost_per_thousand(die).sheet
    assert {key: money for key, money in paid.items() if money} == {
        e.key: rounded(e.amount) for e in sheet.elements if rounded(e.amount)
    }
    assert len(paid) == len(sheet.elements) == 6
    one_by_one = periods.elements_of(told.ledger)
    assert sum(e.paid for e in one_by_one) == told.ledger.paid == sum(p.paid for p in periods.periods_of(told.ledger))
    assert sum(e.used for e in one_by_one) == told.ledger.used == sum(p.used for p in periods.periods_of(told.ledger))
    for e in one_by_one:
        assert sum(e.plans.values()) == sum(e.payers.values()) == e.paid


def test_cash_and_accrual_meet_up_to_what_stands_in_the_die(die):
    """31,500 for 4 million parts, 300,000 of them made: 2,362.50 used up."""
    told = ledgers.ledger_of(die).ledger
    assert sum(reads.parts_by_month(die).values()) == sheets.cost_per_thousand(die).sheet.parts_made == 300_000
    assert told.held == Decimal("31500") - Decimal("2362.50")
    assert all(entry.paid and entry.used for entry in told.entries if entry.element != "build")


def test_planned_who_pays_and_which_day(die):
    told = ledgers.ledger_of(die)
    rows = {entry.words: entry for entry in told.ledger.entries}
    by_element = {e.key: e for e in periods.elements_of(told.ledger)}
    assert by_element["sharpening"].plans == {Plan.PLANNED: 1920 + 310, Plan.UNPLANNED: 0, Plan.NOT_SAID: 0}
    spares = by_element["spares"].plans
    assert (spares[Plan.PLANNED], spares[Plan.UNPLANNED]) == (Decimal("48.50"), Decimal("48.50"))
    assert by_element["stop"].plans[Plan.UNPLANNED] == by_element["stop"].paid
    assert by_element["repair"].payers[Payer.OWNER] == Decimal("99.99")
    assert by_element["other"].payers[Payer.CUSTOMER] == 0  # half a hundredth of a cent
    assert by_element["build"].payers == {Payer.SHOP: 1500, Payer.OWNER: 30_000, Payer.CUSTOMER: 0}
    bill = next(entry for entry in told.ledger.entries if entry.amount == 310)
    assert bill.paid == make.moment(40).date() and bill.used == make.moment(18).date()
    assert told.payers["build"] == "Dovecott Seating" and rows["the build"].paid == make.moment(1).date()


def test_a_rate_of_today_and_what_is_struck_out(die):
    before = ledgers.ledger_of(die).ledger.entries
    Rate.objects.create(plant=die.plant, kind="toolroom hour", valid_from="2026-01-01", amount=90)
    assert ledgers.ledger_of(die).ledger.entries == before
    last = Stop.objects.order_by("at").last()
    write.strike_out(by=make.actor(), entry=last, reason="another die")
    after = ledgers.ledger_of(die).ledger.entries
    assert {entry.key for entry in before} - {entry.key for entry in after} == {
        f"stop-{Stop.objects.order_by('at').last().pk}"
    }


def test_the_page_and_its_entries(as_role, die):
    client = as_role("sales")
    told = ledgers.ledger_of(die)
    text = page(client, die)
    assert (
        f"{told.ledger.paid:,.2f} EUR were paid for this die so far, {told.ledger.used:,.2f} of it are used up." in text
    )
    assert f"The other {told.ledger.held:,.2f} stand in the die" in text and "the owner, Dovecott Seating" in text
    assert "Feb 2025" in text and "<svg" in text
    month = page(client, die, "?period=2025-02&element=stop")
    assert "Stops and scrap, 2025-02" in month and "7 min at 95.00 an hour" in month and "20 min at" not in month
    answer = client.get(reverse("reports:cost_ledger", args=[die.pk]), {"per_page": "500"})
    links = {row.record.link for row in answer.context["table"].rows}
    assert len(links) > 10
    assert {client.get(link).status_code for link in links} == {200}


@pytest.mark.words
@pytest.mark.parametrize("query", ["?period=nonsense", "?period=2025-13&element=<b>", "?period=%00", "?sort=x&page=9"])
def test_what_cannot_be_asked_shows_everything(as_role, die, query):
    text = page(as_role("lead"), die, query)
    assert "All of them." in text and "<b>" not in text


def test_files_hold_what_the_page_holds(as_role, die):
    client = as_role("sales")
    ledger = ledgers.ledger_of(die).ledger
    raw = client.get(reverse("reports:cost_ledger_csv", args=[die.pk])).content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(raw)))
    assert sum(Decimal(row["amount"]) for row in rows if row["paid on"]) == ledger.paid
    assert sum(Decimal(row["amount"]) for row in rows if row["used on"]) == ledger.used
    book = openpyxl.load_workbook(
        io.BytesIO(client.get(reverse("reports:cost_ledger_xlsx", args=[die.pk])).content), read_only=True
    )
    assert book.sheetnames == ["Entries", "Months", "Who paid"]
    months = list(book["Months"].values)
    assert months[0][-2:] == ("used up", "paid") and len(months) == 1 + len(ledger.months)
    assert round(Decimal(sum(row[-1] for row in months[1:])), 2) == ledger.paid
    assert round(Decimal(sum(sum(row[1:-2]) for row in months[1:])), 2) == ledger.used
    assert len(list(book["Entries"].values)) == 1 + len(rows)


def test_the_same_entries_give_the_same_paper(as_role, die):
    client = as_role("sales")
    address = reverse("reports:cost_ledger_pdf", args=[die.pk])
    one, two = (client.get(address) for _ in range(2))
    assert one["Content-Type"] == "application/pdf" and one.content.startswith(b"%PDF-")
    assert one.content == two.content
    assert 'filename="ledger-H-900.pdf"' in one["Content-Disposition"]


def test_who_may_see_it(as_role, die):
    for role, may in (("sales", 200), ("lead", 200), ("buyer", 403), ("setter", 403)):
        client = as_role(role)
        for name in ("cost_ledger", "cost_ledger_csv", "cost_ledger_xlsx", "cost_ledger_pdf"):
            assert client.get(reverse(f"reports:{name}", args=[die.pk])).status_code == may, (role, name)
            assert may == 403 or client.get(reverse(f"reports:{name}", args=[10**18])).status_code == 404


def test_a_die_without_any_entry(as_role):
    bare = make.die("H-950", build_price=Decimal(9_000))
    client = as_role("sales")
    text = page(client, bare)
    assert "Nothing stands in the ledger yet." in text and "The build price has no month" in text
    assert client.get(reverse("reports:cost_ledger_pdf", args=[bare.pk])).status_code == 200


# What is scrapped


@pytest.fixture
def scrapping(die):
    """40 mm x 60 mm x 1.5 mm at 7.85 are 28.26 g a part; at 100 strokes and 85 % 5,100 parts an hour at 95."""
    die.feed_pitch_mm, die.strip_width_mm, die.strokes_per_minute = 40, 60, 100
    die.save()
    stock = die.usual_stock
    stock.thickness_mm = 1.5
    stock.save()
    Stop.objects.create(die=die, cause="burr", minutes=0, parts_scrapped=500, at=make.moment(70), key="scrap")
    return die


def scrap(die):
    return next((e for e in ledgers.ledger_of(die).ledger.entries if e.key.startswith("scrap")), None)


def test_scrap_by_weight_and_press_time_on_its_day(scrapping):
    assert scrap(scrapping) is None
    assert "500 scrapped parts (no part value entered)." in ledgers.ledger_of(scrapping).left_out
    Rate.objects.create(plant=scrapping.plant, kind="scrapped part", valid_from="2025-01-01", amount=Decimal("0.12"))
    assert (scrap(scrapping).amount, scrap(scrapping).basis) == (60, "by the shop's rate of that day")
    by = make.user("lead")
    with time_machine.travel(make.moment(20), tick=False):
        actions.amend(by=by, row=scrapping.usual_stock, at=make.moment(20), reason="by the mill's list",
                      values={"price_kg": Decimal("1.10"), "scrap_kg": Decimal("0.20")})  # fmt: skip
    each = Decimal("0.02826") * Decimal("0.90") + Decimal(95) / 5_100
    assert scrap(scrapping).amount == rounded(500 * each) == Decimal("22.03")
    with time_machine.travel(make.moment(100), tick=False):
        row = Stock.objects.get(pk=scrapping.usual_stock.pk)
        actions.amend(by=by, row=row, at=make.moment(100), reason="dearer", values={"price_kg": Decimal("1.50")})
    assert scrap(scrapping).amount == Decimal("22.03")
    assert scrap(scrapping).plan == Plan.UNPLANNED
    sheet = sheets.cost_per_thousand(scrapping).sheet.element("stop")
    assert rounded(sheet.amount) == ledgers.ledger_of(scrapping).ledger.by_element(By.CASH)["stop"]
    assert sheet.basis.endswith("500 parts scrapped")


def test_scrap_that_brings_more_than_the_stock_costs_tells_no_worth(scrapping):
    Stock.objects.filter(pk=scrapping.usual_stock_id).update(price_kg=Decimal("0.10"), scrap_kg=Decimal("0.20"))
    Stock.objects.get(pk=scrapping.usual_stock_id).save()
    assert scrap(scrapping) is None


def test_the_part_page_starts_with_what_the_stock_costs(as_role, scrapping):
    Stock.objects.filter(pk=scrapping.usual_stock_id).update(price_kg=Decimal("1.10"))
    text = as_read(as_role("sales").get(reverse("reports:cost_part", args=[scrapping.pk])))
    assert "Material is left out" not in text and "31.09" in text


# Who pays


def words(answer) -> str:
    """A page without its tags."""
    return " ".join(re.sub(r"<[^>]+>", "", as_read(answer)).split())


def of_payers(die) -> dict[str, Decimal]:
    told = ledgers.ledger_of(die)
    found = periods.payers_of(told.ledger, told.payers)
    assert sum(one.paid for one in found) == told.ledger.paid
    for one in found:
        assert sum(one.elements.values()) == sum(one.months.values()) == one.paid
    mine = ledgers.paid_by(sheets.cost_per_thousand(die))
    ids = {told.payers[key]: payer for key, payer in told.payer_ids.items()}
    assert mine == {ids.get(one.name): one.paid for one in found}
    return {one.words: one.paid for one in found}


def test_who_pays_from_a_day_on_and_for_one_entry(as_role, die):
    """Eight sharpenings at 4 h x 60; from day 100 on the owner pays them: those of days 118, 138 and 158, and one of
    day 18 by itself; the shop pays that of day 138 all the same."""
    before = of_payers(die)
    by, other = make.actor(), Party.objects.get(code="OTHER")
    payers.say_of_die(by=by, die=die, at=make.moment(100), payers={"sharpening": die.owner, "stop": other})
    grinds = list(Work.objects.filter(position__code="1-A", position__die=die).order_by("at"))
    payers.say_of_entry(by=by, entry=grinds[0], payer=die.owner)
    payers.say_of_entry(by=by, entry=grinds[6], payer=None)
    after = of_payers(die)
    stop = Decimal("31.67")  # 20 min at 95 an hour
    assert after["the owner, Dovecott Seating"] - before["the owner, Dovecott Seating"] == 3 * 4 * 60
    assert after["OTHER"] - before.get("OTHER", 0) == pytest.approx(stop, abs=Decimal("0.01"))
    assert sum(after.values()) == sum(before.values()), "who pays changes no sum"
    write.strike_out(by=by, entry=payers.of_entry(grinds[0]), reason="he does not")
    assert of_payers(die)["the owner, Dovecott Seating"] - before["the owner, Dovecott Seating"] == 2 * 4 * 60
    client = as_role("lead")
    text = page(client, die)
    assert "Who paid" in text and "the owner, Dovecott Seating" in text
    book = openpyxl.load_workbook(
        io.BytesIO(client.get(reverse("reports:cost_ledger_xlsx", args=[die.pk])).content), read_only=True
    )
    head, *rows = book["Who paid"].values
    assert head[0] == "month" and head[-1] == "paid" and "the owner, Dovecott Seating" in head
    assert all(sum(row[1:-1]) == pytest.approx(row[-1]) for row in rows)
    told = words(client.get(reverse("maintenance:payers_entry", args=["work", grinds[6].pk])))
    assert "The shop pays for it, as was said of this entry alone" in told


def test_said_on_the_pages(as_role, die):
    client = as_role("lead")
    address = reverse("maintenance:payers", args=[die.pk])
    assert "the shop pays for its hours, spares and stops" in as_read(client.get(address))
    person = make.person().pk
    sent = {"sharpening": die.owner_id, "spares": "shop", "repair": "shop", "stop": "shop", "since": "2025-02-01",
            "person": person, "note": "contract 7", "key": "k"}  # fmt: skip
    assert client.post(address, sent | {"since": "2999-01-01"}).status_code == 422
    assert client.post(address, sent).status_code == 302
    text = words(client.get(address))
    assert "the owner, Dovecott Seating since 1 Feb 2025" in text and "contract 7" in text
    stop = Stop.objects.order_by("at").first()
    one = reverse("maintenance:payers_entry", args=["stop", stop.pk])
    assert "as for all stops and scrap of H-900 then" in words(client.get(one))
    assert client.post(one, {"payer": die.owner_id, "person": person, "note": "", "key": "m"}).status_code == 302
    assert "Dovecott Seating pays for it, as was said of this entry alone" in words(client.get(one))
    assert client.get(reverse("maintenance:payers_entry", args=["run", stop.pk])).status_code == 404
    looking = as_role("sales")
    assert '<form method="post" class' not in looking.get(address).content.decode()
    assert looking.post(address, sent).status_code == 403


def test_the_end_of_its_life_is_in_the_retirement_stage(as_role, die):
    client = as_role("lead")
    address = f"{reverse('maintenance:retirement')}?die={die.pk}"
    sent = {"fate": "scrapped", "weight": "412", "worth": "82.40", "cost": "30", "payer": "shop", "went_to": "a yard",
            "at": "2026-01-05T10:00", "person": make.person().pk, "note": "", "key": "r"}  # fmt: skip
    assert client.post(address, sent).status_code == 302
    die.refresh_from_db()
    assert die.status == "retired"
    told = ledgers.ledger_of(die)
    ends = {e.key.split("-", 2)[-1]: e for e in told.ledger.entries if e.element == "retirement"}
    assert sorted(e.amount for e in ends.values()) == [Decimal("-82.40"), 30]
    assert {e.stage.value for e in ends.values()} == {"disposal"}
    of_sheet = sheets.cost_per_thousand(die).sheet.element("retirement")
    assert of_sheet.amount == Decimal("-52.40") and told.ledger.by_element(By.CASH)["retirement"] == Decimal("-52.40")
    entry = Retirement.objects.get()
    link = reverse("maintenance:entry", args=["retirement", entry.pk])
    assert "It cost 30.00 and brought 82.40 EUR" in as_read(client.get(link))
    assert "Retirement" in page(client, die)
    assert "82.40" not in as_read(as_role("toolmaker").get(link))
    write.strike_out(by=make.actor(), entry=entry, reason="the other one")
    die.refresh_from_db()
    assert die.status == "in service" and "retirement" not in ledgers.ledger_of(die).ledger.by_element(By.CASH)


def test_parts_scrapped_for_what_was_found(scrapping):
    """As at a stop: 0.1 of the shop's rate each, for a reading and for a look, and no stop is counted for them."""
    Rate.objects.create(plant=scrapping.plant, kind="scrapped part", valid_from="2025-01-01", amount=Decimal("0.12"))
    stops = len(sheets.cost_per_thousand(scrapping).spent.stops)
    by = make.actor()
    write.log_reading(by=by, at=make.moment(71), position=scrapping.positions.get(code="1-A"), quantity="burr height",
                      value_si=9e-5, typed_value="90", typed_unit="um", parts_scrapped=200)  # fmt: skip
    plan = inspections.plan_inspection(by=by, plant=scrapping.plant, die=scrapping, what="burrs", every_days=7)
    inspections.log_inspection(by=by, plan=plan, at=make.moment(72), is_finding=True, note="burrs", parts_scrapped=50)
    told = ledgers.ledger_of(scrapping)
    found = {e.words: e.amount for e in told.ledger.entries if "scrapped: " in e.words}
    assert found == {
        "500 parts scrapped: burr": 60, "200 parts scrapped: burr height": 24, "50 parts scrapped: burrs": 6,
    }  # fmt: skip
    cost = sheets.cost_per_thousand(scrapping)
    assert len(cost.spent.stops) == stops and cost.sheet.element("stop").basis.endswith("750 parts scrapped")
    assert rounded(cost.sheet.element("stop").amount) == told.ledger.by_element(By.CASH)["stop"]
    with pytest.raises(EntryRefused, match="found on a die"):
        inspections.log_inspection(by=by, plan=plan, at=make.moment(73), parts_scrapped=5)
