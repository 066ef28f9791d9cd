"""The log at the bench: a sharpening of the set, a replacement, a stop, a reading, the count."""

import re

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.db import connection
from django.test.client import BOUNDARY, encode_multipart
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore.access.models import UserSettings
from diestore.register.models import Variant
from maintenance.clockwork import states
from maintenance.log import read
from maintenance.models import HitCorrection, Reading, Replacement, StockMovement, Stop, Work
from tests import factories as make
from tests.pages.bench_browser import FORMS, address, at, page, said, send, sent, shelf

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_forecasts")]


# --- a sharpening -------------------------------------------------------------------------------------


def test_one_number_and_one_tap_log_the_whole_set(lead, die, ina):
    punch = at("3-A", die)
    answer = send(
        lead, "log_sharpening", die, sides="both", removed="0,12", person=ina.pk, follow=True,
        **{f"found_{punch.pk}": "dull"},
    )  # fmt: skip
    works = {w.position.code: w for w in Work.objects.all()}
    assert set(works) == {"1-A", "3-A", "3-D"}, "forming pieces stay out unless picked, pilots are not ground"
    assert {w.removed_mm for w in works.values()} == {0.12}
    assert (works["3-A"].why, works["3-A"].found) == ("dull", "dull")
    assert (works["1-A"].why, works["1-A"].found) == ("with set", "not looked")
    assert len({w.set_key for w in works.values()}) == 1
    assert "Set of 3 pieces ground, 0.12 mm off" in said(answer) and "now 0 hits since sharpened" in said(answer)


def test_single_pieces_are_corrected(lead, die, ina):
    one, three, form = at("1-A", die), at("3-A", die), at("4-F", die)
    send(
        lead, "log_sharpening", die, sides="upper", removed="0.10", rest="sharp", hours="2.5", person=ina.pk,
        **{
            f"found_{three.pk}": "chipped", f"removed_{three.pk}": "0.45",
            f"found_{form.pk}": "set", f"why_{one.pk}": "planned",
        },
    )  # fmt: skip
    rows = {w.position.code: (w.why, w.found, w.removed_mm) for w in Work.objects.all()}
    assert rows == {
        "1-A": ("planned", "sharp", 0.10),
        "3-A": ("chipped", "chipped", 0.45),
        "4-F": ("with set", "sharp", 0.10),
    }
    assert sum(w.hours for w in Work.objects.all()) == pytest.approx(2.5)


def test_only_one_side_is_ground_unless_a_row_says_otherwise(lead, die, ina):
    section = at("3-D", die)
    values = {"removed": "0.1", "why": "planned", "person": ina.pk}
    send(lead, "log_sharpening", die, sides="lower", **values)
    assert [w.position.code for w in Work.objects.all()] == ["3-D"]
    send(lead, "log_sharpening", die, sides="upper", **values, **{f"removed_{section.pk}": "0.05"})
    newest = Work.objects.filter(set_key=Work.objects.latest("pk").set_key)
    assert {w.position.code: w.removed_mm for w in newest} == {"1-A": 0.1, "3-A": 0.1, "3-D": 0.05}


def test_only_this_piece_is_one_tap_in_its_row(lead, die, ina):
    form = lead.get(address("log_sharpening", die))
    one = at("3-A", die)
    assert page(form).count('name="sides" value="only-') == die.positions.filter(kind__endswith="punch").count() + 1
    values = {"removed": "0.1", "why": "planned", "person": ina.pk, "sides": f"only-{one.pk}"}
    send(lead, "log_sharpening", die, **values, **{f"removed_{at('1-A', die).pk}": "0.2"})
    (row,) = Work.objects.all()
    assert (row.position, row.removed_mm, row.found) == (one, 0.1, "not looked")
    send(lead, "log_sharpening", die, **values | {f"found_{one.pk}": "dull", "why": "as found"})
    assert Work.objects.latest("pk").found == "dull" and Work.objects.count() == 2
    answer = send(lead, "log_sharpening", die, **values | {"sides": "only-999999"})
    assert answer.context["form"].errors["sides"] == ["Pick one of these."]
    again = page(send(lead, "log_sharpening", die, **values | {"person": ""}))
    assert f'value="only-{one.pk}" checked' in again, "what was tapped is still there"


