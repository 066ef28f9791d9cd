"""A buyer's week: lines ticked, an order changed and placed, confirmed, taken in by half, the rest asked for."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from diestore.access import roles
from diestore.register.models import Party
from maintenance.log import bench_reads, queries
from maintenance.models import PurchaseLine, PurchaseOrder, StockMovement
from tests import factories as make

from .test_hands import Finger

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_week_of_a_buyer(open_browser):
    supplier = Party.objects.create(code="STANMOOR", name="Stanmoor Gauges", role="supplier")
    spares = [make.item(f"BW-{n}", supplier=supplier, lead_days=20 + n, unit_price=10 + n) for n in range(3)]
    for item in spares:
        StockMovement.objects.create(plant=make.plant(), item=item, quantity=1, kind="count", at=make.moment(0))
    visit = open_browser(roles.BUYER)
    page = visit.go("/spares/?q=stanmoor")
    finger = Finger(page)
    for item in spares:
        finger.tap(page.get_by_label(f"Order {item.code}"))
    finger.tap(page.get_by_role("button", name="Make an order of the ticked spares"))
    expect(page.get_by_role("status")).to_contain_text("3 lines are in a draft")
    page.get_by_label("Pieces of BW-0").fill("4")
    page.get_by_label("Pieces of BW-1").fill("6")
    finger.tap(page.get_by_role("button", name="Save it and place the order"))
    expect(page.get_by_role("status")).to_contain_text("is placed")
    assert finger.taps <= 6
    order = PurchaseOrder.objects.get()

    # Confirmed for one day, which passes; half of it comes.
    page.get_by_label("Promised for all lines").fill(timezone.localdate().isoformat())
    page.get_by_role("button", name="Save what was confirmed").click()
    expect(page.locator("main")).to_contain_text("promised for")
    PurchaseLine.objects.update(promised_on=bench_reads.today_at(make.plant()) - dt.timedelta(days=3))
    visit.go(f"/spares/orders/{order.pk}/")
    page.get_by_role("link", name="Take in what came").click()
    page.get_by_label("How many of BW-0 came").fill("3")
    page.get_by_role("button", name="Take in what I typed").click()
    expect(page.get_by_role("alert")).to_contain_text("Not taken in yet")
    assert all(one.startswith(("422", "console: Failed")) for one in visit.complaints)  # asked, as it should
    visit.complaints.clear()
    page.locator("label", has_text="1 still comes").click()
    page.get_by_role("button", name="Take in what I typed").click()
    expect(page.get_by_role("status")).to_contain_text("3 pieces are on the shelf")
    stock = queries.stock_of_spares(make.plant())
    assert [(stock[i.pk].on_hand, stock[i.pk].on_order) for i in spares] == [(4, 1), (1, 6), (1, 1)]

    # The rest is late: asked for with one tap, from the list of spares.
    visit.go("/spares/")
    expect(page.locator("main")).to_contain_text("3 days late")
    page.get_by_role("button", name=re.compile(f"Asked today.*{order.number}")).click()
    expect(page.locator("main")).to_contain_text("asked the supplier on")
    assert visit.complaints == [] and visit.sideways() == 0


def test_a_bill_is_entered_and_the_cost_of_the_die_follows(open_browser):
    Party.objects.create(code="ORRELL", name="Orrell Grinding", role="supplier")
    die = make.die("H-950", build_price=30_000, expected_parts=1_000_000)
    make.run(die, 1, 10_000)
    visit = open_browser(roles.LEAD)
    page = visit.go("/spares/orders/")
    page.get_by_role("link", name="Bills", exact=True).click()
    page.get_by_role("link", name="Enter a bill").click()
    page.get_by_label("Supplier").select_option(label="Orrell Grinding")
    for label, text in (("Number of the bill", "R-77"), ("Day on the bill", "2025-03-04"), ("Total", "540.50"),
                        ("What for, line 1", "H-950"), ("Amount, line 1", "540.50")):  # fmt: skip
        page.get_by_label(label, exact=True).fill(text)
    page.get_by_label("Kind of cost, line 1").select_option(label="Sharpening")
    page.get_by_role("button", name="Save the bill").click()
    expect(page.get_by_role("status")).to_contain_text("Bill R-77 of Orrell Grinding is entered")
    page.get_by_role("link", name="H-950").click()
    expect(page.get_by_role("row", name=re.compile("^Sharpening"))).to_contain_text("541")
    page.get_by_role("link", name="see the bills").click()
    expect(page.locator("main")).to_contain_text("Together 540.50")
    assert visit.complaints == [] and visit.sideways() == 0
