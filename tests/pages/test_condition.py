"""The condition report: it agrees with the other pages, it is signed and kept, and it holds no inside figure."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from django.urls import reverse

from diestore.register.models import Party
from maintenance.forecasts import store
from maintenance.log import owners, write
from maintenance.models import CostLine, SignedReport, fresh_key
from reports.cost import sheets
from reports.owners import paper
from reports.owners.condition import condition_of
from reports.spares import used_up
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db
ADDRESS = "reports:condition"


@pytest.fixture
def die():
    """Eight sharpenings, a chipped piece and one ground out, a bill that its owner pays and one that the shop does."""
    shop.rates()
    made = shop.worked_die("H-900", shop.spare("PP-6.0-M2", on_hand=4))
    make.position(made, "3-P", kind="pilot", length_mm=None)
    made.owner = Party.objects.create(code="DOVECOTT", name="Dovecott Seating", role="customer")
    made.save()
    place = made.positions.get(code="1-A")
    for day, why in ((31, "chipped"), (93, "ground out")):
        write.log_replacement(by=make.actor(), position=place, at=make.moment(day), why=why)
    other = Party.objects.create(code="OTHER", name="Dovecott Seating", role="customer")  # of the same name
    for amount, payer in (("99.99", made.owner), ("7777.77", None), ("123.45", other)):
        CostLine.objects.create(
            die=made, kind="repair", amount=Decimal(amount), at=make.moment(50), key=fresh_key(), payer=payer
        )
    store.fit_and_forecast(make.plant())
    return made


def test_it_agrees_with_cost_and_spares(die):
    said = condition_of(die).said
    cost = sheets.cost_per_thousand(die)
    assert (said.hits, said.parts) == (cost.spent.hits, cost.spent.parts) == (300_000, 300_000)
    [year] = said.years
    assert (year.sharpenings, year.ground, year.replaced, year.broken) == (8, 24, 2, 1)
    left = used_up.of_die(die)
    places = {p.code: p.pk for p in die.positions.all()}
    assert {one.place for one in said.pieces} == {"1-A", "1-B", "2-A"}
    for one in said.pieces:
        known = left[places[one.place]]
        assert (one.grinds, one.by, one.parts) == (known.grinds, known.day, int(known.strokes))
    assert said.steps[0].parts == min(one.parts for one in said.pieces)
    assert said.pieces[0].months == pytest.approx((said.pieces[0].by - said.on).days / 30.4375)


def test_only_what_its_owner_pays(as_role, die):
    now = condition_of(die)
    assert now.for_whom == die.owner and now.said.paid_together == Decimal("30099.99")
    assert [(f"{month:%Y-%m}", money) for month, money, _ in now.said.months_paid] == [
        ("2025-01", Decimal(30_000)), ("2025-02", Decimal("99.99")),
    ]  # fmt: skip
    text = as_read(as_role("sales").get(reverse(ADDRESS, args=[die.pk])))
    whole = now.said.model_dump_json() + text
    for inside in ("48.5", "7777", "7,777", "123.45", "toolroom hour", "60.00"):  # price, bills of others, rates
        assert inside not in whole, inside
    assert "30,099.99" in text and "Dovecott Seating owns the tool and pays its build" in text


def test_signed_it_stays_what_it_was(as_role, die):
    client = as_role("sales")
    address = reverse(ADDRESS, args=[die.pk])
    form = client.get(address).context["form"]
    typed = {"key": form.initial["key"], "seen": form.initial["seen"], "note": "clean\x00", "person": make.person().pk}
    assert client.post(address, typed | {"person": ""}).status_code == 422
    for _ in range(2):  # sent twice, signed once
        answer = client.post(address, typed)
        assert answer.status_code == 302
    report = SignedReport.objects.get()
    before = paper.pdf(owners.read(report.said))
    make.run(die, 400, 50_000)
    text = as_read(client.get(answer["Location"]))
    assert "Signed off by Ina T. on" in text and "300,000 hits" in text and "clean" in text
    assert client.get(reverse("reports:signed_report_pdf", args=[report.pk])).content == before
    assert "350,000 hits" in as_read(client.get(address))
    old = client.post(address, typed | {"key": "another"})
    assert old.status_code == 422 and "The records have changed since" in as_read(old)
    assert SignedReport.objects.count() == 1
    with pytest.raises(TypeError):
        report.delete()


def test_struck_out_once_with_who_and_why(as_role, die):
    said = condition_of(die).said
    report = owners.sign(person=make.person(), user=None, die=die, customer=die.owner, said=said)
    client, address = as_role("lead"), reverse("reports:signed_report_strike", args=[report.pk])
    assert client.post(address, {"person": make.person().pk, "reason": " "}).status_code == 422
    assert client.post(address, {"person": make.person().pk, "reason": "another tool"}).status_code == 302
    text = as_read(client.get(reverse("reports:signed_report", args=[report.pk])))
    assert "by Ina T. on" in text and "another tool. No customer is shown it." in text
    assert client.get(address).status_code == 302 and client.post(
        address, {"person": make.person().pk, "reason": "again"}
    ).status_code == 422  # fmt: skip


def test_the_same_report_gives_the_same_paper(die):
    said = condition_of(die).said
    one, two = paper.pdf(said), paper.pdf(owners.read(said.model_dump(mode="json")))
    assert one == two and one.startswith(b"%PDF-") and b"ModDate" in one


@pytest.mark.words
def test_a_tool_of_which_little_is_known(as_role):
    bare = make.die("H-950", build_price=Decimal(9_000))
    make.position(bare, "1-A")
    client = as_role("sales")
    text = as_read(client.get(reverse(ADDRESS, args=[bare.pk])))
    for words in (
        "Its condition is not known.", "Nothing has run on it by the log.", "the shop pays for it.",
        "How many parts are left in the steel is not known", "No spare is named for 1-A",
        "Nothing has to be decided now.",
    ):  # fmt: skip
        assert words in text
    assert client.get(reverse("reports:condition_pdf", args=[bare.pk])).status_code == 200
    assert not re.search(r"9,000|9000", text)


def test_for_whom_it_is(die):
    own = make.die("H-951")
    assert condition_of(own).for_whom is None
    part = own.variants.first().outputs.first().part
    part.customer = die.owner
    part.save()
    now = condition_of(own)
    assert now.for_whom == die.owner and not now.said.owns
    assert now.said.who_pays.startswith("The tool is the shop's own. Dovecott Seating pays the bills that name it")


def test_what_is_no_report_is_refused():
    for wrong in ({}, [], None, {"die": "H"}, "text"):
        with pytest.raises(write.EntryRefused, match="no condition report"):
            owners.read(wrong)
