"""Labels: every label lies on its sheet, and what is printed is read back from the picture."""

import re
import shutil
import subprocess

import pytest
import segno
from django.urls import reverse

from diestore.access.models import PlantOfUser
from diestore.drawing import paper
from diestore.register.models import Die, Plant
from maintenance.screens.labels import pdf
from maintenance.screens.labels.sheets import A4, SHEETS
from tests import factories as make
from tests.pages.as_read import as_read


@pytest.mark.parametrize("sheet", SHEETS.values(), ids=lambda s: s.key)
def test_labels_lie_on_the_paper_and_not_on_each_other(sheet):
    places = list(sheet.places(sheet.labels))
    assert {page for page, _, _ in places} == {0}
    for _, left, top in places:
        assert left >= 0 and left + sheet.width <= sheet.paper[0] + 1e-9
        assert top >= 0 and top + sheet.height <= sheet.paper[1] + 1e-9
    for i, (_, a, b) in enumerate(places):
        for _, c, d in places[i + 1 :]:
            assert abs(a - c) >= sheet.width - 1e-9 or abs(b - d) >= sheet.height - 1e-9


def test_a_begun_sheet_is_gone_on_with():
    sheet = SHEETS["a4-24"]
    assert [(page, round(x, 1), round(y, 1)) for page, x, y in sheet.places(3, first=23)] == [
        (0, 70.0, 259.5), (0, 140.0, 259.5), (1, 0.0, 0.5),
    ]  # fmt: skip
    made = pdf.sheets([pdf.Label("http://h/d/1/", "K-1")] * 3, sheet, first=23)
    assert len(re.findall(rb"/Type /Page\b(?!s)", made)) == 2


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm is not here")
@pytest.mark.parametrize("sheet", SHEETS.values(), ids=lambda s: s.key)
def test_the_code_in_the_picture_is_the_codes_own(sheet, tmp_path):
    """Read back module by module from what a printer would print, and held against the code made anew."""
    from PIL import Image

    address = "https://dies.example.com/d/K-150/"
    (tmp_path / "a.pdf").write_bytes(pdf.sheets([pdf.Label(address, "K-150", ("shelf bracket",))], sheet))
    dpi = 600
    subprocess.run(["pdftoppm", "-r", str(dpi), "-gray", "-png", "a.pdf", "a"], cwd=tmp_path, check=True)
    image = Image.open(next(tmp_path.glob("a*.png"))).convert("L")
    expected = [list(row) for row in segno.make(address, error="m", micro=False).matrix]
    side = min(sheet.height - 2 * pdf.EDGE_MM, sheet.width * 0.42)
    module = side / (len(expected) + 2 * paper.QUIET)
    left, top = sheet.left + pdf.EDGE_MM, sheet.top + (sheet.height - side) / 2

    def is_dark(row, column):
        x, y = left + (column + paper.QUIET + 0.5) * module, top + (row + paper.QUIET + 0.5) * module
        return int(image.getpixel((round(x / 25.4 * dpi), round(y / 25.4 * dpi))) < 128)

    n = len(expected)
    assert [[is_dark(row, column) for column in range(n)] for row in range(n)] == expected
    assert module >= 0.33, "a phone needs a third of a millimetre for a module: common practice, no source"


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not here")
@pytest.mark.parametrize("sheet", SHEETS.values(), ids=lambda s: s.key)
def test_a_code_is_printed_whole(sheet, tmp_path):
    codes = ("K-100", "26-0127", "WWWW-88")
    (tmp_path / "a.pdf").write_bytes(pdf.sheets([pdf.Label("http://h/", code) for code in codes], sheet))
    said = subprocess.run(["pdftotext", "a.pdf", "-"], cwd=tmp_path, check=True, capture_output=True, text=True).stdout
    assert all(code in said.split() for code in codes)


def test_other_alphabets_and_long_names_print():
    long = pdf.Label("http://h/d/x/", "К-150 Ł " + "W" * 60, ("описание " * 40, ""))
    for sheet in SHEETS.values():
        assert pdf.sheets([long], sheet).startswith(b"%PDF")


@pytest.mark.django_db
@pytest.mark.parametrize(("role", "kinds"), [("lead", 3), ("buyer", 2), ("toolmaker", 2), ("sales", 0), ("setter", 0)])
def test_who_prints_what(as_role, role, kinds):
    client, die = as_role(role), make.die("H-7/2")
    make.item()
    make.order(die)
    there = reverse("maintenance:labels")
    page = client.get(there)
    assert page.status_code == (200 if kinds else 403)
    if kinds:
        assert len(re.findall(r'href="\?of=\w+"', as_read(page))) == kinds
        assert "no phone can open" not in as_read(page), "testserver is a name"
        sent = {"sheet": "a4-24", "first": "1", "address": "http://testserver"}
        answer = client.post(there, sent)
        assert answer["Content-Type"] == "application/pdf" and answer.content.startswith(b"%PDF")
        assert client.post(f"{there}?of=spares", sent).status_code == 200


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({"first": "25"}, "24 labels"),
        ({"first": "0"}, "24 labels"),
        ({"first": "x"}, "not a number"),
        ({"address": "javascript:alert(1)"}, "as a browser shows it"),
        ({"address": "http://[::1"}, "as a browser shows it"),
        ({"address": "http://h:99999"}, "as a browser shows it"),
        ({"sheet": "a5"}, "Select a valid choice"),
        ({"picked": "999"}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_printed_is_said(as_role, other, says):
    client = as_role("lead")
    make.die()
    sent = {"sheet": "a4-24", "first": "1", "address": "http://h"} | other
    answer = client.post(reverse("maintenance:labels"), sent)
    assert answer.status_code == 422 and says in as_read(answer)


@pytest.mark.django_db
def test_nothing_of_another_plant_gets_a_label(as_role):
    client, mine = as_role("lead"), make.die("MINE-1")
    other = Plant.objects.create(code="annexe")
    hidden = Die.objects.create(plant=other, code="OTHER-1", usual_stock=mine.usual_stock, strokes_per_minute=60)
    PlantOfUser.objects.create(user_id=client.session["_auth_user_id"], plant=mine.plant)
    there = reverse("maintenance:labels")
    assert "OTHER-1" not in as_read(client.get(there)) and "MINE-1" in as_read(client.get(there))
    sent = {"sheet": "a4-24", "first": "1", "address": "http://h", "picked": str(hidden.pk)}
    assert client.post(there, sent).status_code == 422


def test_papers_are_as_the_standard_says():
    assert A4 == (210.0, 297.0)  # ISO 216