def test_inserts_that_are_not_in_the_die_stay_out_of_the_set(lead, die, ina):
    """The last run's inserts are in the die; their pieces and those of every insert go along."""
    short, long = die.variants.get(), Variant.objects.create(die=die, code="long")
    for code, variant in (("5-S", short), ("5-L", long)):
        make.position(die, code).variants.add(variant)
    make.run(die, 1, variant=long)
    values = {"sides": "upper", "removed": "0.1", "why": "planned", "person": ina.pk}
    assert sent(lead.get(address("log_sharpening", die)))["variant"] == str(long.pk)
    for change, codes in (({}, {"1-A", "3-A", "5-L"}), ({"variant": "all"}, {"1-A", "3-A", "5-L", "5-S"})):
        send(lead, "log_sharpening", die, **values, **change)
        newest = Work.objects.filter(set_key=Work.objects.latest("pk").set_key)
        assert {w.position.code for w in newest} == codes


def test_which_edge_was_dull_and_which_side_must_be_said(lead, die, ina):
    answer = send(lead, "log_sharpening", die, removed="0.1", person=ina.pk)
    assert "Pick which side was ground." in answer.context["form"].errors["sides"]
    answer = send(lead, "log_sharpening", die, removed="0.1", sides="both", person=ina.pk)
    assert "Open the edge that was dull or chipped and tap it" in answer.context["form"].errors["why"][0]
    left_out = {f"found_{p.pk}": "out" for p in die.positions.all()}
    answer = send(lead, "log_sharpening", die, removed="0.1", sides="both", why="planned", person=ina.pk, **left_out)
    assert "No piece was ground" in page(answer)
    assert not Work.objects.exists()


def test_a_user_of_inches_types_and_sees_inches(lead, die, ina):
    """0.005 in is 0.127 mm exactly: 1 in = 25.4 mm, international inch of 1959."""
    UserSettings.objects.create(user=User.objects.get(username="lead"), units="inch")
    answer = send(
        lead, "log_sharpening", die, sides="upper", removed="0.005", why="planned", person=ina.pk, follow=True
    )
    assert set(Work.objects.values_list("removed_mm", flat=True)) == {0.127}
    assert "0.0050 in off" in said(answer)
    form = lead.get(address("log_sharpening", die)).context["form"]
    assert form.unit == "in" and form.fields["removed"].widget.attrs["placeholder"] == "0.0050"


def test_a_unit_that_is_typed_wins(lead, die, ina):
    send(lead, "log_sharpening", die, sides="upper", removed="5 thou", why="planned", person=ina.pk)
    assert set(Work.objects.values_list("removed_mm", flat=True)) == {0.127}


@pytest.mark.parametrize(
    ("removed", "says"),
    [("1,250", "two ways"), ("0.1 kg", "not a unit"), ("-0.1", "cannot come off"), ("0", "cannot come off"),
     ("nan", "number"), ("400", "cannot come off")],
)  # fmt: skip
def test_an_amount_that_cannot_be_is_refused_beside_the_field(lead, die, ina, removed, says):
    answer = send(lead, "log_sharpening", die, sides="upper", removed=removed, why="planned", person=ina.pk)
    assert answer.status_code == 422 and says in answer.context["form"].errors["removed"][0]
    assert f'value="{removed}"' in page(answer) and not Work.objects.exists()


def test_what_is_unlikely_needs_a_tick(lead, die, ina):
    for removed, says in ((None, "grind allowance will then read too high"), ("4.2", "more than is left to grind")):
        answer = send(lead, "log_sharpening", die, sides="upper", removed=removed, why="planned", person=ina.pk)
        assert answer.status_code == 422 and says in answer.context["form"].doubt
        assert not Work.objects.exists()
    assert "very much for one sharpening" in answer.context["form"].doubt


def test_the_edge_that_limits_the_die_is_marked_as_expected(lead, die, ina):
    for day in range(1, 8):
        make.run(die, day * 3, 12_000)
        make.sharpen(die, day * 3 + 1, at("1-A", die), why="with set", found="sharp")
        make.sharpen(die, day * 3 + 1.1, at("3-A", die), why="dull", found="dull")
    from maintenance.forecasts import store

    limiting = store.refresh_die(die).limiting
    text = page(lead.get(address("log_sharpening", die)))
    row = re.search(rf"<strong>{limiting.code}</strong>.*?</details>", text).group()
    assert '<span class="expected">dull<small>expected</small></span>' in row
    assert text.count('class="expected"') == 1


