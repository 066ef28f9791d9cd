"""A walk in Spanish over every page, as somebody who may open all: what is still English.

What is left is printed by `python -m pytest -s -n 0 tests/wording/test_in_spanish.py`, page by page.
"""

from __future__ import annotations

from collections import defaultdict

import pytest
from django.test import Client

from diestore.access import roles
from diestore.access.models import UserSettings
from tests import factories as make
from tests.security.addresses import TABLE, address, shop

from .english import left_in, typed_by_the_shop

pytestmark = pytest.mark.django_db
LEFT_AT_MOST = 1_022  # texts with English in them, over all pages: this may only fall
WALKED_ALONE = {"diestore:sign_out", "diestore:who"}  # whoever goes there is somebody else afterwards


@pytest.fixture(scope="module")
def numbers(of_the_module):
    with make.no_forecasts():
        return shop()


@pytest.fixture
def client() -> Client:
    user = make.user(roles.LEAD, "lee en español")
    user.is_superuser = True
    user.save()
    UserSettings.objects.create(user=user, language="es-mx")
    made = Client()
    made.force_login(user)
    return made


@pytest.mark.no_database
def test_english_is_seen_and_spanish_and_what_the_shop_typed_are_not():
    page = (
        '<html lang="es-mx"><p title="Of the press">Faltan 12 golpes</p><script>the end</script><p>All dies'
        ' <b>Troqueles</b></p><code>of it</code><p lang="en">of then</p><p>El troquel K-1 for the strip</p></html>'
    )
    assert list(left_in(page)) == ["Of the press", "All dies", "El troquel K-1 for the strip"]
    assert list(left_in(page, ["K-1 for the strip"])) == ["Of the press", "All dies"]


def test_pages_in_spanish(numbers, client):
    typed, left, shared = typed_by_the_shop(), {}, defaultdict(int)
    for name, row in TABLE.items():
        if name in WALKED_ALONE or name.startswith("admin:") or row.by_token or not row.get:
            continue
        answer = client.get(address(name, numbers), headers={"Accept-Language": "es-MX"})
        if answer.status_code == 200 and answer.get("Content-Type", "").startswith("text/html"):
            left[name] = list(left_in(answer.content.decode(), typed))
            for text in left[name]:
                shared[text] += 1
    print()
    for text in sorted(shared, key=shared.get, reverse=True):
        if shared[text] > 9:
            print(f"on {shared[text]} pages: {text[:150]}")
    for name, texts in left.items():
        own = [text for text in texts if shared[text] <= 9]
        if own:
            print(f"{name}: {len(own)}")
            print("".join(f"    {text[:150]}\n" for text in own), end="")
    print(f"{len(left)} pages, {sum(1 for texts in left.values() if texts)} of them with English: {len(shared)} texts")
    assert len(left) > 150
    assert len(shared) <= LEFT_AT_MOST
