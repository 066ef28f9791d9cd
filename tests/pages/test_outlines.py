"""Pages of outlined tools: from nothing to an answer, what cannot be, the paper and the files."""

import datetime as dt
import io
import subprocess
from decimal import Decimal

import openpyxl
import pytest
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from maintenance.log import outlines as written
from maintenance.models import ElementPrice, Outline, Work
from reports.offers import reckon
from tests import factories as make
from tests.pages import money_shop as shop
from tests.security.addresses import outlined_tool

from .as_read import as_read

pytestmark = pytest.mark.django_db


@pytest.fixture
def seller(as_role):
    return as_role("sales")


SENT = {
    "customer": "Quillfen", "part": "clip 9", "volumes": "300,000", "years": "3", "material": "low-carbon steel",
    "thickness_mm": "1.2", "tensile_mpa": "340", "on": "2026-03-01", "valid_until": "2026-05-01",
    "kind-0": "pierce_punch", "count-0": "3", "length-0": "18.8",
}  # fmt: skip


def outline(**values) -> Outline:
    make.plant()
    return outlined_tool(make.plant(), **values)


def told(made: Outline, **more) -> reckon.Told:
    return reckon.reckon(Outline.objects.get(pk=made.pk), **more)


def test_from_nothing_to_an_answer_with_the_shops_price_list(as_role):
    make.plant()
    client = as_role("sales")
    answer = client.post(reverse("reports:outline_new"), SENT, follow=True)
    made = Outline.objects.get()
    assert made.volumes == [300_000] * 3 and made.strokes_per_minute == 100 and made.parts_per_hit == 1
    assert "The price list has no price of: design and try-out" in as_read(answer)
    prices = {f"price-{n}": "100" for n in range(19)} | {"day": "2026-01-01"}
    assert client.post(reverse("reports:build_prices"), prices).status_code == 302
    assert ElementPrice.objects.count() == 19
    # by hand: four things of 100, 3 places 300, 56.4 mm of cut 5,640 and 6 pieces of D2 600
    text = as_read(client.get(reverse("reports:outline", args=[made.pk])))
    assert "6,940 EUR" in text and "usual build" in text and "Add a second way to compare" in text
    way = {
        "name": "better",
        "steel": "PM",
        "guides": "roller",
        "die_side": "inserts",
        "stripper": "spring",
        "price": "9000",
    }
    answer = client.post(reverse("reports:outline_way_new", args=[made.pk]), way, follow=True)
    text = as_read(answer)
    assert "Against usual build, the cheapest to build" in text and "2,060 EUR" in text
    assert "What roller guides do to edges is not known here" in text


def test_a_die_that_runs_lends_stock_cuts_and_build(as_role):
    shop.rates()
    die = shop.worked_die("H-900")
    page = as_role("sales").get(reverse("reports:outline_new"), {"die": die.pk})
    form = page.context["form"]
    assert form.initial["thickness_mm"] == die.usual_stock.thickness_mm
    assert form.initial["strokes_per_minute"] == die.strokes_per_minute
    assert form["kind-0"].initial in {"", *(p.kind for p in die.positions.all()), "shape_punch"}


def test_five_ways_alike_are_a_tie(as_role):
    made = outline(ways=5)
    made.ways.update(steel="D2", price=20_000, gap_pct=8)
    found = told(made)
    assert all(one.is_alike and one.chance == 0.5 and one.worth == 0 for one in found.weighed.others)
    client = as_role("sales")
    text = as_read(client.get(reverse("reports:outline", args=[made.pk])))
    assert "All ways come to the same" in text and text.count("The same in everything that counts.") == 4
    answer = client.post(
        reverse("reports:outline_way_new", args=[made.pk]),
        {"name": "a sixth", "steel": "D2", "guides": "plain", "die_side": "solid", "stripper": "spring"},
    )
    assert answer.status_code == 422 and "5 ways stand there already" in as_read(answer)


def test_a_way_that_is_dearer_and_no_better_never_pays():
    made = outline()
    second = made.ways.get(sequence=2)
    second.steel, second.guides, second.die_side = "D2", "roller", "inserts"
    second.save()
    (one,) = told(made).weighed.others
    assert one.worth == -6_000 and one.chance == 0.0 and one.years is None
    assert told(made).weighed.best is told(made).weighed.base or told(made).weighed.best.way.name == "of D2"


def test_whose_money_and_what_is_assumed(as_role):
    made = outline()
    client = as_role("sales")
    assert client.post(
        reverse("reports:outline_assumed", args=[made.pk]), {"interest_pct": "0", "pays sharpening": "on"}
    ).status_code == 302  # fmt: skip
    found = {whose: told(made, whose=whose).weighed for whose in ("all", "customer", "shop")}
    for n in range(2):  # who pays adds up
        parts = [found[whose].ways[n].cumulative[-1] for whose in ("customer", "shop")]
        assert float(sum(parts)) == pytest.approx(float(found["all"].ways[n].cumulative[-1]), rel=1e-12)
        assert found["shop"].ways[n].way.price == 0
        assert found["all"].ways[n].worth == found["all"].ways[n].cumulative[-1]  # at no interest the plain sum
    refused = client.post(reverse("reports:outline_assumed", args=[made.pk]), {"interest_pct": "101", "grind_mm": "0"})
    assert refused.status_code == 422 and "enter 0 to 100" in as_read(refused)
    assert Outline.objects.get().assumed == {"interest_pct": 0.0}


