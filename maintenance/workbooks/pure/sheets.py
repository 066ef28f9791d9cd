"""PURE. Which list a sheet is, where its heading stands and what each column holds: proposed, scored, open to a choice.

A score is between 0 and 1 and says how sure; what is less sure than SURE is asked. Scores are weights set by hand, no
source: what counts is their order.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from . import forms
from .forms import folded, is_nothing
from .vocabulary import UNIT_WORDS, best, heading_unit, likenesses

SURE = 0.8
SAMPLE = 300  # rows that are looked at to see what a column holds
HEADING_WITHIN = 40  # rows from the top
COLUMNS_AT_MOST = 80

DIES, COMPONENTS, SHARPENINGS, RUNS, STOCK, PRICES = "dies", "components", "sharpenings", "runs", "stock", "prices"
SORTS = {
    DIES: "die list",
    COMPONENTS: "component list",
    SHARPENINGS: "sharpening book",
    RUNS: "hit sheet",
    STOCK: "stock list",
    PRICES: "price list",
}
# Lists of the buyer: read where a page asks for one, and never guessed from what a sheet looks like.
COUNT, PRICE_LIST, CONFIRMATION = "count", "price-list", "confirmation"
BUYING = {
    COUNT: "count sheet",
    PRICE_LIST: "price list of a supplier",
    CONFIRMATION: "confirmation of an order",
}
_SPARE_FIELDS = (
    "spare",
    "revision",
    "description",
    "kind",
    "on_hand",
    "on_order",
    "lead_days",
    "unit_price",
    "pack_size",
    "shelf_place",
    "supplier",
    "tool_steel",
    "coating",
    "hardness_hrc",
    "length_mm",
    "grind_allowance_mm",
    "spring_rate_n_mm",
    "spring_class",
    "counted_at",
)
# What a set-up needs of a die, as its card holds it.
SET_UP_LENGTHS = (
    "shut_height_mm",
    "passline_mm",
    "feed_pitch_mm",
    "pilot_release_mm",
    "strip_width_mm",
    "stroke_needed_mm",
    "spring_fitted_mm",
    "stripper_travel_mm",
)
WEIGHTS = ("weight_kg", "upper_weight_kg")
SET_UP = (*SET_UP_LENGTHS, *WEIGHTS, "oil")
FIELDS: dict[str, tuple[str, ...]] = {
    DIES: (
        "die",
        "description",
        "material",
        "tensile_mpa",
        "thickness_mm",
        "strokes_per_minute",
        "parts_per_hit",
        "press",
        "owner",
        "build_price",
        "expected_parts",
        "status",
        *SET_UP,
    ),
    COMPONENTS: (
        "die",
        "station",
        "position",
        "kind",
        "quantity",
        "tool_steel",
        "coating",
        "hardness_hrc",
        "gap",
        "cut_length_mm",
        "length_mm",
        "grind_allowance_mm",
        "spare",
        "side",
        "height_group",
        "seat_mm",
    ),
    SHARPENINGS: (
        "die",
        "station",
        "position",
        "date",
        "time",
        "hits",
        "removed_mm",
        "reason",
        "found",
        "person",
        "hours",
        "note",
    ),
    RUNS: ("die", "date", "time", "started", "ended", "hits", "good_parts", "press", "job", "lot", "person", "note"),
    STOCK: _SPARE_FIELDS,
    PRICES: tuple(f for f in _SPARE_FIELDS if f not in ("on_hand", "on_order", "counted_at")),
    COUNT: ("spare", "revision", "description", "shelf_place", "should", "counted", "why", "counted_at"),
    PRICE_LIST: (
        "spare",
        "revision",
        "description",
        "part_number",
        "from_quantity",
        "unit_price",
        "currency",
        "valid_from",
        "lead_days",
        "pack_size",
        "least_quantity",
    ),
    CONFIRMATION: (
        "spare",
        "revision",
        "description",
        "part_number",
        "quantity",
        "unit_price",
        "currency",
        "promised_on",
        "their_number",
    ),
}
# Of each list the columns without which it is none: one of each group.
NEEDED: dict[str, tuple[tuple[str, ...], ...]] = {
    DIES: (("die",), ("material", "thickness_mm", "strokes_per_minute", "parts_per_hit", "description", "press")),
    COMPONENTS: (("kind",), ("position", "station", "tool_steel", "quantity", "length_mm", "hardness_hrc", "spare")),
    SHARPENINGS: (("date",),),
    RUNS: (("date", "started"), ("hits",)),
    STOCK: (("spare",), ("on_hand",)),
    PRICES: (("spare",), ("unit_price",)),
    COUNT: (("spare",), ("counted",)),
    PRICE_LIST: (("spare", "part_number"), ("unit_price", "lead_days")),
    CONFIRMATION: (("spare", "part_number"), ("promised_on", "unit_price", "quantity")),
}
WHAT: dict[str, str] = {
    "die": "die",
    "description": "description",
    "material": "strip material",
    "tensile_mpa": "tensile strength of the strip",
    "thickness_mm": "strip thickness",
    "strokes_per_minute": "strokes a minute",
    "parts_per_hit": "parts a hit",
    "press": "press",
    "owner": "owner",
    "build_price": "what the die cost",
    "expected_parts": "parts it is built for",
    "status": "in use?",
    "station": "station",
    "position": "position",
    "kind": "kind of component",
    "quantity": "quantity",
    "tool_steel": "tool steel",
    "coating": "coating",
    "hardness_hrc": "hardness, HRC",
    "gap": "gap",
    "cut_length_mm": "cut length",
    "length_mm": "length",
    "grind_allowance_mm": "grind allowance",
    "spare": "spare",
    "side": "punch or die side",
    "height_group": "height group",
    "seat_mm": "seat",
    "shut_height_mm": "shut height",
    "passline_mm": "passline",
    "feed_pitch_mm": "feed pitch",
    "pilot_release_mm": "pilot release",
    "strip_width_mm": "strip width",
    "stroke_needed_mm": "stroke that it needs",
    "spring_fitted_mm": "length of its springs in the open die",
    "stripper_travel_mm": "travel of the stripper",
    "weight_kg": "weight of the die",
    "upper_weight_kg": "weight of its upper half",
    "oil": "oil",
    "spring_rate_n_mm": "spring rate",
    "spring_class": "spring standard and colour",
    "date": "date",
    "time": "time of day",
    "started": "start",
    "ended": "end",
    "hits": "hits",
    "removed_mm": "ground off",
    "reason": "reason",
    "found": "how the edge was found",
    "person": "person",
    "note": "note",
    "hours": "hours of work",
    "good_parts": "good parts",
    "job": "job",
    "lot": "coil",
    "on_hand": "on the shelf",
    "on_order": "on order",
    "lead_days": "lead time",
    "unit_price": "price of one",
    "pack_size": "pack size",
    "shelf_place": "place on the shelf",
    "supplier": "supplier",
    "counted_at": "day of the count",
    "revision": "revision",
    "should": "should lie there",
    "counted": "lies there",
    "why": "why it differs",
    "part_number": "their number of it",
    "from_quantity": "from so many pieces",
    "currency": "currency",
    "valid_from": "holds from",
    "least_quantity": "least quantity",
    "promised_on": "promised for",
    "their_number": "their number of the order",
}
DAYS = frozenset({"date", "counted_at", "valid_from", "promised_on"})
MOMENTS = frozenset({"started", "ended"})
LENGTHS = frozenset(
    {"thickness_mm", "cut_length_mm", "length_mm", "grind_allowance_mm", "removed_mm", "seat_mm", *SET_UP_LENGTHS}
)
# Other figures with a unit: the one they are kept in, the one of an inch shop, and all that may stand there.
IN_UNITS: dict[str, tuple[str, str, tuple[str, ...]]] = {
    **{name: ("kg", "lb", ("kg", "lb")) for name in WEIGHTS},
    "spring_rate_n_mm": ("N/mm", "lbf/in", ("N/mm", "lbf/in")),
}
WHOLES = frozenset(
    {
        "hits",
        "good_parts",
        "quantity",
        "parts_per_hit",
        "expected_parts",
        "on_hand",
        "on_order",
        "lead_days",
        "pack_size",
        "should",
        "counted",
        "from_quantity",
        "least_quantity",
    }
)
PIECES = frozenset({"should", "counted", "from_quantity", "least_quantity", "pack_size"})
FIGURES = (
    LENGTHS
    | WHOLES
    | {"tensile_mpa", "strokes_per_minute", "hardness_hrc", "gap", "hours", "unit_price", "build_price"}
    | set(IN_UNITS)
)
CODES = frozenset(
    {"die", "station", "position", "spare", "press", "job", "lot", "revision", "shelf_place", "part_number"}
)
# In a list of the buyer a word that is of another list otherwise: (what it says, what it is here).
_CALLED: dict[str, tuple[tuple[str, str], ...]] = {
    COUNT: (
        ("on_hand", "counted"),
        ("quantity", "counted"),
        ("note", "why"),
        ("reason", "why"),
        ("date", "counted_at"),
        ("position", "shelf_place"),
    ),
    PRICE_LIST: (("quantity", "from_quantity"), ("date", "valid_from")),
    CONFIRMATION: (("date", "promised_on"), ("lead_days", "promised_on")),
}
_GROUND = re.compile(r"sharpen|grind|ground|schliff|schleif|affut|afil|ostrz|szlif|rectif")


@dataclass(frozen=True)
class Grid:
    """A sheet as cells. rows[r][c]: None, text, number, day or yes/no. Rows may be of unlike length.

    hidden: it is hidden itself. hidden_rows: numbers of rows, from 1. unkept: (row, column) of formulas without a value
    kept. filled: cells that a merged cell gave its value. more: rows beyond what is taken.
    """

    name: str
    rows: list[list[object]]
    hidden: bool = False
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    unkept: frozenset[tuple[int, int]] = frozenset()
    filled: int = 0

    def cell(self, row: int, column: int) -> object:
        cells = self.rows[row]
        return cells[column] if column < len(cells) else None

    @property
    def width(self) -> int:
        return min(max((len(row) for row in self.rows), default=0), COLUMNS_AT_MOST)


@dataclass(frozen=True)
class Column:
    """index: from 0. field: what it holds, '' for nothing that is taken. sure: 0 to 1. unit: as its heading says."""

    index: int
    heading: str
    field: str = ""
    sure: float = 0.0
    unit: str = ""
    chosen: bool = False  # by a person

    @property
    def letter(self) -> str:
        return letter(self.index)


@dataclass(frozen=True)
class Layout:
    """sort: which list, '' for none. heading: row of the heading, from 0; None: there is none. title: what is above."""

    sort: str
    sure: float
    heading: int | None
    columns: tuple[Column, ...]
    title: str = ""
    units_row: bool = False
    scores: Mapping[str, float] = field(default_factory=dict)

    def column(self, name: str) -> Column | None:
        return next((c for c in self.columns if c.field == name), None)

    @property
    def missing(self) -> list[tuple[str, ...]]:
        has = {c.field for c in self.columns}
        return [group for group in NEEDED.get(self.sort, ()) if not has & set(group)]


def letter(index: int) -> str:
    text, n = "", index + 1
    while n:
        n, rest = divmod(n - 1, 26)
        text = chr(65 + rest) + text
    return text


def layout(
    grid: Grid,
    *,
    sort: str | None = None,
    heading: int | None = None,
    columns: Mapping[int, str] | None = None,
    known: Mapping[str, str] | None = None,
    book: str = "",
) -> Layout:
    """How a sheet is laid out. sort, heading, columns (index -> field): what a person chose. known: heading, folded, ->
    field, as chosen before. book: the file's name."""
    row = heading if heading is not None and heading < len(grid.rows) else _heading_row(grid, known or {})
    if row is None:
        return Layout(sort="", sure=0.0, heading=None, columns=(), title=_title(grid, 0))
    names, units_row = _headings(grid, row)
    title = _title(grid, row)
    first = row + 1 + units_row
    samples = _samples(grid, first, len(names))
    found: dict[str, tuple[float, dict[int, tuple[str, float]]]] = {}
    for candidate in (sort,) if sort in BUYING else SORTS:
        found[candidate] = _fit(candidate, names, samples, known or {}, columns or {}, f"{grid.name} {title}", book)
    scores = {name: score for name, (score, _) in found.items()}
    chosen = sort if sort in found else None
    ranked = sorted(scores, key=lambda name: -scores[name])
    picked = chosen or ranked[0]
    if sort == "" or (chosen is None and scores[picked] <= 0):
        return Layout(
            sort="",
            sure=1.0 if sort == "" else 0.3,
            heading=row,
            title=title,
            units_row=units_row,
            columns=tuple(Column(i, n[0], unit=n[1]) for i, n in enumerate(names)),
            scores=scores,
        )
    lead = scores[picked] - max((scores[n] for n in ranked if n != picked), default=0.0)
    sure = 1.0 if chosen else max(0.3, min(0.97, 0.55 + 0.35 * lead))
    fields = found[picked][1]
    made = []
    for index, (name, unit) in enumerate(names):
        what, how = fields.get(index, ("", 0.0))
        by_hand = columns is not None and index in columns
        made.append(Column(index, name, what, 1.0 if by_hand else min(how, 1.0), unit, by_hand))
    return Layout(
        sort=picked, sure=sure, heading=row, columns=tuple(made), title=title, units_row=units_row, scores=scores
    )


