"""Pages of the bench: the plan in words and as a picture, a work, its buttons, its sheet, a die held and released."""

from __future__ import annotations

import datetime as dt
import re
import shutil
import subprocess
from html import unescape

import pytest
from django.contrib.auth.models import User
from django.urls import reverse
from icalendar import Calendar

from diestore import units
from diestore.register.models import Die, Plant
from maintenance.log import bench, bench_reads
from maintenance.models import Absence, BenchHours, BenchWork, DieHold
from maintenance.screens.bench import drawing, sheet
from tests import factories as make
from tests.pages.as_read import as_read
from tests.pages.bench_browser import Filled

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 30)  # a Monday


@pytest.fixture(autouse=True)
def today(monkeypatch):
    monkeypatch.setattr(bench_reads, "today_at", lambda plant: TODAY)


def words(answer) -> str:
    return unescape(re.sub(r"<[^>]+>", " ", as_read(answer)))


def said(answer) -> str:
    return re.sub(r"\s+", " ", words(answer))


def opened(die, **more) -> BenchWork:
    return bench.open_work(by=make.actor(), die=die, what="sharpen the set", **{"hours_foreseen": 3} | more)


def work_page(work) -> str:
    return reverse("maintenance:bench_work", args=[work.pk])


def sent(client, work, act: str, **values):
    return client.post(work_page(work), {"act": act, "person": make.person().pk} | values)


# --- the plan ---------------------------------------------------------------------------------------------------------


def test_the_bench_says_who_does_what_what_is_late_and_what_it_waits_for(as_role, die):
    BenchHours.objects.create(person=make.person("Maud K."), hours_a_day=6)
    opened(die, needed_on=TODAY, hours_foreseen=9)
    bench.plan_work(by=make.actor(), work=BenchWork.objects.get(), late_cost=100)
    bench.hold_die(by=make.actor(), die=die, reason="burr")
    for role, with_money in (("lead", True), ("toolmaker", False), ("setter", False)):
        text = said(as_role(role).get(reverse("maintenance:bench")))
        assert "1 late on the bench: H-900 (1 day)" in text, role
        assert "Maud K. Mon 30 Nov to Tue 1 Dec 9 Mon 30 Nov needed then 1 day late" in text.replace(": 100 EUR", "")
        assert "on hold: burr" in text
        assert ("That costs 100 EUR" in text and "late: 100 EUR" in text) is with_money, role
        assert ("Look for a better plan" in text) is (role == "lead"), role
    assert as_role("buyer").get(reverse("maintenance:bench")).status_code == 403


def test_without_any_work_or_plant_the_page_says_what_to_do(as_role):
    lead = as_role("lead")
    assert "There is no plant yet" in said(lead.get(reverse("maintenance:bench")))
    make.plant()
    assert "No work is open" in said(lead.get(reverse("maintenance:bench")))


def test_the_picture_is_to_scale(die):
    """Six hours a day: three hours are half a column, nine a column and a half, and a night is no gap."""
    from maintenance.log import bench_plan

    maud = BenchHours.objects.create(person=make.person("Maud K."), hours_a_day=6).person
    Absence.objects.create(person=maud, first=TODAY + dt.timedelta(days=3), last=TODAY + dt.timedelta(days=3))
    for hours, code in ((3, "H-900"), (9, "H-901")):
        opened(die if code == "H-900" else make.die(code), hours_foreseen=hours)
    picture = drawing.lay_out(bench_plan.plan_of(die.plant, TODAY), days=21)
    step = picture.days[1].x - picture.days[0].x
    (lane,) = picture.lanes
    spans = [((bar.x - 1 - picture.left) / step, (bar.width + 2) / step) for bar in lane.bars]
    assert spans == [pytest.approx((0, 0.5), abs=0.01), pytest.approx((0.5, 1.5), abs=0.01)]
    off = {round((x - picture.left) / step) for x, _, _ in lane.off}
    assert off == {3, 5, 6, 12, 13, 19, 20}  # the absence and the Sundays
    assert [round((x - picture.left) / step) for x, _, away in lane.off if away] == [3]
    assert all(bar.label for bar in lane.bars)