def test_what_the_records_and_rates_say_stands_in_the_place_of_what_is_usual():
    """60 and 95 an hour; 0.15 mm a grind; runs of 12,000; of 4 h a set of three 40 % for the rest, 48 min an edge."""
    shop.rates()
    shop.worked_die("H-900")
    for work in Work.objects.all():
        work.hours = 4.0 if work.position.code == "1-A" else None
        work.save()
    found = {figure.key: figure for figure in told(outline()).figures}
    for key, value in (
        ("toolroom_rate", 60), ("press_rate", 95), ("grind_mm", 0.15), ("look_hits", 12_000), ("refit_hours", 1.6),
        ("grind_minutes", 48.0),
    ):  # fmt: skip
        assert found[key].value == pytest.approx(value) and found[key].by_shop, key
    assert found["fit_hours"].source == "common practice, no source" and not found["fit_hours"].by_shop


def test_the_widest_bar_first_and_each_about_what_stands():
    found = told(outline())
    widths = [bar.width for bar in found.bars]
    assert widths == sorted(widths, reverse=True) and len(widths) > 5
    worth = float(found.bars_worth)
    for bar in found.bars:
        if bar.key not in ("life", "volume"):
            assert min(bar.at_low, bar.at_high) - 1e-6 <= worth <= max(bar.at_low, bar.at_high) + 1e-6, bar.key


def test_a_tighter_burr_costs_more_and_one_that_no_edge_keeps_is_refused():
    found = told(outline(burr_limit_um=40.0))
    for curve in found.by_burr:
        assert list(curve.y) == sorted(curve.y, reverse=True)
    loose = told(outline()).weighed.ways[0].running.expected
    assert found.weighed.ways[0].running.expected > loose
    assert "no more than a fresh edge leaves" in told(outline(burr_limit_um=8.0)).refusal