def _heading_row(grid: Grid, known: Mapping[str, str]) -> int | None:
    best_row, best_score = None, 0.0
    for number, row in enumerate(grid.rows[:HEADING_WITHIN]):
        texts = [str(c) for c in row[:COLUMNS_AT_MOST] if isinstance(c, str) and c.strip()]
        filled = sum(not is_nothing(c) for c in row[:COLUMNS_AT_MOST])
        if (len(texts) < 2 and filled > 1) or not texts:
            continue
        said = [_heading_score(t, known) for t in texts]
        score = sum(s for s in said if s >= 0.6) * (len(texts) / max(filled, 1)) ** 2
        distinct = len({folded(t) for t in texts})
        score -= 0.5 * (len(texts) - distinct)
        if sum(s >= 0.6 for s in said) >= min(2, len(texts)) and score > best_score + 1e-9 and len(texts) >= 2:
            best_row, best_score = number, score
    if best_row is not None:
        return best_row
    # no word is known: a row of texts above a row of other things
    for number, row in enumerate(grid.rows[:HEADING_WITHIN]):
        there = [c for c in row[:COLUMNS_AT_MOST] if not is_nothing(c)]
        if len(there) >= 2 and all(isinstance(c, str) for c in there) and number + 1 < len(grid.rows):
            return number
    return None


