"""The demo: a made-up shop in a database of its own, its forecasts, a short summary, and the pages.

The command starts itself again in a process of its own, whose environment names the demo's database. So it can never
touch the shop's own: when settings are read there, they know of no other.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

FIXTURES = settings.BASE_DIR / "fixtures" / "demo-shop"
SHOP_NAME = "Alder Bank Stamping"
HOST = "127.0.0.1"
LINK = "customer-link"  # a file in the folder: the token of a link that a customer would be sent
DECISIONS = 240  # of the past that are asked again: some twenty seconds


class Command(BaseCommand):
    help = "Show the service with the demo shop, in a database of its own under .demo/."
    requires_system_checks = []

    def add_arguments(self, parser) -> None:
        parser.add_argument("--port", type=int, help="Default: PORT from the environment, else 8000.")
        parser.add_argument("--no-serve", action="store_true", help="Stop after the summary.")
        parser.add_argument("--folder", type=Path, default=settings.BASE_DIR / ".demo", help="Where the demo is kept.")
        parser.add_argument("--fixtures", type=Path, default=FIXTURES, help="The history folder that is shown.")
        parser.add_argument("--host", default=HOST, help="Where it is listened at. Default: this machine only.")
        parser.add_argument(
            "--with-parent", action="store_true", help="End when the process that started it closes its input."
        )
        parser.add_argument("--throw-away", action="store_true", help="And delete its folder then.")
        parser.add_argument("--apart", action="store_true", help=argparse.SUPPRESS)

    def handle(self, *, port, no_serve, folder, fixtures, apart, host, with_parent, throw_away, **options) -> None:
        folder, fixtures = folder.resolve(), fixtures.resolve()
        port = None if no_serve else _port(port)
        if not any(fixtures.glob("*.csv")):
            raise CommandError(f"There are no tables in {fixtures}. Make them with: python -m fixtures.make_demo_shop")
        if _is_the_demo(folder):
            if apart:
                goes = folder if throw_away else None
                threading.Thread(target=_end_with_the_other, args=[goes], daemon=True).start()
            self._show(folder, fixtures, port, host)
        else:
            if port is not None:
                _check_free(port, host)
            more = ["--throw-away"] if throw_away else []
            self._start_apart(folder, fixtures, port, host, more, with_parent=with_parent)

    def _start_apart(
        self, folder: Path, fixtures: Path, port: int | None, host: str, more: list[str], *, with_parent: bool
    ) -> None:
        """Run this command again with an environment that knows only the demo."""
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CommandError(f"{folder} cannot be made: {error.strerror}.") from error
        command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "demo", "--apart"]
        command += ["--folder", str(folder), "--fixtures", str(fixtures)]
        command += ["--no-serve"] if port is None else ["--port", str(port), "--host", host]
        command += more
        environment = {
            **os.environ,
            "DATABASE_URL": f"sqlite:///{_database(folder)}",
            "DIESTORE_DEMO": "1",
            "DIESTORE_SHOP": SHOP_NAME,
            "DIESTORE_HTTPS": "0",
            "DIESTORE_PROXIES": "0",
            "DIESTORE_WORKERS": "0",
            "DIESTORE_HOSTS": ",".join({"localhost", HOST, "[::1]", *(settings.ALLOWED_HOSTS if host != HOST else ())}),
            "DJANGO_SETTINGS_MODULE": "diestore.settings",
            "PYTHONUNBUFFERED": "1",
        }
        # Its input is this process's end, or that of whoever started this one: closed, it ends.
        whose = None if with_parent else subprocess.PIPE
        child = subprocess.Popen(command, env=environment, cwd=settings.BASE_DIR, stdin=whose)
        if threading.current_thread() is threading.main_thread():
            signal.signal(signal.SIGTERM, lambda number, frame: child.terminate())
        while True:
            try:
                code = child.wait()
                break
            except KeyboardInterrupt:  # the other process got it too, and ends by itself
                continue
        if code < 0:
            self.stderr.write(f"The demo was ended from outside (signal {-code}).")
            sys.exit(128 - code)
        if code:
            sys.exit(code)

    def _show(self, folder: Path, fixtures: Path, port: int | None, host: str) -> None:
        from reports import summary

        try:
            plant = self._prepare(folder, fixtures)
            self.stdout.write("")
            for line in summary.lines(plant):
                self.stdout.write(line)
            if port is not None:
                self._serve(port, host, folder)
        except KeyboardInterrupt:
            self.stdout.write("\nStopped.")

    def _prepare(self, folder: Path, fixtures: Path):
        """The database with the demo shop and its forecasts: kept from the last time, or made anew when it changed."""
        from diestore.access.demo_users import create_users
        from diestore.register.models import Plant
        from fixtures.demo_bench import show_bench
        from fixtures.demo_counters import show_counters
        from fixtures.demo_inspections import show_inspections
        from fixtures.demo_owners import show_owners
        from maintenance.forecasts import causes, drift, replay, store, track_record
        from reports.changes import kept as changes_made
        from reports.gains import kept as gains
        from reports.record import work as record

        stamp, wanted = folder / "made-from", _made_from(fixtures)
        is_kept = stamp.exists() and stamp.read_text() == wanted and _database(folder).exists()
        if not is_kept:
            stamp.unlink(missing_ok=True)
            _remove(_database(folder))
        with _Steps(2 if is_kept else 12, self.stdout) as step:
            step("Getting the demo's database ready")
            call_command("migrate", verbosity=0, interactive=False)
            if not is_kept:
                step("Loading three years of records")
                call_command("load_history", str(fixtures), allow_future=True, verbosity=0)
                plant = Plant.objects.get()
                row = store.fit_and_forecast(plant, tell=lambda words: step(f"Forecasts: {words}"))
                step("Looking for dies that wear faster than they did")
                drift.store(drift.compute(plant, as_of=row.as_of))
                step("Looking back on two years of forecasts")
                fits: dict = {}
                track_record.look_back_and_store(plant, fits=fits)
                replay.look_back_and_store(plant, fits, most=DECISIONS)
                causes.keep(causes.compute(plant, as_of=row.as_of))
                step("Ordering the spares of two years again")
                record.keep(record.work_out(plant, fits))
                step("Setting dies in presses, and work on the bench")
                show_counters(plant)
                show_bench(plant)
                show_inspections(plant)
                step("Trying every change on every die")
                gains.work_out(plant).keep()
                changes_made.work_out(plant).keep()
                step("Signing a report, and a link for a customer")
                (folder / LINK).write_text(show_owners(plant))
            step(f"The demo shop is in {folder}")
            plant = Plant.objects.get()
            create_users(plant)
        stamp.write_text(wanted)
        return plant

    def _serve(self, port: int, host: str, folder: Path) -> None:
        from django.urls import reverse

        from diestore.access.demo_users import PINS, USERS
        from diestore.service.own_workers import OwnWorkers
        from diestore.service.serving import make_server
        from diestore.wsgi import application

        try:
            server = make_server(application, f"{host}:{port}")
        except OSError as error:
            raise CommandError(_busy(port)) from error
        self.stdout.write("")
        self.stdout.write(f"The pages are at http://{host}:{port}/  (Ctrl-C stops them)")
        users = ", ".join(user.name for user in USERS)
        self.stdout.write(f"Sign in as {users}; the password is demo- and the name: {USERS[2].password}")
        pins = " or ".join(f"{name} (PIN {pin})" for name, pin in PINS.items())
        self.stdout.write(f"The tablet is shared: whoever logs on it picks {pins}.")
        link = folder / LINK
        if link.exists() and (token := link.read_text()):
            self.stdout.write(f"A customer's link: http://{host}:{port}{reverse('reports:tools', args=[token])}")
        own_workers = OwnWorkers(1)
        own_workers.start()
        try:
            server.run()
        finally:
            own_workers.stop()


class _Steps:
    """What is being done: a bar on a terminal, a line a step elsewhere."""

    def __init__(self, number: int, stdout) -> None:
        from tqdm import tqdm

        form = "{desc:<58} {bar} {n_fmt} of {total_fmt}"
        self._bar = tqdm(total=number, disable=None, bar_format=form, leave=False, ncols=96)
        self._stdout, self._begun = stdout, False

    def __enter__(self) -> _Steps:
        return self

    def __call__(self, words: str) -> None:
        if self._bar.disable:
            self._stdout.write(words)
            return
        if self._begun:
            self._bar.update()
        self._begun = True
        self._bar.set_description_str(words)

    def __exit__(self, *args) -> None:
        self._bar.close()


def _end_with_the_other(goes: Path | None) -> None:
    """End when the process that started this one is gone: its end of our input is closed then. goes: a folder that is
    deleted first; a file may be written there meanwhile, so it is tried again."""
    while os.read(0, 1):
        pass
    for _ in range(20):
        if goes is not None and goes.exists():
            shutil.rmtree(goes, ignore_errors=True)
    os._exit(0)


def _database(folder: Path) -> Path:
    return folder / "demo.sqlite3"


def _is_the_demo(folder: Path) -> bool:
    """Whether this process knows only the demo's database."""
    return settings.DEMO and Path(settings.DATABASES["default"]["NAME"]) == _database(folder)


