"""The rows of a cut: one for each time that it stood otherwise. Each of its columns has its own changes."""

from __future__ import annotations

import datetime as dt

from . import amendments, changes, standing_on, writing
from .amendments import LONG_AGO
from .models import Amendment, Cut
from .writing import NEVER_SO, ChangeRefused, day_of

NAME_OF_ALL_ROWS = ("code", "die")
OF_THE_LAST_ROW = ("valid_to",)


class CutRows:
    """A cut is a row for each time that it stood otherwise. Each column has its own changes; the rows follow them."""

    def __init__(self, cut: Cut) -> None:
        self.cut = cut
        self.rows = amendments.rows_of_cut(cut)
        list(Cut.objects.select_for_update().order_by("pk").filter(pk__in=[row.pk for row in self.rows]))
        self.past = amendments.standing(cut)
        self.touched: list[Cut] = []

    def amend(self, by, kept: dict[str, object], at: dt.datetime, reason: str) -> Amendment:
        fields: dict[str, dict] = {}
        opened = False
        for name in OF_THE_LAST_ROW:
            if name in kept:
                fields[name] = self._end(name, kept[name], at)
        dated = {name: now for name, now in kept.items() if name not in OF_THE_LAST_ROW}
        if dated:
            row = self.at(at)
            if row.valid_from != at:
                row, opened = self._split(by, row, at, reason), True
            for name, now in dated.items():
                fields[name] = self._set(name, row, now, at)
        return self._written(by, fields, at, reason, Amendment.Sort.CHANGED, opened=opened)

    def correct(self, by, kept: dict[str, object], reason: str) -> Amendment:
        fields = {}
        row = next(row for row in self.rows if row.pk == self.cut.pk)
        for name, now in kept.items():
            if name in NAME_OF_ALL_ROWS:
                fields[name] = writing.entry_of(row, name, amendments.stored(row, name), now, None)
                for one in self.rows:
                    self._put(one, name, now)
            elif name in ("valid_from", *OF_THE_LAST_ROW):
                fields[name] = self._move_border(name, row, now)
            else:
                since = max((m for m in self._setters(name) if m <= (row.valid_from or LONG_AGO)), default=LONG_AGO)
                first = next(one for one in self.rows if (one.valid_from or LONG_AGO) >= since)
                fields[name] = self._set(name, first, now, None if since == LONG_AGO else since)
        return self._written(by, fields, None, reason, Amendment.Sort.CORRECTED)

    def take_back(self, by, amendment: Amendment, reason: str) -> list[Cut]:
        for name, entry in amendment.fields.items():
            self._undo(amendment, name, entry)
        self.past = [a for a in self.past if a.pk != amendment.pk]
        self._save(by, f"Struck out: {reason}")
        if amendment.at is not None:
            self._join(by, amendment.at, reason)
        return self.rows

    def _undo(self, amendment: Amendment, name: str, entry: dict) -> None:
        if name in NAME_OF_ALL_ROWS:
            for one in self.rows:
                self._put(one, name, entry["was"])
            return
        if name in OF_THE_LAST_ROW or name == "valid_from":
            row = self.rows[-1] if name in OF_THE_LAST_ROW else self.rows[0]
            if amendments.stored(row, name) != entry["now"]:
                raise writing.otherwise_by_now(amendment, name)
            self._put(row, name, entry["was"])
            return
        since = amendments.moment_of(entry["at"])
        links = amendments.chain(self.past, name)
        mine = next(i for i, link in enumerate(links) if link.amendment.pk == amendment.pk)
        after = links[mine + 1] if mine + 1 < len(links) else None
        writing.check_not_corrected(amendment, name, after)
        if after is not None and after.since == since:
            writing.rewrite(self.cut, [(after, name, entry["was"])])
            return
        stretch, end = self._stretch(name, since)
        if any(amendments.stored(row, name) != entry["now"] for row in stretch):
            raise writing.otherwise_by_now(amendment, name)
        for row in stretch:
            self._put(row, name, entry["was"])
        if after is not None and after.since == end:
            writing.rewrite(self.cut, [(after, name, entry["was"])])

    def at(self, at: dt.datetime) -> Cut:
        for row in self.rows:
            if (row.valid_from or LONG_AGO) <= at and (row.valid_to is None or at < row.valid_to):
                return row
        raise ChangeRefused(f"There was no cut {self.cut.code} on {day_of(at)}.", field="changed_at")

    def _split(self, by, row: Cut, at: dt.datetime, reason: str) -> Cut:
        after = Cut(
            die_id=row.die_id,
            code=row.code,
            upper_id=row.upper_id,
            lower_id=row.lower_id,
            length_mm=row.length_mm,
            gap_mm=row.gap_mm,
            valid_from=at,
            valid_to=row.valid_to,
        )
        row.valid_to = at
        self.touched += [row, after]
        self.rows.insert(self.rows.index(row) + 1, after)
        return after

    def _join(self, by, at: dt.datetime, reason: str) -> None:
        """The row that began with a change goes into the one before it, where no other change began then."""
        index = next((i for i, row in enumerate(self.rows) if row.valid_from == at), 0)
        if index == 0 or any(amendments.moment_of(entry["at"]) == at for a in self.past for entry in a.fields.values()):
            return
        began = Amendment.objects.filter(
            table=amendments.table_of(self.cut), row_key=self.rows[0].pk, at=at, opened_row=True
        )
        if not began.exists():
            return
        before, gone = self.rows[index - 1], self.rows.pop(index)
        before.valid_to = gone.valid_to
        standing_on.move(gone, before)
        gone.delete()
        self.touched = [before]
        self._save(by, f"Struck out: {reason}")

    def _set(self, name: str, first: Cut, now, at: dt.datetime | None) -> dict:
        since = LONG_AGO if at is None else at
        was = amendments.stored(first, name)
        stretch, end = self._stretch(name, since)
        for row in stretch:
            self._put(row, name, now)
        links = [link for link in amendments.chain(self.past, name) if link.since > since]
        if links and links[0].since == end:
            writing.rewrite(self.cut, [(links[0], name, now)])
            end = None
        return writing.entry_of(first, name, was, now, at) | {"until": amendments.text_of(end)}

    def _stretch(self, name: str, since: dt.datetime) -> tuple[list[Cut], dt.datetime | None]:
        """The rows from a moment on for which a column is not set anew, and when it is set anew."""
        end = min((m for m in self._setters(name) if m > since), default=None)
        rows = [
            row
            for row in self.rows
            if (row.valid_from or LONG_AGO) >= since and (end is None or (row.valid_from or LONG_AGO) < end)
        ]
        return rows, end

    def _setters(self, name: str) -> set[dt.datetime]:
        """When a column is set: by a change, or where a row that was loaded tells otherwise than the one before."""
        found = set()
        for link in amendments.chain(self.past, name):
            found |= {link.since, *([amendments.moment_of(link.entry["until"])] if link.entry.get("until") else [])}
        for before, row in zip(self.rows, self.rows[1:], strict=False):
            gap_between = before.valid_to != row.valid_from
            if gap_between or amendments.stored(before, name) != amendments.stored(row, name):
                found.add(row.valid_from)
        return found

    def _end(self, name: str, now, at: dt.datetime) -> dict:
        last = self.rows[-1]
        if now is not None and at <= (last.valid_from or LONG_AGO):
            raise ChangeRefused(
                f"{last.code} stands as it is since {day_of(last.valid_from)} only. Let it end later, or strike that "
                "change out first."
            )
        entry = writing.entry_of(last, name, amendments.stored(last, name), now, at)
        self._put(last, name, now)
        return entry

    def _move_border(self, name: str, row: Cut, now) -> dict:
        if row.pk != (self.rows[0] if name == "valid_from" else self.rows[-1]).pk:
            raise ChangeRefused(
                "This is when a change began. Strike that change out and enter it with its right date.", field=name
            )
        entry = writing.entry_of(row, name, amendments.stored(row, name), now, None)
        self._put(row, name, now)
        return entry

    def _put(self, row: Cut, name: str, kept) -> None:
        amendments.put(row, name, kept)
        if row not in self.touched:
            self.touched.append(row)

    def _written(self, by, fields: dict, at, reason: str, sort, *, opened: bool = False) -> Amendment:
        self._save(by, reason if sort != Amendment.Sort.CORRECTED else NEVER_SO)
        made = writing.write(by, self.rows[0], sort, at, fields, reason, opened=opened)
        changes.tell(*self.rows)
        return made

    def _save(self, by, reason: str) -> None:
        rows, self.touched = self.touched, []
        for row in rows:
            writing.check(row)
            writing.save(by, row, reason[:100])
