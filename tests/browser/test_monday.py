"""A lead's Monday on a tablet: run or sharpen, what to grind, a work on the bench, its sheet, a die held."""

from __future__ import annotations

import subprocess

import pytest
from PIL import Image
from playwright.sync_api import expect

from diestore.access import roles
from maintenance.models import BenchHours, BenchWork, DieHold
from tests import factories as make
from tests.pages import money_shop as shop

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def saved(page, name: str) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name=name).first.click()


def test_a_leads_monday(open_browser, tmp_path):
    third = shop.worked_die("H-902", shop.spare("PP-6.0-M2", on_hand=2, lead_days=200), cycles=3)
    for code, parts in (("H-901", 90_000), ("H-902", 20_000)):
        make.order(make.Die.objects.get(code=code), number=f"26-{code}", parts=parts)
    shop.forecast()
    BenchHours.objects.create(person=make.person("Maud K."), hours_a_day=6)
    visit = open_browser(roles.LEAD)
    page = visit.page

    # The list, and three dies asked.
    for code in ("H-900", "H-901", "H-902"):
        visit.go("/due/")
        row = page.get_by_role("row").filter(has_text=code)
        row.get_by_role("link", name="run or sharpen?").click()
        expect(page.locator("h1")).to_contain_text(f"Run or sharpen: {code}")
        expect(page.get_by_text("recommended", exact=True)).to_be_visible()
        expect(page.get_by_role("rowheader", name="Run it as it is").first).to_be_visible()
        assert visit.sideways() == 0

    # What pays is ticked; the lead adds an edge and opens the work.
    page.get_by_role("link", name="Open bench work for these").click()
    expect(page.locator("h1")).to_contain_text("H-902")
    ticks = page.locator("input[name=edges]")
    ticked = [tick for tick in ticks.all() if tick.is_checked()]
    assert ticked
    more = next(tick for tick in ticks.all() if not tick.is_checked()).input_value()
    page.locator("label", has=page.locator(f"input[value='{more}'][name=edges]")).click()
    page.get_by_label("When is the die needed?").fill("")
    saved(page, "Open bench work")
    work = BenchWork.objects.get()
    assert work.die == third and work.edges.count() == len(ticked) + 1

    # It is moved by hand on the bench.
    page.get_by_role("link", name="The bench").click()
    with page.expect_navigation():
        page.locator("button.day").nth(3).click()
    expect(page.get_by_role("status").first).to_contain_text("It stays there.")
    work.refresh_from_db()
    assert work.day is not None and work.person.name == "Maud K."

    # Its sheet: one page, with the places on it.
    visit.go(f"/bench/{work.pk}/")
    pdf = page.context.request.get(f"{visit.home}/bench/{work.pk}/sheet.pdf")
    assert pdf.status == 200
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf.body())
    subprocess.run(["pdftoppm", "-r", "50", "-png", str(file), str(tmp_path / "sheet")], check=True)
    (picture,) = tmp_path.glob("sheet*.png")
    dark = sum(Image.open(picture).convert("L").histogram()[:128])
    assert dark > 1_000
    words = subprocess.run(["pdftotext", str(file), "-"], check=True, capture_output=True, text=True).stdout
    assert "H-902" in words and work.edges.first().position.code in words and "Signed" in words

    # A die is held, and released by a first piece.
    visit.go(f"/bench/hold/{third.pk}/")
    page.get_by_label("Why").first.fill("burr on the contact side")
    saved(page, "Hold the die")
    visit.go("/due/")
    expect(page.get_by_role("row").filter(has_text="H-902")).to_contain_text("hold")
    visit.go(f"/bench/hold/{third.pk}/")
    page.locator("textarea, input[type=text]").first.fill("burr 12 µm, all sizes good")
    saved(page, "Approve it and release the die")
    assert DieHold.objects.get().released_at is not None