def test_many_pieces_cost_no_more_queries(lead, die, ina, django_assert_num_queries):

    counts = {}
    for name in ("log_sharpening", "log_replacement", "log_reading"):
        for more in (0, 30):
            if more and not die.positions.filter(code="9-30").exists():
                for i in range(1, more + 1):
                    make.position(die, f"9-{i}")
            lead.get(address(name, die))
            with CaptureQueriesContext(
                connection,
            ) as seen:
                lead.get(address(name, die))
            counts.setdefault(name, []).append(len(seen))
    assert all(len(set(n)) == 1 for n in counts.values()), counts


def doubted(answer) -> str:
    assert answer.status_code == 422, answer
    return answer.context["form"].doubt


def test_a_slip_of_the_point_is_asked_about_and_saved_when_it_is_so(lead, die, ina):
    """0.10 mm typed as 10 or as 0.010; in an inch shop 0.005 in typed as 0.05."""
    make.sharpen(die, 1, at("3-A", die), removed_mm=0.12)
    values = {"sides": "upper", "why": "planned", "person": ina.pk}
    for removed, meant in (("10", "0.10 mm"), ("0.010", "0.10 mm"), ("1.2", "0.12 mm")):
        answer = send(lead, "log_sharpening", die, removed=removed, **values)
        assert f"Did you mean {meant}?" in doubted(answer), removed
    UserSettings.objects.create(user=User.objects.get(username="lead"), units="inch")
    answer = send(lead, "log_sharpening", die, removed="0.05", **values)
    assert "0.0500 in came off? About 0.0047 in is usual here. Did you mean 0.0050 in?" in doubted(answer)
    assert Work.objects.count() == 1
    answer = lead.post(address("log_sharpening", die), sent(answer, confirm=answer.context["form"].doubt_mark))
    assert answer.status_code == 302 and Work.objects.latest("pk").removed_mm == 1.27


def test_a_piece_that_then_stands_out_of_its_height_group_is_asked_about(lead, die, ina):
    group = [at("1-A", die), at("3-A", die), make.position(die, "1-B"), make.position(die, "1-C")]
    for place in group:
        place.height_group = "1"
        place.save()
    values = {"sides": "upper", "removed": "0.1", "why": "planned", "person": ina.pk}
    answer = send(lead, "log_sharpening", die, **values, **{f"removed_{group[1].pk}": "0.35"})
    assert "3-A then stands 0.25 mm lower than the pieces beside it. Set a spacer under it" in doubted(answer)
    answer = send(lead, "log_sharpening", die, **values, **{f"removed_{group[1].pk}": "0.25"})
    assert answer.status_code == 302, "0.15 mm is no step yet"
    left = {f"found_{group[0].pk}": "out"}
    answer = send(lead, "log_sharpening", die, **values | {"removed": "0.3"}, **left)
    assert "1-A then stands 0.30 mm higher than the pieces beside it. Grind it too" in doubted(answer)


def test_lengths_are_asked_for_where_the_shop_measures_them(lead, die, ina):
    """A new punch of 60.00 mm that measures 59.88 mm after the grind has lost 0.12 mm: plain subtraction."""
    one, three = at("1-A", die), at("3-A", die)
    for place in (one, three):
        piece = place.fittings.get().piece
        piece.length_mm = 60.0 if place == one else None
        piece.save()
        place.height_group = "1"
        place.save()
    form = lead.get(address("log_sharpening", die)).context["form"]
    assert [row.measured for row in form.rows if row.place.position in (one, three)] == [True, False]
    values = {"sides": f"only-{one.pk}", "why": "planned", "person": ina.pk}
    send(lead, "log_sharpening", die, **values, **{f"length_{one.pk}": "59.88"})
    work = Work.objects.get()
    assert (work.length_after_mm, work.removed_mm) == (59.88, 0.12)
    asked = {"removed": "0.1", f"length_{one.pk}": "59.40"}
    answer = send(lead, "log_sharpening", die, **values, **asked)
    assert "1-A measures 59.40 mm now; by the records it would be 59.78 mm" in doubted(answer)
    answer = send(lead, "log_sharpening", die, **values, **{f"length_{one.pk}": "-3"})
    assert "is no length" in answer.context["form"].errors[f"length_{one.pk}"][0]
    group = {"length_of_group_0": "59.70", "removed": "0.18"}
    assert send(lead, "log_sharpening", die, **values | {"sides": "upper"}, **group).status_code == 302
    assert set(Work.objects.exclude(pk=work.pk).values_list("length_after_mm", flat=True)) == {59.7}


