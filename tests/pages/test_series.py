"""The page of a series of parts: as typed and as reckoned, what cannot be, and its file."""

from decimal import Decimal

import pytest
from django.urls import reverse

from reports.costing.series import PartOfSeries, series
from reports.format import cents
from reports.offers import reckon
from tests import factories as make
from tests.security.addresses import outlined_tool

from .as_read import as_read

pytestmark = pytest.mark.django_db
D = Decimal
TYPED = {
    "way": "1", "name-0": "clip 9", "parts-0": "300,000", "lot-0": "25,000",
    "name-1": "clip 11", "parts-1": "120000", "lot-1": "20000", "inserts-1": "1800", "hours-1": "1.5",
    "alone-1": "9000",
}  # fmt: skip


@pytest.fixture
def outline():
    make.plant()
    return outlined_tool(make.plant())


def page(client, outline, name="outline_series", **asked):
    return as_read(client.get(reverse(f"reports:{name}", args=[outline.pk]), asked))


def test_as_typed_and_as_reckoned(outline, as_role):
    client = as_role("sales")
    text = page(client, outline, **TYPED)
    told = reckon.reckon(outline)
    one = told.weighed.ways[0].way
    figures = {figure.key: figure.value for figure in told.figures}
    made = series(
        [
            PartOfSeries(name="clip 9", parts_a_year=300_000, lot=25_000, inserts=D(0), change_hours=D(0),
                         alone=one.price),
            PartOfSeries(name="clip 11", parts_a_year=120_000, lot=20_000, inserts=D(1800), change_hours=D("1.5"),
                         alone=D(9000)),
        ],
        tool=one.price, running=one.a_part, change_rate=D(str(figures["toolroom_rate"] + figures["press_rate"])),
        years=len(outline.volumes), interest=told.weighed.programme.interest, lasts_parts=one.lasts_parts,
    )  # fmt: skip
    assert f"One tool: {cents(made.shared_thousand)} EUR per thousand parts of the series" in text
    assert f"a tool for each: {cents(made.alone_thousand)}" in text and f"Over {made.parts:,} parts" in text
    assert text.count("clip 11") >= 2 and "6 lots a year" in text
    answer = client.get(reverse("reports:outline_series_csv", args=[outline.pk]), TYPED)
    rows = answer.content.decode("utf-8-sig").splitlines()
    assert len(rows) == 4 and rows[3].startswith(f"together,{made.parts}")


def test_it_begins_with_the_part_of_the_outline_and_asks_for_a_second(outline, as_role):
    client = as_role("sales")
    text = page(client, outline)
    assert "Nothing to compare yet." in text and "Type a second part" in text and outline.part in text
    link = reverse("reports:outline_series", args=[outline.pk])
    assert f'href="{link}"' in as_read(client.get(reverse("reports:outline", args=[outline.pk])))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"parts-1": "0"}, "cannot be"),
        ({"parts-1": "-3"}, "cannot be"),
        ({"inserts-1": "-1"}, "cannot be"),
        ({"hours-1": "two"}, 'class="wrong"'),
        ({"name-1": "clip 9"}, "Two parts have the same name."),
        ({"parts-0": "", "parts-1": ""}, "0 parts"),
        ({"way": "9"}, "cannot be"),
    ],
)
def test_what_cannot_be_is_said(outline, as_role, changed, words):
    text = page(as_role("sales"), outline, **TYPED | changed)
    assert "Nothing to compare yet." in text and words in text
    assert "Part by part" not in text
