"""The card of a die: typed place by place, pasted, changed with a date and a reason, struck out again."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore.access.models import UserSettings
from diestore.register.models import Amendment, Cut, Die, Piece, Position, Press
from maintenance.log import building, queries, write
from maintenance.models import Fitting, Replacement, StockMovement
from maintenance.screens.die_card import card as cards
from maintenance.screens.die_card import paste
from tests import factories as make

from .as_read import as_read
from .typed_die import address, at, change, cutting, new_die, place, run_in, send

pytestmark = pytest.mark.django_db
DEMO = Path(__file__).parents[2] / "fixtures" / "demo-shop"


@pytest.fixture
def lead(as_role):
    return as_role("lead")


@pytest.fixture
def die():
    return new_die()


@pytest.fixture
def running(die, lead):
    return run_in(lead, die)


# --- a new die --------------------------------------------------------------------------------------------------------


def test_a_new_die_is_reached_from_the_list_and_leads_to_its_card(lead):
    make.stock()
    assert reverse("diestore:die_new") in lead.get(reverse("diestore:dies")).content.decode()
    answer = lead.post(
        reverse("diestore:die_new"),
        {"code": "K-9", "material": "brass CuZn37", "thickness": "0,8", "tensile": "380", "strokes_per_minute": "140",
         "part": "AB-9", "per_hit": "2"}, follow=True,
    )  # fmt: skip
    die = Die.objects.get()
    assert answer.redirect_chain[-1][0] == address(die)
    assert (die.usual_stock.thickness_mm, die.usual_stock.material) == (0.8, "brass CuZn37")
    variant = die.variants.get()
    assert variant.is_default and variant.outputs.get().parts_per_hit == 2
    page = lead.get(reverse("diestore:die", args=[die.pk])).content.decode()
    assert address(die) in page


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"code": ""}, "Give it a name"),
        ({"strokes_per_minute": "fast"}, "does not begin with a number"),
        ({"strokes_per_minute": "0"}, "cannot be"),
        ({"stock": ""}, "say what the strip is"),
        ({"stock": "", "material": "x", "thickness": "60", "tensile": "10 kg"}, "is not a unit"),
        ({"per_hit": "1,5", "part": "A"}, "is not a whole number"),
    ],
)
def test_what_is_wrong_with_a_new_die_is_said_and_nothing_is_there(lead, values, says):
    sent = {"code": "K-9", "stock": make.stock().pk, "strokes_per_minute": "60"} | values
    assert says in as_read(lead.post(reverse("diestore:die_new"), sent))
    assert not Die.objects.exists()


# --- typed ------------------------------------------------------------------------------------------------------------


def test_a_punch_and_its_die_side_in_one_go_and_the_next_starts_like_it(lead, die):
    answer = send(lead, die, "place", **cutting(die))
    assert "1-A" in as_read(answer) and answer.redirect_chain
    cut = Cut.objects.get()
    assert (cut.upper.code, cut.lower.code, cut.gap_mm, cut.length_mm) == ("1-A", "1-AD", 0.135, 20)
    assert dict(Piece.objects.values_list("tool_steel", "hardness_hrc")) == {"M2": 64, "D2": 60}
    form = answer.context["place_form"]
    assert {name: form[name].value() for name in ("gap", "tool_steel", "hardness", "p_tool_steel")} == {
        "gap": "9", "tool_steel": "M2", "hardness": "64", "p_tool_steel": "D2"
    }  # fmt: skip


def test_inch_and_metric_entry_give_the_same_die(lead, die):
    other = building.copy_die(by=write.Actor(), die=die, code="K-2")
    metric = {"cut_length": "25.4", "gap": "0.127", "meant": "mm a side", "length": "63.5", "allowance": "3.175",
              "x": "12.7", "y": "-6.35", "p_length": "25.4"}  # fmt: skip
    inch = {"cut_length": "1", "gap": "0.010", "meant": "in in all", "length": "2 1/2", "allowance": "1/8",
            "x": "0.5", "y": "-0.25", "p_length": "1.0"}  # fmt: skip
    send(lead, die, "place", **cutting(die, **metric))
    UserSettings.objects.update_or_create(user__username="lead", defaults={"units": "inch"}, create_defaults={
        "user": lead.get(address(die)).wsgi_request.user, "units": "inch", "plant": die.plant})  # fmt: skip
    send(lead, other, "place", **cutting(other, **inch))

    def told(of):
        spec = building.specs_of(of, of.positions.order_by("code"))
        return [(s.code, s.cut_length_mm, s.gap_mm, s.length_mm, s.grind_allowance_mm, s.x_mm, s.y_mm) for s in spec]

    assert told(die) == told(other) and len(told(die)) == 2


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"cut_length": "twenty"}, "does not begin with a number"),
        ({"cut_length": ""}, "Say how long its cut is"),
        ({"cut_length": "-3"}, "cannot be"),
        ({"gap": "9 N"}, "is not a unit"),
        ({"gap": "250"}, "is none"),
        ({"hardness": "hard"}, "does not begin with a number"),
        ({"hardness": "600"}, "cannot be"),
        ({"how_many": "0"}, "From 1 to 24"),
        ({"code": "1-a"}, "There is a place 1-a already"),
        ({"item": "no such"}, "There is no spare"),
        ({"share": "300"}, "from 0.01 to 100"),
        ({"opening": "counted", "life_hits": "5", "since_sharpening": "9"}, "more than the 5"),
        ({"life_hits": "1.5"}, "is not a whole number"),
    ],
)
def test_what_cannot_be_is_said_beside_what_was_typed_and_nothing_of_it_is_saved(lead, die, values, says):
    send(lead, die, "place", **cutting(die))
    answer = send(lead, die, "place", **cutting(die, **values))
    assert says in as_read(answer)
    assert die.positions.count() == 2
    name, typed = next(iter(values.items()))
    assert answer.context["place_form"][name].value() == typed
    again = cutting(die, key=answer.context["place_form"]["key"].value())
    assert "Saved" in as_read(send(lead, die, "place", **again)), "put right, the same form is taken"


def test_the_same_form_twice_is_one_place_and_with_other_values_is_asked_about(lead, die):
    sent = cutting(die)
    for _ in range(3):
        send(lead, die, "place", **sent)
    assert die.positions.count() == 2
    answer = send(lead, die, "place", **(sent | {"cut_length": "25"}))
    assert "was sent before" in as_read(answer) and die.positions.count() == 2
    send(lead, die, "place", **(sent | {"cut_length": "25", "key": answer.context["place_form"]["key"].value()}))
    assert die.positions.count() == 4


@pytest.mark.parametrize("values", [{"do": "nonsense"}, {}, {"do": "place"}, {"do": "again", "place": "9" * 30},
                                    {"do": "move", "station": "x"}, {"do": "paste"}, {"do": "strike"},
                                    {"do": "change", "place": "7"}, {"do": "take back", "place": "8"}])  # fmt: skip
def test_what_no_button_sends_breaks_nothing(lead, die, values):
    assert lead.post(address(die), values).status_code in (200, 302)
    assert not die.positions.exists()


def test_the_pieces_are_asked_for_once_and_the_next_are_taken_to_be_like_them(lead, die):
    answer = send(lead, die, "place", **cutting(die, opening="counted", life_hits="900,000", since_sharpening="12000"))
    form = answer.context["place_form"]
    assert (form["opening"].value(), form["life_hits"].value()) == ("counted", 900_000)
    send(lead, die, "opening", **{"all-opening": "estimated", "all-life_hits": "800000"})
    assert set(Piece.objects.values_list("opening", "opening_life_hits")) == {("estimated", 800_000)}


def test_same_again_left_and_right_and_taken_back(lead, die):
    send(lead, die, "place", **cutting(die, x="10", y="12"))
    first = Position.objects.get(code="1-A")
    send(lead, die, "again", place=first.pk, mirrored="yes")
    assert Position.objects.get(code="1-B").y_mm == -12
    answer = send(lead, die, "again", place=first.pk)
    saved = [p.position.pk for p in answer.context["saved"]]
    assert sorted(Position.objects.filter(pk__in=saved).values_list("code", flat=True)) == ["1-C", "1-CD"]
    send(lead, die, "take back", place=saved)
    assert die.positions.count() == 4


def test_stations_are_added_moved_named_copied_and_taken_back(lead, die):
    send(lead, die, "place", **cutting(die))
    first = die.stations.get(code="1")
    send(lead, die, "station", operation="idle")
    send(lead, die, "move", station=die.stations.get(code="4").pk, back="yes")
    send(lead, die, "name", station=first.pk, code="1", operation="pierce and notch")
    send(lead, die, "copy station", station=first.pk)
    assert list(die.stations.order_by("sequence").values_list("code", "operation")) == [
        ("1", "pierce and notch"), ("5", "pierce and notch"), ("2", "pilot"), ("4", "idle"), ("3", "cut off"),
    ]  # fmt: skip
    assert "nothing with a log is deleted" in as_read(send(lead, die, "drop station", station=first.pk))
    send(lead, die, "drop station", station=die.stations.get(code="4").pk)
    assert die.stations.count() == 4


def test_a_copy_has_a_card_of_its_own(lead, die):
    send(lead, die, "place", **cutting(die))
    answer = send(lead, die, "copy", **{"copy-code": "K-2", "copy-which": "like", "copy-part": "AB-2",
                                        "copy-opening": "new"})  # fmt: skip
    copy = Die.objects.get(code="K-2")
    assert answer.redirect_chain[-1][0] == address(copy)
    assert copy.positions.count() == 2 and copy.variants.get().outputs.get().part.number == "AB-2"
    assert "There is a die K-2 already" in as_read(
        send(lead, die, "copy", **{"copy-code": "k-2", "copy-which": "same", "copy-opening": "new"})
    )


def test_what_is_doubted_stands_on_the_card_with_its_source(lead, die):
    press = Press.objects.create(plant=die.plant, code="P1", rated_force_n=10_000)
    Die.objects.update(usual_press=press)
    send(lead, die, "place", **cutting(die, gap="30", hardness="50"))
    words = as_read(lead.get(address(die)))
    for part in (
        "30 % a side is more than is usual",
        "50 HRC is softer than M2",
        "more than it is rated for",
        "Groover",
    ):
        assert part in words


def test_as_many_questions_for_much_as_for_little(lead, die):
    def asks(**query) -> int:
        lead.get(address(die), query)
        with CaptureQueriesContext(connection) as seen:
            assert lead.get(address(die), query).status_code == 200
        return len(seen)

    send(lead, die, "place", **cutting(die))
    send(lead, die, "place", **place(die, "stripper_spring", station=""))
    chosen = {"place": Position.objects.get(code="1-A").pk}
    spot = {"side": "upper", "station": die.stations.get(code="1").pk}
    before = asks(), asks(**chosen), asks(**spot)
    for _ in range(3):
        send(lead, die, "place", **cutting(die, how_many="5", item=str(make.item())))
    send(lead, die, "place", **place(die, "stripper_spring", station="", how_many="4"))
    assert die.positions.count() > 30
    after = asks(), asks(**chosen), asks(**spot)
    assert after == before and max(after) <= 25


# --- pasted -----------------------------------------------------------------------------------------------------------

PASTED = """place\tkind\tstation\tcut length\tclearance % in all\tsteel\thrc\tspare
1-A\tpierce punch\t1\t18,8\t18\tA2\tHRC 59\t
1-AD\tdie button\t1\t\t\tD2\t60.5\t
7-A\tcut-off punch\t7\t2 in\t18\tA2\t59\t
\tguide post\t\t\t\t\t\t"""


def test_a_paste_shows_what_it_understood_and_saves_only_then(lead, die):
    answer = send(lead, die, "paste", cells=PASTED)
    words = as_read(answer)
    assert "4 positions understood, with the new station 7" in words and "Nothing is saved yet" in words
    for part in ("18.80 mm", "50.80 mm", "0.135 mm, 9 % a side", "59 HRC", "GP-1"):
        assert part in words
    assert not die.positions.exists() and die.stations.count() == 3
    send(lead, die, "paste", cells=PASTED, save="yes")
    assert sorted(die.positions.values_list("code", flat=True)) == ["1-A", "1-AD", "7-A", "GP-1"]
    cuts = Cut.objects.order_by("code").values_list("code", "lower__code", "length_mm", "gap_mm")
    assert list(cuts) == [("1-A", "1-AD", 18.8, 0.135), ("7-A", None, 50.8, 0.135)]
    assert Position.objects.get(code="7-A").station.code == "7"


@pytest.mark.parametrize(
    ("cells", "says"),
    [
        ("", "Nothing was pasted"),
        ("a\tb\nc\td", "is not a kind of component"),
        ("place\tsteel\n1-A\tD2", "No column says what each place is"),
        ("place\tkind\n1-A\thammer", "is not a kind of component"),
        ("place\tkind\n1-A\tpilot\n1-a\tpilot", "There is a place 1-a already"),
        ("place\tkind\thrc\n1-A\tpilot\t60-62", "is a range"),
        ("place\tkind\thrc\n1-A\tpilot\t600", "cannot be"),
        ("place\tkind\tspare\n1-A\tpilot\tXX", "There is no spare XX"),
        ("place\tkind\tcut length\n1-A\tpilot\t9", "cuts nothing"),
        ("place\tkind\tcut length\n1-A\tpierce punch\t1,250", "can be read two ways"),
        ("place\tkind\tcloses\n1-AD\tdie button\t1-A", "is no punch that cuts"),
        ("place\tkind\tside\n1-A\tpilot\tleft", "Write upper or lower"),
        ("place\tkind\n" + "\n".join(f"{n}\tpilot" for n in range(501)), "are the most"),
        ("x" * 200_001, "letters at once"),
    ],
)
def test_what_is_wrong_with_a_cell_is_said_in_it_and_nothing_is_saved(lead, die, cells, says):
    for more in ({}, {"save": "yes"}):
        assert says in as_read(send(lead, die, "paste", cells=cells, **more))
    assert not die.positions.exists()


def test_the_component_list_of_a_history_folder_can_be_pasted(die, lead):
    """The demo's die K-104 as its table has it: with its own heads, and the cut told at both of its sides."""
    rows = [row for row in csv.DictReader((DEMO / "components.csv").open()) if row["die"] == "K-104"]
    for row in rows:
        if row["spare"]:
            make.item(code=row["spare"])
    names = [name for name in rows[0] if name not in ("die", "measured", "wear_limit", "variants")]
    text = io.StringIO()
    writer = csv.writer(text, delimiter="\t")
    writer.writerow(names)
    writer.writerows([row[name] for name in names] for row in rows)
    answer = send(lead, die, "paste", cells=text.getvalue(), save="yes")
    assert die.positions.count() == len(rows), as_read(answer)[:2000]
    assert Cut.objects.filter(upper__isnull=False, lower__isnull=False).count() == 7
    one = Piece.objects.get(fittings__position__code="1-A")
    assert (one.opening, one.opening_life_hits, one.opening_hits_since_sharpening) == ("counted", 883_000, 13_400)


