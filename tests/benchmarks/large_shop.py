"""A shop large enough to show what slows down: rows as the service writes them, put in without its checks.

1,000 dies: 60,000 positions, 1,000,000 works, 60,000 runs; 5,000 dies: 500,000 positions, 5,000,000 works, 300,000
runs. The parts go with the dies.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np
from django.contrib.auth.models import Group, User
from django.utils import timezone

from diestore.access.models import Person
from diestore.register.models import (
    Cut,  # fmt: skip
    Die,
    Item,
    Output,
    Part,
    Party,
    Piece,
    Plant,
    Position,
    Press,
    Rate,
    Station,
    Stock,
    Variant,
)
from maintenance.models import (
    DieForecast,  # fmt: skip
    EdgeForecast,
    Fitting,
    FleetFit,
    Order,
    Reading,
    Replacement,
    Run,
    StockMovement,
    Stop,
    Work,
)

STATIONS, RUNS, SET_EVERY = 10, 60, 3  # a die; a place at each station is ground every third run or so
A_SHOP, A_GROUP = (6, 17), (10, 10)  # places at a station, works on each: of a shop, and of a group of plants
GROUP_FROM = 5_000  # dies
LEVELS = (0.01, *(round(0.05 * i, 2) for i in range(1, 20)), 0.99)
RESTS_ON = {"cycles": 17, "dull_ends": 2, "chipped_ends": 1, "prior_share": 0.2, "words": "this shop's records"}
BATCH = 2_000
DIES_AT_ONCE = 50  # made at once: bounds the memory


def build(dies: int, *, seed: int = 0) -> User:
    """Fills an empty, migrated database. Returns an administrator to look at the pages."""
    rng = np.random.default_rng(seed)
    now = timezone.now().replace(microsecond=0)
    plant = Plant.objects.create(code="large", name="Large shop")
    person = Person.objects.create(plant=plant, name="Ina T.")
    maker = Party.objects.create(code="punchmaker", role="supplier")
    presses = [Press.objects.create(plant=plant, code=f"P{n:02}") for n in range(30)]
    stocks = [
        Stock.objects.create(code=f"strip {n}", material="low-carbon steel", tensile_mpa=340, thickness_mm=0.5 + n / 4)
        for n in range(8)
    ]
    for kind, amount in (("toolroom hour", 60), ("press hour", 90), ("sorting hour", 30)):
        Rate.objects.create(plant=plant, kind=kind, valid_from=dt.date(2015, 1, 1), amount=amount)
    items = Item.objects.bulk_create(
        Item(
            code=f"PP-{n:05}", kind="pierce_punch", tool_steel="M2", hardness_hrc=62, length_mm=80,
            grind_allowance_mm=4, lead_days=int(rng.integers(5, 60)), unit_price=12 + n % 40, supplier=maker,
        )
        for n in range(max(dies * 2, 20))
    )  # fmt: skip
    _save(
        StockMovement(
            plant=plant, item=item, quantity=int(rng.integers(1, 12)), kind="count", at=now - dt.timedelta(days=300)
        )
        for item in items
    )
    fit = FleetFit.objects.create(
        plant=plant, as_of=now, known_at=now, records_hash="0" * 64, code_version="bench", parameters={}, cycles=0,
        dull_ends=0,
    )  # fmt: skip
    size = A_GROUP if dies >= GROUP_FROM else A_SHOP
    for first in range(0, dies, DIES_AT_ONCE):
        numbers = range(first, min(first + DIES_AT_ONCE, dies))
        _some(numbers, size, rng, now, plant, person, presses, stocks, items, fit)
    user = User.objects.create_superuser("bench")
    user.groups.add(Group.objects.get(name="administrator"))
    return user


def busy_day(*, dies: int, sharpened: int = 60) -> None:
    """Runs of so many dies, some of them sharpened whole, and their forecasts told again."""
    last = Run.objects.order_by("-at").first()
    at = last.at + dt.timedelta(seconds=1)
    ran = list(Die.objects.order_by("code")[:dies])
    default = dict(Variant.objects.filter(die__in=ran, is_default=True).values_list("die_id", "pk"))
    _save(
        Run(die=die, variant_id=default[die.pk], started=at, at=at + dt.timedelta(hours=1), hits=9_000,
            stock_id=last.stock_id, person_id=last.person_id)
        for die in ran
    )  # fmt: skip
    _save(
        Work(
            position=p, operation="ground", why="with set", found="sharp", removed_mm=0.12, person_id=last.person_id,
            set_key=f"{p.die_id} {at.isoformat()}", at=at + dt.timedelta(hours=2), heads_set=p.code == "1-A",
        )
        for p in Position.objects.filter(die__in=ran[:sharpened])
    )  # fmt: skip
    newest = DieForecast.objects.filter(die__in=ran, is_newest=True)
    again = list(newest)
    newest.update(is_newest=False)
    for row in again:
        row.pk = None
    DieForecast.objects.bulk_create(again)


def _some(numbers, size, rng, now, plant, person, presses, stocks, items, fit) -> None:
    """Some dies with all that belongs to them."""
    places, works = size
    made = Die.objects.bulk_create(
        Die(
            plant=plant, code=f"D-{n:05}", description=f"bracket {n}", usual_stock=stocks[n % 8],
            usual_press=presses[n % 30], strokes_per_minute=80, build_price=40_000, expected_parts=20_000_000,
        )
        for n in numbers
    )  # fmt: skip
    variants = Variant.objects.bulk_create(Variant(die=die, is_default=True) for die in made)
    parts = Part.objects.bulk_create(Part(number=f"part {die.code}") for die in made)
    Output.objects.bulk_create(Output(variant=v, part=p) for v, p in zip(variants, parts, strict=True))
    stations = Station.objects.bulk_create(
        Station(die=die, sequence=s, code=str(s)) for die in made for s in range(1, STATIONS + 1)
    )
    positions = _save(
        Position(
            die_id=station.die_id, station=station, code=f"{station.code}-{chr(65 + p)}",
            kind="pierce_punch" if p % 2 == 0 else "die_button", side="upper" if p % 2 == 0 else "lower",
            item=items[int(rng.integers(len(items)))], x_mm=40.0 * station.sequence, y_mm=15.0 * p,
        )
        for station in stations
        for p in range(places)
    )  # fmt: skip
    _save(
        Cut(die_id=up.die_id, code=f"cut {up.code}", upper=up, lower=low, length_mm=20, gap_mm=0.08)
        for up, low in zip(positions[::2], positions[1::2], strict=True)
    )
    pieces = _save(
        Piece(plant=plant, key=f"{p.die_id} {p.code}", item_id=p.item_id, tool_steel="M2", hardness_hrc=62)
        for p in positions
    )
    begun = now - dt.timedelta(days=RUNS * 12 + 1)
    _save(
        Replacement(position=p, piece_in=piece, why="first", at=begun, since_start=True, person=person)
        for p, piece in zip(positions, pieces, strict=True)
    )
    _save(Fitting(position=p, piece=piece) for p, piece in zip(positions, pieces, strict=True))
    orders = Order.objects.bulk_create(
        Order(
            plant=plant, number=f"O-{die.code}", part=part, die=die, parts=int(rng.integers(10_000, 400_000)),
            due=(now + dt.timedelta(days=int(rng.integers(1, 60)))).date(),
        )
        for die, part in zip(made, parts, strict=True)
    )  # fmt: skip
    _save(_runs(made, variants, orders, presses, stocks, person, begun, rng))
    _save(
        Stop(die=die, cause="burr", minutes=25, parts_scrapped=40, at=begun + dt.timedelta(days=12 * r, hours=9))
        for die in made
        for r in range(0, RUNS, 6)
    )
    _save(_works(positions, works, person, begun))
    _save(
        Reading(
            position=p, quantity="burr height", value_si=3e-5, typed_value="30", typed_unit="um",
            at=begun + dt.timedelta(days=12 * r, hours=8),
        )
        for p in positions[::12]
        for r in range(0, RUNS, 20)
    )  # fmt: skip
    _forecasts(made, positions, fit, now, rng)


def _runs(made, variants, orders, presses, stocks, person, begun, rng) -> Iterator[Run]:
    for number, (die, variant, order) in enumerate(zip(made, variants, orders, strict=True)):
        for r in range(RUNS):
            start = begun + dt.timedelta(days=12 * r, hours=6)
            yield Run(
                die=die, variant=variant, started=start, at=start + dt.timedelta(hours=10), press=presses[number % 30],
                hits=int(rng.integers(5_000, 40_000)), stock=stocks[number % 8], person=person,
                order=order if r == RUNS - 1 else None,
            )  # fmt: skip


def _works(positions, works, person, begun) -> Iterator[Work]:
    for p in positions:
        for w in range(works):
            at = begun + dt.timedelta(days=12 * (w * SET_EVERY + 1), hours=18)
            yield Work(
                position=p, operation="ground", why="with set", found="sharp" if w % 8 else "dull", removed_mm=0.12,
                hours=0.1, set_key=f"{p.die_id} {w}", at=at, person=person, heads_set=p.code == "1-A",
            )  # fmt: skip


def _forecasts(made, positions, fit, now, rng) -> None:
    at_die: dict[int, list[Position]] = {}
    for p in positions:
        at_die.setdefault(p.die_id, []).append(p)
    told = DieForecast.objects.bulk_create(
        DieForecast(
            fit=fit, die=die, as_of=now, limiting=at_die[die.pk][0], hits_since_sharpening=20_000,
            rests_on=RESTS_ON | {"cycles": 900, "dull_ends": 110},
            **_left(rng),
        )
        for die in made
    )  # fmt: skip
    _save(
        EdgeForecast(
            forecast=f, position=p, hits_since_sharpening=20_000, usual_hits=150_000, share_left=0.6,
            first_to_go=1 / len(at_die[f.die_id]), rests_on=RESTS_ON,
            **{k: v for k, v in _left(rng).items() if k != "fresh"},
        )
        for f in told
        for p in at_die[f.die_id]
    )  # fmt: skip


def _left(rng) -> dict:
    half = float(rng.integers(10_000, 300_000))
    remaining = {f"{p:g}": round(half * (np.log1p(-p) / np.log(0.5)) ** 0.4) for p in LEVELS}
    return {
        "remaining": remaining,
        "fresh": {"remaining": {p: v + v // 2 for p, v in remaining.items()}, "ln_sd": 0.3},
        "half_hits": int(half),
        "nine_in_ten_hits": remaining["0.1"],
    }


def _save(rows) -> list:
    """In batches; an event's key is given by its own default."""
    rows = list(rows)
    return type(rows[0]).objects.bulk_create(rows, batch_size=BATCH) if rows else []
