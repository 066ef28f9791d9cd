"""Plain cards: who sees and changes which, units, two people at one card, changes struck out, jobs split."""

import datetime as dt
import re
from decimal import Decimal
from html import unescape
from importlib import import_module

import pytest
from django.urls import reverse

from diestore.access.models import PlantOfUser, UserSettings
from diestore.cards import described, lists
from diestore.register import actions
from diestore.register.models import Amendment, Item, Output, Part, Party, Plant, Press, Rate, Stock, Volume
from maintenance.models import Absence, BenchHours, Grinder, Order
from tests import factories as make
from tests.pages.as_read import as_read

pytestmark = pytest.mark.django_db
import_module("diestore.urls")  # with their addresses cards are known
CARDS = sorted((card for some in described.BY_TABLE.values() for card in some), key=lambda card: card.key)


def sent(text: str) -> dict[str, str]:
    """What a browser would send of the first form of a page that carries what it was opened with."""
    form = next(f for f in re.findall(r"<form.*?</form>", text, re.S) if 'name="before"' in f)
    found = {}
    for tag in re.findall(r"<input[^>]*>", form):
        a = dict(re.findall(r'([\w-]+)="([^"]*)"', tag))
        if a.get("type") not in ("radio", "checkbox") or " checked" in tag:
            found[a["name"]] = unescape(a.get("value", ""))
    for select in re.findall(r"<select.*?</select>", form, re.S):
        chosen = re.search(r'<option\s+value="([^"]*)" selected', select)
        first = re.search(r'<option\s+value="([^"]*)"', select)
        found[re.search(r'name="([^"]+)"', select)[1]] = unescape((chosen or first)[1])
    return found


def change(client, card_key: str, row, reason: str = "measured", **values):
    there = reverse(card_key, args=[row.pk])
    return client.post(there, sent(as_read(client.get(there))) | {"reason": reason} | values)


def rows() -> dict[str, object]:
    die = make.die(usual_press=make.press())
    customer = Party.objects.create(code="QF", name="Quillfen", role="customer")
    part = Part.objects.get()
    return {
        "dies": die,
        "parts": part,
        "volumes": Volume.objects.create(part=part, year=2027, parts=100_000),
        "customers": customer,
        "suppliers": Party.objects.create(code="SP", role="supplier"),
        "spares": make.item(unit_price=Decimal("12.5"), lead_days=14, length_mm=63.5),
        "presses": Press.objects.get(),
        "stocks": die.usual_stock,
        "rates": Rate.objects.create(plant=make.plant(), kind="toolroom hour", valid_from="2026-01-01", amount=60),
        "plants": make.plant(),
        "jobs": make.order(die),
        "bench_hours": BenchHours.objects.create(person=make.person(), hours_a_day=7.5),
        "absences": Absence.objects.create(person=make.person(), first="2026-12-01", last="2026-12-04"),
        "grinders": Grinder.objects.create(plant=make.plant(), code="surface grinder"),
    }


def test_every_card_is_walked():
    assert {card.key for card in CARDS} == set(rows())


READS = {
    "lead": {card.key for card in CARDS},
    "buyer": {"spares", "suppliers"},
    "sales": {"parts", "volumes", "customers", "jobs", "rates"},
    "toolmaker": {"spares", "suppliers", "presses", "stocks", "bench_hours", "absences", "grinders"},
    "setter": set(),
}
CHANGES = {"lead": READS["lead"], "buyer": {"spares", "suppliers"}, "sales": set(), "toolmaker": set(), "setter": set()}


@pytest.mark.parametrize("role", READS)
def test_each_role_sees_and_changes_its_own(as_role, role):
    client, known = as_role(role), rows()
    register = client.get(reverse("diestore:register"))
    for card in CARDS:
        pages = [card.address("card", known[card.key].pk), card.address("past", known[card.key].pk)]
        pages += [] if card.elsewhere else [card.address()]
        for there in pages:
            assert client.get(there).status_code == (200 if card.key in READS[role] else 403), (card.key, there)
        new = card.address("new")
        assert client.get(new).status_code == (200 if card.key in CHANGES[role] else 403)
        if card.key not in CHANGES[role]:
            assert client.post(new, {}).status_code == 403
            assert client.post(pages[0], {"delete": "1", "reason": "no"}).status_code == 403
        if register.status_code == 200 and not card.elsewhere:
            assert (f'href="{card.address()}"' in as_read(register)) == (card.key in READS[role])
            assert (f'href="{new}"' in as_read(register)) == (card.key in CHANGES[role])
    assert register.status_code == (403 if role == "setter" else 200)
    if register.status_code == 200:
        assert (f'href="{reverse("diestore:die_new")}"' in as_read(register)) == (role == "lead")
    strip = as_read(client.get(reverse("diestore:words")))
    assert (f'href="{reverse("diestore:register")}"' in strip) == (role != "setter")