def test_cells_without_heads_are_taken_in_the_order_of_the_page(die):
    read = paste.read("1-A\tpierce punch\t1\tupper\t20\t9", cards.read(die, "metric"))
    assert read.is_fine and read.rows[0].spec.gap_mm == 0.135


# --- changed ----------------------------------------------------------------------------------------------------------


def numbers(die):
    row = queries.newest_forecast(die)
    return row.remaining, row.half_hits, row.nine_in_ten_hits, row.hits_since_sharpening


def test_a_gap_opened_on_a_day_leaves_the_past_and_struck_out_restores_every_number(lead, running):
    before, rows = numbers(running), list(Cut.objects.values())
    answer = change(lead, running, gap="9", how="since", at=at(13), reason="measured after regrinding")
    assert [round(g, 3) for g in Cut.objects.order_by("pk").values_list("gap_mm", flat=True)] == [0.03, 0.135]
    assert "measured after regrinding" in as_read(answer)
    assert numbers(running) != before
    amendment = Amendment.objects.get(table="diestore.cut")
    send(lead, running, "strike", amendment=amendment.pk, **{"strike-reason": "other die"})
    assert list(Cut.objects.values()) == rows
    assert numbers(running) == before
    words = as_read(lead.get(address(running)))
    assert "struck out by" in words and "other die" in words


