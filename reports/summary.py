"""The shop in a few lines of plain text: what the demo prints, from the same functions as the pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from diestore.models import Plant
from maintenance import queries
from maintenance.remaining import chance_of_going

from . import spares

SHOWN = 5  # of each list
COMFORTABLE = 0.9  # a die with a better chance than this is not listed


def lines(plant: Plant) -> list[str]:
    """The whole summary, line by line."""
    return [*due_lines(plant), "", *spare_lines(plant)]


def due_lines(plant: Plant) -> list[str]:
    """The dies least likely to finish their next order, with the edge that is likely to go first."""
    orders = queries.next_order_by_die(plant)
    rows, comfortable = [], 0
    for forecast in queries.newest_forecasts(plant):
        order = orders.get(forecast.die_id)
        if order is None or not forecast.remaining:
            continue
        chance = chance_of_going(forecast.remaining, order.hits_left)
        if chance > COMFORTABLE:
            comfortable += 1
            continue
        edge = forecast.limiting
        rows.append(
            (
                chance,
                forecast.die.code,
                f"{round(100 * chance)} in 100",
                order.number,
                _day(order.due),
                f"{order.hits_left:,}",
                f"{forecast.half_hits:,}",
                f"{edge.code} {edge.get_kind_display()}" if edge else "",
            )
        )
    rows.sort()
    if not rows:
        return [f"Every die with a forecast will very probably finish its next order ({comfortable})."]
    head = ("die", "chance to finish", "order", "due", "hits left to run", "half go so far", "likely to go first")
    made = ["Next dies due", *_table(head, [row[1:] for row in rows[:SHOWN]])]
    more = len(rows) - SHOWN
    if more > 0:
        made.append(f"  and {more} more below {round(100 * COMFORTABLE)} in 100;")
    made.append(f"  {comfortable} dies finish their next order with better than {round(100 * COMFORTABLE)} in 100.")
    return made


def spare_lines(plant: Plant) -> list[str]:
    """The spares that had to be ordered by now, the longest overdue first."""
    short = spares.spares_to_order(plant)
    if not short:
        return ["No spare is short."]
    head = ("spare", "what it is", "on hand", "coming", "days to get", "used by then", "to order", "since")
    rows = [
        (
            row.code,
            row.item.description,
            f"{row.on_hand}",
            f"{row.on_order}",
            f"{row.lead_days}",
            f"0 to {row.nine_in_ten}",
            f"{row.quantity}",
            _day(row.order_by),
        )
        for row in short
    ]
    return ["Spares short", *_table(head, rows[:SHOWN]), *_more(len(rows))]


def _more(number: int) -> list[str]:
    return [f"  and {number - SHOWN} more"] if number > SHOWN else []


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b}"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Columns of even width; numbers to the right."""
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    numbers = [all(row[i].replace(",", "").replace(".", "").isdigit() for row in rows) for i in range(len(head))]

    def line(row: Sequence[str]) -> str:
        cells = (
            cell.rjust(width) if right else cell.ljust(width)
            for cell, width, right in zip(row, widths, numbers, strict=True)
        )
        return "  " + "  ".join(cells).rstrip()

    return [line(head), *map(line, rows)]
