"""A toolmaker's and a setter's day on a tablet: a set ground, heights read and printed, the die set in, a complaint
with a photo, an inspection; and that clocks, forecast, heights and the bench follow."""

from __future__ import annotations

import io
import subprocess
import time

import pytest
from PIL import Image
from playwright.sync_api import expect

from diestore.access import roles
from diestore.register.models import Die, Piece
from maintenance.log import inspections, queries
from maintenance.models import BenchWork, Inspection, Photo, SetUp, Work
from tests import factories as make

from .test_hands import Finger

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
CORNERS = {"SB-1": (0, 0), "SB-2": (400, 0), "SB-3": (400, 250), "SB-4": (0, 250)}


def measured(die: Die) -> None:
    """Lengths of the punches as they are known, stop blocks at the corners, and what has to be looked at."""
    punches = die.positions.filter(code__in=["1-A", "1-B", "2-A", "3-A"])
    Piece.objects.filter(fittings__position__in=punches, fittings__until=None).update(length_mm=60.0)
    punches.update(height_group="pierce")
    for code, (x, y) in CORNERS.items():
        make.position(die, code, kind="stop_block", side="lower", length_mm=None, x_mm=x, y_mm=y)
    inspections.plan_inspection(by=make.actor(), plant=make.plant(), die=die, what="guide pins", every_hits=1_000)


def test_a_day_at_the_bench_and_at_the_press(open_browser, tmp_path):
    die = Die.objects.get(code="H-900")
    measured(die)
    told = queries.newest_forecast(die)
    on_it = told.edges.get(position__code="1-A").hits_since_sharpening

    # The toolmaker: a set with two odd pieces, in a minute and ten taps.
    bench = open_browser(roles.TOOLMAKER, has_touch=True)
    page = bench.go(f"/log/sharpening/?die={die.pk}")
    finger, began = Finger(page), time.monotonic()
    finger.tap(page.locator("label", has_text="punch side").first)
    finger.tap(page.get_by_role("button", name="0.15 mm").first)
    finger.tap(finger.open("1-B").locator("label", has_text="dull").first)
    odd = finger.open("2-A")
    finger.tap(odd.locator("label", has_text="chipped").first)
    finger.tap(odd.get_by_role("button", name="0.20 mm"))
    finger.tap(page.get_by_role("button", name="Save the sharpening"))
    expect(page.get_by_role("status")).to_be_visible()
    assert finger.taps <= 10 and time.monotonic() - began < 60
    ground = {w.position.code: w.removed_mm for w in Work.objects.order_by("-pk")[:4]}
    assert ground == {"1-A": 0.15, "1-B": 0.15, "2-A": 0.2, "3-A": 0.15}

    # Clocks and forecast follow at once.
    after = queries.newest_forecast(die)
    assert after.pk != told.pk and after.made_at > told.made_at
    assert after.edges.get(position__code="1-A").hits_since_sharpening == 0 < on_it

    # What to shim is read, and printed.
    bench.go(f"/dies/{die.pk}/heights/")
    expect(page.locator("h1")).to_contain_text("Heights of H-900")
    for code in ground:
        off = sum(Work.objects.filter(position__die=die, position__code=code).values_list("removed_mm", flat=True))
        row = page.get_by_role("row").filter(has=page.get_by_role("link", name=code, exact=True)).first
        expect(row).to_contain_text(f"{60 - off:.2f}")
        expect(row).to_contain_text(f"shim {off:.2f} mm")
    assert bench.sideways() == 0
    paper = tmp_path / "heights.pdf"
    page.pdf(path=str(paper), format="A4")
    words = subprocess.run(["pdftotext", "-layout", str(paper), "-"], check=True, capture_output=True, text=True).stdout
    assert "2-A" in words and "shim 0.65 mm" in words and words.count("\f") == 1

    # The setter: the die is set in and read at its stop blocks.
    press = open_browser(roles.SETTER, has_touch=True)
    page = press.go(f"/log/set-up/?die={die.pk}")
    for n in range(4):
        page.locator(f"[name=crushed_{n}]").fill("1.905")
        page.locator(f"[name=slot_{n}]").fill("1.27")
        page.locator(f"[name=off_{n}]").fill("0.05")
    page.locator("[name=shut_height]").fill("300")
    with page.expect_navigation():
        page.get_by_role("button", name="Save, and see how it stands").click()
    expect(page.locator("main")).to_contain_text("The slide may come down by 0.585 mm more.")
    assert SetUp.objects.get().die == die

    # A complaint: a place tapped on the plan, a photo, a word.
    press.go(f"/dies/{die.pk}/")
    page.locator("a[href*='complain']").first.click()
    page.locator("a[href*='place=2-A']").first.click()
    picture = io.BytesIO()
    Image.new("RGB", (300, 200), "grey").save(picture, "PNG")
    page.locator("input[type=file]").set_input_files(
        {"name": "burr<script>.png", "mimeType": "image/png", "buffer": picture.getvalue()}
    )
    with page.expect_navigation():
        page.locator("button[name=what]", has_text="burr").first.click()
    work = BenchWork.objects.get()
    assert (work.source, work.position.code, work.state) == ("complaint", "2-A", "reported")
    assert Photo.objects.count() == 1

    # An inspection, looked at and nothing found: one tap.
    press.go("/inspections/")
    with page.expect_navigation():
        page.locator("td.looked button").first.click()
    assert Inspection.objects.get().is_finding is False

    # The lead sees what the press complains of, with its photo.
    lead = open_browser(roles.LEAD)
    lead.go("/")
    expect(lead.page.locator("main")).to_contain_text("burr")
    lead.go(f"/bench/{work.pk}/")
    expect(lead.page.locator("img[src*='/photos/']").first).to_be_visible()