def test_a_work_is_put_somewhere_by_two_taps(as_role, die):
    maud = BenchHours.objects.create(person=make.person("Maud K."), hours_a_day=6).person
    Absence.objects.create(person=maud, first=TODAY + dt.timedelta(days=2), last=TODAY + dt.timedelta(days=2))
    work, lead = opened(die), as_role("lead")
    page = as_read(lead.get(f"{reverse('maintenance:bench')}?work={work.pk}"))
    buttons = re.findall(r'name="where" value="([^"]+)"', page)
    assert buttons == [f"{maud.pk} {TODAY + dt.timedelta(days=n)}" for n in (0, 1, 3, 4, 7, 8, 9, 10, 11)]
    there = reverse("maintenance:bench_put", args=[work.pk])
    answer = lead.post(there, {"where": buttons[2]}, follow=True)
    assert "H-900: Maud K., Thu 3 Dec 2026. It stays there." in said(answer)
    away = lead.post(there, {"where": f"{maud.pk} 2026-12-02"}, follow=True)
    assert "Maud K. is away from Wed 2 Dec 2026 to Wed 2 Dec 2026" in said(away)
    assert "Sun 29 Nov 2026 is past" in said(lead.post(there, {"where": f"{maud.pk} 2026-11-29"}, follow=True))
    work.refresh_from_db()
    assert work.day == dt.date(2026, 12, 3)
    assert "left to the plan" in said(lead.post(there, {"where": ""}, follow=True))
    assert as_role("toolmaker").post(there, {"where": buttons[0]}).status_code == 403


def test_a_better_plan_is_asked_for_and_said(as_role, die):
    BenchHours.objects.create(person=make.person("Maud K."), hours_a_day=4)
    opened(die, hours_foreseen=16, needed_on=TODAY)
    opened(make.die("H-901"), hours_foreseen=4, needed_on=TODAY + dt.timedelta(days=1))
    lead = as_role("lead")
    answer = lead.post(reverse("maintenance:bench_better"), {"plant": die.plant_id}, follow=True)
    assert "A better plan is found: 1 work is late in it." in said(answer)
    assert "In the order that a search found" in said(answer)
    assert lead.post(reverse("maintenance:bench_better"), {"plant": "9"}).status_code == 404


def test_the_calendar_is_one_that_programs_read(as_role, die):
    """RFC 5545, by the library that reads it: a day a work, the end the day after, and what it says."""
    BenchHours.objects.create(person=make.person("Maud K."), hours_a_day=6)
    opened(die, hours_foreseen=9)
    answer = as_role("toolmaker").get(reverse("reports:bench_calendar"))
    assert answer["Content-Type"].startswith("text/calendar")
    calendar = Calendar.from_ical(answer.content)
    assert not calendar.errors and (calendar["version"], "prodid" in calendar) == ("2.0", True)
    (event,) = calendar.walk("VEVENT")
    assert not event.errors and {"uid", "dtstamp", "dtstart"} <= {key.lower() for key in event}
    assert (event.decoded("dtstart"), event.decoded("dtend")) == (TODAY, TODAY + dt.timedelta(days=2))
    assert event["summary"] == "H-900: sharpen the set (Maud K.)"
    assert answer.content.count(b"\r\n") == answer.content.count(b"\n")
    assert max(map(len, answer.content.split(b"\r\n"))) <= 75  # RFC 5545, 3.1: folded lines


# --- opened -----------------------------------------------------------------------------------------------------------


def test_whoever_may_report_opens_a_work_from_a_tap_on_the_plan_view(as_role, die):
    setter, ina = as_role("setter"), make.person()
    page = as_read(setter.get(f"{reverse('diestore:die', args=[die.pk])}?complain=1"))
    (link,) = re.findall(r'href="([^"]*complaint[^"]*place=3-A)"', page)
    form = setter.get(unescape(link))
    assert "3-A, shape punch" in as_read(form) and "slug pulled" in said(form)
    values = Filled(as_read(form)).data | {"what": "burr", "person": ina.pk}
    answer = setter.post(unescape(link), values, follow=True)
    work = BenchWork.objects.get()
    assert (work.what, work.source, work.position.code, work.state) == ("burr at 3-A", "complaint", "3-A", "reported")
    assert "The toolroom has it: burr at 3-A." in said(answer)
    shown = said(setter.get(reverse("maintenance:bench_work", args=[work.pk])))
    assert "How it goes on" not in shown  # a setter reports; the bench works
    assert sent_state(setter, work, "planned") == 403


def sent_state(client, work, state: str) -> int:
    return sent(client, work, f"state {state}").status_code