def test_one_piece_dressed_in_the_press_needs_no_amount_and_no_reason(lead, die, ina):
    one = at("3-A", die)
    values = {"sides": f"dressed-{one.pk}", "person": ina.pk}
    assert send(lead, "log_sharpening", die, **values).status_code == 302
    work = Work.objects.get()
    assert (work.operation, work.position, work.removed_mm, work.why) == ("dressed in the press", one, None, "other")
    answer = send(lead, "log_sharpening", die, **values, operation="spacer")
    assert "Pick one of the two works" in answer.context["form"].errors["operation"][0]


def one_piece(die, code, **more):
    """The form's fields for a work on one piece and nothing else."""
    left_out = {f"found_{p.pk}": "out" for p in die.positions.all()}
    return {"sides": "both", "why": "other"} | left_out | {f"found_{at(code, die).pk}": "set"} | more


@pytest.mark.parametrize(
    ("where", "raised_mm", "says"),
    [("under", 0.3, "3-D spacer, 0.30 mm put under"), ("out", -0.3, "3-D spacer, 0.30 mm taken out")],
)
def test_a_spacer_keeps_how_thick_it_is_and_which_way_it_went(lead, die, ina, where, raised_mm, says):
    work = one_piece(die, "3-D", operation="spacer", spacer=where, removed="0.3", person=ina.pk)
    answer = send(lead, "log_sharpening", die, follow=True, **work)
    assert says in said(answer)
    row = Work.objects.get()
    assert (row.raised_mm, row.removed_mm) == (raised_mm, None)
    assert states.states(read.of_die(die), row.at.timestamp())[row.position_id].allowance_left_mm == 4.0
    shown = page(lead.get(reverse("maintenance:entry", args=["work", row.pk])))
    assert f"stands 0.30 mm {'higher' if raised_mm > 0 else 'lower'}" in shown
    strike = reverse("maintenance:strike", args=["work", row.pk])
    answer = lead.post(strike, {"reason": "x", "person": ina.pk, "again": 1})
    again = sent(lead.get(answer["Location"]))
    assert (again["operation"], again["removed"], again["spacer"]) == ("spacer", "0.3", where)


def test_recoated_says_with_what(lead, die, ina):
    work = one_piece(die, "3-A", operation="recoated", person=ina.pk)
    answer = send(lead, "log_sharpening", die, **work)
    assert answer.context["form"].errors["coating"] == ["Say what it was coated with."]
    answer = send(lead, "log_sharpening", die, follow=True, coating="AlCrN", **work)
    assert "3-A recoated. " in said(answer) and Work.objects.get().coating_after == "AlCrN"
    assert "coated AlCrN" in page(lead.get(address("entries")))
    row = Work.objects.get()
    strike = reverse("maintenance:strike", args=["work", row.pk])
    answer = lead.post(strike, {"reason": "x", "person": ina.pk, "again": 1})
    assert sent(lead.get(answer["Location"]))["coating"] == "AlCrN"


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [
        ({"operation": "spacer"}, "removed", "Enter how thick the spacer of 3-A is."),
        ({"operation": "repaired", "removed": "0.2"}, "removed", "Nothing comes off a piece that is repaired."),
        ({"operation": "recoated", "coating": "x" * 41}, "coating", "Name the coating in 40 letters."),
    ],
)
def test_what_does_not_belong_to_a_work_is_refused_and_not_dropped(lead, die, ina, change, field, says):
    answer = send(lead, "log_sharpening", die, **one_piece(die, "3-A", person=ina.pk), **change)
    assert says in answer.context["form"].errors[field][0] and not Work.objects.exists()


