"""The pages, served to the shop."""

from __future__ import annotations

import signal

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.core.servers.basehttp import get_internal_wsgi_application

WORKERS_AT_MOST = 16


class Command(BaseCommand):
    help = (
        "Serve the pages, within limits that let no single client shut the others out. Stopped by Ctrl-C or SIGTERM, "
        "it finishes the answers in hand first."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--listen", default="127.0.0.1:8000", metavar="HOST:PORT", help="Default 127.0.0.1:8000.")
        parser.add_argument("--threads", type=int, default=8, help="Requests answered at once; default 8.")
        parser.add_argument("--connections", type=int, default=1_000, help="Connections at once; default 1,000.")
        parser.add_argument(
            "--workers",
            type=int,
            help="Workers started with it, for what follows from entries and for the nights; default 1, and none "
            "where DIESTORE_WORKERS says that they run by themselves.",
        )
        parser.add_argument(
            "--trusted-proxy",
            default="127.0.0.1",
            metavar="ADDRESS",
            help="With DIESTORE_PROXIES: from where the server in front reaches this one; its word "
            "on addresses and on HTTPS is taken. Default 127.0.0.1, the same machine; * for any.",
        )

        parser.add_argument(
            "--demo-port",
            type=int,
            metavar="PORT",
            help="Where the demo shop is shown, if somebody has it shown on its page. Default: the next free port "
            "after that of the pages, and none where a server in front leads here; 0: never.",
        )

    def handle(self, *, listen, threads, connections, workers, trusted_proxy, demo_port, verbosity, **options) -> None:
        from diestore.service import demo_shop, serving
        from diestore.service.own_workers import OwnWorkers

        if threads < 1 or connections < 10:
            raise CommandError("It needs one thread and ten connections at least.")
        if workers is None:
            workers = 0 if settings.FORECASTS_BY_WORKERS else 1
        if not 0 <= workers <= WORKERS_AT_MOST:
            raise CommandError(f"It starts between none and {WORKERS_AT_MOST} workers.")
        if demo_port is not None and not 0 <= demo_port <= 65_535:
            raise CommandError("--demo-port is a number between 0 and 65535.")
        try:
            servers = serving.make_server(
                get_internal_wsgi_application(),
                listen,
                threads=threads,
                limits=serving.Limits(connections=connections),
                proxy=_proxy(trusted_proxy),
            )
        except ValueError as error:
            raise CommandError(f"--listen is {listen!r}. Write HOST:PORT, such as 127.0.0.1:8000. ({error})") from error
        except OSError as error:
            raise CommandError(f"{listen} cannot be listened at: {error.strerror or error}.") from error

        def stop(number, frame) -> None:
            raise SystemExit(0)

        signal.signal(signal.SIGTERM, stop)
        own_workers = OwnWorkers(workers)
        own_workers.start()
        demo = None if settings.DEMO else demo_shop.Keeper(*demo_shop.place_of(listen), demo_port=demo_port)
        if demo is not None:
            demo.start()
        if verbosity:
            self.stdout.write(f"The pages are at http://{listen}/  (Ctrl-C stops them)")
            self._say_how_to_start(listen)
        try:
            servers.run()
        except KeyboardInterrupt:
            self.stdout.write("\nStopped.")
        finally:
            if demo is not None:
                demo.stop()
            own_workers.stop()

    def _say_how_to_start(self, listen: str) -> None:
        from django.db import DatabaseError

        from diestore.access import first_start

        try:
            first = first_start.nobody_yet()
        except DatabaseError:
            return  # the pages say what is wrong with it
        if first:
            self.stdout.write(
                f"Nobody has a sign-in yet. Make the first one at http://{listen}/first-start/?code={first_start.code()}\n"
                f"or, where that is another address, with the code {first_start.code()}."
            )


def _proxy(address: str):
    from diestore.service.serving import Proxy

    return Proxy(address=address, hops=settings.PROXIES) if settings.PROXIES else None
