"""Signed condition reports with something in every column, for the round trip."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from maintenance.log import owners

SAID = owners.ReportSaid(
    die="H-201", description="=bracket; left", plant="North", shop="Quillfen", currency="CHF", owner="Dovecott",
    owns=True, status="in service", on=dt.date(2024, 2, 9), records_until=dt.date(2024, 2, 8), standing="Runs",
    condition="It is fit to run.", decision="Nothing has to be decided now.", hits=12, parts=24, steel="About 9 parts.",
    years=(owners.YearSaid(year=2024, hits=12, parts=24, sharpenings=1, ground=2, replaced=1, broken=0, repairs=0,
                           other=1),),
    pieces=(owners.PieceSaid(place="1-A", what="punch", spare="PP", grinds=3, parts=900, months=0.1 + 0.2,
                             by=dt.date(2024, 9, 1)),),
    steps=(owners.StepSaid(spares=("PP",), places=("1-A",), parts=900, buys=80, is_big=True),),
    paid=(owners.PaidSaid(on=dt.date(2024, 1, 3), what="Building", amount=Decimal("20000.25")),), who_pays="Dovecott.",
)  # fmt: skip


def signed(*, die, by, customer) -> None:
    """One for the owner, and one of the shop's own that is struck out."""
    owners.sign(
        person=by.person, user=by.user, die=die, customer=customer, said=SAID, note="=1+1; seen in the press\nand clean"
    )
    slip = owners.sign(person=by.person, user=by.user, die=die, customer=None, said=SAID, key="slip-1")
    owners.strike_report(person=by.person, report=slip, reason="= another tool")
