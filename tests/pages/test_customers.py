"""The page of a customer: his tools with the figures of their own pages, and no more questions for more tools."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from diestore.register.models import Party
from maintenance.forecasts import store
from reports.cost import sheets
from reports.format import three_figures
from reports.owners.customers import tools_of
from tests import factories as make
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db


@pytest.fixture
def customer():
    """He owns one tool, and another of the shop makes his part; a third is nobody's."""
    shop.rates()
    made = Party.objects.create(code="DOVECOTT", name="Dovecott Seating", role="customer")
    own, makes, _ = (shop.worked_die(code, shop.spare("PP-6.0-M2"), cycles=3) for code in ("H-900", "H-901", "H-902"))
    own.owner = made
    own.save()
    part = makes.variants.first().outputs.first().part
    part.customer = made
    part.save()
    make.order(own, "26-0007", parts=9_000)
    store.fit_and_forecast(make.plant())
    return made


def test_his_tools_with_the_figures_of_their_pages(as_role, customer):
    client = as_role("sales")
    answer = client.get(reverse("reports:customer", args=[customer.pk]))
    text = as_read(answer)
    assert "H-900" in text and "H-901" in text and "H-902" not in text and "26-0007" in text
    for tool in answer.context["tools"]:
        assert tool.per_thousand == three_figures(sheets.cost_per_thousand(tool.die).per_thousand)
    links = set(re.findall(r'href="(/[^"#]*)', answer.content.decode()))
    assert len(links) > 15 and {client.get(link).status_code for link in links} == {200}
    listed = as_read(client.get(reverse("reports:customer_list")))
    assert "Dovecott Seating" in listed and client.get(reverse("reports:customer", args=[10**30])).status_code == 404


def test_no_more_questions_for_more_tools(customer):
    def asks(dies) -> int:
        with CaptureQueriesContext(connection) as seen:
            assert len(tools_of(dies, customer)) == len(dies)
        return len(seen)

    dies = list(type(customer.dies_owned.get()).objects.select_related("plant", "owner").order_by("code"))
    assert len(dies) == 3 and asks(dies) == asks(dies[:1])


def test_the_strip_says_where_one_is(as_role, customer):
    client = as_role("sales")
    for address in (reverse("reports:customer_list"), reverse("reports:customer", args=[customer.pk])):
        assert f'href="{reverse("reports:cost")}" aria-current' in client.get(address).content.decode()
    bills = as_role("buyer").get(reverse("maintenance:bills")).content.decode()
    assert f'href="{reverse("reports:spares")}" aria-current' in bills