def test_the_order_in_which_changes_are_entered_does_not_matter(lead, running):
    told = []
    for order in ((0, 1, 2), (2, 0, 1), (1, 2, 0)):
        steps = [{"gap": "5", "at": at(5)}, {"cut_length": "24", "at": at(13)}, {"gap": "9", "at": at(21)}]
        for i in order:
            change(lead, running, how="since", reason="step", **steps[i])
        told.append((sorted(Cut.objects.values_list("gap_mm", "length_mm", "valid_from", "valid_to"), key=str),
                     numbers(running)))  # fmt: skip
        for one in Amendment.objects.filter(struck_at=None, table="diestore.cut").order_by("-at"):
            send(lead, running, "strike", amendment=one.pk, **{"strike-reason": "again"})
        assert Cut.objects.count() == 1
    assert told[0] == told[1] == told[2] and len(told[0][0]) == 4


def test_a_typing_error_says_so_and_is_put_right_for_all_the_past(lead, running):
    change(lead, running, gap="9", how="never", reason="typed from the wrong sheet")
    assert Cut.objects.get().gap_mm == 0.135
    assert Amendment.objects.get().sort == "corrected"


def test_another_steel_is_a_replacement_on_that_day(lead, running):
    change(lead, running, tool_steel="PM-M4", how="since", at=at(31), reason="lasts longer")
    entry = Replacement.objects.get(why="other")
    assert (entry.position.code, entry.piece_in.tool_steel, entry.note) == ("1-A", "PM-M4", "lasts longer")
    assert entry.piece_in.hardness_hrc == 64 and entry.piece_in.opening == "new"
    change(lead, running, place="1-AD", tool_steel="A2", how="never", reason="it was A2 all along")
    assert Piece.objects.get(fittings__position__code="1-AD").tool_steel == "A2"
    assert "it was A2 all along" in as_read(lead.get(address(running))), "what is said of a piece is of its die too"


