"""The demo shop beside one's own: in a process and a database of its own, shown on a wish and thrown away on another.

The wish is a row of the database (`DemoShop`), since any web process may be asked; one `serve` takes it on, starts
`manage.py demo` with a folder of its own, says in the row how far it is, and ends it when the row goes, or ends itself.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import logging
import os
import secrets
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, close_old_connections, connection
from django.utils import timezone
from django.utils.crypto import get_random_string

from .models import DemoShop

logger = logging.getLogger(__name__)

LOOKS_EVERY_S = 1.0
PORTS_TRIED = 20
ROOM_BYTES = 300_000_000  # that the folder's disk must have free: the demo takes some ten million
LAST_S = 15
FOLDER = "diestore-demo-"
READY = "The pages are at"
ELSEWHERE = (
    "This service is reached through a server in front of it (DIESTORE_HTTPS, DIESTORE_PROXIES), which does not lead "
    "to the demo shop. Start the service with --demo-port and lead that port there, or look at it on a machine of your "
    "own: python manage.py demo."
)
NOT_HERE = "The service was started with --demo-port 0: it shows no demo shop."
NOBODY = (
    "No process took it on. Only a service that was started with manage.py serve can show the demo shop. On a machine "
    "of your own it is shown by: python manage.py demo."
)
NO_ROOM = "There is too little room on the disk for temporary files: the demo shop needs 300 MB for a while."
ENDED = "The service that showed the demo shop has ended, and the demo shop with it."


# --- the wish ---------------------------------------------------------------------------------------------------------


def wish(by: str) -> DemoShop:
    """Have the demo shop shown. One that is shown or made already stays; what came to nothing is asked for anew."""
    row = now()
    if row is not None and (row.problem or row.is_left):
        DemoShop.objects.filter(pk=row.pk, asked_at=row.asked_at).delete()
        row = None
    return row or DemoShop.objects.get_or_create(pk=1, defaults={"asked_by": by[:150]})[0]


def throw_away() -> bool:
    """The process that shows it ends it and deletes its folder once it sees that. Returns whether there was one."""
    return bool(DemoShop.objects.all().delete()[0])


def now() -> DemoShop | None:
    return DemoShop.objects.first()


# --- who shows it -----------------------------------------------------------------------------------------------------


class Keeper:
    """Of one `serve`: looks whether the demo shop is wished for, and shows it. It never opens the demo's database."""

    def __init__(self, host: str, port: int, *, demo_port: int | None = None) -> None:
        """host, port: where the pages are listened at. demo_port: None: the next free one; 0: never shown."""
        self.host, self.port, self.demo_port = host, port, demo_port
        self.name = get_random_string(20)
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._keep, daemon=True, name="demo")
        self._shown: _Shown | None = None

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """The demo shop ends with the service, and its folder goes."""
        self._ending.set()
        self._thread.join(timeout=LAST_S)
        if self._shown is not None:
            self._shown.end()
            with contextlib.suppress(DatabaseError):
                DemoShop.objects.filter(owner=self.name).delete()

    def _keep(self) -> None:
        while not self._ending.wait(LOOKS_EVERY_S):
            try:
                self.look()
            except DatabaseError as error:
                logger.debug("the demo shop: %s", error)
            except OSError as error:
                logger.warning("the demo shop cannot be shown: %s", error)
                self._say_problem(f"It cannot be started: {error.strerror or error}.")
            finally:
                close_old_connections()
        connection.close()

    def look(self) -> None:
        row = now()
        if self._shown is not None:
            mine = row is not None and row.owner == self.name and row.asked_at == self._shown.asked_at
            if not mine:
                shown, self._shown = self._shown, None
                shown.end()
            elif problem := self._shown.problem:
                shown, self._shown = self._shown, None
                shown.end()
                self._say_problem(problem)
            else:
                DemoShop.objects.filter(owner=self.name).update(
                    seen_at=timezone.now(), step=self._shown.step[:200], ready=self._shown.ready
                )
        elif row is not None and not row.owner:
            claimed = DemoShop.objects.filter(pk=row.pk, owner="", asked_at=row.asked_at)
            if claimed.update(owner=self.name, seen_at=timezone.now()):
                self._begin(row)

    def _begin(self, row: DemoShop) -> None:
        if self.demo_port == 0:
            return self._say_problem(NOT_HERE)
        if self.demo_port is None and (settings.HTTPS or settings.PROXIES):
            return self._say_problem(ELSEWHERE)
        if shutil.disk_usage(tempfile.gettempdir()).free < ROOM_BYTES:
            return self._say_problem(NO_ROOM)
        port = self._free_port()
        if port is None:
            tried = f"port {self.demo_port}" if self.demo_port else f"{PORTS_TRIED} ports after {self.port}"
            return self._say_problem(f"It found {tried} in use. Name a free one: serve --demo-port.")
        self._shown = _Shown(self.host, port, asked_at=row.asked_at)
        DemoShop.objects.filter(owner=self.name).update(port=port)
        return None

    def _say_problem(self, problem: str) -> None:
        with contextlib.suppress(DatabaseError):
            DemoShop.objects.filter(owner=self.name).update(problem=problem[:400], ready=False)

    def _free_port(self) -> int | None:
        tried = [self.demo_port] if self.demo_port else range(self.port + 1, min(self.port + PORTS_TRIED, 65_535) + 1)
        return next((port for port in tried if _is_free(self.host, port)), None)


