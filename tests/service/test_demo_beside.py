"""The demo shop beside one's own: asked for on a page, shown by the process that serves, thrown away, gone with it."""

from __future__ import annotations

import contextlib
import http.client
import re
import socket
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from diestore.service import demo_shop
from diestore.service.models import DemoShop
from tests import factories as make
from tests.pages.as_read import as_read
from tests.service.running import Site, Web, kill, until

DIES = (
    "die,stock_material,stock_tensile_mpa,stock_thickness_mm,strokes_per_minute,parts_per_hit\nT-1,brass,380,0.8,90,1\n"
)
COMPONENTS = (
    "die,station,position,kind,tool_steel,cut_length_mm,clearance_pct_per_side\nT-1,1,1-A,pierce punch,D2,18,7\n"
)
RUNS = "die,started,ended,hits\nT-1,2026-03-01T06:00:00+00:00,2026-03-01T09:00:00+00:00,9000\n"
PAGE = "/demo-shop/"
SESSION = """
from django.contrib.auth.models import Group, User
from django.contrib.sessions.backends.db import SessionStore
user = User.objects.create_user("ina")
user.groups.set(Group.objects.filter(name="lead"))
session = SessionStore()
session["_auth_user_id"], session["_auth_user_hash"] = str(user.pk), user.get_session_auth_hash()
session["_auth_user_backend"] = "diestore.access.sign_in.WithSettings"
session.save()
told = session.session_key
"""
HELD = """
from django.apps import apps
told = {m._meta.label: sorted(map(str, m._base_manager.values_list())) for m in apps.get_models()
        if m._meta.label not in ("diestore.DemoShop", "sessions.Session", "diestore.TaskWorker", "diestore.Host")}
"""


@pytest.fixture
def tables(tmp_path) -> Path:
    folder = tmp_path / "tables"
    folder.mkdir()
    for name, text in (("dies", DIES), ("components", COMPONENTS), ("runs", RUNS)):
        (folder / f"{name}.csv").write_text(text)
    return folder


def asked(host: str, port: int, path: str) -> tuple[int, str, str]:
    """Status, page and cookies of a page that nobody is signed in to."""
    connection = http.client.HTTPConnection(host, port, timeout=20)
    with contextlib.closing(connection):
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer.status, answer.read().decode(), str(answer.getheaders())


def answers(port: int) -> bool:
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
        return True
    return False


def running_on(folder: Path) -> list[str]:
    """Processes that were started with a folder of the demo there (Linux)."""
    found = []
    for told in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            if str(folder).encode() in (said := told.read_bytes()):
                found.append(said.decode(errors="replace"))
    return found


def shown(web: Web, session: str) -> int:
    """Have it shown; the port it is at once it is ready."""
    assert web.ask(PAGE, {"show": "1"}, session=session).status == 302
    page = until(
        lambda: (said := web.ask(PAGE, session=session).text) and ("It is ready" in said or "wrong" in said) and said,
        90,
        "the demo shop is not ready",
        every=0.5,
    )
    return int(re.search(r"It is ready: <a href=\"http://127\.0\.0\.1:(\d+)/\"", page)[1])


@pytest.mark.walk
def test_shown_opened_thrown_away_and_gone_with_the_service(new_site, tables, tmp_path):
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    site: Site = new_site(TMPDIR=str(scratch), DIESTORE_DEMO_TABLES=str(tables))
    session = site.do(SESSION)
    web = site.web()
    web.wait()
    before = site.do(HELD)
    port = shown(web, session)
    status, page, cookies = asked("127.0.0.1", port, "/sign-in/")
    assert status == 200 and "Alder Bank Stamping" in page
    assert "demo_form=" in cookies and "csrftoken" not in cookies, "one browser has the cookies of both"
    (folder,) = scratch.iterdir()
    assert folder.stat().st_mode & 0o077 == 0 and (folder / "demo.sqlite3").exists()
    assert site.do(HELD) == before, "the shop's own database is as it was"

    assert web.ask(PAGE, {"away": "1"}, session=session).status == 302
    until(lambda: not answers(port) and not list(scratch.iterdir()), 30, "it is not gone")
    assert "Show the demo shop" in web.ask(PAGE, session=session).text and site.do(HELD) == before

    web.ask(PAGE, {"show": "1"}, session=session)
    until(lambda: list(scratch.glob("*/demo.sqlite3")), 30, "it is not being made")
    kill(web.child)
    until(lambda: not list(scratch.iterdir()) and not running_on(folder.parent), 30, "it outlives who showed it")
    assert site.number("SELECT count(*) FROM diestore_demoshop") == 1
    assert "Traceback" not in site.said()


