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
from itertools import pairwise
from statistics import median

from diestore.handbook.kinds import KINDS

from .forms import Day
from .registered import GROUND_AT, WHOLE_CUT_MM, Lists, Registered, Standing, some_of
from .sheets import COMPONENTS, DIES, PRICES, RUNS, SHARPENINGS, STOCK
from .understood import Option, SheetRead

WHOLE_DIE = "whole die"  # the place that stands for all edges of a die whose places are not known
WHOLE_KIND = "trim_punch"
DAY_FROM, DAY_TO = dt.time(0, 0), dt.time(16, 0)  # of days without a time
BEFORE_FIRST = dt.timedelta(days=30)  # what a book's first hits are spread over
LOOKS_AT_MOST = 60  # runs between two sharpenings
LOOKS = (
    Option("day", "every day that it runs"),
    Option("week", "about once a week"),
    Option("end", "only when the die is pulled"),
)


def lists(sheets: Iterable[SheetRead], standing: Standing, *, answers: Mapping[str, str] | None = None) -> Lists:
    """What the sheets of a book bring. answers: key -> what a person chose, of the book as a whole."""
    return _Maker(list(sheets), standing, answers or {}).make()


class _Maker(Registered):
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
        row |= {k: said[k] for k in ("press", "good_parts", "person", "note") if k in said}
        if "lot" in said:
            row["coil"] = said["lot"]
        if "job" in said:
            row["note"] = " ".join(str(x) for x in (said.get("note"), f"job {said['job']}") if x)
        if not counted:
            row["how_counted"] = "estimated"
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
                f"{some_of(all_edges)}: no place is named, so all cutting places of the die were ground "
                "together; which of them was dull is not known.",
                0.85,
            )
        if unknown:
            self._assume(
                f"{number}:whole",
                f"{some_of(unknown)}: the places of {'this die' if len(unknown) == 1 else 'these dies'} "
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
            "kind": KINDS[WHOLE_KIND].english,
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