def test_a_sharpening_is_opened_with_the_edges_and_hours_that_are_usual(as_role, die):
    make.run(die, 1, 20_000)
    make.sharpen(die, 2, die.positions.get(code="1-A"), removed_mm=0.12)
    client = as_role("toolmaker")
    address = f"{reverse('maintenance:bench_new')}?die={die.pk}&source=due"
    page = as_read(client.get(address))
    assert "Its sharpenings usually take 2." in page and 'value="sharpen the set"' in page
    ticked = {code for code in ("1-A", "3-A", "3-D", "4-F") if is_ticked(page, die.positions.get(code=code).pk)}
    assert ticked == {"1-A", "3-A"}  # the punch side's cutting edges
    answer = client.post(address, {"what": "sharpen the set", "source": "due", "person": make.person().pk,
                                   "edges": [die.positions.get(code="1-A").pk],
                                   "why": "sharp under the  glass"})  # fmt: skip
    assert answer.status_code == 302
    work = BenchWork.objects.get()
    assert work.hours_foreseen == 2
    edges = [(e.position.code, e.advised_mm, e.grind_mm, e.left_out, e.why) for e in work.edges.all()]
    why = "sharp under the glass"
    assert edges == [("1-A", 0.12, 0.12, False, ""), ("3-A", 0.12, None, True, why)]
    row = said(client.get(work_page(work))).split("Different from the advice")[1]
    assert "3-A grind 0.12 mm left out sharp under the glass" in row
    listed = said(client.get(reverse("maintenance:bench")))
    assert "Done differently from the advice: 1" in listed and why in listed
    told = sheet.read(work, system=units.System.METRIC, address="")
    assert [line.code for line in told.edges] == ["1-A"], "what is left out is not ground at the bench"
    form = as_read(client.get(f"{reverse('maintenance:log_sharpening')}?die={die.pk}&bench={work.pk}"))
    assert re.search(rf'name="found_{die.positions.get(code="3-A").pk}" value="out"[^>]*checked', form)
    first, other = die.positions.get(code="1-A").pk, die.positions.get(code="3-A").pk
    sent(client, work, "edges", more=[other], **{f"grind_{first}": "0.12"})
    assert [(e.left_out, e.why) for e in work.edges.all()] == [(False, ""), (False, "")], "put back, it is as advised"
    assert bench_reads.done_otherwise(die.plant) == []


def is_ticked(page: str, pk: int) -> bool:
    return bool(re.search(rf'<input[^>]*name="edges"[^>]*value="{pk}"[^>]*checked', page))


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"what": ""}, "Say what is to be done."),
        ({"hours_foreseen": "0"}, "A work of 0 hours is none"),
        ({"hours_foreseen": "two"}, "two"),
        ({"grind": "0"}, "cannot come off"),
        ({"needed_on": "yesterday"}, "This is not a date"),
        ({"edges": "99999"}, "99999"),
    ],
)
def test_what_cannot_be_opened_is_told_at_its_field(as_role, die, values, told):
    sound = {"what": "sharpen", "source": "due", "person": make.person().pk}
    answer = as_role("lead").post(f"{reverse('maintenance:bench_new')}?die={die.pk}", sound | values)
    assert answer.status_code == 422 and told in said(answer)
    assert not BenchWork.objects.exists()


def test_no_work_for_a_retired_die(as_role, die):
    Die.objects.filter(pk=die.pk).update(status=Die.Status.RETIRED)
    values = {"what": "sharpen", "source": "due", "person": make.person().pk}
    answer = as_role("lead").post(f"{reverse('maintenance:bench_new')}?die={die.pk}", values)
    assert answer.status_code == 422 and "H-900 is retired: no work is opened for it" in said(answer)


# --- one work ---------------------------------------------------------------------------------------------------------