# --- a replacement ------------------------------------------------------------------------------------


def test_a_replacement_takes_the_spare_off_the_shelf(lead, die, ina):
    punch = at("1-A", die)
    StockMovement.objects.create(plant=die.plant, item=punch.item, quantity=2, kind="count", at=make.moment(0))
    assert "pierce punch, 2 on the shelf" in page(lead.get(address("log_replacement", die)))
    make.run(die, 1, 9_000)
    answer = send(lead, "log_replacement", die, position=punch.pk, why="broken", person=ina.pk, follow=True)
    assert "1-A replaced: broken. 1-A now 0 hits since sharpened." in said(answer)
    assert shelf(punch) == 1
    send(lead, "log_replacement", die, position=punch.pk, why="dull", from_shelf="no", person=ina.pk)
    assert shelf(punch) == 1 and Replacement.objects.filter(since_start=False).count() == 2


def test_an_empty_shelf_needs_a_tick_and_a_piece_without_a_spare_changes_no_count(lead, die, ina):
    punch = at("1-A", die)
    answer = send(lead, "log_replacement", die, position=punch.pk, why="dull", person=ina.pk)
    assert answer.status_code == 422 and "no PP-6.0-M2 on the shelf" in answer.context["form"].doubt
    data = sent(answer, confirm=answer.context["form"].doubt_mark)
    assert lead.post(address("log_replacement", die), data).status_code == 302
    assert shelf(punch) == -1
    assert send(lead, "log_replacement", die, position=at("3-A", die).pk, why="dull", person=ina.pk).status_code == 302
    assert StockMovement.objects.filter(kind="fitted").count() == 1


def test_a_piece_is_taken_out_and_a_used_one_goes_back_in(lead, die, ina):
    punch = at("1-A", die)
    piece = punch.fittings.get().piece
    piece.mark = "A-17"
    piece.save()
    send(lead, "log_replacement", die, position=punch.pk, why="other", goes_in="nothing", person=ina.pk)
    assert not punch.fittings.filter(until__isnull=True).exists()
    answer = send(lead, "log_replacement", die, position=punch.pk, goes_in="nothing", person=ina.pk)
    assert "Nothing sits in 1-A now" in answer.context["form"].errors["goes_in"][0]
    values = {"goes_in": piece.pk, "from_shelf": "no", "person": ina.pk}
    answer = send(lead, "log_replacement", die, position=at("3-A", die).pk, why="dull", **values)
    assert "does not belong in 3-A" in answer.context["form"].errors["goes_in"][0]
    assert send(lead, "log_replacement", die, position=punch.pk, **values).status_code == 302
    assert punch.fittings.get(until__isnull=True).piece == piece


def test_what_and_why_must_be_picked(lead, die, ina):
    errors = send(lead, "log_replacement", die, person=ina.pk).context["form"].errors
    assert errors["position"] == ["Pick the piece that was replaced."]
    errors = send(lead, "log_replacement", die, position=at("3-A", die).pk, person=ina.pk).context["form"].errors
    assert errors["why"] == ["Pick why it came out."]
    foreign = make.position(make.die("X-1"))
    errors = send(lead, "log_replacement", die, position=foreign.pk, person=ina.pk).context["form"].errors
    assert "position" in errors


def test_a_position_tapped_elsewhere_is_picked_already(lead, die):
    form = lead.get(address("log_replacement", die, position=at("3-A", die).pk)).context["form"]
    assert form["position"].value() == str(at("3-A", die).pk)


# --- a stop, a reading, the count ---------------------------------------------------------------------


def test_a_stop_is_logged(lead, die, ina):
    answer = send(lead, "log_stop", die, cause="slug", minutes="12,5", parts_scrapped="40", person=ina.pk, follow=True)
    stop = Stop.objects.get()
    assert (stop.cause, stop.minutes, stop.parts_scrapped, stop.planned) == ("slug", 12.5, 40, False)
    assert "Stopped 12.5 minutes: slug pulled" in said(answer)


