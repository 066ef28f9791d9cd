"""The volume at which a dearer tool with cheaper parts has paid for itself."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from .money import amount

Cheaper = Literal["A", "B", "same"]


@dataclass(frozen=True, kw_only=True)
class BreakEven:
    """parts: where both cost the same; None where one is cheaper at every volume, or both are alike.

    cheaper_below, cheaper_above: "A", "B" or "same" (the same on both sides where the lines do not cross).
    """

    parts: Decimal | None
    cheaper_below: Cheaper
    cheaper_above: Cheaper

    def cheaper_at(self, parts: Decimal | int) -> Cheaper:
        if self.parts is None or parts < self.parts:
            return self.cheaper_below
        return "same" if parts == self.parts else self.cheaper_above


def break_even(*, tool_cost_a: Decimal, part_cost_a: Decimal, tool_cost_b: Decimal, part_cost_b: Decimal) -> BreakEven:
    """q = (Ta - Tb) / (Pb - Pa): tool cost T once, cost P for each part.

    Limits: T does not depend on the volume; neither wears out before q.
    Source: P. C. Sharma, A Textbook of Production Engineering, 11th ed., S. Chand, 2008, ex. 5.36, p. 279.
    """
    ta, tb = amount(tool_cost_a, "the cost of tool A"), amount(tool_cost_b, "the cost of tool B")
    pa, pb = amount(part_cost_a, "the cost of a part with A"), amount(part_cost_b, "the cost of a part with B")
    at_first: Cheaper = "A" if (ta, pa) < (tb, pb) else "B" if (tb, pb) < (ta, pa) else "same"
    in_the_end: Cheaper = "A" if (pa, ta) < (pb, tb) else "B" if (pb, tb) < (pa, ta) else "same"
    if at_first == in_the_end:
        return BreakEven(parts=None, cheaper_below=in_the_end, cheaper_above=in_the_end)
    return BreakEven(parts=(ta - tb) / (pb - pa), cheaper_below=at_first, cheaper_above=in_the_end)
