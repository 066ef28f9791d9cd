"""What a load knows of the shop: names to rows, added to as tables bring more."""

from __future__ import annotations

import datetime as dt
from collections import Counter as Tally
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.contrib.auth import get_user_model
from django.db.models import Model
from simple_history.utils import bulk_create_with_history, bulk_update_with_history

from diestore.access.models import Person
from diestore.register.models import (
    Cut,
    Die,
    Item,
    Output,
    Part,
    Party,
    Piece,
    Plant,
    Position,
    Press,
    Station,
    Stock,
    Variant,
)
from maintenance.models import Counter, CounterDevice, Order

from .problems import BadRow, Findings

BATCH = 500
REASON = "loaded from a history folder"
CHANGES_TOLD = 20


@dataclass(frozen=True)
class Act:
    """Who loads, and what the register's history says of it."""

    user: object = None
    reason: str = REASON


BY_FOLDER = Act()


@dataclass
class Counts:
    """What came of a load, by name of thing."""

    added: Tally = field(default_factory=Tally)
    changed: Tally = field(default_factory=Tally)
    stood: Tally = field(default_factory=Tally)
    struck: Tally = field(default_factory=Tally)


class Shop:
    """The register of one plant in memory. Codes are as in the files; ids and rows as in the database."""

    def __init__(self, plant: Plant, findings: Findings, *, leave: bool = False, act: Act = BY_FOLDER) -> None:
        self.plant, self.findings, self.leave, self.act = plant, findings, leave, act
        self.counts = Counts()
        self.changes: list[str] = []
        self.left: list[str] = []  # what a folder says otherwise, where the register is not to be changed
        self.named: dict[str, list[str]] = defaultdict(list)  # added because a row named them
        self.saved: list[Model] = []  # rows of the register that are new or changed
        self.people = {p.name: p for p in Person.objects.filter(plant=plant)}
        self.parties = {p.code: p for p in Party.objects.all()}
        self.presses = {p.code: p for p in Press.objects.filter(plant=plant)}
        self.stocks = {s.code: s for s in Stock.objects.order_by("code")}
        self.parts = {(p.number, p.revision): p for p in Part.objects.all()}
        self.dies = {d.code: d for d in Die.objects.filter(plant=plant)}
        self.items = {(i.code, i.revision): i for i in Item.objects.all()}
        self.pieces = {p.key: p for p in Piece.objects.filter(plant=plant)}
        self.variants = {(v.die_id, v.code): v for v in Variant.objects.filter(die__plant=plant)}
        self.outputs = {(o.variant_id, o.part_id): o for o in Output.objects.filter(variant__die__plant=plant)}
        self.stations = {(s.die_id, s.code): s for s in Station.objects.filter(die__plant=plant)}
        self.positions = {(p.die_id, p.code): p for p in Position.objects.filter(die__plant=plant)}
        self.cuts = {(c.die_id, c.code, c.valid_from): c for c in Cut.objects.filter(die__plant=plant)}
        self.orders = {(o.number, o.part_id): o for o in Order.objects.filter(plant=plant)}
        self.default_variant = {v.die_id: v for v in self.variants.values() if v.is_default}
        self.devices = {d.name: d for d in CounterDevice.objects.filter(plant=plant)}
        self.counters = {(c.device_id, c.press_id, c.die_id): c for c in Counter.objects.filter(device__plant=plant)}
        self.users: dict[str, int] = {}
        self._stock_ids: dict[int, Stock] = {}
        self._cuts_by_name: dict[tuple[int, str], list[Cut]] = {}
        self._orders_by_number: dict[str, list[Order]] = {}

    # --- looked up: must be there -----------------------------------------------------------------------------------

    def die(self, code: str) -> Die:
        try:
            return self.dies[code]
        except KeyError:
            raise BadRow(f"There is no die {code!r}." + _near(code, self.dies), "die") from None

    def position(self, die: Die, code: str, column: str = "position") -> Position:
        try:
            return self.positions[die.pk, code]
        except KeyError:
            codes = [c for d, c in self.positions if d == die.pk]
            raise BadRow(f"{die.code} has no position {code!r}." + _near(code, codes), column) from None

    def station(self, die: Die, code: str) -> Station:
        try:
            return self.stations[die.pk, code]
        except KeyError:
            codes = [c for d, c in self.stations if d == die.pk]
            raise BadRow(f"{die.code} has no station {code!r}." + _near(code, codes), "station") from None

    def variant(self, die: Die, code: str | None) -> Variant:
        if code is None:
            return self.default_variant[die.pk]
        try:
            return self.variants[die.pk, code]
        except KeyError:
            codes = [c for d, c in self.variants if d == die.pk]
            raise BadRow(f"{die.code} has no set of inserts {code!r}." + _near(code, codes), "variant") from None

    def stock(self, code: str) -> Stock:
        try:
            return self.stocks[code]
        except KeyError:
            raise BadRow(f"There is no stock {code!r}." + _near(code, self.stocks), "stock") from None

    def stock_by_id(self, pk: int) -> Stock:
        if pk not in self._stock_ids:
            self._stock_ids = {stock.pk: stock for stock in self.stocks.values()}
        return self._stock_ids[pk]

    def item(self, code: str, revision: str = "") -> Item:
        try:
            return self.items[code, revision]
        except KeyError:
            near = _near(code, [c for c, _ in self.items])
            raise BadRow(f"There is no spare {f'{code} {revision}'.strip()!r}." + near, "spare") from None

    def piece(self, key: str, column: str = "piece") -> Piece:
        try:
            return self.pieces[key]
        except KeyError:
            raise BadRow(f"There is no piece with the key {key!r}.", column) from None

    def cut(self, die: Die, code: str, valid_from: dt.datetime | None, at: dt.datetime) -> Cut:
        if not self._cuts_by_name:
            for (die_id, name, _), cut in self.cuts.items():
                self._cuts_by_name.setdefault((die_id, name), []).append(cut)
        mine = self._cuts_by_name.get((die.pk, code))
        if not mine:
            codes = [name for d, name, _ in self.cuts if d == die.pk]
            raise BadRow(f"{die.code} has no cut {code!r}." + _near(code, codes), "cut")
        named = [c for c in mine if c.valid_from == valid_from]
        then = [
            c for c in mine if (c.valid_from is None or c.valid_from <= at) and (c.valid_to is None or at < c.valid_to)
        ]
        return (named or then or mine)[0]

    def order(self, number: str, part: Part | None) -> Order:
        if not self._orders_by_number:
            for (name, _), order in self.orders.items():
                self._orders_by_number.setdefault(name, []).append(order)
        mine = [o for o in self._orders_by_number.get(number, ()) if part is None or o.part_id == part.pk]
        if not mine:
            raise BadRow(f"There is no order {number!r}." + _near(number, self._orders_by_number), "order")
        if len(mine) > 1:
            raise BadRow(f"Order {number} has several parts; name one in order_part.", "order")
        return mine[0]

    # --- names that a row may bring ---------------------------------------------------------------------------------

    def person(self, name: str) -> Person:
        if name not in self.people:
            self.people[name] = Person.objects.create(plant=self.plant, name=name)
            self._named("people", name)
        return self.people[name]

    def press(self, code: str) -> Press:
        if code not in self.presses:
            self.presses[code] = Press.objects.create(plant=self.plant, code=code)
            self._named("presses", code)
        return self.presses[code]

    def party(self, code: str, role: str) -> Party:
        if code not in self.parties:
            self.parties[code] = Party.objects.create(code=code, role=role)
            self._named(f"{role}s", code)
        return self.parties[code]

    def counter(self, device: str, *, press: str | None = None, die: str | None = None) -> Counter:
        """The counter of a press or of a die that a device speaks for."""
        if device not in self.devices:
            self.devices[device] = CounterDevice.objects.create(plant=self.plant, name=device)
            self.counts.added["counter boxes"] += 1
        thing = {"die_id": self.die(die).pk} if press is None else {"press_id": self.press(press).pk}
        key = (self.devices[device].pk, thing.get("press_id"), thing.get("die_id"))
        if key not in self.counters:
            self.counters[key] = Counter.objects.create(device=self.devices[device], **thing)
        return self.counters[key]

    def part(self, number: str, revision: str = "", *, tell: bool = True) -> Part:
        if (number, revision) not in self.parts:
            self.parts[number, revision] = Part.objects.create(number=number, revision=revision)
            self.counts.added["parts"] += 1
            if tell:
                self._named("parts", f"{number} {revision}".strip())
        return self.parts[number, revision]

    def user(self, name: str) -> int:
        """A sign-in. One that is not here is added switched off and without a password, so that nobody can use it."""
        if name not in self.users:
            users = get_user_model()
            found = users.objects.filter(username=name).first()
            if found is None:
                found = users(username=name, is_active=False)
                found.set_unusable_password()
                found.save()
                self._named("sign-ins, switched off", name)
            self.users[name] = found.pk
        return self.users[name]

    def _named(self, what: str, name: str) -> None:
        self.named[what].append(name)

    def tell_named(self) -> None:
        for what, names in sorted(self.named.items()):
            told = ", ".join(names[:10]) + (f" and {len(names) - 10:,} more" if len(names) > 10 else "")
            self.findings.note(f"Named in a row and new here, so added to the {what}: {told}.")

    # --- saved in bulk ----------------------------------------------------------------------------------------------

    def create(self, model: type, rows: list, what: str) -> None:
        """Save new rows of one model, with their history where it keeps one. Their ids are set."""
        if not rows:
            return
        self.counts.added[what] += len(rows)
        self.saved += rows
        for i in range(0, len(rows), BATCH):
            batch = rows[i : i + BATCH]
            if hasattr(model, "history"):
                bulk_create_with_history(
                    batch,
                    model,
                    batch_size=BATCH,
                    default_change_reason=self.act.reason,
                    default_user=self.act.user,
                )
            else:
                model.objects.bulk_create(batch)

    def update(self, model: type, rows: list, fields: set[str], what: str) -> None:
        if not rows:
            return
        self.counts.changed[what] += len(rows)
        self.saved += rows
        if hasattr(model, "history"):
            bulk_update_with_history(
                rows,
                model,
                sorted(fields),
                batch_size=BATCH,
                default_change_reason=self.act.reason,
                default_user=self.act.user,
            )
        else:
            model.objects.bulk_update(rows, sorted(fields), batch_size=BATCH)

    def changed(self, said: str) -> None:
        self.changes.append(said)

    def tell_changes(self) -> None:
        for said in self.changes[:CHANGES_TOLD]:
            self.findings.note(f"Changed: {said}.")
        if len(self.changes) > CHANGES_TOLD:
            self.findings.note(f"And {len(self.changes) - CHANGES_TOLD:,} more changes.")


def _near(code: str, codes: Iterable[str]) -> str:
    import difflib

    near = difflib.get_close_matches(code, list(codes)[:2_000], n=3)
    return f" Is it {' or '.join(near)}?" if near else ""