def _heading_score(text: str, known: Mapping[str, str]) -> float:
    if len(text) > 60:
        return 0.0
    if folded(text) in known:
        return 1.0
    return max(likenesses("heading", heading_unit(text)[1]).values(), default=0.0)


def _headings(grid: Grid, row: int) -> tuple[list[tuple[str, str]], bool]:
    """(heading, unit) of each column, and whether the row below holds their units."""
    below = grid.rows[row + 1] if row + 1 < len(grid.rows) else []
    filled = [c for c in below if not is_nothing(c)]
    units = bool(filled) and all(isinstance(c, str) and UNIT_WORDS.get(folded(c.strip("[]()"))) for c in filled)
    names = []
    for index in range(grid.width):
        text = grid.cell(row, index)
        name = " ".join(str(text).split())[:80] if not is_nothing(text) else ""
        unit = heading_unit(name)[0] if name else ""
        word = below[index] if units and index < len(below) else None
        if isinstance(word, str):
            unit = UNIT_WORDS.get(folded(word.strip("[]()")), unit)
        names.append((name, unit))
    return names, units


def _title(grid: Grid, row: int) -> str:
    words = [str(c) for above in grid.rows[:row] for c in above[:COLUMNS_AT_MOST] if not is_nothing(c)]
    return " ".join(" ".join(words).split())[:400]