@pytest.mark.parametrize("key", [card.key for card in CARDS])
def test_a_card_sent_as_it_was_opened_is_no_change(as_role, key):
    """Not even in the last digit: what nobody touched is not written."""
    client, row = as_role("lead"), rows()[key]
    (card,) = [card for card in CARDS if card.key == key]
    before = type(row)._base_manager.filter(pk=row.pk).values().get()
    answer = client.post(
        card.address("card", row.pk), sent(as_read(client.get(card.address("card", row.pk)))) | {"reason": "no"}
    )
    assert answer.status_code == 422 and "Nothing here is other" in as_read(answer)
    assert type(row)._base_manager.filter(pk=row.pk).values().get() == before


@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.key)
def test_a_list_sorts_both_ways_and_asks_as_often_at_three_as_at_thirty(card, as_role, django_assert_num_queries):
    client = as_role("lead")
    rows()
    table = lists.table_of(card)
    for name, column in table.base_columns.items():
        assert str(column.order_by[-1]) == "pk"
        for sign in ("", "-"):
            assert client.get(card.address(), {"sort": sign + name}).status_code == 200
    client.get(card.address())  # what a process asks once and keeps is no part of the count
    with django_assert_num_queries(25, exact=False) as few:
        client.get(card.address())
    for n in range(29):
        die = make.die(f"H-{n:03d}", of=make.stock(thickness_mm=1 + n / 10), usual_press=make.press(f"N{n}"))
        make.order(die, f"26-1{n:03d}")
        make.item(f"I-{n}", supplier=Party.objects.create(code=f"S{n}", role="supplier"))
        Party.objects.create(code=f"C{n}", role="customer")
        Volume.objects.create(part=Part.objects.get(number=f"P-H-{n:03d}"), year=2000 + n, parts=n)
        Rate.objects.create(plant=make.plant(), kind="press hour", valid_from=f"2025-01-{n + 1:02d}", amount=60)
    with django_assert_num_queries(len(few)):
        client.get(card.address(), {"per_page": 50})


def test_a_change_has_its_date_and_its_reason_and_is_struck_out(as_role):
    client, item = as_role("buyer"), make.item(lead_days=14)
    answer = change(client, "diestore:spares_card", item, "the new price list", lead_days="21", at="2026-03-02T08:00")
    assert answer.status_code == 302
    item.refresh_from_db()
    made = Amendment.objects.get()
    assert item.lead_days == 21 and made.reason == "the new price list" and f"{made.at:%Y-%m-%d}" == "2026-03-02"
    said = as_read(client.get(reverse("diestore:spares_past", args=[item.pk])))
    assert "14 → <strong>21</strong>" in said and "the new price list" in said
    strike = reverse("diestore:change_strike", args=[made.pk])
    assert strike in said and client.get(strike).status_code == 200
    assert client.post(strike, {"reason": ""}).status_code == 422
    assert client.post(strike, {"reason": "old list"}).status_code == 302
    item.refresh_from_db()
    assert item.lead_days == 14
    assert "Struck out" in as_read(client.get(reverse("diestore:spares_past", args=[item.pk])))


def test_without_a_reason_nothing_is_kept_and_what_was_typed_stays(as_role):
    client, item = as_role("lead"), make.item(lead_days=14)
    answer = change(client, "diestore:spares_card", item, "", lead_days="21")
    assert answer.status_code == 422 and "Say why it changed." in as_read(answer)
    assert 'value="21"' in as_read(answer)
    item.refresh_from_db()
    assert item.lead_days == 14


def test_what_was_counted_with_asks_for_a_new_row_or_a_typing_error(as_role):
    client, stock = as_role("lead"), make.stock()
    answer = change(client, "diestore:stocks_card", stock, tensile_mpa="500")
    assert answer.status_code == 422 and "enter another stock and name it at the die" in as_read(answer)
    assert change(client, "diestore:stocks_card", stock, "", tensile_mpa="500", how="never so").status_code == 302
    assert Stock.objects.get().tensile_mpa == 500 and Amendment.objects.get().sort == "corrected"


