"""The register by hand: a change has a date, and what was run before it is told as it was."""

import datetime as dt
import re
from html.parser import HTMLParser

import pytest
from django.apps import apps
from django.contrib.auth.models import User
from django.urls import reverse
from django.utils import timezone

from diestore.register import actions
from diestore.register.models import Cut, Party, Position, Rate, Station, Stock, Variant
from maintenance.screens.edge import page as edge_page
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client):
    client.force_login(User.objects.create_superuser("root", password="x"))
    return client


@pytest.fixture
def edge():
    die = make.die()
    made = make.position(die, "1-A", gap_mm=0.02)
    for n in range(5):
        make.run(die, 4 * n + 1, 20_000)
        make.sharpen(die, 4 * n + 3, made, why="dull", found="dull")
    make.run(die, 30, 4_000)
    return made


class Form(HTMLParser):
    """What a browser would send of the form in the middle of an administration's page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.sent: dict[str, list[str]] = {}
        self.select = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        a = dict(attrs)
        if tag == "input" and a.get("name") and a.get("type") not in ("submit", "file"):
            if a.get("type") not in ("checkbox", "radio") or "checked" in a:
                self.sent.setdefault(a["name"], []).append(a.get("value", "on" if a.get("type") == "checkbox" else ""))
        elif tag == "select" and a.get("name"):
            self.select = a["name"]
        elif tag == "option" and "selected" in a:
            self.sent.setdefault(self.select, []).append(a.get("value", ""))


def address(row) -> str:
    return reverse(f"admin:diestore_{row._meta.model_name}_change", args=[row.pk])


def send(client, row, at: str = "", **change):
    at = at or address(row)
    sent = Form(client.get(at).content.decode()).sent | {name: [value] for name, value in change.items()}
    sent.pop("csrfmiddlewaretoken", None)
    return client.post(at, {name: value for name, value in sent.items() if value != [None]}, follow=True)


def errors(answer) -> str:
    form = answer.context["adminform"].form
    return " ".join(str(sentence) for found in form.errors.values() for sentence in found)


def typed(name: str, moment: dt.datetime) -> dict[str, str]:
    there = timezone.localtime(moment)
    return {f"{name}_0": f"{there:%Y-%m-%d}", f"{name}_1": f"{there:%H:%M:%S}"}


def builds(position):
    told = edge_page.of_position(position, "metric")
    return [(b.build.gap_mm, b.cycles, b.now) for b in told.builds]


def test_a_wider_gap_holds_from_now_and_the_ended_cycles_keep_theirs(office, edge):
    answer = send(office, Cut.objects.get(), gap_mm="0.03")
    assert "1-A stays as it was; from then on it is as below" in answer.content.decode()
    assert builds(edge) == [(0.02, 5, True)]
    old, new = Cut.objects.order_by("pk")
    assert (old.gap_mm, old.valid_from, new.gap_mm, new.valid_to) == (0.02, None, 0.03, None)
    assert old.valid_to == new.valid_from and abs(timezone.now() - new.valid_from) < dt.timedelta(minutes=2)
    assert new.history.get().history_user.username == "root"
    assert answer.context["original"] == new


def test_the_moment_may_be_another(office, edge):
    send(office, Cut.objects.get(), gap_mm="0.03", **typed("changed_at", make.moment(11)))
    assert builds(edge) == [(0.03, 2, True), (0.02, 3, False)]


def test_a_typing_error_is_put_right_for_all_of_the_past(office, edge):
    send(office, Cut.objects.get(), gap_mm="0.03", never_so="on")
    cut = Cut.objects.get()
    assert builds(edge) == [(0.03, 5, True)]
    assert cut.history.first().history_change_reason == actions.NEVER_SO
    assert actions.NEVER_SO in office.get(f"{address(cut)}".replace("change", "history")).content.decode()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"gap_mm": "0.03", "changed_at_0": "", "changed_at_1": ""}, "Say since when it is so."),
        ({"gap_mm": "0.03", "changed_at_0": "2099-01-01"}, "is still to come"),
        ({"code": "hole"}, "This stays, unless it was a typing error"),
        ({"gap_mm": "0.03", "valid_to_0": "2026-01-01", "valid_to_1": "10:00:00"}, "Let it end by itself"),
    ],
)
def test_a_change_that_cannot_be_is_refused_with_a_sentence(office, edge, change, says):
    answer = send(office, Cut.objects.get(), **change)
    assert says in errors(answer)
    assert [(c.code, c.gap_mm, c.valid_to) for c in Cut.objects.all()] == [("1-A", 0.02, None)]


def test_how_it_was_before_is_changed_only_as_a_typing_error_and_two_rows_never_hold_at_once(office, edge):
    send(office, Cut.objects.get(), gap_mm="0.03", **typed("changed_at", make.moment(11)))
    old, new = Cut.objects.order_by("pk")
    assert "This is how 1-A was until" in errors(send(office, old, gap_mm="0.04"))
    assert "Another row tells 1-A for a part of that time" in errors(send(office, old, valid_to_0="", valid_to_1=""))
    send(office, old, gap_mm="0.025", never_so="on")
    assert builds(edge) == [(0.03, 2, True), (0.025, 3, False)]
    send(office, new, **typed("valid_to", make.moment(40)))
    new.refresh_from_db()
    assert new.valid_to == make.moment(40) and new.history.first().history_change_reason is None
    another = reverse("admin:diestore_cut_add")
    answer = send(office, None, another, die=edge.die_id, upper=edge.pk, code="1-A", length_mm="9", gap_mm="0.1")
    assert "Another row tells 1-A" in errors(answer) and "never as it stands" not in answer.content.decode()
    send(office, None, another, die=edge.die_id, upper=edge.pk, code="1-B", length_mm="9", gap_mm="0.1")
    assert Cut.objects.get(code="1-B").valid_from is None


def test_going_back_to_an_older_version_is_a_change_like_any_other(office, edge):
    cut = Cut.objects.get()
    send(office, cut, gap_mm="0.03", never_so="on")
    older = cut.history.order_by("history_id").first()
    there = reverse("admin:diestore_cut_simple_history", args=[cut.pk, older.pk])
    send(office, cut, there)
    assert sorted(Cut.objects.values_list("gap_mm", flat=True)) == [0.02, 0.03]
    assert Cut.objects.get(valid_to=None).gap_mm == 0.02


@pytest.mark.parametrize("change", [{"stroke_share": "0.5"}, {"kind": "trim_punch"}, {"side": "lower"}])
def test_what_a_position_was_counted_with_is_not_changed_under_its_past(office, edge, change):
    answer = send(office, edge, **change)
    assert "let this position end (valid to) and enter another one" in errors(answer)
    name, value = next(iter(change.items()))
    assert str(getattr(Position.objects.get(pk=edge.pk), name)) != value
    send(office, edge, **change, never_so="on")
    again = Position.objects.get(pk=edge.pk)
    assert str(getattr(again, name)) == value
    assert again.history.first().history_change_reason == actions.NEVER_SO
    send(office, edge, height_group="2")
    again.refresh_from_db()
    assert again.height_group == "2" and again.history.first().history_change_reason is None


def test_the_inserts_that_a_position_works_with_are_its_past_too(office, edge):
    other = Variant.objects.create(die=edge.die, code="wide")
    answer = send(office, edge, variants=str(other.pk))
    assert "Its runs so far were counted" in errors(answer) and not edge.variants.exists()
    send(office, edge, variants=str(other.pk), never_so="on")
    assert edge.variants.get() == other


def test_on_a_dies_page_positions_are_added_and_not_changed(office, edge):
    shown = office.get(address(edge.die)).content.decode()
    assert not re.search(r'name="positions-0-(stroke_share|kind|side)"', shown)
    assert address(edge) in shown


def test_another_strength_is_another_stock(office, edge):
    stock = Stock.objects.get()
    assert "enter another stock and name it at the die" in errors(send(office, stock, tensile_mpa="500"))
    send(office, stock, tensile_mpa="500", never_so="on")
    stock.refresh_from_db()
    assert stock.tensile_mpa == 500 and stock.history.first().history_change_reason == actions.NEVER_SO
    send(office, stock, source="certificate 12")
    stock.refresh_from_db()
    assert stock.source == "certificate 12"


@pytest.mark.parametrize("name", ["rate", "part", "person", "press", "party", "plant"])
def test_what_has_a_card_is_only_read_here(office, name):
    make.die(usual_press=make.press())
    make.person()
    Party.objects.create(code="C", role="customer")
    Rate.objects.create(plant=make.plant(), kind="press hour", valid_from="2026-01-01", amount=60)
    row = apps.get_model("diestore", name).objects.first()
    assert office.get(reverse(f"admin:diestore_{name}_changelist")).status_code == 200
    assert office.get(address(row)).status_code == 200
    assert office.post(address(row), {}).status_code == 403
    assert office.get(reverse(f"admin:diestore_{name}_add")).status_code == 403
    assert office.post(reverse(f"admin:diestore_{name}_delete", args=[row.pk]), {"post": "yes"}).status_code == 403
    assert type(row).objects.filter(pk=row.pk).exists()


def test_a_cut_takes_no_place_of_another_die_and_none_of_the_other_side(office, edge):
    other = make.position(make.die("H-901"), "7-A")
    below = make.position(edge.die, "1-D", kind="die_section", side="lower", length_mm=None)
    cut = Cut.objects.get(upper=edge)
    for wrong, words in ((other, "Place 7-A is of die H-901."), (below, "Place 1-D is on the die side.")):
        sent = Form(office.get(address(cut)).content.decode()).sent | {"upper": [str(wrong.pk)], "never_so": ["on"]}
        answer = office.post(address(cut), sent)
        assert answer.status_code == 200 and words in answer.content.decode()
    assert Cut.objects.get(pk=cut.pk).upper == edge


def test_a_place_takes_no_station_or_set_of_inserts_of_another_die(office, edge):
    other = make.die("H-901")
    station = Station.objects.create(die=other, code="9", sequence=9)
    variant = other.variants.get()
    for values, words in (
        ({"station": [str(station.pk)]}, "Station 9 is of die H-901."),
        ({"variants": [str(variant.pk)], "never_so": ["on"]}, "is a set of inserts of die H-901."),
    ):
        sent = Form(office.get(address(edge)).content.decode()).sent | values
        answer = office.post(address(edge), sent)
        assert answer.status_code == 200 and words in answer.content.decode()
