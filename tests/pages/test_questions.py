"""How often a page asks the database: at most so often, for a die with much as for one with little."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from diestore.register.models import Item, Part, Party, Rate
from diestore.register.sources import SpareLevel
from maintenance.log import bench, payers, purchases, write
from maintenance.models import Absence, BenchHours, Work
from tests import factories as make
from tests.security.addresses import outlined_tool

from .small_shop import shop

pytestmark = pytest.mark.django_db
AT_MOST = 25
# These gather more, since they stand whole and without a script on one sheet of paper. A die: who asks (three), the
# die, what falls out of it, the bench, its log (seven), forecast, orders, stations, record, its cost (six), and
# the latest entries, where every sort of entry is a question. Its cost: the same log and cost, the year ahead of its
# spares (what is stated of its years, its mishaps: four), and another build.
# In a shop of fewer than a hundred dies the advice on spares is made from the log as it is asked for, some twenty
# questions however many spares there are: on the first page, on the list and of one spare.
# Three of these are what a spare's preferred source says, its prices, and the level that somebody set by hand.
# A condition report is one paper: the ledger of a die, what is left in each of its pieces, and who may sign it; where
# its reader pays for what comes, the year ahead too, as the page of the years and that of a customer ask for it.
# The year ahead asks which places follow their own edge; the years ahead stand on the same log, cost and year.
WHOLE = {
    "diestore:die": 34, "reports:cost_die": 37, "reports:cost_years": 27, "reports:today": 39, "reports:spares": 28,
    "reports:cost_replace": 27, "reports:spare": 26,
    "reports:condition": 32, "condition, with the year ahead": 38, "customer_ahead": 30,
}  # fmt: skip

OF_NONE = [
    "maintenance:due", "maintenance:pulls", "diestore:dies", "maintenance:log", "maintenance:entries", "reports:cost",
    "maintenance:record", "maintenance:replay",
    "maintenance:counters", "diestore:words", "diestore:people", "maintenance:wear", "reports:today", "reports:spares",
    "reports:spares_ahead", "reports:spares_record", "reports:outlines", "reports:outline_new", "reports:build_prices",
    "maintenance:bench", "maintenance:presses", "reports:gains", "reports:changes", "reports:customer_list",
]  # fmt: skip
OF_A_DIE = [
    "diestore:die",
    "reports:cost_die",
    "reports:cost_ledger",
    "reports:condition",
    "reports:cost_years",
    "reports:cost_replace",
    "reports:cost_promise",
    "maintenance:payers",
    "maintenance:set_up_sheet",
    "maintenance:set_up_paper",
]
TASKS = ["run", "sharpening", "replacement", "stop", "reading", "mishap", "correction"]


def asks(client, address: str) -> int:
    assert client.get(address).status_code == 200
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)


def addresses(die) -> dict[str, str]:
    found = {name: reverse(name) for name in OF_NONE}
    found |= {name: reverse(name, args=[die.pk]) for name in OF_A_DIE}
    found |= {f"log_{task}": f"{reverse(f'maintenance:log_{task}')}?die={die.pk}" for task in TASKS}
    found["bench_new"] = f"{reverse('maintenance:bench_new')}?die={die.pk}"
    found["hold"] = reverse("maintenance:hold", args=[die.pk])
    if (work := die.bench_works.order_by("pk").first()) is not None:
        found |= {f"bench_{of}": reverse(f"maintenance:bench_{of}", args=[work.pk]) for of in ("work", "sheet")}
    found["reports:outline"] = reverse("reports:outline", args=[outlined_tool(die.plant, ways=5).pk])
    if die.owner_id:
        found |= {name: reverse(f"reports:{name}", args=[die.owner_id]) for name in ("customer", "customer_ahead")}
        if (paid := die.owner.dies_owned.filter(cost_bearers__element="sharpening").first()) is not None:
            found["condition, with the year ahead"] = reverse("reports:condition", args=[paid.pk])
    found["in_press"] = f"{reverse('maintenance:in_press')}?die={die.pk}"
    if (bought := die.positions.filter(item__sources__isnull=False).order_by("pk").first()) is not None:
        found["reports:spare"] = reverse("reports:spare", args=[bought.item_id])
    edge = die.positions.get(code="1-A")
    found["maintenance:edge"] = reverse("maintenance:edge", args=[edge.pk])
    if edge.works.exists():
        found["short_cycle"] = reverse("maintenance:short_cycle", args=[edge.pk, 1])
    return found


def too_often(counts: dict[str, int]) -> dict[str, int]:
    return {name: n for name, n in counts.items() if n > WHOLE.get(name, AT_MOST)}


@pytest.fixture
def dies():
    Rate.objects.create(plant=make.plant(), kind="toolroom hour", valid_from="2020-01-01", amount=60)
    Rate.objects.create(plant=make.plant(), kind="press hour", valid_from="2020-01-01", amount=90)
    made = shop(3)
    owner = Party.objects.create(code="DOVECOTT", name="Dovecott Seating", role="customer")
    for die in made[:2]:
        die.owner = owner
        die.save()
    # few strokes ahead, so that little has to be computed; the questions are the same
    Part.objects.update(last_needed=timezone.localdate() + dt.timedelta(days=30))
    return made


def grown(die, letter: str, first: int) -> None:
    """The same die with thirty more places, sharpened as sets, and thirty more of every sort of entry; sharpened seldom
    enough that its years ahead can be told."""
    bought = {"lead_days": 30, "unit_price": Decimal("48.50")}
    places = [make.position(die, f"{n}-{letter}", item=make.item(code=f"P-{n}{letter}", **bought)) for n in range(30)]
    with make.one_forecast(die):
        for day in range(first, first + 30):
            make.run(die, day, 900)
            if day % 10 == 0:
                make.sharpen(die, day + 0.5, *places[: 26 + day // 10 % 4])
            write.log_stop(by=make.actor(), die=die, at=make.moment(day + 0.8), minutes=20, cause="other")
            write.log_replacement(by=make.actor(), position=places[day % 30], at=make.moment(day + 0.9), why="other")


def supplied(die, letter: str, first: int) -> None:
    """A third of those places with a preferred source and its prices, a level by hand, mishaps, and orders: one that
    came, one of which a part came and which is late, one that is placed and one in draft."""
    by, plant = make.actor(), die.plant
    seller = Party.objects.get_or_create(code="QUILLFEN", defaults={"role": "supplier", "name": "Quillfen Tooling"})[0]
    items = [die.positions.get(code=f"{n}-{letter}").item for n in range(10)]
    for item in items:
        make.source(item, supplier=seller, prices=((1, "48.50"), (10, "44.00")), since=make.moment(1).date())
        SpareLevel.objects.create(plant=plant, item=item, least_pieces=2, set_on=make.moment(2).date(),
                                  reason="the press waited for one")  # fmt: skip
    with make.one_forecast(die):
        for n, place in enumerate(die.positions.filter(code__endswith=f"-{letter}").order_by("code")[:12]):
            at = make.moment(first + 31 + n // 3)
            if n % 3 == 0:
                write.log_incident(by=by, die=die, at=at, sort="misfeed", positions=[place])
            write.log_replacement(by=by, position=place, at=at, why="broken", found="broken")
    for n in range(4):
        wanted = [purchases.Wanted(item=item, quantity=4) for item in Item.objects.filter(pk__in=[i.pk for i in items])]
        (order,) = purchases.draft(by=by, plant=plant, wanted=wanted, currency="EUR").orders
        if n == 3:
            return
        order = purchases.place(by=by, order=order)
        came = {0: 4, 1: 2}.get(n)
        if came is not None:
            told = {
                line.pk: purchases.Came(quantity=came, answer=purchases.STILL_TO_COME if came < 4 else "")
                for line in order.lines.all()
            }
            purchases.receive(by=by, order=order, came=told)


def on_the_bench(die, first: int, last: int) -> None:
    """So many works on a die, each with an edge and a spare, and as many people with hours."""
    place = die.positions.get(code="1-A")
    for n in range(first, last):
        edges = [bench.EdgeToGrind(position=place, grind_mm=0.1)]
        work = bench.open_work(by=make.actor(), die=die, what=f"work {n}", edges=edges, hours_foreseen=2)
        bench.reserve(by=make.actor(), work=work, item=make.item(code=f"S-{n}", lead_days=5))
        person = make.person(f"Toolmaker {n}")
        BenchHours.objects.create(person=person, hours_a_day=4)
        Absence.objects.create(person=person, first=make.moment(9).date(), last=make.moment(9).date())
        bench.say(by=make.actor(), work=work, words="looked at")


def test_few_questions_however_much_there_is(as_role, dies):
    client, (small, other, *_) = as_role("lead"), dies
    client.get(f"{reverse('maintenance:log_stop')}?die={small.pk}")  # the die that the Log starts with
    payers.say_of_die(by=make.actor(), die=other, at=make.moment(1), payers={"sharpening": other.owner})
    grown(small, "B", 10)
    supplied(small, "B", 10)
    on_the_bench(small, 0, 3)
    before = {name: asks(client, address) for name, address in addresses(small).items()}
    grown(small, "C", 50)
    supplied(small, "C", 50)
    on_the_bench(small, 3, 30)
    assert Work.objects.filter(position__die=small).count() > 120
    assert "8 in 10" in client.get(reverse("reports:cost_years", args=[small.pk])).content.decode()
    after = {name: asks(client, address) for name, address in addresses(small).items()}
    assert too_often(after) == {}
    assert {name: (before[name], n) for name, n in after.items() if n != before[name]} == {}


def test_an_answer_to_the_same_address_writes_no_session_anew(as_role, dies):
    client = as_role("lead")
    address = f"{reverse('maintenance:log_stop')}?die={dies[0].pk}"
    client.get(address)
    with CaptureQueriesContext(connection) as seen:
        client.get(address)
    assert not any(query["sql"].startswith("UPDATE") for query in seen)
