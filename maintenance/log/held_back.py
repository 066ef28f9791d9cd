"""What was made since a die was last known to cut well: the parts, jobs and coils to look at when burr is too high.

From the last burr reading within the limit, or the last sharpening where that is later, to now: parts that came after
the bad reading are as doubtful as those before it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from diestore import units
from diestore.register.models import Output, Position
from maintenance.clockwork.works import OPERATIONS
from maintenance.models import Event, Reading, Run, Stop, Work

from .damage import BURR, LOOKED_AT, MISHAP, WORN_OUT, Damage, Limits, is_over, is_within
from .rules import stamp

FRESH = [key for key, operation in OPERATIONS.items() if operation.fresh_edge]
NAMED_AT_MOST = 6  # jobs or coils in one sentence


@dataclass(frozen=True, kw_only=True)
class Made:
    """What ran for one job (the empty name: for none) since then. coils: those that the runs name, in order of time."""

    job: str
    hits: int
    parts: int
    counted: bool  # every run of it counted its good parts
    coils: tuple[str, ...]
    first: dt.datetime
    last: dt.datetime


@dataclass(frozen=True, kw_only=True)
class HeldBack:
    """since: None where no good reading and no sharpening is known. why: what happened then, in words."""

    since: dt.datetime | None
    why: str
    made: tuple[Made, ...]

    @property
    def parts(self) -> int:
        return sum(one.parts for one in self.made)

    @property
    def hits(self) -> int:
        return sum(one.hits for one in self.made)

    @property
    def coils(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(coil for one in self.made for coil in one.coils))

    @property
    def what(self) -> str:
        """The parts, jobs and coils, in words; nothing where nothing ran."""
        if not self.made:
            return ""
        words = _("{parts:,} parts") if all(one.counted for one in self.made) else _("about {parts:,} parts")
        jobs = [one.job for one in self.made if one.job]
        coils = self.coils
        bits = (
            _named(jobs, ngettext("job {names}", "jobs {names}", len(jobs))),
            _named(coils, ngettext("coil {names}", "coils {names}", len(coils))),
        )
        where = "; ".join(bit for bit in bits if bit)
        return words.format(parts=self.parts) + (f" ({where})" if where else "")

    @property
    def sentence(self) -> str:
        if not self.made:
            return _("Hold back what was made since {why}. No run is logged since.").format(why=self.why)
        return _("Hold back {what}: made since {why}.").format(what=self.what, why=self.why)


def _named(names: Sequence[str], words: str) -> str:
    if not names:
        return ""
    shown = ", ".join(names[:NAMED_AT_MOST])
    if len(names) > NAMED_AT_MOST:
        shown = _("{shown} and {n} more").format(shown=shown, n=len(names) - NAMED_AT_MOST)
    return words.format(names=shown)


def said_of(entry: Event, system: units.System = units.System.METRIC) -> str:
    """What to say at once of an entry just made: burr over a limit, or a stop for it. Nothing where all is well."""
    if isinstance(entry, Stop) and entry.cause == Stop.Cause.BURR:
        return f"{_('Stopped for burr.')} {since_good(entry.die_id, None, entry.at).sentence}"
    if not isinstance(entry, Reading) or entry.quantity.strip().lower() != BURR:
        return ""
    position = entry.position
    die = position.die_id if position else entry.die_id
    limit_um = Limits([die]).of(die, entry.position_id) if die else None
    burr_um = entry.value_si * 1e6
    if not is_over(burr_um, limit_um):
        return ""
    burr, limit = (units.show(um, "burr_um", system) for um in (burr_um, limit_um))
    words = _("The burr is {burr}, over the limit of {limit}.")
    if position:
        words = _("The burr on {position} is {burr}, over the limit of {limit}.")
    held = since_good(die, position, entry.at)
    return f"{words.format(position=position, burr=burr, limit=limit)} {held.sentence}"


def of_damage(die: int, wrong: Iterable[Damage]) -> HeldBack | None:
    """Of what is wrong with a die, the longest stretch of parts to look at; None where no burr is too high."""
    burrs = [one for one in wrong if one.what not in (MISHAP, WORN_OUT)]
    places = {place.pk: place for place in Position.objects.filter(pk__in=[one.position for one in burrs])}
    held = [since_good(die, places.get(one.position), one.at) for one in burrs]
    return min(held, key=lambda one: (one.since is not None, one.since or 0, -one.hits), default=None)


def since_good(die: int, position: Position | None, before: dt.datetime) -> HeldBack:
    """What ran since the edge (the die, where the place is not known) was last known to cut well before a moment."""
    since, why = _last_good(die, position, before)
    runs = Run.objects.standing().filter(die=die)
    if since is not None:
        runs = runs.filter(at__gt=since)
    if position is not None and (works_in := list(position.variants.values_list("pk", flat=True))):
        runs = runs.filter(variant__in=works_in)
    columns = ("order__number", "started", "at", "hits", "good_parts", "variant_id", "order__part_id", "lot")
    rows = list(runs.order_by("at", "pk").values_list(*columns))
    a_hit = _parts_a_hit({row[5] for row in rows})
    by_job: dict[str, list[tuple]] = {}
    for row in rows:
        by_job.setdefault(row[0] or "", []).append(row)
    return HeldBack(
        since=since, why=why, made=tuple(_made(job, of_job, since, a_hit) for job, of_job in by_job.items())
    )


def _made(job: str, rows: list[tuple], since: dt.datetime | None, a_hit: Mapping) -> Made:
    hits = parts = 0
    counted, coils = True, {}
    for __, started, at, ran, good, variant, part, coil in rows:
        share = 1.0
        if since is not None and started < since:
            share = (at - since) / (at - started)
        n = a_hit.get((variant, part)) or a_hit.get((variant, None)) or 1
        hits += round(ran * share)
        parts += round((ran * n if good is None else good) * share)
        counted &= good is not None and share == 1.0
        if coil.strip():
            coils[coil.strip()] = True
    return Made(
        job=job, hits=hits, parts=parts, counted=counted, coils=tuple(coils), first=rows[0][1], last=rows[-1][2]
    )


def _parts_a_hit(variants: set[int]) -> dict[tuple[int, int | None], int]:
    """By inserts and part; of inserts alone, all that one hit makes."""
    a_hit: dict[tuple[int, int | None], int] = {}
    rows = Output.objects.filter(variant__in=variants)
    for variant, part, n in rows.values_list("variant_id", "part_id", "parts_per_hit"):
        a_hit[variant, part] = n
        a_hit[variant, None] = a_hit.get((variant, None), 0) + n
    return a_hit


def _last_good(die: int, position: Position | None, before: dt.datetime) -> tuple[dt.datetime | None, str]:
    """Up to when the parts were good as far as anybody measured, and in words: the last reading within the limit, or
    the last sharpening, whichever is later."""
    limits = Limits([die])
    burrs = Reading.objects.standing().filter(quantity__iexact=BURR, at__lt=before)
    burrs = burrs.filter(position=position) if position else burrs.filter(Q(die=die) | Q(position__die=die))
    read = burrs.order_by("-at").values_list("position_id", "at", "value_si")[:LOOKED_AT]
    good = next(islice((at for place, at, v in read if is_within(v * 1e6, limits.of(die, place))), 1), None)
    where = {"position": position} if position else {"position__die": die}
    works = Work.objects.standing().filter(operation__in=FRESH, at__lt=before, **where)
    ground = works.order_by("-at").values_list("at", flat=True).first()
    if good is None and ground is None:
        return None, _("it last ran well: no good reading and no sharpening is logged before")
    if ground is None or (good is not None and good >= ground):
        return good, _("the last good reading, {good}").format(good=stamp(good))
    return ground, _("the last sharpening, {ground}: no good reading is logged since").format(ground=stamp(ground))
