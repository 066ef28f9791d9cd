"""What each answer carries, and that no page loads anything from elsewhere."""

from __future__ import annotations

import os
import re
import secrets
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.test import Client

from maintenance.forecasts import store
from tests import factories as make

from .addresses import TABLE, address, shop

ROOT = Path(__file__).resolve().parents[2]
LOADS = ("src", "href", "action", "formaction", "srcset", "poster", "data", "xlink:href", "background", "ping")
ELSEWHERE = re.compile(r"\s*(?:[a-z][a-z0-9+.-]*:|//|\\)", re.I)


class Watch(HTMLParser):
    """What a page would load or run that is not ours."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.wrong: list[str] = []
        self.seen = 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        is_data = given.get("type") == "application/json"  # read by a script of ours, never run
        if (tag == "script" and "src" not in given and not is_data) or tag in (
            "style",
            "iframe",
            "object",
            "embed",
            "base",
        ):
            self.wrong.append(f"<{tag}>")
        for name, value in attrs:
            if name in LOADS:
                self.seen += 1
                if ELSEWHERE.match(value or ""):
                    self.wrong.append(f"{tag} {name}={value}")
            if name.startswith("on") or (value and re.search(r"url\(\s*['\"]?(?!#)", value)):
                self.wrong.append(f"{tag} {name}={value}")


@pytest.fixture
def pages(db):
    """Every page that is read, as it is rendered for somebody who may all."""
    numbers = shop()
    store.fit_and_forecast(make.plant())
    client = Client()
    client.force_login(make.user("administrator"))
    made = {}
    for name, row in TABLE.items():
        if row.get and name != "diestore:sign_in":
            made[name] = client.get(address(name, numbers))
    made["diestore:sign_in"] = Client().get("/sign-in/")
    made["not found"] = client.get("/nowhere/")
    return made


def test_no_page_loads_anything_from_elsewhere_or_holds_a_script(pages):
    wrong, seen = [], 0
    for name, answer in pages.items():
        if answer.get("Content-Type", "").startswith("text/html") and answer.status_code != 302:
            watch = Watch(answer.content.decode())
            seen += watch.seen
            wrong += [(name, found) for found in watch.wrong]
    assert wrong == [] and seen > 300


def test_every_answer_carries_the_headers(pages):
    for name, answer in pages.items():
        policy = dict(part.strip().split(" ", 1) for part in answer["Content-Security-Policy"].split(";"))
        assert policy["default-src"] == "'self'", name
        assert "script-src" not in policy or policy["script-src"] == "'self'", name
        assert policy["object-src"] == policy["frame-ancestors"] == "'none'", name
        assert policy["base-uri"] == policy["form-action"] == "'self'", name
        assert "unsafe-eval" not in answer["Content-Security-Policy"], name
        assert answer["X-Content-Type-Options"] == "nosniff", name
        by_link = name.startswith("reports:tools")  # the token stands in the address: it goes nowhere
        assert answer["Referrer-Policy"] == ("no-referrer" if by_link else "same-origin"), name
        assert answer["X-Frame-Options"] == "DENY", name
        assert answer["Cross-Origin-Opener-Policy"] == "same-origin", name


@pytest.mark.no_database
def test_the_watch_sees_what_it_looks_for():
    for text in (
        '<script>x()</script>', '<img src="http://elsewhere.invalid/x.png">', '<link href="//elsewhere.invalid/x.css">',
        '<a href="javascript:x()">', '<p onclick="x()">', '<p style="background: url(https://elsewhere.invalid)">',
        '<form action="https://elsewhere.invalid">', "<style>p{}</style>", '<a href=" https://elsewhere.invalid">',
        "<iframe>", '<base href="/x">',
    ):  # fmt: skip
        assert Watch(text).wrong, text
    assert not Watch('<a href="/dies/?q=http://x"><svg fill="url(#a)"><p style="margin: 1px">').wrong


@pytest.mark.no_database
def test_style_sheets_and_scripts_ask_nobody_else():
    files = [p for app in ("diestore", "maintenance", "reports") for p in (ROOT / app).glob("static/**/*")]
    texts = {p: p.read_text() for p in files if p.suffix in (".css", ".js")}
    assert len(texts) > 2
    for path, text in texts.items():
        bare = text.replace("http://www.w3.org/", "")
        assert not re.search(
            r"https?:|@import|url\(\s*['\"]?//|\beval\(|new Function|innerHTML|document\.write", bare
        ), path


def production(**more) -> dict[str, str]:
    """The environment of a deployment."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("DIESTORE_", "DATABASE_", "DJANGO_", "PYTEST"))}
    return kept | {
        "DIESTORE_HTTPS": "1",
        "DIESTORE_SECRET_KEY": secrets.token_urlsafe(60),
        "DIESTORE_HOSTS": "dies.example",
        "DIESTORE_ORIGINS": "https://dies.example",
        "DIESTORE_PROXIES": "1",
    } | more  # fmt: skip


