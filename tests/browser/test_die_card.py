"""A die of forty places typed on a tablet: taps and keys are counted, and a pace for them is taken from the literature.

Pace by the keystroke-level model (Card, Moran and Newell, Communications of the ACM 23(7), 1980, from memory): 0.28 s a
key of an average typist, 1.1 s to point at a thing, 0.4 s for the hand to come back to the keys, 1.35 s to think before
each place; a tap is taken as pointing and the hand back.
"""

from __future__ import annotations

import time

import pytest
from playwright.sync_api import expect

from diestore.access import roles
from diestore.register.models import Cut, Die, Position, Stock
from maintenance.models import Fitting
from tests import factories as make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

KEY_S, TAP_S, THINK_S = 0.28, 1.1 + 0.4, 1.35
MOST_TAPS, MOST_MINUTES = 150, 15


class Hand:
    """Taps and keys, counted."""

    def __init__(self, page) -> None:
        self.page, self.taps, self.keys, self.places = page, 0, 0, 0

    def tap(self, what) -> None:
        """A link or button, which leads to another page."""
        with self.page.expect_navigation():
            what.click()
        self.taps += 1

    def into(self, field) -> None:
        field.click()
        self.taps += 1

    def type(self, text: str) -> None:
        """Once the cursor is seen in a field."""
        self.page.wait_for_function("document.activeElement.matches('input, select')")
        self.page.keyboard.type(text)
        self.keys += len(text)

    def next(self, times: int = 1) -> None:
        for _ in range(times):
            self.page.keyboard.press("Tab")
            self.keys += 1

    def save(self) -> None:
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")
        self.keys += 1
        self.places += 1
        if not self.page.get_by_role("status").count():
            raise AssertionError(self.page.locator("#work").inner_text())
        expect(self.page.get_by_role("status").first).to_contain_text("Saved")

    @property
    def minutes(self) -> float:
        return (self.keys * KEY_S + self.taps * TAP_S + self.places * THINK_S) / 60

    def fields(self, *texts: str) -> None:
        """One text a field, from the one that has the cursor; '' leaves a field as it stands."""
        for i, text in enumerate(texts):
            if i:
                self.next()
            if text:
                self.type(text)


def spot(page, station: str, side: str):
    where = f"station {station}, " if station else "die set, "
    return page.get_by_role("link", name=f"Add a position: {where}{side} side", exact=True)


def plus(page, station: str, side: str):
    """Its mark, as marks of places may lie over the rest of it."""
    return spot(page, station, side).locator("circle")


def kind(page, name: str):
    return page.get_by_role("navigation", name="Kinds").get_by_role("link", name=name, exact=True)


def test_a_die_of_forty_places_in_a_few_taps(open_browser):
    Stock.objects.create(code="mild 1.5", material="low-carbon steel", tensile_mpa=350, thickness_mm=1.5)
    visit = open_browser(roles.LEAD, has_touch=True)
    page = visit.go("/dies/")
    hand, begun = Hand(page), time.monotonic()
    hand.tap(page.get_by_role("link", name="New die"))
    hand.type("K-104")
    hand.next(2)
    page.get_by_label("Strip stock").select_option(label="mild 1.5")
    hand.taps += 2
    page.get_by_label("Strokes a minute").focus()
    hand.taps += 1
    hand.type("60")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    hand.keys += 1
    for operation in ("pierce", "pilot", "slot", "notch", "bend", "cut off"):
        hand.tap(page.get_by_role("button", name=operation, exact=True))
    # Station 1: a pilot hole and two more, each with its die button.
    hand.tap(plus(page, "1", "punch"))
    hand.tap(kind(page, "pilot pierce punch"))
    #           cut    gap  unit steel hrc coating length grind
    hand.fields("18.8", "9", "", "A2", "59", "", "71", "5", "1", "", "", "", "D2", "60.5", "", "32", "4.3")
    hand.save()
    hand.tap(kind(page, "pierce punch"))
    hand.fields("26.4")
    hand.save()
    hand.tap(page.get_by_role("button", name="Same again"))
    # The other cuts: what is the same as before is there already.
    for station, length, name in (("3", "62", "shape punch"), ("4", "48", "notch punch"), ("6", "52", "cut-off punch")):
        hand.tap(plus(page, station, "punch"))
        if not kind(page, name).get_attribute("aria-current"):
            hand.tap(kind(page, name))
        hand.fields(length)
        hand.save()
        if station == "4":
            hand.tap(page.get_by_role("button", name="Same again"))
    hand.tap(plus(page, "5", "punch"))
    hand.into(page.get_by_label("How many?"))
    hand.type("2")
    hand.save()
    for station, side, name, many in (
        ("2", "punch", "pilot", 1), ("2", "die", "lifter", 1), ("4", "punch", "pilot", 1), ("4", "die", "lifter", 1),
        ("6", "punch", "pilot", 1), ("6", "punch", "oil breaker", 1), ("", "die", "guide post", 4),
        ("", "punch", "stripper spring", 4), ("", "punch", "stripper plate", 1), ("", "punch", "punch holder", 1),
        ("", "punch", "backing plate", 1), ("", "die", "stock guide", 2), ("", "die", "stop block", 2),
    ):  # fmt: skip
        hand.tap(plus(page, station, side))
        if not kind(page, name).get_attribute("aria-current"):
            hand.tap(kind(page, name))
        if many > 1:
            if not page.get_by_label("How many?").evaluate("field => field === document.activeElement"):
                hand.into(page.get_by_label("How many?"))
            hand.type(str(many))
        else:
            page.get_by_label("How many?").focus()
        hand.save()
    took = time.monotonic() - begun
    die = Die.objects.get(code="K-104")
    told = f"{hand.taps} taps, {hand.keys} keys, {hand.minutes:.1f} minutes by the model; the browser took {took:.0f} s"
    print(told)
    assert Position.objects.filter(die=die).count() == 43, told
    assert Fitting.objects.filter(position__die=die).count() == 43
    assert Cut.objects.filter(die=die, upper__isnull=False, lower__isnull=False).count() == 7
    assert set(Cut.objects.filter(die=die).values_list("gap_mm", flat=True)) == {0.135}
    assert die.variants.get().is_default
    assert hand.taps <= MOST_TAPS, told
    assert hand.minutes <= MOST_MINUTES, told
    assert took <= 60 * MOST_MINUTES