class _Shown:
    """The demo shop as it runs: its process, its folder, what it says."""

    def __init__(self, host: str, port: int, *, asked_at: dt.datetime) -> None:
        self.asked_at = asked_at
        self.step, self.ready = "It is being started", False
        self._wrong = ""
        self.folder = Path(tempfile.mkdtemp(prefix=FOLDER))
        command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "demo", "--with-parent", "--throw-away"]
        command += ["--folder", str(self.folder), "--port", str(port), "--host", host]
        if settings.DEMO_TABLES:
            command += ["--fixtures", settings.DEMO_TABLES]
        # A key of its own: nothing that the demo signs is worth anything in the shop.
        environment = {**os.environ, "DIESTORE_SECRET_KEY": secrets.token_urlsafe(50)}
        try:
            self.child = subprocess.Popen(
                command,
                cwd=settings.BASE_DIR,
                env=environment,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                errors="replace",
            )
        except OSError:
            _delete(self.folder)
            raise
        threading.Thread(target=self._listen, daemon=True, name="demo says").start()

    def _listen(self) -> None:
        for line in self.child.stdout or ():
            said = line.strip()
            if said.startswith(READY):
                self.ready = True
            elif said.startswith("CommandError: "):
                self._wrong = said.removeprefix("CommandError: ")
            elif said and not self.ready and not self._wrong and str(self.folder) not in said:
                self.step = said

    @property
    def problem(self) -> str:
        if self.child.poll() is None:
            return ""
        return self._wrong or "The demo shop has ended by itself."

    def end(self) -> None:
        """Its input is closed, which it takes for its end; then its folder goes."""
        if self.child.stdin is not None:
            with contextlib.suppress(OSError):
                self.child.stdin.close()
        try:
            self.child.wait(timeout=LAST_S)
        except subprocess.TimeoutExpired:
            self.child.kill()
            self.child.wait()
        _delete(self.folder)


def _delete(folder: Path) -> None:
    """The folder of a demo shop, and no other. A worker of it may write a last file while it ends."""
    if not folder.name.startswith(FOLDER):
        return
    until = time.monotonic() + LAST_S
    while folder.exists() and time.monotonic() < until:
        shutil.rmtree(folder, ignore_errors=True)
        if folder.exists():
            time.sleep(0.2)


def _is_free(host: str, port: int) -> bool:
    try:
        with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM) as probe:
            if os.name == "posix":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((host.strip("[]"), port))
    except OSError:
        return False
    return True


def place_of(listen: str) -> tuple[str, int]:
    """Host and port of the first address that is listened at."""
    host, _, port = listen.split()[0].rpartition(":")
    return ("" if host == "*" else host) or "0.0.0.0", int(port)
