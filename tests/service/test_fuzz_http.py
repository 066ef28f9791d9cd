"""Whatever bytes are sent to the running service: an answer, never an error of ours, and nothing saved by half.

A hundred requests in the suite; `FUZZ_REQUESTS=10000 pytest tests/service/test_fuzz_http.py` sends more. What no
test client can send is here: halves of characters, lone surrogates, bodies that are no form.
"""

from __future__ import annotations

import contextlib
import http.client
import os
import random
import re
from collections import Counter
from html.parser import HTMLParser
from urllib.parse import quote_from_bytes, quote_plus

import pytest

from tests.security.mangling import VALUES
from tests.service.running import NETWORK, TOKEN, Web

REQUESTS = int(os.environ.get("FUZZ_REQUESTS", "120"))
SEED = int(os.environ.get("FUZZ_SEED", "1"))

SHOP = """
from importlib import import_module
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from tests import factories
from tests.security.addresses import TABLE, address, shop
numbers = shop()
user = factories.user("administrator")
session = import_module(settings.SESSION_ENGINE).SessionStore()
session[SESSION_KEY] = str(user.pk)
session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[-1]
session[HASH_SESSION_KEY] = user.get_session_auth_hash()
session.save()
not_sent = ("diestore:sign_out", "diestore:password", "diestore:sign_in")
told = {
    "session": session.session_key,
    "seen": [address(name, numbers) for name, row in TABLE.items() if row.get and not row.by_token],
    "sent": [address(name, numbers) for name, row in TABLE.items() if row.post and name not in not_sent],
    "called": [address(name, numbers) for name, row in TABLE.items() if row.by_token],
}
"""
WHOLE = """
from tests.security.test_fuzz_forms import check_whole
from maintenance.forecasts import store
from diestore.models import Plant
check_whole()
for plant in Plant.objects.all():
    store.fit_and_forecast(plant)  # nothing that came in breaks the night
"""
# As bytes: half a character, a lone surrogate, an overlong nought, marks that turn the writing, a letter of two parts.
BYTES = (
    b"\xc3", b"\xed\xa0\x80", b"\xed\xb0\x80", b"\xc0\x80", b"\xff\xfe", b"\x00", b"\xe2\x80\xae", b"e\xcc\x81" * 40,
    b"\xf0\x9f\x94\xa9", b"\r\nX: y", b"%00", b"%ed%a0%80", b"%zz", b"%", b"+" * 300, b"&=&=", b"\xef\xbb\xbf",
)  # fmt: skip
TIMES = (
    "0001-01-01T00:00", "9999-12-31T23:59", "2025-03-30T02:30", "2025-10-26T02:30", "2026-02-29T10:00",
    "10000-01-01T00:00", "2025-06-02T06:00", "2025-06-02T06:00:60", "-0001-01-01T00:00",
)  # fmt: skip
NOT_OF_THE_LOG = (
    "session", "tries", "sentform", "host", "taskworker", "django_", "auth_", "sqlite_", "historical",
    "linkopening",  # that a customer looked is kept, and a look is a GET
)  # fmt: skip