def test_a_work_goes_on_by_its_buttons_and_tells_its_history(as_role, die):
    toolmaker, work = as_role("toolmaker"), opened(die)
    for act in ("state planned", "state on the bench"):
        assert sent(toolmaker, work, act).status_code == 302
    assert sent(toolmaker, work, "hours", hours="1,5").status_code == 302
    assert sent(toolmaker, work, "note", words="two screws were loose").status_code == 302
    assert sent(toolmaker, work, "state dropped", reason="x").status_code == 403
    assert sent(toolmaker, work, "state nonsense").status_code == 422
    assert "Enter the hours worked" in said(sent(toolmaker, work, "hours"))
    assert sent(toolmaker, work, "hours", hours="0").status_code == 422
    assert sent(toolmaker, work, "state away").status_code == 422
    text = said(toolmaker.get(work_page(work)))
    assert "3 planned, 1.5 used" in text
    for step in ("opened: sharpen the set", "planned", "on the bench", "worked 1.5 h", "two screws were loose"):
        assert step in text
    lead = as_role("lead")
    assert "Say why it is dropped" in said(sent(lead, work, "state dropped"))
    assert sent(lead, work, "state dropped", reason="the job is gone").status_code == 302
    assert "by Ina T. : the job is gone" in said(lead.get(work_page(work))).replace("Ina T.:", "Ina T. :")
    assert "Open another one" in said(sent(lead, work, "hours", hours="1"))


def test_edges_are_set_one_by_one_with_the_length_that_follows(as_role, die):
    from diestore.register.models import Piece

    place = die.positions.get(code="1-A")
    Piece.objects.filter(fittings__position=place).update(length_mm=71)
    make.sharpen(die, 2, place, removed_mm=0.5)
    work = opened(die, edges=[bench.EdgeToGrind(position=place, grind_mm=0.1)])
    client, other = as_role("toolmaker"), die.positions.get(code="3-A")
    assert "70.40 mm" in said(client.get(work_page(work)))  # 71 - 0.5 - 0.1
    assert sent(client, work, "edges", **{f"grind_{place.pk}": "0,2", "more": [other.pk]}).status_code == 302
    assert {e.position.code: e.grind_mm for e in work.edges.all()} == {"1-A": 0.2, "3-A": None}
    assert "must be nought or more" in said(sent(client, work, "edges", **{f"grind_{place.pk}": "-1"}))
    assert sent(client, work, "edges", **{f"grind_{place.pk}": "0.2", "without": [other.pk]}).status_code == 302
    assert {e.position.code for e in work.edges.all()} == {"1-A"}


def test_the_lead_plans_and_moves_on_the_works_page(as_role, die):
    maud = BenchHours.objects.create(person=make.person("Maud K."), hours_a_day=6).person
    lead, work = as_role("lead"), opened(die)
    plan = {"what": "sharpen", "hours_foreseen": "4", "needed_on": "2026-12-04", "away_days": "3", "late_cost": "120"}
    assert sent(lead, work, "plan", **plan).status_code == 302
    work.refresh_from_db()
    assert (work.what, work.hours_foreseen, work.away_days, work.late_cost, work.state) == (
        "sharpen",
        4,
        3,
        120,
        "planned",
    )
    assert sent(lead, work, "plan", **plan | {"hours_foreseen": "0"}).status_code == 422
    assert sent(lead, work, "move", **plan, doer=maud.pk, day="2026-12-05").status_code == 422  # a Saturday
    assert sent(lead, work, "move", **plan, doer=maud.pk, day="2026-12-01").status_code == 302
    text = said(lead.get(work_page(work)))
    assert "Maud K., Tue 1 Dec, put there by hand" in text
    assert "Ready by Fri 4 Dec: needed then" in text
    assert sent(as_role("toolmaker"), work, "plan", **plan).status_code == 403


def test_a_sharpening_logged_from_a_work_is_filled_in_and_closes_it(as_role, die):
    place, other = (die.positions.get(code=code) for code in ("1-A", "3-A"))
    make.run(die, 1, 20_000)
    work = opened(die, edges=[bench.EdgeToGrind(position=place, grind_mm=0.15, advised_mm=0.1)])
    client = as_role("toolmaker")
    address = f"{reverse('maintenance:log_sharpening')}?die={die.pk}&bench={work.pk}"
    page = as_read(client.get(address))
    assert re.search(r'name="removed"[^>]*value="0.15"', page)
    assert re.search(rf'name="found_{other.pk}" value="out"[^>]*checked', page)
    assert re.search(rf'name="found_{place.pk}" value="set"[^>]*checked', page)
    values = Filled(page).data | {
        "removed": "0.14",
        "hours": "2.5",
        "person": make.person().pk,
        "at": "2026-03-01T10:00",
    }
    answer = client.post(address, values, follow=True)
    assert "Bench work: released." in said(answer)
    work.refresh_from_db()
    assert (work.state, work.hours_used, work.entries.count()) == ("released", 2.5, 1)
    assert [(e.advised_mm, e.grind_mm, e.done_mm) for e in work.edges.all()] == [(0.1, 0.15, 0.14)]
    again = client.post(address, values, follow=True)  # sent twice: one entry, and the work is over
    assert again.status_code == 200 and work.entries.count() == 1


