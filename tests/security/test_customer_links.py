"""A customer's link: off unless made, over or withdrawn it opens nothing, and it never opens anything else."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from diestore.access import throttle
from diestore.access.models import Tries
from diestore.register.models import Party
from diestore.service.log_lines import without_secrets
from maintenance.log import owners
from maintenance.models import CustomerLink, LinkOpening
from tests import factories as make

from .addresses import signed_report

pytestmark = pytest.mark.django_db
SENTENCE = "This address opens nothing. It was withdrawn, its time is over, or it was never given out."


@pytest.fixture
def customer():
    return Party.objects.create(code="DOVECOTT", name="Dovecott Seating", role="customer")


@pytest.fixture
def report(customer):
    return signed_report(make.die("H-900", owner=customer), customer)


@pytest.fixture
def made(customer, report):
    return owners.make_link(
        person=make.person(), user=None, customer=customer, plant=report.die.plant, last_day=timezone.localdate()
    )


def opened(token: str, *more, name: str = "tools") -> object:
    return Client().get(reverse(f"reports:{name}", args=[token, *more]))


def test_it_shows_his_signed_reports_and_keeps_no_session(made, report):
    for answer in (
        opened(made.token), opened(made.token, report.pk, name="tools_report"),
        opened(made.token, report.pk, name="tools_report_pdf"),
    ):  # fmt: skip
        assert answer.status_code == 200 and not answer.cookies
        assert answer["X-Robots-Tag"].startswith("noindex") and answer["Referrer-Policy"] == "no-referrer"
        assert "no-store" in answer["Cache-Control"] and answer["Content-Security-Policy"]
    assert list(LinkOpening.objects.values_list("report", "is_paper").order_by("pk")) == [
        (None, False), (report.pk, False), (report.pk, True),
    ]  # fmt: skip


def test_every_address_that_it_shows_is_its_own_or_a_file_of_the_look(made, report):
    text = opened(made.token).content.decode() + opened(made.token, report.pk, name="tools_report").content.decode()
    found = set(re.findall(r'(?:href|src|action)="([^"#]+)"', text))
    assert len(found) > 3
    assert {one for one in found if not one.startswith((f"/tools/{made.token}/", "/static/"))} == set()
    client = Client()
    client.get(reverse("reports:tools", args=[made.token]))  # having opened it lets nobody in anywhere
    inside = (("reports:cost", ()), ("reports:signed_report", (report.pk,)), ("diestore:die", (report.die_id,)))
    for name, args in inside:
        assert client.get(reverse(name, args=args)).status_code == 302


def test_nothing_but_what_is_signed_for_him_and_his(made, customer, report):
    other = Party.objects.create(code="OTHER", role="customer")
    theirs = signed_report(make.die("H-901", owner=other), other)
    sold = signed_report(make.die("H-902", owner=other), customer)  # his then, another's now
    unaddressed = signed_report(make.die("H-903", owner=customer))
    struck = signed_report(make.die("H-904", owner=customer), customer)
    owners.strike_report(person=make.person(), report=struck, reason="another tool")
    far = signed_report(make.die("H-905", owner=customer), customer)
    far.die.plant = make.plant("far")
    far.die.save()
    text = opened(made.token).content.decode()
    assert "H-900" in text and not re.search("H-90[1-5]", text)
    for row in (theirs, sold, unaddressed, struck, far):
        for name in ("tools_report", "tools_report_pdf"):
            answer = opened(made.token, row.pk, name=name)
            assert answer.status_code == 404 and SENTENCE in answer.content.decode()
    newer = signed_report(report.die, customer)
    assert opened(made.token, newer.pk, name="tools_report").status_code == 200
    assert opened(made.token, report.pk, name="tools_report").status_code == 404


def test_over_withdrawn_and_made_up_are_answered_alike(made, report):
    good = opened(made.token).status_code
    CustomerLink.objects.update(last_day=timezone.localdate() - dt.timedelta(days=1))
    over = opened(made.token)
    CustomerLink.objects.update(last_day=timezone.localdate())
    owners.withdraw(person=None, link=made.link)
    withdrawn = opened(made.token)
    made_up = [opened(token) for token in ("x", made.token[:-1], made.token.split(".")[0], "é.ü", "a" * 3_000)]
    assert good == 200 and {answer.status_code for answer in (over, withdrawn, *made_up)} == {404}
    assert len({answer.content for answer in (over, withdrawn, *made_up)}) == 1
    assert SENTENCE in over.content.decode() and over["Referrer-Policy"] == "no-referrer"
    assert LinkOpening.objects.count() == 1


def test_the_token_is_kept_nowhere_in_the_clear(made, caplog):
    secret, sign = made.token.split(".")
    for row in CustomerLink.objects.values():
        assert not any(secret in str(value) or sign in str(value) for value in row.values())
    assert len(secret) >= 43  # 256 bits
    with caplog.at_level("INFO"):
        opened(made.token)
        opened(made.token + "x")
    lines = [without_secrets(record.getMessage()) for record in caplog.records]
    assert any("/tools/(hidden)" in line for line in lines) and not any(secret in line for line in lines)
    assert not any(secret in str(getattr(record, "figures", "")) for record in caplog.records)


def test_who_guesses_and_who_fetches_without_end_waits(made):
    for _ in range(throttle.LINK.free):
        last = opened("guess")
    assert last.status_code == 404
    held = opened("guess")
    assert held.status_code == 429 and int(held["Retry-After"]) > 0 and "Wait" in held.content.decode()
    Tries.objects.all().delete()
    key = throttle.key_of(throttle.LINK_OPENED, str(made.link.pk))
    often = throttle.LINK_OPENED.free
    Tries.objects.create(door=throttle.LINK_OPENED.name, who=key, count=often, last=timezone.now())
    assert [opened(made.token).status_code for _ in range(2)] == [200, 429]
    assert LinkOpening.objects.count() == 1


@pytest.mark.parametrize(
    ("days", "said"), [(-1, "has passed"), (owners.DAYS_AT_MOST + 1, "at most"), (None, "Say until")]
)
def test_until_when_it_opens_is_asked_for(as_role, customer, days, said):
    day = "" if days is None else (timezone.localdate() + dt.timedelta(days=days)).isoformat()
    make.plant()
    answer = as_role("sales").post(
        reverse("reports:customer", args=[customer.pk]), {"last_day": day, "person": make.person().pk}
    )
    assert answer.status_code == 422 and said in answer.content.decode() and not CustomerLink.objects.exists()


def test_made_shown_once_withdrawn(as_role, customer, report):
    client, page = as_role("lead"), reverse("reports:customer", args=[customer.pk])
    assert "None was made." in client.get(page).content.decode()
    answer = client.post(page, {"last_day": timezone.localdate().isoformat(), "person": make.person().pk})
    token = re.search(r"/tools/([^/<]+)/", answer.content.decode())[1]
    assert answer.status_code == 200 and answer["Cache-Control"] == "no-store"
    assert opened(token).status_code == 200
    text = client.get(page).content.decode()
    assert token not in text and "1 time" in text
    link = CustomerLink.objects.get()
    away = reverse("reports:link_withdraw", args=[link.pk])
    assert as_role("setter").post(away).status_code == 403
    client = as_role("sales")
    assert client.get(away).status_code == 405
    assert client.post(away).status_code == 302
    assert opened(token).status_code == 404 and "withdrawn" in client.get(page).content.decode()
