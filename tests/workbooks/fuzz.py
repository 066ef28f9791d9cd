"""Spreadsheets of all sorts at random: encodings, merged cells, dates as numbers, hidden rows, formulas, noise.

`python -m tests.workbooks.fuzz 10000` goes through so many in a database of its own and says what came of them.
"""

from __future__ import annotations

import datetime as dt
import random
from collections import Counter

from . import books
from .headings import COMPONENTS, KINDS, SHARPENINGS, STOCK

STEP = 100
SEPARATORS = [",", ";", "\t"]
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "cp1252"]
NOISE = [
    None,
    "",
    "-",
    "?",
    "n/a",
    "=1+1",
    "#REF!",
    "1.234",
    "1,234",
    "2,5",
    "~40k",
    "HRC 60",
    "60-62",
    "6 %",
    "0.060 in",
    '1/16"',
    "31.02.2025",
    "03.04.",
    "04/03/25",
    45_750,
    45_750.5,
    -1,
    10**12,
    1e308,
    0,
    True,
    "Summe",
    "ä" * 300,
    "'quoted",
    "\u202e",
    dt.datetime(2025, 4, 3),
    dt.datetime(1901, 1, 1),
    dt.datetime(2099, 1, 1),
    dt.time(6, 5),
]


def _day(chance: random.Random) -> object:
    day = dt.datetime(2024, 1, 1) + dt.timedelta(days=chance.randrange(600))
    form = chance.choice(["%d.%m.%Y", "%d.%m.%y", "%m/%d/%Y", "%d/%m/%Y", "%Y-%m-%d", None, "number"])
    return day if form is None else (day - dt.datetime(1899, 12, 30)).days if form == "number" else day.strftime(form)


def _figure(chance: random.Random, value: float) -> object:
    text = f"{value:,.2f}" if value < 1000 else f"{value:,.0f}"
    return chance.choice([value, text, text.replace(",", "_").replace(".", ",").replace("_", "."), f"{value:g} mm"])


def _rows(chance: random.Random, sort: str, n: int) -> list[list[object]]:
    language = chance.choice(list(SHARPENINGS))
    die = lambda: f"K-{chance.randrange(1, 5)}"  # noqa: E731
    if sort == "sharpenings":
        rows = [
            [die(), _day(chance), round(chance.uniform(5e3, 9e4)), _figure(chance, 0.15), "dull", "Ina"]
            for _ in range(n)
        ]
        return [list(SHARPENINGS[language]), *rows]
    if sort == "components":
        return [
            list(COMPONENTS[language]),
            *(
                [
                    die(),
                    i % 9 + 1,
                    f"{i % 9 + 1}-{i}",
                    KINDS[language],
                    "D2",
                    60,
                    _figure(chance, 6),
                    _figure(chance, 71),
                ]
                for i in range(n)
            ),
        ]
    return [
        list(STOCK[language]),
        *([f"PP-{i}", "punch", chance.randrange(9), 0, 6, _figure(chance, 12.5)] for i in range(n)),
    ]