def test_hours_that_no_day_has_are_refused_with_what_to_do(as_role, die):
    lead, address = as_role("lead"), reverse("maintenance:bench_hours_new")
    for hours in ("0", "25"):
        answer = lead.post(address, {"person": make.person().pk, "hours_a_day": hours, "days": "mon-fri"})
        assert answer.status_code == 422 and "A day has more than nought and at most 24 hours." in said(answer)
        assert "Who has none is taken out of use here." in said(answer)
    assert not BenchHours.objects.exists()


def test_two_works_put_on_one_person_and_day_say_which_begins_later(as_role, die):
    lead, person = as_role("lead"), make.person("Maud K.")
    BenchHours.objects.create(person=person, hours_a_day=6)
    works = [opened(made, hours_foreseen=6) for made in (die, make.die("Z-2"))]
    for work in works:
        bench.move_work(by=make.actor(), work=work, person=person, day=TODAY, today=TODAY)
    pages = [said(lead.get(work_page(work))) for work in works]
    assert sum("no hours are free on Mon 30 Nov 2026; it begins on Tue 1 Dec 2026" in page for page in pages) == 1


# --- on hold ----------------------------------------------------------------------------------------------------------


def test_a_held_die_says_so_everywhere_and_asks_before_it_runs(as_role, die):
    make.order(die, parts=60_000)
    lead, there = as_role("lead"), reverse("maintenance:hold", args=[die.pk])
    assert "Say why the die is held" in said(lead.post(there, {"person": make.person().pk}))
    lead.post(there, {"reason": "burr on the left part", "person": make.person().pk})
    assert DieHold.objects.get().held_by == make.person()
    for name, args in (("diestore:die", [die.pk]), ("maintenance:due", []), ("reports:today", [])):
        text = said(lead.get(reverse(name, args=args)))
        assert re.search(r"[Oo]n hold", text) and "burr on the left part" in text, name
    run = {"started": "2026-03-01T06:00", "ended": "2026-03-01T10:00", "hits": "19200", "person": make.person().pk,
           "stock": die.usual_stock_id, "order": ""}  # fmt: skip
    DieHold.objects.update(at=dt.datetime(2026, 2, 28, tzinfo=dt.UTC))
    answer = lead.post(f"{reverse('maintenance:log_run')}?die={die.pk}", run)
    assert answer.status_code == 422
    assert "H-900 is on hold by Ina T.: burr on the left part. It makes no parts until" in said(answer)
    press = {"press": die.usual_press_id, "person": make.person().pk}
    answer = lead.post(f"{reverse('maintenance:in_press')}?die={die.pk}", press)
    assert "H-900 is on hold: burr on the left part" in said(answer)
    toolmaker = as_role("toolmaker")
    assert "The toolroom lead approves a first piece" in said(toolmaker.get(there))
    assert toolmaker.post(there, {"measured": "x", "person": make.person().pk}).status_code == 403
    lead.force_login(User.objects.get(username="lead"))
    assert "Say what was measured" in said(lead.post(there, {"person": make.person().pk}))
    answer = lead.post(there, {"measured": "burr 12 um, hole 6.02", "person": make.person().pk}, follow=True)
    assert "H-900 is released by Ina T." in said(answer)
    assert "released by Ina T.: burr 12 um, hole 6.02" in said(lead.get(there))
    assert "On hold" not in said(lead.get(reverse("maintenance:due")))


# --- the sheet --------------------------------------------------------------------------------------------------------


def big_die(places: int) -> Die:
    die = make.die("K-900", description="a long die")
    for n in range(places):
        make.position(die, f"{n // 5 + 1}-{'ABCDE'[n % 5]}", side="upper" if n % 2 else "lower",
                      kind="pierce_punch" if n % 2 else "die_button")  # fmt: skip
    return die


def text_of(pdf: bytes) -> str:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not here")
    return subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    ).stdout.decode()


