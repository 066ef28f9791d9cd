"""A worker: does what stands in the queue until it is stopped."""

from __future__ import annotations

import argparse
import logging
import signal

from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = (
        "Work the queue: forecasts after entries, fits, loads. Any number of these may run, on any number of hosts. "
        "Stopped by Ctrl-C or SIGTERM, it finishes the task in hand first; a second time stops it at once."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--until-empty", action="store_true", help="End when nothing waits any more.")
        parser.add_argument("--idle", type=float, default=1.0, metavar="SECONDS", help="How often to look; default 1.")

        parser.add_argument("--with-parent", action="store_true", help=argparse.SUPPRESS)

    def handle(self, *, until_empty, idle, with_parent, verbosity, **options) -> None:
        from diestore.service import own_workers, queue

        if verbosity:
            logging.getLogger("diestore.service.queue").setLevel(logging.INFO)
        worker = queue.Worker(looks_out=not until_empty)
        if with_parent:
            own_workers.end_with_parent(worker)

        def stop(number, frame) -> None:
            if worker.stopping.is_set():
                raise SystemExit(128 + number)
            worker.stop()

        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, stop)
        if verbosity:
            self.stdout.write(f"Worker {worker.name} begins.")
        worker.work(until=(lambda: True) if until_empty else None, idle_s=idle)
        if verbosity:
            self.stdout.write(f"Worker {worker.name} has ended.")
