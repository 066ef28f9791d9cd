"""The log at the bench: what each form shows, saves, doubts and refuses, and who may use it."""

import datetime as dt
import re
from html.parser import HTMLParser

import pytest
from django.contrib.auth.models import User
from django.urls import reverse
from django.utils import timezone

from diestore import roles
from diestore.models import Person, Press, UserSettings, Variant
from maintenance import actions, queries
from maintenance.models import (
    EVENTS,
    DieForecast,
    HitCorrection,
    Reading,
    Replacement,
    Run,
    StockMovement,
    Stop,
    Work,
)
from tests import factories as make

pytestmark = pytest.mark.django_db

FORMS = {
    "log_run": roles.LOG_RUN,
    "log_sharpening": roles.LOG_SHARPENING,
    "log_replacement": roles.LOG_REPLACEMENT,
    "log_stop": roles.LOG_STOP,
    "log_reading": roles.LOG_READING,
    "log_correction": roles.LOG_RUN,
}


@pytest.fixture
def die():
    made = make.die(description="hinge leaf", usual_press=Press.objects.create(plant=make.plant(), code="press 3"))
    make.position(made, "1-A", item=make.item())
    make.position(made, "3-A", kind="shape_punch")
    make.position(made, "3-D", kind="die_section", side="lower")
    make.position(made, "4-F", kind="forming_punch", length_mm=None)
    make.position(made, "2-P", kind="pilot", length_mm=None)
    return made


@pytest.fixture
def ina():
    return make.person()


@pytest.fixture
def lead(client, ina):
    client.force_login(make.user("lead"))
    return client


def at(code, die):
    return die.positions.get(code=code)


def address(name, die=None, **more):
    query = "&".join(f"{k}={v}" for k, v in ({"die": die.pk} if die else {} | more).items() | more.items())
    return reverse(f"maintenance:{name}") + (f"?{query}" if query else "")


def typed(moment: dt.datetime) -> str:
    return timezone.localtime(moment).strftime("%Y-%m-%dT%H:%M")


def page(response) -> str:
    return re.sub(r"\s+", " ", response.content.decode())


