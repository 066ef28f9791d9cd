"""The log at the bench: who may use it, finding the die, a run, and that once is enough."""

import datetime as dt

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from diestore.access import roles
from diestore.access.models import Person
from diestore.register.models import Variant
from maintenance.log import write
from maintenance.models import Counter, CounterDevice, DieForecast, OpenCount, Run, Stop
from tests import factories as make
from tests.pages.bench_browser import FORMS, address, at, everything, page, said, send, sent, start_to_end, typed

pytestmark = pytest.mark.django_db


# --- who may ------------------------------------------------------------------------------------------

MAY = [(role, name, code in roles.GRANTS[role]) for role in roles.ROLES for name, code in FORMS.items()]


@pytest.mark.parametrize(("role", "name", "may"), MAY)
def test_each_role_sees_and_sends_only_its_own_forms(client, die, ina, role, name, may):
    client.force_login(make.user(role))
    for url in (address(name, die), address(name)):
        assert client.get(url).status_code == (200 if may else 403)
    before = everything()
    assert client.post(address(name, die), {}).status_code == (422 if may else 403)
    assert everything() == before


@pytest.mark.parametrize("role", roles.ROLES)
def test_each_role_at_the_start_the_list_and_striking_out(client, die, role):
    run = make.run(die, 1)
    client.force_login(make.user(role))
    logs_something = bool(roles.GRANTS[role] & set(FORMS.values()))
    start = client.get(address("log", die))
    assert start.status_code == (200 if logs_something else 403)
    if logs_something:
        buttons = {task["url"].split("?")[0] for _, tasks in start.context["rows"] for task in tasks} - {
            reverse("diestore:die", args=[die.pk])
        }
        buttons_of = {
            **FORMS,
            "in_press": roles.LOG_RUN,
            "inspections": roles.LOG_MISHAP,
        }  # those are no forms of the log; a complaint begins on the plan
        assert buttons == {address(n) for n, code in buttons_of.items() if code in roles.GRANTS[role]}
    assert client.get(address("entries")).status_code == 200
    strikes = roles.STRIKE_ENTRY in roles.GRANTS[role]
    assert ("Strike out" in page(client.get(address("entries")))) == strikes
    url = reverse("maintenance:strike", args=["run", run.pk])
    assert client.get(url).status_code == (200 if strikes else 403)
    sent_ = client.post(url, {"reason": "twice", "person": make.person().pk})
    assert sent_.status_code == (302 if strikes else 403)
    assert Run.objects.get(pk=run.pk).is_struck == strikes


def every_address(die):
    names = [*FORMS, "log", "entries"]
    return [address(n, die) for n in names] + [reverse("maintenance:strike", args=["run", make.run(die, 1).pk])]


def test_somebody_without_a_role_is_refused_everywhere(client, die):
    client.force_login(User.objects.create_user("outsider"))
    for url in every_address(die):
        assert client.get(url).status_code == 403, url
        assert client.post(url, {"reason": "x", "person": make.person().pk}).status_code in (403, 405), url
    assert not Run.objects.filter(struck_at__isnull=False).exists()


def test_somebody_not_signed_in_is_sent_to_the_sign_in(client, die):
    for url in every_address(die):
        for answer in (client.get(url), client.post(url, {})):
            assert answer.status_code == 302 and answer.url.startswith(reverse("diestore:sign_in")), url


# --- finding the die ----------------------------------------------------------------------------------


def test_a_die_is_found_by_its_label_its_name_or_its_part(lead, die):
    other = make.die("B-118", description="battery tab")
    for text in ("h-900", " H-900 ", "hinge", "P-H-900"):
        answer = lead.get(address("log_run", q=text))
        assert answer.status_code == 302 and answer.url == address("log_run", die), text
    both = page(lead.get(address("log_run", q="-")))
    assert f"?die={die.pk}" in both and f"?die={other.pk}" in both
    assert "No die has “Q-1” on its label" in page(lead.get(address("log_run", q="Q-1")))


