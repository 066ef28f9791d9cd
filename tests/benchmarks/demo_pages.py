"""Every page of the demo that links lead to: time of the server, and how heavy it is without its drawings.

    python -m tests.benchmarks.demo_pages [FOLDER]        (of a demo: `manage.py demo --folder FOLDER`; default .demo)

Goal: 200 ms of the processor, 150 kB without drawings. Of each name of an address one is looked at, as the
administrator, once to warm up and then thrice; the time is the least of the three.
"""

from __future__ import annotations

import os
import re
import sys
import time
from collections import Counter
from html import unescape
from pathlib import Path
from urllib.parse import urljoin, urlsplit

MS_AT_MOST, KB_AT_MOST = 200, 150
OF_A_NAME, LOOKS = 1, 3
DRAWN = re.compile(rb"<svg\b.*?</svg>|data:image/[^\"')]*", re.S)
LINK = re.compile(rb"""<a\s[^>]*?href="([^"#][^"]*)\"""")


def main(folder: str) -> None:
    database = Path(folder).resolve() / "demo.sqlite3"
    os.environ |= {"DATABASE_URL": f"sqlite:///{database}", "DIESTORE_DEMO": "1", "DIESTORE_WORKERS": "1"}
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
    import django

    django.setup()
    from django.contrib.auth.models import User
    from django.test import Client
    from django.urls import resolve

    client = Client(HTTP_HOST="localhost")
    client.force_login(User.objects.get(username="admin"))
    waiting, looked_at, rows = ["/", "/find/?q=k-1", "/find/?q=k123+5a", "/keys/"], Counter(), []
    seen = set(waiting)
    while waiting:
        address = waiting.pop(0)
        match = resolve(urlsplit(address).path)
        name = match.view_name + ("?" if urlsplit(address).query else "")
        if looked_at[name] == OF_A_NAME or match.view_name.startswith("admin:"):
            continue
        answer = client.get(address)
        if answer.status_code != 200 or not answer["Content-Type"].startswith("text/html"):
            continue
        looked_at[name] += 1
        times = []
        for _ in range(LOOKS):
            start = time.process_time()
            client.get(address)
            times.append(1000 * (time.process_time() - start))
        bare = DRAWN.sub(b"", answer.content)
        rows.append((min(times), len(bare) / 1000, len(answer.content) / 1000, address))
        print(".", end="", flush=True, file=sys.stderr)
        for link in LINK.findall(answer.content):
            there = urljoin(address, unescape(link.decode()))
            if there.startswith("/") and there not in seen and not there.startswith("/static/"):
                seen.add(there)
                waiting.append(there)
    told(rows)


def told(rows: list[tuple[float, float, float, str]]) -> None:
    print(f"{len(rows)} pages; goal {MS_AT_MOST} ms of the processor, {KB_AT_MOST} kB without drawings")
    print(f"{'ms':>5} {'kB bare':>8} {'kB':>6}  address")
    for ms, bare, whole, address in sorted(rows, reverse=True):
        missed = " *" if ms > MS_AT_MOST or bare > KB_AT_MOST else ""
        print(f"{ms:5.0f} {bare:8.0f} {whole:6.0f}  {address}{missed}")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else ".demo")