def _made_from(fixtures: Path) -> str:
    """What the demo's database is made from: its tables, and the code that loads them and computes the forecasts."""
    digest = hashlib.sha256()
    paths = [*sorted(fixtures.glob("*.csv"))]
    paths += [
        settings.BASE_DIR / "fixtures" / f"demo_{name}.py" for name in ("counters", "bench", "inspections", "owners")
    ]
    for pattern in ("diestore/migrations/*.py", "diestore/handbook/*.py", "maintenance/**/*.py"):
        paths += sorted(settings.BASE_DIR.glob(pattern))
    for path in paths:
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _remove(database: Path) -> None:
    for ending in ("", "-wal", "-shm", "-journal"):
        path = database.with_name(database.name + ending)
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise CommandError(f"{path} cannot be replaced: is the demo still running? ({error.strerror})") from error


def _port(asked: int | None) -> int:
    text = os.environ.get("PORT", "") if asked is None else str(asked)
    try:
        port = int(text or 8000)
    except ValueError:
        raise CommandError(f"PORT is {text!r}. Write a number, such as PORT=8001.") from None
    if not 1 <= port <= 65_535:
        raise CommandError(f"PORT is {port}. It must lie between 1 and 65535.")
    return port


def _check_free(port: int, host: str) -> None:
    with socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_STREAM) as probe:
        if os.name == "posix":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host.strip("[]"), port))
        except PermissionError:
            raise CommandError(f"Port {port} needs rights that you do not have. Take a higher one.") from None
        except OSError:
            raise CommandError(_busy(port)) from None


def _busy(port: int) -> str:
    return f"Port {port} is in use: perhaps the demo runs already. Take another one, such as PORT={port + 1}."
