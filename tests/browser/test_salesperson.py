"""A salesperson opposite a customer: a tool outlined, a second way, the crossing and the payback read, the paper."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from diestore.access import roles
from diestore.register.models import Die, Party
from maintenance.models import Outline

from .test_hands import Finger

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_from_the_cost_page_to_the_offer_in_hand(open_browser):
    visit = open_browser(roles.SALES, has_touch=True)
    page = visit.go("/cost/")
    finger = Finger(page)
    finger.tap(page.get_by_role("link", name="Outline a tool"))
    for label, typed in (
        ("Customer", "Quillfen Seating"), ("Part", "latch plate"), ("Parts a year", "400,000"),
        ("For how many years", "4"), ("Strip material", "low-carbon steel"), ("Thickness, mm", "1.5"),
        ("Tensile strength, MPa", "350"), ("How many, row 1", "6"), ("Cut of one, mm, row 1", "25"),
    ):  # fmt: skip
        page.get_by_label(label, exact=True).fill(typed)
    page.get_by_label("Kind, row 1").select_option("pierce_punch")
    finger.tap(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("status")).to_contain_text("latch plate for Quillfen Seating is saved")
    expect(page.locator("main")).to_contain_text("The price list has no price of")

    # No price list here: the price of each way is typed.
    finger.tap(page.get_by_role("link", name="usual build"))
    page.get_by_label("Price of the build").fill("18000")
    finger.tap(page.get_by_role("button", name="Save"))
    expect(page.locator("main")).to_contain_text("Usual build costs")
    finger.tap(page.get_by_role("link", name="One more way"))
    page.get_by_label("What it is called").fill("powder steel")
    page.get_by_label("Punches of").select_option("PM")
    page.get_by_label("Price of the build").fill("24000")
    finger.tap(page.get_by_role("button", name="Save"))
    assert finger.taps == 6

    against = page.get_by_role("region", name="Against the cheapest to build")
    expect(against).to_contain_text("6,000 EUR")
    assert re.search(r"[0-9,]+ parts", against.inner_text()), "the crossing"
    expect(
        page.get_by_role("img", name="Cost per thousand parts of each way against the parts it makes")
    ).to_be_visible()
    expect(page.get_by_role("img", name="Money paid up to each year, of each way")).to_be_visible()
    assert not visit.sideways()

    where = page.get_by_role("link", name="The offer as PDF").get_attribute("href")
    paper = page.request.get(visit.home + where)
    assert paper.ok and paper.body().startswith(b"%PDF") and paper.headers["content-type"] == "application/pdf"
    assert Outline.objects.get().ways.count() == 2 and visit.complaints == []


def test_a_report_signed_a_link_sent_and_withdrawn(open_browser, browser):
    """An owner asks how a tool stands: the report is signed, the link shows it to whoever has it, and then no more."""
    owner = Party.objects.create(code="DOVECOTT", name="Dovecott Seating", role="customer")
    Die.objects.filter(code="H-900").update(owner=owner)
    visit = open_browser(roles.SALES, has_touch=True)
    page = visit.go("/cost/")
    finger = Finger(page)
    finger.tap(page.get_by_role("link", name="Customers"))
    finger.tap(page.get_by_role("link", name="Dovecott Seating"))
    finger.tap(page.get_by_role("link", name="as it is now"))
    expect(page.locator("main")).to_contain_text("Condition report for Dovecott Seating")
    draft = page.request.get(visit.home + page.get_by_role("link", name="PDF, a draft").get_attribute("href"))
    assert draft.ok and draft.body().startswith(b"%PDF")
    finger.tap(page.locator("#sign").get_by_text("Edda L.", exact=True))
    finger.tap(page.get_by_role("button", name="Sign and keep it"))
    expect(page.get_by_role("status")).to_be_visible()
    assert not visit.sideways()

    page = visit.go(f"/customers/{owner.pk}/")
    page.get_by_label("It opens until the end of").fill(f"{timezone.localdate() + dt.timedelta(days=30):%Y-%m-%d}")
    finger.tap(page.locator("#links").get_by_text("Edda L.", exact=True))
    finger.tap(page.get_by_role("button", name="Make it"))
    address = page.locator("code").inner_text()
    assert finger.taps == 7

    theirs = browser.new_context()  # the customer's own browser: nobody is signed in
    at_customer = theirs.new_page()
    assert at_customer.goto(address).status == 200
    at_customer.get_by_role("link", name="H-900").click()
    expect(at_customer.locator("main")).to_contain_text("hinge leaf, left and right")
    assert at_customer.goto(f"{visit.home}/cost/").url.startswith(f"{visit.home}/sign-in/"), "nothing else opens"

    page = visit.go(f"/customers/{owner.pk}/")
    expect(page.locator("#links")).to_contain_text("2 times")
    page.get_by_role("button", name="Withdraw").click()
    expect(page.get_by_role("status")).to_contain_text("opens nothing any more")
    assert at_customer.goto(address).status == 404
    expect(at_customer.locator("main")).to_contain_text("Ask the shop that gave it to you")
    theirs.close()
    assert visit.complaints == []
