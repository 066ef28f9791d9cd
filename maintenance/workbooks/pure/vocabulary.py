"""PURE. How shops call what stands in their lists, in English, German, French, Spanish, Italian and Polish.

The words stand in `words.csv` beside this, folded (small letters, no accents); a heading is folded before it
is compared. All are from memory, no source.
"""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from functools import lru_cache
from pathlib import Path

from .forms import folded


def _words() -> dict[str, dict[str, tuple[str, ...]]]:
    """what the words are of -> word as kept here -> how it is said."""
    found: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    with (Path(__file__).parent / "words.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            found[row["of"]][row["word"]].append(row["said"])
    return {of: {word: tuple(said) for word, said in words.items()} for of, words in found.items()}


_BY_PHRASE = _words()
SUMS = _BY_PHRASE["sum"]["sum"]
PER_SIDE, BOTH_SIDES = _BY_PHRASE["per side"]["per side"], _BY_PHRASE["both sides"]["both sides"]
UNIT_WORDS = {said: unit for unit, words in _BY_PHRASE["unit"].items() for said in words}
_LANGUAGES = {name: frozenset(words) for name, words in _BY_PHRASE["language"].items()}


def _likeness(words: str, phrase: str) -> float:
    """How well a heading speaks of a phrase, 0 to 1."""
    if words == phrase:
        return 1.0
    mine, theirs = words.split(), phrase.split()
    if len(phrase) >= 3 and set(theirs) <= set(mine):
        return 0.75 + 0.15 * len(theirs) / len(mine) + 0.05 * (mine[: len(theirs)] == theirs)
    if len(phrase) >= 4 and (words.startswith(phrase) or words.endswith(phrase)):
        return 0.55 + 0.3 * len(phrase) / len(words)
    if len(phrase) >= 6 and phrase in words:
        return 0.5 + 0.2 * len(phrase) / len(words)
    if len(words) >= 4 and phrase.startswith(words):
        return 0.45 + 0.3 * len(words) / len(phrase)
    return 0.0


@lru_cache(maxsize=4096)
def likenesses(what: str, text: str) -> dict[str, float]:
    """Of each word of a vocabulary ("heading", "title", "kind", "reason", "found", "status", "side") how well a text
    speaks of it, from 0 to 1; those of which it does not are left out."""
    words = folded(text)
    if not words:
        return {}
    found = {
        key: max((_likeness(words, phrase) for phrase in phrases), default=0.0)
        for key, phrases in _BY_PHRASE[what].items()
    }
    return {key: score for key, score in found.items() if score > 0.4}


def best(what: str, text: str) -> tuple[str, float]:
    """The word that a text speaks of most, and how well; ('', 0) for none, or where two are alike."""
    found = sorted(likenesses(what, text).items(), key=lambda item: -item[1])
    if not found or (len(found) > 1 and found[0][1] - found[1][1] < 1e-9):
        return "", 0.0
    return found[0]


_BRACKETS = re.compile(r"[\[(]([^\])]{1,20})[\])]")


@lru_cache(maxsize=4096)
def heading_unit(heading: str) -> tuple[str, str]:
    """The unit in a heading and the heading without it: "Spiel [mm]", "gap %", "Länge in Zoll", "Hübe x1000"."""
    for found in _BRACKETS.finditer(heading):
        if unit := UNIT_WORDS.get(folded(found[1].replace("²", "2"))):
            return unit, heading.replace(found[0], " ")
    words = heading.replace("²", "2").split()
    for n in (2, 1):
        if len(words) > n:
            tail = folded(" ".join(words[-n:]).strip("[]()"))
            if tail.startswith(("in ", "en ", "w ")) and tail[3:].strip() in UNIT_WORDS:
                tail = tail.split(" ", 1)[1]
            if ((unit := UNIT_WORDS.get(tail)) and tail not in ("d", "h", "k", "cal", "in")) or (
                n == 1 and tail in ("in", "cal") and len(words) > 1
            ):
                left = words[:-n]
                return unit or "in", " ".join(left[:-1] if left[-1].casefold() == "in" and len(left) > 1 else left)
    if "%" in heading:
        return "%", heading.replace("%", " ")
    if "/" in heading and (unit := UNIT_WORDS.get(folded(heading.rsplit("/", 1)[1]))) and unit not in ("min", "h"):
        return unit, heading.rsplit("/", 1)[0]
    if folded(heading) in ("hrc", "harte hrc"):
        return "HRC", heading
    return "", heading


def language_of(texts: tuple[str, ...]) -> str:
    """The language that headings are in, English where none shows."""
    words = " ".join(map(folded, texts)).split()
    score = {name: sum(w in known for w in words) for name, known in _LANGUAGES.items()}
    name = max(score, key=lambda n: score[n])
    return name if score[name] >= 1 and list(score.values()).count(score[name]) == 1 else "English"