class Form(HTMLParser):
    """What a page's fields would send, and every address that it leads to."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.sent: dict[str, str] = {}
        self._select = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        if tag == "select":
            self._select = given.get("name") or ""
        elif tag == "option" and self._select and given.get("value"):
            self.sent.setdefault(self._select, given["value"])
        elif tag in ("input", "textarea", "button") and given.get("name"):
            self.sent.setdefault(given["name"], given.get("value") or "")


class Fuzz:
    def __init__(self, web: Web, shop: dict, seed: int) -> None:
        self.web, self.shop, self.draw = web, shop, random.Random(seed)
        self.answers: Counter[int] = Counter()
        self.taken = 0  # requests that may have saved something

    def word(self) -> bytes:
        draw = self.draw
        if draw.random() < 0.3:
            return draw.choice(BYTES)
        return draw.choice(
            (*VALUES, *TIMES, str(draw.randint(-(2**64), 2**64)), str(draw.uniform(-1e9, 1e9)))
        ).encode()[:9_000]

    def target(self, address: str) -> str:
        """An address, now and then with a part or its query mangled."""
        draw = self.draw
        if draw.random() < 0.3:
            address = re.sub(r"\d+", lambda found: quote_from_bytes(self.word()[:300]), address, count=1)
        if draw.random() < 0.4:
            name = draw.choice(
                ("die", "q", "page", "sort", "order", "position", "instead", "next", "part", "parts", "gap", "x")
            )
            address += ("&" if "?" in address else "?") + f"{name}={quote_from_bytes(self.word()[:2_000])}"
        return address[:7_000]

    def body(self, page: str) -> bytes:
        """What the page's form would send, with a few fields changed, gone, doubled or put in, as raw bytes."""
        draw = self.draw
        fields = [(k, v.encode()) for k, v in Form(page).sent.items() if k != "csrfmiddlewaretoken"]
        for _ in range(draw.randint(1, 4)):
            if not fields or draw.random() < 0.1:
                fields.append((draw.choice(("die", "key", "confirm", "next", "x")), self.word()))
                continue
            place = draw.randrange(len(fields))
            what = draw.random()
            if what < 0.15:
                del fields[place]
            elif what < 0.3:
                fields.append((fields[place][0], self.word()))
            else:
                fields[place] = (fields[place][0], self.word())
        fields.append(("csrfmiddlewaretoken", TOKEN.encode()))
        draw.shuffle(fields)
        # Some bytes as they are, some in percent, as a broken client would.
        told = [
            quote_plus(name).encode() + b"=" + (value if draw.random() < 0.1 else quote_from_bytes(value).encode())
            for name, value in fields
        ]
        return b"&".join(told)

    def one(self) -> None:
        draw, shop = self.draw, self.shop
        what = draw.random()
        if what < 0.35:
            self.ask("GET", self.target(draw.choice(shop["seen"])))
        elif what < 0.85:
            url = draw.choice(shop["sent"])
            status, page = self.ask("GET", url)
            self.ask("POST", self.target(url) if draw.random() < 0.2 else url, self.body(page if status == 200 else ""))
        elif what < 0.95:
            body = b'{"id":"a","press":"P1","total":' + self.word()[:200] + b',"at":"' + self.word()[:200] + b'"}'
            kind = draw.choice(("application/json", "text/plain", "multipart/form-data", ""))
            self.ask(draw.choice(("GET", "POST", "PUT")), self.target(draw.choice(shop["called"])), body, kind)
        else:
            kind = draw.choice(
                ("multipart/form-data; boundary=x", "application/json", "text/csv", "x" * 300, "multipart/form-data")
            )
            body = (
                b'--x\r\nContent-Disposition: form-data; name="key"; filename="../a"\r\n\r\n'
                + self.word()
                + b"\r\n--x--"
            )
            self.ask(draw.choice(("POST", "PATCH", "DELETE")), draw.choice(shop["sent"]), body, kind)

    def ask(self, method: str, url: str, body: bytes | None = None, kind: str = "application/x-www-form-urlencoded"):
        headers = {"Cookie": f"sessionid={self.shop['session']}; csrftoken={TOKEN}"}
        if body is not None:
            headers["Content-Type"] = kind
        if self.draw.random() < 0.1:
            name = self.draw.choice(
                ("Accept-Language", "Referer", "X-Forwarded-For", "Range", "If-None-Match", "X-Request-ID")
            )
            headers[name] = re.sub(rb"[\r\n]", b" ", self.word()[:400]).decode("latin-1")
        connection = http.client.HTTPConnection(self.web.host, self.web.port, timeout=60)
        try:
            connection.request(method, url, body, headers)
            answer = connection.getresponse()
            page = answer.read().decode(errors="replace")
        finally:
            connection.close()
        self.answers[answer.status] += 1
        self.taken += method != "GET" and answer.status < 400
        assert answer.status < 500, f"{method} {url!r} {body!r} was answered {answer.status}"
        assert "Traceback" not in page, f"{method} {url!r} {body!r}"
        return answer.status, page


def _rows(site) -> dict[str, int]:
    if site.is_postgresql:
        tables = [name for (name,) in site.sql("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")]
    else:
        tables = [name for (name,) in site.sql("SELECT name FROM sqlite_master WHERE type = 'table'")]
    tables = [name for name in tables if not any(word in name for word in NOT_OF_THE_LOG)]
    asked = " UNION ALL ".join(f"SELECT '{name}', count(*) FROM {name}" for name in sorted(tables))
    return dict(site.sql(asked))


@pytest.mark.walk
def test_whatever_bytes_come_in_there_is_an_answer_and_nothing_is_saved_by_half(site):
    shop = site.do(SHOP)
    web = site.web()
    web.wait()
    fuzz = Fuzz(web, shop, SEED)
    for _ in range(REQUESTS):
        before, taken = _rows(site), fuzz.taken
        with contextlib.suppress(http.client.InvalidURL):
            try:
                fuzz.one()
            except NETWORK as error:  # a request that is none is not answered, and nobody else notices
                assert web.child.poll() is None, error
        if fuzz.taken == taken:
            assert _rows(site) == before
    assert sum(fuzz.answers.values()) > REQUESTS / 2 and fuzz.answers[200] and fuzz.answers[422] and fuzz.taken
    site.do(WHOLE)
    print(dict(fuzz.answers))
