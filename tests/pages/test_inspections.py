"""Inspections as people plan and do them: proposals taken on, nothing found in a tap, findings to the bench."""

from __future__ import annotations

import datetime as dt
import re
from html import unescape

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import escape

from diestore.handbook.inspections import BY_KEY, LOCAL
from diestore.register.models import Plant
from maintenance.log import inspections, write
from maintenance.models import BenchWork, Inspection, InspectionPlan, Photo
from tests import factories as make

from .as_read import as_read
from .bench_browser import sent
from .test_photos import file, small_ones

pytestmark = pytest.mark.django_db
LIST = "/inspections/"


def planned(die=None, **more) -> InspectionPlan:
    named = {"what": "springs", "every_days": 30, "since": timezone.now() - dt.timedelta(days=40)} | more
    return inspections.plan_inspection(by=make.actor(), plant=make.plant(), die=die, **named)


def test_a_lead_takes_proposals_on_with_a_tap_and_nothing_is_forced(as_role, die):
    lead, there = as_role("lead"), reverse("maintenance:inspection_proposals")
    shown = as_read(lead.get(there))
    assert escape(LOCAL) in shown and not InspectionPlan.objects.exists()
    assert "29 CFR 1910.217(e)(1)" in shown and "common practice, no source" in shown and "within 30 days" in shown
    lead.post(there, {"take": f"pilots die {die.pk}"})
    plan = InspectionPlan.objects.get()
    assert (plan.die, plan.every_hits, plan.why) == (die, BY_KEY["pilots"].every_hits, BY_KEY["pilots"].rule)
    lead.post(there, {"take": f"pilots die {die.pk}"})
    answer = lead.post(there, {"take": "press-weekly all"}, follow=True)
    assert InspectionPlan.objects.count() == 2 and "Planned: press press 3: clutch" in as_read(answer)
    assert f"springs die {die.pk}" not in as_read(answer), "a die without springs is not asked about them"
    for wrong in ("nothing all", "", "pilots die 999999", "pilots"):
        assert lead.post(there, {"take": wrong}).status_code in (302, 404) and InspectionPlan.objects.count() == 2
    assert as_role("setter").get(there).status_code == 403


def test_a_lead_plans_one_of_the_shops_own_and_takes_it_out(as_role, die):
    lead, there = as_role("lead"), reverse("maintenance:inspection_new")
    of = {"of": f"die {die.pk}", "what": "lifters"}
    for wrong, said in (
        ({}, "Pick what it is of"), (of, "every how many days"), (of | {"every_days": "0"}, "Enter 1 to"),
        ({"of": "plant", "what": "blocks", "every_hits": "5"}, "Hits are of a die or a press"),
        (of | {"every_hits": "9" * 30}, "Enter 1 to"), (of | {"every_days": "soon"}, "number"),
    ):  # fmt: skip
        answer = lead.post(there, wrong)
        assert answer.status_code == 422 and said in as_read(answer) and not InspectionPlan.objects.exists()
    answer = lead.post(there, of | {"every_hits": "100,000", "every_days": "365", "why": "the maker"}, follow=True)
    assert "every 100,000 hits or every year" in as_read(answer)
    page = reverse("maintenance:inspection_plan", args=[InspectionPlan.objects.get().pk])
    assert as_role("setter").post(page, {"act": "retire"}).status_code == 403
    lead.force_login(make.user("lead", "another lead"))
    assert lead.post(page, {"act": "retire"}).status_code == 302
    assert "Nothing is planned" in as_read(lead.get(LIST))


def test_nothing_found_is_one_tap_and_the_next_one_is_due_later(as_role, die, ina):
    plan = planned(die)
    setter = as_role("setter")
    shown = as_read(setter.get(LIST))
    assert "1 overdue." in shown and "10 days overdue" in shown and escape(LOCAL) in shown
    data = sent(setter.get(LIST), person=ina.pk, looked=plan.pk)
    assert "Pick who looked" in as_read(setter.post(LIST, data | {"person": ""}))
    answer = setter.post(LIST, data, follow=True)
    assert "looked at, nothing found" in as_read(answer) and "Nothing is overdue" in as_read(answer)
    assert setter.post(LIST, data).status_code == 302 and Inspection.objects.count() == 1, "the same form is once"
    row = Inspection.objects.get()
    assert (row.person, row.is_finding, row.die, row.plant) == (ina, False, die, die.plant)
    write.strike_out(by=make.actor(), entry=row, reason="the wrong die")
    assert "10 days overdue" in as_read(setter.get(LIST)), "struck out, it was not looked at"
    assert [setter.post(LIST, data | {"looked": n}).status_code for n in ("x", "999999")] == [422, 404]


def test_a_finding_has_words_and_a_photo_and_goes_to_the_bench(as_role, die, ina):
    plan = planned(die)
    setter, page = as_role("setter"), reverse("maintenance:inspection_plan", args=[plan.pk])
    data = sent(setter.get(page), person=ina.pk, act="found")
    answer = setter.post(page, data)
    assert answer.status_code == 422 and "Say what was found" in as_read(answer)
    assert not Inspection.objects.exists() and not Photo.objects.exists()
    answer = setter.post(page, data | {"note": "two of eight broken", "photo": file()}, follow=True)
    assert len(small_ones(as_read(answer))) == 1 and "two of eight broken" in as_read(answer)
    (bench,) = re.findall(r'href="([^"]*source=inspection[^"]*)"', as_read(answer))
    form = setter.get(unescape(bench))
    assert "two of eight broken" in as_read(form)
    setter.post(unescape(bench), sent(form, person=ina.pk))
    work = BenchWork.objects.get()
    assert (work.what, work.source, work.die) == ("two of eight broken", "inspection", die)
    assert work.inspection == Inspection.objects.get()
    told = as_read(as_role("lead").get(reverse("maintenance:bench_work", args=[work.pk])))
    assert page in told and "springs" in told
    entry = reverse("maintenance:entry", args=["inspection", Inspection.objects.get().pk])
    assert "something found" in as_read(setter.get(entry))
    assert "Looked at springs: something found" in as_read(setter.get("/log/entries/"))