@pytest.mark.parametrize("pk", ["999999", "abc", "9" * 40, "-1", "１", "%00"])
def test_a_die_that_does_not_exist_is_asked_for_again(lead, die, pk):
    for name in ("log", "log_run"):
        answer = lead.get(f"{reverse(f'maintenance:{name}')}?die={pk}")
        assert answer.status_code == 200
        assert "That die is not in the register" in page(answer)


def test_the_die_used_last_is_offered_again(lead, die):
    assert not lead.get(address("log")).context["recent"]
    lead.get(address("log_run", die))
    assert lead.get(address("log")).context["die"] == die
    assert list(lead.get(address("log_stop")).context["recent"]) == [die]


def test_an_empty_register_says_so(lead):
    for name in ("log", "log_run"):
        assert "No die is in the register yet" in page(lead.get(address(name)))


# --- a run --------------------------------------------------------------------------------------------


def test_a_run_is_ready_but_for_its_hits(lead, die, ina):
    """Started from the last run's end, ended now, the open order, the usual press and stock; expected hits shown."""
    now = timezone.now()
    last_end = now - dt.timedelta(hours=3)
    write.log_run(by=make.actor(), die=die, started=now - dt.timedelta(hours=9), ended=last_end, hits=20_000)
    order = make.order(die, "26-0417", 18_000)
    shown = lead.get(address("log_run", die))
    form, filled = shown.context["form"], sent(shown)
    assert filled["started"] == typed(last_end)
    assert filled["ended"] in {typed(now), typed(now + dt.timedelta(minutes=1))}
    assert filled["order"] == str(order.pk)
    assert (filled["press"], filled["stock"]) == (str(die.usual_press_id), str(die.usual_stock_id))
    # 3 h at the factory's 80 strokes a minute: 3 * 60 * 80, worked by hand
    expected = int(form.fields["hits"].widget.attrs["placeholder"].replace(",", ""))
    assert abs(expected - 14_400) <= 30
    answer = send(lead, "log_run", die, hits="14 200", person=ina.pk)
    assert answer.status_code == 302 and answer.url == reverse("diestore:die", args=[die.pk])
    run = Run.objects.latest("recorded_at")
    assert (run.started, run.hits, run.order, run.press, run.stock) == (
        last_end, 14_200, order, die.usual_press, die.usual_stock,
    )  # fmt: skip
    assert (run.person, run.user.username, run.through, run.basis) == (ina, "lead", "form", "counted")


def test_after_saving_the_clocks_and_the_forecast_are_there_at_once(lead, die, ina):
    make.run(die, 1, 2_400)
    start = timezone.now() - dt.timedelta(hours=2)
    assert not DieForecast.objects.exists()
    answer = send(
        lead, "log_run", die, hits="10,000", started=typed(start), ended=typed(timezone.now()), person=ina.pk,
        follow=True,
    )  # fmt: skip
    assert "Ran 10,000 hits" in said(answer)
    assert "now 12,400 hits since sharpened" in said(answer)
    forecast = DieForecast.objects.get(die=die, is_newest=True)
    assert forecast.hits_since_sharpening == 12_400


def test_the_entry_stays_when_the_forecast_fails(lead, die, ina, monkeypatch):
    def fails(die):
        raise ArithmeticError("no such luck")

    monkeypatch.setattr("maintenance.forecasts.store.refresh_die", fails)
    start = timezone.now() - dt.timedelta(hours=2)
    answer = send(
        lead, "log_run", die, hits="9600", started=typed(start), ended=typed(timezone.now()), person=ina.pk, follow=True
    )
    assert Run.objects.count() == 1
    assert "The entry is saved, but the forecast of this die could not be made anew" in said(answer)


@pytest.mark.parametrize("hits", ["9600", "9,600", "9 600", "9\u00a0600", "9\u202f600", "9'600", " 9600 "])
def test_hits_are_taken_as_people_write_them(lead, die, ina, hits):
    assert send(lead, "log_run", die, hits=hits, person=ina.pk, **start_to_end()).status_code == 302
    assert Run.objects.get().hits == 9_600