def in_production(*command: str, **more) -> subprocess.CompletedProcess:
    return subprocess.run(
        [sys.executable, *command], cwd=ROOT, env=production(**more), capture_output=True, text=True, timeout=120
    )


@pytest.mark.no_database
def test_the_deployment_check_is_clean():
    done = in_production("manage.py", "check", "--deploy", "--fail-level", "INFO")
    assert done.returncode == 0 and "no issues (0 silenced)" in done.stdout, done.stdout + done.stderr


@pytest.mark.no_database
@pytest.mark.parametrize(("proxies", "status"), [("0", 301), ("", 301), ("1", 200)])
def test_only_a_proxy_of_ours_is_believed_that_a_request_came_by_https(proxies, status):
    """Where none is named, anybody may have written that header: the answer is the way to HTTPS."""
    ask = (
        "import django; django.setup(); from django.test import Client\n"
        "told = {'host': 'dies.example', 'x-forwarded-proto': 'https'}\n"
        "print(Client().get('/static/diestore/look.css', headers=told).status_code)"
    )
    done = in_production("-c", ask, DIESTORE_PROXIES=proxies, DJANGO_SETTINGS_MODULE="diestore.settings")
    assert done.stdout.split() == [str(status)], done.stderr


@pytest.mark.no_database
def test_the_deployment_check_can_fail():
    done = in_production("manage.py", "check", "--deploy", "--fail-level", "WARNING", DIESTORE_HTTPS="0")
    assert done.returncode == 1 and "security.W008" in done.stderr


@pytest.mark.no_database
def test_the_deployment_check_speaks_of_the_demo_and_of_proxies_that_nobody_counted(settings):
    from diestore.service.checks import proxies_are_counted, the_demo_is_off

    settings.DEMO, settings.HTTPS, settings.PROXIES_SAID = True, True, False
    assert [found.id for found in the_demo_is_off(None)] == ["diestore.E001"]
    assert [found.id for found in proxies_are_counted(None)] == ["diestore.W001"]
    settings.DEMO, settings.PROXIES_SAID = False, True
    assert the_demo_is_off(None) == proxies_are_counted(None) == []


@pytest.mark.no_database
def test_in_a_deployment_cookies_are_secure_and_plain_http_is_sent_away(tmp_path):
    asked = (
        "import django; django.setup()\n"
        "from django.test import Client\n"
        "from django.conf import settings as s\n"
        "plain = Client().get('/sign-in/', HTTP_HOST='dies.example')\n"
        "safe = Client().get('/sign-in/', HTTP_HOST='dies.example', secure=True)\n"
        "print(plain.status_code, plain['Location'])\n"
        "print(safe.status_code, safe['Strict-Transport-Security'], safe.cookies['csrftoken']['secure'])\n"
        "print(s.SESSION_COOKIE_SECURE, s.SESSION_COOKIE_HTTPONLY, s.SESSION_COOKIE_SAMESITE, s.DEBUG)\n"
        "print(Client().get('/sign-in/', HTTP_HOST='elsewhere.invalid', secure=True).status_code)\n"
    )
    more = {"DJANGO_SETTINGS_MODULE": "diestore.settings", "DATABASE_URL": f"sqlite:///{tmp_path / 'x.sqlite3'}"}
    done = in_production("-c", asked, **more)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines() == [
        "301 https://dies.example/sign-in/",
        "200 max-age=31536000; includeSubDomains; preload True",
        "True True Lax False",
        "400",
    ]
