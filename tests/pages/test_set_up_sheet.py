"""The set-up sheet as a page and on paper: what it says, what it refuses, and that a copied die has the same."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from diestore.access.models import UserSettings
from maintenance.log import building, set_up_reads, write
from maintenance.models import Reading
from maintenance.policy.stop_blocks import BlockReading
from tests import factories as make
from tests.cards.test_cards import change
from tests.pages.as_read import as_read

pytestmark = pytest.mark.django_db
PRESS = dict(rated_force_n=1.6e6, shut_height_min_mm=260, shut_height_max_mm=400, frame="straight side", stroke_mm=100,
             rated_at_mm=6, strokes_least=20, strokes_most=80, passline_min_mm=100, passline_max_mm=160,
             upper_weight_max_kg=800)  # fmt: skip
DIE = dict(shut_height_mm=340, passline_mm=120, feed_pitch_mm=58, pilot_release_mm=10.8, strip_width_mm=80,
           oil="vanishing oil", stroke_needed_mm=40, contact_mm=6, weight_kg=450, upper_weight_kg=190)  # fmt: skip


@pytest.fixture
def anchor():
    """210 mm of cut in 2 mm of 300 MPa: 126 kN; springs of 927, 879, 871 and 865 N."""
    stock = make.stock("low-carbon steel", 380, 2.0)
    stock.shear_mpa = 300
    stock.save()
    press = make.press("P4")
    for name, value in PRESS.items():
        setattr(press, name, value)
    press.save()
    die = make.die("H-150", of=stock, usual_press=press, strokes_per_minute=55, **DIE)
    for code, mm, group in (
        ("1-A", 18.8, "1"),
        ("1-B", 34.6, "1"),
        ("1-C", 34.6, "1"),
        ("3-A", 58, "2"),
        ("5-A", 64, "1"),
    ):
        make.position(die, code, length_mm=mm, height_group=group)
    for number, force in enumerate((927, 879, 871, 865), start=1):
        place = make.position(die, f"SS-{number}", kind="stripper_spring", length_mm=None)
        for day, newtons in ((2, force + 60), (3, force)):
            Reading.objects.create(
                position=place, at=make.moment(day), quantity="spring force", value_si=newtons,
                typed_value=str(newtons), typed_unit="N", through="import", key=f"{place.code}-{day}",
            )  # fmt: skip
    return die


def sheet_of(die, **query) -> str:
    return reverse("maintenance:set_up_sheet", args=[die.pk]) + "".join(f"?{k}={v}" for k, v in query.items())


def paper_of(die) -> str:
    return reverse("maintenance:set_up_paper", args=[die.pk])


def test_the_sheet_says_what_cutting_and_stripping_take(anchor, as_role):
    client = as_role("setter")
    said = as_read(client.get(sheet_of(anchor)))
    assert "H-150 fits P4, by all that is known" in said
    assert "126 kN" in said and "210.00 mm of cut × 2.00 mm × 300 MPa (shear strength of the stock, as typed)" in said
    assert "group 1: 91.2 kN; group 2: 34.8 kN" in said and "145 to 164 kN" in said
    assert "The springs fitted hold 3.54 kN of 3.8 to 25 kN needed: less than any rule asks" in said
    assert "8 % sharp, 9 to 10 % dull" in said and "of 1,600.0 kN" in said
    # [T7-03] 29 CFR 1910.217(d)(6): force and stroke at hand for the setter, the weight of the die and its upper half
    assert all(f"<b>{figure}</b>" in said for figure in ("40.00 mm", "450.0 kg", "190.0 kg"))
    # [T7-04] safety blocks whenever a die is adjusted in the press: 29 CFR 1910.217(d)(9)(iv)
    assert "Put the safety blocks in" in said and "maker" in said
    assert "Not known: step between groups" in said and "Type it on the die" not in said  # the setter changes no card
    assert "Type it on the die" in as_read(as_role("lead").get(sheet_of(anchor)))


def test_what_does_not_fit_the_press_is_refused_and_another_is_offered(anchor, as_role):
    client, other = as_role("setter"), make.press("P2")
    anchor.shut_height_mm, anchor.upper_weight_kg, anchor.weight_kg = 420, 900, 2000
    anchor.save()
    said = as_read(client.get(sheet_of(anchor)))
    assert "Do not put it in: H-150 does not fit P4." in said
    assert "Its shut height of 420.00 mm is more than P4 opens to, 400.00 mm." in said
    assert "Its upper half of 900.0 kg is heavier than the slide of P4 carries, 800.0 kg." in said
    assert f'href="?press={other.pk}"' in said
    assert "H-150 fits P2" in as_read(client.get(sheet_of(anchor, press=other.pk)))
    for wrong in ("x", "9" * 30, "-1", str(10**17)):
        assert client.get(sheet_of(anchor, press=wrong)).status_code == 404, wrong


def test_the_paper_is_the_same_for_the_same_die_and_its_copy_says_the_same(anchor, as_role):
    client = as_role("setter")
    first, again = (client.get(paper_of(anchor)) for _ in range(2))
    assert first["Content-Type"] == "application/pdf" and first.content == again.content
    assert first.content.startswith(b"%PDF") and first.content.count(b"/Type /Page\n") == 1
    copy = building.copy_die(by=make.actor(), die=anchor, code="H-151")
    read, copied = set_up_reads.read(anchor), set_up_reads.read(copy)
    assert copied.sheet().force == read.sheet().force and copied.sheet().load == read.sheet().load
    assert copied.height.mm == read.height.mm and copied.sheet().misfits == read.sheet().misfits
    assert sorted(copied.cuts, key=str) == sorted(read.cuts, key=str)
    assert copied.sheet().stripping.needed_n == read.sheet().stripping.needed_n
    assert copied.sheet().stripping.held_n is None  # its springs were never measured


def test_the_newest_shut_height_counts_and_what_was_ground_since_is_said(anchor, as_role):
    write.log_set_up(by=make.actor(), die=anchor, at=make.moment(5), press=anchor.usual_press, shut_height_mm=339.6,
                     is_good=True, readings=[BlockReading(place="SB-1", crushed_mm=0.05)])  # fmt: skip
    make.sharpen(anchor, 6, anchor.positions.get(code="1-A"), removed_mm=0.15)
    make.sharpen(anchor, 7, anchor.positions.get(code="1-A"), removed_mm=0.1)
    said = as_read(as_role("setter").get(sheet_of(anchor)))
    assert "339.60 mm" in said and "as it was left to run on" in said
    assert "up to 0.25 mm ground off on the punch side since then" in said


def test_an_inch_shop_reads_inches_and_tons(anchor, as_role):
    client = as_role("setter")
    user = User.objects.get(username="setter")
    UserSettings.objects.update_or_create(user=user, defaults={"plant": make.plant(), "units": "inch"})
    said = as_read(client.get(sheet_of(anchor)))
    assert "13.386 in" in said and "14.2 US tons" in said and "419 lb" in said
    assert "The springs fitted hold 796 lbf of 850 to 5,700 lbf needed" in said


def test_a_bare_die_has_a_sheet_that_says_what_is_missing(as_role):
    die = make.die("H-1")
    client = as_role("setter")
    said = as_read(client.get(sheet_of(die)))
    assert "No press is picked" in said and "No cut of it is entered, so no force is computed." in said
    assert client.get(paper_of(die)).content.startswith(b"%PDF")


def test_a_figure_that_cannot_be_is_refused_on_the_card(anchor, as_role):
    client = as_role("lead")
    for column, text, sentence in (
        ("upper_weight_kg", "600", "The upper half is heavier than the whole die."),
        ("passline_mm", "500 mm", "The strip would run above the closed die."),
        ("strip_width_mm", "-3", "the least"),
    ):
        answer = change(client, "diestore:dies_card", anchor, how="never so", **{column: text})
        assert answer.status_code == 422 and sentence in as_read(answer), column
        anchor.refresh_from_db()
        assert getattr(anchor, column) == DIE[column]


def test_springs_as_they_sit_and_a_spring_over_its_travel_is_refused(anchor, as_role):
    client = as_role("setter")
    item = make.item("SP-25x64", kind="stripper_spring", length_mm=64, spring_rate_n_mm=70, grind_allowance_mm=None,
                     spring_class="ISO 10243 blue", tool_steel="", hardness_hrc=None)  # fmt: skip
    anchor.positions.filter(kind="stripper_spring").update(item=item)
    anchor.spring_fitted_mm, anchor.stripper_travel_mm = 51, 3
    anchor.save()
    said = as_read(client.get(sheet_of(anchor)))
    # 13 mm of preload at 70 N/mm, 16 mm closed, which is a quarter of 64; blue takes 37.5 %, 24 mm
    assert "819 to 1,000 N" in said or "0.819 to 1 kN" in said or "819 N to 1 kN" in said or "819 N to 1.00 kN" in said
    assert "25 % of free length" in said and "8.00 mm" in said and "fits P4" in said
    anchor.stripper_travel_mm = 12
    anchor.save()
    said = as_read(client.get(sheet_of(anchor)))
    assert "Do not run it: a spring of H-150 cannot take its travel." in said
    assert (
        "over their travel: pressed by 25.00 mm in the closed die, and 24.00 mm is the most for ISO 10243 blue" in said
    )
    anchor.spring_fitted_mm = 70
    anchor.save()
    assert "It would sit loose" in as_read(client.get(sheet_of(anchor)))
    copy = building.copy_die(by=make.actor(), die=anchor, code="H-152")
    assert (copy.spring_fitted_mm, copy.stripper_travel_mm) == (70, 12)


def test_a_colour_without_its_standard_is_refused_on_the_card_of_a_spare(as_role):
    client, item = as_role("lead"), make.item("SP-1", kind="stripper_spring")
    answer = change(client, "diestore:spares_card", item, spring_class="red", how="never so")
    assert answer.status_code == 422 and "means nothing without its standard" in as_read(answer)
    assert change(client, "diestore:spares_card", item, spring_class="ISO 10243 red", how="never so").status_code == 302
