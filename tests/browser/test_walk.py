"""A real browser at a real server: each role walks its pages, and what is done at the bench is done once."""

from __future__ import annotations

import csv

import pytest
from playwright.sync_api import expect

from diestore.access import roles
from diestore.register.models import Die
from maintenance.models import Replacement, Run, Work
from tests import factories as make

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

STRIP = {
    roles.SETTER: ["Today", "Dies due", "Bench", "Dies", "Log", "Counters", "Track record", "Words"],
    roles.TOOLMAKER: [
        "Today", "Dies due", "Bench", "Dies", "Register", "Log", "Counters", "Spares", "Track record", "Words",
    ],
    roles.LEAD: [
        "Today", "Dies due", "Bench", "Dies", "Register", "Log", "Counters", "Spares", "Cost", "Track record",
        "Gap and steel", "Words",
    ],
    roles.BUYER: ["Today", "Dies due", "Dies", "Register", "Spares", "Track record", "Words"],
    roles.SALES: ["Today", "Dies due", "Dies", "Register", "Cost", "Track record", "Gap and steel", "Words"],
    roles.ADMINISTRATOR: [
        "Today", "Dies due", "Bench", "Dies", "Register", "Log", "Counters", "Spares", "Cost", "Track record",
        "Gap and steel", "Words",
    ],
}  # fmt: skip


def the_die() -> Die:
    return Die.objects.get(code="H-900")


def pick(page, group: str, choice: str) -> None:
    """Tap one of the big choices under a question, as a finger would: on its face, not on the hidden button."""
    page.get_by_role("group", name=group).locator("label", has_text=choice).first.click()


def test_each_role_walks_its_strip_at_tablet_width(open_browser):
    too_wide = []
    for role, labels in STRIP.items():
        visit = open_browser(role)
        page = visit.page
        strip = page.get_by_role("navigation", name="Pages", exact=True)
        assert strip.get_by_role("link").all_inner_texts() == labels
        for label in labels:
            strip.get_by_role("link", name=label, exact=True).click()
            assert strip.locator("[aria-current=page]").inner_text() == label
            expect(page.locator("h1")).to_have_count(1)
            if over := visit.sideways():
                too_wide.append((role, label, over))
            if label == "Dies":
                page.get_by_role("main").get_by_role("link", name="H-900").click()
                expect(page.locator("h1")).to_contain_text("H-900")
                if over := visit.sideways():
                    too_wide.append((role, "H-900", over))
    assert too_wide == []


def test_what_a_role_may_not_see_is_refused_and_noticed_here(open_browser):
    """Also shows that the watch over the pages sees a failed answer, a script's error and a request to elsewhere."""
    visit = open_browser(roles.SETTER)
    page = visit.go("/cost/")
    expect(page.locator("h1")).to_be_visible()
    assert any(words.startswith("403: ") for words in visit.complaints)
    visit.complaints.clear()
    visit.go("/")
    page.evaluate("setTimeout(() => { throw new Error('broken on purpose') }, 0)")
    page.evaluate("new Image().src = 'http://elsewhere.invalid/x.png'")
    page.wait_for_timeout(200)
    told = " ".join(visit.complaints)
    assert "script: broken on purpose" in told and "asks elsewhere: http://elsewhere.invalid/x.png" in told
    assert "Content Security Policy" in told  # and the browser did not let it through
    assert visit.sideways() == 0
    page.evaluate("document.querySelector('main').style.minWidth = '1500px'")
    assert visit.sideways() > 0
    visit.complaints.clear()


@pytest.mark.parametrize("script", [True, False], ids=["with script", "without script"])
def test_a_setter_logs_a_run(open_browser, script):
    page = open_browser(roles.SETTER, java_script_enabled=script).page
    page.get_by_role("link", name="Log a run").click()
    page.get_by_label("Find the die").fill("h-900")
    page.get_by_role("button", name="Find").click()
    page.get_by_label("Hits", exact=True).fill("15,250")
    page.get_by_role("button", name="Save the run").click()
    expect(page.get_by_role("status")).to_contain_text("15,250")
    row = Run.objects.latest("recorded_at")
    assert (row.die.code, row.hits, row.user.username, str(row.person)) == ("H-900", 15_250, "setter", "Jory T.")
    page.get_by_role("button", name="sign out").click()
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()


