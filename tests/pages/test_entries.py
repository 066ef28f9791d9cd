"""The list of entries, striking out, and entering again what was struck out."""

import re

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore.access import roles
from diestore.access.models import UserSettings
from maintenance.log import listing, write
from maintenance.models import EVENTS, CostLine, Run, Stop, Work
from tests import factories as make
from tests.pages.bench_browser import FORMS, address, at, page, said, sent, shelf

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_forecasts")]


# --- the list, and striking out -----------------------------------------------------------------------


@pytest.fixture
def logged(die):
    """One of each sort of entry."""
    make.run(die, 1, 9_000)
    make.sharpen(die, 2, at("1-A", die), at("3-A", die), why="with set", found="sharp")
    by, when = make.actor("Marek O."), make.moment(3)
    write.log_replacement(by=by, position=at("1-A", die), at=when, why="chipped", from_shelf=True)
    write.log_stop(by=by, die=die, at=make.moment(4), cause="slug", minutes=5)
    write.log_hit_correction(by=by, die=die, at=make.moment(5), hits=20, with_stock=False, reason="setting up")
    write.log_incident(by=by, die=die, at=make.moment(6), sort="misfeed")
    write.log_reading(
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
    "Stopped 5 minutes: slug pulled",
    "1-A replaced: chipped",
    "Set of 2 pieces ground, 0.10 mm off",
    "Ran 9,000 hits, 06:00 to 10:00",
]


def test_the_list_shows_every_sort_of_entry_once_in_words(lead, logged):
    assert words(lead.get(address("entries"))) == ALL
    assert words(lead.get(address("entries", order="at"))) == ALL[::-1]
    assert words(lead.get(address("entries", order="recorded"))) == ALL[::-1][0:1] + ALL[::-1][1:]


def test_a_reading_is_shown_in_the_units_of_the_reader_and_as_it_was_typed(lead, logged):
    def entry():
        (row,) = [e for e in lead.get(address("entries")).context["entries"] if "burr" in e.words]
        return row.words, row.facts

    assert entry() == ("3-A burr height 66 µm", ()), "66 as typed, nothing to add"
    UserSettings.objects.create(user=User.objects.get(username="lead"), units="inch")
    assert entry() == ("3-A burr height 2.6 thou", ("typed 66 µm",))  # 66 / 25.4


def test_the_list_is_filtered(lead, logged):
    other = make.die("X-1")
    make.run(other, 1)
    get = lambda **q: words(lead.get(reverse("maintenance:entries"), q))  # noqa: E731
    assert get(die="H-900") == ALL and get(die="h-9") == ALL
    assert get(sort="grind") == ALL[5:6]
    assert get(person=make.person("Marek O.").pk) == ALL[:5]
    write.strike_out(by=make.actor(), entry=Stop.objects.get(), reason="wrong die")
    assert get(struck="yes") == [ALL[3]]
    assert get(die="H-900", struck="no") == [w for w in ALL if w != ALL[3]]
    for nonsense in ({"sort": "x"}, {"person": "x"}, {"struck": "x"}, {"page": "x"}, {"order": "x"}, {"page": "99"}):
        assert lead.get(reverse("maintenance:entries"), nonsense).status_code == 200
    assert "No die has “Q” on its label" in page(lead.get(reverse("maintenance:entries"), {"die": "Q"}))


def test_a_struck_entry_is_shown_struck_with_who_and_why(lead, logged):
    write.strike_out(by=make.actor("Jo L."), entry=Stop.objects.get(), reason="wrong die")
    text = page(lead.get(address("entries")))
    assert "<s>Stopped 5 minutes: slug pulled</s>" in text
    assert re.search(r"struck out by Jo L\., [^:]+:\d\d: wrong die", text)
    assert reverse("maintenance:strike", args=["stop", Stop.objects.get().pk]) not in text


def test_the_list_costs_the_same_at_3_and_30_entries(lead, die):

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


WORDS = {"stockmovement": "shelf-move", "hitcorrection": "count", "costline": "cost", "work": "grind",
         "incident": "mishap", "setup": "set-up"}  # fmt: skip


@pytest.mark.parametrize("then", WORDS)
def test_an_address_by_the_name_of_a_table_leads_to_that_of_today_for_good(lead, then):
    now = f"/log/entries/{WORDS[then]}"
    assert reverse("maintenance:strike", args=[then, 7]) == f"{now}/7/strike/"
    for rest in ("7/", "7/strike/?x=1", "7/payer/"):
        answer = lead.get(f"/log/entries/{then}/{rest}")
        assert (answer.status_code, answer.url) == (301, f"{now}/{rest}")
    answer = lead.get(f"/log/entries/?sort={then}&die=H-1&order=at")
    assert (answer.status_code, answer.url) == (301, f"/log/entries/?sort={WORDS[then]}&die=H-1&order=at")
    assert f'value="{WORDS[then]}" selected' in page(lead.get(answer.url))


def test_what_a_page_that_stood_open_sends_arrives_whole(lead, die, ina):
    make.run(die, 1, 9_000)
    (work,) = make.sharpen(die, 2, at("1-A", die))
    sent, then = {"reason": "not ground", "person": ina.pk}, "work"
    address = f"/log/entries/{then}/{work.pk}/strike/"
    answer = lead.post(address, sent)
    assert (answer.status_code, answer.url) == (308, reverse("maintenance:strike", args=["work", work.pk]))
    lead.post(address, sent, follow=True)
    work.refresh_from_db()
    assert work.struck_reason == "not ground"


