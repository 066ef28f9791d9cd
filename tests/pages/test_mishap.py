"""A mishap at the press: one entry for all that it damaged, and what follows from it."""

import datetime as dt
from html import escape

import pytest
from django.urls import reverse
from django.utils import timezone

from diestore.handbook import cautions
from maintenance.log import derived, expected, write
from maintenance.models import Incident, Replacement, Work
from tests import factories as make
from tests.pages.bench_browser import address, at, everything, page, said, send, sent, typed

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_forecasts")]


def mishap(client, die, *, damaged=(), follow=False, **more):
    url = address("log_mishap", die)
    data = sent(client.get(url), **({"sort": "misfeed"} | more)) | {"damaged": [at(c, die).pk for c in damaged]}
    return client.post(url, data, follow=follow)


def test_one_screen_one_entry_for_all_that_it_damaged(lead, die, ina):
    answer = mishap(lead, die, damaged=["1-A", "3-A"], note="feed set anew", person=ina.pk, follow=True)
    row = Incident.objects.get()
    assert row.sort == "misfeed" and row.person == ina and row.note == "feed set anew"
    assert set(row.pieces.all()) == {at(c, die).fittings.get().piece for c in ("1-A", "3-A")}
    assert said(answer).startswith("Mishap: misfeed.")
    shown = page(answer)
    assert "2 damaged pieces have no entry yet that says what became of them" in shown
    assert "feed set anew" in shown


def test_the_cautions_stand_beside_it_before_anybody_reaches_in(lead, die):
    shown = page(lead.get(address("log_mishap", die)))
    for caution in cautions.for_work("mishap"):
        assert caution.short in shown
    assert [c.key for c in cautions.for_work("mishap")] == ["press", "lockout", "blocks", "springs"]
    assert escape(cautions.FIRST) in shown
    assert shown.index(cautions.for_work("mishap")[0].short) < shown.index('<form method="post" class="log')


def test_none_damaged_is_an_entry_too_and_something_else_needs_words(lead, die, ina):
    assert mishap(lead, die, person=ina.pk).status_code == 302
    answer = mishap(lead, die, sort="other", person=ina.pk)
    assert answer.status_code == 422 and "Say in a few words what happened." in page(answer)
    assert mishap(lead, die, sort="other", other="pin fell out", person=ina.pk).status_code == 302
    assert sorted(Incident.objects.values_list("sort", flat=True)) == ["misfeed", "pin fell out"]
    assert mishap(lead, die, sort="", person=ina.pk).status_code == 422
    assert mishap(lead, die, sort="other", other="x" * 41, person=ina.pk).status_code == 422
    assert Incident.objects.count() == 2


def test_what_did_not_sit_there_then_was_not_damaged(lead, die, ina):
    before = typed(make.START - dt.timedelta(days=3))
    place = at("1-A", die)
    Replacement.objects.filter(position=place).update(since_start=False)
    derived.rebuild_fittings(place)
    answer = mishap(lead, die, damaged=["1-A"], at=before, person=ina.pk)
    assert answer.status_code == 422 and "was fitted on" in page(answer)
    other = make.die("B-118")
    make.position(other, "1-A")
    data = sent(lead.get(address("log_mishap", die)), sort="misfeed", person=ina.pk) | {
        "damaged": [at("1-A", other).pk]
    }
    answer = lead.post(address("log_mishap", die), data)
    assert answer.status_code == 422 and "Tap pieces on the list." in page(answer)
    with pytest.raises(write.EntryRefused, match="not a position of"):
        write.log_incident(by=make.actor(), die=die, at=timezone.now(), sort="misfeed", positions=[at("1-A", other)])
    assert not Incident.objects.exists()


def test_replacement_and_sharpening_follow_from_it(lead, die, ina):
    there = mishap(lead, die, damaged=["1-A", "3-A", "2-P"], person=ina.pk)["Location"]
    shown = lead.get(there)
    chipped = shown.context["sharpening"]
    form = lead.get(chipped)
    data = sent(form)
    assert [c for c in ("1-A", "3-A", "3-D") if data[f"found_{at(c, die).pk}"] == "chipped"] == ["1-A", "3-A"]
    assert f"position={at('2-P', die).pk}" in page(shown), "a pilot is not ground: it is replaced"
    answer = lead.post(chipped, data | {"sides": "upper", "removed": "0.2", "person": ina.pk})
    assert answer.status_code == 302 and Work.objects.filter(why="chipped").count() == 2
    assert "1 damaged piece has no entry yet that says what became of it" in page(lead.get(there))
    send(lead, "log_replacement", die, position=at("2-P", die).pk, why="broken", from_shelf="no", person=ina.pk)
    assert "Every damaged piece has an entry since." in page(lead.get(there))
    (one,) = [d for d in expected.damaged_by(Incident.objects.get()) if d.position.code == "2-P"]
    assert not one.is_there and isinstance(one.since[0], Replacement)


def test_twice_sent_is_once_saved_and_struck_out_is_entered_again(lead, die, ina):
    url = address("log_mishap", die)
    data = sent(lead.get(url), sort="other", other="pin fell out", person=ina.pk) | {"damaged": [at("1-A", die).pk]}
    assert lead.post(url, data)["Location"] == lead.post(url, data)["Location"]
    row = Incident.objects.get()
    strike = reverse("maintenance:strike", args=["incident", row.pk])
    answer = lead.post(strike, {"reason": "wrong die", "person": ina.pk, "again": "1"})
    again = lead.get(answer["Location"])
    assert sent(again)["other"] == "pin fell out" and sent(again)["damaged"] == str(at("1-A", die).pk)
    assert "counts for nothing" in page(lead.get(reverse("maintenance:mishap", args=[row.pk])))


def test_the_page_takes_the_same_queries_at_three_and_at_thirty(lead, die, django_assert_num_queries):
    def damage(number: int) -> str:
        big = make.die(f"B-{number}")
        places = [make.position(big, f"{n}-A") for n in range(1, number + 1)]
        row = write.log_incident(by=make.actor(), die=big, at=timezone.now(), sort="misfeed", positions=places)
        return reverse("maintenance:mishap", args=[row.pk])

    three, thirty = damage(3), damage(30)
    lead.get(three)  # what a process asks once and keeps is no part of the count
    with django_assert_num_queries(60, exact=False) as few:
        lead.get(three)
    with django_assert_num_queries(len(few)):
        lead.get(thirty)


def test_a_press_setter_logs_a_mishap_and_sees_no_button_of_others(client, die):
    client.force_login(make.user("setter"))
    before = everything()
    answer = mishap(client, die, damaged=["1-A"], person=make.person().pk, follow=True)
    assert everything() != before and "Log the sharpening" not in page(answer) and "Log the stop" in page(answer)


def test_the_lists_say_how_many_pieces_and_lead_to_them(lead, die, ina, django_assert_num_queries):
    mishap(lead, die, damaged=["1-A", "3-A"], person=ina.pk)
    row = Incident.objects.get()
    assert "2 pieces damaged" in page(lead.get(address("entries")))
    there = reverse("maintenance:mishap", args=[row.pk])
    assert there in page(lead.get(reverse("maintenance:entry", args=["incident", row.pk])))
    with django_assert_num_queries(60, exact=False) as few:
        lead.get(address("entries"))
    asked = len(few)
    for n in range(8):
        mishap(lead, die, damaged=["1-A"], note=str(n), person=ina.pk)
    with django_assert_num_queries(asked):
        lead.get(address("entries"))
