"""The ledger of heights in words. Sentences and cells; the template lays them out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from django.utils import timezone

from diestore import units
from diestore.texts import counted
from maintenance.log import height_words
from maintenance.log.data import AllowanceLeft
from maintenance.log.height_words import NAMED_AT_MOST, named
from maintenance.log.heights import DieHeights
from maintenance.policy import height_targets
from maintenance.policy.height_ledger import BLOCKS_CLEAR_MM, Group, Ledger, Role, Row, Way, entry_range_mm
from maintenance.policy.heights import LEVEL_MM, Lack
from maintenance.wording import numbers

from . import drawing

CONTACT_MM = 0.25  # by which a card's figure may be off before it is said; common practice, no source


@dataclass(frozen=True, kw_only=True)
class Line:
    """A place in the table. level, before: what to do so that it is level, and to stand as it did."""

    code: str
    pk: int
    kind: str
    length: str
    off: str
    spacers: str
    height: str
    out: str
    is_out: bool
    level: str
    other: str
    before: str
    left: str
    grinds: str
    used_up: str
    strokes: str


@dataclass(frozen=True, kw_only=True)
class Section:
    """Places of one level under one heading."""

    name: str
    words: str
    lines: list[Line]


@dataclass(frozen=True, kw_only=True)
class Check:
    """Something that the heights decide. state: fine, close or short."""

    what: str
    now: str
    should: str
    do: str
    state: str


class Words:
    """The heights of one die in the units of whoever reads."""

    def __init__(
        self, heights: DieHeights, system: units.System, used_up: Mapping[int, AllowanceLeft] | None = None
    ) -> None:
        """used_up: how far the allowance goes, by position, as purchasing reckons it."""
        self.heights, self.system, self.used_up = heights, system, used_up or {}
        self.ledger: Ledger = heights.ledger
        self.restore = {code: way for way in self.ledger.restore for code in way.codes}

    def mm(self, mm: float, *, signed: bool = False) -> str:
        return height_words.shown(mm, self.system, signed=signed)

    def bare(self, mm: float | None, name: str = "removed_mm") -> str:
        return "" if mm is None else units.show(mm, name, self.system, with_unit=False)

    def shut(self, mm: float | None) -> str:
        return units.show(mm, "raised_mm", self.system)

    @property
    def since(self) -> str:
        """What the die is held against."""
        row = self.heights.set_up
        return "its pieces as new" if row is None else f"the set-up of {day(row.at)}"

    # --- what to do

    def headline(self) -> str:
        ledger, out = self.ledger, [row for row in self.ledger.rows if row.way is not None]
        if not any(row.height_mm is not None for row in ledger.rows):
            return "No height is known yet: enter the lengths on the die card, or measure them at the next sharpening."
        if ledger.must_restore:
            count = len(ledger.restore)
            return f"Set out what was ground: {counted(count, 'shim', 'shims')}, and the die closes as it did."
        if out:
            stand, ways = "stands" if len(out) == 1 else "stand", [row.way for row in out if row.way is not None]
            told = "; ".join(height_words.way(way, self.system, alone=True) for way in ways[:NAMED_AT_MOST])
            more = "" if len(ways) <= NAMED_AT_MOST else "; and more below"
            return f"{named(row.seat.code for row in out)} {stand} out of level: {told}{more}."
        if any(lead.short_mm for lead in ledger.leads):
            return "The groups are level, and a pilot does not lead the punches by enough."
        if any(row.lack for row in ledger.rows if row.seat.in_group):
            return "What is known stands level. Not every height is known."
        return "Every group stands level. Nothing has to be shimmed."

    def way(self, way: Way) -> str:
        return height_words.way(way, self.system)

    def remarks(self) -> Iterator[str]:
        """The shut height, and why shims are or are not needed."""
        shut = self.ledger.shut
        if shut is None:
            yield "The shut height that follows is not known: it takes the heights of a group and of the die face."
            return
        change = shut.change_mm
        if abs(change) < 0.005:
            yield f"The shut height stays as it was at {self.since}{self._of(shut.then_mm)}."
            return
        fell = f"{'came down' if change < 0 else 'rose'} by {self.mm(abs(change))} against {self.since}"
        parts = f"punches {self.mm(shut.punches_mm, signed=True)}, die face {self.mm(shut.die_mm, signed=True)}"
        if shut.new_mm is None:
            yield f"Punches and die {fell} ({parts}): the shut height follows by that much. What it was nobody typed."
        else:
            yield f"Punches and die {fell} ({parts})."
        if self.ledger.must_restore and self.restore:
            yield "Without shims something closes too far: see below."

    def _of(self, mm: float | None) -> str:
        return "" if mm is None else f": {self.shut(mm)}"

    # --- the table

    def sections(self) -> Iterator[Section]:
        rows = {row.seat.code: row for row in self.ledger.rows}
        told: set[str] = set()
        for group in self.ledger.groups:
            mine = [row for row in self.ledger.rows if row.seat.in_group == (group.is_upper, group.name)]
            told |= {row.seat.code for row in mine}
            yield Section(name=_name_of(group), words=self._words_of(group), lines=[self.line(row) for row in mine])
        for name, wanted in (
            ("Pilots", lambda row: row.seat.role is Role.PILOT),
            ("Forms", lambda row: row.seat.role is Role.FORM and row.standing.length_mm is not None),
            ("In no group, or not known", lambda row: row.seat.role in (Role.PUNCH, Role.DIE)),
        ):
            mine = [row for code, row in rows.items() if code not in told and wanted(row)]
            if mine:
                yield Section(name=name, words="", lines=[self.line(row) for row in mine])

    def _words_of(self, group: Group) -> str:
        words = f"at {self.mm(group.level_mm)}"
        if group.change_mm is not None and abs(group.change_mm) >= 0.005:
            words += f", {self.mm(group.change_mm, signed=True)} against {self.since}"
        if group.step_mm > 0.005:
            share = group.step_mm / self.ledger.thickness_mm
            words += f"; enters {self.mm(group.step_mm)} after the first group, {share:.1f} of the thickness"
        return words

    def line(self, row: Row) -> Line:
        place, now = self.heights.places[row.seat.code], row.standing
        before = self.restore.get(row.seat.code)
        lead = next((lead for lead in self.ledger.leads if lead.code == row.seat.code and lead.short_mm), None)
        level = f"shim {self.mm(lead.short_mm)}" if lead else "" if row.way is None else self.way(row.way)
        left, grinds = self._left(row)
        goes = self.used_up.get(place.pk) if left else None
        used_up = "" if goes is None or goes.strokes is None else f"{goes.day:%b %Y}" if goes.day else "far off"
        return Line(
            code=row.seat.code,
            pk=place.pk,
            kind=place.get_kind_display(),
            length=self.bare(now.length_mm) or "not known",
            off=self.bare(now.off_mm) if now.off_mm else "",
            spacers=self.bare(now.spacers_mm, "raised_mm") if abs(now.spacers_mm) > 1e-9 else "",
            height=self.bare(row.height_mm, "raised_mm"),
            out="" if row.out_mm is None else "level" if not row.is_out else self.mm(row.out_mm, signed=True),
            is_out=row.is_out or lead is not None,
            level=level,
            other="" if row.other is None else self.way(row.other),
            before="" if before is None else self.way(before),
            left=left,
            grinds=grinds,
            used_up=used_up,
            strokes=f"{numbers.hits(goes.strokes)} strokes" if used_up else "",
        )

    # --- what the heights decide

    def checks(self) -> Iterator[Check]:
        ledger = self.ledger
        yield from self._shut_height()
        for lead in ledger.leads:
            short = lead.short_mm > 0
            yield Check(
                what=f"Pilot {lead.code} ahead of the longest punch",
                now=self.mm(lead.mm, signed=True),
                should=f"{self.mm(lead.needs_mm)} or more",
                do=f"shim {self.mm(lead.short_mm)} under it" if short else "",
                state="short" if short else "fine",
            )
        yield from self._feed()
        yield from self._groups()
        yield from self._entries()
        for one in ledger.forming:
            way = "further" if one.closer_mm > 0 else "less far"
            yield Check(
                what=f"Form {' on '.join(one.codes)}, to the cutting face",
                now=f"closes {self.mm(abs(one.closer_mm))} {way}" if one.is_out else "closes as it did",
                should="as it did",
                do=self._do_of_form(one.closer_mm) if one.is_out else "",
                state="short" if one.is_out else "fine",
            )
        for block in ledger.blocks:
            if block.lower_mm and not ledger.must_restore:
                yield Check(
                    what=f"Stop block {block.place}",
                    now=f"{self.mm(block.clear_mm)} clear at the new shut height",
                    should=f"{self.mm(block.stand_off_mm)} clear; {self.mm(BLOCKS_CLEAR_MM)} or more where it runs "
                    "without touching",
                    do=f"take {self.mm(block.lower_mm)} off it, or shim what was ground",
                    state="short",
                )
        if ledger.limit is not None:
            strikes = ledger.limit.mm < 0
            ground = [row for row in ledger.rows if row.seat.allowance_mm is not None]
            stops = [row.seat.code for row in ground if height_targets.left(row, ledger).stops]
            yield Check(
                what=f"Room at {ledger.limit.code} with the die closed",
                now=self.mm(ledger.limit.mm),
                should="so much may come off without a shim" + (f": less than {named(stops)} have" if stops else ""),
                do="shim what was ground before the die is closed" if strikes else "",
                state="short" if strikes else "close" if ledger.limit.mm < LEVEL_MM else "fine",
            )

    def _shut_height(self) -> Iterator[Check]:
        shut = self.ledger.shut
        if shut is None or shut.then_mm is None or shut.new_mm is None:
            return
        changed = abs(shut.change_mm) >= 0.005
        new = self.shut(shut.new_mm)
        yield Check(
            what="Shut height",
            now=f"{self.shut(shut.then_mm)} at {self.since}",
            should=f"{new} without shims; {self.shut(shut.then_mm)} with them" if changed else new,
            do="set what was ground back out by shims" if self.ledger.must_restore else f"dial in {new}" if changed
            else "",
            state="close" if changed else "fine",
        )  # fmt: skip

        press = self.heights.die.usual_press
        if press is None:
            return
        least, most = press.shut_height_min_mm, press.shut_height_max_mm
        low, high = least is not None and shut.new_mm < least, most is not None and shut.new_mm > most
        if least is None and most is None:
            return
        takes = " to ".join("?" if mm is None else self.shut(mm) for mm in (least, most))
        yield Check(
            what=f"New shut height in {press}",
            now=new,
            should=f"{takes}, as {press} takes",
            do="shims or parallels under the die" if low else "lower parallels, or another press" if high else "",
            state="short" if low or high else "fine",
        )

    def _feed(self) -> Iterator[Check]:
        """The feed has let go before the pilots meet the strip: the card's figures against where the pilots stand."""
        die, ledger = self.heights.die, self.ledger
        deepest = max((row.entry_mm for row in ledger.rows if row.entry_mm is not None), default=None)
        contact = None if deepest is None else ledger.thickness_mm + deepest
        forms = any(row.seat.role is Role.FORM for row in ledger.rows)  # may meet it before any that cuts
        told = die.contact_mm
        if contact is not None and told is not None and not forms and abs(contact - told) > CONTACT_MM:
            yield Check(
                what="First punch meets the strip",
                now=f"{self.mm(contact)} above the bottom, by the entry measured",
                should=f"{self.mm(told)}, as the die's card says",
                do="put it right on the die's card",
                state="close",
            )
        met = contact if contact is not None else die.contact_mm
        if met is None or die.pilot_release_mm is None or not ledger.leads:
            return
        pilot = max(ledger.leads, key=lambda lead: lead.mm)
        needs = met + max(pilot.mm, 0.0)
        late = die.pilot_release_mm < needs - 0.005
        yield Check(
            what=f"Pilot release, before {pilot.code} meets the strip",
            now=f"{self.mm(die.pilot_release_mm)} above the bottom",
            should=f"{self.mm(needs)} or more",
            do=f"release {self.mm(needs - die.pilot_release_mm)} higher" if late else "",
            state="short" if late else "fine",
        )

    def _groups(self) -> Iterator[Check]:
        for group in self.ledger.groups:
            if group.is_upper and group.step_then_mm is not None and (group.step_mm or group.step_then_mm):
                by = group.step_mm - group.step_then_mm
                yield Check(
                    what=f"{_name_of(group)} after the first",
                    now=self.mm(group.step_mm),
                    should=f"{self.mm(group.step_then_mm)}, as at {self.since}",
                    do=""
                    if not group.step_is_out
                    else f"shim {self.mm(by)} under each of it"
                    if by > 0
                    else f"shim {self.mm(-by)} under the first group, or grind this one by as much",
                    state="short" if group.step_is_out else "fine",
                )

    def _entries(self) -> Iterator[Check]:
        known = {row.seat.code: row.entry_mm for row in self.ledger.rows if row.entry_mm is not None}
        if not known:
            return
        low, high = entry_range_mm(self.ledger.thickness_mm)
        code, least = min(known.items(), key=lambda pair: pair[1])
        short, deep = least < low - 1e-9, least > high + 1e-9
        do = f"close by {self.mm(low - least)} more" if short else f"open by {self.mm(least - high)}" if deep else ""
        yield Check(
            what=f"Punch entry, least at {code}",
            now=self.mm(least),
            should=f"{self.mm(low)} to {self.mm(high)}",
            do=do,
            state="short" if short else "close" if deep else "fine",
        )

    def _do_of_form(self, closer_mm: float) -> str:
        if closer_mm > 0:
            return f"shim what was ground, or lower the form by {self.mm(closer_mm)}"
        return f"set the form out by {self.mm(-closer_mm)}"

    # --- what lacks

    def _left(self, row: Row) -> tuple[str, str]:
        """What is left to grind of the piece's own, and in usual grinds."""
        if row.seat.role not in (Role.PUNCH, Role.DIE) or row.seat.allowance_mm is None:
            return "", ""
        goes = self.used_up.get(self.heights.places[row.seat.code].pk)
        grinds = self.heights.grinds.get(row.seat.code) if goes is None else goes.grinds
        return self.bare(row.seat.allowance_mm), "" if grinds is None else counted(grinds, "grind", "grinds")

    def lacks(self) -> Iterator[str]:
        """What is not known, and how it comes to be known."""
        by_lack: dict[Lack, list[Row]] = {}
        for row in self.ledger.rows:
            if row.lack is not None and row.seat.role in (Role.PUNCH, Role.DIE, Role.PILOT):
                by_lack.setdefault(row.lack, []).append(row)
        for lack, rows in by_lack.items():
            yield self._lacking(lack, rows)
        ledger = self.ledger
        if ledger.shut is not None and ledger.shut.then_mm is None:
            yield "No set-up that was left to run has a shut height: type it when the die is next set in."
        if any(row.seat.role is Role.PUNCH for row in ledger.rows) and not any(
            row.entry_mm is not None for row in ledger.rows
        ):
            yield "Punch entry is not known: enter it as a reading of one punch, once."
        if ledger.limit is None:
            yield (
                "How much room stripper, pilots and forms have is not known: enter it as a reading, room when closed."
            )

    def _lacking(self, lack: Lack, rows: list[Row]) -> str:
        which = named(row.seat.code for row in rows)
        one = len(rows) == 1
        if lack is Lack.EMPTY:
            return f"Nothing sits in {which}."
        if lack is Lack.LENGTH:
            return f"The length of {which} is not known: type it on the die card, or measure it at the next sharpening."
        if lack is Lack.SEAT:
            if one:
                return f"{which} is of another length than its group when new: type its seat on the die card."
            return f"{which} are of other lengths than their groups when new: type their seats on the die card."
        if lack is Lack.SPACERS:
            return f"More spacers came out of {which} than went under: enter what lies under {'it' if one else 'them'}."
        when = {day(_moment(row.standing.at)) for row in rows if row.standing.at is not None}
        on = f" on {when.pop()}" if len(when) == 1 else ""
        return f"What came off {which}{on} was not written down: measure {'its length' if one else 'their lengths'}."

    def slips(self) -> Iterator[str]:
        """Lengths that were measured other than the entries add up to, by the day on which they were measured."""
        by_day: dict[str, list[str]] = {}
        for row in self.ledger.rows:
            for slip in row.standing.slips[-1:]:
                less = "shorter" if slip.by_mm < 0 else "longer"
                told = f"{row.seat.code} {self.mm(slip.measured_mm)} ({self.mm(abs(slip.by_mm))} {less})"
                by_day.setdefault(day(_moment(slip.at)), []).append(told)
        for when, told in by_day.items():
            yield f"Measured on {when}, other than the entries add up to: {', '.join(told)}. What was measured counts."

    # --- drawn

    def picture(self) -> drawing.Drawing | None:
        levels = []
        for group in self.ledger.groups:
            rows = [row for row in self.ledger.rows if row.seat.in_group == (group.is_upper, group.name)]
            levels.append(
                drawing.Level(name=_name_of(group), words=self.mm(group.level_mm), hangs=group.is_upper,
                              pieces=[self._drawn(row, group.level_mm) for row in rows])
            )  # fmt: skip
        leads = {lead.code: lead for lead in self.ledger.leads}
        pilots = [
            drawing.Standing(
                code=code, out_mm=lead.mm - lead.needs_mm, words=self.mm(lead.mm, signed=True),
                is_out=lead.short_mm > 0, has_spacer=self._has_spacer(code),
            )
            for code, lead in leads.items()
        ]  # fmt: skip
        if pilots:
            at = next((n for n, level in enumerate(levels) if not level.hangs), len(levels))
            words = f"{self.mm(self.ledger.thickness_mm)} ahead"
            levels.insert(at, drawing.Level(name="Pilots", words=words, hangs=True, pieces=pilots))
        return drawing.draw(levels, tolerance_mm=LEVEL_MM)

    def _has_spacer(self, code: str) -> bool:
        row = self.ledger.row(code)
        return row is not None and row.standing.spacers_mm > 1e-9

    def _drawn(self, row: Row, level_mm: float) -> drawing.Standing:
        out = None if row.height_mm is None else row.height_mm - level_mm
        words = "?" if out is None else self.mm(out, signed=True) if row.is_out else ""
        return drawing.Standing(code=row.seat.code, out_mm=out, words=words, is_out=row.is_out,
                                has_spacer=row.standing.spacers_mm > 1e-9)  # fmt: skip


def _name_of(group: Group) -> str:
    if group.is_upper:
        return f"Group {group.name}"
    return f"Die face, group {group.name}" if group.name else "Die face"


def day(moment: dt.datetime) -> str:
    here = timezone.localtime(moment)
    return f"{here.day} {here:%b %Y}"


def _moment(seconds: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(seconds, dt.UTC)