def test_without_script_and_by_keyboard_alone(open_browser):
    visit = open_browser(roles.LEAD, java_script_enabled=False)
    page = visit.go("/dies/new/")
    page.get_by_label("Name of the die").fill("K-1")
    page.get_by_label("Material").fill("brass CuZn37")
    page.get_by_label("Thickness").fill("0,8")
    page.get_by_label("Tensile strength").fill("380")
    page.get_by_label("Strokes a minute").fill("140")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="pierce", exact=True).press("Enter")
    spot(page, "1", "punch").press("Enter")
    page.get_by_label("Length of cut").fill("20")
    page.get_by_label("Gap", exact=True).fill("0.005 in")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status").first).to_contain_text("1-A")
    assert Cut.objects.get(die__code="K-1").gap_mm == 0.127
    page.get_by_label("1-A gap", exact=True).fill("0.1 mm")
    page.get_by_role("button", name="Save the changed cells").press("Enter")
    expect(page.get_by_role("status").first).to_contain_text("Saved: 1 cell of 1 position.")
    assert Cut.objects.get(die__code="K-1").gap_mm == 0.1


def test_what_is_doubted_is_said_while_it_is_typed(open_browser):
    visit = open_browser(roles.LEAD)
    die = make.Die.objects.create(plant=make.plant(), code="K-2", usual_stock=make.stock(), strokes_per_minute=60)
    die.stations.create(code="1", sequence=1, operation="pierce")
    page = visit.go(f"/dies/{die.pk}/card/")
    spot(page, "1", "punch").click()
    page.get_by_label("Length of cut").fill("20")
    page.get_by_label("Gap", exact=True).fill("30")
    expect(page.locator("[data-doubts]")).to_contain_text("more than is usual for low-carbon steel")
    page.get_by_label("Gap", exact=True).fill("7")
    expect(page.locator("[data-doubts]")).not_to_contain_text("more than is usual")
    assert not die.positions.exists(), "nothing is saved by asking"


def test_tapped_twice_gone_back_and_two_windows(open_browser):
    visit = open_browser(roles.LEAD)
    die = make.Die.objects.create(plant=make.plant(), code="K-2", usual_stock=make.stock(), strokes_per_minute=60)
    station = die.stations.create(code="1", sequence=1, operation="pierce")
    address = f"/dies/{die.pk}/card/?station={station.pk}&side=upper"
    page = visit.go(address)
    page.get_by_label("Length of cut").fill("20")
    page.get_by_role("button", name="Save both").dblclick()
    expect(page.get_by_role("status").first).to_contain_text("1-A")
    assert die.positions.count() == 2
    page.go_back()
    page.get_by_label("Length of cut").fill("25")
    page.get_by_role("button", name="Save both").click()
    expect(page.get_by_role("status").first).to_contain_text("1-B")
    other = visit.page.context.new_page()
    other.goto(visit.home + address)
    page.goto(visit.home + address)
    for one, length in ((page, "30"), (other, "31")):
        one.get_by_label("Length of cut").fill(length)
        one.get_by_role("button", name="Save both").click()
        expect(one.get_by_role("status").first).to_contain_text("Saved")
    assert die.positions.count() == 8
    other.close()


def test_the_grid_goes_by_keys_from_cell_to_cell(open_browser):
    visit = open_browser(roles.LEAD)
    die = make.Die.objects.create(plant=make.plant(), code="K-2", usual_stock=make.stock(), strokes_per_minute=60)
    places = [make.position(die, code, gap_mm=0.03) for code in ("1-A", "1-B", "1-C")]
    page = visit.go(f"/dies/{die.pk}/card/")
    gaps = [page.get_by_label(f"{place.code} gap", exact=True) for place in places]
    gaps[0].click()
    page.keyboard.type("30")
    expect(page.locator("[data-cell-doubts]")).to_contain_text("more than is usual")
    page.keyboard.press("Escape")
    page.keyboard.type("8")
    page.keyboard.press("Enter")
    expect(gaps[1]).to_be_focused()
    page.keyboard.type("9")
    page.keyboard.press("ArrowDown")
    expect(gaps[2]).to_be_focused()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowRight")
    expect(page.get_by_label("1-B steel")).to_be_focused()
    expect(page.locator("[data-count]")).to_have_text("2 cells changed, not saved yet")
    with page.expect_navigation():
        page.keyboard.press("Control+Enter")
    expect(page.get_by_role("status").first).to_contain_text("Saved: 2 cells of 2 positions.")
    kept = Cut.objects.filter(die=die).order_by("code").values_list("gap_mm", flat=True)
    assert list(kept) == [0.096, 0.108, 0.03]
    assert visit.sideways() <= 0
