"""What a part costs, all in: material, press, set-up, and the tool."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from .elements import THOUSAND
from .material import StripMaterial
from .money import MoneyRefused, amount, quantity

SIXTY = Decimal(60)


def parts_an_hour(*, strokes_per_minute: Decimal, parts_per_hit: int, availability: Decimal) -> Decimal:
    """strokes a minute x 60 x parts a hit x availability (the share of press time in which it runs, 0 to 1).

    Raises MoneyRefused where no part would come.
    """
    strokes, share = quantity(strokes_per_minute, "the strokes a minute"), quantity(availability, "the availability")
    if share > 1:
        raise MoneyRefused(f"a press that runs {share:.0%} of its time; it must be 100 % or less.")
    if isinstance(parts_per_hit, bool) or int(parts_per_hit) != parts_per_hit or parts_per_hit < 1:
        raise MoneyRefused(f"{parts_per_hit} parts a hit; at least one whole one is needed.")
    made = strokes * SIXTY * int(parts_per_hit) * share
    if made == 0:
        raise MoneyRefused("no part an hour: the strokes or the availability are nought.")
    return made


def feed_mm_a_minute(*, pitch_mm: Decimal, strokes_per_minute: Decimal) -> Decimal:
    """How fast the strip goes through: pitch x strokes a minute."""
    return quantity(pitch_mm, "the pitch") * quantity(strokes_per_minute, "the strokes a minute")


def scrapped_part(*, strip: StripMaterial, press_rate: Decimal | None, hourly: Decimal | None) -> Decimal:
    """What a part is worth that goes into the scrap: its strip less what scrap brings, and the press time in it.

    strip: of which nothing is in a part, so that all of it comes back as scrap. press_rate: money a press hour; hourly:
    parts an hour; where one is not known, the strip alone: the least that it is worth.
    """
    if press_rate is None or hourly is None:
        return strip.net
    made = quantity(hourly, "the parts an hour")
    if made == 0:
        raise MoneyRefused("no part an hour.")
    return strip.net + amount(press_rate, "the press rate") / made


@dataclass(frozen=True, kw_only=True)
class PartCost:
    """Money per thousand parts. None: not known, and not in `together`."""

    material: Decimal | None
    scrap_credit: Decimal | None
    press: Decimal | None
    set_up: Decimal | None
    tool: Decimal | None
    hourly: Decimal

    @property
    def together(self) -> Decimal:
        known = (self.material, self.press, self.set_up, self.tool)
        return sum((x for x in known if x is not None), Decimal(0)) - (self.scrap_credit or Decimal(0))

    @property
    def apart_from_tool(self) -> Decimal:
        return self.together - (self.tool or Decimal(0))


def part_cost(
    *,
    hourly: Decimal,
    press_rate: Decimal | None,
    set_up_hours: Decimal | None,
    parts_a_lot: int,
    material: StripMaterial | None,
    tool: Decimal | None,
) -> PartCost:
    """hourly: parts an hour. press_rate: money a press hour; set_up_hours: of a lot, the press standing meanwhile.

    press = rate / hourly x 1000; set-up = hours x rate / parts of a lot x 1000; material: gross of a part x 1000, less
    what its waste brings; tool: what a thousand parts cost of the tool.
    Raises MoneyRefused for an empty lot or no part an hour.
    """
    made = quantity(hourly, "the parts an hour")
    if made == 0:
        raise MoneyRefused("no part an hour.")
    if isinstance(parts_a_lot, bool) or int(parts_a_lot) != parts_a_lot or parts_a_lot < 1:
        raise MoneyRefused(f"a lot of {parts_a_lot} parts; at least one is needed.")
    rate = None if press_rate is None else amount(press_rate, "the press rate")
    hours = None if set_up_hours is None else quantity(set_up_hours, "the hours of a set-up")
    return PartCost(
        material=material.gross * THOUSAND if material else None,
        scrap_credit=material.scrap_credit * THOUSAND if material else None,
        press=rate / made * THOUSAND if rate is not None else None,
        set_up=hours * rate / int(parts_a_lot) * THOUSAND if rate is not None and hours is not None else None,
        tool=None if tool is None else amount(tool, "the cost of the tool"),
        hourly=made,
    )