def test_two_people_at_one_card_and_nothing_of_the_second_is_lost(as_role):
    client, item = as_role("lead"), make.item(lead_days=14, description="punch")
    there = reverse("diestore:spares_card", args=[item.pk])
    opened = sent(as_read(client.get(there)))
    other = make.user("buyer", "olaf")
    actions.amend(by=other, row=item, values={"lead_days": 30}, at=make.moment(), reason="late again")
    answer = client.post(there, opened | {"description": "punch, round", "reason": "clearer"})
    said = as_read(answer)
    assert answer.status_code == 409 and "While this was open, olaf changed" in said and "late again" in said
    assert 'value="punch, round"' in said and 'value="30"' in said and 'value="clearer"' in said
    assert client.post(there, sent(said)).status_code == 302
    item.refresh_from_db()
    assert (item.description, item.lead_days) == ("punch, round", 30)


@pytest.mark.parametrize(
    ("typed", "mm"), [("63,5", 63.5), ("2.5 in", 63.5), ("63.5 mm", 63.5), ("1 1/2 in", 38.1), ("60", 60.0)]
)
def test_figures_are_taken_as_people_type_them(as_role, typed, mm):
    client, item = as_role("lead"), make.item()
    assert change(client, "diestore:spares_card", item, length_mm=typed).status_code == 302
    item.refresh_from_db()
    assert item.length_mm == pytest.approx(mm, abs=1e-12)


def test_who_works_in_inches_types_inches_and_the_rest_is_not_rounded(as_role):
    client, item = as_role("lead"), make.item(length_mm=63.123456789)
    UserSettings.objects.create(user_id=client.session["_auth_user_id"], units="inch")
    said = as_read(client.get(reverse("diestore:spares_card", args=[item.pk])))
    assert "data-unit>in</span>" in said
    change(client, "diestore:spares_card", item, grind_allowance_mm="0.125")
    item.refresh_from_db()
    assert (item.grind_allowance_mm, item.length_mm) == (3.175, 63.123456789)


def test_a_force_without_its_unit_is_asked_about(as_role):
    client = as_role("lead")
    press = make.press()
    answer = change(client, "diestore:presses_card", press, rated_force_n="800")
    assert answer.status_code == 422 and "needs a unit; write N, kN" in as_read(answer)
    assert change(client, "diestore:presses_card", press, rated_force_n="800 kN").status_code == 302
    press.refresh_from_db()
    assert press.rated_force_n == 800_000
    assert 'value="800.0 kN"' in as_read(client.get(reverse("diestore:presses_card", args=[press.pk])))


def test_a_new_row_is_entered_with_what_the_page_was_opened_for(as_role):
    client, part = as_role("lead"), rows()["parts"]
    there = f"{reverse('diestore:volumes_new')}?part={part.pk}"
    answer = client.post(there, sent(as_read(client.get(there))) | {"year": "2028", "parts": "1,200,000"})
    assert answer.status_code == 302
    assert Volume.objects.get(year=2028).parts == 1_200_000
    said = as_read(client.get(reverse("diestore:parts_card", args=[part.pk])))
    assert "2028: 1,200,000 parts" in said and Amendment.objects.get().sort == "entered"
    again = client.post(there, sent(as_read(client.get(there))) | {"year": "2028", "parts": "5"})
    assert again.status_code == 422 and "already exists" in as_read(again)


def test_the_handbook_doubts_and_forbids_nothing(as_role):
    client, item = as_role("lead"), make.item(tool_steel="D2", hardness_hrc=60.0)
    answer = change(client, "diestore:spares_card", item, hardness_hrc="40")
    assert answer.status_code == 302
    assert "40 HRC is softer than D2 is worked at" in as_read(client.get(answer["Location"]))


def test_the_card_of_a_stock_says_what_its_hardness_would_be(as_role):
    client = as_role("lead")
    for material, hardness, said in (
        ("low-carbon steel", "82 HRB", "82 HRB would be about 530 MPa of tensile strength (conversion, 509 to 551 MPa"),
        ("low-carbon steel", "55 HRB", "HRB 55.0 lies outside the table, which goes from 72 to 100."),
        ("aluminium 5052", "65 HB", "HB 65.0 lies outside the table"),
        ("stainless 304", "170 HB", "tables are for carbon and alloy steel alone"),
    ):
        stock = make.stock(material)
        stock.hardness = hardness
        stock.save()
        assert said in as_read(client.get(reverse("diestore:stocks_card", args=[stock.pk]))), hardness