@pytest.mark.parametrize(("places", "pages"), [(0, 1), (3, 1), (16, 1), (40, 1), (60, 2)])
def test_the_sheet_is_one_page_or_a_clear_second_with_every_edge_on_it(places, pages):
    die = big_die(max(places, 1))
    edges = [bench.EdgeToGrind(position=p, grind_mm=0.12) for p in die.positions.all()] if places else []
    work = opened(die, edges=edges)
    bench.reserve(by=make.actor(), work=work, item=make.item(), quantity=2)
    told = sheet.read(work, system="metric", address=f"http://host/bench/{work.pk}/")
    made = sheet.pdf(told)
    assert len(re.findall(rb"/Type /Page\b(?!s)", made)) == pages
    text = text_of(made)
    for code in die.positions.values_list("code", flat=True) if places else ():
        assert re.search(rf"(^|\s){code}\s", text), code
    table = "Shim" if places else "Nothing is to be ground"
    safe = ("Lock the press off", "Local codes, the maker's instructions and qualified people come first")
    for word in ("K-900", "sharpen the set", "2 × PP-6.0-M2", "Done by", "Die released by", table, *safe):
        assert word in text, word
    assert ("continued" in text) is (pages == 2)


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="pdftoppm is not here")
def test_what_stands_on_the_sheet_is_black_on_white(tmp_path):
    """Drawn as a picture, each part of the page has ink: a plan whose last mark is open must not write on in white."""
    die = big_die(8)
    make.position(die, "GP", kind="guide_post", side="lower", length_mm=None)
    work = opened(die, edges=[bench.EdgeToGrind(position=p, grind_mm=0.12) for p in die.positions.exclude(code="GP")])
    told = sheet.read(work, system="metric", address="http://host/")
    (tmp_path / "sheet.pdf").write_bytes(sheet.pdf(told))
    subprocess.run(["pdftoppm", "-r", "50", "-gray", "sheet.pdf", "sheet"], cwd=tmp_path, check=True)
    (picture,) = tmp_path.glob("*.pgm")
    words, rest = picture.read_bytes().split(b"\n255\n", 1)
    wide, high = map(int, words.split()[1:3])
    lines = [rest[y * wide : (y + 1) * wide] for y in range(high)]
    left = [sum(value < 140 for value in line[24 : wide // 3]) for line in lines]  # the first words of every line
    inked = [y / high for y, dark in enumerate(left) if dark]
    for part in (0.05, 0.6, 0.75, 0.88):
        assert any(abs(y - part) < 0.03 for y in inked), part
    text = [y for y, dark in enumerate(left) if 3 < dark < wide // 5]
    assert len([y for y in text if y > 0.5 * high]) > 40  # words, not rules alone


def test_the_same_work_gives_the_same_bytes_and_another_gives_others(as_role, die):
    work = opened(die, edges=[bench.EdgeToGrind(position=die.positions.get(code="1-A"), grind_mm=0.1)])
    client, there = as_role("toolmaker"), reverse("maintenance:bench_sheet", args=[work.pk])
    first = client.get(there)
    assert first["Content-Type"] == "application/pdf"
    assert client.get(there).content == first.content
    bench.use_hours(by=make.actor(), work=work, hours=1)  # not on the sheet
    assert client.get(there).content == first.content
    bench.set_edges(by=make.actor(), work=work, edges=[])
    assert client.get(there).content != first.content


def test_a_carbide_edge_brings_the_caution_of_its_dust(die):
    make.position(die, "5-A", tool_steel="carbide")
    work = opened(die, edges=[bench.EdgeToGrind(position=die.positions.get(code="5-A"), grind_mm=0.05)])
    told = sheet.read(work, system="metric", address="http://host/")
    assert any("cobalt" in caution for caution in told.cautions)


# --- plants -----------------------------------------------------------------------------------------------------------


def test_two_plants_have_a_bench_each(as_role, die):
    far = Plant.objects.create(code="far", name="Farside")
    other = make.die("Q-1")
    Die.objects.filter(pk=other.pk).update(plant=far)
    opened(die), opened(Die.objects.get(pk=other.pk))
    lead = as_role("lead")
    near_page = said(lead.get(f"{reverse('maintenance:bench')}?plant={die.plant_id}"))
    far_page = said(lead.get(f"{reverse('maintenance:bench')}?plant={far.pk}"))
    assert "H-900" in near_page and "Q-1" not in near_page
    assert "Q-1" in far_page and "H-900" not in far_page
