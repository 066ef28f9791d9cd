"""One client cannot keep the others out: connections kept open, requests that never become whole, large bodies."""

from __future__ import annotations

import contextlib
import signal
import socket
import threading
import time

import pytest

from diestore.service import serving

from .running import ROOT, Web

HALF = b"GET /alive/ HTTP/1.1\r\nHost: 127.0.0.1\r\n"
WHOLE = HALF + b"\r\n"


class Crowd:
    """Connections of one client that stay open."""

    def __init__(self, port: int) -> None:
        self.port, self.sockets = port, []

    def open(self, number: int, sends: bytes) -> None:
        for _ in range(number):
            one = socket.create_connection(("127.0.0.1", self.port), timeout=10)
            one.sendall(sends)
            self.sockets.append(one)

    def close(self) -> None:
        for one in self.sockets:
            one.close()


@pytest.fixture
def crowd_at():
    made = []

    def make(port: int) -> Crowd:
        made.append(Crowd(port))
        return made[-1]

    yield make
    for crowd in made:
        crowd.close()


def answered(port: int, sends: bytes, *, within_s: float = 10) -> bytes:
    with socket.create_connection(("127.0.0.1", port), timeout=within_s) as one:
        one.sendall(sends)
        told = b""
        while more := one.recv(4_096):
            told += more
        return told


def test_half_open_requests_and_browsers_that_stay_keep_nobody_out(site, crowd_at):
    web = site.web()
    web.wait()
    crowd = crowd_at(web.port)
    crowd.open(130, HALF)
    begun = time.monotonic()
    assert web.ask("/alive/", timeout=10).status == 200
    crowd.open(130, WHOLE)
    assert web.ask("/first-start/", timeout=10).status == 200
    assert time.monotonic() - begun < 20


def test_where_all_places_are_taken_who_waited_longest_goes(site, crowd_at):
    web = site.web("127.0.0.1", "--connections", "40")
    web.wait()
    crowd = crowd_at(web.port)
    crowd.open(200, HALF)
    for _ in range(5):
        assert web.ask("/alive/", timeout=10).status == 200
        crowd.open(20, HALF)


@pytest.mark.parametrize(
    "head", [b"Content-Length: 300000000\r\n\r\n", b"Transfer-Encoding: chunked\r\n\r\n"], ids=["told", "in chunks"]
)
def test_a_large_body_is_refused_before_it_is_taken(site, head):
    web = site.web()
    web.wait()
    chunk = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
    with socket.create_connection(("127.0.0.1", web.port), timeout=10) as one:
        one.sendall(b"POST /sign-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\n" + head)
        sent = 0
        with contextlib.suppress(OSError):  # it hangs up
            while b"chunked" in head and sent < 20_000_000:
                one.sendall(chunk)
                sent += len(chunk)
        with contextlib.suppress(ConnectionResetError):
            assert b" 413 " in one.recv(200)
    assert sent < 20_000_000, "it took all of it"
    assert web.ask("/alive/").status == 200


def slow_app(environ, start_response):
    if environ["PATH_INFO"] == "/slow/":
        time.sleep(1.5)
    start_response("200 OK", [("Content-Type", "text/plain"), ("Content-Length", "4")])
    return [b"done"]


def stop(*args) -> None:
    raise SystemExit(0)


@pytest.fixture
def serves():
    """A server in this process whose limits are short enough to be waited for."""
    made = []

    def start(**limits) -> int:
        servers = serving.make_server(slow_app, "127.0.0.1:0", limits=serving.Limits(**limits))
        server = servers.servers[0]

        def run() -> None:
            with contextlib.suppress(SystemExit, OSError):
                servers.run()

        thread = threading.Thread(target=run, daemon=True)
        thread.start()
        made.append((server, thread))
        return int(server.effective_port)

    yield start
    for server, thread in made:
        server.maintenance = stop
        thread.join(15)
        assert not thread.is_alive()


def hung_up(one: socket.socket, within_s: float) -> float:
    """Seconds until the other side hangs up, while a byte is sent now and then."""
    begun = time.monotonic()
    one.settimeout(0.3)
    while time.monotonic() - begun < within_s:
        try:
            one.sendall(b"x")
            if one.recv(1_000) == b"":
                return time.monotonic() - begun
        except TimeoutError:
            continue
        except OSError:
            return time.monotonic() - begun
    raise AssertionError(f"still open after {within_s:g} s")


def test_a_request_that_drips_in_has_to_be_whole_within_its_time(serves):
    port = serves(idle_s=30, request_s=2)
    with socket.create_connection(("127.0.0.1", port)) as one:
        one.sendall(HALF + b"X-Long: ")
        assert 1.5 < hung_up(one, 10) < 6
    assert answered(port, b"GET /slow/ HTTP/1.0\r\n\r\n").endswith(b"done"), "an answer may take as long as it takes"


def test_a_connection_without_a_byte_is_closed(serves):
    port = serves(idle_s=1)
    with socket.create_connection(("127.0.0.1", port), timeout=8) as one:
        assert one.recv(10) == b""


STOPPED = f"""
import signal, sys
sys.path.insert(0, {str(ROOT)!r})
from diestore.service import serving
from tests.service.test_serving import slow_app, stop
signal.signal(signal.SIGTERM, stop)
servers = serving.make_server(slow_app, sys.argv[1])
servers.run()
"""


def test_stopped_it_finishes_the_answer_in_hand(site):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    web = Web(site.start("-c", STOPPED, f"127.0.0.1:{port}"), "127.0.0.1", port)
    web.wait()
    told = []
    asks = threading.Thread(target=lambda: told.append(web.ask("/slow/")))
    asks.start()
    time.sleep(0.5)
    web.child.send_signal(signal.SIGTERM)
    asks.join(20)
    assert [answer.text for answer in told] == ["done"]
    assert web.child.wait(15) == 0


def test_what_is_no_address_is_said(site):
    assert "Write HOST:PORT" in site.manage("serve", "--listen", "somewhere:else", fails=True)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        said = site.manage("serve", "--listen", f"127.0.0.1:{taken.getsockname()[1]}", fails=True)
    assert "cannot be listened at" in said


def test_the_servers_word_in_front_is_taken_and_nobody_elses(new_site):
    """Under HTTPS: the server in front, on this machine, says that it was HTTPS."""
    site = new_site(DIESTORE_HTTPS="1", DIESTORE_PROXIES="1")
    believed, strict = site.web(), site.web("127.0.0.1", "--trusted-proxy", "192.0.2.1")
    said = b"GET /first-start/ HTTP/1.0\r\nHost: 127.0.0.1\r\nX-Forwarded-Proto: https\r\n\r\n"
    for web, status in ((believed, b" 200 "), (strict, b" 301 ")):
        web.wait()
        assert status in answered(web.port, said)[:20]
