"""The log as a list: every sort of entry in one order, and each in words.

The rows of one sharpening of a set are one entry here, as they were for the person who entered them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.core.paginator import Page, Paginator
from django.db import connection
from django.db.models import CharField, Exists, F, OuterRef, Q, QuerySet, Value
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext, pgettext

from diestore import units
from diestore.access import shop
from diestore.access.models import Person
from diestore.register.models import Die, Piece, Plant
from maintenance.models import (
    CostBearer,
    CostLine,
    Event,
    Found,
    HitCorrection,
    Incident,
    Inspection,
    Photo,
    Reading,
    RecordRestart,
    Replacement,
    Retirement,
    Run,
    SetUp,
    StockMovement,
    Stop,
    Work,
)

from . import movement_reads
from .rules import stamp


@dataclass(frozen=True, kw_only=True)
class Sort:
    """A sort of entry: its table's name, its name on pages, and the way from it to a die."""

    name: str
    label: str
    model: type[Event]
    die: tuple[str, ...]
    along: tuple[str, ...]  # what its words need

    @property
    def address(self) -> str:
        """As addresses name it."""
        return ADDRESSES.get(self.name, self.name)


# The word for a sort in addresses, where the table's name is none of the shop's.
ADDRESSES = {
    "work": "grind",
    "hitcorrection": "count",
    "incident": "mishap",
    "stockmovement": "shelf-move",
    "recordrestart": "restart",
    "setup": "set-up",
    "costline": "cost",
    "costbearer": "who-pays",
}

_POSITION = ("position__die", "position__station")

SORTS: dict[str, Sort] = {
    sort.name: sort
    for sort in (
        Sort(name="run", label=gettext_lazy("run"), model=Run, die=("die",),
             along=("die", "press", "stock", "order", "variant")),
        Sort(name="work", label=gettext_lazy("sharpening or work"), model=Work, die=("position__die",),
             along=(*_POSITION, "piece")),
        Sort(name="replacement", label=gettext_lazy("replacement"), model=Replacement, die=("position__die",),
             along=(*_POSITION, "piece_in")),
        Sort(name="stop", label=gettext_lazy("stop"), model=Stop, die=("die",),
             along=("die", "press", "station", "position")),
        Sort(name="reading", label=gettext_lazy("reading"), model=Reading, die=("die", "position__die", "cut__die"),
             along=("die", *_POSITION, "piece", "cut__die")),
        Sort(name="hitcorrection", label=gettext_lazy("count put right"), model=HitCorrection, die=("die",),
             along=("die", "variant")),
        Sort(name="incident", label=gettext_lazy("mishap"), model=Incident, die=("die",),
             along=("die",)),
        Sort(name="stockmovement", label=gettext_lazy("spares"), model=StockMovement, die=("die",),
             along=("die", "item", "line__order", "supplier")),
        Sort(name="recordrestart", label=gettext_lazy("record started anew"), model=RecordRestart, die=("die",),
             along=("die",)),
        Sort(name="setup", label=gettext_lazy("set-up"), model=SetUp, die=("die",),
             along=("die", "press")),
        Sort(name="inspection", label=gettext_lazy("inspection"), model=Inspection, die=("die",),
             along=("die", "plan__press", "plan__grinder", "plan__die")),
        Sort(name="retirement", label=gettext_lazy("retirement"), model=Retirement, die=("die",),
             along=("die", "payer")),
        Sort(name="costline", label=gettext_lazy("cost"), model=CostLine, die=("die",),
             along=("die", "payer")),
        Sort(name="costbearer", label=gettext_lazy("who pays"), model=CostBearer, die=("die",),
             along=("die", "payer", "work", "replacement", "stop", "reading")),
    )
}  # fmt: skip


