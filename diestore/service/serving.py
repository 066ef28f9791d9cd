"""The web server, within limits that leave room for everybody: waitress, and who has to go when it is full.

A connection costs a client nothing. So one that brings no request is closed after a while, a request has to be whole
within a time, however slowly its bytes drip in, and where all places are taken, the connection that has waited longest
without a whole request makes room for the next.
"""

from __future__ import annotations

import contextlib
import logging
import sys
import time
from dataclasses import dataclass

from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.server import TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher

logger = logging.getLogger(__name__)

ON_WINDOWS = 400  # connections: what its select() takes, with some left for files
FOR_FILES = 100  # open files that are no connections
LOOKS_S = 1  # so often is looked who has to go
STUCK_S = 3  # an answer of which nobody takes a byte for so long is not on its way
LAST_S = 10  # so long answers in hand are waited for at the end


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What a client may take. Seconds, connections at once, bytes of a request's body (a form has 2.5 MB at most,
    a spreadsheet 8, a photo 15; what is large waits on the disk, not in memory)."""

    idle_s: int = 20
    request_s: float = 60
    connections: int = 1_000
    body_bytes: int = 15_500_000


@dataclass(frozen=True, kw_only=True)
class Proxy:
    """A server of ours in front: from where its word is taken, over how many hops, and on what."""

    address: str
    hops: int = 1
    headers: tuple[str, ...] = ("x-forwarded-for", "x-forwarded-proto")


class _Channel(HTTPChannel):
    """A connection that knows since when a whole request is waited for."""

    def __init__(self, *args, **kwargs) -> None:
        self.waits_since = self.begun_at = time.monotonic()
        super().__init__(*args, **kwargs)

    def received(self, data):
        half = self.request
        taken = super().received(data)
        if self.request is not half:
            self.begun_at = time.monotonic()
        if self.requests:
            self.waits_since = time.monotonic()
        return taken

    @property
    def is_busy(self) -> bool:
        """Whether a request is being answered, or its answer is on the way."""
        return bool(self.requests or self.total_outbufs_len)

    @property
    def is_stuck(self) -> bool:
        """Whether its client asked and does not take the answer."""
        return not self.requests and time.time() - self.last_activity > STUCK_S


class Server(TcpWSGIServer):
    channel_class = _Channel

    def __init__(self, *args, limits: Limits, **kwargs) -> None:
        self.limits = limits
        super().__init__(*args, **kwargs)

    def maintenance(self, now) -> None:
        super().maintenance(now)
        for channel in list(self.active_channels.values()):
            is_slow = time.monotonic() - channel.begun_at > self.limits.request_s
            if channel.request is not None and is_slow and not channel.is_busy:
                channel.will_close = True

    def handle_accept(self) -> None:
        super().handle_accept()
        if len(self._map) >= self.adj.connection_limit:
            self._make_room()

    def _make_room(self) -> None:
        idle = [c for c in self.active_channels.values() if not (c.will_close or (c.is_busy and not c.is_stuck))]
        if idle:
            min(idle, key=lambda channel: channel.waits_since).will_close = True


class Servers:
    """One or more addresses that are listened at, with one set of threads."""

    def __init__(self, servers: list[Server], map: dict, dispatcher) -> None:
        self.servers, self._map, self._dispatcher = servers, map, dispatcher

    def run(self) -> None:
        """Serve until SystemExit or KeyboardInterrupt, then finish what is in hand."""
        first = self.servers[0]
        try:
            self._loop(first)
        except (SystemExit, KeyboardInterrupt):
            self._finish(first)
            raise

    def _loop(self, first: Server, **how) -> None:
        first.asyncore.loop(timeout=how.pop("timeout", 1), map=self._map, use_poll=True, **how)

    def _finish(self, first: Server) -> None:
        end = time.monotonic() + LAST_S
        for server in self.servers:
            server.accepting = False
        while time.monotonic() < end and self._busy():
            self._loop(first, timeout=0.1, count=1)
        self._dispatcher.shutdown(timeout=1)
        first.asyncore.close_all(self._map)

    def _busy(self) -> bool:
        return any(channel.is_busy for server in self.servers for channel in server.active_channels.values())


def make_server(
    application, listen: str, *, threads: int = 8, limits: Limits | None = None, proxy: Proxy | None = None
) -> Servers:
    """Listen at `HOST:PORT`; requests are answered once `run` is called. Raises ValueError, OSError."""
    limits = limits or Limits()
    trusted = {}
    if proxy is not None:
        trusted = {
            "trusted_proxy": proxy.address,
            "trusted_proxy_count": proxy.hops,
            "trusted_proxy_headers": set(proxy.headers),
        }
    adjusted = Adjustments(
        listen=listen,
        threads=threads,
        ident=None,
        channel_timeout=limits.idle_s,
        cleanup_interval=LOOKS_S,
        connection_limit=_room_for(limits.connections),
        max_request_body_size=limits.body_bytes,
        asyncore_use_poll=True,  # select() takes no file numbered above 1023
        clear_untrusted_proxy_headers=True,
        **trusted,
    )
    dispatcher = ThreadedTaskDispatcher()
    dispatcher.set_thread_count(threads)
    map: dict = {}
    servers = [
        Server(application, map, dispatcher=dispatcher, adj=adjusted, sockinfo=place, limits=limits)
        for place in adjusted.listen
    ]
    return Servers(servers, map, dispatcher)


def _room_for(connections: int) -> int:
    """As many connections as the system lets this process open, asked to let it more where it may."""
    if sys.platform == "win32":
        return min(connections, ON_WINDOWS)
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = connections + FOR_FILES
    if soft != resource.RLIM_INFINITY and soft < wanted:
        with contextlib.suppress(OSError, ValueError):
            more = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
            resource.setrlimit(resource.RLIMIT_NOFILE, (more, hard))
            soft = more
    if soft == resource.RLIM_INFINITY or soft >= wanted:
        return connections
    room = max(10, soft - FOR_FILES)
    logger.warning("only %s connections at once: the system lets this process open %s files", room, soft)
    return room
