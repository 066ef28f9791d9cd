"""The most frequent entry of each role by keyboard alone: found, opened, typed and saved without a pointer."""

from __future__ import annotations

import pytest
from playwright.sync_api import Locator, Page, expect

from diestore.access import roles
from diestore.access.models import UserSettings
from diestore.register.models import Die, Party
from maintenance.models import PurchaseOrder, Run, StockMovement, Work
from tests import factories as make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DESK = {"width": 1280, "height": 900}
TABS_AT_MOST = 90


class Keys:
    """Hands on the keyboard: whatever is reached is reached by Tab, and is seen to be."""

    def __init__(self, page: Page) -> None:
        self.page = page
        page.set_viewport_size(DESK)

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def type(self, text: str) -> None:
        self.page.keyboard.type(text)

    def go_to(self, wanted: Locator, key: str = "Tab") -> None:
        expect(wanted).to_be_visible()
        for _ in range(TABS_AT_MOST):
            if wanted.evaluate("one => one === document.activeElement"):
                seen = wanted.evaluate(
                    "one => [one, one.nextElementSibling].some(e => e && getComputedStyle(e).outlineStyle !== 'none')"
                )
                assert seen, "focus is not seen"
                return
            self.press(key)
        raise AssertionError(f"not reached in {TABS_AT_MOST} steps: {wanted}")

    def take(self, wanted: Locator, *, leads: bool = True) -> None:
        self.go_to(wanted)
        if not leads:
            return self.press("Enter")
        with self.page.expect_navigation():
            self.press("Enter")

    def choose(self, question: str, answer: str) -> None:
        """One of several: Tab leads among them, arrows and the space bar choose."""
        group = self.page.get_by_role("group", name=question)
        wanted = group.get_by_role("radio", name=answer).first
        for _ in range(TABS_AT_MOST):
            if group.evaluate("one => one.contains(document.activeElement)"):
                break
            self.press("Tab")
        self.press("Space")
        for _ in range(8):
            if wanted.is_checked():
                return
            self.press("ArrowRight")
        raise AssertionError(f"{answer} cannot be chosen")

    def find(self, text: str, *, down: int = 0) -> None:
        """By the field in the head: the slash leads there."""
        self.press("/")
        self.type(text)
        if down:
            expect(self.page.get_by_role("option").first).to_be_visible()
            self.press(*["ArrowDown"] * down)
            expect(self.page.get_by_role("option").nth(down - 1)).to_have_attribute("aria-selected", "true")
        with self.page.expect_navigation():
            self.press("Enter")


def test_a_setter_finds_a_die_and_logs_a_run(open_browser):
    visit = open_browser(roles.SETTER)
    page, keys = visit.page, Keys(visit.page)
    keys.find("h900 2a", down=1)
    expect(page.locator("h1")).to_contain_text("2-A")
    keys.find("h 900")  # exactly one is called so
    expect(page.locator("h1")).to_contain_text("H-900")
    with page.expect_navigation():
        keys.press("g", "l")
    keys.take(page.get_by_role("navigation", name="What to log").get_by_role("link", name="Run"))
    keys.go_to(page.get_by_label("Find the die"))
    with page.expect_navigation():
        keys.type("h-900")
        keys.press("Enter")
    hits = page.get_by_label("Hits", exact=True)
    keys.go_to(hits)
    keys.press("Control+a")
    keys.type("15,250")  # g and a slash would be letters here
    with page.expect_navigation():
        keys.press("Enter")
    expect(page.get_by_role("status").first).to_contain_text("15,250")
    assert Run.objects.latest("recorded_at").hits == 15_250

    # The keys are shown, and do nothing once they are switched off.
    keys.press("?")
    expect(page.get_by_role("dialog")).to_contain_text("Dies due")
    keys.press("Escape")
    expect(page.get_by_role("dialog")).to_have_count(0)
    UserSettings.objects.filter(user__username=roles.SETTER).update(page_keys=False)
    visit.go("/words/")
    keys.press("g", "d", "?", "/")
    page.wait_for_timeout(300)
    assert page.url.endswith("/words/") and page.get_by_role("dialog").count() == 0
    assert page.evaluate("document.activeElement === document.body")


def test_a_toolmaker_sharpens_a_set(open_browser):
    die, before = Die.objects.get(code="H-900"), Work.objects.count()
    visit = open_browser(roles.TOOLMAKER)
    keys = Keys(visit.page)
    page = visit.go(f"/log/sharpening/?die={die.pk}")
    keys.choose("What was ground?", "punch side")
    keys.go_to(page.get_by_label("How much came off each?"))
    keys.type("0.12")
    keys.go_to(page.locator("summary", has_text="1-B"))
    keys.press("Enter")
    keys.choose("1-B pierce punch: what was found?", "dull")
    keys.take(page.get_by_role("button", name="Save the sharpening"))
    expect(page.get_by_role("status").first).to_be_visible()
    assert Work.objects.count() - before >= 4


def test_a_buyer_orders_a_spare(open_browser):
    supplier = Party.objects.create(code="STANMOOR", name="Stanmoor Gauges", role="supplier")
    item = make.item("BW-0", supplier=supplier, lead_days=20, unit_price=10)
    StockMovement.objects.create(plant=make.plant(), item=item, quantity=1, kind="count", at=make.moment(0))
    visit = open_browser(roles.BUYER)
    keys = Keys(visit.page)
    page = visit.go("/spares/?q=bw-0")
    keys.go_to(page.get_by_label(f"Order {item.code}"))
    keys.press("Space")
    keys.take(page.get_by_role("button", name="Make an order of the ticked spares"))
    keys.take(page.get_by_role("button", name="Save it and place the order"))
    expect(page.get_by_role("status").first).to_contain_text("is placed")
    order = PurchaseOrder.objects.get()
    assert order.placed_at is not None
    keys.find(order.number)
    expect(page.locator("h1")).to_contain_text(order.number)
