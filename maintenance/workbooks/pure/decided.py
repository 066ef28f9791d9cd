"""PURE. What is decided over a whole column: decimal sign, order of day and month, unit; of a sheet its die.

A value that could be two things is read as those that could not.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import re
from collections import Counter as Tally
from collections.abc import Iterator, Mapping
from itertools import pairwise
from statistics import median

from . import forms
from .forms import COMMA, DAY_FIRST, MONTH_FIRST, POINT, Figure, Unreadable, folded, is_nothing
from .sheets import FIGURES, IN_UNITS, SHARPENINGS, WHAT, WHOLES, Column, Grid, Layout
from .understood import Assumed, Option, Problem, SheetRead
from .vocabulary import BOTH_SIDES, PER_SIDE, language_of

CELLS_SHOWN = 4
REMEMBERED = ("sign", "order", "unit", "side", "down", "hits")  # what is chosen for a heading once, and kept for it
EVIDENT = 0.95  # so sure is what the file itself shows: nothing that was chosen for another file weighs against it
CONTRADICTS = 0.75  # so sure, it is asked again where it is otherwise than it was
DIE_TITLE = re.compile(
    r"(?:\bdie|\btool|werkzeug|\bwkz|\bwz|outil|troquel|matriz|stampo|t[lł]ocznik|narz[eę]dzie)\w*[ .:#-]*"
    r"(?:nr|no|n[°ºo]|num|number|code)?[ .:#-]*(?P<code>[A-Z]{0,4}[ -]?[0-9][\w./-]{0,20}|[A-Z]{1,4}-[\w-]{1,20})",
    re.I,
)
_CODE = re.compile(r"\b[A-Z]{1,4}[- ]?[0-9]{2,6}[A-Z]?\b")


class Decisions:
    """A sheet whose columns are decided, one after another; each decision is kept in `out.assumed`."""

    def __init__(
        self,
        grid: Grid,
        laid: Layout,
        answers: Mapping[str, str],
        system: str,
        book: str,
        before: Mapping[tuple[str, str], str],
    ) -> None:
        self.grid, self.laid, self.answers, self.system, self.book = grid, laid, answers, system, book
        self.before = before
        self.out = SheetRead(name=grid.name, layout=laid)
        self.columns = [c for c in laid.columns if c.field]
        self.first = (laid.heading or 0) + 1 + laid.units_row
        self.language = language_of(tuple(c.heading for c in laid.columns if c.heading))
        self.sign: dict[int, str] = {}
        self.order: dict[int, str] = {}
        self.year: dict[int, int | None] = {}
        self.unit: dict[int, str] = {}
        self.half: dict[int, bool] = {}
        self.die = ""
        self.values: dict[int, list[tuple[int, object]]] = {}

    # --- what is decided over a column -----------------------------------------------------------------------------

    def _texts(self, column: Column) -> list[tuple[int, str]]:
        return [(n, v) for n, v in self.values[column.index] if isinstance(v, str) and not is_nothing(v)]

    def _signs(self) -> None:
        """The decimal sign of each column of figures, and of the sheet where a column does not show its own."""
        shown: dict[int, Tally] = {}
        open_ones: dict[int, list[tuple[int, str]]] = {}
        for column in self.columns:
            if column.field not in FIGURES:
                continue
            tally: Tally = Tally()
            for n, text in self._texts(column):
                m = forms.marks(text)
                if m is not None and m.sign:
                    tally[m.sign] += 1
                elif m is not None and m.open:
                    open_ones.setdefault(column.index, []).append((n, text))
            shown[column.index] = tally
        whole = sum((t for t in shown.values()), Tally())
        for column in self.columns:
            if column.index not in shown:
                continue
            own, among = shown[column.index], open_ones.get(column.index, [])
            sign, sure = self._sign_of(column, own, whole, among)
            self.sign[column.index] = sign
            if own[POINT] and own[COMMA]:
                self._assume(
                    f"signs:{column.index}",
                    f"{self._named(column)}: both 2.5 and 2,5 are written; each is read as the decimal sign "
                    "it must be.",
                    0.85,
                    column=column,
                )
            if among or own:
                example = among[0][1] if among else next((t for _, t in self._texts(column) if forms.marks(t)), "")
                said = self._read_as(example, sign)
                words, other = ("comma", POINT) if sign == COMMA else ("point", COMMA)
                chosen = self._assume(
                    f"sign:{column.index}",
                    f"{self._named(column)}: decimal {words}{said}.",
                    sure,
                    tuple(Option(s, self._option(example, s)) for s in (sign, other)) if among else (),
                    chosen=sign,
                    column=column,
                    cells=self._cells(column, among or self._texts(column)),
                )
                self.sign[column.index] = chosen or sign

    def _sign_of(self, column: Column, own: Tally, whole: Tally, among: list) -> tuple[str, float]:
        if own[POINT] != own[COMMA]:
            sign = POINT if own[POINT] > own[COMMA] else COMMA
            clear = not (own[POINT] and own[COMMA])
            return sign, 1.0 if not among else 0.95 if clear else 0.6
        if not among:
            return POINT, 1.0
        written = among[0][1]
        mark = "." if "." in written else ","
        if column.field in WHOLES:  # nobody counts to three decimals
            return (COMMA if mark == "." else POINT), 0.9 if all(_three(t) for _, t in among) else 0.75
        if whole[POINT] != whole[COMMA]:
            return (POINT if whole[POINT] > whole[COMMA] else COMMA), 0.85
        if self.language != "English":
            return COMMA, 0.6
        return (POINT if mark == "." else COMMA), 0.5

    def _read_as(self, text: str, sign: str) -> str:
        try:
            return f", so {text.strip()} is {_plain(forms.figure(text, sign).value)}" if text else ""
        except Unreadable:
            return ""

    def _option(self, text: str, sign: str) -> str:
        try:
            return (
                f"decimal {'comma' if sign == COMMA else 'point'}: {text.strip()} is "
                f"{_plain(forms.figure(text, sign).value)}"
            )
        except Unreadable:
            return f"decimal {'comma' if sign == COMMA else 'point'}"

    def _days(self, column: Column) -> None:
        texts = [(n, t, m) for n, t in self._texts(column) if (m := forms.day_marks(t)) is not None]
        orders = Tally(m.order for _, _, m in texts if m.order)
        among = [(n, t) for n, t, m in texts if m.open]
        order, sure = DAY_FIRST, 1.0
        if orders:
            order = max((DAY_FIRST, MONTH_FIRST), key=lambda o: orders[o])
            sure = 0.97 if len(orders) == 1 else 0.5
        elif among:
            order, sure = self._order_of(column, among, {m.sep for _, _, m in texts})
        if among or len(orders) > 1:
            example = among[0][1] if among else texts[0][1]
            other = MONTH_FIRST if order == DAY_FIRST else DAY_FIRST
            order = (
                self._assume(
                    f"order:{column.index}",
                    f"{self._named(column)}: the {'day' if order == DAY_FIRST else 'month'} stands first, so "
                    f"{example.strip()} is {_day_word(example, order)}.",
                    sure,
                    tuple(Option(o, f"{example.strip()} is {_day_word(example, o)}") for o in (order, other)),
                    column=column,
                    cells=self._cells(column, among),
                )
                or order
            )
        self.order[column.index] = order
        if any(m.short_year for _, _, m in texts):
            self._assume(
                f"century:{column.index}",
                f"{self._named(column)}: years of two figures are of 1970 to 2069.",
                0.95,
                column=column,
            )
        self.year[column.index] = None
        without = [(n, t) for n, t, m in texts if m.no_year]
        if without:
            said = re.search(r"\b(19[6-9][0-9]|20[0-6][0-9])\b", f"{self.grid.name} {self.laid.title} {self.book}")
            chosen = self._assume(
                f"year:{column.index}",
                f"{self._named(column)}: days without a year are of {said[1]}."
                if said
                else f"{self._named(column)}: days stand there without a year. Of which year are they?",
                0.85 if said else 0.0,
                chosen=said[1] if said else "",
                column=column,
                cells=self._cells(column, without),
                free=True,
            )
            self.year[column.index] = int(chosen) if chosen.isdigit() and 1950 <= int(chosen) <= 2100 else None
        serials = [
            (n, v) for n, v in self.values[column.index] if isinstance(v, (int, float)) and not isinstance(v, bool)
        ]
        if serials:
            number = serials[0][1]
            with contextlib.suppress(Unreadable):
                self._assume(
                    f"serial:{column.index}",
                    f"{self._named(column)}: {number:g} is a day by its number, {forms.day(number).moment:%d %b %Y}.",
                    0.9,
                    column=column,
                    cells=self._cells(column, serials),
                )

    def _order_of(self, column: Column, among: list[tuple[int, str]], seps: set[str]) -> tuple[str, float]:
        if seps == {"."}:
            return DAY_FIRST, 0.95
        sorted_as = {}
        for order in (DAY_FIRST, MONTH_FIRST):
            days = [forms.day(t, order=order, year=2000).moment for _, t in among if not _bad_day(t, order)]
            sorted_as[order] = sum(a <= b for a, b in pairwise(days)) / max(len(days) - 1, 1)
        gap = sorted_as[DAY_FIRST] - sorted_as[MONTH_FIRST]
        if len(among) >= 4 and abs(gap) > 0.3:
            return (DAY_FIRST if gap > 0 else MONTH_FIRST), 0.75
        if self.language != "English":
            return DAY_FIRST, 0.85
        return (MONTH_FIRST, 0.55) if self.system == "inch" else (DAY_FIRST, 0.5)

    def _units(self, column: Column) -> None:
        """The unit of figures without one: that of the heading, else what their size speaks for."""
        figures = [f for _, f in self._figures(column)]
        bare = [f.value for f in figures if not f.unit]
        if column.field == "gap":
            self._gap_unit(column, bare)
            return
        if column.field == "lead_days":
            self.unit[column.index] = column.unit if column.unit in ("weeks", "months") else "days"
            if column.unit in ("weeks", "months"):
                self._assume(f"unit:{column.index}", f"{self._named(column)}: in {column.unit}.", 0.95, column=column)
            return
        if column.field == "tensile_mpa":
            unit = column.unit if column.unit in ("MPa", "ksi", "psi") else "MPa"
            if not column.unit and bare and median(bare) < 150:
                unit = self._pick_unit(column, "ksi", "MPa", 0.5)
            self.unit[column.index] = unit
            return
        if column.field in IN_UNITS:
            usual, inch, known = IN_UNITS[column.field]
            if column.unit in known or not bare or self.system != "inch":
                self.unit[column.index] = column.unit if column.unit in known else usual
            else:
                self.unit[column.index] = self._pick_unit(column, inch, usual, 0.7)
            return
        if column.unit in ("mm", "in", "thou", "µm", "cm"):
            self.unit[column.index] = column.unit
            self._assume(
                f"unit:{column.index}", f"{self._named(column)}: in {column.unit}, by its heading.", 1.0, column=column
            )
            return
        if not bare:
            self.unit[column.index] = "mm"
            return
        small = {
            "thickness_mm": 0.1,
            "removed_mm": 0.03,
            "grind_allowance_mm": 0.4,
            "length_mm": 9.0,
            "cut_length_mm": 1.5,
            "seat_mm": 0.8,
            "shut_height_mm": 25.0,
            "passline_mm": 12.0,
            "feed_pitch_mm": 2.5,
            "pilot_release_mm": 1.0,
            "strip_width_mm": 6.0,
            "stroke_needed_mm": 8.0,
            "spring_fitted_mm": 6.0,
            "stripper_travel_mm": 0.9,
        }
        inch_words = any(c.unit in ("in", "thou") for c in self.laid.columns) or bool(
            re.search(
                r"\b(inch|inches|zoll|pouces?|pulgadas?|pollici|cale)\b", f"{self.laid.title} {self.grid.name}", re.I
            )
        )
        if inch_words or median(bare) < small[column.field]:
            self.unit[column.index] = self._pick_unit(column, "in", "mm", 0.7 if inch_words else 0.55)
        elif self.system == "inch":
            self.unit[column.index] = self._pick_unit(
                column, "mm" if median(bare) > 3 * small[column.field] else "in", "", 0.7
            )
        else:
            self.unit[column.index] = self._pick_unit(column, "mm", "in", 0.85)

    def _pick_unit(self, column: Column, first: str, other: str, sure: float) -> str:
        other = other or ("in" if first == "mm" else "mm")
        figure = next((f for _, f in self._figures(column) if not f.unit), Figure(1.0))
        label = {u: f"{u}: {_plain(figure.value)} {u}" for u in (first, other)}
        return self._assume(
            f"unit:{column.index}",
            f"{self._named(column)}: in {first}, no unit stands there.",
            sure,
            (Option(first, label[first]), Option(other, label[other])),
            column=column,
            cells=self._cells(column, [(n, v) for n, v in self.values[column.index] if not is_nothing(v)]),
        )

    def _gap_unit(self, column: Column, bare: list[float]) -> None:
        words = folded(column.heading)
        both = any(f" {w} " in f" {words} " for w in BOTH_SIDES) and not any(w in words for w in PER_SIDE)
        side = self._assume(
            f"side:{column.index}",
            f"{self._named(column)}: {'of both sides together, so half of it is the gap' if both else 'per side'}.",
            0.75 if both else 1.0 if any(w in words for w in PER_SIDE) else 0.85,
            (Option("both", "of both sides together"), Option("one", "per side"))[:: 1 if both else -1],
            column=column,
        )
        self.half[column.index] = side == "both"
        if column.unit in ("%", "mm", "in", "thou", "µm"):
            unit, sure = column.unit, 1.0
            if unit == "%" and bare and median(bare) < 0.5:
                unit, sure = "mm", 0.4  # 0.09 % of the thickness is no gap that anybody grinds
        elif not bare:
            self.unit[column.index] = "%"
            return
        else:
            unit, sure = ("%", 0.85) if median(bare) >= 1 else ("mm", 0.6)
        options = [Option("%", "% of the thickness"), Option("mm", "mm"), Option("in", "inch")]
        options.sort(key=lambda o: o.value != unit)
        cells = self._cells(column, [(n, v) for n, v in self.values[column.index] if not is_nothing(v)])
        self.unit[column.index] = self._assume(
            f"unit:{column.index}",
            f"{self._named(column)}: in {'% of the thickness' if unit == '%' else unit}.",
            sure,
            tuple(options) if sure < 1 else (),
            chosen=unit,
            column=column,
            cells=cells,
        )

    def _figures(self, column: Column) -> Iterator[tuple[int, Figure]]:
        for n, value in self.values[column.index]:
            if isinstance(value, (int, float)) and not isinstance(value, bool):
                yield n, Figure(float(value))
            elif isinstance(value, str) and not is_nothing(value):
                try:
                    yield n, forms.figure(value, self.sign.get(column.index, POINT))
                except Unreadable:
                    continue

    def _filled_down(self, column: Column) -> None:
        """A die that stands once above its rows holds for those below it."""
        if column.field not in ("die", "station", "kind"):
            return
        cells = self.values[column.index]
        empty = [n for n, v in cells if is_nothing(v)]
        if not empty or len(empty) == len(cells) or column.field == "kind" or is_nothing(cells[0][1]):
            return
        chosen = self._assume(
            f"down:{column.index}",
            f"{self._named(column)}: {len(empty):,} empty "
            f"{'cell takes' if len(empty) == 1 else 'cells take'} what stands above.",
            0.85 if column.field == "die" and len(empty) > len(cells) / 4 else 0.7,
            (Option("above", "what stands above"), Option("empty", "leave them empty")),
            column=column,
            cells=tuple(f"{column.letter}{n + 1}" for n in empty[:CELLS_SHOWN]),
        )
        if chosen != "above":
            return
        last: object = None
        for i, (n, value) in enumerate(cells):
            last = value if not is_nothing(value) else last
            cells[i] = n, last

    def _die_of_sheet(self) -> None:
        """The die of a sheet that has no column for it: from its title, its name, or asked."""
        if self.laid.sort not in ("components", SHARPENINGS, "runs") or self.laid.column("die") is not None:
            return
        if any(why.startswith("die ") for _, why in self.out.skipped):
            self._assume("die", "The die stands in a row of its own above its rows.", 0.9)
            return
        found, sure = "", 0.0
        for text, weight in ((self.laid.title, 0.9), (self.grid.name, 0.85), (self.book, 0.75)):
            if match := DIE_TITLE.search(text):
                found, sure = match["code"].strip(" .-"), weight
            elif match := _CODE.search(text):
                found, sure = match[0], weight - 0.12
            if found:
                break
        text = (
            f"All rows are of die {found}, by the title."
            if found
            else "No column names the die. Which die is this sheet of?"
        )
        self.die = self._assume("die", text, sure, chosen=found, free=True)

    # --- what hits are ---------------------------------------------------------------------------------------------

    def _counts(self) -> None:
        """Whether the hits of a sharpening book are those since the last grind or the total on the counter; of a hit
        sheet those of the row or the total."""
        column = self.laid.column("hits")
        if column is None or self.laid.sort not in (SHARPENINGS, "runs"):
            return
        words = f" {folded(column.heading)} "
        by_die: dict[str, list[tuple[dt.datetime, int]]] = {}
        for row in self.out.rows:
            day = row.values.get("date") or row.values.get("started")
            if isinstance(day, forms.Day) and isinstance(row.values.get("hits"), int):
                by_die.setdefault(str(row.values.get("die", "")), []).append((day.moment, row.values["hits"]))  # type: ignore[arg-type]
        steps = [b[1] >= a[1] for mine in by_die.values() for a, b in _pairs(mine) if a[0] < b[0]]
        rising = sum(steps) / len(steps) if steps else 0.0
        since_words = bool(re.search(r" (since|seit|depuis|desde|dal|dalla|od|between|run|je|pro schicht) ", words))
        total_words = bool(
            re.search(
                r" (total|counter|reading|zahler|zahlerstand|stand|hubstand|gesamt|compteur|contador|licznik) ",
                words,
            )
        )
        total, sure = False, 0.85
        if since_words != total_words:
            total, sure = total_words, 0.95
        elif len(steps) >= 3 and rising >= 0.95:
            total, sure = True, 0.7
        elif len(steps) >= 3 and rising < 0.8:
            total, sure = False, 0.9
        book = self.laid.sort == SHARPENINGS
        each = "since the sharpening before" if book else "of that row"
        options = (Option("each", f"hits {each}"), Option("total", "total on the counter"))
        self._assume(
            "hits",
            f"{self._named(column)}: {'the total on the counter' if total else f'hits {each}'}.",
            sure,
            options[::-1] if total else options,
            column=column,
        )

    # --- small things ----------------------------------------------------------------------------------------------

    def _assume(
        self,
        key: str,
        text: str,
        sure: float,
        options: tuple[Option, ...] = (),
        *,
        chosen: str = "",
        column: Column | None = None,
        cells: tuple[str, ...] = (),
        free: bool = False,
    ) -> str:
        """Say what is assumed; the answer of a person stands in its place, given now or for a heading like it before.
        Returns what holds."""
        chosen = chosen or (options[0].value if options else "")
        answer = self.answers.get(key, "").strip()
        valid = answer and (free or answer in {o.value for o in options})
        if valid:
            if answer != chosen:
                label = next((o.label for o in options if o.value == answer), answer)
                text = (
                    f"{self._named(column)}: {label}"
                    if column is not None
                    else f"{text.partition(':')[0]}: {label}"
                    if options
                    else f"You say: {answer}"
                )
                text += "."
            chosen, sure = answer, 1.0
        elif column is not None and sure < EVIDENT:
            before = self.before.get((key.partition(":")[0], folded(column.heading)), "")
            label = next((o.label for o in options if o.value == before), "")
            if label and before == chosen:
                text, sure = f"{text[:-1]}, as for the file before.", EVIDENT
            elif label:
                text = f"{self._named(column)}: {label}, as for the file before."
                chosen, sure = before, 0.7 if sure >= CONTRADICTS else 0.85
        self.out.assumed.append(
            Assumed(key, text, sure, chosen, options, column.index if column is not None else None, cells, free)
        )
        return chosen

    def _problem(self, n: int, column: int | None, text: str, *, grave: bool = True, field: str = "") -> None:
        self.out.problems.append(Problem(n + 1, column, text, grave, field))

    def _named(self, column: Column | None) -> str:
        return "" if column is None else f"{column.heading or column.letter} ({WHAT.get(column.field, column.field)})"

    def _cells(self, column: Column, cells: list) -> tuple[str, ...]:
        return tuple(f"{column.letter}{n + 1}: {str(v)[:30]}" for n, v in cells[:CELLS_SHOWN])


def _pairs(mine: list) -> Iterator[tuple]:
    return pairwise(sorted(mine))


def _three(text: str) -> bool:
    return bool(re.search(r"[.,][0-9]{3}(?![0-9])", text))


def _plain(value: float) -> str:
    return f"{value:,.6g}" if value != int(value) or abs(value) >= 1e15 else f"{int(value):,}"


def _bad_day(text: str, order: str) -> bool:
    try:
        forms.day(text, order=order, year=2000)
    except Unreadable:
        return True
    return False


def _day_word(text: str, order: str) -> str:
    try:
        moment = forms.day(text, order=order, year=2000).moment
    except Unreadable:
        return "no day"
    marks = forms.day_marks(text)
    return f"{moment.day} {moment:%b}" + ("" if marks is not None and marks.no_year else f" {moment.year}")
