"""A shared tablet at a real server, with and without script; and every page as a browser sees it."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import expect

from diestore.access import actions, roles
from diestore.access.models import Person, UserSettings
from diestore.register.models import Die
from maintenance.models import Incident, Stop
from tests import factories as make
from tests.browser import access
from tests.security.addresses import TABLE, address, things

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
# A browser keeps them, or shows them in a frame of its own.
FILES = (
    "maintenance:book_whole", "maintenance:book_template", "maintenance:bench_sheet", "maintenance:photo",
    "maintenance:photo_small", "maintenance:set_up_paper", "maintenance:purchase_pdf", "maintenance:purchase_xlsx",
    "maintenance:bill_paper", "maintenance:list_out",
    "reports:spares_ahead_xlsx", "reports:cost_ledger_pdf", "reports:condition_pdf",
    "reports:signed_report_pdf", "reports:tools_report_pdf", "reports:cost_ledger_xlsx",
    "reports:outline_pdf", "reports:outline_xlsx",
)  # fmt: skip


@pytest.fixture
def tablet(small_shop):
    """The toolmaker's sign-in is the tablet of bench 2, and two people have PINs."""
    UserSettings.objects.filter(user__username="toolmaker").update(shared_device=True, person=None)
    by = User.objects.get(username="lead")
    for name, pin in (("Maud K.", "4071"), ("Edda L.", "880215")):
        actions.set_pin(by=by, person=make.person(name), pin=pin)


def tap(page, group: str, choice: str) -> None:
    page.get_by_role("group", name=group).locator("label", has_text=choice).first.click()


def stop_form(visit, die, cause: str, minutes: str):
    page = visit.go(f"/log/stop/?die={die.pk}")
    tap(page, "Why did it stop?", cause)
    page.get_by_label("Minutes", exact=True).fill(minutes)
    return page


def test_a_name_and_a_pin_on_large_keys_then_nothing_more_to_tap(open_browser, tablet):
    die = Die.objects.get(code="H-900")
    visit = open_browser(roles.TOOLMAKER, has_touch=True)
    page = stop_form(visit, die, "misfeed", "12")
    tap(page, "Who reports it?", "Maud K.")
    for key in "4072":
        page.locator(".pad:not([data-figure])").get_by_role("button", name=key, exact=True).click()
    page.locator(".pad:not([data-figure])").get_by_role("button", name="take the last digit away").click()
    page.locator(".pad:not([data-figure])").get_by_role("button", name="1", exact=True).click()
    page.get_by_role("button", name="Save the stop").click()
    expect(page.get_by_role("status")).to_contain_text("Stopped 12 minutes")
    expect(page.get_by_role("banner")).to_contain_text("Logged by Maud K.")
    page = stop_form(visit, die, "burr too high", "5")
    page.get_by_role("button", name="Save the stop").click()
    expect(page.get_by_role("status")).to_contain_text("Stopped 5 minutes")
    assert set(Stop.objects.filter(device="toolmaker").values_list("person__name", flat=True)) == {"Maud K."}
    assert Stop.objects.filter(device="toolmaker").count() == 2


def test_the_same_without_script(open_browser, tablet):
    die = Die.objects.get(code="H-900")
    visit = open_browser(roles.TOOLMAKER, java_script_enabled=False)
    page = stop_form(visit, die, "misfeed", "12")
    tap(page, "Who reports it?", "Edda L.")
    expect(page.locator(".pad:not([data-figure])")).to_be_hidden()
    assert page.get_by_label("PIN").get_attribute("inputmode") == "numeric", "brings up the number pad"
    page.get_by_label("PIN").fill("880215")
    page.get_by_role("button", name="Save the stop").click()
    expect(page.get_by_role("banner")).to_contain_text("Logged by Edda L.")
    page.get_by_role("link", name="Logged by Edda L.").click()
    page.get_by_role("button", name="Edda L. is done").click()
    expect(page.get_by_role("banner")).to_contain_text("Who are you?")
    assert Stop.objects.get(device="toolmaker").person == Person.objects.get(name="Edda L.")


def test_a_mishap_is_one_screen_and_leads_to_what_follows(open_browser):
    die = Die.objects.get(code="H-900")
    visit = open_browser(roles.LEAD)
    page = visit.go(f"/log/mishap/?die={die.pk}")
    expect(page.locator(".caution")).to_contain_text("Never reach into the die")
    tap(page, "What happened?", "misfeed")
    for code in ("1-A", "2-AD"):
        tap(page, "Which pieces did it damage?", code)
    page.get_by_label("What was done?").fill("feed set anew")
    page.get_by_role("button", name="Save the mishap").click()
    expect(page.locator("main")).to_contain_text("2 damaged pieces have no entry yet")
    assert Incident.objects.get().pieces.count() == 2
    page.get_by_role("link", name="Log the sharpening").click()
    expect(page.locator("input[value=chipped]:checked")).to_have_count(2)
    assert visit.sideways() == 0


PARTS = 4  # of the walk, each with a page of its own: one that has seen a hundred others grows slow
# Those that are looked at most: by axe at three widths.
MAIN = (
    "reports:today", "maintenance:due", "diestore:dies", "diestore:die", "maintenance:edge", "maintenance:log",
    "maintenance:log_sharpening", "reports:spares", "reports:cost_die", "maintenance:bench",
)  # fmt: skip


@pytest.mark.parametrize("part", range(PARTS))
def test_every_page_in_a_browser_is_open_to_everybody_and_asks_nobody_else(open_browser, part):
    """The watch over the visit hears each request, script error and breach of the policy; axe finds what shuts people
    out, in both schemes; and no page is wider than a telephone."""
    numbers = things()
    visit = open_browser(roles.ADMINISTRATOR)
    looked_at, too_wide, shut = 0, [], []
    for name, row in list(TABLE.items())[part::PARTS]:
        if roles.ADMINISTRATOR not in row.get or row.signed_out:
            continue
        there = address(name, numbers)
        if there.endswith((".csv", ".json", ".ics")) or name in FILES:
            continue
        visit.go(there)
        looked_at += 1
        shut += [(name, words) for words in access.in_both_schemes(visit.page)]
        for size in (access.PHONE, access.DESK, access.TABLET):
            if (over := access.too_wide(visit.page, size)) > 0:
                too_wide.append((name, size[0], over))
            if name in MAIN and size != access.TABLET:
                shut += [(name, size[0], words) for words in access.violations(visit.page)]
        assert visit.complaints == [], name
    assert looked_at > 20
    assert (too_wide, shut) == ([], [])