def test_a_tool_that_is_worn_out_within_a_year_has_no_even_yearly_cost(as_role):
    made = outline()
    made.ways.filter(sequence=1).update(lasts_hits=200_000)
    assert told(made).weighed.ways[0].yearly is None
    assert "worn out within a year" in as_read(as_role("sales").get(reverse("reports:outline", args=[made.pk])))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"volumes": "0"}, "No part is to be made"),
        ({"volumes": "-5"}, "nought or more"),
        ({"volumes": "many"}, "number"),
        ({"years": "21"}, "Enter 1 to 20 years"),
        ({"kind-0": "", "count-0": "", "length-0": ""}, "without an edge nothing goes dull"),
        ({"length-0": ""}, "How long is the cut"),
        ({"thickness_mm": "400"}, "enter 0.01 to 25"),
        ({"valid_until": "2026-01-01"}, "The offer would end before it begins"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said(as_role, change, words):
    make.plant()
    answer = as_role("sales").post(reverse("reports:outline_new"), SENT | change)
    assert answer.status_code == 422 and words in as_read(answer)
    assert not Outline.objects.exists()


def test_a_price_of_less_than_nothing_and_carbide_in_hrc_are_refused(as_role):
    made = outline()
    sent = {"name": "x", "steel": "carbide", "hardness_hrc": "58", "guides": "plain", "die_side": "solid",
            "stripper": "spring", "price": "-1"}  # fmt: skip
    text = as_read(as_role("sales").post(reverse("reports:outline_way_new", args=[made.pk]), sent))
    assert "A price is nought or more" in text and "Carbide is rated in HRA" in text
    assert made.ways.count() == 2


def test_a_copy_stands_by_itself_and_prices_are_those_of_the_day(as_role):
    made = outline(ways=1)
    made.ways.update(price=None)
    client = as_role("sales")
    for day, price in (("2026-01-01", "100"), ("2026-04-01", "200")):
        client.post(reverse("reports:build_prices"), {f"price-{n}": price for n in range(19)} | {"day": day})
    assert told(made).ways[0].price == Decimal("6940.00")  # of the first of March, whatever came after
    client.post(reverse("reports:outline_copy", args=[made.pk]))
    copy = Outline.objects.order_by("-pk").first()
    assert copy.pk != made.pk and copy.key != made.key and copy.places.count() == 1 and copy.ways.count() == 1
    assert copy.on > made.on and copy.valid_until - copy.on == dt.timedelta(days=61)
    assert told(copy).ways[0].price == Decimal("13880.00")
    client.post(reverse("reports:outline_away", args=[copy.pk]))
    listed = as_read(client.get(reverse("reports:outlines")))
    assert f"outlines/{made.pk}/" in listed and f"outlines/{copy.pk}/" not in listed
    assert f"outlines/{copy.pk}/" in as_read(client.get(reverse("reports:outlines"), {"away": "1"}))


def test_the_paper_is_the_same_bytes_and_keeps_the_rates_inside(as_role, tmp_path):
    shop.rates()
    made = outline(ways=3)
    client = as_role("sales")
    address = reverse("reports:outline_pdf", args=[made.pk])
    first, again, open_one = client.get(address), client.get(address), client.get(address, {"rates": "1"})
    assert first.content == again.content != open_one.content and first.content.startswith(b"%PDF")
    plain, shown = (_text(answer.content, tmp_path) for answer in (first, open_one))
    for words in ("clip 9", "Quillfen", "of carbide", "valid until 1 May 2026", "Money paid, year by year", "Brealey"):
        assert words in plain
    for words in ("toolroom an hour", "Over all parts, at today's prices"):
        assert words not in " ".join(plain.split()) and words.split()[0] in shown
    assert "The shop's rates per hour and prices of pieces are in the sums and not on this paper." in " ".join(
        plain.split()
    )
    other = outlined_tool(make.plant(), customer="Fernscar")
    assert client.get(reverse("reports:outline_pdf", args=[other.pk])).content != first.content


def _text(pdf: bytes, folder) -> str:
    (folder / "offer.pdf").write_bytes(pdf)
    return subprocess.run(
        ["pdftotext", "-layout", str(folder / "offer.pdf"), "-"], capture_output=True, text=True, check=True
    ).stdout  # fmt: skip


def test_page_file_and_spreadsheet_say_the_same(as_role):
    made = outline()
    client = as_role("sales")
    book = openpyxl.load_workbook(io.BytesIO(client.get(reverse("reports:outline_xlsx", args=[made.pk])).content))
    assert book.sheetnames == ["Ways", "Elements", "Years", "Volume", "Burr", "What matters", "Assumptions"]
    assert all(cell.data_type != "f" for sheet in book for row in sheet.iter_rows() for cell in row)
    ways = list(book["Ways"].values)
    csv = client.get(reverse("reports:outline_csv", args=[made.pk])).content.decode("utf-8-sig").splitlines()
    assert len(ways) == len(csv) == 3
    found = told(made).weighed
    elements = list(book["Elements"].values)[1:]
    for n, one in enumerate(found.ways):
        assert ways[n + 1][8] == pytest.approx(float(one.thousand), abs=1e-4)
        assert sum(row[n + 1] for row in elements) == pytest.approx(float(one.thousand), abs=1e-3)  # they add up


EXTREMES = st.fixed_dictionaries(
    {
        "thickness_mm": st.sampled_from([0.01, 1.0, 25.0]),
        "tensile_mpa": st.sampled_from([30.0, 3_000.0]),
        "burr_limit_um": st.sampled_from([None, 1.0, 61.0, 10_000.0]),
        "strokes_per_minute": st.sampled_from([0.1, 5_000.0]),
        "parts_per_hit": st.sampled_from([1, 200]),
        "volumes": st.sampled_from([[1], [0, 7], [10**12] * 20, [0] * 19 + [1]]),
    }
)
BUILT = st.fixed_dictionaries(
    {
        "steel": st.sampled_from(["W1", "carbide", "PM", "no such steel"]),
        "gap_pct": st.sampled_from([None, 1.0, 40.0]),
        "price": st.sampled_from([Decimal(0), Decimal(10**9)]),
        "lasts_hits": st.sampled_from([None, 1_000, 10**12]),
        "parts_per_hit": st.sampled_from([None, 1, 200]),
        "guides": st.sampled_from(["plain", "roller"]),
        "stripper": st.sampled_from(["fixed", "spring"]),
    }
)


@given(EXTREMES, st.lists(BUILT, min_size=1, max_size=3), st.sampled_from(["all", "customer", "shop"]))
@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_can_be_typed_has_an_answer_or_a_sentence(seller, values, ways, whose):
    made = outline(ways=0, **values)
    for n, way in enumerate(ways):
        written.put_way(by=made.user, outline=made, values=way | {"name": f"way {n}"})
    page = seller.get(reverse("reports:outline", args=[made.pk]), {"whose": whose})
    assert page.status_code == 200
    paper = seller.get(reverse("reports:outline_pdf", args=[made.pk]), {"whose": whose, "rates": "1"})
    said = page.context["told"].refusal
    assert (paper.status_code, bool(said)) in {(200, False), (302, True)}
    assert "nan" not in as_read(page).split() and "inf" not in as_read(page).split()


def test_writes_refuse_what_a_form_does_not_let_through():
    made = outline()
    for call, words in (
        (lambda by: written.put_prices(by=by, plant=made.plant, day=made.on, prices={"x": Decimal(1)}), "no element"),
        (lambda by: written.put_way(by=by, outline=made, values={"price": Decimal(-1)}), "less than nothing"),
    ):
        with pytest.raises(written.EntryRefused, match=words):
            call(made.user)
