"""PURE (standard library). The heights of a die: what is out, what puts it right, and the shut height that follows.

Heights are measured from a plate of each side towards the strip: `height = seat + length + spacers`. Pieces of one
group have to be level (`heights.reference_mm`). A piece below its group is set out by a shim, since steel cannot be put
back; a piece above it gives up spacers, or steel, or the others are set out to it.

What was right is the last set-up in which the die was left to run (without one, the pieces as new). Against it the shut
height falls by what the punches and the die face came down [2], and forming, stop blocks and whatever has little room
are held against that. A shim under the ground member brings all of it back at once [2].

All lengths in mm; a moment is any number that sorts.

[2] Press-tool glossary (course notes): a cutting die's shut height falls with each sharpening. That it is restored by a
    shim under the ground member: from memory.
[3] Tool and die training notes on pilots (course notes): a pilot stands about one stock thickness proud of the punches.
[4] Toolroom practice, from memory: punches enter the die by 0.5 to 1 mm, or half to one stock thickness.
[5] Die shop article on limit stops (trade article): blocks stay 0.010 in or more clear of the closed die.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from .heights import HAIR, LEVEL_MM, STEP_MM, Entry, HeightError, Lack, Standing, reference_mm, standing

ENTRY_MM = (0.5, 1.0)  # [4]
ENTRY_OF_THICKNESS = (0.5, 1.0)  # [4]
BLOCKS_CLEAR_MM = 0.254  # [5]
OTHER_BUILD_MM = 0.5  # pieces whose lengths when new differ by more sit in different seats
GRINDS_WORTH_A_SHIM = 2  # from how many usual grinds on the others are set out rather than a new piece ground
USUAL_GRIND_MM = 0.15  # where no record says: common practice, no source


# --- what is given ----------------------------------------------------------------------------------------------------


class Role(StrEnum):
    """What a place is to the heights of its die."""

    PUNCH = "punch"
    DIE = "die"
    PILOT = "pilot"
    FORM = "form"  # above or below
    OTHER = "other"  # has room, or none; a stripper plate


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """A piece in a place from `since` until `until`, None where it still sits there. new_mm: its length when its
    record began."""

    since: float
    until: float | None
    new_mm: float | None
    entries: tuple[Entry, ...] = ()

    def sat_there(self, at: float) -> bool:
        return self.since <= at and (self.until is None or at < self.until)


@dataclass(frozen=True, kw_only=True)
class Measured:
    """Something measured with the die closed, at a moment."""

    at: float
    mm: float


@dataclass(frozen=True, kw_only=True)
class Seat:
    """A place of the die.

    new_mm: how long what belongs there is when new. seat_mm: how far its seat lies from the plate towards the strip,
    None where nobody entered it. partner: of a forming punch its block, by code. allowance_mm: what is left to grind
    off the piece in it. room: how much further the die may come down before this place strikes. entry: how deep the
    punch went into the die.
    """

    code: str
    role: Role
    is_upper: bool
    group: str = ""
    seat_mm: float | None = None
    new_mm: float | None = None
    fitted: tuple[Fitted, ...] = ()
    partner: str = ""
    allowance_mm: float | None = None
    room: Measured | None = None
    entry: Measured | None = None

    @property
    def in_group(self) -> tuple[bool, str] | None:
        """What it has to be level with: punches with their height group, die sections with the die face."""
        if self.role is Role.PUNCH:
            return (True, self.group) if self.group else None
        return (False, self.group) if self.role is Role.DIE else None

    def fitted_at(self, at: float) -> Fitted | None:
        return next((one for one in self.fitted if one.sat_there(at)), None)

    def standing(self, at: float = math.inf) -> Standing:
        piece = self.fitted_at(at)
        if piece is None:
            return Standing(length_mm=None, lack=Lack.EMPTY)
        return standing(piece.new_mm, piece.entries, at=at)

    def height_mm(self, at: float = math.inf) -> float | None:
        height = self.standing(at).height_mm
        return None if height is None else height + (self.seat_mm or 0.0)

    @property
    def height_new_mm(self) -> float | None:
        return None if self.new_mm is None else self.new_mm + (self.seat_mm or 0.0)


@dataclass(frozen=True, kw_only=True)
class Right:
    """A set-up in which the die was left to run. blocks: place -> (clear of the shoe, stand-off it should have)."""

    at: float
    shut_height_mm: float | None = None
    blocks: Mapping[str, tuple[float, float]] | None = None


# --- what comes out ---------------------------------------------------------------------------------------------------


class Act(StrEnum):
    SHIM = "shim"  # a shim of so much under each
    UNSHIM = "unshim"  # spacers of so much out from under each
    GRIND = "grind"  # so much off each


@dataclass(frozen=True, kw_only=True)
class Way:
    """Something that puts a height right: what, by how much, under or off which pieces."""

    act: Act
    mm: float
    codes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Row:
    """A place in the ledger. level_mm: where its group stands. out_mm: how far it is from it, proud above nought.

    way: what puts it right first, other: the second way; none where it is level or not known. entry_mm: how deep it
    goes into the die at the new shut height, where an entry was ever measured.
    """

    seat: Seat
    standing: Standing
    height_mm: float | None
    level_mm: float | None = None
    out_mm: float | None = None
    way: Way | None = None
    other: Way | None = None
    lack: Lack | None = None
    entry_mm: float | None = None

    @property
    def is_out(self) -> bool:
        return self.out_mm is not None and abs(self.out_mm) > LEVEL_MM + HAIR


@dataclass(frozen=True, kw_only=True)
class Group:
    """A height group. then_mm, change_mm: where it stood when the die was right, and by how much it has changed since,
    by the places whose height is known of both. step_mm: how far it enters after the first group, step_then_mm: then.
    """

    is_upper: bool
    name: str
    level_mm: float
    then_mm: float | None
    change_mm: float | None
    codes: tuple[str, ...]
    step_mm: float = 0.0
    step_then_mm: float | None = None

    @property
    def step_is_out(self) -> bool:
        return self.step_then_mm is not None and abs(self.step_mm - self.step_then_mm) > STEP_MM + HAIR


@dataclass(frozen=True, kw_only=True)
class Lead:
    """How far a pilot stands ahead of the longest punch, and how far it should [3]."""

    code: str
    mm: float
    needs_mm: float

    @property
    def short_mm(self) -> float:
        short = self.needs_mm - self.mm
        return short if short > HAIR else 0.0


@dataclass(frozen=True, kw_only=True)
class Forming:
    """How much further forms close than they did, where the shut height follows the cutting edges."""

    codes: tuple[str, ...]
    closer_mm: float

    @property
    def is_out(self) -> bool:
        return abs(self.closer_mm) > LEVEL_MM + HAIR


@dataclass(frozen=True, kw_only=True)
class Shut:
    """The shut height. then_mm: at the set-up that was right, None where nobody typed it. The changes since are below
    nought where steel came off."""

    then_mm: float | None
    punches_mm: float
    die_mm: float

    @property
    def change_mm(self) -> float:
        return self.punches_mm + self.die_mm

    @property
    def new_mm(self) -> float | None:
        """With nothing more set under what was ground."""
        return None if self.then_mm is None else shut_height_mm(self.then_mm, self.punches_mm, self.die_mm)


@dataclass(frozen=True, kw_only=True)
class Block:
    """A stop block. clear_mm: how far it stands clear at the new shut height. lower_mm: to come off it, so that it
    keeps its stand-off."""

    place: str
    was_clear_mm: float
    stand_off_mm: float
    change_mm: float

    @property
    def clear_mm(self) -> float:
        return self.was_clear_mm + self.change_mm

    @property
    def lower_mm(self) -> float:
        return max(self.stand_off_mm - self.clear_mm, 0.0) if self.change_mm < -HAIR else 0.0


@dataclass(frozen=True, kw_only=True)
class Limit:
    """What stops grinding without a shim first: a place, and how much it leaves."""

    code: str
    mm: float


@dataclass(frozen=True, kw_only=True)
class Ledger:
    """The heights of a die. shut and limit are None where the heights that they need are not known."""

    rows: tuple[Row, ...]
    groups: tuple[Group, ...]
    leads: tuple[Lead, ...]
    forming: tuple[Forming, ...]
    shut: Shut | None
    blocks: tuple[Block, ...]
    limit: Limit | None
    thickness_mm: float
    right_at: float | None  # None: held against the pieces as new

    def row(self, code: str) -> Row | None:
        return next((row for row in self.rows if row.seat.code == code), None)

    @property
    def restore(self) -> tuple[Way, ...]:
        """The shims that bring every group back to where it stood, and what stands proud of that down to it.

        With them the shut height is as it was, and so are forms, stop blocks and rooms.
        """
        ways: list[Way] = []
        for group in self.groups:
            for row in self.rows:
                if group.then_mm is None or row.seat.code not in group.codes or row.height_mm is None:
                    continue
                needs = group.then_mm - row.height_mm
                if needs > LEVEL_MM + HAIR:
                    ways.append(Way(act=Act.SHIM, mm=needs, codes=(row.seat.code,)))
                elif needs < -LEVEL_MM - HAIR:
                    ways.append(_down(row.seat.code, row.standing, -needs))
        return tuple(ways)

    @property
    def level_up(self) -> tuple[Way, ...]:
        """What makes each group level where it stands."""
        return tuple(row.way for row in self.rows if row.way is not None)

    @property
    def lead_up(self) -> tuple[Way, ...]:
        """What brings pilots ahead of the punches again."""
        return tuple(Way(act=Act.SHIM, mm=lead.short_mm, codes=(lead.code,)) for lead in self.leads if lead.short_mm)

    @property
    def must_restore(self) -> bool:
        """Whether shims are the only way short of changing forms, or whatever has no room left."""
        forms = any(one.is_out for one in self.forming)
        return forms or (self.limit is not None and self.limit.mm < -HAIR)


def shut_height_mm(then_mm: float, *changes_mm: float) -> float:
    """The shut height after members of the die came down (below nought) or were set out (above nought) [2].

    Raises HeightError where that leaves no opening: a shim thicker than it, or a slip of the pen.
    """
    if isinstance(then_mm, bool) or not math.isfinite(then_mm) or then_mm <= 0:
        raise HeightError("Type the shut height that the press showed, in mm.")
    change = math.fsum(changes_mm)
    if not math.isfinite(change) or abs(change) >= then_mm:
        raise HeightError(
            "What came off or was set under since does not go into the shut height: look for a length, a shim or an "
            "amount that was typed wrong."
        )
    return then_mm + change


def entry_range_mm(thickness_mm: float) -> tuple[float, float]:
    """From how little to how much a punch goes into the die: by either way of saying it [4]."""
    low, high = (share * thickness_mm for share in ENTRY_OF_THICKNESS)
    return min(low, ENTRY_MM[0]), max(high, ENTRY_MM[1])


def ledger(
    seats: Sequence[Seat],
    *,
    thickness_mm: float,
    right: Right | None = None,
    usual_grind_mm: float | None = None,
    at: float = math.inf,
) -> Ledger:
    """The heights of a die at a moment: its groups, what is out, what puts it right, and the new shut height.

    seats: each code once. right: the last set-up that was right; without one the pieces as new are what it is held
    against. usual_grind_mm: what a sharpening takes off here. Raises HeightError.
    """
    if isinstance(thickness_mm, bool) or not math.isfinite(thickness_mm) or thickness_mm <= 0:
        raise HeightError("The stock of the die has no thickness: type it.")
    codes = [seat.code for seat in seats]
    if len(set(codes)) < len(codes):
        raise HeightError(f"Two places are called {next(c for c in codes if codes.count(c) > 1)}: rename one.")
    return _Reader(
        seats=seats, thickness_mm=thickness_mm, right=right, at=at, grind_mm=usual_grind_mm or USUAL_GRIND_MM
    ).ledger()  # fmt: skip


def change_mm(seat: Seat, since: float | None, at: float = math.inf) -> float | None:
    """How much higher a place stands than at a moment (None: than new). Below nought where it came down.

    Where the same piece has sat there all the time, its entries alone say so, whether its length is known or not.
    """
    piece = seat.fitted_at(at)
    if piece is not None and since is not None and piece.since <= since:
        mine = [entry for entry in piece.entries if since < entry.at <= at]
        if not any(entry.off_mm is None or entry.measured_mm is not None for entry in mine):
            return math.fsum(entry.under_mm - (entry.off_mm or 0.0) for entry in mine)
    now, then = seat.height_mm(at), seat.height_new_mm if since is None else seat.height_mm(since)
    return None if now is None or then is None else now - then


def _down(code: str, now: Standing, mm: float) -> Way:
    """How a proud piece comes down by itself: by its spacers as far as it has them, else by steel."""
    act = Act.UNSHIM if now.spacers_mm >= mm - HAIR else Act.GRIND
    return Way(act=act, mm=mm, codes=(code,))


@dataclass(frozen=True, kw_only=True)
class _Reader:
    seats: Sequence[Seat]
    thickness_mm: float
    right: Right | None
    grind_mm: float
    at: float

    def ledger(self) -> Ledger:
        lacks = self._without_seat()
        heights = {
            seat.code: height
            for seat in self.seats
            if seat.code not in lacks and (height := seat.height_mm(self.at)) is not None
        }
        groups = self._groups(heights)
        shut = self._shut(groups)
        return Ledger(
            rows=tuple(self._row(seat, heights, groups, lacks) for seat in self.seats),
            groups=tuple(groups),
            leads=tuple(self._leads(heights)),
            forming=tuple(self._forming(shut)),
            shut=shut,
            blocks=tuple(self._blocks(shut)),
            limit=self._limit(groups),
            thickness_mm=self.thickness_mm,
            right_at=self.right.at if self.right else None,
        )

    def _of(self, role: Role) -> list[Seat]:
        return [seat for seat in self.seats if seat.role is role]

    def _by_code(self, code: str) -> Seat:
        return next(seat for seat in self.seats if seat.code == code)

    def _without_seat(self) -> set[str]:
        """Places that cannot be held against others: of another length when new, with no seat entered."""
        by_group: dict[tuple[bool, str], dict[str, float]] = {}
        for seat in self.seats:
            if seat.in_group is not None and seat.height_new_mm is not None:
                by_group.setdefault(seat.in_group, {})[seat.code] = seat.height_new_mm
        open_ = {seat.code for seat in self.seats if seat.seat_mm is None}
        lacks: set[str] = set()
        for members in by_group.values():
            usual = reference_mm(members)
            lacks |= {c for c, mm in members.items() if c in open_ and abs(mm - usual) > OTHER_BUILD_MM + HAIR}
        punches = [s.height_new_mm for s in self._of(Role.PUNCH) if s.height_new_mm is not None]
        # A pilot that would not lead even when new sits deeper than the punches.
        return lacks | {
            s.code
            for s in self._of(Role.PILOT)
            if s.code in open_ and s.height_new_mm is not None and punches
            and s.height_new_mm - max(punches) < self.thickness_mm / 2
        }  # fmt: skip

    # --- groups

    def _groups(self, heights: Mapping[str, float]) -> list[Group]:
        members: dict[tuple[bool, str], dict[str, float]] = {}
        for seat in self.seats:
            if seat.in_group is not None and seat.code in heights:
                members.setdefault(seat.in_group, {})[seat.code] = heights[seat.code]
        made = []
        for (is_upper, name), now in members.items():
            then, change = self._moved(now, self._then)
            made.append(
                Group(is_upper=is_upper, name=name, level_mm=reference_mm(now), then_mm=then, change_mm=change,
                      codes=tuple(now))
            )  # fmt: skip
        made.sort(key=lambda g: (not g.is_upper, -g.level_mm, g.name))
        first, _ = _first_and_face(made)
        return [_stepped(group, first) if first is not None and group.is_upper else group for group in made]

    def _then(self, seat: Seat) -> float | None:
        return seat.height_new_mm if self.right is None else seat.height_mm(self.right.at)

    def _moved(
        self, now: Mapping[str, float], then_of: Callable[[Seat], float | None]
    ) -> tuple[float | None, float | None]:
        """Where some places stood then, and by how much their level has changed since."""
        then = {code: height for code in now if (height := then_of(self._by_code(code))) is not None}
        if not then:
            return None, None
        before = reference_mm(then)
        return before, reference_mm({code: now[code] for code in then}) - before

    def _level_since(self, group: Group, at: float) -> float | None:
        now = {code: self._by_code(code).height_mm(self.at) or 0.0 for code in group.codes}
        return self._moved(now, lambda seat: seat.height_mm(at))[1]

    def _since(self, at: float, groups: Sequence[Group]) -> float | None:
        """By how much the shut height changed since a moment, where it followed the cutting edges."""
        first, face = _first_and_face(groups)
        if first is None or face is None:
            return None
        punches, die = self._level_since(first, at), self._level_since(face, at)
        return None if punches is None or die is None else punches + die

    # --- one place

    def _row(self, seat: Seat, heights: Mapping[str, float], groups: Sequence[Group], lacks: set[str]) -> Row:
        now, height = seat.standing(self.at), heights.get(seat.code)
        lack = Lack.SEAT if seat.code in lacks and now.lack is None else now.lack
        entry = self._entry(seat, heights, groups)
        group = next((g for g in groups if seat.code in g.codes), None)
        row = Row(seat=seat, standing=now, height_mm=height, lack=lack, entry_mm=entry)
        if group is None or height is None or len(group.codes) < 2:
            return row
        out = height - group.level_mm
        row = replace(row, level_mm=group.level_mm, out_mm=out)
        if not row.is_out:
            return row
        rest = tuple(code for code in group.codes if code != seat.code)
        if out < 0:
            return replace(row, way=Way(act=Act.SHIM, mm=-out, codes=(seat.code,)),
                           other=Way(act=Act.GRIND, mm=-out, codes=rest))  # fmt: skip
        down, others = _down(seat.code, now, out), Way(act=Act.SHIM, mm=out, codes=rest)
        if down.act is Act.UNSHIM:
            return replace(row, way=down, other=others)
        if seat.allowance_mm is not None and seat.allowance_mm < out - HAIR:
            return replace(row, way=others)
        if out > GRINDS_WORTH_A_SHIM * self.grind_mm + HAIR:
            return replace(row, way=others, other=down)
        return replace(row, way=down, other=others)

    def _entry(self, seat: Seat, heights: Mapping[str, float], groups: Sequence[Group]) -> float | None:
        """How deep a punch goes in at the new shut height, from the last entry that was measured on any punch."""
        first, _ = _first_and_face(groups)
        measured = [(s.entry, s) for s in self._of(Role.PUNCH) if s.entry is not None]
        if seat.role is not Role.PUNCH or seat.code not in heights or not measured or first is None:
            return None
        entry, of = max(measured, key=lambda pair: pair[0].at)
        was, follows = of.height_mm(entry.at), self._level_since(first, entry.at)
        if was is None or follows is None:
            return None
        return entry.mm + (heights[seat.code] - was) - follows

    def _leads(self, heights: Mapping[str, float]) -> list[Lead]:
        punches = [heights[seat.code] for seat in self._of(Role.PUNCH) if seat.code in heights]
        return [
            Lead(code=seat.code, mm=heights[seat.code] - max(punches), needs_mm=self.thickness_mm)
            for seat in self._of(Role.PILOT)
            if seat.code in heights and punches
        ]

    # --- the die closed

    def _shut(self, groups: Sequence[Group]) -> Shut | None:
        first, face = _first_and_face(groups)
        if first is None or face is None or first.change_mm is None or face.change_mm is None:
            return None
        then = self.right.shut_height_mm if self.right else None
        if then is not None:
            shut_height_mm(then, first.change_mm, face.change_mm)  # refuses what cannot be
        return Shut(then_mm=then, punches_mm=first.change_mm, die_mm=face.change_mm)

    def _forming(self, shut: Shut | None) -> Iterable[Forming]:
        forms = {seat.code: seat for seat in self._of(Role.FORM)}
        below = {seat.partner for seat in forms.values() if seat.is_upper}
        since = self.right.at if self.right else None
        for seat in forms.values():
            if shut is None or seat.code in below:
                continue
            pair = [seat, *([forms[seat.partner]] if seat.partner in forms else [])]
            changes = [change for one in pair if (change := change_mm(one, since, self.at)) is not None]
            if len(changes) == len(pair):
                closer = math.fsum(changes) - shut.change_mm
                yield Forming(codes=tuple(one.code for one in pair), closer_mm=closer)

    def _blocks(self, shut: Shut | None) -> Iterable[Block]:
        if shut is not None and self.right is not None:
            for place, (clear, stand_off) in (self.right.blocks or {}).items():
                yield Block(place=place, was_clear_mm=clear, stand_off_mm=stand_off, change_mm=shut.change_mm)

    def _limit(self, groups: Sequence[Group]) -> Limit | None:
        limits = []
        for seat in self.seats:
            change = None if seat.room is None else self._since(seat.room.at, groups)
            if seat.room is not None and change is not None:
                own = change_mm(seat, seat.room.at, self.at) or 0.0
                limits.append(Limit(code=seat.code, mm=seat.room.mm + change - own))
        return min(limits, key=lambda limit: limit.mm, default=None)


def _first_and_face(groups: Sequence[Group]) -> tuple[Group | None, Group | None]:
    """What the shut height follows: the group that enters first, and the die face that most sections make."""
    first = next((group for group in groups if group.is_upper), None)
    face = [group for group in groups if not group.is_upper]
    return first, max(face, key=lambda group: len(group.codes), default=None)


def _stepped(group: Group, first: Group) -> Group:
    then = None if group.then_mm is None or first.then_mm is None else first.then_mm - group.then_mm
    return replace(group, step_mm=first.level_mm - group.level_mm, step_then_mm=then)
