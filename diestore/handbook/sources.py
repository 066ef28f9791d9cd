"""PURE. Where a figure of the handbook comes from, carried with the figure to the page that shows it."""

from __future__ import annotations

from dataclasses import dataclass

FROM_MEMORY = "from memory"
COMMON_PRACTICE = "common practice, no source"

SCHULER = "T. Altan (ed.), Metal Forming Handbook, Springer 1998"
GROOVER = "M. P. Groover, Fundamentals of Modern Manufacturing, clearance allowance table (20.1 in the 3rd and 4th ed.)"
KALPAKJIAN = "S. Kalpakjian and S. R. Schmid, Manufacturing Engineering and Technology, 4th ed. 2001, ex. 16.1, p. 396"
PRESS_TOOL_NOTES = "press-tool course notes; common practice, no source"
AHSS = "WorldAutoSteel AHSS guidelines, tool wear, clearances and burr height"
DP_TEST = "Auto/Steel Partnership test on DP780 and DP980, The Fabricator, optimal tooling approaches for punching AHSS"
SHEAR_TABLE = "table of shear and tensile strengths in stamping handbooks, grades of GB/T 700 and GB/T 699"
ASM_PROPERTIES = "typical properties, ASM Metals Handbook vol. 2, from memory"
ASM_TITANIUM = "550 MPa shear over 950 MPa tensile, Ti-6Al-4V annealed, ASM material data sheet"


@dataclass(frozen=True, kw_only=True)
class Span:
    """From low to high, both included, with the source of both. A single figure has low = high."""

    low: float
    high: float
    source: str

    def __post_init__(self) -> None:
        if not self.low <= self.high:
            raise ValueError(f"A span from {self.low} to {self.high} is none.")

    @property
    def middle(self) -> float:
        return (self.low + self.high) / 2

    def __contains__(self, value: float) -> bool:
        return self.low <= value <= self.high


def about(value: float, source: str) -> Span:
    return Span(low=value, high=value, source=source)
