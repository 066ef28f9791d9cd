"""Bills with something in every column, for the round trip."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from diestore.register.models import Party
from maintenance.log import bills
from maintenance.models import BenchWork, Bill, PurchaseOrder

from .pictured import drawn


def billed(*, plant, by, die) -> None:
    """One in another currency with a PDF, a credit note with a photo, and one struck out without any paper."""
    supplier = Party.objects.create(code="orrell", role="supplier")
    order = PurchaseOrder.objects.filter(plant=plant, placed_at__isnull=False).first()
    work = BenchWork.objects.filter(die=die).order_by("pk").first()

    def enter(number: str, *of: bills.LineFor, **more) -> Bill:
        lines = [
            bills.BillLine(
                amount=Decimal("10.37") * n,
                kind=kind,
                of=one,
                words="= by van; all",
                payer=die.owner if n == 1 else None,
            )
            for n, (kind, one) in enumerate(zip(("repair", "other", "sharpening"), of, strict=False), 1)
        ]
        return bills.enter_bill(
            by=by, plant=plant, number=number, supplier=supplier, on=dt.date(2024, 2, len(number)), lines=lines,
            total=sum((one.amount for one in lines), Decimal(0)), own_currency="EUR", **more,
        )  # fmt: skip

    pdf, photo = bills.paper_of(b"%PDF-1.7\n\x00\xff%%EOF\n"), bills.paper_of(drawn("green"))
    of_work = bills.LineFor(die=work.die, bench_work=work)
    enter("R-1", of_work, bills.LineFor(purchase=order), bills.LineFor(die=die), currency="USD",
          worth_of_one=Decimal("0.925417"), note="=1+1; paid", paper=pdf)  # fmt: skip
    enter("G-77", bills.LineFor(), currency="EUR", is_credit=True, paper=photo)
    bills.strike_bill(by=by, bill=enter("R-1234", bills.LineFor(die=die), currency="EUR"), reason="= of another shop")
