"""PURE. The tables of orders to suppliers in a history folder. What came of a line stands in shelf_moves.csv."""

from __future__ import annotations

from .described import INT, MONEY, Sort, Table
from .described import may as _may
from .described import must as _must

PURCHASE_ORDERS = Table(
    file="purchase_orders.csv",
    about="Orders of spares to suppliers. One that was not placed is a draft.",
    same=("purchase",),
    columns=(
        _must("purchase", "The order's own name, never used twice.", longest=160),
        _must("number", "Its number, once a plant.", longest=40),
        _may("supplier", "With whom. A draft may not know it yet.", longest=40),
        _must("currency", "Of its prices: three letters, ISO 4217.", longest=3),
        _may("wanted_on", "By when the shop wants all of it.", Sort.DATE),
        _may("their_number", "What the supplier calls it.", longest=60),
        _may("note", "Stands on the order.", Sort.WORDS, longest=500),
        _must("opened", "When it was drafted.", Sort.TIME, past=True),
        _may("placed", "When it was placed. What was placed is on the way: see shelf_moves.csv.", Sort.TIME, past=True),
        _may("cancelled", "When it was cancelled as a whole.", Sort.TIME, past=True),
        _may("cancelled_reason", "Why.", Sort.WORDS, longest=300),
        _may("changes", "How often it was changed.", Sort.WHOLE, at_least=0, at_most=INT),
    ),
)  # fmt: skip
PURCHASE_LINES = Table(
    file="purchase_lines.csv",
    about="The lines of the orders in purchase_orders.csv.",
    same=("line",),
    columns=(
        _must("line", "The line's own name, never used twice.", longest=160),
        _must("purchase", "The order, as in purchase_orders.csv.", longest=160),
        _may("sequence", "Its place on the order. Empty: 1.", Sort.WHOLE, at_least=0, at_most=INT),
        _must("spare", "The spare.", longest=80),
        _may("spare_revision", "Revision of its drawing.", longest=20),
        _must("quantity", "Pieces.", Sort.WHOLE, at_least=1, at_most=1_000_000),
        _may("unit_price", "Of one piece, as agreed.", Sort.MONEY, at_least=0, at_most=MONEY),
        _may("promised_on", "The day that the supplier promised.", Sort.DATE),
    ),
)  # fmt: skip
PURCHASE_STEPS = Table(
    file="purchase_steps.csv",
    about="What somebody did about an order, in words.",
    same=("key",),
    columns=(
        _must("key", "The step's own name, never used twice.", longest=160),
        _must("purchase", "The order, as in purchase_orders.csv.", longest=160),
        _must("at", "When.", Sort.TIME, past=True),
        _must("sort", "What was done.", longest=10,
              choices=("opened", "changed", "placed", "confirmed", "chased", "received", "cancelled")),
        _must("words", "In words.", Sort.WORDS, longest=500),
        _may("person", "Who.", longest=120),
        _may("sign_in", "The sign-in it was done under.", longest=150),
    ),
)  # fmt: skip
PURCHASE_TABLES = (PURCHASE_ORDERS, PURCHASE_LINES, PURCHASE_STEPS)
