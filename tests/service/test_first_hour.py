"""A newcomer's first hour, in a browser on a service that has nothing in it, as `manage.py serve` starts it.

First start, a die by hand and its first forecast, the shop's own sharpening book with German dates and mixed units, a
job, a gap changed with its date, labels. Taps are counted; keys are those of what is typed.
"""

from __future__ import annotations

import datetime as dt
import re

import pytest
import xlsxwriter

from tests.browser.conftest import TABLET, browser  # noqa: F401  one browser for the module
from tests.service.running import until

pytestmark = pytest.mark.browser
TAPS_TO_A_FORECAST, MINUTES_TO_A_FORECAST = 60, 10
SECONDS_A_TAP, SECONDS_A_KEY = 3.0, 0.6  # of somebody who looks for the place first; common practice, no source


class Newcomer:
    """Taps and types, and is counted while doing so."""

    def __init__(self, page, home: str) -> None:
        self.page, self.home = page, home
        self.taps = self.keys = 0

    @property
    def minutes(self) -> float:
        return (self.taps * SECONDS_A_TAP + self.keys * SECONDS_A_KEY) / 60

    def type(self, label: str, text: str) -> None:
        self.page.get_by_label(label).first.fill(text)
        self.taps += 1
        self.keys += len(text)

    def pick(self, label: str, text: str) -> None:
        self.page.get_by_label(label).first.select_option(label=text)
        self.taps += 2

    def press(self, name: str, *, role: str = "button", exact: bool = False) -> None:
        with self.page.expect_navigation():
            self.page.get_by_role(role, name=name, exact=exact).first.click()
        self.taps += 1

    @property
    def reads(self) -> str:
        return re.sub(r"\s+", " ", self.page.inner_text("main"))


def sharpening_book(path) -> str:
    """As a toolroom keeps it: a title, German headings, days first, a comma or inches, a sum at the end."""
    book = xlsxwriter.Workbook(path)
    sheet = book.add_worksheet("Schleifbuch")
    sheet.write(0, 0, "Schleifbuch Halle 2")
    sheet.write_row(2, 0, ["Werkzeug", "Datum", "Hübe", "Abtrag", "Bemerkung"])
    rows = (
        ("03.02.2026", "26.000", "0,12 mm"), ("14.03.2026", "31.500", "0,15 mm"), ("22.04.2026", "28.250", "0.005 in"),
        ("05.06.2026", "33.100", "0,12 mm"), ("17.07.2026", "29.400", "0,10 mm"), ("01.09.2026", "30.750", "0,12 mm"),
    )  # fmt: skip
    for n, (day, hits, removed) in enumerate(rows):
        sheet.write_row(3 + n, 0, ["E-01", day, hits, removed, "stumpf"])
    sheet.write_row(3 + len(rows), 0, ["Summe", "", "179.000"])
    book.close()
    return str(path)


def first_start(site, web, one: Newcomer) -> None:
    code = until(lambda: re.search(r"code=(\S+)", site.said()), 30, "no code is printed").group(1)
    one.page.goto(f"{one.home}/first-start/?code={code}")
    for label, text in (
        ("The shop's name", "Elm Row Stamping"), ("Your name", "Ada R."), ("Your user name", "ada"),
        ("Password", "quite a long one 7"),
    ):  # fmt: skip
        one.type(label, text)
    one.press("Open the shop")


def type_the_first_die(one: Newcomer) -> None:
    one.press("Type a die", role="link")
    for label, text in (
        ("Name of the die", "E-01"), ("Material", "low-carbon steel"), ("Thickness, mm", "1,5"),
        ("Tensile strength, MPa", "350"), ("Strokes a minute", "60"), ("Number of the part", "EL-100"),
    ):  # fmt: skip
        one.type(label, text)
    one.press("Save, and go on to its positions")
    one.press("pierce", exact=True)
    for label, text in (("Length of cut", "18,8"), ("Gap", "9"), ("Steel", "A2"), ("HRC", "59"), ("To grind off", "5")):
        one.type(label, text)
    one.press("Save both")


