"""Heights read from the log: what was ground, shimmed, measured and replaced; and what their page says."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore import units
from diestore.access.models import UserSettings
from diestore.register.models import Piece
from maintenance.log import bench, heights, set_up_reads, write
from maintenance.models import Replacement
from maintenance.policy import height_targets
from maintenance.policy.height_ledger import Act
from maintenance.policy.heights import Lack
from maintenance.policy.stop_blocks import BlockReading
from maintenance.screens.bench import sheet
from tests import factories
from tests.pages.as_read import as_read

pytestmark = pytest.mark.django_db


def a_die(punches: int = 3, **more):
    """Punches 71 mm and die buttons 25 mm long, set in right on day 1 at a shut height of 250 mm."""
    die = factories.die(of=factories.stock(thickness_mm=2.0))
    with factories.nothing_follows():
        for n in range(punches):
            for end, kind, side, length in (("", "pierce_punch", "upper", 71.0), ("D", "die_button", "lower", 25.0)):
                item = factories.item(code=f"{kind}{length:g}", length_mm=length, grind_allowance_mm=4.0)
                place = factories.position(die, f"1-{'ABCDEFGHIJ'[n]}{end}", kind=kind, side=side, item=item,
                                           height_group="1" if side == "upper" else "")  # fmt: skip
                Piece.objects.filter(fittings__position=place).update(length_mm=length, grind_allowance_mm=4.0)
        write.log_set_up(
            by=factories.actor(), die=die, at=factories.moment(1), shut_height_mm=250.0, is_good=True,
            readings=[BlockReading(place="SB-1", crushed_mm=0.254, stand_off_mm=0.25)],
        )  # fmt: skip
    return die


def place(die, code: str):
    return die.positions.get(code=code)


@factories.nothing_follows()
def ground(die, day: float, mm: float | None, *codes: str, **more):
    pieces = [write.SharpenedPiece(position=place(die, code), removed_mm=mm, **more) for code in codes]
    return write.log_sharpening(by=factories.actor(), die=die, at=factories.moment(day), pieces=pieces)


@factories.nothing_follows()
def shimmed(die, day: float, mm: float, *codes: str):
    pieces = [write.SharpenedPiece(position=place(die, c), operation="spacer", raised_mm=mm) for c in codes]
    return write.log_sharpening(by=factories.actor(), die=die, at=factories.moment(day), pieces=pieces)


def test_the_set_up_sheet_takes_the_groups_as_deep_as_they_stand(as_role):
    """Group 2 was built 1.5 mm shorter; 0.7 came off the first since: 0.8 mm is left, under half of 2 mm of stock."""
    die = a_die(2)
    die.cuts.filter(upper=None).delete()  # one contour each: that of its punch
    short = place(die, "1-B")
    item = factories.item(code="short", length_mm=69.5, grind_allowance_mm=4.0)
    type(short).objects.filter(pk=short.pk).update(height_group="2", item=item)
    Piece.objects.filter(fittings__position=short).update(length_mm=69.5)
    assert set_up_reads.depths_of(die) == pytest.approx({"1": 0.0, "2": 1.5})
    client, address = as_role("setter"), reverse("maintenance:set_up_sheet", args=[die.pk])
    apart = as_read(client.get(address))
    assert "Groups enter" in apart and "group 1: first; group 2: 1.50 mm later" in apart
    ground(die, 2, 0.7, "1-A")
    assert set_up_reads.read(die).depths_mm == pytest.approx({"1": 0.0, "2": 0.8})
    sheet_now = set_up_reads.read(die).sheet().force
    assert sheet_now.peak_n.middle == pytest.approx(sheet_now.together_n.middle)  # they add up again


def test_the_new_shut_height_is_held_against_the_press_and_the_pilots_against_the_feed(as_role):
    die = a_die(2)
    press = factories.press("P9")
    press.shut_height_min_mm, press.shut_height_max_mm = 249.8, 300.0
    press.save()
    pilot_item = factories.item(code="pilot", kind="pilot", length_mm=73.5, grind_allowance_mm=None)
    factories.position(die, "2-P", kind="pilot", item=pilot_item)
    Piece.objects.filter(fittings__position=place(die, "2-P")).update(length_mm=73.5)
    die.usual_press, die.contact_mm, die.pilot_release_mm = press, 3.0, 5.0
    die.save()
    client, address = as_role("setter"), reverse("maintenance:heights", args=[die.pk])
    measured(die, 1.5, "1-A", 1.0, quantity=heights.ENTRY)
    said = as_read(client.get(address))
    # 2 mm of stock and 1 mm of entry: met at 3.00; the pilot is 2.5 mm ahead: let go at 5.50 or higher
    assert "5.50 mm or more" in said and "release 0.50 mm higher" in said and "First punch meets" not in said
    assert "New shut height in P9" in said and "parallels under the die" not in said
    ground(die, 2, 0.3, "1-A", "1-B")
    assert "shims or parallels under the die" in as_read(client.get(address))
    type(die).objects.filter(pk=die.pk).update(contact_mm=4.0, pilot_release_mm=6.0)
    said = as_read(client.get(address))
    assert "put it right on the die" in said and "release 0" not in said


def measured(die, day: float, code: str, mm: float, quantity: str = heights.LENGTH):
    return write.log_reading(by=factories.actor(), at=factories.moment(day), quantity=quantity, value_si=mm / 1000,
                             typed_value=f"{mm}", typed_unit="mm", position=place(die, code))  # fmt: skip


UPPER, LOWER = ("1-A", "1-B", "1-C"), ("1-AD", "1-BD", "1-CD")


def test_the_shut_height_follows_what_was_ground_and_striking_out_restores_it():
    die = a_die()
    punches, faces = ground(die, 2, 0.15, *UPPER), ground(die, 2, 0.10, *LOWER)
    made = heights.of_die(die).ledger
    # 250.0 mm, punches 0.15, die 0.10: 249.75 [T6-08]
    assert made.shut.new_mm == pytest.approx(249.75, abs=1e-9)
    (block,) = made.blocks
    assert block.lower_mm == pytest.approx(0.246, abs=1e-9)
    shimmed(die, 3, 0.15, *UPPER)
    assert heights.of_die(die).ledger.shut.new_mm == pytest.approx(249.9, abs=1e-9)
    for row in (punches[0], faces[0]):  # its set goes with it
        write.strike_out(by=factories.actor(), entry=row, reason="another die")
    assert heights.of_die(die).ledger.shut.new_mm == pytest.approx(250.15, abs=1e-9)
    before = heights.of_die(die, at=factories.moment(2.5)).ledger
    assert before.shut.new_mm == pytest.approx(250.0, abs=1e-9)


def test_a_new_piece_starts_at_its_length_without_the_spacers_of_the_old_one():
    die = a_die()
    for day, mm in ((2, 0.1), (3, 0.1), (4, 1.8)):
        ground(die, day, mm, *UPPER)
    shimmed(die, 5, 0.5, "1-C")
    write.log_replacement(by=factories.actor(), position=place(die, "1-C"), at=factories.moment(6), why="dull")
    row = heights.of_die(die).ledger.row("1-C")
    assert (row.standing.length_mm, row.standing.spacers_mm, row.standing.off_mm) == (71.0, 0.0, 0.0)
    assert row.out_mm == pytest.approx(2.0)
    assert (row.way.act, row.way.codes, row.other.act) == (Act.SHIM, ("1-A", "1-B"), Act.GRIND)


def test_a_piece_takes_its_length_along_and_leaves_its_spacers():
    die = a_die()
    ground(die, 2, 0.5, "1-A")
    shimmed(die, 2.5, 0.5, "1-A")
    piece = place(die, "1-A").fittings.get(until=None).piece
    piece.mark = "A7"
    piece.save()
    by = factories.actor()
    write.log_replacement(by=by, position=place(die, "1-A"), at=factories.moment(3), why=Replacement.Why.OTHER)
    write.log_replacement(by=by, position=place(die, "1-B"), at=factories.moment(4), why=Replacement.Why.OTHER,
                          piece=piece)  # fmt: skip
    row = heights.of_die(die).ledger.row("1-B")
    assert (row.height_mm, row.standing.spacers_mm) == (pytest.approx(70.5), 0.0)
    assert row.seat.allowance_mm == pytest.approx(3.5)


def test_what_was_measured_counts_and_what_was_not_written_down_is_said():
    die = a_die()
    ground(die, 2, None, "1-A")
    row = heights.of_die(die).ledger.row("1-A")
    assert (row.height_mm, row.lack) == (None, Lack.AMOUNT)
    measured(die, 3, "1-A", 70.8)
    assert heights.of_die(die).ledger.row("1-A").height_mm == pytest.approx(70.8)
    ground(die, 4, 0.1, "1-A", length_after_mm=70.5)
    row = heights.of_die(die).ledger.row("1-A")
    assert row.height_mm == pytest.approx(70.5)
    assert [round(slip.by_mm, 9) for slip in row.standing.slips] == [-0.2]


def test_allowance_and_grinds_are_those_of_the_spares():
    from reports.spares.reads import allowances_left
    from reports.spares.use import PlantAhead

    die = a_die()
    for day in range(2, 8):
        ground(die, day, 0.13, *UPPER)
    write.log_replacement(by=factories.actor(), position=place(die, "1-C"), at=factories.moment(8), why="dull")
    found = heights.of_die(die)
    left = allowances_left(die.positions.all())
    for code, pos in found.places.items():
        assert found.ledger.row(code).seat.allowance_mm == pytest.approx(left[pos.pk])
    ahead = PlantAhead.of(die.plant)
    spares = {place.row.code: place.grinds_left for places in ahead.places.values() for place in places}
    assert {code: found.grinds[code] for code in UPPER} == {code: spares[code] for code in UPPER}


def test_the_page_says_what_to_shim_and_by_how_much(as_role):
    client, die = as_role("toolmaker"), a_die()
    address = reverse("maintenance:heights", args=[die.pk])
    assert "Every group stands level. Nothing has to be shimmed." in as_read(client.get(address))
    ground(die, 2, 0.15, *UPPER)
    ground(die, 3, 0.20, "1-B")
    said = as_read(client.get(address))
    assert "1-B stands out of level: shim 0.20 mm under 1-B." in said
    assert "or grind 0.20 mm off each of 1-A and 1-C" in said
    assert "249.85 mm without shims; 250.00 mm with them" in said
    assert "take 0.15 mm off it, or shim what was ground" in said
    assert "Heights enlarged" in said and "Punch entry is not known" in said
    measured(die, 4, "1-A", 0.3, heights.ENTRY)
    measured(die, 4, "1-A", 0.4, heights.ROOM)
    said = as_read(client.get(address))
    assert "close by 0.40 mm more" in said  # 1-B goes in 0.10 only, 0.50 is the least [T6-10]
    assert "Room at 1-A with the die closed" in said and "less than 1-A, 1-B" in said


def test_a_new_piece_in_a_ground_set_is_told_what_to_grind_or_to_set_out(as_role):
    client, die = as_role("toolmaker"), a_die()
    for day, mm in ((2, 0.1), (3, 0.1), (4, 1.8)):
        ground(die, day, mm, *UPPER)
    url = f"{reverse('maintenance:log_replacement')}?die={die.pk}"
    data = {"position": place(die, "1-C").pk, "why": "dull", "from_shelf": "no", "goes_in": "new",
            "found": "not looked", "at": "2025-01-12T06:00", "person": factories.person().pk, "key": "k1"}  # fmt: skip
    answer = client.post(url, data, follow=True)
    assert answer.status_code == 200, answer.context["form"].errors
    said = as_read(answer)
    assert "1-C stands 2.00 mm proud of its group: shim 2.00 mm under each of 1-A and 1-B, or grind 2.00 mm off" in said


def test_the_bench_sheet_shows_the_same_lengths_and_shims(as_role):
    client, die = as_role("lead"), a_die()
    ground(die, 2, 0.10, *UPPER)
    edges = [bench.EdgeToGrind(position=place(die, code), grind_mm=0.12) for code in UPPER]
    work = bench.open_work(by=factories.actor(), die=die, what="grind the punches", edges=edges)
    told = sheet.read(work, system=units.System.METRIC, address="-", heights_address="where")
    ledger = heights.of_die(die).ledger
    for line, code in zip(told.edges, UPPER, strict=True):
        aim = height_targets.target(ledger, code, 0.12)
        assert (line.now, line.after, line.shim) == ("70.90", "70.78", "0.22")
        assert (aim.length_mm, aim.shim_mm) == (pytest.approx(70.78), pytest.approx(0.22))
    assert b"%PDF" in sheet.pdf(told) and told.heights_address == "where"
    said = as_read(client.get(reverse("maintenance:bench_work", args=[work.pk])))
    assert "70.78 mm" in said and "0.22 mm" in said
    shimmed(die, 3, 90.0, *UPPER)
    shimmed(die, 4, 90.0, *UPPER)
    shimmed(die, 5, 90.0, *UPPER)
    told = sheet.read(work, system=units.System.METRIC, address="-")  # heights that cannot be: to be written in
    assert {line.shim for line in told.edges} == {""}


def test_an_inch_shop_reads_inches_and_a_die_without_lengths_what_to_type(as_role):
    client, die = as_role("lead"), a_die()
    ground(die, 2, 0.254, "1-B")
    UserSettings.objects.create(user=User.objects.get(username="lead"), plant=die.plant, units="inch")
    said = as_read(client.get(reverse("maintenance:heights", args=[die.pk])))
    assert "shim 0.0100 in under 1-B" in said
    other = factories.die("H-901")
    factories.position(other, "1-A", kind="pierce_punch")
    said = as_read(client.get(reverse("maintenance:heights", args=[other.pk])))
    assert "The length of 1-A is not known: type it on the die card" in said


def test_a_spacer_thicker_than_the_opening_is_told_and_the_page_stands(as_role):
    client, die = as_role("toolmaker"), a_die()
    for day in range(2, 6):
        shimmed(die, day, 90.0, *UPPER)
    said = as_read(client.get(reverse("maintenance:heights", args=[die.pk])))
    assert "does not go into the shut height" in said


def test_the_page_asks_as_often_for_three_punches_as_for_ten(as_role):
    client = as_role("setter")

    def asks(die) -> int:
        address = reverse("maintenance:heights", args=[die.pk])
        assert client.get(address).status_code == 200
        with CaptureQueriesContext(connection) as seen:
            client.get(address)
        return len(seen)

    die = a_die()
    few = asks(die)
    for day in range(2, 12):
        ground(die, day, 0.05, *UPPER)
    for n in range(7):
        factories.position(die, f"2-{'ABCDEFG'[n]}", kind="pierce_punch", side="upper", height_group="2")
    # one more where some place is ground so seldom that it follows its own forecast
    assert few <= asks(die) <= few + 1 <= 24
