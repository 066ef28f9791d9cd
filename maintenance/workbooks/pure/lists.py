"""PURE. From the read lists of a book to rows of the history folder's tables, with what had to be assumed for that.

A list says less than a folder needs. What is missing is taken from the register, from the handbook or from an answer,
never invented in silence: each such thing is an `Assumed` with its key.

A sharpening book that names no place is of the die as a whole: where its cutting places are known, all of them were
ground; where none is, one stands for all. Hits between two sharpenings are spread evenly over the days between, as
estimated runs, since an edge is known to have been sharp at each look at the parts and not between two of them.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median

from diestore.handbook import materials
from diestore.handbook.kinds import KINDS, UnknownKind
from diestore.handbook.kinds import kind as kind_of

from .forms import Day, folded
from .readings import Assumed, Gap, Option, Problem, SheetRead
from .sheets import COMPONENTS, DIES, PRICES, RUNS, SHARPENINGS, STOCK
from .vocabulary import best

WHOLE_DIE = "whole die"  # the place that stands for all edges of a die whose places are not known
WHOLE_KIND = "trim_punch"
WHOLE_CUT_MM = 100.0  # put in until somebody says; forces rest on it, lives do not
DAY_FROM, DAY_TO, GROUND_AT = dt.time(0, 0), dt.time(16, 0), dt.time(18, 0)  # of days without a time
BEFORE_FIRST = dt.timedelta(days=30)  # what a book's first hits are spread over
LOOKS_AT_MOST = 60  # runs between two sharpenings
QUANTITY_AT_MOST = 60
LOOKS = (
    Option("day", "every day that it runs"),
    Option("week", "about once a week"),
    Option("end", "only when the die is pulled"),
)


@dataclass(frozen=True)
class Place:
    """A position that stands. cuts: it has an edge. piece: key of the piece that the register calls its first, '' where
    it has none or another sits there now."""

    kind: str
    cuts: bool
    piece: str = ""


@dataclass(frozen=True)
class KnownDie:
    """A die that stands. row: its row of dies.csv. logged: hits of it were entered otherwise than by a file."""

    row: Mapping[str, object]
    places: Mapping[str, Place]
    logged: bool = False

    @property
    def thickness_mm(self) -> float:
        return float(self.row["stock_thickness_mm"])  # type: ignore[arg-type]


@dataclass(frozen=True)
class Standing:
    """What the register holds. runs: (die, start) -> (end, hits) and grinds: (die, position, day) -> moment, of the
    last days and by files: what came of a day that was not over yet. now: on the shop's clock."""

    dies: Mapping[str, KnownDie] = field(default_factory=dict)
    spares: frozenset[str] = frozenset()
    presses: frozenset[str] = frozenset()
    runs: Mapping[tuple[str, dt.datetime], tuple[dt.datetime, int]] = field(default_factory=dict)
    grinds: Mapping[tuple[str, str, dt.date], dt.datetime] = field(default_factory=dict)
    now: dt.datetime = dt.datetime(2100, 1, 1)


@dataclass
class Lists:
    """tables: file -> rows, times on the shop's clock. origin: file -> (sheet, row of the sheet) of each row."""

    tables: dict[str, list[dict[str, object]]] = field(default_factory=lambda: defaultdict(list))
    origin: dict[str, list[tuple[int, int]]] = field(default_factory=lambda: defaultdict(list))
    assumed: list[Assumed] = field(default_factory=list)
    problems: list[tuple[int, Problem]] = field(default_factory=list)

    def put(self, file: str, row: dict[str, object], sheet: int, number: int) -> None:
        self.tables[file].append({k: v for k, v in row.items() if v is not None and v != ""})
        self.origin[file].append((sheet, number))


def lists(sheets: Iterable[SheetRead], standing: Standing, *, answers: Mapping[str, str] | None = None) -> Lists:
    """What the sheets of a book bring. answers: key -> what a person chose, of the book as a whole."""
    return _Maker(list(sheets), standing, answers or {}).make()


