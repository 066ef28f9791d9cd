"""PURE. Stock materials: which family a name belongs to."""

from __future__ import annotations

import re

FAMILIES = ("carbon steel", "stainless", "high-strength steel", "aluminium", "copper alloy", "other")

_PATTERNS = (
    ("stainless", r"stainless|inox|\b1\.4\d{3}\b|\b(30[1-9]|316|321|409|430)\b|x\d+cr"),
    (
        "high-strength steel",
        r"\bdp\s?\d|\btrip\b|martens|\bms\s?\d{3,}|high.?strength|hsla|\bs[57]\d\dmc|spring s|c[67]\d|dual",
    ),
    ("aluminium", r"alumin|\bal\b|\b[1-7]0?\d\d\d-?[ohtf]\d*|\baw\b|\ben aw"),
    ("copper alloy", r"copper|brass|bronze|\bcu|messing|beryll|nickel silver"),
    ("carbon steel", r"carbon|mild|\bdc0|cold.?rolled|\bcrs\b|galvan|steel|\bs235|\bdd1|\bc\d\d\b"),
)


def family_of(name: str) -> str:
    """The stock family that a free name belongs to, 'other' where none is recognised. Never raises."""
    text = name.lower()
    return next((family for family, pattern in _PATTERNS if re.search(pattern, text)), "other")
