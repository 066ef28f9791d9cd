"""The pages of the demo shop together: what they say of one thing is the same everywhere."""

from __future__ import annotations

import re
from collections import Counter
from html import unescape

import pytest
from django.contrib.auth.models import Group, User
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.urls import resolve, reverse

from diestore.access.models import UserSettings
from diestore.register.models import Die, Item, Plant, Stock
from fixtures.demo_bench import show_bench
from fixtures.demo_counters import show_counters
from fixtures.make_demo_shop import FOLDER
from maintenance.counters import devices
from maintenance.forecasts import drift, store
from maintenance.log import write
from maintenance.models import BenchWork, Scope
from reports import summary
from reports.today import MOST
from tests import factories as make
from tests.wording.refused import refused

from .as_read import as_read
from .test_questions import addresses, asks, too_often

pytestmark = [pytest.mark.django_db, pytest.mark.walk]


@pytest.fixture(scope="module")
def demo(django_db_setup, django_db_blocker):
    """The demo shop with its forecasts, loaded once for this module."""
    with django_db_blocker.unblock(), transaction.atomic():
        call_command("load_history", str(FOLDER), allow_future=True, verbosity=0)
        plant = Plant.objects.get()
        row = store.fit_and_forecast(plant)
        drift.store(drift.compute(plant, as_of=row.as_of))
        show_counters(plant)
        show_bench(plant)
        yield plant
        transaction.set_rollback(True)