class Filled(HTMLParser):
    """What a browser would send of the log's form as the page shows it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.data: dict[str, str] = {}
        self.inside = False
        self.select = self.textarea = None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        a = dict(attrs)
        if tag == "form":
            self.inside = "log" in a.get("class", "").split()
        if not self.inside:
            return
        if tag == "input" and (a.get("type") not in ("radio", "checkbox") or "checked" in a):
            self.data[a["name"]] = a.get("value", "on" if a.get("type") == "checkbox" else "")
        elif tag == "select":
            self.select = a["name"]
        elif tag == "option" and ("selected" in a or self.select not in self.data):
            self.data[self.select] = a.get("value", "")
        elif tag == "textarea":
            self.textarea, self.data[a["name"]] = a["name"], ""

    def handle_data(self, data):
        if self.textarea:
            self.data[self.textarea] += data.strip()

    def handle_endtag(self, tag):
        if tag == "textarea":
            self.textarea = None
        elif tag == "form":
            self.inside = False


def sent(response, **change) -> dict:
    """The form as the page shows it, with the named fields changed; None takes a field out."""
    data = Filled(response.content.decode()).data
    data.pop("csrfmiddlewaretoken", None)
    return {k: v for k, v in (data | change).items() if v is not None}


def send(client, name, die, *, follow=False, query=None, **change):
    url = address(name, die, **(query or {}))
    return client.post(url, sent(client.get(url), **change), follow=follow)


def said(response) -> str:
    return " ".join(str(m) for m in response.context["messages"])


def everything():
    return {model.__name__: model.objects.count() for model in EVENTS}


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
        buttons = {task["url"].split("?")[0] for task in start.context["tasks"]}
        assert buttons == {address(n) for n, code in FORMS.items() if code in roles.GRANTS[role]}
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
    actions.log_run(by=make.actor(), die=die, started=now - dt.timedelta(hours=9), ended=last_end, hits=20_000)
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

    monkeypatch.setattr("maintenance.forecasts.refresh_die", fails)
    start = timezone.now() - dt.timedelta(hours=2)
    answer = send(
        lead, "log_run", die, hits="9600", started=typed(start), ended=typed(timezone.now()), person=ina.pk, follow=True
    )
    assert Run.objects.count() == 1
    assert "The entry is saved, but the forecast of this die could not be made anew" in said(answer)


def start_to_end(hours=2):
    now = timezone.now()
    return {"started": typed(now - dt.timedelta(hours=hours)), "ended": typed(now)}


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
    actions.log_run(
        by=make.actor(), die=die, started=now - dt.timedelta(hours=3), ended=now - dt.timedelta(hours=1), hits=9_000
    )
    answer = send(lead, "log_run", die, hits="9600", person=ina.pk, **start_to_end())
    assert answer.status_code == 422
    assert "has a run from" in answer.context["form"].errors["started"][0]
    assert Run.objects.count() == 1


def test_a_run_may_begin_in_the_minute_in_which_the_last_one_ended(lead, die, ina):
    """Forms show whole minutes; the last run's end may carry seconds."""
    end = timezone.now().replace(second=40, microsecond=0) - dt.timedelta(hours=2)
    actions.log_run(by=make.actor(), die=die, started=end - dt.timedelta(hours=2), ended=end, hits=9_000)
    assert send(lead, "log_run", die, hits="9600", person=ina.pk, started=typed(end)).status_code == 302
    assert Run.objects.latest("at").started == end


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
        raise actions.EntryRefused("The database refuses this entry: it contradicts one that stands.")

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
    assert "Tap the edge that was dull or chipped" in answer.context["form"].errors["why"][0]
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
    from maintenance import forecasts

    limiting = forecasts.refresh_die(die).limiting
    text = page(lead.get(address("log_sharpening", die)))
    row = re.search(rf"<strong>{limiting.code}</strong>.*?</fieldset>", text).group()
    assert '<span class="expected">dull<small>expected</small></span>' in row
    assert text.count('class="expected"') == 1


