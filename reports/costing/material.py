"""What the material of a part costs: the least that a scrapped part is worth."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from .money import MoneyRefused, amount, quantity


@dataclass(frozen=True, kw_only=True)
class StripMaterial:
    """gross: the material bought for a part; scrap_credit: what its waste brings back; used: share in the part."""

    gross: Decimal
    scrap_credit: Decimal
    used: Decimal

    @property
    def net(self) -> Decimal:
        return self.gross - self.scrap_credit


def strip_material(
    *,
    sheet_cm2: Decimal,
    part_cm2: Decimal,
    thickness_mm: Decimal,
    density_g_cm3: Decimal,
    price_per_kg: Decimal,
    scrap_price_per_kg: Decimal = Decimal(0),
) -> StripMaterial:
    """mass = area x thickness x density; gross = mass of the sheet x price; credit = mass of the waste x scrap price.

    sheet_cm2: area of strip for one part (pitch x width / parts in a pitch); part_cm2: area of the finished part.
    Source: R. J. Eggert, worked sheet-metal cost sheet (Boothroyd and Dewhurst's way), university notes.
    """
    sheet, part = quantity(sheet_cm2, "the area of sheet"), quantity(part_cm2, "the area of the part")
    if sheet == 0 or part > sheet:
        raise MoneyRefused(f"a part of {part} cm2 does not come out of {sheet} cm2 of sheet.")
    kg_per_cm2 = quantity(thickness_mm, "the thickness") / 10 * quantity(density_g_cm3, "the density") / 1000
    return StripMaterial(
        gross=sheet * kg_per_cm2 * amount(price_per_kg, "the price of a kg"),
        scrap_credit=(sheet - part) * kg_per_cm2 * amount(scrap_price_per_kg, "the scrap price of a kg"),
        used=part / sheet,
    )
