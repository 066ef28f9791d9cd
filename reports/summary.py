"""The shop in a few lines of plain text: what the demo prints, from the same functions as the pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal

from diestore.access import shop
from diestore.register.models import Plant
from maintenance.forecasts import due
from maintenance.wording import numbers, odds
from reports.cost import sheets, year_ahead
from reports.format import how_old
from reports.spares import advice
from reports.spares.use import PlantAhead, day_of_records, today_at

SHOWN = 5  # of each list


def lines(plant: Plant) -> list[str]:
    """The whole summary, line by line."""
    until = day_of_records(plant)
    return [
        f"{plant}. {how_old(until, today_at(plant, until))}",
        "",
        *due_lines(plant),
        "",
        *spare_lines(plant),
        "",
        *cost_lines(plant),
    ]


def due_lines(plant: Plant) -> list[str]:
    """The dies least likely to finish their next order, with the edge that is likely to go first."""
    ordered = due.rows(plant)
    at_risk = [row for row in ordered if row.standing.css or row.chance is None]
    if not at_risk:
        return [f"No die is due: all {len(ordered)} with an open job will very probably finish it."]
    head = (
        "die", "chance of finishing", "", "job", "due", "hits to go", "half last another", "limited by",
        "hits on that edge",
    )  # fmt: skip
    rows = [
        (
            row.code,
            "not known" if row.chance is None else odds.percent(row.chance),
            row.standing.word,
            row.order_number,
            _day(row.due),
            f"{row.hits_left:,}",
            numbers.hits(row.half),
            row.limiting,
            "" if row.since_sharpened is None else f"{row.since_sharpened:,}",
        )
        for row in at_risk
    ]
    made = ["Next dies due", *_table(head, rows[:SHOWN]), *_more(len(rows))]
    others = len(ordered) - len(at_risk)
    return [*made, f"  The other {others} with an open job finish it with 4 in 5 or better."]


def spare_lines(plant: Plant) -> list[str]:
    """The spares that had to be ordered by now, the longest overdue first."""
    short = advice.spares_to_order(plant)
    if not short:
        return ["No spare is short."]
    head = (
        "spare",
        "what it is",
        "on the shelf",
        "on order",
        "lead time",
        "needed before it arrives",
        "to order",
        "by",
    )
    rows = [
        (
            row.code,
            row.item.description,
            f"{row.on_hand} and {row.usable_older} older" if row.older else f"{row.on_hand}",
            f"{row.on_order}",
            f"{row.lead_days}",
            f"9 in 10: at most {row.nine_in_ten}",
            f"{row.quantity}",
            _day(row.order_by),
        )
        for row in short
    ]
    return ["Spares short", *_table(head, rows[:SHOWN]), *_more(len(rows))]


def cost_lines(plant: Plant) -> list[str]:
    """What the dearest dies cost per thousand parts: by their own logs, and in the year ahead."""
    known = [row for row in sheets.cost_per_thousand(plant) if row.per_thousand is not None]
    if not known:
        return ["No die has a cost per thousand parts yet: nothing has run, or no price and no rate is entered."]
    ahead = PlantAhead.of(plant)
    rows = []
    for row in known[:SHOWN]:
        year = year_ahead.year_ahead(row, ahead=ahead).year
        band = year.per_thousand_band if year else None
        rows.append(
            (
                row.die.code,
                _money(row.per_thousand),
                _money(row.share("build")),
                _money(row.share("sharpening")),
                _money(row.share("spares")),
                _money(row.share("stop")),
                _money(year.per_thousand) if year else "not known",
                f"{_money(band[0])} to {_money(band[1])}" if band else "",
            )
        )
    head = ("die", "so far", "building", "sharpening", "spares", "stops", "year ahead", "8 in 10")
    made = [f"Cost per thousand parts, {shop.current().currency}, the dearest first", *_table(head, rows)]
    return [*made, *_more(len(known))]


def _more(number: int) -> list[str]:
    return [f"  and {number - SHOWN} more"] if number > SHOWN else []


def _day(day: dt.date) -> str:
    return f"{day.day} {day:%b}"


def _money(amount: Decimal | None) -> str:
    return "" if amount is None else f"{amount:,.2f}"


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Columns of even width; figures to the right."""
    widths = [max(len(row[i]) for row in (head, *rows)) for i in range(len(head))]
    figures = [
        all(row[i].strip(" %").replace(",", "").replace(".", "").isdigit() for row in rows) for i in range(len(head))
    ]

    def line(row: Sequence[str]) -> str:
        cells = (
            cell.rjust(width) if right else cell.ljust(width)
            for cell, width, right in zip(row, widths, figures, strict=True)
        )
        return "  " + "  ".join(cells).rstrip()

    return [line(head), *map(line, rows)]