def test_out_of_use_is_no_longer_offered_and_stands_where_it_stood(as_role):
    client, supplier = as_role("lead"), Party.objects.create(code="SP", role="supplier")
    old, new = make.item("A", supplier=supplier), make.item("B")
    there = reverse("diestore:suppliers_card", args=[supplier.pk])
    assert client.post(there, {"out": "1", "reason": ""}).status_code == 422
    assert client.post(there, {"out": "1", "reason": "closed down"}).status_code == 302
    assert "SP (no longer used)" not in as_read(client.get(reverse("diestore:suppliers")))
    assert "SP</a> (no longer used)" in as_read(client.get(reverse("diestore:suppliers"), {"gone": "on"}))

    def offered(item) -> bool:
        said = as_read(client.get(reverse("diestore:spares_card", args=[item.pk])))
        return f'value="{supplier.pk}"' in re.search(r'<select name="supplier".*?</select>', said, re.S)[0]

    assert offered(old) and not offered(new)
    client.post(there, {"back": "1", "reason": "open again"})
    assert offered(new)


def test_a_duplicate_is_joined_and_a_mistake_deleted(as_role):
    client, one, two = as_role("lead"), make.press("P1"), make.press("P01")
    die = make.die(usual_press=two)
    there = reverse("diestore:presses_card", args=[two.pk])
    refused = client.post(there, {"delete": "1", "reason": "twice"})
    assert refused.status_code == 422 and "1 die stands on it" in as_read(refused)
    assert client.post(there, {"merge": "1", "reason": "twice"}).status_code == 422
    assert client.post(there, {"merge": "1", "reason": "twice", "into": str(one.pk)}).status_code == 302
    die.refresh_from_db()
    assert die.usual_press == one and Press.objects.count() == 1
    assert (
        client.post(reverse("diestore:spares_card", args=[make.item().pk]), {"delete": "1", "reason": "x"}).status_code
        == 302
    )
    assert not Item.objects.exists()


def test_a_plant_of_ones_own_is_all_that_is_seen_and_typed(as_role):
    client, mine = as_role("lead"), make.plant()
    other = Plant.objects.create(code="annexe")
    hidden = Press.objects.create(plant=other, code="P9")
    PlantOfUser.objects.create(user_id=client.session["_auth_user_id"], plant=mine)
    press = make.press()
    assert "P9" not in as_read(client.get(reverse("diestore:presses")))
    for what in ("card", "past"):
        assert client.get(reverse(f"diestore:presses_{what}", args=[hidden.pk])).status_code == 404
    answer = change(client, "diestore:presses_card", press, plant=str(other.pk))
    assert answer.status_code == 422
    press.refresh_from_db()
    assert press.plant == mine
    change_there = actions.amend(
        by=make.user("lead", "else"), row=hidden, values={"code": "P8"}, at=make.moment(), reason="x"
    )
    assert client.get(reverse("diestore:change_strike", args=[change_there.pk])).status_code == 404


def test_a_job_is_entered_changed_split_and_closed(as_role):
    client, die = as_role("lead"), make.die()
    new = reverse("maintenance:jobs_new")
    values = {"number": "26-7", "part": str(Part.objects.get().pk), "parts": "50 000", "due": "2027-02-01"}
    assert client.post(new, sent(as_read(client.get(new))) | values).status_code == 302
    job = Order.objects.get()
    assert (job.parts, job.due, job.plant) == (50_000, dt.date(2027, 2, 1), make.plant())
    assert change(client, "maintenance:jobs_card", job, "the customer called", due="2027-03-01").status_code == 302
    make.run(die, 1, 20_000, order=job)
    split = reverse("maintenance:jobs_split", args=[job.pk])
    assert 'value="26-7-2"' in as_read(client.get(split))
    values = {"parts": "40000", "number": "26-7-2", "due": "2027-04-01", "die": "", "reason": "half is later"}
    refused = client.post(split, values)
    assert refused.status_code == 422 and "has 30,000 left to make" in as_read(refused)
    assert client.post(split, values | {"parts": "10000"}).status_code == 302
    assert sorted(Order.objects.values_list("number", "parts")) == [("26-7", 40_000), ("26-7-2", 10_000)]
    there = reverse("maintenance:jobs_card", args=[job.pk])
    assert client.post(there, {"out": "1", "reason": "made"}).status_code == 302
    job.refresh_from_db()
    assert job.closed_at is not None and "is closed" in as_read(client.get(there))