def numbers(die):
    from maintenance.clockwork import states
    from maintenance.log import read

    return [
        (s.position, s.hits_since_sharpening, s.hits_since_fitted, s.life_hits, s.removed_mm, s.allowance_left_mm)
        for s in states.states(read.of_die(die), make.moment(300).timestamp()).values()
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
    write.strike_out(by=make.actor(), entry=run, reason="wrong")
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
            # A field of a table is named by its row and its column, in words of its own.
            named = re.search(r'aria-label="[^"]{4,}"', tag)
            assert named or re.search(r'id="([^"]+)"', tag).group(1) in labels, tag


def test_dangerous_work_has_its_cautions_and_carbide_its_own(lead, die):
    from diestore.handbook.cautions import CAUTIONS, FIRST

    for name, keys in (("log_sharpening", ("grinding", "springs")), ("log_replacement", ("lockout", "blocks"))):
        text = page(lead.get(address(name, die))).replace("&#x27;", "'")
        assert all(CAUTIONS[key].short in text for key in (*keys, "lifting")) and FIRST in text
    assert CAUTIONS["carbide"].short not in page(lead.get(address("log_sharpening", die)))
    make.position(die, "5-A", tool_steel="carbide")
    assert CAUTIONS["carbide"].short in page(lead.get(address("log_sharpening", die)))


def test_the_list_is_the_same_as_a_plain_one(as_role):
    """Against all rows read and sorted in Python, over every page, order and filter."""
    as_role("lead")
    die, other = make.die(), make.die("H-901")
    edges = [make.position(die, f"1-{c}") for c in "ABC"]
    for day in range(4):
        make.run(die, day=day, hits=1_000 + day)
        make.run(other, day=day, hits=2_000)
        pieces = [write.SharpenedPiece(position=p, why="dull") for p in edges]
        write.log_sharpening(by=make.actor(), die=die, at=make.moment(day + 0.9), pieces=pieces)
    write.strike_out(by=make.actor(), entry=Work.objects.first(), reason="wrong day")

    def plain(order, only=None, struck=""):
        rows = [(getattr(r, order.strip("-")), r.pk, "run") for r in Run.objects.all() if only in (None, r.die)]
        rows += [
            (getattr(w, order.strip("-")), w.pk, "work")
            for w in Work.objects.all()
            if w.pk == min(x.pk for x in Work.objects.filter(set_key=w.set_key)) and only in (None, w.position.die)
        ]
        if struck:
            at = {(s, m.pk): m.struck_at for s, model in (("run", Run), ("work", Work)) for m in model.objects.all()}
            rows = [r for r in rows if (at[r[2], r[1]] is None) == (struck == "no")]
        rows.sort(key=lambda r: r[2])
        rows.sort(key=lambda r: r[:2], reverse=order.startswith("-"))
        return [{"of_sort": sort, "pk": pk} for _, pk, sort in rows]

    for order in ("-at", "at", "-recorded_at"):
        for only in (None, die, other):
            for struck in ("", "no", "yes"):
                index = listing.index(die=only, struck=struck, order=order, with_cost=True)
                whole = plain(order, only, struck)
                assert index.count() == len(whole)
                assert index[0:3] + index[3:7] + index[7:50] == whole
    assert listing.index(sort="costline", with_cost=True)[0:5] == []
    assert listing.index(die=die)[0:0] == []


@pytest.mark.parametrize("role", roles.ROLES)
def test_money_is_read_by_those_who_may_see_it_and_by_nobody_else(client, role):
    """Once the list of the costs told setter, buyer, toolmaker and tablet what a repair had cost."""
    die = make.die()
    make.run(die, 1)
    line = CostLine.objects.create(die=die, at=make.moment(2), kind="sharpening", amount="541", through="import",
                                   key="a bill")  # fmt: skip
    struck = CostLine.objects.create(die=die, at=make.moment(3), kind="sharpening", amount="542", through="import",
                                     key="another", struck_at=make.moment(4), struck_by=make.person(),
                                     struck_reason="twice")  # fmt: skip
    may = roles.SEE_COST in roles.GRANTS[role]
    client.force_login(make.user(role))
    list_of_all, of_cost = reverse("maintenance:entries"), reverse("maintenance:entries") + "?sort=cost"
    pages = [list_of_all, of_cost, f"{list_of_all}?struck=yes", reverse("diestore:die", args=[die.pk]), "/"]
    if roles.GRANTS[role] & {roles.LOG_RUN}:
        pages.append(f"{reverse('maintenance:log')}?die={die.pk}")
    for url in pages:
        answer = client.get(url)
        assert answer.status_code == 200
        assert ("541.00" in answer.content.decode() or "542.00" in answer.content.decode()) == may, url
    for one in (line, struck):
        found = client.get(reverse("maintenance:strike", args=["costline", one.pk])).status_code
        assert found == (200 if roles.STRIKE_ENTRY in roles.GRANTS[role] else 403)
        assert client.get(f"/log/entries/cost/{one.pk}/").status_code == 404, "no page of its own"
    assert ('value="cost"' in client.get(list_of_all).content.decode()) == may


def test_the_first_of_several_lists_are_those_of_each_list(logged):
    write.strike_out(by=make.actor(), entry=Stop.objects.get(), reason="typed twice")
    latest = listing.index(order="-recorded_at")
    struck = listing.index(struck="yes", order="-struck_at")
    oldest = listing.index(order="at")
    with CaptureQueriesContext(connection) as seen:
        together = listing.firsts((latest, 4), (struck, 2), (oldest, 50), (listing.index(sort="nothing"), 3))
    assert len(seen) == 1
    assert together == [latest[:4], struck[:2], oldest[:50], []] and together[1] != [] != together[2]
    assert listing.firsts((listing.index(sort="nothing"), 3)) == [[]]