def _samples(grid: Grid, first: int, width: int) -> list[list[object]]:
    rows = grid.rows[first : first + SAMPLE]
    return [[r[i] for r in rows if i < len(r) and not is_nothing(r[i])] for i in range(width)]


_EMPTY = 0.3 + 0.7 * 0.6  # what a heading weighs above a column that tells nothing


def shape(name: str, values: list[object]) -> float:
    """How far the values of a column look like what it is said to hold, 0 to 1; an empty one tells nothing: 0.6."""
    if not values:
        return 0.6
    n = len(values)
    if name in DAYS or name in MOMENTS:
        if name in MOMENTS and sum(_is_clock(v) for v in values) / n > 0.6:
            return 1.0
        return sum(_is_day(v) for v in values) / n
    if name == "time":
        return sum(_is_clock(v) for v in values) / n
    if name in FIGURES:
        share = sum(_is_figure(v) for v in values) / n
        return share if sum(_is_day(v) and not isinstance(v, (int, float)) for v in values) < n / 2 else 0.0
    if name == "kind":
        return 0.4 + 0.6 * sum(isinstance(v, str) and best("kind", v)[1] > 0 for v in values) / n
    if name in ("material", "tool_steel"):
        return 0.9 if sum(isinstance(v, str) for v in values) / n > 0.5 else 0.5
    if name in ("description", "note", "person", "supplier", "reason", "found", "coating", "why"):
        return 0.35 + 0.65 * sum(isinstance(v, str) and not _is_figure(v) for v in values) / n
    return 1.0 if sum(_is_day(v) and not isinstance(v, (int, float, str)) for v in values) < n / 2 else 0.2


def _is_day(value: object) -> bool:
    if isinstance(value, str):
        return forms.day_marks(value) is not None
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return 30_000 <= value < 60_000
    return hasattr(value, "year")