def test_a_toolmaker_sharpens_the_set_and_replaces_a_punch(open_browser):
    visit = open_browser(roles.TOOLMAKER)
    die, before = the_die(), Work.objects.count()
    page = visit.go(f"/log/sharpening/?die={die.pk}")
    pick(page, "What was ground?", "punch side")
    page.get_by_label("How much came off each?").fill("0.12")
    page.locator("summary", has_text="1-B").click()
    page.get_by_label("1-B: how much came off?").fill("0.30")
    pick(page, "1-B pierce punch: what was found?", "dull")
    save = page.get_by_role("button", name="Save the sharpening")
    expect(save).to_have_text("Save the sharpening: 4 pieces")
    if over := visit.sideways():
        pytest.fail(f"{over} pixels of the sharpening form lie outside the window")
    save.click()
    expect(page.get_by_role("status")).to_be_visible()
    made = {w.position.code: w for w in Work.objects.order_by("-pk")[: Work.objects.count() - before]}
    assert {code: (w.removed_mm, w.found) for code, w in made.items()} == {
        "1-A": (0.12, "not looked"),
        "1-B": (0.30, "dull"),
        "2-A": (0.12, "not looked"),
        "3-A": (0.12, "not looked"),
    }

    visit.go(f"/log/replacement/?die={die.pk}")
    pick(page, "Which piece?", "1-A")
    pick(page, "Why did it come out?", "chipped")
    pick(page, "Where did the new one come from?", "off the shelf")
    page.get_by_role("button", name="Save the replacement").click()
    expect(page.get_by_role("status")).to_be_visible()
    row = Replacement.objects.latest("recorded_at")
    assert (row.position.code, row.why, str(row.person)) == ("1-A", "chipped", "Maud K.")
    visit.go(f"/log/replacement/?die={die.pk}")
    expect(page.get_by_role("group", name="Which piece?").locator("label").first).to_contain_text("1 on the shelf")


def test_a_lead_strikes_an_entry_out(open_browser):
    row = make.run(the_die(), 175, 77_000)
    visit = open_browser(roles.LEAD)
    page = visit.go(f"/dies/{the_die().pk}/")
    page.get_by_role("row", name="77,000 hits").get_by_role("link", name="strike out").click()
    page.get_by_label("Why").fill("typed with one nought too many")
    page.get_by_role("button", name="Strike out", exact=True).click()
    expect(page.get_by_role("status")).to_be_visible()
    expect(page.locator("tr.struck")).to_contain_text("one nought too many")
    row.refresh_from_db()
    assert row.struck_reason == "typed with one nought too many" and row.struck_by is not None


def test_a_buyer_takes_the_spares_along_as_a_file(open_browser, tmp_path):
    visit = open_browser(roles.BUYER)
    page = visit.go("/spares/")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Download as CSV").click()
    visit.complaints.clear()  # the browser says of a download that the page it would have been is not shown
    waiting.value.save_as(tmp_path / "spares.csv")
    with (tmp_path / "spares.csv").open(encoding="utf-8-sig", newline="") as file:
        assert [row["spare"] for row in csv.DictReader(file)] == ["PP-6.0-M2"]
    page.get_by_role("link", name="Show the other 1 too").click()
    page.get_by_role("main").get_by_role("link", name="PP-6.0-M2").first.click()
    expect(page.locator("h1")).to_contain_text("PP-6.0-M2")
    expect(page.get_by_role("main")).to_contain_text("H-901")


def test_sales_compares_two_builds(open_browser):
    page = open_browser(roles.SALES).go("/cost/")
    page.get_by_role("main").get_by_role("link", name="H-900").first.click()
    expect(page.locator("h1")).to_contain_text("H-900")
    expect(page.get_by_role("heading", name="What the money goes for")).to_be_visible()
    page.get_by_role("button", name="Compare").click()
    expect(page.get_by_role("heading", name="Built another way")).to_be_visible()
