"""PURE. Tool steels by AISI designation and coatings, as far as the wear model needs them."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Grade:
    name: str
    group: str
    usual_hrc: float | None


_GRADES = {
    g.name: g
    for g in (
        Grade(name="O1", group="O1", usual_hrc=60),
        Grade(name="A2", group="A2", usual_hrc=60),
        Grade(name="D2", group="D2", usual_hrc=60),
        Grade(name="S7", group="S7", usual_hrc=56),
        Grade(name="M2", group="M2", usual_hrc=63),
        Grade(name="M4", group="PM", usual_hrc=64),
        Grade(name="T15", group="PM", usual_hrc=66),
        Grade(name="PM", group="PM", usual_hrc=63),
        Grade(name="PM-M4", group="PM", usual_hrc=64),
        Grade(name="carbide", group="carbide", usual_hrc=None),
    )
}


def grade(text: str | None) -> Grade | None:
    """The grade of a written name; None where nothing is written; an unknown name is a group of its own."""
    if not text or not text.strip():
        return None
    plain = re.sub(r"[\s_]+", "-", text.strip().upper())
    for name, found in _GRADES.items():
        if plain == name.upper():
            return found
    if plain.startswith(("PM", "CPM")):
        return _GRADES["PM"]
    if plain in ("WC", "HM", "TUNGSTEN-CARBIDE", "HARD-METAL"):
        return _GRADES["carbide"]
    return Grade(name=text.strip(), group=text.strip(), usual_hrc=None)


def coating(text: str | None) -> str:
    """The coating as the wear model names it; nothing written means none."""
    if not text or text.strip().lower() in ("", "none", "no", "uncoated", "-"):
        return "none"
    plain = text.strip().lower()
    return {"tin": "TiN", "ticn": "TiCN", "alcrn": "AlCrN"}.get(plain, text.strip())