BAD_HITS = {
    "30.120": "could be 30,120 or 30.12",
    "9,60": "not a whole number",
    "9,6000": "not a whole number",
    "12.5": "not a whole number",
    "9 60": "is not a number",
    "-9600": "no run",
    "0": "no run",
    "1000000000000": "cannot be",
    "nan": "is not a number",
    "1e4": "is not a number",
    "²": "is not a number",
    "9" * 2_000_000: "2,000,000 characters",
    "": "Enter the hits",
}


@pytest.mark.parametrize(("hits", "says"), BAD_HITS.items(), ids=[k[:14] for k in BAD_HITS])
def test_hits_that_could_be_two_numbers_or_none_are_refused_beside_the_field(lead, die, ina, hits, says):
    answer = send(lead, "log_run", die, hits=hits, person=ina.pk, lot="coil 7", **start_to_end())
    assert answer.status_code == 422
    assert says in " ".join(answer.context["form"].errors["hits"])
    assert 'value="coil 7"' in page(answer), "what was typed beside it is kept"
    assert not Run.objects.exists()


def test_what_was_typed_is_kept_when_something_is_wrong(lead, die, ina):
    times = start_to_end()
    answer = send(lead, "log_run", die, hits="30.120", person=ina.pk, note="burr on 3-A", good_parts="x", **times)
    kept = sent(answer)
    assert (kept["hits"], kept["note"], kept["good_parts"]) == ("30.120", "burr on 3-A", "x")
    assert (kept["started"], kept["ended"], kept["person"]) == (times["started"], times["ended"], str(ina.pk))


def test_a_run_that_overlaps_is_refused_beside_the_start(lead, die, ina):
    now = timezone.now()
    write.log_run(
        by=make.actor(), die=die, started=now - dt.timedelta(hours=3), ended=now - dt.timedelta(hours=1), hits=9_000
    )
    answer = send(lead, "log_run", die, hits="9600", person=ina.pk, **start_to_end())
    assert answer.status_code == 422
    assert "has a run from" in answer.context["form"].errors["started"][0]
    assert Run.objects.count() == 1


def test_a_run_may_begin_in_the_minute_in_which_the_last_one_ended(lead, die, ina):
    """Forms show whole minutes; the last run's end may carry seconds."""
    end = timezone.now().replace(second=40, microsecond=0) - dt.timedelta(hours=2)
    write.log_run(by=make.actor(), die=die, started=end - dt.timedelta(hours=2), ended=end, hits=9_000)
    assert send(lead, "log_run", die, hits="9600", person=ina.pk, started=typed(end)).status_code == 302
    assert Run.objects.latest("at").started == end


def test_two_dies_in_one_press_at_one_time_need_a_tick(lead, die, ina):
    press = make.press("P-7")
    other = make.die("B-118")
    start = timezone.now().replace(second=0, microsecond=0) - dt.timedelta(hours=2)
    there = {"die": other, "started": start - dt.timedelta(hours=3), "ended": start + dt.timedelta(minutes=20)}
    write.log_run(by=make.actor(), hits=9_000, press=press, **there)
    values = {"hits": "9600", "person": ina.pk, "press": press.pk, **start_to_end()}
    answer = send(lead, "log_run", die, **values)
    assert answer.status_code == 422 and not answer.context["form"].visible_errors
    assert "B-118 ran in press P-7 from" in page(answer) and "a press runs one die at a time" in page(answer)
    assert Run.objects.count() == 1
    again = sent(answer, **values) | {"confirm": answer.context["form"].doubt_mark}
    assert lead.post(address("log_run", die), again).status_code == 302
    assert Run.objects.get(die=die).press == press


def test_runs_that_touch_in_a_press_or_share_a_typed_minute_are_no_doubt(lead, die, ina):
    press = make.press("P-7")
    start = timezone.now().replace(second=40, microsecond=0) - dt.timedelta(hours=2)
    there = {"die": make.die("B-118"), "started": start - dt.timedelta(hours=3), "ended": start}
    write.log_run(by=make.actor(), hits=9_000, press=press, **there)
    elsewhere = make.die("B-119")
    write.log_run(by=make.actor(), hits=9_000, press=make.press("P-8"), die=elsewhere, started=start,
                  ended=timezone.now())  # fmt: skip
    struck = write.log_run(by=make.actor(), hits=9_000, press=press, die=make.die("B-120"), started=start,
                           ended=timezone.now())  # fmt: skip
    write.strike_out(by=make.actor(), entry=struck, reason="another press")
    answer = send(lead, "log_run", die, hits="9600", person=ina.pk, press=press.pk, started=typed(start))
    assert answer.status_code == 302 and Run.objects.filter(die=die).exists()


