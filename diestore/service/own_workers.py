"""Workers that a web process starts for itself: processes that end with it, and are begun anew when they die.

A small shop runs one command. What follows from an entry is worked out beside the answers and not in them, and the
night's work is asked for when its time has come.
"""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import threading
import time

from django.conf import settings

from . import queue

logger = logging.getLogger(__name__)

LOOKS_EVERY_S = 0.2  # how soon such a worker sees what waits
LIVES_S = 60  # one that ended sooner than that is not begun anew at once
PAUSE_AT_MOST_S = 300
LAST_S = 15  # so long a task in hand is waited for at the end


class OwnWorkers:
    def __init__(self, number: int) -> None:
        self._ending = threading.Event()
        self._children: dict[int, subprocess.Popen] = {}
        self._threads = [threading.Thread(target=self._keep, args=(n,), daemon=True) for n in range(number)]

    def start(self) -> None:
        queue.has_own_workers(bool(self._threads))
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Let them finish the task in hand, then end them."""
        queue.has_own_workers(False)
        self._ending.set()
        for child in self._children.values():
            if child.stdin is not None:
                child.stdin.close()
        end = time.monotonic() + LAST_S
        for child in self._children.values():
            try:
                child.wait(timeout=max(0.1, end - time.monotonic()))
            except subprocess.TimeoutExpired:
                child.kill()  # its task is given back by whoever works next

    def _keep(self, number: int) -> None:
        pause = 1.0
        while not self._ending.is_set():
            begun = time.monotonic()
            child = self._children[number] = _start()
            child.wait()
            if self._ending.is_set():
                return
            pause = 1.0 if time.monotonic() - begun > LIVES_S else min(2 * pause, PAUSE_AT_MOST_S)
            logger.warning(
                "the worker of this web process ended (%s); another begins in %.0f s", child.returncode, pause
            )
            self._ending.wait(pause)


def _start() -> subprocess.Popen:
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "work", "--with-parent"]
    command += ["--idle", str(LOOKS_EVERY_S), "--verbosity", "0"]
    return subprocess.Popen(command, cwd=settings.BASE_DIR, stdin=subprocess.PIPE)


def end_with_parent(worker: queue.Worker) -> None:
    """Stop the worker when the process that started this one is gone: its end of our input is closed then."""

    def listen() -> None:
        while os.read(0, 1):
            pass
        worker.stop()

    threading.Thread(target=listen, daemon=True, name="parent").start()