class _Maker:
    def __init__(self, sheets: list[SheetRead], standing: Standing, answers: Mapping[str, str]) -> None:
        self.sheets, self.standing, self.answers = sheets, standing, answers
        self.out = Lists()
        self.bare = {_bare(code): code for code in standing.dies}
        self.bare_spares = {_bare(code): code for code in standing.spares}
        self.respelt: dict[str, str] = {}
        self.dies: dict[str, tuple[int, int]] = {}  # code -> where it was named first
        self.told: dict[str, dict[str, object]] = {}  # die -> what the die list says
        self.told_at: dict[str, tuple[int, int]] = {}
        self.places: dict[str, dict[str, bool]] = defaultdict(dict)  # die -> place -> whether it cuts
        self.kinds: dict[str, str] = {}

    def make(self) -> Lists:
        for sort in (DIES, COMPONENTS, SHARPENINGS, RUNS):
            self._each(sort, self._name_dies)
        self._each(DIES, self._die_list)
        self._dies()
        for code, known in self.standing.dies.items():
            self.places[code] |= {place: p.cuts for place, p in known.places.items()}
        self._each(COMPONENTS, self._components)
        self._each(STOCK, self._spares)
        self._each(PRICES, self._spares)
        self._each(RUNS, self._runs)
        self._each(SHARPENINGS, self._book)
        self._say_respelt()
        return self.out

    def _each(self, sort: str, take: Callable[[int, SheetRead], None]) -> None:
        for number, sheet in enumerate(self.sheets):
            if sheet.sort == sort:
                take(number, sheet)

    # --- dies ------------------------------------------------------------------------------------------------------

    def _die(self, written: object) -> str:
        text = str(written or "").strip()
        if not text or text in self.standing.dies or text in self.dies:
            return text
        known = self.bare.setdefault(_bare(text), text)
        if known != text:
            self.respelt[text] = known
        return known

    def _name_dies(self, number: int, sheet: SheetRead) -> None:
        for row in sheet.rows:
            code = self._die(row.values.get("die"))
            if code:
                row.values["die"] = code
                self.dies.setdefault(code, (number, row.number))
            else:
                self._wrong(number, row.number, "No die stands in this row. Write its number.", "die", sheet)

    def _die_list(self, number: int, sheet: SheetRead) -> None:
        for row in sheet.rows:
            code = str(row.values.get("die") or "")
            if not code:
                continue
            said = {k: v for k, v in row.values.items() if k != "die"}
            if code in self.told:
                if self.told[code] != said:
                    self._wrong(
                        number,
                        row.number,
                        f"{code} stands in row {self.told_at[code][1]} already, otherwise.",
                        "die",
                        sheet,
                    )
                continue
            self.told[code], self.told_at[code] = said, (number, row.number)

    def _dies(self) -> None:
        """Rows of dies.csv: of dies that the die list names, and of those that are new."""
        new = [code for code in self.dies if code not in self.standing.dies]
        short = {
            what: [c for c in new if self.told.get(c, {}).get(what) is None]
            for what in ("material", "thickness_mm", "strokes_per_minute", "parts_per_hit")
        }
        material = self._default(
            short["material"],
            "material",
            "Which strip do they run? The handbook knows names such as low-carbon steel, DC04, 1.4301.",
            "low-carbon steel",
            0.55,
        )
        thickness = self._number(
            self._default(short["thickness_mm"], "thickness_mm", "How thick is the strip they run, in mm?", "", 0.0)
        )
        strokes = self._number(
            self._default(
                short["strokes_per_minute"], "strokes_per_minute", "How many strokes a minute do they run?", "60", 0.7
            )
        )
        per_hit = self._number(
            self._default(short["parts_per_hit"], "parts_per_hit", "How many parts fall at one hit?", "1", 0.85)
        )
        for code, (sheet, number) in self.dies.items():
            said = self.told.get(code, {})
            known = self.standing.dies.get(code)
            if known is not None and not said:
                continue
            row: dict[str, object] = {"die": code}
            if known is not None:
                row |= {
                    k: v
                    for k, v in known.row.items()
                    if k not in ("description", "press", "owner", "build_price", "expected_parts", "status")
                }
            row |= {
                k: said[k]
                for k in ("description", "press", "owner", "build_price", "expected_parts", "status")
                if k in said
            }
            row |= {k: said[k] for k in ("strokes_per_minute", "parts_per_hit") if k in said}
            if {"material", "thickness_mm", "tensile_mpa"} & set(said) or known is None:
                row.pop("stock", None)
                row["stock_material"] = said.get("material") or row.get("stock_material") or material
                row["stock_thickness_mm"] = said.get("thickness_mm") or row.get("stock_thickness_mm") or thickness
                same = known is not None and row["stock_material"] == known.row["stock_material"]
                row["stock_tensile_mpa"] = said.get("tensile_mpa") or (
                    known.row["stock_tensile_mpa"]
                    if known is not None and same
                    else self._tensile(code, str(row["stock_material"] or ""))
                )
                if known is not None and all(
                    row[k] == known.row[k] for k in ("stock_material", "stock_thickness_mm", "stock_tensile_mpa")
                ):
                    row["stock"] = known.row.get("stock")
            row.setdefault("strokes_per_minute", strokes)
            row.setdefault("parts_per_hit", None if per_hit is None else int(per_hit))
            where = self.told_at.get(code, (sheet, number))
            self.out.put("dies.csv", row, *where)

    def _default(self, dies: list[str], name: str, text: str, usual: str, sure: float) -> str:
        if not dies:
            return ""
        some = ", ".join(dies[:4]) + (f" and {len(dies) - 4:,} more" if len(dies) > 4 else "")
        said = f"{some}: {text}"
        return self._assume(f"default:{name}", said, sure, chosen=usual, free=True)

    def _tensile(self, code: str, material: str) -> float | None:
        known = materials.material(material)
        usual = f"{known.tensile_mpa.middle:g}" if known is not None else ""
        why = (
            f", the middle of {known.tensile_mpa.low:g} to {known.tensile_mpa.high:g} by the handbook"
            if known is not None
            else ""
        )
        key = f"default:tensile:{folded(material)}"
        if not any(a.key == key for a in self.out.assumed):
            text = (
                f"{material or 'The strip'}: its tensile strength is taken as {usual} MPa{why}."
                if usual
                else f"{material or 'The strip'}: what is its tensile strength, in MPa?"
            )
            self._assume(key, text, 0.85 if usual else 0.0, chosen=usual, free=True)
        return self._number(next(a.chosen for a in self.out.assumed if a.key == key))

    @staticmethod
    def _number(text: str) -> float | None:
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            return None
        return value if 0 < value < 1e6 else None

    def _thickness(self, code: str) -> float | None:
        row = next((r for r in self.out.tables["dies.csv"] if r["die"] == code), None)
        if row is not None:
            value = row.get("stock_thickness_mm")
            return float(value) if isinstance(value, (int, float)) else None
        known = self.standing.dies.get(code)
        return known.thickness_mm if known is not None else None

    # --- components ------------------------------------------------------------------------------------------------

    def _components(self, number: int, sheet: SheetRead) -> None:
        used: dict[str, set[str]] = defaultdict(set)
        expanded, unnamed = 0, 0
        has_place = any("position" in row.values for row in sheet.rows)
        for row in sheet.rows:
            die = str(row.values.get("die") or "")
            kind = self._kind(number, row.number, str(row.values.get("kind", "")), sheet)
            if not die or not kind:
                continue
            station = str(row.values.get("station", ""))
            place = str(row.values.get("position", ""))
            if not place:
                unnamed += has_place is False
                base = station or "0"
                place = next(f"{base}-{c}" for c in _letters() if f"{base}-{c}" not in used[die])
            many = int(row.values.get("quantity", 1) or 1)  # type: ignore[call-overload]
            if many < 1:
                continue
            if many > QUANTITY_AT_MOST:
                self._wrong(
                    number,
                    row.number,
                    f"{many:,} of one component: {QUANTITY_AT_MOST} is the most. Write a row for each.",
                    "quantity",
                    sheet,
                )
                continue
            expanded += many > 1
            for i in range(many):
                code = place if many == 1 else f"{place}-{i + 1}"
                if code in used[die]:
                    self._wrong(
                        number,
                        row.number,
                        f"{die} has the position {code} twice in this list. Give each its own.",
                        "position",
                        sheet,
                    )
                    continue
                used[die].add(code)
                self._component(number, row.number, die, station, code, kind, row.values, sheet)
        if expanded:
            self._assume(
                f"{number}:many",
                f"{sheet.name}: a quantity of more than one is so many places, numbered 10-1, 10-2 and so on.",
                0.85,
            )
        if unnamed:
            self._assume(
                f"{number}:places",
                f"{sheet.name}: no column names the position, so each gets station and letter, 3-A, 3-B.",
                0.85,
            )

    def _component(
        self,
        number: int,
        line: int,
        die: str,
        station: str,
        code: str,
        kind: str,
        said: Mapping[str, object],
        sheet: SheetRead,
    ) -> None:
        known = self.standing.dies.get(die)
        place = known.places.get(code) if known is not None else None
        cuts = KINDS[kind].cuts
        row: dict[str, object] = {"die": die, "station": station, "position": code, "kind": KINDS[kind].name}
        row |= {k: said[k] for k in ("spare", "side", "height_group", "cut_length_mm") if k in said}
        if "spare" in row:
            row["spare"] = self.bare_spares.get(_bare(str(row["spare"])), row["spare"])
        gap = said.get("gap")
        if isinstance(gap, Gap):
            thickness = self._thickness(die)
            if gap.unit == "%":
                row["clearance_pct_per_side"] = gap.value
            elif thickness:
                row["clearance_pct_per_side"] = round(100 * gap.value / thickness, 9)
        if cuts and "cut_length_mm" not in row and not (place is not None and place.cuts):
            length = self._number(
                self._assume_once(
                    f"{number}:cut",
                    f"{sheet.name}: edges without a cut length get {WHOLE_CUT_MM:g} mm until somebody says; "
                    "forces rest on it, lives do not.",
                    0.8,
                    f"{WHOLE_CUT_MM:g}",
                )
            )
            row["cut_length_mm"] = length
        piece = {
            k: said[k]
            for k in ("tool_steel", "coating", "hardness_hrc", "length_mm", "grind_allowance_mm")
            if k in said
        }
        if place is None:
            row |= piece
        elif place.piece:
            row |= piece | {"piece": place.piece}
        else:
            row["starts_empty"] = True
        self.places[die][code] = cuts
        self.out.put("components.csv", row, number, line)

    def _kind(self, number: int, line: int, text: str, sheet: SheetRead) -> str:
        if not text:
            self._wrong(number, line, "No kind of component stands in this row.", "kind", sheet)
            return ""
        if text in self.kinds:
            return self.kinds[text]
        try:
            found, sure = kind_of(text).key, 1.0
        except UnknownKind:
            found, sure = best("kind", text)
        key = f"kind:{folded(text)[:60]}"
        options = [Option(k, v.name) for k, v in KINDS.items()] + [Option("skip", "leave these rows out")]
        if sure < 1.0:
            options.sort(key=lambda o: o.value != found)
            named = f"“{text}” is a {KINDS[found].name}." if found else f"“{text}”: which kind of component is it?"
            found = self._assume(key, named, 0.9 * sure if sure > 0.6 else 0.4, tuple(options), chosen=found)
        self.kinds[text] = "" if found == "skip" else found
        return self.kinds[text]

    # --- spares ----------------------------------------------------------------------------------------------------

    def _spares(self, number: int, sheet: SheetRead) -> None:
        seen: dict[tuple[str, str], int] = {}
        for row in sheet.rows:
            code = str(row.values.get("spare") or "")
            if not code:
                self._wrong(number, row.number, "No number of a spare stands in this row.", "spare", sheet)
                continue
            if (known := self.bare_spares.setdefault(_bare(code), code)) != code:
                self.respelt[code] = known
                code = known
            key = code, str(row.values.get("revision", ""))
            if key in seen:
                self._wrong(number, row.number, f"{code} stands in row {seen[key]} already.", "spare", sheet)
                continue
            seen[key] = row.number
            said: dict[str, object] = {k: v for k, v in row.values.items() if k not in ("kind", "counted_at")}
            said["spare"] = code
            if "kind" in row.values:
                try:
                    said["kind"] = kind_of(str(row.values["kind"])).name
                except UnknownKind:
                    found, sure = best("kind", str(row.values["kind"]))
                    if sure > 0.7:
                        said["kind"] = KINDS[found].name
            counted = row.values.get("counted_at")
            if isinstance(counted, Day):
                said["counted_at"] = min(
                    counted.moment if counted.timed else dt.datetime.combine(counted.moment, GROUND_AT),
                    self.standing.now,
                )
            self._merge_spare(said, number, row.number)

    def _merge_spare(self, said: dict[str, object], number: int, line: int) -> None:
        """A spare in the stock list and in the price list is one row."""
        for row in self.out.tables["spares.csv"]:
            if (row["spare"], row.get("revision")) == (said["spare"], said.get("revision")):
                for name, value in said.items():
                    row.setdefault(name, value)
                return
        self.out.put("spares.csv", said, number, line)

    # --- hits and sharpenings --------------------------------------------------------------------------------------

    def _runs(self, number: int, sheet: SheetRead) -> None:
        total = any(a.key == "hits" and a.chosen == "total" for a in sheet.assumed)
        by_die: dict[str, list] = defaultdict(list)
        for row in sheet.rows:
            started, ended = _span(row.values)
            hits = row.values.get("hits")
            if not row.values.get("die"):
                continue
            if started is None or not isinstance(hits, int):
                what, name = ("day", "date") if started is None else ("hits", "hits")
                if isinstance(hits, int) or started is not None:
                    self._wrong(
                        number,
                        row.number,
                        f"The {what} of this run {'is' if what == 'day' else 'are'} missing.",
                        name,
                        sheet,
                    )
                continue
            by_die[str(row.values["die"])].append((started, row.number, ended, hits, row.values))
        for die, mine in by_die.items():
            mine.sort(key=lambda m: (m[0], m[1]))
            if total:
                mine = [(a[0], b[1], b[0], b[3] - a[3], b[4]) for a, b in pairwise(mine)]
            for (started, line, ended, hits, said), (a, b) in zip(mine, self._slots(mine), strict=True):
                if hits <= 0:
                    if hits < 0:
                        self._wrong(
                            number,
                            line,
                            f"The counter of {die} goes back by {-hits:,} hits here. Was it set back? Then write "
                            "the hits of each row.",
                            "hits",
                            sheet,
                        )
                    continue
                self._run(number, line, die, started if total else a, ended if total else b, hits, said, counted=True)

    def _slots(self, mine: list) -> list[tuple[dt.datetime, dt.datetime]]:
        """Start and end of each run: as written, else the day is shared out among the runs of that day."""
        on = defaultdict(list)
        for i, (started, _, ended, *_rest) in enumerate(mine):
            if ended is None and started.time() == dt.time():
                on[started.date()].append(i)
        slots = []
        for i, (started, _, ended, *_rest) in enumerate(mine):
            if ended is not None:
                slots.append((started, ended))
            elif i in on[started.date()]:
                among = on[started.date()]
                part = (dt.datetime.combine(started, DAY_TO) - dt.datetime.combine(started, DAY_FROM)) / max(
                    3 if len(among) > 1 else 1, len(among)
                )
                begins = dt.datetime.combine(started, DAY_FROM) + part * among.index(i)
                slots.append((begins, begins + part))
            else:
                slots.append((started, started + dt.timedelta(hours=1)))
        return slots

    def _run(
        self,
        number: int,
        line: int,
        die: str,
        a: dt.datetime,
        b: dt.datetime,
        hits: int,
        said: Mapping[str, object],
        *,
        counted: bool,
    ) -> None:
        a, b = a.replace(microsecond=0), b.replace(microsecond=0)
        if (before := self.standing.runs.get((die, a))) and before[1] == hits:
            b = before[0]
        elif b > self.standing.now > a:
            b = self.standing.now
        row: dict[str, object] = {"die": die, "started": a, "ended": b, "hits": hits}
        row |= {k: said[k] for k in ("press", "lot", "good_parts", "person", "note") if k in said}
        if "job" in said:
            row["note"] = " ".join(str(x) for x in (said.get("note"), f"job {said['job']}") if x)
        if not counted:
            row["basis"] = "estimated"
        self.out.put("runs.csv", row, number, line)

    def _book(self, number: int, sheet: SheetRead) -> None:
        total = any(a.key == "hits" and a.chosen == "total" for a in sheet.assumed)
        has_hits = any("hits" in row.values for row in sheet.rows)
        others = any(s.sort == RUNS for s in self.sheets)
        by_die: dict[str, list] = defaultdict(list)
        for row in sheet.rows:
            day = row.values.get("date")
            if not row.values.get("die"):
                continue
            if not isinstance(day, Day):
                if "date" not in {p.field for p in sheet.problems if p.row == row.number}:
                    self._wrong(number, row.number, "The day of this sharpening is missing.", "date", sheet)
                continue
            by_die[str(row.values["die"])].append((self._ground_at(row.values, day), row.number, row.values))
        logged = [d for d in by_die if (k := self.standing.dies.get(d)) is not None and k.logged]
        take = bool(has_hits) and not others
        if has_hits and others:
            self._assume(
                f"{number}:hits_twice", f"{sheet.name}: its hits are not taken, since the hit sheet brings them.", 0.9
            )
        elif has_hits and logged:
            some = ", ".join(logged[:4])
            take_logged = (
                self._assume(
                    f"{number}:hits_logged",
                    f"{some}: hits are logged here already. Those of the book are left out.",
                    0.75,
                    (
                        Option("leave", "leave the book's hits out"),
                        Option("take", "take them too, where they do not overlap"),
                    ),
                )
                == "take"
            )
            logged = [] if take_logged else logged
        looks = "day"
        if take and any(d not in logged for d in by_die):
            looks = self._assume(
                f"{number}:looks",
                f"{sheet.name}: hits between two sharpenings are spread evenly, as estimated runs. How "
                "often does somebody "
                "look at the burr while a die runs? It says how closely the book tells when an edge went dull.",
                0.75,
                LOOKS,
            )
        if not has_hits and not others:
            new = [d for d in by_die if d not in self.standing.dies]
            if new:
                self._assume(
                    f"{number}:no_hits",
                    f"{sheet.name}: no hits stand there, so nothing can be said of lives until runs are logged.",
                    0.9,
                )
        self._whole_dies(number, sheet, by_die, total)
        self._say_reasons(number, sheet)
        for die, mine in by_die.items():
            mine.sort(key=lambda m: (m[0], m[1]))
            if take and die not in logged:
                self._runs_between(number, die, mine, total, looks, sheet)
            self._sharpenings(number, die, mine)

    def _ground_at(self, said: Mapping[str, object], day: Day) -> dt.datetime:
        if day.timed:
            return day.moment
        if isinstance(time := said.get("time"), dt.time):
            return dt.datetime.combine(day.moment, time)
        at = dt.datetime.combine(day.moment, GROUND_AT)
        if at <= self.standing.now or day.moment.date() > self.standing.now.date():
            return at
        before = [m for (d, _, on), m in self.standing.grinds.items() if d == said.get("die") and on == at.date()]
        return before[0] if before else self.standing.now.replace(second=0, microsecond=0)

    def _say_reasons(self, number: int, sheet: SheetRead) -> None:
        without = [row for row in sheet.rows if "reason" not in row.values]
        if without:
            self.reason = self._assume(
                f"{number}:reason",
                f"{sheet.name}: {len(without):,} {'sharpening says' if len(without) == 1 else 'sharpenings say'} no "
                "reason: taken as done because the edge was dull.",
                0.75,
                (
                    Option("dull", "it was dull"),
                    Option("planned", "planned, whether dull or not"),
                    Option("other", "not known"),
                ),
            )
        else:
            self.reason = "dull"

    def _whole_dies(self, number: int, sheet: SheetRead, by_die: dict[str, list], total: bool) -> None:
        """Dies that the book names and of which no place is known get one that stands for all their edges."""
        unknown, all_edges = [], []
        for die, mine in by_die.items():
            named = {str(said["position"]) for _, _, said in mine if "position" in said}
            cutting = [p for p, cuts in self.places[die].items() if cuts]
            for place in sorted(named - set(self.places[die])):
                line = next(line for _, line, said in mine if said.get("position") == place)
                self._edge(number, line, die, place, total)
            if any("position" not in said for _, _, said in mine):
                if cutting or named:
                    all_edges.append(die)
                else:
                    unknown.append(die)
                    self._edge(number, mine[0][1], die, WHOLE_DIE, total)
        if all_edges:
            self._assume(
                f"{number}:all",
                f"{_some(all_edges)}: no place is named, so all cutting places of the die were ground "
                "together; which of them was dull is not known.",
                0.85,
            )
        if unknown:
            self._assume(
                f"{number}:whole",
                f"{_some(unknown)}: the places of {'this die' if len(unknown) == 1 else 'these dies'} "
                "are not known. One place, "
                f"“{WHOLE_DIE}”, stands for all edges, as a {KINDS[WHOLE_KIND].name} of "
                f"{WHOLE_CUT_MM:g} mm; the forecast is of the die "
                "as a whole. Bring the component list, or draw the strip, to say more.",
                0.85,
            )

    def _edge(self, number: int, line: int, die: str, place: str, total: bool) -> None:
        row: dict[str, object] = {
            "die": die,
            "position": place,
            "kind": KINDS[WHOLE_KIND].name,
            "cut_length_mm": WHOLE_CUT_MM,
        }
        row["station"] = "1" if place == WHOLE_DIE else place.partition("-")[0] if "-" in place else ""
        if not total:
            row |= {"opening": "counted", "opening_hits_since_sharpening": 0}
        self.places[die][place] = True
        self.out.put("components.csv", row, number, line)

    def _runs_between(self, number: int, die: str, mine: list, total: bool, looks: str, sheet: SheetRead) -> None:
        """The hits between the sharpenings of one die, as runs from day to day."""
        on: dict[dt.datetime, list] = defaultdict(list)
        for at, line, said in mine:
            if isinstance(said.get("hits"), int):
                on[at].append((line, said.get("position"), said["hits"]))
        reached: dict[object, int] = {}  # of each place the die's hits when it was ground last
        before_at, before = None, 0
        for at, rows in sorted(on.items()):
            if total:
                sums = [hits for _, _, hits in rows]
            else:
                sums = [reached[place] + hits for _, place, hits in rows if place in reached]
                if not sums and before_at is None:
                    sums = [max(hits for _, _, hits in rows)]
            hits_now = round(median(sums)) if sums else before
            line = rows[0][0]
            if total and before_at is not None and hits_now < before:
                self._wrong(
                    number,
                    line,
                    f"The counter of {die} goes back from {before:,} to {hits_now:,}. Was it set back, or "
                    "is a figure mistyped?",
                    "hits",
                    sheet,
                )
            elif total and before_at is None:
                pass  # where the counter stood when the book began
            elif hits_now > before:
                self._spread(number, line, die, before_at or at - BEFORE_FIRST, at, hits_now - before, looks)
            before_at, before = at, max(hits_now, before)
            for _, place, _ in rows:
                reached[place] = before
            if any(place is None for _, place, _ in rows):
                reached = dict.fromkeys([*reached, None], before)

    def _spread(self, number: int, line: int, die: str, a: dt.datetime, b: dt.datetime, hits: int, looks: str) -> None:
        days = max((b - a) / dt.timedelta(days=1 if looks == "day" else 7), 1)
        n = 1 if looks == "end" else int(min(days, LOOKS_AT_MOST, hits))
        ends = [a + (b - a) * (i + 1) / n for i in range(n)]
        done = [hits * (i + 1) // n for i in range(n)]
        for start, end, until, since in zip([a, *ends], ends, done, [0, *done], strict=False):
            self._run(number, line, die, start, end, until - since, {}, counted=False)

    def _sharpenings(self, number: int, die: str, mine: list) -> None:
        for at, line, said in mine:
            places = (
                [str(said["position"])] if "position" in said else [p for p, cuts in self.places[die].items() if cuts]
            )
            reason = str(said.get("reason", self.reason))
            note = str(said.get("note", ""))
            if reason.startswith("other: "):
                reason, note = "other", " ".join(x for x in (note, f"reason: {reason[7:]}") if x)
            for place in places:
                row: dict[str, object] = {"die": die, "position": place, "at": at, "reason": reason, "note": note}
                row |= {k: said[k] for k in ("found", "person", "hours") if k in said}
                row["removed_mm"] = said.get("removed_mm")
                self.out.put("sharpenings.csv", row, number, line)

    # --- small things ----------------------------------------------------------------------------------------------

    def _say_respelt(self) -> None:
        for written, known in list(self.respelt.items())[:10]:
            self._assume(f"respelt:{folded(written)}", f"“{written}” is {known}.", 0.85)

    def _wrong(self, sheet: int, row: int, text: str, name: str, of: SheetRead) -> None:
        column = of.layout.column(name)
        self.out.problems.append((sheet, Problem(row, None if column is None else column.index, text, True, name)))

    def _assume_once(self, key: str, text: str, sure: float, chosen: str) -> str:
        for said in self.out.assumed:
            if said.key == key:
                return said.chosen
        return self._assume(key, text, sure, chosen=chosen, free=True)

    def _assume(
        self,
        key: str,
        text: str,
        sure: float,
        options: tuple[Option, ...] = (),
        *,
        chosen: str = "",
        free: bool = False,
    ) -> str:
        chosen = chosen or (options[0].value if options and sure >= 0.5 else "")
        answer = self.answers.get(key, "").strip()
        if answer and (free or answer in {o.value for o in options}):
            chosen, sure = answer, 1.0
        self.out.assumed.append(Assumed(key, text, sure, chosen, options, free=free))
        return chosen


def _span(said: Mapping[str, object]) -> tuple[dt.datetime | None, dt.datetime | None]:
    """Start and end of a run, as far as a row says them."""
    day, started, ended = said.get("date"), said.get("started"), said.get("ended")
    base = day.moment if isinstance(day, Day) else None
    if isinstance(started, Day):
        a = started.moment
    elif isinstance(started, dt.time) and base is not None:
        a = dt.datetime.combine(base, started)
    elif isinstance(said.get("time"), dt.time) and base is not None:
        a = dt.datetime.combine(base, said["time"])  # type: ignore[arg-type]
    elif base is not None:
        a = base
    else:
        return None, None
    if isinstance(ended, Day):
        return a, ended.moment
    if isinstance(ended, dt.time):
        b = dt.datetime.combine(a, ended)
        return a, b if b > a else b + dt.timedelta(days=1)
    return a, None


def _bare(code: str) -> str:
    return "".join(c for c in code.casefold() if c.isalnum())


def _letters() -> Iterable[str]:
    for i in range(1, 2_000):
        text, n = "", i
        while n:
            n, rest = divmod(n - 1, 26)
            text = chr(65 + rest) + text
        yield text


def _some(codes: list[str]) -> str:
    return ", ".join(codes[:4]) + (f" and {len(codes) - 4:,} more" if len(codes) > 4 else "")
