"""PURE. The readings of one counter in the order of its own clock -> steps, each with the strokes between two readings.

A reading is an absolute total, so that a lost, late or repeated message loses nothing: the next one carries its
strokes. What a total cannot tell by itself is why it fell or leapt:

- it rises by no more than a press can make in that time: so many strokes;
- it falls to a tenth or less, with no more strokes than a press can make in that time: it was set to nought, and what
  it shows was made since;
- it falls from just under a power of ten, and the strokes across it fit into the time: it rolled over;
- a single reading that the next one contradicts, and that does not fit between its neighbours, is odd: it is set
  aside, and its neighbours tell the strokes;
- anything else is for a person to settle. Until then nothing after it counts, except that a total which climbs back
  within three hours shows those in between to have been odd (a clock put back, a message of another time).

Everything depends on what the readings say and not on when they came: any order of arrival and any repetition gives
the same steps. Times are seconds since the epoch, strokes are whole numbers.

Common practice, no source: the fastest press (2,000 strokes a minute), the slack of 100 strokes for clocks that tell
whole seconds, and the shares below.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from itertools import groupby, pairwise

FASTEST_PER_MINUTE = 2_000
SLACK_STROKES = 100
MOST_AT_ONCE = 100_000_000  # no run has more: a press at 2,000 a minute needs five weeks for it
RESET_SHARE = 0.1  # a fall to this share of the total or less is a reset
SURE_ROLL = 0.02  # a fall from the last 2 % under a power of ten is a roll-over,
MAYBE_ROLL = 0.05  # from the last 5 % it may be one
SMALLEST_ROLL = 10_000  # counters of four figures or more
CLIMB_BACK_S = 3 * 3600.0
LOOK_AHEAD = 3  # readings after a pair that may change what is made of it
TIE_S = 0.001  # readings of one moment are put so far apart


@dataclass(frozen=True, kw_only=True, slots=True)
class CounterTotal:
    """at: seconds by the device's clock. total: what the counter showed. id: the message's own, never twice.

    stock: whether the strokes since the reading before had stock under the punch. clock_off: when it came, `at` could
    not be (it lay in the future, or years back). arrived: seconds by the service's clock.
    """

    at: float
    total: int
    id: str
    stock: bool = True
    clock_off: bool = False
    arrived: float = 0.0
    tied: bool = False


class Verdict(Enum):
    """What a person may answer."""

    LEAVE_OUT = "leave out"
    LEAVE_OUT_CLOCK = "leave out wrong times"
    AT_ARRIVAL = "at arrival"
    RESET = "reset"
    ROLLED_OVER = "rolled over"
    SET = "set"
    TO_DIE = "to die"
    WITHOUT_STOCK = "without stock"
    TO_NOBODY = "to nobody"


@dataclass(frozen=True, kw_only=True, slots=True)
class Answer:
    """An answer holds for what lies within [since, until] of this counter, both ends in."""

    verdict: Verdict
    since: float
    until: float
    die: int | None = None
    variant: int | None = None

    def covers(self, since: float, until: float) -> bool:
        return self.since <= since and until <= self.until


class Doubt(Enum):
    """Why the strokes of a step are not decided."""

    NONE = ""
    JUMP = "jump"  # more than any press makes in that time
    RESET_OR_ROLL = "reset or roll-over"
    FALL = "fall"


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """Strokes between two neighbouring readings, [since, until). fell: of a fall, the first reading after it."""

    before: CounterTotal
    after: CounterTotal
    strokes: int
    doubt: Doubt = Doubt.NONE
    fell: CounterTotal | None = None

    @property
    def since(self) -> float:
        return self.before.at

    @property
    def until(self) -> float:
        return self.after.at


@dataclass(frozen=True, kw_only=True, slots=True)
class Aside:
    """A reading that is kept and not used. clock: its time cannot be; else it contradicts its neighbours.

    follows: the reading in use before it.
    """

    reading: CounterTotal
    clock: bool = False
    follows: CounterTotal | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Chain:
    steps: tuple[Step, ...]
    aside: tuple[Aside, ...]
    last: CounterTotal | None = None


class _Go(Enum):
    RISE = 1
    JUMP = 2
    RESET = 3
    ROLL = 4
    EITHER = 5
    SET = 6
    FALL = 7


def possible(seconds: float) -> float:
    """The most strokes that any press makes in so many seconds."""
    return min(FASTEST_PER_MINUTE / 60.0 * seconds + SLACK_STROKES, MOST_AT_ONCE)


def chain(
    readings: Iterable[CounterTotal],
    answers: Sequence[Answer] = (),
    *,
    figures: int | None = None,
    since: float = float("-inf"),
) -> Chain:
    """Readings in any order, repeats among them -> steps in the order of the device's clock.

    figures: how many the counter shows, where known; it then rolls over there and nowhere else. since: readings
    before it are passed over.
    """
    return _Chain(answers, figures, since).of(readings)


class _Chain:
    def __init__(self, answers: Sequence[Answer], figures: int | None, since: float) -> None:
        self.since = since
        self.left_out = [a for a in answers if a.verdict is Verdict.LEAVE_OUT]
        self.left_out_clock = [a for a in answers if a.verdict is Verdict.LEAVE_OUT_CLOCK]
        self.at_arrival = [a for a in answers if a.verdict is Verdict.AT_ARRIVAL]
        self.falls = [a for a in answers if a.verdict in (Verdict.RESET, Verdict.ROLLED_OVER, Verdict.SET)]
        self.figures = figures

    def of(self, readings: Iterable[CounterTotal]) -> Chain:
        rows, off = self._in_order(readings)
        if not rows:
            return Chain(steps=(), aside=tuple(off))
        kept, aside = [rows[0]], off
        steps: list[Step] = []
        i = 1
        while i < len(rows):
            x, y = kept[-1], rows[i]
            z = rows[i + 1] if i + 1 < len(rows) else None
            go = self._go(x, y)
            if go not in (_Go.RISE, _Go.SET) and self._is_odd(x, y, z, go):
                aside.append(Aside(reading=y, follows=x))
            elif go is _Go.FALL and self._odd_before(kept, steps, rows, i):
                aside.append(Aside(reading=kept.pop(), follows=kept[-1]))
                steps.pop()
                continue
            elif go is _Go.FALL:
                back = next((k for k in range(i + 1, len(rows)) if self._climbs_back(x, rows[k])), None)
                if back is None:
                    return Chain(steps=(*steps, self._undecided(x, rows[i:])), aside=tuple(aside), last=x)
                aside += [Aside(reading=row, follows=x) for row in rows[i:back]]
                i = back
                continue
            else:
                steps.append(self._step(x, y, go))
                kept.append(y)
            i += 1
        return Chain(steps=tuple(steps), aside=tuple(aside), last=kept[-1])

    def _in_order(self, readings: Iterable[CounterTotal]) -> tuple[list[CounterTotal], list[Aside]]:
        """Each message once, by its time; wrong clocks put right or aside; those of one moment a little apart."""
        once: dict[str, CounterTotal] = {}
        off: list[Aside] = []
        for row in readings:
            once.setdefault(row.id, row)
        rows = []
        for row in once.values():
            if self._covered(self.left_out_clock if row.clock_off else self.left_out, row.at, row.at):
                continue
            if row.clock_off and self._covered(self.at_arrival, row.at, row.at):
                row = replace(row, at=row.arrived, clock_off=False)
            if row.clock_off:
                off.append(Aside(reading=row, clock=True))
            elif row.at >= self.since:
                rows.append(row)
        off.sort(key=lambda a: (a.reading.at, a.reading.total, a.reading.id))
        rows.sort(key=lambda r: (r.at, r.total, r.id))
        placed: list[CounterTotal] = []
        for _, group in groupby(rows, key=lambda r: r.at):
            same = list(group)
            if len(same) > 1:
                same = _one_after_another(same, placed[-1].total if placed else 0)
            placed += same
        return placed, off

    @staticmethod
    def _covered(answers: Sequence[Answer], since: float, until: float) -> Answer | None:
        return next((a for a in answers if a.covers(since, until)), None)

    def _go(self, x: CounterTotal, y: CounterTotal) -> _Go:
        most = possible(y.at - x.at)
        if y.total >= x.total:
            return _Go.RISE if y.total - x.total <= most else _Go.JUMP
        if answer := self._covered(self.falls, x.at, y.at):
            return {Verdict.RESET: _Go.RESET, Verdict.ROLLED_OVER: _Go.ROLL, Verdict.SET: _Go.SET}[answer.verdict]
        top = self._top(x.total)
        under = top - x.total
        if under + y.total <= most and (self.figures is not None or top >= SMALLEST_ROLL):
            if self.figures is not None or under <= SURE_ROLL * top:
                return _Go.ROLL
            if under <= MAYBE_ROLL * top:
                return _Go.EITHER
        if y.total <= RESET_SHARE * x.total and y.total <= most:
            return _Go.RESET
        return _Go.FALL

    def _top(self, total: int) -> int:
        """Where the counter rolls over: at ten to the number of its figures."""
        figures = len(str(total))
        return 10 ** (figures if self.figures is None else max(self.figures, figures))

    def _is_odd(self, x: CounterTotal, y: CounterTotal, z: CounterTotal | None, go: _Go) -> bool:
        """Whether y alone is wrong: z goes on from x and not from y. A leap waits for a reading that bears it out."""
        if z is None:
            return go is _Go.JUMP
        on = self._go(y, z)
        if go is _Go.JUMP:
            return on not in (_Go.RISE, _Go.ROLL, _Go.RESET) or (on is not _Go.RISE and self._go(x, z) is _Go.RISE)
        if self._is_answered(x, y):
            return False
        return self._go(x, z) is _Go.RISE and (go is _Go.FALL or on is _Go.JUMP)

    def _is_answered(self, x: CounterTotal, y: CounterTotal) -> bool:
        return y.total < x.total and self._covered(self.falls, x.at, y.at) is not None

    def _odd_before(self, kept: list[CounterTotal], steps: list[Step], rows: list[CounterTotal], i: int) -> bool:
        """Whether the last one kept was the odd one: the next three go on from the one before it."""
        if len(kept) < 2 or i + LOOK_AHEAD > len(rows) or steps[-1].doubt is not Doubt.NONE:
            return False
        line = [kept[-2], *rows[i : i + LOOK_AHEAD]]
        return all(self._go(a, b) is _Go.RISE for a, b in pairwise(line))

    def _climbs_back(self, x: CounterTotal, later: CounterTotal) -> bool:
        return later.at - x.at <= CLIMB_BACK_S and self._go(x, later) is _Go.RISE

    def _strokes(self, x: CounterTotal, y: CounterTotal, go: _Go) -> int:
        if go in (_Go.RISE, _Go.JUMP):
            return y.total - x.total
        if go is _Go.ROLL:
            return self._top(x.total) - x.total + y.total
        return y.total if go in (_Go.RESET, _Go.EITHER) else 0

    def _step(self, x: CounterTotal, y: CounterTotal, go: _Go) -> Step:
        doubt = {_Go.JUMP: Doubt.JUMP, _Go.EITHER: Doubt.RESET_OR_ROLL}.get(go, Doubt.NONE)
        fell = None if doubt is Doubt.NONE else y
        return Step(before=x, after=y, strokes=self._strokes(x, y, go), doubt=doubt, fell=fell)

    def _undecided(self, x: CounterTotal, held: list[CounterTotal]) -> Step:
        """All after a fall that nothing explains: one step, its strokes those that the readings after it tell."""
        pairs = pairwise(held)
        strokes = sum(self._strokes(a, b, self._go(a, b)) for a, b in pairs)
        end = held[-1] if held[-1].at > x.at else replace(held[-1], at=x.at + TIE_S)
        return Step(before=x, after=end, strokes=strokes, doubt=Doubt.FALL, fell=held[0])


def _one_after_another(same: list[CounterTotal], before: int) -> list[CounterTotal]:
    """Readings of one moment: those that go on from the total before, then those that began anew."""
    on = [r for r in same if r.total >= before]
    anew = [r for r in same if r.total < before]
    return [replace(row, at=row.at + k * TIE_S, tied=True) for k, row in enumerate([*on, *anew])]