def words(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def standing_at(html: str) -> str:
    """The word of the first mark of standing."""
    return words(re.search(r'<span class="status.*?</svg>(.*?)</span>', html, re.S)[1])


def shown(client, name: str, *args, **asked) -> str:
    answer = client.get(reverse(name, args=args), asked)
    assert answer.status_code == 200
    return as_read(answer)


def test_a_die_stands_the_same_on_every_page(demo, as_role):
    client = as_role("lead")
    made = devices.make_device(by=write.Actor(person=make.person()), plant=demo, name="board", scopes=[Scope.READ])
    told = Client().get("/api/v1/due", headers={"Authorization": f"Bearer {made.token}"}).json()["dies"]
    by_api = {row["die"]: row["standing"] for row in told}
    words = {"On hold", "Sharpen first", "Plan a stop", "Runs", "Past its limit"}  # a stop inside the job pays on one
    assert len(by_api) > 10 and set(by_api.values()) == words
    assert by_api["K-163"] == "On hold"
    assert by_api["K-140"] == "Past its limit", "a piece of it was measured so: no chance for its order can undo that"

    listed = re.findall(r"<tr.*?</tr>", shown(client, "maintenance:due", per_page=50), re.S)
    css = {"On hold": "short", "Sharpen first": "short", "Past its limit": "short", "Plan a stop": "close", "Runs": ""}
    by_list = {
        m[1]: re.search(r'class="fill (\w*)"', row)[1]
        for row in listed
        if (m := re.search(r'<a href="/dies/\d+/">(?:<strong>)?([^<]+)<', row))
    }
    assert by_list == {code: css[word] for code, word in by_api.items()}

    lines = re.findall(r"<li>.*?</li>", shown(client, "reports:today"), re.S)
    today = {
        m[1]: standing_at(line)
        for line in lines
        if 'class="status' in line and (m := re.search(r"<strong>([^<]+)</strong>", line))
    }
    at_risk = {code: word for code, word in by_api.items() if word != "Runs"}
    assert list(today.items()) == list(at_risk.items())[:MOST], "the others are behind the link"

    by_command = {
        code: word for line in summary.due_lines(demo) for code, word in by_api.items() if code in line and word in line
    }
    assert list(by_command.items()) == list(at_risk.items())[: summary.SHOWN]

    for code, word in by_api.items():
        page = shown(client, "diestore:die", Die.objects.get(code=code).pk)
        assert standing_at(page) == word, code
        limiting = next(row for row in re.findall(r"<tr.*?</tr>", page, re.S) if "limits the die" in row)
        if word not in ("Past its limit", "On hold"):  # of what is worn, or held, the edges know nothing
            assert standing_at(limiting) == word, f"{code}: the edge that limits it stands as the die does"


# --- inch users -------------------------------------------------------------------------------------------------------

METRIC = re.compile(
    r"(?<![\w.])[\d.,]+[ \u00a0]?(?:mm|µm|um|MPa|N/mm|kN|N|kg|J|°C)(?![\w/])|,[ \u00a0](?:mm|µm|MPa|kN|N)\b"
)
BOTH = "names what may be typed, or a value in both systems"
REASONS = {
    r"\b[\d/.]+ in \([\d.]+ mm\)": BOTH,
    r"a quarter of an inch \(6 mm\)": BOTH,
    r"Or type it: 0\.06 mm, 2\.4 thou": BOTH,
    r"\b[\d.]+ mm \([\d./]+ in\)": BOTH,
    r"metric \(mm, N, MPa\)": "the name of the choice in the settings",
    r"typed [\d.,]+ \S+": "what somebody typed",
}
A_FEW = 2  # pages of each address; of dies some more, as they differ
EACH = ("diestore:die", "reports:cost_die")


def texts(html: str) -> list[str]:
    """What a page shows or has read aloud, a piece of text each."""
    body = re.sub(r"<(script|style).*?</\1>", "", html[html.index("<body") :], flags=re.S)
    spoken = re.findall(r'(?:placeholder|title|aria-label|alt)="([^"]*)"', body)
    return [unescape(text).replace("\xa0", " ") for text in [*re.split(r"<[^>]+>", body), *spoken]]


def walk(client, start: str = "/"):
    """Every page that can be come to by links, a few of each address: (address, page). What is asked of a page is
    tried a figure at a time: an address that asks only what others of its page asked before shows no other words."""
    waiting, known, taken, asked_before = [start], {start}, Counter(), set()
    while waiting:
        address = waiting.pop(0)
        path, _, asked = address.partition("?")
        name = resolve(path).view_name
        sort = (name, *sorted(bit.partition("=")[0] for bit in asked.split("&")))
        if (
            name.startswith(("admin:", "api"))
            or "sign_out" in name
            or taken[sort] >= A_FEW * (3 if name in EACH else 1)
            or (asked and taken[name] >= A_FEW and asked_before.issuperset((name, bit) for bit in asked.split("&")))
        ):
            continue
        taken[sort] += 1
        taken[name] += 1
        asked_before.update((name, bit) for bit in asked.split("&"))
        answer = client.get(address)
        if answer.status_code != 200 or not answer["Content-Type"].startswith("text/html"):
            continue
        html = as_read(answer)
        yield address, html
        for link in map(unescape, re.findall(r'href="([^"#]+)', html)):
            link = path + link if link.startswith("?") else link
            if link.startswith("/") and not link.startswith("/static/") and link not in known:
                known.add(link)
                waiting.append(link)


@pytest.fixture(scope="module")
def walked(demo, django_db_blocker):
    """Every sort of page of the demo as an administrator reads it in inches, walked once: (address, texts)."""
    with django_db_blocker.unblock(), transaction.atomic():
        user = User.objects.create_user("reader")
        user.groups.add(Group.objects.get(name="administrator"))
        UserSettings.objects.create(user=user, plant=demo, units="inch")
        client = Client()
        client.force_login(user)
        pages = [(address, texts(html)) for address, html in walk(client)]
        transaction.set_rollback(True)
    return pages


def test_no_page_says_what_was_given_up(walked):
    """One word for one thing: what the shop's own data say counts as theirs, and none of it is among these."""
    found = {words: address for address, said in walked for words in refused(said)}
    assert found == {}


def test_an_inch_user_reads_no_metric_value(walked):
    named_so = {*Item.objects.values_list("description", flat=True), *Stock.objects.values_list("code", flat=True)}
    named_so = sorted(filter(METRIC.search, named_so), key=len, reverse=True)  # by the shop, in its own words
    found, seen = {}, set()
    for address, said in walked:
        seen.add(resolve(address.partition("?")[0]).view_name)
        for text in said:
            if METRIC.search(text):
                for name in named_so:
                    text = text.replace(name, "")
                for reason in REASONS:
                    text = re.sub(reason, "", text)
                if metric := METRIC.search(text):
                    found.setdefault(text.strip(), (metric[0], address))
    assert found == {}
    assert {"reports:spare", "maintenance:wear", "maintenance:edge", "maintenance:log_reading", "reports:today"} <= seen


def test_no_page_of_the_demo_shop_asks_often(demo, as_role):
    """Three years of records, press counters, orders, spares on the shelf, and forecasts of every die."""
    client = as_role("lead")
    dies = Die.objects.filter(positions__code="1-A").order_by("code")[::6]
    of_each = {(name, address) for die in dies for name, address in addresses(die).items()}
    counts: dict[str, int] = {}
    for name, address in sorted(of_each):  # those of no die once
        counts[name] = max(counts.get(name, 0), asks(client, address))
    assert {"reports:today", "reports:spares", "reports:spare"} <= counts.keys()
    assert too_often(counts) == {}


def test_the_bench_of_the_demo_is_alive(demo, client):
    """Works in every state, one late, one at a supplier, one that waits for a spare, a die on hold, somebody away."""
    assert set(BenchWork.objects.values_list("state", flat=True)) == set(BenchWork.State)
    client.force_login(make.user("lead", "lead of the bench"))
    text = words(shown(client, "maintenance:bench"))
    for said in ("late on the bench:", "That costs", "away at", "not there and not ordered",
                 "on hold: burr on the contact side", "put there by hand"):  # fmt: skip
        assert said in text, said
