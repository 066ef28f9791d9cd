"""PURE. Where a figure of the handbook comes from, carried with the figure to the page that shows it."""

from __future__ import annotations

from dataclasses import dataclass

FROM_MEMORY = "from memory"
COMMON_PRACTICE = "common practice, no source"

SCHULER = "T. Altan (ed.), Metal Forming Handbook, Springer 1998"
GROOVER = "M. P. Groover, Fundamentals of Modern Manufacturing, clearance allowance table, as quoted in stored problems"
KALPAKJIAN = "S. Kalpakjian and S. R. Schmid, Manufacturing Engineering and Technology, 4th ed. 2001, ex. 16.1, p. 396"
PRESS_TOOL_NOTES = "press-tool course notes, wisetool.com (formulas and clearance)"
AHSS = "WorldAutoSteel AHSS guidelines, tool wear, clearances and burr height, ahssinsights.org"
DP_TEST = "Auto/Steel Partnership test on DP780 and DP980, The Fabricator, optimal tooling approaches for punching AHSS"
SHEAR_TABLE = "shear and tensile strengths of stamping stock, machinemfg.com, metal mechanical properties chart"
SHEAR_BANDS = "shop technical data page, gtproductionsystems.com (wide bands)"


@dataclass(frozen=True, kw_only=True)
class Span:
    """From low to high, both included, with the source of both. A single figure has low = high."""

    low: float
    high: float
    source: str

    def __post_init__(self):
        if not self.low <= self.high:
            raise ValueError(f"A span from {self.low} to {self.high} is none.")

    @property
    def middle(self) -> float:
        return (self.low + self.high) / 2

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high


def about(value: float, source: str) -> Span:
    return Span(low=value, high=value, source=source)
