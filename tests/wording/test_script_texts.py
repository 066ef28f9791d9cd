"""What the scripts say stands in one list, and goes with a page that is not English."""

from __future__ import annotations

import json
import re

import pytest
from django.conf import settings
from django.test import Client
from django.utils import translation

from diestore.frame import script_texts
from tests import factories

SCRIPTS = sorted(settings.BASE_DIR.glob("*/static/**/*.js"))
_CALL = re.compile(r'say\(((?:[^()"`]|"[^"]*")*)')
# Told by a name: why an entry waits, and what was found on an edge.
_BY_NAME = {
    "its writer has to sign in again on this tablet", "sign in again", "its form cannot be reached ({status})",
    "the service answers {status}", "sharp", "dull", "chipped", "broken", "galled", "not looked",
}  # fmt: skip


def test_every_sentence_of_the_scripts_is_in_the_list_and_no_other():
    assert len(SCRIPTS) > 5
    said = {
        text
        for script in SCRIPTS
        for call in _CALL.findall("\n".join(x for x in script.read_text().splitlines() if not x.startswith("//")))
        for text in re.findall(r'"([^"]*)"', call)
    }
    assert said | _BY_NAME == set(script_texts.TEXTS)


def test_the_names_in_a_sentence_are_those_of_its_translation():
    with translation.override("es-mx"):
        told = json.loads(script_texts.for_page())
    for text, spanish in told.items():
        assert sorted(re.findall(r"\{\w+\}", text)) == sorted(re.findall(r"\{\w+\}", spanish)) and spanish != text


@pytest.mark.django_db
def test_a_page_brings_them_where_it_is_not_english():
    factories.user("lead")
    assert "data-texts" not in Client(headers={"Accept-Language": "en"}).get("/sign-in/").text
    page = Client(headers={"Accept-Language": "es-MX"}).get("/sign-in/").text
    assert 'data-texts="{&quot;Found&quot;: &quot;Encontrado&quot;' in page
