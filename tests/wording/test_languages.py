"""Texts in the language of whoever looks: gathered whole, compiled as written, and shown."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.test import Client
from django.utils import translation

from diestore import texts
from diestore.access.models import Shop, UserSettings
from fixtures import gather_texts
from maintenance.log import rules
from tests import factories
from tests.counters import shop as counters

APP_AND_LANGUAGE = [(app, language) for app in gather_texts.APPS for language in gather_texts.LANGUAGES]
_NAMES = re.compile(r"\{(\w*)[^}]*\}|%\((\w+)\)[sd]")


def test_a_text_without_the_site_is_itself():
    spoken, texts._spoken = texts._spoken, texts._English()
    try:
        assert texts.gettext("Save") == "Save" and texts.gettext_noop("Save") == "Save" and texts.gettext("") == ""
        assert [texts.ngettext("die", "dies", n) for n in (0, 1, 2)] == ["dies", "die", "dies"]
        assert [texts.counted(n, "die", "dies") for n in (0, 1, 2_000)] == ["no dies", "one die", "2,000 dies"]
    finally:
        texts._spoken = spoken


def test_marked_texts_are_seen_in_code_and_templates():
    code = '_("a b"); t.ngettext("one", "many", n); counted(n, "die", "dies"); pgettext("of time", "Due"); _(x)'
    assert [(t.one, t.plural, t.context) for t in gather_texts.of_code("a.py", code)] == [
        ("a b", "", ""), ("one", "many", ""), ("die", "dies", "counted"), ("Due", "", "of time")]  # fmt: skip
    page = (
        '{% load i18n %}{% translate "Today\'s" %}{% blocktranslate trimmed count n=x %}{{ n }} die\n runs'
        "{% plural %}{{ n }} dies (all)\n run{% endblocktranslate %}{{ _('Log') }}"
    )
    assert [(t.one, t.plural) for t in gather_texts.of_template("a.html", page)] == [
        ("Today's", ""), ("%(n)s die runs", "%(n)s dies (all) run"), ("Log", "")]  # fmt: skip


def test_texts_that_nothing_marks_are_seen():
    page = '<p title="A word">Bare {% if x %}and{% endif %} {% translate "fine" %} 12 mm</p>'
    assert [said for _, said in gather_texts.unmarked("a.html", page)] == ["A word", "Bare and 12 mm"]
    code = '"""Not this."""\nraise Wrong(f"{x} is wrong"); _("not this"); fine("two words"); fine("word")'
    assert sorted(said for _, said in gather_texts.unmarked("a.py", code)) == ["two words", "{} is wrong"]


@pytest.mark.parametrize(("app", "language"), APP_AND_LANGUAGE)
def test_catalogues_are_those_of_today(app, language):
    """After a change of a text: python -m fixtures.gather_texts, then translate what it says."""
    catalogue, file = gather_texts.gathered(app, language), gather_texts.catalogue_file(app, language)
    assert file.read_bytes() == gather_texts.as_po(catalogue)
    assert file.with_suffix(".mo").read_bytes() == gather_texts.as_mo(catalogue)


@pytest.mark.parametrize(("app", "language"), APP_AND_LANGUAGE)
def test_every_text_is_translated_with_all_that_it_names(app, language):
    waiting, wrong = [], []
    for message in gather_texts.read(gather_texts.catalogue_file(app, language), language):
        if not message.id:
            continue
        if not gather_texts.is_translated(message):
            waiting.append(message.id)
            continue
        asked = message.id if isinstance(message.id, tuple) else (message.id,)
        told = message.string if isinstance(message.string, tuple | list) else (message.string,)
        named = {name for one in asked for name in _names(one)}
        for one in told:
            if not set(_names(one)) <= named or (len(told) == 1 and sorted(_names(one)) != sorted(_names(asked[0]))):
                wrong.append((message.id, one))
    assert not waiting and not wrong


def _names(text: str) -> list[str]:
    return ["".join(pair) for pair in _NAMES.findall(text.replace("{{", "").replace("}}", ""))]


@pytest.mark.django_db
def test_one_reads_ones_own_language_else_the_shops():
    user = factories.user("lead")
    client = Client()
    client.force_login(user)
    assert 'lang="en"' in client.get("/settings/").text
    shop, _ = Shop.objects.get_or_create(pk=1, defaults={"name": "Quillfen Dies"})
    shop.language = "es-mx"
    shop.save()
    assert 'lang="es-mx"' in client.get("/settings/").text
    UserSettings.objects.update_or_create(user=user, defaults={"language": "en"})
    page = client.get("/settings/")
    assert 'lang="en"' in page.text and page.headers["Content-Language"] == "en"
    assert translation.get_language() == "en"


@pytest.mark.django_db
def test_before_signing_in_the_browser_says_it():
    factories.user("lead")
    assert 'lang="es-mx"' in Client(headers={"Accept-Language": "es-MX,es;q=0.9"}).get("/sign-in/").text
    assert 'lang="en"' in Client(headers={"Accept-Language": "fr"}).get("/sign-in/").text


@pytest.mark.django_db
def test_programs_are_answered_in_english_whatever_is_asked():
    """They read the words; a page of the same shop is in its own language."""
    Shop.objects.update_or_create(pk=1, defaults={"name": "Quillfen Dies", "language": "es-mx"})
    die = factories.die()
    token = counters.device(scopes=("runs",)).token
    wrong = {"id": "r1", "die": die.code, "started": "2025-01-06T08:00Z", "ended": "2025-01-06T07:00Z", "hits": 10}
    asked = {"Accept-Language": "es-MX,es;q=0.9"}
    answer = Client().post(
        "/api/v1/runs", wrong, content_type="application/json", headers=asked | {"Authorization": f"Bearer {token}"}
    )
    assert answer.status_code == 409 and answer.headers["Content-Language"] == "en"
    assert answer.json()["message"].startswith("The run ends 6 Jan 2025")
    with translation.override("es-mx"), pytest.raises(rules.EntryRefused, match="La corrida termina 6 Ene 2025"):
        rules.check_run_times(*(factories.START + dt.timedelta(hours=n) for n in (2, 1)))
    assert Client().get("/api/v1/nothing", headers=asked).json()["message"] == "There is nothing at this address."