def _is_clock(value: object) -> bool:
    try:
        forms.clock(value)
    except forms.Unreadable:
        return False
    return not (isinstance(value, float) or (isinstance(value, dt.datetime) and value.time() == dt.time()))


def _is_figure(value: object) -> bool:
    if isinstance(value, bool):
        return False
    return isinstance(value, (int, float)) or (isinstance(value, str) and forms.marks(value) is not None)


def _fit(
    sort: str,
    names: list[tuple[str, str]],
    samples: list[list[object]],
    known: Mapping[str, str],
    chosen: Mapping[int, str],
    title: str,
    book: str,
) -> tuple[float, dict[int, tuple[str, float]]]:
    """How well columns make up a list, and which field each is: the best pair first, each column and field once."""
    pairs = []
    for index, (name, unit) in enumerate(names):
        if index in chosen:
            continue
        said = _speaks_of(name, unit, known, samples[index])
        if sort in BUYING:  # asked for: a column that is called so is it, whatever stands there
            said = {what: score / _EMPTY for what, score in _speaks_of(name, unit, known, []).items()}
        if "material" in said and "material" not in FIELDS[sort]:  # of a component it is its steel
            said["tool_steel"] = max(said.get("tool_steel", 0.0), 0.95 * said["material"])
        for usual, here in _CALLED.get(sort, ()):  # there it can be nothing else
            if usual in said:
                said[here] = max(said.get(here, 0.0), 0.9 * said[usual])
        for what, score in said.items():
            if what in FIELDS[sort]:
                pairs.append((score, -index, what))
    fields = {i: (f, 1.0) for i, f in chosen.items() if f in FIELDS[sort]}
    taken = {f for f, _ in fields.values()}
    for score, index, what in sorted(pairs, reverse=True):
        if -index not in fields and what not in taken and score >= 0.4:
            fields[-index] = what, score
            taken.add(what)
    headed = sum(bool(name) for name, _ in names) or 1
    total = sum(score for _, score in fields.values()) / headed
    total -= 0.7 * sum(not taken & set(group) for group in NEEDED[sort])
    return total + _weight(sort, taken, fields, names, samples, known, title, book), fields


def _weight(
    sort: str,
    taken: set[str],
    fields: Mapping[int, tuple[str, float]],
    names: list[tuple[str, str]],
    samples: list[list[object]],
    known: Mapping[str, str],
    title: str,
    book: str,
) -> float:
    """What speaks for a list beside its columns: titles, and what only one sort of list has."""
    at = {what: index for index, (what, _) in fields.items()}
    total = 0.6 * likenesses("title", title).get(sort, 0.0) + 0.3 * likenesses("title", book).get(sort, 0.0)
    words = folded(f"{title} {book} " + " ".join(name for name, _ in names))
    ground = bool(_GROUND.search(words.replace("grinding allowance", "")))
    if sort == SHARPENINGS:
        total += 0.5 * (ground and "date" in taken) + 0.25 * bool(taken & {"removed_mm", "reason"}) - 0.3 * (not ground)
    elif sort == RUNS:
        total -= 0.5 * (ground and "date" in taken)
    elif sort == PRICES:
        total -= 0.4 * ("on_hand" in {w for n, u in names for w in _speaks_of(n, u, known, [])})
    elif sort == DIES and "die" in at:
        total += _unlike(samples, at["die"])
    elif sort == COMPONENTS and "kind" in at:
        total += 0.3 * shape("kind", samples[at["kind"]])
    return total


def _unlike(samples: list[list[object]], index: int | None) -> float:
    values = [str(v) for v in samples[index]] if index is not None else []
    return 0.2 if values and len(set(values)) == len(values) else -0.3


def _speaks_of(name: str, unit: str, known: Mapping[str, str], values: list[object]) -> dict[str, float]:
    words = folded(name)
    if not words:
        return {}
    found = dict(likenesses("heading", heading_unit(name)[1]))
    if unit == "HRC":
        found["hardness_hrc"] = max(found.get("hardness_hrc", 0.0), 0.9)
    if unit == "spm":
        found["strokes_per_minute"] = max(found.get("strokes_per_minute", 0.0), 0.9)
    if "description" in found and values and (named := shape("kind", values)) > 0.7:  # a name that says the kind
        found["kind"] = max(found.get("kind", 0.0), 0.95 * found["description"] * named)
    if words in known:
        found = {known[words]: 1.3} if known[words] else {}
    return {what: score * (0.3 + 0.7 * shape(what, values)) for what, score in found.items()}
