"""The service as it really runs: processes of their own on a database of their own, which can be killed."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import uuid
from pathlib import Path
from urllib.parse import urlencode, urlsplit, urlunsplit

from diestore.database_url import database_settings

ROOT = Path(__file__).resolve().parents[2]
TOKEN = "t" * 32  # the browser's half of the guard against forged forms; the server compares it with the form's
NETWORK = (OSError, http.client.HTTPException)


class Site:
    """One database, and the processes that work on it."""

    def __init__(self, address: str, folder: Path, **settings: str) -> None:
        self.address, self.folder = address, folder
        self.is_postgresql = database_settings(address)["ENGINE"].endswith("postgresql")
        self.settings = settings
        self.children: list[subprocess.Popen] = []

    def environment(self, **more: str) -> dict[str, str]:
        return {
            **os.environ,
            "DATABASE_URL": self.address,
            "DJANGO_SETTINGS_MODULE": "diestore.settings",
            "DIESTORE_SECRET_KEY": "only for these tests, the same on every host of theirs",
            "DIESTORE_HOSTS": "127.0.0.1,127.0.0.2,127.0.0.3",
            "DIESTORE_HTTPS": "0",
            "DIESTORE_DEMO": "0",
            "PYTHONUNBUFFERED": "1",
            **self.settings,
            **more,
        }

    # -- commands that end --

    def manage(self, *words: str, fails: bool = False, **settings: str) -> str:
        """What `manage.py` says. fails: it has to end with an error."""
        told = subprocess.run(
            [sys.executable, "manage.py", *words],
            cwd=ROOT,
            env=self.environment(**settings),
            capture_output=True,
            text=True,
            timeout=180,
        )
        said = told.stdout + told.stderr
        assert (told.returncode != 0) == fails, f"manage.py {' '.join(words)} ended with {told.returncode}:\n{said}"
        assert not fails or "Traceback" not in said, said
        return said

    def do(self, code: str) -> object:
        """Run some lines in a process of the service; what they put into `told` comes back."""
        lines = f"import django, json\ndjango.setup()\ntold = None\n{code}\nprint(json.dumps(told, default=str))"
        made = subprocess.run(
            [sys.executable, "-c", lines], cwd=ROOT, env=self.environment(), capture_output=True, text=True, timeout=180
        )
        assert made.returncode == 0, made.stderr
        return json.loads(made.stdout.splitlines()[-1])

    def sql(self, query: str) -> list[tuple]:
        """Ask the database past the service."""
        if self.is_postgresql:
            import psycopg

            with psycopg.connect(_libpq(self.address), autocommit=True) as asked:
                return asked.execute(query).fetchall()
        with contextlib.closing(sqlite3.connect(database_settings(self.address)["NAME"], timeout=20)) as asked:
            return asked.execute(query).fetchall()

    def number(self, query: str) -> int:
        return self.sql(query)[0][0]

    @property
    def name(self) -> str:
        return str(database_settings(self.address)["NAME"])

    @property
    def database_file(self) -> Path:
        return Path(self.name)

    def server(self, command: str) -> None:
        """Tell the PostgreSQL server something from outside this database."""
        _command(self.address, command)

    # -- processes that go on --

    def start(self, *words: str, **settings: str) -> subprocess.Popen:
        with open(self.folder / f"process-{len(self.children)}.log", "w") as log:
            child = subprocess.Popen(
                [sys.executable, *words],
                cwd=ROOT,
                env=self.environment(**settings),
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        self.children.append(child)
        return child

    def worker(self, **settings: str) -> subprocess.Popen:
        return self.start("manage.py", "work", "--idle", "0.2", **settings)

    def web(self, host: str = "127.0.0.1", *words: str, **settings: str) -> Web:
        with socket.socket() as probe:
            probe.bind((host, 0))
            port = probe.getsockname()[1]
        if not any(word.startswith("--workers") for word in words):
            words = (*words, "--workers=0")  # what a test starts it knows of
        child = self.start("manage.py", "serve", f"--listen={host}:{port}", *words, **settings)
        return Web(child, host, port)

    def said(self) -> str:
        """What all of them wrote to their terminals."""
        return "\n".join(f"== {log.name}\n{log.read_text()}" for log in sorted(self.folder.glob("process-*.log")))

    def end(self) -> None:
        for child in self.children:
            if child.poll() is None:
                child.kill()
                child.wait()


class Web:
    """A web process, and what a browser does with it."""

    def __init__(self, child: subprocess.Popen, host: str, port: int) -> None:
        self.child, self.host, self.port = child, host, port

    def wait(self, seconds: float = 30) -> None:
        until(lambda: self._listens() or self.child.poll() is not None, seconds, f"{self.host} does not answer")
        assert self.child.poll() is None, "the web process has ended"

    def _listens(self) -> bool:
        with contextlib.suppress(OSError), socket.create_connection((self.host, self.port), timeout=1):
            return True
        return False

    def ask(self, path: str, data: dict | None = None, *, session: str = "", timeout: float = 40) -> Answer:
        """Get a page, or send a form. Raises one of NETWORK where nobody is there."""
        connection = http.client.HTTPConnection(self.host, self.port, timeout=timeout)
        headers = {"Cookie": f"sessionid={session}; csrftoken={TOKEN}"}
        body = None
        if data is not None:
            body = urlencode({"csrfmiddlewaretoken": TOKEN, **data})
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        try:
            connection.request("GET" if data is None else "POST", path, body, headers)
            answer = connection.getresponse()
            return Answer(answer.status, answer.read().decode(errors="replace"), dict(answer.getheaders()))
        finally:
            connection.close()


class Answer:
    def __init__(self, status: int, text: str, headers: dict[str, str]) -> None:
        self.status, self.text, self.headers = status, text, headers

    @property
    def wrong(self) -> list[str]:
        """What a form that was not taken says."""
        said = re.findall(r'<li><a href="#id_[^"]*">(.*?)</a>|class="panel doubt".*?<p>(.*?)</p>', self.text, re.DOTALL)
        return [one or other for one, other in said] or re.findall(r"<main.*", self.text, re.DOTALL)[:1000]


def kill(child: subprocess.Popen) -> None:
    """As a power cut would end it: nothing of its own is run any more."""
    child.send_signal(signal.SIGKILL)
    child.wait()


def until(true, seconds: float, else_: str, *, every: float = 0.05):
    """Wait until something is true; what it was is given back."""
    end = time.monotonic() + seconds
    while not (found := true()):
        assert time.monotonic() < end, f"not within {seconds:g} s: {else_}"
        time.sleep(every)
    return found


# -- databases --


def new_address(like: str, folder: Path) -> str:
    """An address of a database that is not there yet, on the engine of another address."""
    name = f"site_{uuid.uuid4().hex[:10]}"
    if database_settings(like)["ENGINE"].endswith("postgresql"):
        return urlunsplit(urlsplit(like)._replace(path=f"/{name}"))
    return f"sqlite:///{folder / name}.sqlite3"


def make_database(address: str, *, like: str = "") -> None:
    """An empty database, or a copy of another that nobody uses."""
    told = database_settings(address)
    if not told["ENGINE"].endswith("postgresql"):
        if like:
            shutil.copyfile(database_settings(like)["NAME"], told["NAME"])
        return
    template = f' TEMPLATE "{database_settings(like)["NAME"]}"' if like else ""
    _command(address, f'CREATE DATABASE "{told["NAME"]}"{template}')


def drop_database(address: str) -> None:
    told = database_settings(address)
    if told["ENGINE"].endswith("postgresql"):
        _command(address, f'DROP DATABASE IF EXISTS "{told["NAME"]}" WITH (FORCE)')


def _command(address: str, command: str) -> None:
    import psycopg

    with psycopg.connect(_libpq(urlunsplit(urlsplit(address)._replace(path="/postgres"))), autocommit=True) as asked:
        asked.execute(command)


def _libpq(address: str) -> str:
    told = database_settings(address)
    named = {
        "dbname": told["NAME"], "user": told["USER"], "password": told["PASSWORD"],
        "host": told["HOST"], "port": told["PORT"],
    }  # fmt: skip
    return " ".join(f"{key}='{value}'" for key, value in named.items() if value)
