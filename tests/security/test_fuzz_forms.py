"""Whatever is sent to a form: an answer, never an error of ours, and nothing saved by half.

Some hundred forms in the suite; more than ten thousand with

    pytest tests/security/test_fuzz_forms.py --hypothesis-profile=search
"""

from __future__ import annotations

import datetime as dt
from html.parser import HTMLParser

import pytest
from django.apps import apps
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from diestore.register.models import Press
from maintenance.log import derived, write
from maintenance.models import Event, Fitting, Replacement, Work
from tests import factories as make
from tests.history.shop import scratch
from tests.pages.bench_browser import Filled, address
from tests.pages.money_shop import spare

from .addresses import TABLE, things
from .addresses import address as there
from .mangling import VALUES

pytestmark = pytest.mark.django_db
CASES = 1_000 if settings.get_current_profile_name() == "search" else 6
FUZZ = settings(
    max_examples=CASES,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
)
ANSWERS = (200, 302, 400, 403, 404, 409, 413, 422, 429)
REFUSED = ANSWERS[2:]
LOG_FORMS = (
    "log_run", "log_sharpening", "log_replacement", "log_stop", "log_reading", "log_correction", "log_mishap",
    "log_set_up",
)  # fmt: skip
OWN_TESTS = {*(f"maintenance:{name}" for name in LOG_FORMS), "maintenance:strike", "diestore:sign_out"}
OTHERS = [name for name, row in TABLE.items() if row.post and name not in OWN_TESTS]
TIMES = (
    "2025-06-02T06:00", "2025-06-02T06:00:59", "2025-01-06T06:00", "1950-01-01T00:00", "2100-12-31T23:59",
    "2026-02-30T00:00", "0001-01-01T00:00", "9999-12-31T23:59", "2025-03-30T02:30", "2025-10-26T02:30",
    "99999-01-01T00:00",
)  # fmt: skip
VALUE = st.one_of(
    st.sampled_from(VALUES),
    st.sampled_from(TIMES),
    st.integers(-3, 60).map(str),
    st.integers(-(10**20), 10**20).map(str),
    st.floats().map(str),
    st.text(max_size=30).map(lambda t: t.encode("utf-8", "replace").decode()),
    st.sampled_from(("0.2", "0.05 mm", "2 thou", "1,200", "12", "misfeed", "other", "new", "nothing", "dull", "yes")),
)


def counted() -> dict[str, int]:
    """Rows of every table of ours but the count of tries."""
    configs = [apps.get_app_config(name) for name in ("diestore", "maintenance")]
    models = [m for config in configs for m in config.get_models(include_auto_created=True)]
    return {m._meta.label: m._base_manager.count() for m in models if m.__name__ != "Tries"}


@pytest.fixture(scope="module")
def die(of_the_module):
    item = spare("PP-6.0-M2", on_hand=2)
    made = make.die(usual_press=Press.objects.create(plant=make.plant(), code="press 3"))
    make.position(made, "1-A", item=item)
    make.position(made, "3-A", kind="shape_punch", item=item)
    make.position(made, "3-D", kind="die_section", side="lower")
    make.position(made, "2-P", kind="pilot", length_mm=None)
    make.run(made, 100)
    make.order(made)
    return made


@pytest.fixture(scope="module")
def numbers(die) -> dict[str, int]:
    return things()


@pytest.fixture(scope="module")
def administrator(of_the_module):
    return make.user("administrator")


@pytest.fixture
def lead(client, administrator):
    client.force_login(administrator)
    return client


def sound(client, url: str, die=None) -> dict[str, str]:
    """What a browser would send of a bench form, filled in so that it would be saved."""
    answer = client.get(url)
    data = Filled(answer.content.decode()).data
    data.pop("csrfmiddlewaretoken", None)
    fields = answer.context["form"].fields
    now = timezone.localtime()
    likely = {
        "hits": "4,000", "cause": "burr", "minutes": "12", "quantity": "burr height", "value": "50", "why": "dull",
        "sort": "misfeed", "removed": "0.1", "sides": "upper", "reason": "a slip", "what": "without stock",
        "person": str(make.person().pk), "from_shelf": "no", "crushed_0": "1.3", "place_0": "left",
        "started": f"{now - dt.timedelta(hours=1):%Y-%m-%dT%H:%M}", "ended": f"{now:%Y-%m-%dT%H:%M}",
    }  # fmt: skip
    if die is not None:
        place = die.positions.get(code="1-A").pk
        likely |= {"position": str(place), f"found_{place}": "dull"}
    if "sides" in fields:
        del likely["why"]  # as found
    return data | {name: value for name, value in likely.items() if name in fields}