def test_many_pieces_cost_no_more_queries(lead, die, ina, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

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


# --- a replacement ------------------------------------------------------------------------------------


def shelf(position):
    row = queries.stock_of_spares().get(position.item_id)
    return row.on_hand if row else 0


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
    assert "Stopped 12.5 minutes: slug came up" in said(answer)


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
        assert answer.status_code in (302, 409, 422), text[:20]
        if "\x00" not in text:
            asked = dict.fromkeys(("die", "q", "instead"), text[:500])
            assert lead.get(address(name), asked).status_code < 400
    assert "<script>" not in page(lead.post(address(name, die), dict.fromkeys(form.fields, "<script>")))


# --- the list, and striking out -----------------------------------------------------------------------


@pytest.fixture
def logged(die):
    """One of each sort of entry."""
    make.run(die, 1, 9_000)
    make.sharpen(die, 2, at("1-A", die), at("3-A", die), why="with set", found="sharp")
    by, when = make.actor("Marek O."), make.moment(3)
    actions.log_replacement(by=by, position=at("1-A", die), at=when, why="chipped", from_shelf=True)
    actions.log_stop(by=by, die=die, at=make.moment(4), cause="slug", minutes=5)
    actions.log_hit_correction(by=by, die=die, at=make.moment(5), hits=20, with_stock=False, reason="setting up")
    actions.log_incident(by=by, die=die, at=make.moment(6), sort="misfeed")
    actions.log_reading(
        by=by, at=make.moment(7), position=at("3-A", die), quantity="burr height", value_si=66e-6, typed_value="66",
        typed_unit="µm",
    )  # fmt: skip
    return die


def words(answer):
    return [e.words for e in answer.context["entries"]]


ALL = [
    "3-A burr height 66 µm",
    "Mishap: misfeed",
    "20 strokes without stock",
    "Stopped 5 minutes: slug came up",
    "1-A replaced: chipped",
    "Set of 2 pieces ground, 0.10 mm off",
    "Ran 9,000 hits, 06:00 to 10:00",
]


def test_the_list_shows_every_sort_of_entry_once_in_words(lead, logged):
    assert words(lead.get(address("entries"))) == ALL
    assert words(lead.get(address("entries", order="at"))) == ALL[::-1]
    assert words(lead.get(address("entries", order="recorded"))) == ALL[::-1][0:1] + ALL[::-1][1:]


def test_the_list_is_filtered(lead, logged):
    other = make.die("X-1")
    make.run(other, 1)
    get = lambda **q: words(lead.get(reverse("maintenance:entries"), q))  # noqa: E731
    assert get(die="H-900") == ALL and get(die="h-9") == ALL
    assert get(sort="work") == ALL[5:6]
    assert get(person=make.person("Marek O.").pk) == ALL[:5]
    actions.strike_out(by=make.actor(), entry=Stop.objects.get(), reason="wrong die")
    assert get(struck="yes") == [ALL[3]]
    assert get(die="H-900", struck="no") == [w for w in ALL if w != ALL[3]]
    for nonsense in ({"sort": "x"}, {"person": "x"}, {"struck": "x"}, {"page": "x"}, {"order": "x"}, {"page": "99"}):
        assert lead.get(reverse("maintenance:entries"), nonsense).status_code == 200
    assert "No die has “Q” on its label" in page(lead.get(reverse("maintenance:entries"), {"die": "Q"}))


def test_a_struck_entry_is_shown_struck_with_who_and_why(lead, logged):
    actions.strike_out(by=make.actor("Jo L."), entry=Stop.objects.get(), reason="wrong die")
    text = page(lead.get(address("entries")))
    assert "<s>Stopped 5 minutes: slug came up</s>" in text
    assert re.search(r"struck out by Jo L\., [^:]+:\d\d: wrong die", text)
    assert reverse("maintenance:strike", args=["stop", Stop.objects.get().pk]) not in text


def test_the_list_costs_the_same_at_3_and_30_entries(lead, die):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    counts = []
    for upto in (3, 30):
        for day in range(Run.objects.count(), upto):
            make.run(die, day * 2 + 1)
            make.sharpen(die, day * 2 + 2, at("1-A", die), at("3-A", die))
        lead.get(address("entries"))
        with CaptureQueriesContext(connection) as seen:
            assert lead.get(address("entries")).context["page"].paginator.count == 2 * upto
        counts.append(len(seen))
    assert counts[0] == counts[1]


def test_an_entry_is_struck_out_with_who_and_why(lead, die, ina):
    make.run(die, 1, 9_000)
    run = make.run(die, 2, 3_000)
    url = reverse("maintenance:strike", args=["run", run.pk])
    assert "Ran 3,000 hits" in page(lead.get(url))
    for change in ({"person": ina.pk}, {"reason": "twice"}, {"reason": " ", "person": ina.pk}):
        assert lead.post(url, change).status_code == 422
    assert not Run.objects.get(pk=run.pk).is_struck
    answer = lead.post(url, {"reason": "twice", "person": ina.pk}, follow=True)
    assert "Struck out: Ran 3,000 hits" in said(answer) and "now 9,000 hits since sharpened" in said(answer)
    run.refresh_from_db()
    assert (run.struck_by, run.struck_reason) == (ina, "twice")
    assert lead.post(url, {"reason": "again", "person": ina.pk}).status_code == 422
    assert "twice" in page(lead.get(url))


@pytest.mark.parametrize("path", ["run/999999", "rain/1", "run/" + "9" * 30])
def test_an_entry_that_does_not_exist_is_not_found(lead, path):
    assert lead.get(f"/log/entries/{path}/strike/").status_code == 404


def numbers(die):
    from maintenance import edge_log, logs

    return [
        (s.position, s.hits_since_sharpening, s.hits_since_fitted, s.life_hits, s.removed_mm, s.allowance_left_mm)
        for s in edge_log.states(logs.of_die(die), make.moment(300).timestamp()).values()
    ]


@pytest.mark.parametrize("sort", ["run", "work", "replacement", "stop", "hitcorrection", "reading"])
def test_struck_out_and_entered_again_through_the_form_restores_every_number(lead, logged, ina, sort):
    """Nothing is typed: what the form is filled with is sent as it is."""
    model = next(m for m in EVENTS if m._meta.model_name == sort)
    entry = model.objects.filter(**({"since_start": False} if sort == "replacement" else {})).first()
    before, stock = numbers(logged), shelf(at("1-A", logged))
    url = reverse("maintenance:strike", args=[sort, entry.pk])
    answer = lead.post(url, {"reason": "wrong", "person": ina.pk, "again": "1"})
    url, data = answer.url, sent(lead.get(answer.url))
    answer = lead.post(url, data)
    if answer.status_code == 422:
        answer = lead.post(url, data | {"confirm": answer.context["form"].doubt_mark})
    assert answer.status_code == 302, getattr(answer.context and answer.context["form"], "errors", "")
    assert numbers(logged) == before and shelf(at("1-A", logged)) == stock
    entry.refresh_from_db()
    again = entry.replaced_by
    assert again is not None and not again.is_struck
    own = {"id", "recorded_at", "key", "set_key", "user", "found"}
    own |= {"struck_at", "struck_by", "struck_reason", "replaced_by"}
    same = {f.name for f in model._meta.fields} - own
    assert {n: getattr(again, n) for n in same} == {n: getattr(entry, n) for n in same}
    assert (again.found or "not looked") == (entry.found or "not looked") if hasattr(again, "found") else True


def test_only_a_struck_entry_of_that_die_is_entered_again(lead, die):
    run = make.run(die, 1, 7_777)
    for instead in (f"run-{run.pk}", "run-99999", "stop-1", "x", f"work-{run.pk}"):
        form = lead.get(address("log_run", die, instead=instead)).context["form"]
        assert form.instead is None and form["hits"].value() is None
    actions.strike_out(by=make.actor(), entry=run, reason="wrong")
    other = make.die("X-1")
    assert lead.get(address("log_run", other, instead=f"run-{run.pk}")).context["form"].instead is None
    assert lead.get(address("log_run", die, instead=f"run-{run.pk}")).context["form"]["hits"].value() == "7,777"


def test_no_script_or_style_stands_in_a_page_and_every_field_has_a_label(lead, logged):
    for url in [*(address(n, logged) for n in FORMS), address("log", logged), address("entries")]:
        text = page(lead.get(url))
        assert not re.search(r"<script(?![^>]*\bsrc=)", text) and not re.search(r"\son\w+=", text)
        labels = set(re.findall(r'<label[^>]* for="([^"]+)"', text))
        for tag in re.findall(r"<(?:input|select|textarea)[^>]*>", text):
            kind = re.search(r'type="(\w[\w-]*)"', tag)
            if kind and kind.group(1) in ("hidden", "radio", "checkbox", "search"):
                continue  # radio buttons, ticks and the search stand inside their label
            assert re.search(r'id="([^"]+)"', tag).group(1) in labels, tag


def test_dangerous_work_has_its_cautions_and_carbide_its_own(lead, die):
    from diestore.handbook.cautions import CAUTIONS, FIRST

    for name, keys in (("log_sharpening", ("grinding", "springs")), ("log_replacement", ("lockout", "blocks"))):
        text = page(lead.get(address(name, die))).replace("&#x27;", "'")
        assert all(CAUTIONS[key].short in text for key in (*keys, "lifting")) and FIRST in text
    assert CAUTIONS["carbide"].short not in page(lead.get(address("log_sharpening", die)))
    make.position(die, "5-A", tool_steel="carbide")
    assert CAUTIONS["carbide"].short in page(lead.get(address("log_sharpening", die)))
