"""Counts that come in, against a bare Django view that reads JSON and writes one row: the same middleware, the same
database, the same client. Also what counting itself takes, which messages wait for only once in five minutes."""

from __future__ import annotations

import datetime as dt
import json
import os
import tempfile
import time

from .table import amount, heading, line

SINGLE, BATCHES, BATCH = 1_500, 12, 500
START = dt.datetime(2026, 1, 5, 8, 0, tzinfo=dt.UTC)
MINUTES = 24 * 60

urlpatterns: list = []


def _at(n: int) -> str:
    return (START + dt.timedelta(seconds=n)).isoformat()


def _bare_view():
    from django.http import JsonResponse
    from django.utils.dateparse import parse_datetime
    from django.views.decorators.csrf import csrf_exempt

    from maintenance.models import CounterReading

    def bare(request):
        told = json.loads(request.body)
        row = CounterReading.objects.create(
            device_id=told["device"],
            counter_id=told["counter"],
            message_id=told["id"],
            total=told["total"],
            at=parse_datetime(told["at"]),
            raw=request.body.decode(),
        )
        return JsonResponse({"id": row.message_id}, status=201)

    bare = csrf_exempt(bare)
    bare.login_required = False
    return bare


def counters() -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.environ["DATABASE_URL"] = f"sqlite:///{folder}/counters.sqlite3"
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
        import django

        django.setup()
        from django.conf import settings
        from django.core.management import call_command
        from django.test import Client
        from django.urls import include, path

        settings.ALLOWED_HOSTS = ["testserver"]
        settings.ROOT_URLCONF = __name__
        urlpatterns[:] = [path("bare/", _bare_view()), path("api/v1/", include("reports.api"))]
        call_command("migrate", verbosity=0)
        _measure(Client())


def _measure(client) -> None:
    from maintenance.counters import intake, settle
    from maintenance.models import Counter, CounterReading, OpenCount, Run
    from tests import factories as make
    from tests.counters import shop

    made = shop.device()
    die = make.die(strokes_per_minute=60)
    make.position(die)
    for press in ("P1", "P2", "P3"):
        shop.press(press)
    shop.set_die(die, press_code="P3")
    header = {"Authorization": f"Bearer {made.token}"}

    def send(path, message, **more):
        answer = client.post(path, json.dumps(message), content_type="application/json", **more)
        assert answer.status_code in (200, 201), answer.content
        return answer

    # One message each way first, so that nothing is imported or made while the clock runs.
    send("/api/v1/counts", {"id": "first", "press": "P1", "total": 0, "at": _at(0)}, headers=header)
    counter = Counter.objects.get(press__code="P1")
    bare = {"device": made.device.pk, "counter": counter.pk}
    send("/bare/", bare | {"id": "bare first", "total": 0, "at": _at(0)})

    rounds = []
    for turn in range(3):  # in turns, so that a slow moment of the machine meets both
        began = time.perf_counter()
        for n in range(SINGLE // 3):
            send("/bare/", bare | {"id": f"bare {turn} {n}", "total": n, "at": _at(n)})
        bare_s = time.perf_counter() - began
        began = time.perf_counter()
        for n in range(SINGLE // 3):
            message = {"id": f"{turn} {n}", "press": "P2", "total": n, "at": _at(n)}
            send("/api/v1/counts", message, headers=header)
        rounds.append((bare_s, time.perf_counter() - began))
    bare_s, single_s = (min(both[k] for both in rounds) / (SINGLE // 3) for k in (0, 1))
    began = time.perf_counter()
    for k in range(BATCHES):
        some = [
            {"id": f"b{k} {n}", "press": "P1", "total": BATCH * k + n, "at": _at(BATCH * k + n)} for n in range(BATCH)
        ]  # fmt: skip
        assert send("/api/v1/counts/batch", {"counts": some}, headers=header).json()["taken"] == BATCH
    batch_s = (time.perf_counter() - began) / (BATCHES * BATCH)
    heading(f"Counters: messages one by one, on SQLite; {CounterReading.objects.count():,} readings kept")
    line("a bare Django view that writes one row", amount(bare_s))
    single, batch = bare_s / single_s, bare_s / batch_s
    line("one count through the interface", amount(single_s), f"{single:.2f} of the rate of the bare view",
         goal="at least 0.5", met=single >= 0.5)  # fmt: skip
    line("one count of a batch of 500", amount(batch_s), f"{batch:.0f} times the rate of the bare view",
         goal="at least 10", met=batch >= 10)  # fmt: skip

    rows = [
        intake.Message(id=f"d{m}", press="P3", total=60 * m, at=START + dt.timedelta(minutes=m))
        for m in range(MINUTES)
    ]  # fmt: skip
    for i in range(0, MINUTES, BATCH):
        intake.take(made.device, rows[i : i + BATCH])
    began = time.perf_counter()
    settle.settle_waiting()
    day_s = time.perf_counter() - began
    last = START + dt.timedelta(minutes=MINUTES)
    intake.take(made.device, [intake.Message(id="last", press="P3", total=60 * MINUTES, at=last)])
    began = time.perf_counter()
    settle.settle_waiting()
    again_s = time.perf_counter() - began
    hits = sum(r.hits for r in [*Run.objects.standing(), *OpenCount.objects.all()])
    assert hits == 60 * MINUTES
    runs = Run.objects.count()
    line(f"counting a day of {MINUTES:,} messages of a press", amount(day_s), f"{runs} runs and the open count")
    line("counting again after one more message", amount(again_s), f"1/{day_s / again_s:.0f} of the day")


if __name__ == "__main__":
    counters()
