"""Sources name a book, a standard, an article or a body, or say that there is none."""

import re
from pathlib import Path

import pytest

from diestore import handbook
from diestore.handbook import materials, springs, tool_steels
from diestore.handbook.sources import COMMON_PRACTICE, FROM_MEMORY, PRESS_TOOL_NOTES, Span

ADDRESS = re.compile(r"\b[\w-]+\.(com|net|org|info|de|cn|my|vn|uk|jp|it|ch)\b|https?://|stored problem")
ROOM = Path(handbook.__path__[0])


@pytest.mark.parametrize("path", sorted(ROOM.glob("*.py")), ids=lambda path: path.stem)
def test_no_source_is_a_firms_address(path):
    # an address is no source: pages go, and a firm that sells a thing says what sells it
    texts = re.findall(r'"[^"\n]*"|"""[\s\S]*?"""', path.read_text(encoding="utf-8"))
    found = {match.group() for text in texts for match in ADDRESS.finditer(text)}
    assert not found


def test_every_figure_has_a_source_or_says_that_it_has_none():
    spans = [
        span
        for stock in materials.MATERIALS.values()
        for span in (stock.tensile_mpa, stock.shear_ratio, stock.shear_mpa, *stock.gap_pct)
        if span is not None
    ]
    spans += springs.SHEAR_MODULUS_MPA.values()
    for span in spans:
        assert isinstance(span, Span)
        assert len(span.source) > 5
    for grade in tool_steels.GRADES.values():
        assert len(grade.source) > 5
        assert (grade.usual_hrc is None) == (grade.usual_source == "")
    assert COMMON_PRACTICE in PRESS_TOOL_NOTES
    assert FROM_MEMORY in springs.SHEAR_MODULUS_MPA["oil-tempered, Cr-V and Si-Cr (EN 10270-2)"].source
