"""Finding: what is found for whom, in which order, and what is opened at once."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore.access import roles
from diestore.access.models import UserSettings
from diestore.finding import finders, spelling
from diestore.register.models import Die, Party, Plant
from maintenance.log import bench
from maintenance.models import BenchWork, PurchaseOrder
from tests import factories as make
from tests.security.addresses import shop

pytestmark = pytest.mark.django_db
FIND = reverse("diestore:find")
IN_ONE_SEARCH = 10  # one a finder, by what they show: dies, places, spares, parts, customers, jobs, sheets, orders
AROUND = 5  # who asks and the shop, and the plants, by which each second line is said


@pytest.fixture(scope="module")
def things(of_the_module):
    """Dies H-900 and H-901 with what belongs to them, and somebody in each role."""
    with make.no_forecasts():
        made = shop()
    return made, {role: make.user(role, f"finds as {role}") for role in roles.ROLES}


def sign_in(things, role: str = roles.LEAD) -> Client:
    client = Client()
    client.force_login(things[1][role])
    return client


def named(things, typed: str, role: str = roles.LEAD, kind: str = "") -> list[tuple[str, str]]:
    found = finders.find(things[1][role], spelling.asked(typed), kind)
    return [(hit.kind, hit.name) for hit in found.hits]


def opened(client: Client, typed: str) -> str:
    """Where Enter leads; "" where the page of what was found is shown."""
    answer = client.get(FIND, {"q": typed})
    return answer.url if answer.status_code == 302 else ""


@pytest.mark.parametrize("typed", ["h900 1a", "H-900/1-A", "h-900 1-a", " H900–1A "])
def test_one_place_is_opened_whatever_stands_between(things, typed):
    place = Die.objects.get(code="H-900").positions.get(code="1-A")
    assert opened(sign_in(things), typed) == reverse("maintenance:edge", args=[place.pk])


def test_the_exact_one_is_opened_though_others_begin_with_it(things):
    """Every place of the die, and its bench sheets, begin with its name."""
    die = Die.objects.get(code="H-900")
    assert opened(sign_in(things), "h 900") == reverse("diestore:die", args=[die.pk])
    assert len(named(things, "h900")) > 3


def test_exact_comes_first_then_what_begins_so_then_words(things):
    make.die("H-9000")
    make.die("X-7", description="takes the place of H-900")
    found = finders.find(things[1][roles.LEAD], spelling.asked("h-900"), "dies")
    names = [hit.name for hit in found.hits]
    assert names[0] == "H-900" and names.index("H-9000") < names.index("X-7")
    assert [hit.rank for hit in found.hits] == sorted(hit.rank for hit in found.hits)


def test_words_are_found_together_in_any_order(things):
    make.die("Z-1", description="hinge leaf, left and right")
    make.die("Z-2", description="hinge pin")
    for typed in ("leaf hinge", "z hinge leaf", "RIGHT leaf z1"):
        assert named(things, typed, kind="dies") == [("die", "Z-1")]
    assert ("position", "H-900 1-A") in named(things, "h900 pierce punch")  # its kind


def test_jobs_sheets_orders_customers_and_words_are_found(things):
    numbers = things[0]
    work = BenchWork.objects.get(pk=numbers["bench work"])
    order = PurchaseOrder.objects.get(pk=numbers["purchase"])
    lead = sign_in(things)
    assert opened(lead, f"Sheet {work.pk}") == reverse("maintenance:bench_work", args=[work.pk])
    assert ("bench sheet", f"H-900: {work.what}") in named(things, "h900 spring")
    assert opened(lead, order.number) == reverse("maintenance:purchase", args=[order.pk])
    job = make.Order.objects.get(pk=numbers["job"])
    assert ("job", job.number) in named(things, job.number)
    Party.objects.filter(pk=numbers["customer"]).update(name="Dovecott Seating")
    assert named(things, "dovecott") == [("customer", "Dovecott Seating")]
    assert ("word", "pitch") in named(things, "pitch")


def test_what_is_no_longer_used_comes_after_what_is(things):
    for n, status in enumerate((Die.Status.RETIRED, Die.Status.IN_SERVICE)):
        Die.objects.filter(pk=make.die(f"Y-{n}").pk).update(status=status)
    assert named(things, "y", kind="dies")[:2] == [("die", "Y-1"), ("die", "Y-0")]


@pytest.mark.parametrize("role", roles.ROLES)
def test_whoever_finds_it_may_open_it(things, role):
    """And each finder shows something to somebody, so that this says something of all of them."""
    client = sign_in(things, role)
    found = [
        finders.find(things[1][role], spelling.asked(typed)) for typed in ("h", "p", "spring", "e", "b", "2", "or")
    ]
    urls: dict[str, set[str]] = {}
    for hit in (hit for one in found for hit in one.hits):
        urls.setdefault(hit.kind, set()).add(hit.url.split("#")[0])
    tried = {url: kind for kind, there in urls.items() for url in sorted(there)[: 9 if kind == "spare" else 2]}
    assert {kind for url, kind in tried.items() if client.get(url).status_code != 200} == set()
    kinds = set(urls)
    assert {"die", "position", "word", "page"} <= kinds
    of_rights = {
        "spare": roles.SEE_SPARES, "order": roles.SEE_SPARES, "bench sheet": roles.LOG_MISHAP,
        "customer": roles.SEE_COST, "job": roles.SEE_COST, "part": roles.SEE_COST,
    }  # fmt: skip
    for kind, right in of_rights.items():
        assert (kind in kinds) == (right in roles.GRANTS[role]), kind


def test_another_plants_things_are_not_found(things):
    other = Plant.objects.create(code="north")
    die = make.die("N-77")
    Die.objects.filter(pk=die.pk).update(plant=other)
    make.position(die, "1-A")
    bench.open_work(by=make.actor(), die=die, what="N-77 on the bench")
    bound = make.user(roles.LEAD, "bound")
    bound.plants_bound.create(plant=Plant.objects.exclude(pk=other.pk).first())
    client = Client()
    client.force_login(bound)
    assert ("die", "N-77") in named(things, "n77")
    assert {hit.kind for hit in finders.find(bound, spelling.asked("n77")).hits} == {"part"}  # which is no plant's
    assert "Nothing here is called" in client.get(FIND, {"q": "n 77 on the bench"}).content.decode()


def test_lines_opened_as_a_page_lead_to_the_page(things):
    answer = sign_in(things).get(reverse("diestore:find_lines"), {"q": "h 9"}, headers={"Sec-Fetch-Dest": "document"})
    assert answer.status_code == 302 and answer.headers["Location"] == FIND + "?q=h+9"


@pytest.mark.parametrize(
    "typed", ["%", "_", "\\", "%%%", "h_900", "'", '"', "\0", "\0h", "x" * 20_000, "%" * 50_000, "ä", "-", ""]
)
def test_signs_that_mean_something_to_a_database_mean_nothing_here(things, typed):
    client = sign_in(things)
    for at in (FIND, reverse("diestore:find_lines")):
        answer = client.get(at, {"q": typed})
        assert answer.status_code in (200, 302), typed
    if typed in ("%", "\\", "%%%", "'", '"'):
        assert named(things, typed) == []
    if typed == "h_900":  # a dash between, as any other
        assert named(things, typed)[0] == ("die", "H-900")


def test_an_umlaut_is_found_in_capitals_and_in_small_letters(things):
    make.die("ÄG-1")
    assert named(things, "äg1", kind="dies") == [("die", "ÄG-1")]


def test_a_scanned_label_opens_what_it_names_and_nothing_elsewhere(things):
    client, pk = sign_in(things), things[0]["item"]
    assert opened(client, f"https://old.example/spares/{pk}/") == reverse("reports:spare", args=[pk])
    assert opened(client, "http://old.example/d/H-900/") == "/d/H-900/"
    for typed in (
        "https://evil.example/",
        "https://evil.example/no-page-of-ours/",
        "//evil.example/",
        "https://e//evil.example/",
    ):
        assert opened(client, typed) in ("", "/"), typed
    label = client.get(reverse("diestore:die_by_label", args=["h 900"]))
    assert label.status_code == 302 and label.url.startswith(FIND)


def test_there_are_as_many_questions_however_much_there_is(things):
    client = sign_in(things)

    def asks(typed: str) -> int:
        with CaptureQueriesContext(connection) as seen:
            assert client.get(FIND, {"q": typed}).status_code == 200
        return len(seen)

    asks("a b")
    few = asks("a b")
    with make.no_forecasts():
        for n in range(30):
            make.position(make.die(f"AB-{n}", description="a b"), "1-A")
            make.order(Die.objects.get(code=f"AB-{n}"), f"a b {n}")
    assert asks("a b") == few <= IN_ONE_SEARCH + AROUND


def test_of_much_the_page_shows_some_and_leads_to_the_rest_of_a_kind(things):
    for n in range(20):
        make.die(f"MANY-{n:02d}")
    client = sign_in(things)
    text = client.get(FIND, {"q": "many"}).content.decode()
    assert len(re.findall(r"<b>MANY-\d\d</b>", text)) == finders.SHOWN and "kind=dies" in text
    text = client.get(FIND, {"q": "many", "kind": "dies"}).content.decode()
    assert len(re.findall(r"<b>MANY-\d\d</b>", text)) == 20 and "There are more" not in text


def test_the_keys_are_listed_and_can_be_switched_off(things):
    client = sign_in(things, roles.BUYER)
    keys = client.get(reverse("diestore:keys")).content.decode()
    assert "data-keys=" in keys and ">Spares</a>" in keys and ">Counters</a>" not in keys  # which the buyer has not
    letters = re.findall(r'data-key="(\w)"', keys)
    assert letters and len(set(letters)) == len(letters)
    answer = client.post(reverse("diestore:settings"), {"units": "metric", "person": "", "look": ""})
    assert answer.status_code == 302
    assert not UserSettings.objects.get(user=things[1][roles.BUYER]).page_keys
    keys = client.get(reverse("diestore:keys")).content.decode()
    assert "data-key" not in keys and "switched off" in keys