class Named(HTMLParser):
    """The names of all that a page would send."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.names: dict[str, str] = {}
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag in ("input", "select", "textarea", "button") and given.get("name"):
            self.names[given["name"]] = given.get("value") or ""


@st.composite
def changed(draw, data: dict[str, str]) -> dict[str, object]:
    """The form with a few fields changed, left out, sent twice, or added."""
    sent: dict[str, object] = dict(data)
    for _ in range(draw(st.integers(1, 5))):
        name = draw(st.sampled_from([*sorted(data), "damaged", "instead", "key", "confirm", "nothing known", ""]))
        what = draw(st.sampled_from(("value", "value", "value", "gone", "many")))
        if what == "gone":
            sent.pop(name, None)
        elif what == "many":
            sent[name] = draw(st.lists(VALUE, max_size=4))
        else:
            sent[name] = draw(VALUE)
    return sent


def check_whole() -> None:
    """What the log says and what is derived from it fit together: a set is whole, and fittings follow replacements."""
    for model in Event.__subclasses__():
        assert not model.objects.filter(key="").exists()
    for key in set(Work.objects.exclude(set_key="").values_list("set_key", flat=True)):
        rows = Work.objects.filter(set_key=key)
        assert len(set(rows.values_list("at", "person", "note"))) == 1
    before = sorted(Fitting.objects.values_list("position", "piece", "since", "until"), key=str)
    for position in {row.position for row in Replacement.objects.all()}:
        derived.rebuild_fittings(position)
    assert sorted(Fitting.objects.values_list("position", "piece", "since", "until"), key=str) == before


@pytest.mark.parametrize("name", LOG_FORMS)
@given(data=st.data())
@FUZZ
def test_a_log_form_saves_a_whole_entry_or_nothing(lead, die, name, data):
    lead.raise_request_exception = False
    url = address(name, die)
    with scratch():
        sent = data.draw(changed(sound(lead, url, die)))
        before = counted()
        answer = lead.post(url, sent)
        event(str(answer.status_code))
        assert answer.status_code in ANSWERS
        if answer.status_code != 302:
            assert counted() == before
            assert "Traceback" not in answer.content.decode()
        else:
            assert sum(counted().values()) > sum(before.values())
            check_whole()


@pytest.mark.parametrize("name", LOG_FORMS)
def test_the_form_that_is_changed_would_be_saved_as_it_is(lead, die, name):
    """Else every change would be refused for the same reason, and nothing behind it would be tried."""
    url = address(name, die)
    data = sound(lead, url, die)
    answer = lead.post(url, data)
    if answer.status_code == 422:  # doubted, and confirmed
        assert answer.context["form"].doubt, answer.context["form"].errors
        answer = lead.post(url, data | {"confirm": answer.context["form"].doubt_mark})
    assert answer.status_code == 302


@given(data=st.data())
@FUZZ
def test_striking_out_strikes_whole_or_nothing(lead, die, data):
    lead.raise_request_exception = False
    with scratch():
        works = make.sharpen(die, 110, *(die.positions.filter(code__in=("1-A", "3-A"))), removed_mm=0.1)
        url = reverse("maintenance:strike", args=["work", works[0].pk])
        answer = lead.post(url, data.draw(changed(sound(lead, url))))
        assert answer.status_code in ANSWERS
        struck = Work.objects.filter(struck_at__isnull=False).count()
        assert struck == (2 if answer.status_code == 302 else 0)


@pytest.mark.parametrize("name", OTHERS)
@given(data=st.data())
@FUZZ
def test_every_other_form_answers(lead, numbers, name, data):
    """Also those that come later: what a page would send is read off the page."""
    lead.raise_request_exception = False
    with scratch():
        url = there(name, numbers)
        client = Client(raise_request_exception=False) if TABLE[name].signed_out else lead
        page = client.get(url)
        plain = Named(page.content.decode()).names if page.status_code == 200 else {}
        plain.pop("csrfmiddlewaretoken", None)
        if data.draw(st.booleans()):  # one of several buttons
            for button in ("remove", "pin", "nobody", "again"):
                plain.pop(button, None)
        answer = client.post(url, data.draw(changed(plain | {"next": "/"})))
        event(str(answer.status_code))
        assert answer.status_code in ANSWERS and "Traceback" not in answer.content.decode()


QUERIES = ("die", "position", "instead", "chipped", "q")


@pytest.mark.parametrize("name", LOG_FORMS)
@given(asked=st.dictionaries(st.sampled_from(QUERIES), VALUE, max_size=4))
@settings(FUZZ, max_examples=max(5, CASES // 3))
def test_no_address_of_a_form_breaks_it(lead, die, name, asked):
    lead.raise_request_exception = False
    with scratch():
        run = make.run(die, 120)
        write.strike_out(by=make.actor(), entry=run, reason="twice")
        for more in ({}, {"instead": f"run-{run.pk}"}):
            answer = lead.get(address(name), {"die": die.pk} | asked | more)
            assert answer.status_code in (200, 302, 400, 404), answer.status_code
