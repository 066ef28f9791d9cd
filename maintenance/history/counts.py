"""Loads the tables of the counters. What they tell is not loaded but counted: the same counts tell the same hits."""

from __future__ import annotations

import datetime as dt
from itertools import islice

from diestore.register.models import Die
from maintenance.log import rules
from maintenance.log.names import natural_key
from maintenance.models import Counter, CounterDevice, CounterQuestion, CounterReading, DieInPress, Scope

from . import columns as tables
from .files import Row
from .merging import TableLoader, given
from .problems import BadRow

BATCH = 1000
STRUCK = ("struck_at", "struck_by", "struck_reason")


class Counts(TableLoader):
    """Devices, which entries may name; later dies in presses, counts, answers. Then the counters wait to be counted."""

    def load_devices(self) -> None:
        self.each(tables.COUNTER_BOXES, self._device)

    def load(self) -> None:
        self.since: dict[int, dt.datetime] = {}
        self.set_since: dict[int, dt.datetime] = {}
        self._in_press()
        self._counts()
        self._answers()
        for counter in self.shop.counters.values():
            moments = [self.since.get(counter.pk), self.set_since.get(counter.press_id)]
            if earliest := min(filter(None, moments), default=None):
                Counter.objects.filter(pk=counter.pk).have_wait(earliest)

    def _device(self, row: Row) -> None:
        shop, name = self.shop, row["device"]
        if strange := set(row.get("may", ())) - set(Scope.values):
            raise BadRow(f"A device cannot be let do {min(strange)[:40]!r}: {', '.join(Scope.values)}.", "may")
        presses = [shop.press(code) for code in row.get("presses", ())]
        dies = [shop.die(code) for code in row.get("dies", ())]
        if name in shop.devices:
            shop.counts.stood["counter boxes"] += 1
            return
        values = given(row, figures="digits", made_at="made", revoked_at="withdrawn")
        made = CounterDevice.objects.create(plant=shop.plant, name=name, scopes=list(row.get("may", ())), **values)
        made.presses.set(presses)
        made.dies.set(dies)
        shop.devices[name] = made
        shop.counts.added["counter boxes"] += 1

    # --- dies in presses --------------------------------------------------------------------------------------------

    def _in_press(self) -> None:
        self.standing = {r.key: r for r in DieInPress.objects.filter(press__plant=self.shop.plant)}
        self.lines: dict[str, int] = {}
        self.spans: dict[tuple[str, int], list[tuple]] = {}
        for row in self.standing.values():
            if row.struck_at is None:
                self._keep_span(row)
        self.each(tables.DIE_IN_PRESS, self._set_in_press)

    def _set_in_press(self, row: Row) -> None:
        shop = self.shop
        die, press = shop.die(row["die"]), shop.press(row["press"])
        since, until = row["since"], row.get("until")
        if until is not None and until <= since:
            raise BadRow("It was taken out before it was set.", "until")
        struck_names = [name for name in STRUCK if name in row]
        if struck_names and len(struck_names) < len(STRUCK):
            raise BadRow(
                "A struck-out row says when, by whom and why: struck_at, struck_by, struck_reason.", "struck_at"
            )
        key = row.get("entry_id") or natural_key(
            "inpress", shop.plant.code, [die.code, press.code, since.astimezone(dt.UTC).isoformat()]
        )
        if key in self.lines:
            raise BadRow(f"This stands in line {self.lines[key]:,} already.", "since")
        self.lines[key] = row.line
        fields = {"die_id": die.pk, "press_id": press.pk, "since": since, "until": until}
        struck = {"struck_at": row["struck_at"], "struck_by": shop.person(row["struck_by"]),
                  "struck_reason": row["struck_reason"]} if struck_names else {}  # fmt: skip
        if (known := self.standing.get(key)) is not None:
            self._same_again(known, fields, struck)
            return
        part = shop.part(row["order_part"], row.get("order_revision", "")) if "order_part" in row else None
        made = DieInPress(
            **fields,
            **struck,
            key=key,
            variant=shop.variant(die, row["variant"]) if "variant" in row else None,
            order=shop.order(row["order"], part) if "order" in row else None,
            set_by=shop.person(row["set_by"]) if "set_by" in row else None,
            removed_by=shop.person(row["removed_by"]) if "removed_by" in row else None,
            set_user_id=shop.user(row["set_sign_in"]) if "set_sign_in" in row else None,
            removed_user_id=shop.user(row["removed_sign_in"]) if "removed_sign_in" in row else None,
            recorded_at=row.get("recorded_at", since),
            note=row.get("note", ""),
        )
        if not struck:
            self._check_span(made, die.code, press.code)
        if self.findings.problems:
            return
        made.save(force_insert=True)
        self.set_since[press.pk] = min(self.set_since.get(press.pk, since), since)
        shop.counts.added["dies in presses"] += 1

    def _same_again(self, known: DieInPress, fields: dict, struck: dict) -> None:
        wrong = [n for n in ("die_id", "press_id", "since") if getattr(known, n) != fields[n]]
        if known.until is not None and known.until != fields["until"]:
            wrong.append("until")
        if wrong:
            raise BadRow("This stands in the record with another die, press or time. Give the new one another "
                         "entry_id.", wrong[0].removesuffix("_id"))  # fmt: skip
        changed = {"until": fields["until"]} if known.until is None and fields["until"] is not None else {}
        if struck and known.struck_at is None:
            changed |= struck
        if not changed:
            self.shop.counts.stood["dies in presses"] += 1
            return
        DieInPress.objects.filter(pk=known.pk).update(**changed)
        self.set_since[known.press_id] = min(self.set_since.get(known.press_id, known.since), known.since)
        self.shop.counts.changed["dies in presses"] += 1

    def _keep_span(self, row: DieInPress) -> None:
        for what in (("die", row.die_id), ("press", row.press_id)):
            self.spans.setdefault(what, []).append((row.since, row.until))

    def _check_span(self, row: DieInPress, die: str, press: str) -> None:
        for what, name in ((("die", row.die_id), die), (("press", row.press_id), press)):
            for since, until in self.spans.get(what, ()):
                if (until is None or row.since < until) and (row.until is None or since < row.until):
                    raise BadRow(
                        f"{what[0].capitalize()} {name} is taken from {rules.stamp(since)} on already.", "since"
                    )
        self._keep_span(row)

    # --- counts and answers -----------------------------------------------------------------------------------------

    def _counter(self, row: Row) -> Counter:
        if ("press" in row) == ("die" in row):
            raise BadRow("Name the press or the die that the count is of, one of the two.", "press")
        return self.shop.counter(row["device"], press=row.get("press"), die=row.get("die"))

    def _counts(self) -> None:
        rows = self.folder.rows(tables.COUNTS)
        while batch := list(islice(rows, BATCH)):
            found: dict[tuple[int, str], tuple[Row, CounterReading]] = {}
            self.take(tables.COUNTS, batch, lambda row, found=found: self._count(row, found))
            self._save_counts(found)

    def _count(self, row: Row, taken: dict) -> None:
        counter, at = self._counter(row), row["at"]
        made = CounterReading(
            device_id=counter.device_id,
            counter=counter,
            message_id=row["id"],
            total=row["total"],
            at=at,
            received_at=row.get("received", at),
            with_stock=row.get("stock", True),
            clock_off=row.get("wrong_clock", False),
            raw=row.get("as_sent", ""),
        )
        before = taken.setdefault((counter.device_id, made.message_id), (row, made))
        if before[1] is not made and _said(before[1]) != _said(made):
            raise BadRow(f"This id stands in line {before[0].line:,} with another count.", "id")

    def _save_counts(self, taken: dict) -> None:
        there = {
            (r.device_id, r.message_id): r
            for r in CounterReading.objects.filter(message_id__in=[key[1] for key in taken])
        }  # fmt: skip
        new = []
        for key, (row, made) in taken.items():
            known = there.get(key)
            if known is None:
                new.append(made)
            elif _said(known) != _said(made):
                self.findings.problem(
                    tables.COUNTS.file, row.line, "id", "This id stands in the record with another count."
                )
            else:
                self.shop.counts.stood["counts"] += 1
        if self.findings.problems or not new:
            return
        CounterReading.objects.bulk_create(new, batch_size=500)
        self.shop.counts.added["counts"] += len(new)
        for row in new:
            self._waits(row.counter, row.received_at if row.clock_off else row.at)

    def _answers(self) -> None:
        self.answers = {
            (q.counter_id, q.kind, q.since, q.settled_at)
            for q in CounterQuestion.objects.filter(counter__device__plant=self.shop.plant, settled_at__isnull=False)
        }
        self.each(tables.COUNTER_ANSWERS, self._answer)

    def _answer(self, row: Row) -> None:
        shop, counter = self.shop, self._counter(row)
        key = (counter.pk, row["kind"], row["since"], row["settled"])
        if row["until"] < row["since"]:
            raise BadRow("The time that it is about ends before it begins.", "until")
        ran: Die | None = shop.die(row["ran"]) if "ran" in row else None
        if row["verdict"] in ("to die", "without stock") and ran is None:
            raise BadRow("This answer names the die that ran.", "ran")
        if key in self.answers:
            shop.counts.stood["answers about counts"] += 1
            return
        values = given(row, "kind", "since", "until", "verdict", "strokes", "before", "after", "readings",
                       settled_at="settled", fell_at="fell", taken_back_at="taken_back")  # fmt: skip
        made = CounterQuestion(
            counter=counter,
            **values,
            asked_at=row.get("asked", row["settled"]),
            dies=[shop.die(code).pk for code in row.get("dies", ())],
            die=ran,
            variant=shop.variant(ran, row["variant"]) if ran is not None and "variant" in row else None,
            settled_by=shop.person(row["person"]) if "person" in row else None,
            settled_user_id=shop.user(row["sign_in"]) if "sign_in" in row else None,
        )
        if self.findings.problems:
            return
        made.save(force_insert=True)
        self.answers.add(key)
        shop.counts.added["answers about counts"] += 1
        self._waits(counter, row["since"])

    def _waits(self, counter: Counter, since: dt.datetime) -> None:
        self.since[counter.pk] = min(self.since.get(counter.pk, since), since)


def _said(row: CounterReading) -> tuple:
    return row.counter_id, row.total, row.at, row.with_stock
