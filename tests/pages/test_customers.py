"""The page of a customer: his tools with the figures of their own pages, and no more questions for more tools."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore.register.models import Die, Party
from maintenance.forecasts import store
from maintenance.log import payers, write
from maintenance.models import Work
from reports.cost import ledger as ledgers
from reports.cost import sheets
from reports.cost.year_ahead import year_ahead
from reports.costing.money import rounded
from reports.costing.years_ahead import KEYS
from reports.format import cents
from reports.owners.condition import condition_of
from reports.owners.customers import tools_of
from reports.spares.use import PlantAhead
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db


@pytest.fixture
def customer():
    """He owns one tool, and another of the shop makes his part; a third is nobody's."""
    shop.rates()
    made = Party.objects.create(code="DOVECOTT", name="Dovecott Seating", role="customer")
    own, makes, _ = (shop.worked_die(code, shop.spare("PP-6.0-M2"), cycles=3) for code in ("H-900", "H-901", "H-902"))
    own.owner = made
    own.save()
    part = makes.variants.first().outputs.first().part
    part.customer = made
    part.save()
    make.order(own, "26-0007", parts=9_000)
    store.fit_and_forecast(make.plant())
    return made


def test_his_tools_with_the_figures_of_their_pages(as_role, customer):
    client = as_role("sales")
    answer = client.get(reverse("reports:customer", args=[customer.pk]))
    text = as_read(answer)
    assert "H-900" in text and "H-901" in text and "H-902" not in text and "26-0007" in text
    for tool in answer.context["tools"]:
        assert tool.per_thousand == cents(sheets.cost_per_thousand(tool.die).per_thousand)
    links = set(re.findall(r'href="(/[^"#]*)', answer.content.decode()))
    assert len(links) > 15 and {client.get(link).status_code for link in links} == {200}
    listed = as_read(client.get(reverse("reports:customer_list")))
    assert "Dovecott Seating" in listed and client.get(reverse("reports:customer", args=[10**18])).status_code == 404


def test_no_more_questions_for_more_tools(customer):
    def asks(dies) -> int:
        with CaptureQueriesContext(connection) as seen:
            assert len(tools_of(dies, customer)) == len(dies)
        return len(seen)

    dies = list(type(customer.dies_owned.get()).objects.select_related("plant", "owner").order_by("code"))
    assert len(dies) == 3 and asks(dies) == asks(dies[:1])


def test_the_strip_says_where_one_is(as_role, customer):
    client = as_role("sales")
    for address in (reverse("reports:customer_list"), reverse("reports:customer", args=[customer.pk])):
        assert re.search(f'href="{reverse("reports:cost")}"[^>]* aria-current', client.get(address).content.decode())
    bills = as_role("buyer").get(reverse("maintenance:bills")).content.decode()
    assert re.search(f'href="{reverse("reports:spares")}"[^>]* aria-current', bills)


# The year ahead


@pytest.fixture
def ground_deeper(customer):
    """The third die, which is nobody's, takes the same spare, is ground deeper and breaks it."""
    third = Die.objects.get(code="H-902")
    Work.objects.filter(position__die=third).update(removed_mm=0.31)
    write.log_replacement(by=make.actor(), position=third.positions.get(code="1-A"), at=make.moment(30), why="broken")
    store.fit_and_forecast(make.plant())
    return customer


def test_the_year_ahead_is_that_of_each_tool_on_its_own_page(as_role, ground_deeper):
    client = as_role("sales")
    owner, own = ground_deeper, Die.objects.get(code="H-900")
    payers.say_of_die(by=make.actor(), die=own, at=make.moment(60), payers={"sharpening": owner, "stop": owner})
    answer = client.get(reverse("reports:customer_ahead", args=[owner.pk]))
    told = answer.context["told"]
    assert [tool.die.code for tool in told.tools] == ["H-900", "H-901"]
    for tool, shown in zip(told.tools, answer.context["tools"], strict=True):
        page = client.get(reverse("reports:cost_years", args=[tool.die.pk])).context["years"][0]
        assert shown["band"] == page["band"]
        assert [cell for cell, _ in shown["by_key"]] == [page["by_key"][key]["expected"] for key in KEYS]
    year = told.together.of(slice(0, 12))
    assert float(year.expected) == pytest.approx(sum(float(tool.band().expected) for tool in told.tools))
    mine, rest = told.theirs.of(slice(0, 12)), told.the_rest.of(slice(0, 12))
    assert float(mine.expected + rest.expected) == pytest.approx(float(year.expected), abs=0.01)
    of_own = [told.tools[0].band(key).expected for key in ("sharpening", "stop")]
    assert float(mine.expected) == pytest.approx(float(sum(of_own)))
    assert sum(float(m.expected) for m in told.together.months) == pytest.approx(float(year.expected), abs=0.01)
    said = condition_of(own).said
    assert [row.what for row in said.ahead] == ["Sharpening", "Stops and scrap", "Together"]
    assert said.ahead[0].expected == rounded(of_own[0], Decimal(1)) and len(said.ahead_months) == 12
    report = as_read(client.get(reverse("reports:condition", args=[own.pk])))
    assert "The year ahead" in report and f"{said.ahead[-1].high:,.0f}" in report
    assert condition_of(Die.objects.get(code="H-901")).said.ahead == (), "the shop pays what comes"


def test_one_die_alone_and_among_others_has_one_year_ahead(ground_deeper):
    """Also what is known of its spare: how deep it is ground, how often it breaks."""
    own = Die.objects.get(code="H-900")
    every = PlantAhead.of(own.plant)
    cost = sheets.cost_per_thousand(own)
    years = [
        year_ahead(cost, ahead=PlantAhead.of(own.plant, dies=dies)).year
        for dies in ([own.pk], list(Die.objects.values_list("pk", flat=True)), None)
    ]
    assert years[0] == years[1] == years[2]
    alone = PlantAhead.of(own.plant, dies=[own.pk])
    item = own.positions.get(code="1-A").item_id
    assert alone.breaks(item) == every.breaks(item)
    assert [p.removal for p in alone.places[item]] == [p.removal for p in every.places[item] if p.row.die_id == own.pk]


def test_paid_by_them_by_others_and_by_the_shop(as_role, customer):
    own = customer.dies_owned.get()
    payers.say_of_die(by=make.actor(), die=own, at=make.moment(30), payers={"sharpening": customer})
    answer = as_role("sales").get(reverse("reports:customer", args=[customer.pk]))
    for tool in answer.context["tools"]:
        ledger = ledgers.ledger_of(tool.die)
        assert tool.paid == tool.theirs + tool.others + tool.shops == ledger.ledger.paid
    together = answer.context["together"]
    assert together["theirs"] == sum(tool.theirs for tool in answer.context["tools"]) > 30_000
    assert f"{together['paid']:,.2f}" in as_read(answer)