def test_by_hits_it_is_due_when_they_are_made(die):
    plan = planned(die, every_days=None, every_hits=10_000, since=make.moment(1))
    rows = lambda: inspections.rows(die.plant, today=make.moment(20).date())  # noqa: E731
    assert rows()[0].due.on is None and rows()[0].hits_since == 0
    for day in (2, 4, 6):
        make.run(die, day, 3_000)
    assert (rows()[0].hits_since, rows()[0].due.hits_left, rows()[0].due.is_overdue) == (9_000, 1_000, False)
    assert rows()[0].due.on == make.moment(30).date() and rows()[0].due.by_hits  # 9,000 in 90 days: 100 a day
    make.run(die, 8, 3_000)
    assert rows()[0].due.is_overdue and rows()[0].due.hits_left == -2_000
    inspections.log_inspection(by=make.actor(), plan=plan, at=make.moment(9))
    assert (rows()[0].hits_since, rows()[0].due.is_overdue) == (0, False)


def test_typed_corrections_count_as_hits_do(die):
    """2,000 strokes without stock at set-up and 500 counted too many: 3,000 + 2,000 - 500."""
    planned(die, every_days=None, every_hits=10_000, since=make.moment(1))
    make.run(die, 2, 3_000)
    for hits, with_stock in ((2_000, False), (-500, True)):
        write.log_hit_correction(
            by=make.actor(), die=die, at=make.moment(3), hits=hits, with_stock=with_stock, reason="typed"
        )
    slip = write.log_hit_correction(
        by=make.actor(), die=die, at=make.moment(3), hits=70, with_stock=True, reason="a slip of the pen"
    )
    write.strike_out(by=make.actor(), entry=slip, reason="not this die")
    (row,) = inspections.rows(die.plant, today=make.moment(20).date())
    assert (row.hits_since, row.due.hits_left) == (4_500, 5_500)
    planned(make.die("H-9"), every_days=None, every_hits=10_000, since=make.moment(1))
    other = next(r for r in inspections.rows(die.plant, today=make.moment(20).date()) if r.plan.die != die)
    assert other.hits_since == 0, "hits of another die are its own"


def test_a_plan_holds_for_all_places_of_a_kind(as_role, die):
    lead, there = as_role("lead"), reverse("maintenance:inspection_new")
    for code in ("GS-1", "GS-2"):
        make.position(die, code, kind="gas_spring", length_mm=None)
    of = {"of": f"die {die.pk}", "what": "pressure", "every_days": "90"}
    for wrong, said in (
        ({"kind": "stock_guide"}, "has no stock guides"), ({"kind": "unicorn"}, "Pick one of the list"),
        ({"kind": "gas_spring", "of": "plant"}, "Places of a kind are of a die"),
    ):  # fmt: skip
        answer = lead.post(there, of | wrong)
        assert answer.status_code == 422 and said in as_read(answer) and not InspectionPlan.objects.exists()
    shown = as_read(lead.post(there, of | {"kind": "gas_spring"}, follow=True))
    plan = InspectionPlan.objects.get()
    assert (plan.kind, plan.thing) == ("gas_spring", f"{die}, gas springs")
    assert all(reverse("maintenance:edge", args=[place.pk]) in shown for place in inspections.places_of(die, plan.kind))
    assert f"{die}, gas springs" in as_read(lead.get(LIST))


def test_what_is_due_later_has_pages_and_none_is_left_out(as_role, die):
    now = timezone.now()
    InspectionPlan.objects.bulk_create(
        InspectionPlan(plant=die.plant, die=die, what=f"look {n:03}", every_days=100 + n, since=now) for n in range(120)
    )
    lead, seen = as_role("lead"), []
    for number in (1, 2, 3):
        said = as_read(lead.get(LIST, {"page": number}))
        assert "120, the next due first" in " ".join(said.split())
        seen += re.findall(r"<td>(look \d{3})", said)
    assert seen == [f"look {n:03}" for n in range(120)]


def test_what_is_overdue_stands_on_today_and_what_is_reported_too(as_role, die, ina):
    planned(die)
    setter = as_role("setter")
    assert "Inspections overdue" in as_read(setter.get("/")) and "Reported, not planned" not in as_read(setter.get("/"))
    there = f"{reverse('maintenance:complaint')}?die={die.pk}&place=elsewhere"
    setter.post(there, sent(setter.get(there), person=ina.pk) | {"what": "noise"})
    lead = as_role("lead")
    shown = as_read(lead.get("/"))
    assert "Reported, not planned yet" in shown and "noise" in shown and "Inspections overdue" in shown


def test_another_plants_are_not_there(as_role, die):
    far = Plant.objects.create(code="far")
    plan = inspections.plan_inspection(by=make.actor(), plant=far, what="far blocks", every_days=1)
    with pytest.raises(write.EntryRefused, match="not of this plant"):
        inspections.plan_inspection(by=make.actor(), plant=far, die=die, what="x", every_days=1)
    lead = as_role("lead")
    assert "far blocks" not in as_read(lead.get(f"{LIST}?plant={die.plant_id}"))
    assert lead.get(reverse("maintenance:inspection_plan", args=[plan.pk])).status_code == 200