def test_a_change_without_date_or_reason_or_difference_is_refused(lead, running):
    before = list(Cut.objects.values())
    for values, says in (
        ({"gap": "9", "how": "since", "at": at(13), "reason": ""}, "Say why"),
        ({"gap": "9", "how": "since", "at": "", "reason": "x"}, "Say since when"),
        ({"gap": "9", "how": "since", "at": "2090-01-01T00:00", "reason": "x"}, "still to come"),
        ({"gap": "wide", "how": "never", "reason": "x"}, "does not begin with a number"),
        ({"how": "never", "reason": "x"}, "Nothing here is other than it was"),
        ({"code": "1-Z", "how": "since", "at": at(13), "reason": "x"}, "only be corrected"),
        ({"code": "1-ad", "how": "never", "reason": "x"}, "There is a place 1-ad already"),
    ):
        assert says in as_read(change(lead, running, **values)), says
    assert list(Cut.objects.values()) == before and not Amendment.objects.exists()


def test_two_people_at_one_card_the_second_is_told_what_changed(lead, running):
    of = Position.objects.get(die=running, code="1-A")
    form = lead.get(address(running), {"place": of.pk}).context["change_form"]
    sent = {form.add_prefix(name): form[name].value() or "" for name in form.fields}
    change(lead, running, gap="9", how="since", at=at(13), reason="first")
    late = sent | {"chg-gap": "8", "chg-how": "since", "chg-at": at(20), "chg-reason": "second", "chg-opened_cut": "0"}
    words = as_read(send(lead, running, "change", place=of.pk, **late))
    assert "While this was open" in words
    assert Amendment.objects.count() == 1