def test_from_an_empty_service_to_a_forecast_a_book_a_job_a_change_and_labels(site, browser, tmp_path):  # noqa: F811
    web = site.web("127.0.0.1", "--workers=1")
    web.wait()
    context = browser.new_context(viewport=TABLET, accept_downloads=True)
    one = Newcomer(context.new_page(), f"http://{web.host}:{web.port}")
    try:
        first_start(site, web, one)
        type_the_first_die(one)
        one.press("The die", role="link")
        forecast = ("handbook", "it lasts another", "hits before an edge is dull")
        until(lambda: one.page.reload() and all(words in one.reads for words in forecast), 60, one.reads[:900])
        assert one.taps <= TAPS_TO_A_FORECAST and one.minutes < MINUTES_TO_A_FORECAST, (one.taps, one.minutes)
        print(f"to the first forecast: {one.taps} taps, {one.keys} keys, {one.minutes:.1f} minutes by the model")
        assert "For a better forecast" in one.reads and "manage.py" not in one.reads

        one.page.goto(f"{one.home}/books/")
        one.page.set_input_files("input[type=file]", sharpening_book(tmp_path / "Schleifbuch.xlsx"))
        one.press("Look at it")
        for understood in ("22 Apr 2026", "28,250", "0.127 mm", "1 row is not data"):
            assert understood in one.reads
        one.press("Bring it in")
        assert "12 sharpenings" in one.reads
        assert site.number("SELECT count(*) FROM maintenance_work") == 12

        one.page.goto(f"{one.home}/register/jobs/new/")
        one.type("Job number", "J-1")
        one.pick("Part", "EL-100")
        one.type("Parts ordered", "15000")
        one.page.get_by_label("Due on").fill(f"{dt.date.today() + dt.timedelta(days=40):%Y-%m-%d}")
        one.press("Save")
        fits = "SELECT count(*) FROM maintenance_fleetfit WHERE dull_ends > 0"
        until(lambda: site.number(fits) > 0, 60, "the records are not fitted")
        one.page.goto(f"{one.home}/due/")
        until(lambda: one.page.reload() and "J-1" in one.reads and "%" in one.reads, 60, one.reads[:900])
        one.page.goto(f"{one.home}/dies/1/")
        until(lambda: one.page.reload() and "In all: handbook only" not in one.reads, 60, one.reads[:1500])
        before = one.reads

        one.page.goto(f"{one.home}/dies/1/card/?place=1#strip")
        change_the_gap(one)
        gaps = site.sql("SELECT gap_mm FROM diestore_cut ORDER BY valid_from IS NOT NULL, id")
        assert [round(gap, 4) for (gap,) in gaps] == [0.135, 0.18]
        last = site.sql("SELECT reason FROM diestore_amendment ORDER BY id DESC LIMIT 1")[0][0]
        assert "wider after the trial" in last
        one.page.goto(f"{one.home}/dies/1/")
        until(lambda: one.page.reload() and one.reads != before and "data-again" not in one.page.content(), 60, before)

        one.page.goto(f"{one.home}/register/labels/")
        one.type("Address in the codes", "http://press-shop:8000")
        with one.page.expect_response(lambda answer: answer.request.method == "POST") as waiting:
            one.page.get_by_role("button", name="Make the sheets").click()
        assert waiting.value.status == 200 and waiting.value.headers["content-type"] == "application/pdf"
        assert "Traceback" not in site.said()
    finally:
        context.close()


def change_the_gap(one: Newcomer) -> None:
    one.page.locator("summary", has_text="Change this position").click()
    form = one.page.locator("form", has=one.page.locator("[name=chg-gap]"))
    form.locator("[name=chg-gap]").fill("12")
    form.locator("[name=chg-how][value=since]").check(force=True)
    form.locator("[name=chg-at]").fill(f"{dt.datetime.now() - dt.timedelta(days=2):%Y-%m-%dT%H:%M}")
    form.locator("[name=chg-reason]").fill("wider after the trial")
    with one.page.expect_navigation():
        form.locator("button").last.click()
    one.taps += 6
