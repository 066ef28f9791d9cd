"""A long hit sheet through the page, as a browser sends it, to a service that really runs; others save meanwhile."""

from __future__ import annotations

import contextlib
import datetime as dt
import http.client
import re
import sqlite3
import threading
import time
from dataclasses import dataclass

from .running import TOKEN, Site, Web

DIES = 40
SESSION = """
from django.contrib.auth.models import Group, User
from django.contrib.sessions.backends.db import SessionStore
user, made = User.objects.get_or_create(username="lead")
user.groups.set(Group.objects.filter(name="lead"))
session = SessionStore()
session["_auth_user_id"], session["_auth_user_hash"] = str(user.pk), user.get_session_auth_hash()
session["_auth_user_backend"] = "diestore.access.sign_in.WithSettings"
session.save()
told = session.session_key
"""
ANSWERS = {
    "book-default:material": "low-carbon steel", "book-default:thickness_mm": "1.2",
    "book-default:strokes_per_minute": "60", "book-default:parts_per_hit": "1", "answer-hits": "each",
}  # fmt: skip
LATE = "INSERT INTO diestore_party (code, name, role) VALUES ('late-' || hex(randomblob(6)), '', 'customer')"


@dataclass
class Told:
    """Seconds of each step, saves of somebody else while the book came in, and the longest that one of them waited.
    memory_mb: the most that the web process held, more than before."""

    looked_s: float
    brought_s: float
    saves: int
    longest_wait_s: float
    memory_mb: float


def sheet(rows: int) -> bytes:
    """A line a die and day, as a counter's list says it: German headings, days first."""
    lines = ["Werkzeug;Datum;Hübe"]
    for n in range(rows):
        day = dt.date(2018, 1, 1) + dt.timedelta(days=n // DIES)
        lines.append(f"K-{100 + n % DIES};{day:%d.%m.%Y};{12_000 + (37 * n) % 9_000}")
    return "\r\n".join(lines).encode()


def brought(site: Site, web: Web, rows: int) -> Told:
    session = site.do(SESSION)
    before = most_memory_mb(web)
    begun = time.monotonic()
    path = _upload(web, session, sheet(rows))
    assert web.ask(path, {"sheet": "0", **ANSWERS}, session=session, timeout=600).status == 302
    page = web.ask(path, session=session, timeout=600)
    looked_s = time.monotonic() - begun
    assert page.status == 200 and f"{rows:,} runs" in page.text, page.text[-3_000:]
    with _saving(site) as waits:
        begun = time.monotonic()
        answer = web.ask(path, {"sheet": "0", "bring": "1"}, session=session, timeout=600)
        brought_s = time.monotonic() - begun
    assert answer.status == 302, answer.text[-3_000:]
    assert site.number("SELECT count(*) FROM maintenance_run") == rows
    return Told(looked_s, brought_s, len(waits), max(waits, default=0.0), most_memory_mb(web) - before)


def most_memory_mb(web: Web) -> float:
    """The most that the process ever held, by the kernel's own account (Linux)."""
    with open(f"/proc/{web.child.pid}/status") as status:
        return int(re.search(r"VmHWM:\s+(\d+) kB", status.read())[1]) / 1000


def _upload(web: Web, session: str, data: bytes) -> str:
    mark = "a-line-that-is-in-no-sheet"
    parts = [
        f'--{mark}\r\nContent-Disposition: form-data; name="csrfmiddlewaretoken"\r\n\r\n{TOKEN}\r\n'.encode(),
        f'--{mark}\r\nContent-Disposition: form-data; name="file"; filename="hits.csv"\r\n\r\n'.encode() + data,
        f"\r\n--{mark}--\r\n".encode(),
    ]
    connection = http.client.HTTPConnection(web.host, web.port, timeout=600)
    headers = {
        "Cookie": f"sessionid={session}; csrftoken={TOKEN}",
        "Content-Type": f"multipart/form-data; boundary={mark}",
    }
    with contextlib.closing(connection):
        connection.request("POST", "/books/", b"".join(parts), headers)
        answer = connection.getresponse()
        said = answer.read().decode()
        assert answer.status == 302, said[-3_000:]
        return answer.getheader("Location")


@contextlib.contextmanager
def _saving(site: Site):
    """Somebody else saves ten times a second: how long each save waited. On SQLite, where writes wait for another."""
    waits: list[float] = []
    if site.is_postgresql:
        yield waits
        return
    ending = threading.Event()

    def save() -> None:
        while not ending.wait(0.1):
            begun = time.monotonic()
            with contextlib.closing(sqlite3.connect(site.name, timeout=120)) as other, other:
                other.execute(LATE)
            waits.append(time.monotonic() - begun)

    thread = threading.Thread(target=save)
    thread.start()
    try:
        yield waits
    finally:
        ending.set()
        thread.join()