def test_what_is_added_to_a_die_that_has_run_has_a_day_and_a_reason(lead, running):
    assert "Say first since when" in as_read(send(lead, running, "place", **cutting(running)))
    assert running.positions.count() == 2
    ticket = {"ticket-since_start": "change", "ticket-since": at(25), "ticket-reason": "one more hole"}
    send(lead, running, "ticket", **ticket)
    answer = send(lead, running, "place", **cutting(running))
    new = Position.objects.get(code="1-B")
    assert new.valid_from == make.moment(25) == Cut.objects.get(code="1-B").valid_from
    assert "one more hole" in as_read(answer)
    entered = Amendment.objects.get(row_key=new.pk, table="diestore.position")
    assert (entered.sort, entered.reason) == ("entered", "one more hole")
    other = Position.objects.get(code="1-BD")
    for one in (other, new):
        amendment = Amendment.objects.get(row_key=one.pk, table="diestore.position")
        send(lead, running, "strike", amendment=amendment.pk, **{"strike-reason": "not there after all"})
    assert running.positions.count() == 2
    assert Amendment.objects.filter(struck_at=None).count() == 0
    send(lead, running, "drop ticket")
    send(lead, running, "ticket", **(ticket | {"ticket-since_start": "start", "ticket-since": ""}))
    send(lead, running, "place", **cutting(running))
    assert Position.objects.get(code="1-B").valid_from is None


def has_a_name(client, die) -> None:
    user = client.get(address(die)).wsgi_request.user
    UserSettings.objects.update_or_create(user=user, defaults={"person": make.person(), "plant": die.plant})


