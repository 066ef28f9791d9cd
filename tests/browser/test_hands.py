"""The log with gloves on: what a sharpening takes in taps and in height, at a tablet."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from diestore.access import roles
from diestore.register.models import Die
from maintenance.models import Stop, Work

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


SLOWLY = 60_000  # milliseconds: what is sent behind the page waits for the server


class Finger:
    """Counts its taps."""

    def __init__(self, page) -> None:
        self.page, self.taps = page, 0

    def tap(self, what) -> None:
        what.click()
        self.taps += 1

    def open(self, code: str):
        self.tap(self.page.locator("summary", has_text=code).first)
        return self.page.locator("details.piece[open]").last


def test_a_set_with_two_odd_pieces_takes_ten_taps_and_one_piece_dressed_in_the_press_four(open_browser):
    visit = open_browser(roles.TOOLMAKER, has_touch=True)
    die = Die.objects.get(code="H-900")
    page = visit.go(f"/log/sharpening/?die={die.pk}")
    assert page.evaluate("document.documentElement.scrollHeight") < 1_800
    finger = Finger(page)
    finger.tap(page.locator("label", has_text="punch side").first)
    finger.tap(page.get_by_role("button", name="0.15 mm").first)
    odd = finger.open("1-B")
    finger.tap(odd.locator("label", has_text="dull").first)
    odd = finger.open("2-A")
    finger.tap(odd.locator("label", has_text="chipped").first)
    finger.tap(odd.get_by_role("button", name="0.20 mm"))
    finger.tap(page.get_by_role("button", name="2 hours", exact=True))
    expect(page.locator("[data-line]")).to_have_text("4 pieces: ground 0.15 mm, found dull 1-B; chipped 2-A")
    finger.tap(page.get_by_role("button", name="Save the sharpening"))
    expect(page.get_by_role("status")).to_be_visible()
    assert finger.taps <= 10
    works = {work.position.code: work for work in Work.objects.order_by("-pk")[:4]}
    assert {code: (w.removed_mm, w.found, w.hours) for code, w in works.items()} == {
        "1-A": (0.15, "not looked", 0.5),
        "1-B": (0.15, "dull", 0.5),
        "2-A": (0.2, "chipped", 0.5),
        "3-A": (0.15, "not looked", 0.5),
    }

    visit.go(f"/log/sharpening/?die={die.pk}")
    finger = Finger(page)
    odd = finger.open("1-B")
    finger.tap(odd.locator("label", has_text="dull").first)
    finger.tap(odd.locator("label", has_text="stoned in the press"))
    finger.tap(page.get_by_role("button", name="Save the sharpening"))
    expect(page.get_by_role("status")).to_be_visible()
    assert finger.taps == 4
    work = Work.objects.latest("pk")
    assert (work.position.code, work.operation, work.found, work.why) == ("1-B", "dressed in the press", "dull", "dull")
    assert visit.sideways() == 0


def type_a_stop(page, minutes: str) -> None:
    page.locator("label", has_text="slug pulled").first.click()
    page.get_by_label("Minutes", exact=True).fill(minutes)
    page.get_by_role("button", name="Save the stop").click()


def test_what_is_typed_without_network_waits_and_is_sent_once(open_browser):
    visit = open_browser(roles.SETTER, has_touch=True)
    die = Die.objects.get(code="H-900")
    page, network = visit.go(f"/log/stop/?die={die.pk}"), visit.page.context
    network.set_offline(True)
    type_a_stop(page, "7")
    expect(page.get_by_role("alert")).to_contain_text("The entry is kept on this tablet and sent when it is back.")
    type_a_stop(page, "x")  # cannot be: it is refused once it is sent
    waiting = page.locator(".waiting")
    expect(waiting).to_contain_text("2 entries wait for the network.")
    assert not Stop.objects.exists()
    kept = page.evaluate("localStorage.getItem('entries that wait')")
    assert "csrf" not in kept and '"minutes","7"' in kept

    network.set_offline(False)
    expect(waiting).to_contain_text("1 entry is not taken yet: open and put right.", timeout=SLOWLY)
    assert Stop.objects.get().minutes == 7
    waiting.get_by_role("link", name="Open it").click()
    expect(page.get_by_label("Minutes", exact=True)).to_have_value("x")
    page.get_by_label("Minutes", exact=True).fill("9")
    page.get_by_role("button", name="Save the stop").click()
    expect(page.locator(".notes")).to_contain_text("Stopped 9 minutes", timeout=SLOWLY)
    expect(waiting).to_be_hidden()

    other = open_browser(roles.SETTER)  # a second tablet on which the same entries lie
    other.page.evaluate("kept => localStorage.setItem('entries that wait', kept)", kept)
    other.page.reload()
    expect(other.page.locator(".waiting")).to_contain_text("1 entry is not taken yet", timeout=SLOWLY)
    assert sorted(Stop.objects.values_list("minutes", flat=True)) == [7, 9]
    other.page.context.clear_cookies()
    other.page.reload()
    other.sign_in("setter")
    expect(other.page.locator(".waiting")).to_contain_text("Log a stop: H-900")
    assert not [
        one for one in visit.complaints + other.complaints if not one.startswith(("422", "409", "console: Failed"))
    ]
    visit.complaints.clear()
    other.complaints.clear()
