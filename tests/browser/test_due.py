"""The first screen: how many dies due are seen without scrolling, and that each row is as high as a finger."""

from __future__ import annotations

import re

import pytest

from diestore.access import roles
from diestore.register.models import Die
from maintenance.log import bench
from maintenance.models import DieForecast
from tests import factories as make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
ROWS = """[...document.querySelectorAll('table.due tbody tr')].map(row => row.getBoundingClientRect())
    .map(box => [box.bottom <= innerHeight, box.height])"""
SMALL = """[...document.querySelectorAll('table.due tbody a')].map(link => link.getBoundingClientRect())
    .filter(box => box.height < 43 || box.width < 24).length"""


def thirteen_dies() -> None:
    """As many as the demo shop has due, in every state, with long names: what makes rows and the sentence long."""
    newest = DieForecast.objects.get(die__code="H-900", is_newest=True)
    for n in range(12):
        die = make.die(f"K-{150 + n}", description="contact clip, left and right, 8 stations, new since March")
        make.order(die, f"26-{n:04d}", parts=9_000 * (n + 1))
        half = 3_000.0 * (n + 1) ** 2
        DieForecast.objects.create(
            die=die,
            as_of=newest.as_of,
            is_newest=True,
            remaining={"0.1": half / 3, "0.5": half, "0.9": 3 * half},
            half_hits=half,
            nine_in_ten_hits=half / 3,
            rests_on=newest.rests_on,
        )
        if n < 4:
            bench.hold_die(by=make.actor(), die=die, reason="burr on the contact side")


@pytest.mark.parametrize(("width", "height", "rows"), [(1280, 900, 13), (1024, 768, 9)])
def test_the_dies_due_are_seen_without_scrolling(open_browser, width, height, rows):
    thirteen_dies()
    visit = open_browser(roles.LEAD)
    visit.page.set_viewport_size({"width": width, "height": height})
    page = visit.go("/due/")
    measured = page.evaluate(ROWS)
    assert len(measured) == 13
    assert sum(is_seen for is_seen, _ in measured) >= rows
    assert all(44 <= high < 45 for _, high in measured), "a finger high, and no row higher than the others"
    assert page.evaluate(SMALL) == 0, "each link in a row fills its cell"
    assert (
        page.evaluate("document.querySelector('.scroll').scrollWidth - document.querySelector('.scroll').clientWidth")
        == 0
    )
    page.get_by_role("link", name="See to first").click()
    assert 4 <= page.locator("table.due tbody tr").count() < 13


def test_a_die_and_the_dies_due_are_one_sheet_of_paper_each(open_browser):
    """Of a die with twenty more punches; and of thirteen dies."""
    die = Die.objects.get(code="H-900")
    with make.no_forecasts():
        for station in range(5, 15):
            for letter in "AB":
                make.position(die, f"{station}-{letter}")
    thirteen_dies()
    visit = open_browser(roles.LEAD)
    for address in (f"/dies/{die.pk}/", "/due/"):
        page = visit.go(address)
        assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True))) == 1, address
