"""PURE. What lists bring of the register: dies, components and spares, laid over what stands."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from diestore.handbook import materials
from diestore.handbook.kinds import KINDS, UnknownKind
from diestore.handbook.kinds import kind as kind_of

from .forms import DAY_FIRST, Day, Unreadable, folded
from .forms import day as parse_day
from .sheets import SET_UP
from .understood import Assumed, Gap, Option, Problem, SheetRead
from .vocabulary import best

WHOLE_CUT_MM = 100.0  # put in until somebody says; forces rest on it, lives do not
GROUND_AT = dt.time(18, 0)  # of days without a time
QUANTITY_AT_MOST = 60


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


class Registered:
    """Makes rows of dies, components and spares from read lists."""

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
                        f"{code} is in row {self.told_at[code][1]} already, otherwise.",
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
                    if k not in ("description", "press", "owner", "build_price", "expected_parts", "status", *SET_UP)
                }
            row |= {
                k: said[k]
                for k in ("description", "press", "owner", "build_price", "expected_parts", "status", *SET_UP)
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
        row: dict[str, object] = {"die": die, "station": station, "position": code, "kind": KINDS[kind].english}
        row |= {k: said[k] for k in ("spare", "side", "seat_mm", "cut_length_mm") if k in said}
        if "height_group" in said:
            row["enters_with"] = said["height_group"]
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
            row["empty_at_start"] = True
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
        counted_on = self._counted_on(number, sheet)
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
                self._wrong(number, row.number, f"{code} is in row {seen[key]} already.", "spare", sheet)
                continue
            seen[key] = row.number
            said: dict[str, object] = {k: v for k, v in row.values.items() if k not in ("kind", "counted_at")}
            said["spare"] = code
            if "kind" in row.values:
                try:
                    said["kind"] = kind_of(str(row.values["kind"])).english
                except UnknownKind:
                    found, sure = best("kind", str(row.values["kind"]))
                    if sure > 0.7:
                        said["kind"] = KINDS[found].english
            counted = row.values.get("counted_at")
            if isinstance(counted, Day):
                said["counted_at"] = min(
                    counted.moment if counted.timed else dt.datetime.combine(counted.moment, GROUND_AT),
                    self.standing.now,
                )
            elif counted_on is not None and {"on_hand", "on_order"} & set(said):
                said["counted_at"] = counted_on
            self._merge_spare(said, number, row.number)

    def _counted_on(self, number: int, sheet: SheetRead) -> dt.datetime | None:
        """When the shelf was counted, where the list does not say it: asked, today if nobody says otherwise."""
        counts = [row for row in sheet.rows if {"on_hand", "on_order"} & set(row.values)]
        if not counts or all("counted_at" in row.values for row in counts):
            return None
        today = f"{self.standing.now:%Y-%m-%d}"
        text = f"{sheet.name}: on which day was this counted? Spares that come and go later are counted from then."
        answer = self._assume(f"{number}:counted", text, 0.7, chosen=today, free=True)
        try:
            found = parse_day(answer, order=DAY_FIRST).moment
        except Unreadable:
            return self.standing.now
        return min(dt.datetime.combine(found, GROUND_AT), self.standing.now.replace(second=0, microsecond=0))

    def _merge_spare(self, said: dict[str, object], number: int, line: int) -> None:
        """A spare in the stock list and in the price list is one row."""
        for row in self.out.tables["spares.csv"]:
            if (row["spare"], row.get("revision")) == (said["spare"], said.get("revision")):
                for name, value in said.items():
                    row.setdefault(name, value)
                return
        self.out.put("spares.csv", said, number, line)

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


def _bare(code: str) -> str:
    return "".join(c for c in code.casefold() if c.isalnum())


def _letters() -> Iterable[str]:
    for i in range(1, 2_000):
        text, n = "", i
        while n:
            n, rest = divmod(n - 1, 26)
            text = chr(65 + rest) + text
        yield text


def some_of(codes: list[str]) -> str:
    return ", ".join(codes[:4]) + (f" and {len(codes) - 4:,} more" if len(codes) > 4 else "")