@pytest.mark.parametrize(
    ("change", "field"),
    [({"minutes": "-5"}, "minutes"), ({"minutes": "x"}, "minutes"), ({"minutes": ""}, "minutes"),
     ({"minutes": "100001"}, "minutes"), ({"parts_scrapped": "-1"}, "parts_scrapped"), ({"cause": "rain"}, "cause"),
     ({"at": "2026-02-30T10:00"}, "at"), ({"at": "0001-01-01T00:00"}, "at"), ({"at": "9999-12-31T23:59"}, "at"),
     ({"at": "yesterday"}, "at"), ({"note": "n" * 2001}, "note")],
)  # fmt: skip
def test_a_stop_that_cannot_be_is_refused_beside_the_field(lead, die, ina, change, field):
    values = {"cause": "slug", "minutes": "5", "person": ina.pk} | change
    shown = lead.get(address("log_stop", die))
    answer = lead.post(address("log_stop", die), sent(shown, **values) | {"confirm": "x"})
    if answer.context["form"].doubt:  # very long: asked about first
        values["confirm"] = answer.context["form"].doubt_mark
        answer = lead.post(address("log_stop", die), sent(shown, **values))
    assert answer.status_code == 422 and field in answer.context["form"].errors
    assert not Stop.objects.exists()


READINGS = [
    ("metric", "66", 66e-6, "µm"),
    ("metric", "66,5", 66.5e-6, "µm"),
    ("metric", "0.066 mm", 66e-6, "mm"),
    ("metric", "0,066mm", 66e-6, "mm"),
    ("metric", "2.6 thou", 66.04e-6, "thou"),
    ("inch", "2.6", 66.04e-6, "thou"),
    ("inch", "0.0026 in", 66.04e-6, "in"),
]


@pytest.mark.parametrize(("system", "text", "metres", "unit"), READINGS)
def test_a_reading_is_kept_as_typed_and_stored_in_si(lead, die, ina, system, text, metres, unit):
    """1 thou = 25.4 µm exactly (international inch of 1959): 2.6 thou = 66.04 µm."""
    UserSettings.objects.create(user=User.objects.get(username="lead"), units=system)
    values = {"quantity": "burr height", "position": at("3-A", die).pk, "value": text, "person": ina.pk}
    assert send(lead, "log_reading", die, **values).status_code == 302
    reading = Reading.objects.get()
    assert reading.value_si == pytest.approx(metres, rel=1e-12)
    assert text.startswith(reading.typed_value) and reading.typed_unit == unit
    assert reading.position == at("3-A", die) and reading.die is None


@pytest.mark.parametrize(
    ("quantity", "text", "si"), [("diameter", "5.957", 5.957e-3), ("spring force", "0.93 kN", 930.0),
                                 ("free length", "63.4 mm", 63.4e-3), ("wear", "0.03", 30e-6)],
)  # fmt: skip
def test_wear_of_what_does_not_cut_is_measured_at_its_place(lead, die, ina, quantity, text, si):
    values = {"quantity": quantity, "position": at("2-P", die).pk, "value": text, "person": ina.pk, "at_length": "51"}
    assert send(lead, "log_reading", die, **values).status_code == 302
    reading = Reading.objects.get()
    assert reading.value_si == pytest.approx(si, rel=1e-12)
    assert reading.at_length_mm == (51 if quantity == "spring force" else None)


def test_the_strip_force_is_of_the_whole_die(lead, die, ina):
    values = {"quantity": "strip force", "position": "die", "value": "1.8 kN", "person": ina.pk}
    assert send(lead, "log_reading", die, **values).status_code == 302
    reading = Reading.objects.get()
    assert (reading.die, reading.position, reading.value_si) == (die, None, 1800.0)


BAD_READINGS = {
    "unknown unit": ({"value": "66 parsec"}, "value", "not a unit"),
    "a unit of something else": ({"value": "66 N"}, "value", "not a unit for the burr height"),
    "two ways": ({"value": "1,234"}, "value", "two ways"),
    "no number": ({"value": "a lot"}, "value", "number"),
    "nan": ({"value": "nan"}, "value", "number"),
    "below nought": ({"value": "-3"}, "value", "below nought"),
    "nothing": ({"value": ""}, "value", "Enter the value"),
    "2 MB": ({"value": "6" * 2_000_000}, "value", "one value"),
    "not an edge": ({"position": "2-P"}, "position", "does not cut"),
    "no edge at all": ({"position": "die"}, "position", "at a cutting edge"),
    "no quantity": ({"quantity": ""}, "quantity", "Pick what was measured"),
}