# --- the wish and who takes it on -------------------------------------------------------------------------------------


@pytest.fixture
def lead(client, db):
    client.force_login(make.user("lead"))
    return client


@pytest.fixture
def started(monkeypatch):
    """What would have been started, without a process."""
    made = []

    class Nothing:
        problem, step, ready, ended = "", "Loading", False, False

        def __init__(self, host, port, *, asked_at) -> None:
            self.host, self.port, self.asked_at = host, port, asked_at
            made.append(self)

        def end(self) -> None:
            self.ended = True

    monkeypatch.setattr(demo_shop, "_Shown", Nothing)
    monkeypatch.setattr(demo_shop, "_is_free", lambda host, port: port != 8001)
    return made


@pytest.mark.django_db
def test_of_several_processes_one_takes_it_on_and_ends_it_when_it_is_thrown_away(started):
    first, second = (demo_shop.Keeper("127.0.0.1", 8000) for _ in range(2))
    for keeper in (first, second, first):
        keeper.look()
    assert not started
    demo_shop.wish("ina")
    for keeper in (second, first, second, first):
        keeper.look()
    (one,) = started
    row = demo_shop.now()
    assert (row.owner, row.port, row.step, row.ready) == (second.name, 8002, "Loading", False)
    demo_shop.wish("jo")
    assert demo_shop.now().asked_by == "ina" and len(started) == 1, "the one that is made is shown to all"
    demo_shop.throw_away()
    demo_shop.wish("jo")  # before the process has looked again
    second.look()
    assert one.ended
    first.look()
    assert len(started) == 2 and demo_shop.now().owner == first.name


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("told", "of_settings", "sentence"),
    [
        ({"demo_port": 0}, {}, demo_shop.NOT_HERE),
        ({}, {"HTTPS": True}, demo_shop.ELSEWHERE),
        ({}, {"PROXIES": 1}, demo_shop.ELSEWHERE),
        ({"demo_port": 8001}, {}, "It found port 8001 in use."),
    ],
)
def test_where_it_cannot_be_shown_a_sentence_says_so_and_it_can_be_asked_for_again(
    started, settings, lead, told, of_settings, sentence
):
    for name, value in of_settings.items():
        setattr(settings, name, value)
    lead.post(PAGE, {"show": "1"})
    demo_shop.Keeper("127.0.0.1", 8000, **told).look()
    page = as_read(lead.get(PAGE))
    assert not started and sentence in page and "Try again" in page
    lead.post(PAGE, {"show": "1"})
    assert demo_shop.now().problem == ""


@pytest.mark.django_db
@pytest.mark.parametrize(("owner", "sentence"), [("", demo_shop.NOBODY), ("gone", demo_shop.ENDED)])
def test_where_nobody_shows_it_the_page_says_so(lead, owner, sentence):
    row = demo_shop.wish("ina")
    assert "It is being made" in as_read(lead.get(PAGE))
    past = row.asked_at - 2 * DemoShop.LEFT_AFTER
    DemoShop.objects.update(owner=owner, asked_at=past, seen_at=past if owner else None, ready=True)
    assert sentence in as_read(lead.get(PAGE))


@pytest.mark.django_db
def test_what_the_demo_said_last_is_the_reason(started):
    demo_shop.wish("ina")
    keeper = demo_shop.Keeper("127.0.0.1", 8000)
    keeper.look()
    started[0].problem = "Port 8002 is in use: perhaps the demo runs already."
    keeper.look()
    assert demo_shop.now().problem.startswith("Port 8002") and started[0].ended


@pytest.mark.django_db
def test_the_demo_shop_offers_no_other_and_the_toolmaker_none(lead, client, settings):
    assert reverse("diestore:demo_beside") in as_read(lead.get(reverse("diestore:dies")))
    assert reverse("diestore:demo_beside") in as_read(lead.get(reverse("diestore:shop")))
    client.force_login(make.user("toolmaker"))
    assert client.get(PAGE).status_code == 403
    settings.DEMO = True
    assert lead.get(PAGE).status_code == 404
    assert reverse("diestore:demo_beside") not in as_read(lead.get(reverse("diestore:shop")))


def test_an_address_and_a_port():
    assert demo_shop.place_of("127.0.0.1:8000") == ("127.0.0.1", 8000)
    assert demo_shop.place_of("[::1]:8000 127.0.0.1:8000") == ("[::1]", 8000)
    assert demo_shop.place_of("*:8000") == ("0.0.0.0", 8000)
    with pytest.raises(CommandError, match="between 0 and 65535"):
        call_command("serve", "--demo-port=70000")