def test_a_die_that_is_counted_in_the_press_just_now_is_asked_about_too(lead, die, ina):
    press, other = make.press("P-7"), make.die("B-118")
    device = CounterDevice.objects.create(plant=die.plant, name="box")
    OpenCount.objects.create(
        counter=Counter.objects.create(device=device, press=press), die=other, variant=other.variants.get(),
        started=timezone.now() - dt.timedelta(hours=1), at=timezone.now(), hits=900,
    )  # fmt: skip
    answer = send(lead, "log_run", die, hits="9600", person=ina.pk, press=press.pk, **start_to_end())
    assert answer.status_code == 422 and "B-118 ran in press P-7 from" in answer.context["form"].doubt


@pytest.mark.parametrize(("hits", "word"), [("30000", "more than double"), ("3000", "less than half")])
def test_hits_far_from_the_clock_need_a_tick(lead, die, ina, hits, word):
    """2 h at 80 a minute are 9,600 hits, by hand: doubted are fewer than 4,800 and more than 19,200."""
    values = {"hits": hits, "person": ina.pk, **start_to_end()}
    answer = send(lead, "log_run", die, **values)
    assert answer.status_code == 422 and word in answer.context["form"].doubt
    assert not answer.context["form"].visible_errors and not Run.objects.exists()
    mark = answer.context["form"].doubt_mark
    assert f'name="confirm" value="{mark}"' in page(answer)
    again = sent(answer, **values)
    changed = lead.post(address("log_run", die), again | {"confirm": mark, "hits": "44000"})
    assert changed.status_code == 422, "a tick holds for the sentence it was given for"
    assert lead.post(address("log_run", die), again | {"confirm": mark}).status_code == 302
    assert Run.objects.get().hits == int(hits)


@pytest.mark.parametrize("hits", ["4800", "19200"])
def test_hits_at_half_and_double_pass_without_a_tick(lead, die, ina, hits):
    assert send(lead, "log_run", die, hits=hits, person=ina.pk, **start_to_end()).status_code == 302


def test_an_order_of_a_part_that_these_inserts_do_not_make_is_refused(lead, die, ina):
    order = make.order(die)
    bare = Variant.objects.create(die=die, code="long")
    other = make.die("X-1")
    bare.outputs.create(part=other.variants.get().outputs.get().part, parts_per_hit=1)
    values = {"hits": "9600", "person": ina.pk, "order": order.pk, **start_to_end()}
    answer = send(lead, "log_run", die, variant=bare.pk, **values)
    assert "the inserts long do not make" in answer.context["form"].errors["order"][0]
    assert send(lead, "log_run", die, variant=die.variants.get(is_default=True).pk, **values).status_code == 302


# --- once is enough -----------------------------------------------------------------------------------


def test_a_form_sent_twice_is_saved_once_and_both_answers_look_the_same(lead, die, ina):
    data = sent(lead.get(address("log_run", die)), hits="9600", person=ina.pk, **start_to_end())
    answers = [lead.post(address("log_run", die), data) for _ in range(2)]
    assert [a.status_code for a in answers] == [302, 302]
    assert Run.objects.count() == 1


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("log_run", {"hits": "9600"}),
        ("log_stop", {"cause": "slug", "minutes": "5"}),
        ("log_sharpening", {"sides": "both", "removed": "0.1", "why": "planned"}),
        ("log_replacement", {"position": "3-A", "why": "dull"}),
        ("log_reading", {"position": "3-A", "quantity": "burr height", "value": "60"}),
        ("log_correction", {"hits": "20"}),
    ],
)
def test_two_sendings_at_the_same_moment_are_saved_once(lead, die, ina, monkeypatch, name, values):
    """The second one looked for the key before the first had saved: its own save runs into the first's."""
    if "position" in values:
        values = values | {"position": at(values["position"], die).pk}
    if name == "log_run":
        values = values | start_to_end()
    data = sent(lead.get(address(name, die)), person=ina.pk, **values)
    form_class = lead.get(address(name, die)).context["form"].__class__
    save = form_class.save

    def twice(form, by):
        save(form, by)
        raise write.EntryRefused("The database refuses this entry: it contradicts one that stands.")

    monkeypatch.setattr(form_class, "save", twice)
    before = everything()
    assert lead.post(address(name, die), data).status_code == 302
    after = everything()
    assert sum(after.values()) - sum(before.values()) == (3 if name == "log_sharpening" else 1)


