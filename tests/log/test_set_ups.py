"""Set-ups in the log: entered, refused, struck out, taken to another house; and what their page says."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore import units
from maintenance.log import set_ups, write
from maintenance.models import SetUp
from maintenance.policy.stop_blocks import BlockReading, closing
from maintenance.screens.set_up import page
from tests import factories
from tests.pages.as_read import as_read

pytestmark = pytest.mark.django_db


def a_die():
    die = factories.die()
    for code, (x, y) in {"SB-1": (0, 0), "SB-2": (400, 0), "SB-3": (400, 250), "SB-4": (0, 250)}.items():
        factories.position(die, code, kind="stop_block", side="lower", x_mm=x, y_mm=y)
    return die


def lines(crushed: dict[str, str], **more) -> dict:
    data = {}
    for n in range(4):
        data |= {f"crushed_{n}": crushed.get(f"SB-{n + 1}", ""), f"slot_{n}": "1,27", f"off_{n}": "0.05"}
    return data | {"at": "2025-01-08T06:00", "person": factories.person().pk, "key": "k1", **more}


def entered(die, crushed: float, day: int, *, third: float = 0.0, good: bool = False):
    readings = [
        BlockReading(
            place=p.code,
            crushed_mm=crushed + (third if p.code == "SB-3" else 0),
            slot_mm=1.27,
            x_mm=p.x_mm,
            y_mm=p.y_mm,
        )
        for p in die.positions.filter(kind="stop_block").order_by("code")
    ]
    return write.log_set_up(
        by=factories.actor(), die=die, at=factories.moment(day), readings=readings, shut_height_mm=300.0, is_good=good
    )


def test_a_set_up_is_entered_at_the_press_and_its_page_says_what_to_do(as_role):
    """0.050 in of slot, 0.075 in crushed: 0.635 mm to contact, 0.585 to a stand-off of 0.05 (common practice)."""
    client, die = as_role("setter"), a_die()
    address = reverse("maintenance:set_up", args=[die.pk])
    assert "No set-up of this die is entered yet" in as_read(client.get(address))
    url = f"{reverse('maintenance:log_set_up')}?die={die.pk}"
    assert "SB-4" in as_read(client.get(url))
    crushed = {"SB-1": "1.905", "SB-2": "0.075 in", "SB-3": "1.905", "SB-4": "1.905 mm"}
    said = as_read(client.post(url, lines(crushed, shut_height="300"), follow=True))
    assert "The slide may come down by 0.585 mm more. Then SB-1 is at its stand-off" in said
    assert "Shut height to dial in: <strong>299.415 mm</strong>" in said
    assert "The readings agree within 0.000 mm." in said and "Never reach into the die" not in said
    assert "Put the safety blocks in" in said
    row = SetUp.objects.get()
    assert [one["crushed_mm"] for one in row.readings] == pytest.approx([1.905] * 4)
    client.post(url, lines(crushed, shut_height="300"))  # the same form again
    assert SetUp.objects.count() == 1
    assert 'value="1.27"' in as_read(client.get(url))  # the slots are expected next time


def test_the_odd_corner_is_named_against_a_set_up_that_was_right(as_role):
    client, die = as_role("lead"), a_die()
    address = reverse("maintenance:set_up", args=[die.pk])
    bad = entered(die, 1.50, 1, third=0.20)
    said = as_read(client.get(address))
    assert "One place seems off, and 4 readings cannot say which" in said
    good = entered(die, 1.32, 2, good=True)
    entered(die, 1.40, 3, third=0.15)
    said = as_read(client.get(address))
    assert "SB-3 is 0.150 mm further open than the others lead to expect" in said
    write.strike_out(by=factories.actor(), entry=good, reason="another die")
    assert "cannot say which" in as_read(client.get(address))
    assert set_ups.latest(die, count=9)[-1].row == bad


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({}, "Lay solder on at least one block and measure it."),
        ({"SB-1": "-1"}, "must be 0 mm or more"),
        ({"SB-1": "a lot"}, "a lot"),
        ({"SB-1": "250"}, "250 mm at SB-1 cannot be a crushed piece"),
        ({"SB-1": "1.00"}, "measures less than its slot is deep"),
        ({"SB-1": "30", "SB-2": "1.9"}, "very thick for crushed solder"),
    ],
)
def test_what_cannot_be_is_asked_about_and_nothing_is_saved(as_role, typed, words):
    client, die = as_role("setter"), a_die()
    answer = client.post(f"{reverse('maintenance:log_set_up')}?die={die.pk}", lines(typed))
    assert answer.status_code == 422 and words in as_read(answer)
    assert not SetUp.objects.exists()


def test_pieces_at_other_places_and_a_die_without_blocks(as_role):
    client, die = as_role("setter"), factories.die()
    url = f"{reverse('maintenance:log_set_up')}?die={die.pk}"
    data = {"at": "2025-01-08T06:00", "person": factories.person().pk, "crushed_0": "2.51", "x_0": "0", "y_0": "0"}
    answer = client.post(url, data)
    assert answer.status_code == 422 and "Say where this piece lay." in as_read(answer)
    said = as_read(client.post(url, data | {"place_0": "left, by the operator <b>"}, follow=True))
    assert "left, by the operator &lt;b&gt;" in said and SetUp.objects.get().readings[0]["x_mm"] == 0


def test_a_good_set_up_counts_however_long_ago(as_role):
    die = a_die()
    entered(die, 1.32, 1, good=True)
    for day in range(2, 12):
        entered(die, 1.40, day, third=0.15)
    assert {one.closing.odd_place for one in set_ups.latest(die, count=4)} == {"SB-3"}


def test_an_inch_user_reads_the_tilt_in_inches_over_a_foot(as_role):
    """0.5 mm over 400 mm is 1.25 mm over a metre, and 0.0150 in over a foot."""
    readings = [
        BlockReading(place=str(n), crushed_mm=1 + x * 0.5 / 400, x_mm=x, y_mm=y)
        for n, (x, y) in enumerate(((0, 0), (400, 0), (400, 250), (0, 250)))
    ]
    standing = set_ups.Standing(row=SetUp(), readings=readings, closing=closing(readings))
    metric, inch = (" ".join(page.remarks(standing, system)) for system in units.System)
    assert "tilted by 1.25 mm a metre along" in metric
    assert "tilted by 0.0150 in a foot along" in inch and " mm" not in inch


def test_two_blocks_along_the_feed_are_drawn_apart_and_one_alone_is_not_drawn():
    def marks(*at):
        readings = [BlockReading(place=f"SB-{n}", crushed_mm=1, x_mm=x, y_mm=y) for n, (x, y) in enumerate(at)]
        standing = set_ups.Standing(row=SetUp(), readings=readings, closing=closing(readings))
        return page.from_above(standing, units.System.METRIC)

    drawn = marks((0, 64), (384, 64))
    assert drawn and drawn.marks[1].x - drawn.marks[0].x == pytest.approx(drawn.width - 2 * page.MARGIN)
    assert marks((0, 64), (0, 64)) is None and marks((3, 3)) is None


def test_a_cell_of_a_folder_and_back():
    readings = [
        BlockReading(place="SB-1", crushed_mm=1.9, slot_mm=1.27, x_mm=0, y_mm=5),
        BlockReading(place="b", crushed_mm=2),
    ]
    rows = set_ups.kept(readings)
    assert set_ups.of_cells(set_ups.cells_of(rows)) == rows
    for wrong in ("SB-1", "SB-1|a|1|1", "|1|1|1", "SB-1|1|1", "SB-1|1|1|1|1|1|1", "SB-1|1|1|1|1e9", "SB-1|nan|1|1"):
        with pytest.raises(ValueError, match=r"SB-1|is no reading"):
            set_ups.of_cells([wrong])


def test_struck_out_and_entered_again_it_starts_with_what_it_said(as_role):
    client, die = as_role("lead"), a_die()
    row = entered(die, 1.50, 1)
    write.strike_out(by=factories.actor(), entry=row, reason="slot mistaken")
    shown = as_read(client.get(f"{reverse('maintenance:log_set_up')}?die={die.pk}&instead=setup-{row.pk}"))
    assert "You enter again what was struck out" in shown and 'value="1.5"' in shown


def test_the_page_asks_as_often_after_three_set_ups_as_after_eight(as_role, django_assert_num_queries):
    client, die = as_role("setter"), a_die()
    address = reverse("maintenance:set_up", args=[die.pk])
    for day in range(1, 4):
        entered(die, 1.4, day)
    client.get(address)
    with CaptureQueriesContext(connection) as asked:
        client.get(address)
    for day in range(4, 12):
        entered(die, 1.4, day)
    with django_assert_num_queries(len(asked)):
        client.get(address)
    assert len(asked) <= 15
