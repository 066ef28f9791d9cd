"""Words that no page says any more, each with what is said instead."""

from __future__ import annotations

import re
from collections.abc import Iterable

REFUSED = {
    r"^Close$": "Borderline, as a state; in a press shop the slide closes",
    r"\bgo(es)? this many more\b|\bhalf go\b|\b9 in 10 go\b": "half last another ... hits",
    r"\bcycles?\b": "interval, from grind to grind; a press's cycle is a stroke",
    r"\bwith (an )?open orders?\b|\bfor which order\b|\border 26-\d{4}\b|\bstrokes on order\b"
    r"|\bfinish(ing)? (its|their|the|an) order\b": "job, of a customer; an order is for spares",
    r"\bTell me\b": "Work it out",
    r"\bstored problems\b|\bwisetool\b": "the source itself, or common practice",
    r"^from memory, no source$": "said once above the table",
    r"\bits own record and the shop's\b": "said only where it is not so",
    r"\bFit of \d|\blog as of\b": "Worked out ... from entries up to ...",
    r"\bWear model\b": "Gap and steel",
    r"\bas often as not\b|\bas often more as less\b": "even chance",
    r"\bnot told\b|\bnobody said\b": "not recorded, not entered",
    r"\bcomes? no more\b(?! often)": "cancelled",
    r"\bOn hand\b|\bon the way\b(?!, not sharpened)": "on the shelf, on order",
    r"\b(is|are) like that\b": "matches",
    r"\b[A-Z]{3} of die\b": "the die has cost ... per thousand parts",
    r"\d um\b": "µm",
    r"^(Keep|Put into the list|Change it|Leave it|Take back|Ask again)$": "Save, Cancel, Undo",
    r"\bHow right such\b": "Track record",
}
_ANY = re.compile("|".join(f"(?:{words})" for words in REFUSED))


def refused(texts: Iterable[str]) -> list[str]:
    """The pieces of a page's text that say what is refused."""
    return [text for text in (" ".join(text.split()) for text in texts) if _ANY.search(text)]
