"""The ledger of a die on A4: what it came to, the elements, the periods, every entry. Nothing on it hangs on the day on
which it is printed: the same entries give the same bytes."""

from __future__ import annotations

import io
from collections.abc import Sequence
from decimal import Decimal

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from diestore.drawing import paper
from diestore.drawing.paper import BOLD, HIGH, WIDE
from reports.costing.ledger import By, Payer, Plan
from reports.costing.own_log import ELEMENTS
from reports.format import day
from reports.paper import CODE_SIDE, EDGE, ROOM, ReportPage

from . import periods
from .ledger import DieLedger

SHORT = {"build": "Build", "stop": "Stops"}
METHOD = (
    "Cash counts on the day on which hours were worked, spares came and bills were written; accrual when what "
    "they bought was used. The build price is used up with the parts that the die is built for. Each hour is "
    "priced by the rate of its day, each spare by its order, the price list or the register of its day. Spares on "
    "the shelf are in no die's ledger. Worn, ground out, with the set or as planned counts as planned; chipped, "
    "broken, repairs and stops as unplanned (common practice, no source). Hours, spares and stops are paid by whom "
    "the shop said for this die or for the entry, else by the shop; a bill by whom it names, the build by the owner "
    "of the die. Stages after IEC 60300-3-3."
)


class _Page(ReportPage):
    def __init__(self, canvas: Canvas, told: DieLedger, address: str) -> None:
        super().__init__(canvas, left=address, named=f"ledger {told.die.code}")
        self.told, self.address = told, address


def pdf(told: DieLedger, *, address: str, shop: str, currency: str) -> bytes:
    """As many pages as the entries need."""
    paper.fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(WIDE * mm, HIGH * mm), invariant=True)
    canvas.setTitle(f"Ledger: {told.die.code}")
    page = _Page(canvas, told, address)
    _head(page, shop, currency)
    _elements(page)
    _payers(page)
    _periods(page)
    _entries(page)
    page.heading("How it is worked out")
    page.words(METHOD)
    if told.left_out:
        page.y -= 1.5
        page.words(f"Not in these figures: {' '.join(told.left_out)}")
    page.foot()
    canvas.save()
    return out.getvalue()


def _money(value: Decimal) -> str:
    return f"{value:,.2f}" if value else "–"


def _head(page: _Page, shop: str, currency: str) -> None:
    told = page.told
    ledger, die = told.ledger, told.die
    paper.code(page.canvas, page.address, WIDE - EDGE - CODE_SIDE + 2, HIGH - EDGE - CODE_SIDE + 3, CODE_SIDE)
    room = ROOM - CODE_SIDE - 4
    page.y -= 7
    page.text(EDGE, die.code, size=22, bold=True, room=room)
    beside = EDGE + paper.width(die.code, BOLD, 22) + 4
    if die.description and beside < EDGE + room - 20:
        page.text(beside, die.description, size=12, room=EDGE + room - beside)
    page.y -= 6.6
    page.text(EDGE, f"Ledger, {shop}" if shop else "Ledger", size=13, bold=True, room=room)
    days = [on for entry in ledger.entries for on in (entry.paid, entry.used) if on is not None]
    page.y -= 5
    until = f"Entries of {day(min(days))} to {day(max(days))}" if days else "No entry yet"
    owner = f"; owner: {die.owner}" if die.owner_id else ""
    page.text(EDGE, f"{until}{owner}; all money in {currency}", size=9, room=room)
    page.y = HIGH - EDGE - CODE_SIDE + 1
    page.rule(width=0.8)
    page.y -= 6
    page.text(EDGE, f"Paid {ledger.paid:,.2f}, of it used up {ledger.used:,.2f}.", size=12, bold=True, room=ROOM)
    if ledger.held:
        page.y -= 5
        page.text(EDGE, f"{ledger.held:,.2f} stand in the die: build price for which no part is made yet.", size=9)


def _elements(page: _Page) -> None:
    elements = periods.elements_of(page.told.ledger)
    page.heading("By element")
    head = ["Element", "Stage", "Paid", "Used up", "Held", "Planned", "Unplanned", "Not said", "Shop", "Owner",
            "Customer"]  # fmt: skip

    def row(name: str, stage: str, some: Sequence[periods.OfElement]) -> list[str]:
        def together(values) -> str:
            return _money(sum(values, Decimal(0)))

        return [
            name, stage, together(e.paid for e in some), together(e.used for e in some), together(e.held for e in some),
            *(together(e.plans[plan] for e in some) for plan in Plan),
            *(together(e.payers[payer] for e in some) for payer in Payer),
        ]  # fmt: skip

    rows = [row(SHORT.get(e.key, e.name), e.stage, [e]) for e in elements]
    wide = [17.0, 16.0, *[(ROOM - 33) / 9] * 9]
    page.table(head, [*rows, row("Together", "", elements)], wide, left=2, last_bold=True, size=6.4)


def _payers(page: _Page) -> None:
    told = page.told
    elements, who = periods.elements_of(told.ledger), periods.payers_of(told.ledger, told.payers)
    if not who:
        return
    page.heading("Who paid")
    rows = [
        [one.words, *(_money(one.elements.get(e.key, Decimal(0))) for e in elements), _money(one.paid)] for one in who
    ]
    rows.append(["Together", *(_money(e.paid) for e in elements), _money(told.ledger.paid)])
    head = ["Who pays", *(SHORT.get(e.key, e.name) for e in elements), "Paid"]
    across = len(head) - 1
    page.table(head, rows, [48.0, *[(ROOM - 48) / across] * across], left=1, last_bold=True)


def _periods(page: _Page) -> None:
    ledger = page.told.ledger
    elements = periods.elements_of(ledger)
    keys = [e.key for e in elements]
    page.heading("Month by month: elements as they were used up")
    rows = [
        [
            one.name,
            *(_money(one.elements.get(key, Decimal(0))) for key in keys),
            *(_money(one.plans.get(plan, Decimal(0))) for plan in Plan),
            _money(one.used),
            _money(one.paid),
        ]
        for one in periods.periods_of(ledger)
    ]
    plans = {plan: sum((e.amount for e in ledger.entries if e.used and e.plan == plan), Decimal(0)) for plan in Plan}
    rows.append(
        ["Together", *(_money(e.used) for e in elements), *(_money(plans[plan]) for plan in Plan),
         _money(ledger.total(By.ACCRUAL)), _money(ledger.total(By.CASH))]
    )  # fmt: skip
    head = [
        "Month",
        *(SHORT.get(e.key, e.name) for e in elements),
        "Planned",
        "Unplanned",
        "Not said",
        "Used up",
        "Paid",
    ]
    across = len(head) - 1
    page.table(head, rows, [19.0, *[(ROOM - 19) / across] * across], left=1, last_bold=True)


def _entries(page: _Page) -> None:
    told = page.told
    page.heading("Every entry")
    ordered = sorted(told.ledger.entries, key=lambda e: (e.paid or e.used, e.paid is None, e.key))
    rows = [
        [
            day(entry.paid),
            day(entry.used),
            SHORT.get(entry.element, ELEMENTS[entry.element][0]),
            entry.words,
            entry.basis,
            entry.plan.value,
            told.payers.get(entry.key, "") or entry.payer.value,
            f"{entry.amount:,.2f}",
        ]
        for entry in ordered
    ]
    head = ["Paid", "Used up", "Element", "What", "How it is priced", "Planned?", "Who pays", "Amount"]
    page.table(head, rows, [17.0, 17.0, 18.5, 37.5, 42.5, 16.0, 22.0, ROOM - 170.5], left=7)
