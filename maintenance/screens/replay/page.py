"""Decisions of the past in words, sums and tables. Formats only; what it shows is stored."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.html import format_html

from diestore import units
from diestore.frame.tables import RIGHT, Column
from maintenance.forecasts.replay import FEW
from maintenance.models import PastDecision
from maintenance.policy.replay import Bounds
from maintenance.wording import numbers

JOB, TEARDOWN = PastDecision.Kind.JOB.value, PastDecision.Kind.TEARDOWN.value
NAMED_AT_MOST = 4
NOTHING = 0.5  # of the currency: less is nothing
MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True)
class Told:
    """In whose money and units; plant: its number, for addresses."""

    currency: str
    system: units.System
    plant: int

    def money(self, amount: float) -> str:
        return f"{abs(amount):,.0f} {self.currency}"

    def saved(self, amount: float) -> str:
        """What following the advice would have come to: "157 EUR saved", "27 EUR dearer"."""
        if abs(amount) < NOTHING:
            return "nothing"
        return f"{self.money(amount)} {'saved' if amount > 0 else 'dearer'}"

    def between(self, low: float, high: float) -> str:
        """From ... to ..., where what was open makes a difference."""
        if abs(high - low) < 2 * NOTHING:
            return "nothing is open"
        return f"{signed(low)} to {signed(high)}"

    def steel(self, mm: float) -> str:
        return units.show(round(abs(mm), 4), "removed_mm", self.system)


def signed(amount: float) -> str:
    whole = round(amount)
    return f"{MINUS}{-whole:,}" if whole < 0 else f"{whole:,}"


def about(amount: float) -> str:
    """Of a sum: two figures that count, as nobody knows it better."""
    size = abs(amount)
    step = 10 ** max(len(f"{size:.0f}") - 2, 0)
    return signed(round(amount / step) * step)


def day(moment: dt.datetime) -> str:
    return f"{timezone.localtime(moment):%d %b %Y}".lstrip("0")


# --- what was done, advised, and came ---------------------------------------------------------------------------------


def done(case: PastDecision) -> str:
    if case.kind == TEARDOWN:
        return f"Ground {_edges(case.done['grind'], case.advised['of'])}"
    pulls = case.done["pulls"]
    first = "Sharpened first" if pulls[:1] == [0] else "Ran it as it was"
    inside = [p for p in pulls if p > 0]
    return f"{first}; sharpened in the job {_at(inside)}" if inside else first


def advice(case: PastDecision) -> str:
    if case.kind == TEARDOWN:
        return f"Grind {_edges(case.advised['grind'], case.advised['of'])}"
    pulls = case.advised["pulls"]
    first = "Sharpen first" if pulls[:1] == [0] else "Run it as it is"
    inside = [p for p in pulls if p > 0]
    return f"{first}; sharpen in the job {_at(inside)}" if inside else first


def apart(case: PastDecision) -> str:
    """In which edges the two differ."""
    if case.kind != TEARDOWN:
        return ""
    was, said = set(case.done["grind"]), set(case.advised["grind"])
    more, fewer = sorted(said - was), sorted(was - said)
    parts = [f"{word} {_listed(codes)}" for word, codes in (("also", more), ("not", fewer)) if codes]
    return "; ".join(parts)


def came(case: PastDecision) -> str:
    ran = f"{case.hits:,}"
    if case.kind == TEARDOWN:
        if case.done["dull"]:
            return f"{_listed(case.done['dull'])} dull {ran} hits on"
        return f"nothing dull {'so far, ' if case.done['still_runs'] else 'to the next teardown, '}{ran} hits on"
    start = "An edge was found dull on the bench. " if case.done["dull_at_start"] else ""
    if case.done["stop"] is not None:
        return f"{start}Dull after {case.done['stop']:,} of {ran} hits"
    if case.done["torn"]:
        return f"{start}A chip ended it after {ran} hits"
    return f"{start}Ran through, {ran} hits"


def _at(hits: Sequence[int]) -> str:
    named = [numbers.hits(h) for h in hits]
    if len(named) > 2:
        return f"{len(named)} times, first at {named[0]} hits"
    return f"at {' and '.join(named)} hits"


def _edges(codes: Sequence[str], of: int) -> str:
    if not codes:
        return "none of its edges"
    if len(codes) >= of:
        return f"all {of} edges"
    return f"{len(codes)} of {of} edges"


def _listed(codes: Sequence[str]) -> str:
    more = len(codes) - NAMED_AT_MOST
    return ", ".join(codes[:NAMED_AT_MOST]) + (f" and {more} more" if more > 0 else "")


class CaseTable(tables.Table):
    at = Column(verbose_name="When", order_by=("at", "pk"))
    die = Column(verbose_name="Die", accessor="die__code", order_by=("die__code", "at", "pk"))
    job = Column(verbose_name="Job", order_by=("job", "at", "pk"), default="")
    done = Column(verbose_name="What was done", orderable=False, accessor="kind")
    advice = Column(verbose_name="The advice", orderable=False, accessor="kind")
    came = Column(verbose_name="What happened", order_by=("hits", "pk"), accessor="hits")
    saved = Column(
        verbose_name="Following it", note="expected; at worst and best", attrs=RIGHT, accessor="euros_expected",
        order_by=("euros_expected", "pk"),
    )  # fmt: skip
    stops = Column(
        verbose_name="Stops fewer", note="expected", attrs=RIGHT, accessor="stops_expected",
        order_by=("stops_expected", "pk"),
    )  # fmt: skip
    steel = Column(
        verbose_name="Steel less", note="over all edges", attrs=RIGHT, accessor="steel_expected_mm",
        order_by=("steel_expected_mm", "pk"),
    )  # fmt: skip

    class Meta:
        order_by = ("-at",)
        sequence = ("at", "die", "job", "done", "advice", "came", "saved", "stops", "steel")
        empty_text = "No decision matches."

    def __init__(self, *args, told: Told | None = None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.told = told

    def render_at(self, value):
        return format_html('<span class="nowrap">{}</span>', day(value))

    def render_die(self, value, record):
        return format_html('<a class="nowrap" href="{}">{}</a>', reverse("diestore:die", args=[record.die_id]), value)

    def render_job(self, value):
        return format_html('<span class="nowrap">{}</span>', value)

    def render_done(self, record):
        return done(record)

    def render_advice(self, record):
        if differs := apart(record):
            return format_html("{}<small>{}</small>", advice(record), differs)
        return advice(record)

    def render_came(self, record):
        return came(record)

    def render_saved(self, value, record):
        between = self.told.between(record.euros_low, record.euros_high)
        return format_html('<span class="nowrap">{}</span><small class="nowrap">{}</small>',
                           self.told.saved(value), between)  # fmt: skip

    def render_stops(self, value):
        return _fewer(value)

    def render_steel(self, value):
        mark = MINUS if round(value, 4) < 0 else ""
        return format_html('<span class="nowrap">{}{}</span>', mark, self.told.steel(value))


def _fewer(stops: float) -> str:
    told = f"{abs(stops):.1f}"
    return told if told == "0.0" or stops > 0 else f"{MINUS}{told}"


@dataclass(frozen=True, kw_only=True)
class OfDie:
    """The sums of one die. jobs, teardowns: decisions; as_advised: those done so; saved, low, high: money expected of
    following the advice, and its bounds."""

    pk: int
    code: str
    jobs: int
    jobs_same: int
    jobs_saved: float
    jobs_low: float
    jobs_high: float
    teardowns: int
    teardowns_same: int
    teardowns_saved: float
    teardowns_low: float
    teardowns_high: float


class ByDieTable(tables.Table):
    code = Column(verbose_name="Die", order_by=("code", "pk"))
    jobs = Column(verbose_name="Jobs", attrs=RIGHT, order_by=("jobs", "pk"))
    jobs_same = Column(verbose_name="As advised", attrs=RIGHT, order_by=("jobs_same", "pk"))
    jobs_saved = Column(
        verbose_name="Following it", note="expected; at worst and best", attrs=RIGHT, order_by=("jobs_saved", "pk")
    )
    teardowns = Column(verbose_name="Sharpenings", attrs=RIGHT, order_by=("teardowns", "pk"))
    teardowns_same = Column(verbose_name="As advised", attrs=RIGHT, order_by=("teardowns_same", "pk"))
    teardowns_saved = Column(
        verbose_name="Following it", note="expected; at worst and best", attrs=RIGHT,
        order_by=("teardowns_saved", "pk"),
    )  # fmt: skip

    class Meta:
        order_by = ("code",)
        empty_text = "No die had a decision to look back on."

    def __init__(self, *args, told: Told | None = None, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.told = told

    def render_code(self, value, record):
        return format_html('<a href="?q={}&amp;plant={}#every">{}</a>', value, self.told.plant, value)

    def render_jobs_saved(self, value, record):
        return self._money(value, record.jobs - record.jobs_same, record.jobs_low, record.jobs_high)

    def render_teardowns_saved(self, value, record):
        differ = record.teardowns - record.teardowns_same
        return self._money(value, differ, record.teardowns_low, record.teardowns_high)

    def _money(self, value: float, differ: int, low: float, high: float):
        if not differ:
            return "–"
        return format_html('<span class="nowrap">{}</span><small class="nowrap">{}</small>',
                           self.told.saved(value), self.told.between(low, high))  # fmt: skip


def by_die(sums: dict, codes: Mapping[int, str]) -> list[OfDie]:
    rows = []
    kinds = {kind: sums["kinds"][kind]["dies"] for kind in (JOB, TEARDOWN)}
    for name in sorted({*kinds[JOB], *kinds[TEARDOWN]}, key=int):
        if int(name) not in codes:
            continue
        jobs, torn = kinds[JOB].get(name, {}), kinds[TEARDOWN].get(name, {})
        rows.append(
            OfDie(
                pk=int(name),
                code=codes[int(name)],
                jobs=jobs.get("decisions", 0),
                jobs_same=jobs.get("same", 0),
                jobs_saved=jobs.get("euros", {}).get("expected", 0.0),
                jobs_low=jobs.get("euros", {}).get("low", 0.0),
                jobs_high=jobs.get("euros", {}).get("high", 0.0),
                teardowns=torn.get("decisions", 0),
                teardowns_same=torn.get("same", 0),
                teardowns_saved=torn.get("euros", {}).get("expected", 0.0),
                teardowns_low=torn.get("euros", {}).get("low", 0.0),
                teardowns_high=torn.get("euros", {}).get("high", 0.0),
            )
        )
    return rows


# --- the sentence on top ----------------------------------------------------------------------------------------------


def shown(sums: dict, told: Told) -> dict:
    """What the page says first, and what it rests on."""
    kinds = {kind: _kind(sums["kinds"][kind], kind, told) for kind in (JOB, TEARDOWN)}
    return {
        "kinds": list(kinds.values()),
        "worse_count": sum(sums["kinds"][kind]["worse"] for kind in (JOB, TEARDOWN)),
        "decisions": sum(sums["kinds"][kind]["decisions"] for kind in (JOB, TEARDOWN)),
        "since": day(parse_datetime(sums["since"])),
        "forced": sums["forced"],
        "untold": sums["untold"],
        "left_out": sums["left_out"],
        "without_job": sums["without_job"],
    }


def _kind(of: dict, kind: str, told: Told) -> dict:
    euros, stops = (Bounds(**of[name]) for name in ("euros", "stops"))
    steel = of["steel_mm"]["expected"]
    low, high = euros.likely()
    stops_low, stops_high = stops.likely()
    differ = of["decisions"] - of["same"]
    return {
        "is_jobs": kind == JOB,
        "decisions": of["decisions"],
        "same": of["same"],
        "differ": differ,
        "few": differ < FEW,
        "first": day(parse_datetime(of["first"])) if of["first"] else "",
        "money": f"{about(abs(euros.expected))} {told.currency}",
        "is_worse": euros.expected < 0,
        "likely": f"{about(low)} to {about(high)} {told.currency}",
        "bounds": f"{about(euros.low)} to {about(euros.high)} {told.currency}",
        "stops": _stops(stops.expected),
        "stops_likely": f"{signed(stops_low)} to {signed(stops_high)}",
        "stops_bounds": f"{signed(stops.low)} to {signed(stops.high)}",
        "steel": told.steel(steel),
        "steel_less": steel > 0,
    }


def _stops(expected: float) -> str:
    whole = round(abs(expected))
    if not whole:
        return "as many stops"
    return f"{whole} stop{'' if whole == 1 else 's'} {'fewer' if expected > 0 else 'more'}"