def make(seed: int, rows_at_most: int = 30) -> tuple[str, bytes]:
    """(name, file) of one spreadsheet."""
    chance = random.Random(seed)
    sheets: dict[str, list[list[object]]] = {}
    for number in range(chance.choice([1, 1, 1, 2, 3])):
        rows = _rows(chance, chance.choice(["sharpenings", "components", "stock"]), chance.randrange(rows_at_most))
        for _ in range(chance.choice([0, 0, 1, 3, 12])):
            row = chance.choice(rows)
            row[chance.randrange(len(row))] = chance.choice(NOISE)
        rows = [list(row) for row in rows]
        if chance.random() < 0.3:
            rows = [[chance.choice(["List of K-9", "Stand 2025", None])], [], *rows]
        if chance.random() < 0.2:
            rows.append(["Summe", None, 12_345])
        if chance.random() < 0.1:
            chance.shuffle(rows)
        sheets[f"Sheet{number}"] = rows
    first = next(iter(sheets.values()))
    if chance.random() < 0.35:
        sep, encoding = chance.choice(SEPARATORS), chance.choice(ENCODINGS)
        text = books.comma_separated(first, sep=sep).decode()
        data = text.encode(encoding, errors="replace")
        name = f"book{seed}.csv"
    else:
        hidden = tuple(chance.sample(range(2, len(first) + 2), min(2, len(first)))) if chance.random() < 0.3 else ()
        merged = (f"A{len(first) + 3}:A{len(first) + 5}", "A2:A3") if chance.random() < 0.2 and len(first) > 3 else ()
        clean = {n: [[_writable(v) for v in row] for row in rows] for n, rows in sheets.items()}
        data, name = books.xlsx(clean, hidden=hidden, merged=merged), f"book{seed}.xlsx"
    if chance.random() < 0.05:  # damaged on the way
        at = chance.randrange(len(data) or 1)
        data = data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]
    if chance.random() < 0.02:
        data = data[: len(data) // 2]
    return name, data


def _writable(value: object) -> object:
    return "1e308" if value == 1e308 else value


def try_one(name: str, data: bytes, plant) -> str:
    """What came of one: refused, asks, wrong, in, nothing. Half saved or a traceback is an error."""
    from diestore.register.models import Die, Item
    from maintenance.models import Run, Work
    from maintenance.workbooks import take
    from maintenance.workbooks.read import BookRefused, read_book

    try:
        book = read_book(name, data)
    except BookRefused as refused:
        assert str(refused).endswith(".") and len(str(refused)) < 400, refused
        return "refused"
    grids = take.unpacked(take.packed(book.grids))
    answers = dict(books.ANSWERS)
    looked = take.look(grids, {"answers": answers}, plant, book=name)
    if looked.is_open:  # answer as somebody in a hurry: the first thing offered
        sheets = {
            str(n): {
                "answers": {
                    a.key: a.chosen or (a.options[0].value if a.options else "2025" if "year" in a.key else "K-9")
                    for a in r.assumed
                    if a.is_open
                }
            }
            for n, r in enumerate(looked.reads)
        }
        answers |= {
            a.key: a.chosen or (a.options[0].value if a.options else "1") for a in looked.lists.assumed if a.is_open
        }
        looked = take.look(grids, {"answers": answers, "sheets": sheets}, plant, book=name)
    before = tuple(m.objects.count() for m in (Die, Item, Run, Work))
    dry = take.bring(looked, plant, dry_run=True, bad_empty=True)
    assert tuple(m.objects.count() for m in (Die, Item, Run, Work)) == before, "a dry run saved something"
    if looked.is_open:
        return "asks"
    came = take.bring(looked, plant, dry_run=False, bad_empty=True)
    after = tuple(m.objects.count() for m in (Die, Item, Run, Work))
    assert came.is_refused == dry.is_refused, (came.problems[:2], dry.problems[:2])
    if came.is_refused:
        assert after == before, "half saved"
        return "wrong"
    assert came.added == dry.added
    again = take.bring(take.look(grids, {"answers": answers}, plant, book=name), plant, dry_run=True, bad_empty=True)
    assert again.is_refused or not (set(again.added) & {"dies", "runs", "sharpenings", "positions"}), again.added
    return "in" if came.added else "nothing"


def go_through(seeds, plant, rows_at_most: int = 30) -> Counter:
    from django.db import transaction

    came: Counter = Counter()
    for seed in seeds:
        name, data = make(seed, rows_at_most)
        try:
            with transaction.atomic():
                came[try_one(name, data, plant)] += 1
                transaction.set_rollback(True)
        except Exception as error:
            raise AssertionError(f"seed {seed}: {type(error).__name__}: {error}") from error
    return came


def main(many: int) -> None:
    import os
    import resource
    import time

    import django
    from django.conf import settings

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
    django.setup()
    from django.test.utils import get_runner, setup_test_environment

    setup_test_environment()
    runner = get_runner(settings)(verbosity=0)
    old = runner.setup_databases()
    try:
        from diestore.register.models import Plant

        plant, began = Plant.objects.create(code="main"), time.monotonic()
        total: Counter = Counter()
        for start in range(0, many, STEP):
            total += go_through(range(start, min(start + STEP, many)), plant)
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            seconds = time.monotonic() - began
            print(
                f"{min(start + STEP, many):,}: {dict(total)}, {seconds:,.0f} s, at most {peak:,.0f} MB",
                flush=True,
            )
    finally:
        runner.teardown_databases(old)


if __name__ == "__main__":
    import sys

    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