@pytest.mark.parametrize("before", ["", "{", "[]", '{"code": 5}', "x" * 30_000, '{"code": null, "nobody": "x"}'])
def test_a_form_that_somebody_made_changes_only_what_differs(as_role, before):
    client, item = as_role("lead"), make.item(lead_days=14)
    there = reverse("diestore:spares_card", args=[item.pk])
    form = sent(as_read(client.get(there))) | {"before": before, "lead_days": "20", "reason": "x", "opened": "0"}
    assert client.post(there, form).status_code in (302, 422)
    item.refresh_from_db()
    assert item.code == "PP-6.0-M2"


def test_what_a_die_runs_on_and_costs_is_changed_with_its_day(as_role):
    client, die = as_role("lead"), make.die(usual_press=make.press())
    other = make.stock("brass CuZn37", 380, 0.8)
    hidden = Press.objects.create(plant=Plant.objects.create(code="annexe"), code="P9")
    values = {"usual_stock": str(other.pk), "build_price": "86.000,50", "expected_parts": "3 000 000",
              "status": "in repair", "at": "2026-03-02T08:00"}  # fmt: skip
    assert change(client, "diestore:dies_card", die, "another order", **values).status_code == 302
    die.refresh_from_db()
    assert (die.usual_stock, die.build_price, die.expected_parts, die.status) == (
        other, Decimal("86000.5"), 3_000_000, "in repair",
    )  # fmt: skip
    assert change(client, "diestore:dies_card", die, usual_press=str(hidden.pk)).status_code == 422
    there = reverse("diestore:dies_card", args=[die.pk])
    assert client.post(there, {"out": "1", "reason": "scrapped"}).status_code == 302
    die.refresh_from_db()
    assert die.status == "retired" and "is retired" in as_read(client.get(there))
    client.post(there, {"back": "1", "reason": "needed again"})
    die.refresh_from_db()
    assert die.status == "in service"


def test_a_job_that_no_die_makes_says_that_nothing_is_forecast_for_it(as_role):
    client, part = as_role("lead"), Part.objects.create(number="P-none")
    make.plant()
    values = {"number": "26-9", "part": str(part.pk), "parts": "500", "due": "2027-01-15"}
    assert client.post(reverse("maintenance:jobs_new"), values).status_code == 302
    there = reverse("maintenance:jobs_card", args=[Order.objects.get().pk])
    said = "No die makes P-none yet, so nothing is forecast for this job."
    assert said in as_read(client.get(there))
    Output.objects.create(variant=make.die().variants.get(), part=part, parts_per_hit=1)
    assert said not in as_read(client.get(there))
    assert client.get(reverse("maintenance:due")).status_code == 200


def test_a_list_longer_than_its_page_says_so_on_paper_too(as_role):
    """What is printed of it is the page: rows 1 to 25 of 26, and where the others are."""
    Part.objects.bulk_create([Part(number=f"P-{n:02}") for n in range(26)])
    lead = as_role("lead")
    page = as_read(lead.get(reverse("diestore:parts")))
    assert "1 to 25 of 26" in page and "For the others on paper, ask for all on one page first." in page
    page = as_read(lead.get(reverse("diestore:parts"), {"per_page": "50"}))
    assert "1 to 26 of 26" in page and "on paper" not in page and "P-25" in page


def test_where_there_is_one_plant_nobody_is_asked_which(as_role):
    client, known = as_role("lead"), rows()
    some = ("presses", "rates", "jobs")
    for card in CARDS:
        if card.key in some:
            pages = [client.get(there) for there in (card.address(), card.address("new"),
                                                     card.address("card", known[card.key].pk))]  # fmt: skip
            assert not any('name="plant"' in as_read(page) or ">Plant<" in as_read(page) for page in pages), card.key
    values = {"number": "26-7", "part": str(Part.objects.get().pk), "parts": "5000", "due": "2027-02-01"}
    assert client.post(reverse("maintenance:jobs_new"), values).status_code == 302
    assert Order.objects.get(number="26-7").plant == make.plant()
    Plant.objects.create(code="annexe")
    assert all('name="plant"' in as_read(client.get(card.address("new"))) for card in CARDS if card.key in some)


def test_the_first_press_of_a_shop_brings_its_plant(as_role):
    assert as_role("lead").post(reverse("diestore:presses_new"), {"code": "P1"}).status_code == 302
    assert Press.objects.get().plant == Plant.objects.get()
