"""The plain cards on a tablet: one column, few taps, and the same without script."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from diestore.access import roles
from diestore.register.models import Amendment, Item, Press
from maintenance.models import Order
from tests import factories as make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


class Hand:
    """Taps and fields typed, counted as a person makes them: a tap into a field, a tap on a button."""

    def __init__(self, page) -> None:
        self.page, self.taps = page, 0

    def tap(self, where) -> None:
        where.click()
        self.taps += 1

    def type(self, label: str, text: str) -> None:
        field = self.page.get_by_label(label, exact=True).first
        self.tap(field)
        field.fill(text)


@pytest.mark.parametrize("script", [True, False])
def test_a_press_and_a_job_are_entered_in_few_taps(open_browser, script):
    visit = open_browser(roles.LEAD, java_script_enabled=script)
    page = visit.go("/register/")
    hand = Hand(page)
    hand.tap(page.get_by_role("link", name=re.compile("new one ?: press$")))
    hand.type("Press", "press 7")
    hand.type("Rated force", "1250 kN")
    hand.tap(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("status")).to_contain_text("press 7 is entered.")
    assert Press.objects.get(code="press 7").rated_force_n == 1_250_000
    assert hand.taps <= 4
    hand.taps = 0
    hand.tap(page.get_by_role("link", name="Register").first)
    hand.tap(page.get_by_role("link", name=re.compile("new one ?: job$")))
    hand.type("Job number", "26-0900")
    page.get_by_label("Part", exact=True).select_option(label="P-H-900")
    hand.taps += 2
    hand.type("Parts ordered", "40,000")
    page.get_by_label("Due on").fill("2027-03-01")
    hand.taps += 1
    hand.tap(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("status")).to_contain_text("26-0900 is entered.")
    assert Order.objects.get(number="26-0900").parts == 40_000
    assert hand.taps <= 8


def test_a_lead_time_changes_and_is_struck_out(open_browser):
    item = make.item("PP-9.9-M2", lead_days=14)
    visit = open_browser(roles.BUYER)
    page = visit.go("/register/spares/?q=PP-9.9")
    hand = Hand(page)
    hand.tap(page.get_by_role("link", name="PP-9.9-M2"))
    hand.type("Lead time, days", "21")
    hand.type("Why?", "their new list")
    hand.tap(page.get_by_role("button", name="Save"))
    expect(page.get_by_role("status")).to_contain_text("Saved.")
    assert Item.objects.get(pk=item.pk).lead_days == 21
    assert hand.taps <= 4
    hand.tap(page.get_by_role("link", name="Strike out").first)
    hand.type("Why?", "the old list holds")
    hand.tap(page.get_by_role("button", name="Strike out"))
    expect(page.get_by_role("status")).to_contain_text("Struck out.")
    assert Item.objects.get(pk=item.pk).lead_days == 14 and Amendment.objects.get().is_struck
    assert hand.taps <= 7


@pytest.mark.parametrize("there", ["/register/", "/register/spares/", "/register/jobs/new/", "/register/labels/"])
def test_nothing_is_wider_than_the_tablet(open_browser, there):
    visit = open_browser(roles.LEAD)
    page = visit.go(there)
    assert visit.sideways() <= 0
    boxes = [box.bounding_box() for box in page.locator("form.card .field input, form.card .field select").all()]
    lefts = {round(box["x"]) for box in boxes if box and box["width"] > 100}
    assert len(lefts) <= 1, "one column"
