"""Bills as a buyer enters them: lines on a form, the paper, found again, struck out; and the cost page that follows."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from diestore.register.models import Party, Plant
from maintenance.log import purchases
from maintenance.models import BenchWork, Bill, CostLine
from reports.cost.ledger import ledger_of
from reports.cost.periods import elements_of
from reports.costing.ledger import Payer
from tests import factories as make
from tests.history.pictured import drawn
from tests.log.test_bills import PDF, enter, grinder, line
from tests.pages import money_shop as shop

from .as_read import as_read
from .bench_browser import sent

pytestmark = pytest.mark.django_db
LIST, NEW = "/bills/", "/bills/new/"


@pytest.fixture
def die():
    return shop.worked_die("H-900", cycles=1)


def filled(client, die, **change) -> dict:
    told = {
        "supplier": grinder().pk, "number": "R-77", "on": "2025-03-04", "total": "660.50", "for-0": die.code,
        "kind-0": "sharpening", "words-0": "set of 3", "amount-0": "540.50", "for-1": "", "kind-1": "other",
        "words-1": "freight", "amount-1": "120",
    }  # fmt: skip
    return sent(client.get(NEW), **told | change)


def file(data: bytes, name: str = "bill.html") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, content_type="text/html")


def test_entered_found_looked_at_and_struck_out(as_role, die):
    client = as_role("buyer")
    make.person()
    form = filled(client, die, paper=file(PDF))
    answer = client.post(NEW, form, follow=True)
    bill = Bill.objects.get()
    words = as_read(answer)
    assert "Bill R-77 of Orrell Grinding is entered." in words and "660.50 EUR" in words and "in no die's cost" in words
    again = client.post(NEW, form | {"paper": file(PDF)}, follow=True)
    assert "It counts once" in as_read(again) and Bill.objects.count() == 1 and CostLine.objects.count() == 2
    paper = client.get(reverse("maintenance:bill_paper", args=[bill.pk]))
    assert paper.content == PDF and paper["Content-Type"] == "application/pdf"
    assert paper["X-Content-Type-Options"] == "nosniff"
    assert paper["Content-Disposition"] == 'attachment; filename="bill-R-77.pdf"'
    for text, n in (("orrell", 1), ("R-77", 1), ("h-900", 1), ("H-901", 0)):
        assert (">R-77</a>" in client.get(LIST, {"q": text}).content.decode()) == bool(n), text
    strike = reverse("maintenance:bill_strike", args=[bill.pk])
    assert client.post(strike, sent(client.get(strike), reason="")).status_code == 422
    client.post(strike, sent(client.get(strike), reason="of another shop", person=make.person().pk))
    bill.refresh_from_db()
    assert bill.struck_reason == "of another shop" and not CostLine.objects.standing().exists()
    assert "Struck out" in as_read(client.get(f"{LIST}{bill.pk}/"))
    assert client.get(strike).status_code == 302


def test_a_sum_on_the_cost_page_leads_to_its_bills(as_role, die):
    enter(line("540.50", die=die), line("60", "repair", die=die))
    CostLine.objects.create(die=die, kind="sharpening", amount=Decimal("9.5"), at=make.moment(9))
    client = as_role("lead")
    there = f"/bills/?die={die.pk}&amp;kind=sharpening"
    assert there in client.get(reverse("reports:cost_die", args=[die.pk])).content.decode()
    words = as_read(client.get(there.replace("&amp;", "&")))
    assert "Together 550.00 EUR" in words and "without a bill" in words and "60.00" not in words
    assert "Together 610.00 EUR" in as_read(client.get(f"/bills/?die={die.pk}&kind=nothing"))
    assert client.get("/bills/?die=9999999999999999999999").status_code == 404


def test_who_pays_a_line(as_role, die):
    """The die's owner where nobody is picked, the shop where there is none or it is picked, else who is picked."""
    client = as_role("buyer")
    die.owner = Party.objects.create(code="DOVECOTT", name="Dovecott Seating", role="customer")
    die.save()
    other = Party.objects.create(code="MARLOW", name="Marlow Hinges", role="customer")
    more = {"for-1": die.code, "payer-1": "shop", "for-2": die.code, "kind-2": "other", "amount-2": "10",
            "payer-2": str(other.pk), "kind-3": "other", "amount-3": "1", "total": "671.50"}  # fmt: skip
    words = as_read(client.post(NEW, filled(client, die, **more), follow=True))
    lines = CostLine.objects.order_by("sequence")
    assert [line.payer and line.payer.code for line in lines] == ["DOVECOTT", None, "MARLOW", None]
    assert "Marlow Hinges" in words and "the shop" in words
    sharpening = next(e for e in elements_of(ledger_of(die).ledger) if e.key == "sharpening")
    assert sharpening.payers[Payer.OWNER] == Decimal("540.50")
    refused = client.post(NEW, filled(client, die, number="R-78", **{"payer-0": str(grinder().pk)}))
    assert refused.status_code == 422 and "Pick who pays from the list." in as_read(refused)


WRONG = {
    "1e12": ({"total": "1000000000000"}, "10,000,000 is the most"),
    "more": ({"total": "9e30"}, "more money than there is"),
    "negative": ({"amount-0": "-5"}, "tick credit note"),
    "sum": ({"total": "700"}, "39.50 are missing"),
    "currency": ({"currency": "usd"}, "what one USD is worth in EUR"),
    "worth": ({"currency": "USD", "worth_of_one": "a lot"}, "up to six decimals"),
    "no such die": ({"for-0": "H-999"}, "There is no die, order or work"),
    "no amount": ({"amount-1": ""}, "Type the amount"),
    "no kind": ({"kind-1": ""}, "Pick what kind of cost"),
    "no supplier": ({"supplier": ""}, "Pick the supplier"),
    "day": ({"on": "2100-01-01"}, "still to come"),
    "file": ({"paper": file(b"<html>")}, "no photo and no PDF"),
}