OF_MONEY = (CostLine, CostBearer)
_WORK = "work"


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One entry as a page shows it. `events` are its rows: several for the sharpening of a set. Its photos are there
    where a page asked for them (`photos.beside`)."""

    sort: Sort
    events: tuple[Event, ...]
    die: Die | None
    words: str
    facts: tuple[str, ...] = ()
    photos: tuple[Photo, ...] = ()

    @property
    def event(self) -> Event:
        return self.events[0]

    @property
    def pk(self) -> int:
        return self.event.pk

    @property
    def name(self) -> str:
        """As forms name it: run-17."""
        return f"{self.sort.name}-{self.pk}"

    @property
    def struck(self) -> bool:
        return self.event.is_struck


def sort_of(event: Event) -> Sort:
    return SORTS[event._meta.model_name]


class Index:
    """Which entries, in their order: to count, slice and `read`. Rows are (`of_sort`, `pk`).

    One question for a slice and one for the count, whatever the sorts: of each sort only as many rows are read as the
    slice can need, along the index on its time, and the union of those is cut.
    """

    def __init__(self, parts: list[QuerySet], order: str) -> None:
        self.order, self.descends = order.removeprefix("-"), order.startswith("-")
        self.parts = parts
        self._count: int | None = None
        self._read: dict[tuple[int, int], list[tuple]] = {}

    def _counted(self) -> tuple[str, list]:
        return _joined(" + ", "(SELECT COUNT(*) FROM ({}) AS p{})", [p.order_by().values("pk") for p in self.parts])

    def count(self) -> int:
        if not self.parts:
            return 0
        if self._count is None:
            sql, params = self._counted()
            with connection.cursor() as cursor:
                cursor.execute(f"SELECT {sql}", params)
                self._count = cursor.fetchone()[0]
        return self._count

    __len__ = count

    def page(self, asked: str | None, size: int) -> Page:
        """That page; the last where it is beyond it. Mostly one question for its rows and for how many there are."""
        number = int(asked) if asked and asked.isascii() and asked.isdigit() and len(asked) < 6 else 1
        if self.parts and number > 0:
            first = (number - 1) * size
            rows = self._rows(first, first + size, counted=True)
            if rows:
                self._count, self._read = rows[0][2], {(first, first + len(rows)): rows}
        return Paginator(self, size).get_page(asked)

    def __getitem__(self, asked: slice) -> list[dict]:
        first, last = asked.start or 0, asked.stop
        if not self.parts or last <= first:
            return []
        rows = self._read.get((first, last)) or self._rows(first, last)
        return [{"of_sort": row[0], "pk": row[1]} for row in rows]

    def _rows(self, first: int, last: int, *, counted: bool = False) -> list[tuple]:
        counts, by = self._counted() if counted else ("", [])
        sql, params = self._cut(f"of_sort, pk{', ' + counts if counted else ''}", first, last)
        with connection.cursor() as cursor:
            cursor.execute(sql, [*by, *params])
            return cursor.fetchall()

    def _cut(self, columns: str, first: int, last: int) -> tuple[str, list]:
        """The SQL of a slice, and what it asks with."""
        down = "-" if self.descends else ""
        cut = [part.order_by(f"{down}{self.order}", f"{down}pk")[:last] for part in self.parts]
        sql, params = _joined(" UNION ALL ", "SELECT * FROM ({}) AS p{}", cut)
        way = "DESC" if self.descends else "ASC"
        return (
            f"SELECT {columns} FROM ({sql}) AS every ORDER BY moment {way}, pk {way}, of_sort LIMIT %s OFFSET %s",
            [*params, last - first, first],
        )


def firsts(*asked: tuple[Index, int]) -> list[list[dict]]:
    """Of several lists the first so many rows each, as their slices are; all in one question."""
    parts, params = [], []
    for n, (index, most) in enumerate(asked):
        if not index.parts:
            continue
        sql, by = index._cut("of_sort, pk, moment", 0, most)
        way = "DESC" if index.descends else "ASC"
        place = f"ROW_NUMBER() OVER (ORDER BY moment {way}, pk {way}, of_sort)"
        parts.append(f"SELECT {n} AS list, {place} AS place, of_sort, pk FROM ({sql}) AS l{n}")
        params += by
    found: list[list[dict]] = [[] for _ in asked]
    if not parts:
        return found
    with connection.cursor() as cursor:
        cursor.execute(f"{' UNION ALL '.join(parts)} ORDER BY list, place", params)
        for n, _, of_sort, pk in cursor.fetchall():
            found[n].append({"of_sort": of_sort, "pk": pk})
    return found


def _joined(by: str, each: str, parts: list[QuerySet]) -> tuple[str, list]:
    """The SQL of several questions as one, and what they ask with."""
    parts_sql = [part.query.sql_with_params() for part in parts]
    sql = by.join(each.format(sql, n) for n, (sql, _) in enumerate(parts_sql))
    return sql, [value for _, params in parts_sql for value in params]


def index(
    *,
    die: Die | None = None,
    plants: Collection[int] | None = None,
    sort: str = "",
    person: Person | None = None,
    struck: str = "",
    order: str = "-at",
    with_cost: bool = False,
) -> Index:
    """The entries over all sorts, by `at`, `recorded_at` or `struck_at`.

    struck: "" for all, "no" for those that stand, "yes" for those struck out. What sat in the die when its records
    began is no entry of anybody and is left out, and so are spares taken off the shelf by a replacement.
    plants: of these only. with_cost: with entries of money, for whoever may see them.
    """
    parts = []
    for one in sorts(with_cost=with_cost).values():
        if sort not in ("", one.name):
            continue
        rows = one.model.objects.all()
        if person is not None:
            rows = rows.filter(person=person)
        if struck:
            rows = rows.filter(struck_at__isnull=struck == "no")
        if one.model is Replacement:
            rows = rows.filter(since_start=False)
        elif one.model is StockMovement:
            rows = rows.exclude(kind=StockMovement.Kind.FITTED)
            # What came of an order is told once: as what went onto the shelf.
            on_order, came = StockMovement.Place.ON_ORDER, StockMovement.Kind.DELIVERED
            rows = rows.exclude(line__isnull=False, place=on_order, kind=came)
            rows = rows.exclude(kind__in=movement_reads.TWO_PLACES, place__in=movement_reads.BESIDE)
        elif one.model is Work:
            rows = rows.filter(heads_set=True)
        if plants is not None:
            rows = rows.filter(in_plants(one, plants))
        named = rows.annotate(moment=F(order.removeprefix("-")), of_sort=Value(one.name, output_field=CharField()))
        named = named.values("moment", "of_sort", "pk")
        # A part each way to the die, and no entry goes two of them: "this or that" over two tables reads both whole.
        parts += [named] if die is None else [named.filter(**{path: die}) for path in one.die]
    return Index(parts, order)


# From a column of an entry to the die that it is of; where it names neither, to what else has a plant.
_FROM_DIE = {"die": "pk", "position": "positions", "cut": "cuts"}
_MORE = {"work": ("piece",), "reading": ("piece",), "costline": ("stop", "work", "work of a piece")}


def in_plants(one: Sort, plants: Collection[int]) -> Q:
    """Which rows are of one of the plants.

    Asked of each row by itself: joined to the dies of a plant, SQLite reads and sorts all that they ever had.
    """
    plants = sorted(plants)
    if one.model in (Inspection, StockMovement):
        return Q(Exists(Plant.objects.filter(pk=OuterRef("plant_id")).filter(pk__in=plants)))
    wanted = Q()
    for path in one.die:
        own = path.partition("__")[0]
        wanted |= Q(Exists(Die.objects.filter(**{_FROM_DIE[own]: OuterRef(f"{own}_id")}, plant__in=plants)))
    for own in _MORE.get(one.name, ()):
        wanted |= Q(Exists(_OF_PLANT[own](plants)))
    return wanted


_OF_PLANT = {
    "piece": lambda plants: Piece.objects.filter(pk=OuterRef("piece_id"), plant__in=plants),
    "stop": lambda plants: Stop.objects.filter(pk=OuterRef("stop_id"), die__plant__in=plants),
    "work": lambda plants: Work.objects.filter(pk=OuterRef("work_id"), position__die__plant__in=plants),
    "work of a piece": lambda plants: Work.objects.filter(pk=OuterRef("work_id"), piece__plant__in=plants),
}


def read(rows: Iterable[dict], *, system: units.System = units.System.METRIC) -> list[Entry]:
    """The entries of some rows of `index`, in their order: a question for each sort among them, and one for sets."""
    rows = list(rows)
    wanted = defaultdict(list)
    for row in rows:
        wanted[row["of_sort"]].append(row["pk"])
    events = {
        (name, event.pk): event for name, pks in wanted.items() for event in _with_words(SORTS[name]).filter(pk__in=pks)
    }
    works = [event for (name, _), event in events.items() if name == _WORK]
    keys = {work.set_key for work in works} - {""}
    sets = _sets(works, _members(keys).only(*_SAID)) if keys else {}
    events_of = ((row["of_sort"], events.get((row["of_sort"], row["pk"]))) for row in rows)
    return [_entry(SORTS[name], event, sets, system) for name, event in events_of if event is not None]


def sorts(*, with_cost: bool) -> dict[str, Sort]:
    """The sorts of entries that somebody sees."""
    return {name: sort for name, sort in SORTS.items() if with_cost or sort.model not in OF_MONEY}


def find(
    sort: str,
    pk: int,
    *,
    system: units.System = units.System.METRIC,
    with_cost: bool = False,
    plants: Collection[int] | None = None,
) -> Entry | None:
    """One entry by its sort and number, with all rows of its set. plants: only where it is of one of these."""
    if sort not in sorts(with_cost=with_cost):
        return None
    rows = _with_words(SORTS[sort]).filter(pk=pk)
    event = (rows if plants is None else rows.filter(in_plants(SORTS[sort], plants))).first()
    if event is None:
        return None
    sets = _sets([event], _members([event.set_key])) if isinstance(event, Work) and event.set_key else {}
    return _entry(SORTS[sort], event, sets, system)


def of_event(event: Event, *, system: units.System = units.System.METRIC) -> Entry:
    return find(sort_of(event).name, event.pk, system=system, with_cost=True)


def _with_words(sort: Sort):
    rows = sort.model.objects.select_related("person", "user", "struck_by", "replaced_by", *sort.along)
    return rows.prefetch_related("pieces") if sort.model is Incident else rows


def _members(keys) -> QuerySet[Work]:
    """The works of those sets. Without an empty key, as the index on the keys is without it."""
    return Work.objects.select_related("position", "piece").filter(set_key__in=keys).exclude(set_key="").order_by("pk")


# What is said of a set rests on these of its works: a list of entries reads hundreds of them.
_SAID = (
    "set_key", "operation", "why", "found", "removed_mm", "raised_mm", "coating_after", "hours", "position_id",
    "position__code", "piece_id", "piece__mark",
)  # fmt: skip


def _sets(heads: Iterable[Work], rows: Iterable[Work]) -> dict[str, tuple[Work, ...]]:
    members, full = defaultdict(list), {work.pk: work for work in heads}
    for row in rows:
        members[row.set_key].append(full.get(row.pk, row))
    return {key: tuple(works) for key, works in members.items()}


def _entry(sort: Sort, event: Event, sets: dict[str, tuple[Work, ...]], system: units.System) -> Entry:
    events = sets.get(event.set_key, (event,)) if isinstance(event, Work) else (event,)
    die = None
    for path in sort.die:
        thing = event
        for name in path.split("__"):
            thing = getattr(thing, name, None)
        die = die or thing
    words, facts = _SAY[sort.model](events, system)
    return Entry(sort=sort, events=events, die=die, words=words, facts=tuple(f for f in facts if f))


def _named(thing, words: str = "{thing}") -> str:
    return words.format(thing=thing) if thing else ""


def _say_run(events, system):
    run = events[0]
    start, end = timezone.localtime(run.started), timezone.localtime(run.at)
    began = f"{start:%H:%M}" if start.date() == end.date() else stamp(run.started)
    return _("Ran {hits:,} hits, {began} to {end}").format(hits=run.hits, began=began, end=f"{end:%H:%M}"), (
        run.get_basis_display() if run.basis == Run.Basis.ESTIMATED else "",
        _named(run.order, _("job {thing}")),
        _named(run.press, pgettext("a press", "on {thing}")),
        _named(run.stock) if run.stock_id != run.die.usual_stock_id else "",
        "" if run.variant.is_default else _("inserts {variant}").format(variant=run.variant),
        _named(run.lot, _("coil {thing}")),
        "" if run.good_parts is None else _("{parts:,} good parts").format(parts=run.good_parts),
    )


def _say_correction(events, system):
    row = events[0]
    if not row.with_stock and row.hits > 0:
        words = _("{hits:,} strokes without stock")
    elif row.with_stock:
        words = _("Count put right by {hits:+,} hits")
    else:
        words = _("Count put right by {hits:+,} strokes without stock")
    return words.format(hits=row.hits).replace("-", "\u2212"), (row.reason,)


def _scrapped(n: int) -> str:
    return ngettext("{n:,} part scrapped", "{n:,} parts scrapped", n).format(n=n)


def _say_stop(events, system):
    stop = events[0]
    where = _named(stop.position, pgettext("a position", "at {thing}")) or _named(stop.station, _("in station {thing}"))
    words = _("Stopped {minutes:g} minutes: {cause}").format(minutes=stop.minutes, cause=stop.get_cause_display())
    return words, (
        where,
        _scrapped(stop.parts_scrapped) if stop.parts_scrapped else "",
        pgettext("a stop", "planned") if stop.planned else "",
        _named(stop.press, pgettext("a press", "on {thing}")),
    )


def _say_incident(events, system):
    damaged = len(events[0].pieces.all())
    pieces = ngettext("{n} piece damaged", "{n} pieces damaged", damaged).format(n=damaged) if damaged else ""
    return _("Mishap: {sort}").format(sort=events[0].sort), (pieces,)


def _thing(work: Work) -> str:
    return str(work.position or work.piece)


def _amounts(amounts_mm: list[float], words: str, system: units.System) -> str:
    """words: with the place of the amount."""
    if not amounts_mm:
        return ""
    least, most = (units.show(mm, "removed_mm", system) for mm in (min(amounts_mm), max(amounts_mm)))
    amount = least if least == most else _("{least} to {most}").format(least=least, most=most)
    return ", " + words.format(amount=amount)


def _codes(works: list[Work], most: int = 6) -> str:
    codes = [_thing(w) for w in works]
    shown = ", ".join(codes[:most])
    return shown if len(codes) <= most else _("{shown} and {n} more").format(shown=shown, n=len(codes) - most)


_USUAL_WHYS = {Work.Why.DULL, Work.Why.CHIPPED, Work.Why.WITH_SET, Work.Why.OTHER}


def _say_work(events, system):
    first = events[0]
    operations = {w.operation for w in events}
    done = first.get_operation_display() if len(operations) == 1 else _("worked on")
    amount = _amounts([w.removed_mm for w in events if w.removed_mm is not None], _("{amount} off"), system)
    raised = [w.raised_mm for w in events if w.raised_mm is not None]
    amount += _amounts([mm for mm in raised if mm > 0], _("{amount} put under"), system)
    amount += _amounts([-mm for mm in raised if mm < 0], _("{amount} taken out"), system)
    what = _thing(first) if len(events) == 1 else _("Set of {n} pieces").format(n=len(events))
    by_state = defaultdict(list)
    for work in events:
        state = work.found if work.found not in ("", "not looked") else ""
        if not state and work.why in (Work.Why.DULL, Work.Why.CHIPPED):
            state = work.why
        if state:
            by_state[state].append(work)
    facts = []
    for state in ("dull", "chipped", "broken", "galled", "sharp"):
        if state in by_state:
            found = str(Found(state).label)
            facts.append(
                found if len(events) == 1 else _("{pieces} {found}").format(pieces=_codes(by_state[state]), found=found)
            )
    facts += sorted({_("coated {coating}").format(coating=w.coating_after) for w in events if w.coating_after})
    facts += sorted({w.get_why_display() for w in events if w.why not in _USUAL_WHYS})
    hours = [w.hours for w in events if w.hours is not None]
    if hours:
        facts.append(f"{sum(hours):.3g} h")
    return f"{what} {done}{amount}", facts


def _say_replacement(events, system):
    row = events[0]
    if row.piece_in is None:
        words = _("{position} taken out: {why}")
    elif row.why == Replacement.Why.FIRST:
        words = _("{position} first fitted")
    else:
        words = _("{position} replaced: {why}")
    return words.format(position=row.position, why=row.get_why_display()), (
        _named(row.piece_in.mark if row.piece_in is not None else "", pgettext("a piece", "with {thing}")),
        _named(row.get_found_display() if row.found != row.why else "", pgettext("an edge", "found {thing}")),
    )


def _say_reading(events, system):
    row = events[0]
    thing = row.position or row.cut or row.piece or _("die")
    typed = f"{row.typed_value} {'µm' if row.typed_unit == 'um' else row.typed_unit}".rstrip()
    try:
        what = units.reading(row.quantity, row.typed_unit)
    except units.UnitError:
        what = None
    if what is None:  # nothing says what it measures
        return f"{thing} {_(row.quantity)} {typed}", ()
    shown = units.show_si(row.value_si, what, system)
    beside = []
    if row.at_length_mm is not None:
        length = units.show(row.at_length_mm, "length_mm", system)
        beside.append(pgettext("a length", "at {thing}").format(thing=length))
    if row.charged_to_mpa is not None:
        charge = units.show(row.charged_to_mpa, "pressure_mpa", system)
        beside.append(_("charged to {charge}").format(charge=charge))
    if not _is_said_by(shown, row):
        beside.append(_("typed {value}").format(value=typed))
    if row.parts_scrapped:
        beside.append(_scrapped(row.parts_scrapped))
    return f"{thing} {_(row.quantity)} {shown}", tuple(beside)


def _is_said_by(shown: str, row: Reading) -> bool:
    """Whether it says what was typed, to the last digit and in the same unit."""
    number, __, unit = shown.partition(" ")
    try:
        return units.unit(row.typed_unit).symbol == unit and units.number(row.typed_value) == units.number(number)
    except units.UnitError:
        return False


def _moved(row) -> str:
    """How many went or came, and by what; of a count how far it was off."""
    n, kinds = abs(row.quantity), StockMovement.Kind
    if row.kind in (kinds.COUNT, kinds.CORRECTION):
        words = pgettext("spares", "counted") if row.kind == kinds.COUNT else pgettext("spares", "put right")
        if not n:
            return _("{how}, as booked").format(how=words)
        off = _("{how}, {n:,} fewer than booked") if row.quantity < 0 else _("{how}, {n:,} more than booked")
        return off.format(how=words, n=n)
    return _("{n:,} {kind}").format(n=n, kind=row.get_kind_display())


def _say_movement(events, system):
    row = events[0]
    order = _named(row.line and row.line.order, _("order {thing}"))
    came_back = movement_reads.as_it_is(row, system, currency=shop.current().currency)
    facts = (
        order,
        _named(row.supplier, pgettext("a supplier", "at {thing}")),
        _named(row.elsewhere, _("plant {thing}")),
        came_back,
    )
    return f"{row.item}: {_moved(row)}", facts


def _say_restart(events, system):
    row = events[0]
    return _("Record started anew from {at}").format(at=stamp(row.at)), (row.reason,)


def _say_set_up(events, system):
    row = events[0]
    count = len(row.readings)
    readings = ngettext("{n} reading at the stop blocks", "{n} readings at the stop blocks", count).format(n=count)
    set_up = _("Set up in {press}").format(press=row.press) if row.press else _("Set up")
    height = "" if row.shut_height_mm is None else units.show(row.shut_height_mm, "shut_height_mm", system)
    return f"{set_up}, {readings}", (
        _named(height, _("shut height {thing}")),
        _("left to run like this") if row.is_good else "",
    )


def _say_inspection(events, system):
    row = events[0]
    words = _("Looked at {what}: something found") if row.is_finding else _("Looked at {what}: nothing found")
    scrap = _scrapped(row.parts_scrapped) if row.parts_scrapped else ""
    return words.format(what=row.plan.what), (("" if row.die_id else row.plan.thing), scrap)


def _say_cost(events, system):
    row = events[0]
    words = f"{row.get_kind_display()}: {row.amount:,.2f} {shop.current().currency}"
    return words, (_named(row.payer, _("paid by {thing}")),)


def _say_bearer(events, system):
    row = events[0]
    named = {"who": row.payer or _("the shop"), "what": row.get_element_display()}
    if row.of_entry is not None:
        return _("{who} pays for one entry: {what} of {at}").format(**named, at=stamp(row.of_entry.at)), ()
    return _("{who} pays for {what} from {at}").format(**named, at=stamp(row.at)), ()


def _say_retirement(events, system):
    row = events[0]
    weight = "" if row.weight_kg is None else units.show(row.weight_kg, "weight_kg", system)
    words = _("Retired: {fate}").format(fate=row.get_fate_display())
    return words, (weight, _named(row.went_to, pgettext("a party", "to {thing}")))


_SAY = {
    Run: _say_run,
    HitCorrection: _say_correction,
    Stop: _say_stop,
    Incident: _say_incident,
    Work: _say_work,
    Replacement: _say_replacement,
    Reading: _say_reading,
    StockMovement: _say_movement,
    CostLine: _say_cost,
    RecordRestart: _say_restart,
    SetUp: _say_set_up,
    Inspection: _say_inspection,
    CostBearer: _say_bearer,
    Retirement: _say_retirement,
}
