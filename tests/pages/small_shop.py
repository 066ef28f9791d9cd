"""A few small dies with runs, one sharpening and an order each, and their forecasts."""

from __future__ import annotations

from maintenance.forecasts import store
from tests import factories as make


def shop(dies: int, *, orders: bool = True, fit: bool = True) -> list:
    made = []
    for n in range(dies):
        die = make.die(f"H-{n:03d}", description="hinge leaf")
        for code in ("1-A", "2-A"):
            make.position(die, code)
        make.position(die, "2-P", kind="pilot", length_mm=None, tool_steel="M2")
        for day in range(1, 7):
            make.run(die, day + n * 0.001, 9_000)
        make.sharpen(die, 7.5, die.positions.get(code="1-A"))
        make.run(die, 8 + n * 0.001, 20_000)
        if orders:
            make.order(die, f"26-{n:04d}", parts=30_000)
        made.append(die)
    if fit:
        store.fit_and_forecast(made[0].plant)
    return made


def more(first: int, last: int) -> None:
    """Further dies, smaller still, and the forecasts of all."""
    for n in range(first, last):
        die = make.die(f"H-{n:03d}")
        make.position(die)
        make.order(die, f"26-{n:04d}")
    store.fit_and_forecast(make.plant())