def test_what_cannot_be_is_said_and_what_was_typed_stays(as_role, die):
    client = as_role("buyer")
    form = filled(client, die)
    for name, (change, words) in WRONG.items():
        answer = client.post(NEW, form | change)
        assert answer.status_code == 422 and words in as_read(answer), (name, as_read(answer)[-900:])
        assert 'value="set of 3"' in answer.content.decode() and not Bill.objects.exists(), name
    assert "Pick the photo or PDF again" in as_read(client.post(NEW, form | {"total": "1", "paper": file(PDF)}))
    big = SimpleUploadedFile("b.jpg", b"0" * 15_000_001)
    assert "15 MB is the most" in as_read(client.post(NEW, form | {"paper": big}))


def test_the_same_number_again_is_asked_about(as_role, die):
    enter(line("5"), number="r-77")
    client = as_role("buyer")
    form = filled(client, die)
    assert "other_bill" not in form and 'name="other_bill"' not in client.get(NEW).content.decode()
    asked = client.post(NEW, form)
    assert asked.status_code == 422 and "is entered already" in as_read(asked) and Bill.objects.count() == 1
    client.post(NEW, sent(asked, other_bill="on"))
    assert Bill.objects.count() == 2


def test_more_lines_without_a_script_and_a_photo(as_role, die):
    client = as_role("lead")
    form = filled(client, die)
    more = client.post(NEW, form | {"more": "1"})
    assert more.status_code == 200 and not Bill.objects.exists() and 'name="amount-7"' in more.content.decode()
    work = BenchWork.objects.create(die=die, what="a spring")
    told = {"for-7": f"work {work.pk}", "kind-7": "repair", "amount-7": "10", "total": "670.50"}
    client.post(NEW, sent(more, paper=file(drawn("teal")), **told))
    bill = Bill.objects.get()
    assert bill.lines.get(kind="repair").bench_work == work
    photo = client.get(reverse("maintenance:bill_paper", args=[bill.pk]))
    assert photo["Content-Type"] == "image/jpeg" and photo["Content-Disposition"].startswith("attachment")
    assert f"work {work.pk}" in as_read(client.get(f"{LIST}{bill.pk}/"))
    prefilled = client.get(f"{NEW}?for=work+{work.pk}&supplier={grinder().pk}").content.decode()
    assert f'value="work {work.pk}"' in prefilled and f'value="{grinder().pk}" selected' in prefilled


def test_who_may(as_role, client, die):
    bill = enter(line("5", die=die))
    for role, sees, enters in (("sales", 200, 403), ("toolmaker", 403, 403), ("buyer", 200, 200), ("lead", 200, 200)):
        client = as_role(role)
        assert client.get(LIST).status_code == client.get(f"{LIST}{bill.pk}/").status_code == sees, role
        assert client.get(NEW).status_code == client.get(f"{LIST}{bill.pk}/strike/").status_code == enters, role
        assert client.get(f"{LIST}{bill.pk}/paper/").status_code == (404 if sees == 200 else 403)


def test_questions_do_not_grow_with_the_bills(as_role, die, django_assert_max_num_queries):
    for n in range(12):
        enter(line("5", die=die), line("6"), number=f"R-{n}")
    client = as_role("lead")
    for url in (LIST, f"{LIST}{Bill.objects.latest('pk').pk}/", NEW, f"{LIST}?die={die.pk}"):
        client.get(url)
        with django_assert_max_num_queries(15):
            client.get(url)


def test_another_plant_sees_none(as_role, die):
    enter(line("5"), number="elsewhere", plant=Plant.objects.create(code="second"))
    client = as_role("lead")
    assert "elsewhere" not in as_read(client.get(LIST))


def test_a_bill_of_an_order_is_offered_its_spares_and_compared(as_role):
    client, item = as_role("buyer"), shop.spare("PP-6.0-M2")
    wanted = [purchases.Wanted(item=item, quantity=4), purchases.Wanted(item=shop.spare("BP-1"), quantity=1)]
    (order,) = purchases.draft(by=make.actor(), plant=make.plant(), wanted=wanted, currency="EUR").orders
    order = purchases.place(by=make.actor(), order=order)
    there = f"{NEW}?supplier={order.supplier_id}&for={order.number}"
    page = client.get(there)
    assert "242.50 EUR are agreed for the spares; nothing of them is billed yet." in as_read(page)
    assert sent(page)["words-0"] == "4 × PP-6.0-M2" and sent(page)["words-1"] == "1 × BP-1"
    typed = sent(page, number="R-9", on="2025-03-04", total="200", **{"amount-0": "200"})
    answer = client.post(NEW, typed, follow=True)
    words = as_read(answer)
    assert "is entered" in words and "200.00 are billed: 42.50 less, or still to be billed." in words
    assert "4 × PP-6.0-M2: 200.00 EUR are billed, 194.00 were agreed: 6.00 too much." in words
    assert "billed more" in words and CostLine.objects.count() == 1
    again = as_read(client.get(there))
    assert "200.00 are billed: 42.50 less" in again
    assert "42.50 less" in as_read(client.get(reverse("maintenance:purchase", args=[order.pk])))
    die = shop.worked_die("H-901", item, cycles=1)
    typed = sent(page, number="R-10", on="2025-03-04", total="50", key="other", **{"for-0": die.code, "amount-0": "50"})
    answer = client.post(NEW, typed)
    assert answer.status_code == 422 and "would count them twice" in as_read(answer)
    assert 'name="not_ordered"' in answer.content.decode()