def test_the_same_form_with_other_values_is_asked_about_and_then_saved(lead, die, ina):
    """Back in the browser and other numbers typed: neither dropped without a word nor saved without one."""
    data = sent(lead.get(address("log_stop", die)), cause="slug", minutes="10", person=ina.pk)
    assert lead.post(address("log_stop", die), data).status_code == 302
    answer = lead.post(address("log_stop", die), data | {"minutes": "25"})
    assert answer.status_code == 409 and "saved before, with other values" in page(answer)
    assert Stop.objects.count() == 1
    assert lead.post(address("log_stop", die), sent(answer)).status_code == 302
    assert sorted(Stop.objects.values_list("minutes", flat=True)) == [10, 25]


def test_other_values_under_a_known_key_are_noticed_in_another_session_and_after_many_entries(lead, die, ina):
    """Before, "stopped 7 minutes" was told as saved while 99 was sent and dropped."""
    data = sent(lead.get(address("log_stop", die)), cause="slug", minutes="7", person=ina.pk)
    assert lead.post(address("log_stop", die), data).status_code == 302
    other = Client()
    other.force_login(make.user("setter", "somebody else"))
    for _ in range(31):
        send(lead, "log_stop", die, cause="slug", minutes="1", person=ina.pk)
    for client in (lead, other):
        answer = client.post(address("log_stop", die), data | {"minutes": "99"})
        assert answer.status_code == 409 and "saved before, with other values" in page(answer)
        assert client.post(address("log_stop", die), data).status_code == 302, "the same is told as saved"
    assert Stop.objects.filter(minutes=7).count() == 1 and not Stop.objects.filter(minutes=99).exists()


def test_what_was_refused_may_be_put_right_under_its_key(lead, die, ina):
    data = sent(lead.get(address("log_run", die)), person=ina.pk, hits="9000", started="2025-03-03T06:00",
                ended="2025-03-03T05:00")  # fmt: skip
    assert lead.post(address("log_run", die), data).status_code == 422
    assert lead.post(address("log_run", die), data | {"ended": "2025-03-03T09:00"}).status_code == 302
    clash = sent(lead.get(address("log_run", die)), person=ina.pk, hits="9000", started="2025-03-03T06:00",
                 ended="2025-03-03T08:00")  # fmt: skip
    assert lead.post(address("log_run", die), clash).status_code == 422, "the writes refuse it"
    later = {"started": "2025-03-03T10:00", "ended": "2025-03-03T12:00"}
    assert lead.post(address("log_run", die), clash | later).status_code == 302
    assert Run.objects.count() == 2


def test_the_person_is_remembered_apart_from_the_sign_in(lead, die, ina):
    marek = make.person("Marek O.")
    assert "person" not in sent(lead.get(address("log_stop", die)))
    send(lead, "log_stop", die, cause="slug", minutes="10", person=marek.pk)
    assert sent(lead.get(address("log_reading", die)))["person"] == str(marek.pk)


def test_a_person_is_needed_where_people_are_entered_and_gone_ones_cannot_be_picked(lead, die, ina):
    gone = Person.objects.create(plant=die.plant, name="Old Hand", active=False)
    for person in (None, gone.pk, "x"):
        answer = send(lead, "log_stop", die, cause="slug", minutes="10", person=person)
        assert answer.status_code == 422 and "person" in answer.context["form"].errors
    Person.objects.update(active=False)
    assert send(lead, "log_stop", die, cause="slug", minutes="10", person=None).status_code == 302
    assert Stop.objects.get().person is None
