"""The tables of the counters in a history folder: devices, dies in presses, counts, answers."""

from __future__ import annotations

from django.db.models import F

from diestore.register.models import Die, Plant
from maintenance.models import Counter, CounterDevice, CounterQuestion, CounterReading, DieInPress

CHUNK = 2000


class CounterTables:
    """Rows of four tables, in an order that hangs on no id."""

    plant: Plant

    def counter_boxes(self):
        rows = CounterDevice.objects.filter(plant=self.plant).prefetch_related("presses", "dies")
        for d in sorted(rows, key=lambda d: d.name):
            yield {
                "device": d.name,
                "may": list(d.scopes) or None,
                "presses": sorted(p.code for p in d.presses.all()) or None,
                "dies": sorted(x.code for x in d.dies.all()) or None,
                "digits": d.figures,
                "made": d.made_at,
                "withdrawn": d.revoked_at,
            }

    def die_in_press(self):
        paths = {
            "entry_id": "key",
            "die": "die__code",
            "press": "press__code",
            "variant": "variant__code",
            "order": "order__number",
            "order_part": "order__part__number",
            "order_revision": "order__part__revision",
            "set_by": "set_by__name",
            "removed_by": "removed_by__name",
            "set_sign_in": "set_user__username",
            "removed_sign_in": "removed_user__username",
            "struck_by": "struck_by__name",
        }
        paths |= {n: n for n in ("since", "until", "recorded_at", "note", "struck_at", "struck_reason")}
        rows = list(DieInPress.objects.filter(press__plant=self.plant).values(*paths.values()))
        for values in sorted(rows, key=lambda v: (v["since"], v["key"])):
            yield {column: values[path] for column, path in paths.items()}

    def counts(self):
        """Counter by counter, each in the order of its own clock: a year of thirty presses is read in pieces."""
        for counter in self._counters():
            rows = CounterReading.objects.filter(counter=counter.pk).order_by("at", "total", "pk")
            for at, total, name, received, stock, clock_off, raw in rows.values_list(
                "at", "total", "message_id", "received_at", "with_stock", "clock_off", "raw"
            ).iterator(chunk_size=CHUNK):
                yield _of(counter) | {
                    "at": at,
                    "total": total,
                    "id": name,
                    "received": received,
                    "stock": None if stock else False,
                    "wrong_clock": clock_off or None,
                    "as_sent": raw,
                }

    def counter_answers(self):
        codes = dict(Die.objects.filter(plant=self.plant).values_list("pk", "code"))
        for counter in self._counters():
            rows = CounterQuestion.objects.filter(counter=counter.pk, settled_at__isnull=False)
            for q in rows.select_related("die", "variant", "settled_by", "settled_user").order_by(
                "settled_at", "kind", "since", F("until")
            ):
                yield _of(counter) | {
                    "kind": q.kind,
                    "since": q.since,
                    "until": q.until,
                    "verdict": q.verdict,
                    "settled": q.settled_at,
                    "ran": q.die and q.die.code,
                    "variant": q.variant and q.variant.code,
                    "strokes": q.strokes,
                    "before": q.before,
                    "after": q.after,
                    "readings": q.readings,
                    "dies": [codes[pk] for pk in q.dies if pk in codes] or None,
                    "fell": q.fell_at,
                    "asked": q.asked_at,
                    "person": q.settled_by and q.settled_by.name,
                    "sign_in": q.settled_user and q.settled_user.username,
                    "taken_back": q.taken_back_at,
                }

    def _counters(self) -> list[Counter]:
        rows = Counter.objects.filter(device__plant=self.plant).select_related("device", "press", "die")
        return sorted(rows, key=lambda c: (c.device.name, c.press.code if c.press else "", c.die.code if c.die else ""))


def _of(counter: Counter) -> dict:
    return {
        "device": counter.device.name,
        "press": counter.press and counter.press.code,
        "die": counter.die and counter.die.code,
    }