def test_what_is_done_to_a_station_is_in_the_history_and_can_be_struck_out(lead, running):
    first = running.stations.get(code="1")

    def told():
        return list(running.stations.order_by("sequence", "pk").values_list("code", "operation"))

    before = told()
    assert "Say first since when" in as_read(send(lead, running, "move", station=first.pk))
    ticket = {"ticket-since_start": "change", "ticket-since": at(25), "ticket-reason": "new order of work"}
    send(lead, running, "ticket", **ticket)
    send(lead, running, "move", station=first.pk)
    send(lead, running, "move", station=first.pk)
    answer = send(lead, running, "name", station=first.pk, code="1", operation="pierce and notch")
    assert told() == [("2", "pilot"), ("3", "cut off"), ("1", "pierce and notch")]
    words = as_read(answer)
    assert words.count("new order of work") >= 3 and "operation pierce and notch" in words
    for one in Amendment.objects.filter(table="diestore.station").order_by("-pk"):
        assert one.who == "lead"
        send(lead, running, "strike", amendment=one.pk, **{"strike-reason": "back as it was"})
    assert told() == before
    assert list(running.stations.values_list("sequence", flat=True).order_by("sequence")) == [1, 2, 3]


def test_a_place_ends_on_a_day_and_its_past_stays(lead, running):
    of = Position.objects.get(code="1-A")
    cycles = numbers(running)
    end = {"end-at": at(31), "end-reason": "hole no longer needed"}
    assert "Say what becomes of the piece" in as_read(send(lead, running, "end", place=of.pk, **end))
    assert "no spare in the catalogue" in as_read(
        send(lead, running, "end", place=of.pk, **end, **{"end-piece": "shelf"})
    )
    send(lead, running, "end", place=of.pk, **end, **{"end-piece": "scrapped"})
    of.refresh_from_db()
    assert of.valid_to == make.moment(31) == Cut.objects.get().valid_to
    assert "1-A" not in [p.code for p in lead.get(address(running)).context["card"].places]
    assert not of.fittings.filter(until=None).exists(), "its piece is free"
    assert of.fittings.get().until == make.moment(31)
    one = Amendment.objects.get(table="diestore.position")
    assert "Say under My settings which name is yours" in as_read(
        send(lead, running, "strike", amendment=one.pk, **{"strike-reason": "it stays"})
    )
    has_a_name(lead, die=running)
    for amendment in Amendment.objects.order_by("-pk"):
        send(lead, running, "strike", amendment=amendment.pk, **{"strike-reason": "it stays"})
    of.refresh_from_db()
    assert of.valid_to is None is Cut.objects.get().valid_to is of.fittings.get().until
    assert numbers(running) == cycles
    words = as_read(send(lead, running, "take back", place=of.pk))
    assert "nothing with a log is deleted" in words


def test_a_station_ends_on_a_day_with_all_its_places(lead, running):
    send(lead, running, "ticket", **{"ticket-since_start": "start", "ticket-since": "", "ticket-reason": "left out"})
    send(lead, running, "place", **place(running, "pilot"))
    first = running.stations.get(code="1")
    assert "Say why" in as_read(send(lead, running, "end station", station=first.pk, **{"end-at": at(31)}))
    sent = {"end-at": at(31), "end-reason": "hole drilled instead", "end-piece": "shelf"}
    item = make.item()
    Position.objects.filter(code="1-A").update(item=item)
    send(lead, running, "end station", station=first.pk, **sent)
    moved = StockMovement.objects.get()
    assert (moved.item, moved.quantity, moved.piece) == (item, 1, Piece.objects.get(fittings__position__code="1-A"))
    assert not Fitting.objects.filter(position__die=running, until=None).exists()
    assert set(running.positions.values_list("valid_to", flat=True)) == {make.moment(31)}
    assert Cut.objects.get().valid_to == make.moment(31)
    card = lead.get(address(running)).context["card"]
    assert not card.places and [s.code for s in card.stations] == ["2", "3"]
    assert "left out" in as_read(lead.get(address(running)))


def test_of_a_die_that_never_ran_a_change_is_no_history(lead, die):
    send(lead, die, "place", **cutting(die))
    change(lead, die, gap="8", tool_steel="D2", x="14")
    assert Cut.objects.get().gap_mm == 0.12
    of = Position.objects.get(code="1-A")
    assert of.x_mm == 14 and Piece.objects.get(fittings__position=of).tool_steel == "D2"
    assert Replacement.objects.count() == 2


def test_dies_of_another_plant_are_not_there(lead, die):
    from diestore.access.models import PlantOfUser
    from diestore.register.models import Plant

    other = Plant.objects.create(code="other")
    PlantOfUser.objects.create(user=lead.get(address(die)).wsgi_request.user, plant=other)
    assert lead.get(address(die)).status_code == 404
    assert lead.post(address(die), {"do": "station", "operation": "pierce"}).status_code == 404