@pytest.mark.parametrize(("change", "field", "says"), BAD_READINGS.values(), ids=BAD_READINGS)
def test_a_reading_that_cannot_be_is_refused_beside_the_field(lead, die, ina, change, field, says):
    values = {"quantity": "burr height", "position": "3-A", "value": "66", "person": ina.pk} | change
    if values["position"] in ("2-P", "3-A"):
        values["position"] = at(values["position"], die).pk
    answer = send(lead, "log_reading", die, **values)
    assert answer.status_code == 422 and says in answer.context["form"].errors[field][0]
    assert not Reading.objects.exists()


def test_a_reading_in_the_wrong_unit_is_doubted(lead, die, ina):
    """0.066 typed where micrometres are shown: millimetres were meant."""
    values = {"quantity": "burr height", "position": at("3-A", die).pk, "value": "0.066", "person": ina.pk}
    answer = send(lead, "log_reading", die, **values)
    assert answer.status_code == 422 and "0.066 µm is very little for burr height" in answer.context["form"].doubt


@pytest.mark.parametrize(
    ("what", "hits", "with_stock", "logged"),
    [("without stock", "40", False, 40), ("more", "1,000", True, 1000), ("fewer", "500", True, -500)],
)
def test_the_count_is_put_right(lead, die, ina, what, hits, with_stock, logged):
    make.run(die, 1, 9_000)
    answer = send(
        lead, "log_correction", die, what=what, hits=hits, reason="" if not with_stock else "counter jumped",
        person=ina.pk, follow=True,
    )  # fmt: skip
    row = HitCorrection.objects.get()
    assert (row.hits, row.with_stock) == (logged, with_stock)
    assert row.reason == ("counter jumped" if with_stock else "setting up")
    assert f"now {9_000 + (logged if with_stock else 0):,} hits since sharpened" in said(answer)


def test_a_count_that_cannot_be_put_right_is_refused(lead, die, ina):
    make.run(die, 1, 9_000)
    for change, field in (
        ({"hits": "9001", "what": "fewer", "reason": "x"}, "hits"),
        ({"hits": "-4", "what": "more", "reason": "x"}, "hits"),
        ({"hits": "0"}, "hits"),
        ({"hits": "10", "what": "more", "reason": " "}, "reason"),
    ):
        answer = send(lead, "log_correction", die, person=ina.pk, **change)
        assert answer.status_code == 422 and field in answer.context["form"].errors, change
    assert not HitCorrection.objects.exists()


NASTY = ["\x00", "nan", "inf", "1e999", "9" * 400, "-1", "½", "' or 1=1 --", "<script>", "0001-01-01T00:00",
         "9999-12-31T23:59", "2026-03-29T02:30", "true", "1/0", "\ud7ff", "١٢", "x" * 100_000]  # fmt: skip


@pytest.mark.parametrize("name", FORMS)
def test_whatever_is_sent_there_is_an_answer_and_no_traceback(lead, die, ina, name):
    """The test client raises what the server would answer with an error page."""
    shown = lead.get(address(name, die))
    form = shown.context["form"]
    for i, field in enumerate(form.fields):  # each field meets some of them, the rest of the form being right
        for text in NASTY[i % 6 :: 6]:
            answer = lead.post(address(name, die), sent(shown) | {field: text})
            assert answer.status_code in (302, 409, 422), (field, text[:20])
    for text in NASTY:
        answer = lead.post(address(name, die), dict.fromkeys(form.fields, text))
        body = len(encode_multipart(BOUNDARY, dict.fromkeys(form.fields, text)))
        too_large = body > settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        assert answer.status_code in ((413,) if too_large else (302, 409, 422)), text[:20]
        if "\x00" not in text:
            asked = dict.fromkeys(("die", "q", "instead"), text[:500])
            assert lead.get(address(name), asked).status_code < 400
    assert "<script>" not in page(lead.post(address(name, die), dict.fromkeys(form.fields, "<script>")))
