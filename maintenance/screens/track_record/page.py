"""How right past forecasts were, in words, tables and a drawing. Formats only; what it shows is stored."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import django_tables2 as tables
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.formats import date_format
from django.utils.html import format_html
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext

from diestore.drawing import paths
from diestore.drawing.scales import Even
from diestore.frame.tables import RIGHT, Column
from maintenance.forecasts.record_line import OF_DIE_AT_LEAST
from maintenance.life.record import NINE_IN_TEN
from maintenance.models import PastForecasts
from maintenance.wording import numbers
from maintenance.wording import odds as wording_odds

from . import strip

EARLY, LATE = "early", "late"
SIDE, LEFT, TOP, FOOT = 320.0, 56.0, 14.0, 46.0  # of the drawing
MARKS = (0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)


@dataclass(frozen=True, kw_only=True)
class WrongCall:
    """A statement outside its band. odds: how seldom so far off, had the statement been right."""

    pk: int
    die_pk: int
    code: str
    origin: dt.datetime
    low: int
    high: int
    came: str
    first: str
    sort: str
    odds: float
    hits: int
    rests_on: str

    @property
    def way(self) -> str:
        return "early" if self.sort == EARLY else "late"


class WrongTable(tables.Table):
    odds = Column(
        verbose_name=gettext_lazy("Odds of being this far out"),
        note=gettext_lazy("so far, had it been right"),
        order_by=("odds", "pk"),
    )
    code = Column(verbose_name=gettext_lazy("Die"), order_by=("code", "origin", "pk"))
    origin = Column(verbose_name=gettext_lazy("Forecast of"), order_by=("origin", "pk"))
    said = Column(verbose_name=gettext_lazy("8 in 10 between"), attrs=RIGHT, accessor="low", order_by=("low", "pk"))
    came = Column(verbose_name=gettext_lazy("What happened"), accessor="hits", order_by=("hits", "pk"))
    way = Column(verbose_name=gettext_lazy("Early or late"), order_by=("way", "pk"))
    rests_on = Column(
        verbose_name=gettext_lazy("It rested on"), order_by=("rests_on", "pk"), attrs={"td": {"class": "small"}}
    )

    class Meta:
        order_by = ("odds",)
        sequence = ("code", "origin", "said", "came", "way", "odds", "rests_on")
        empty_text = gettext_lazy("No forecast was wrong: each fell within its 8 in 10.")

    def render_code(self, value, record):
        return format_html('<a class="nowrap" href="{}">{}</a>', reverse("diestore:die", args=[record.die_pk]), value)

    def render_origin(self, value):
        return format_html('<span class="nowrap">{}</span>', day(value))

    def render_said(self, record):
        return _("{low} and {high}").format(low=numbers.hits(record.low), high=numbers.hits(record.high))

    def render_came(self, record):
        return record.came

    def render_way(self, value):
        return pgettext("of an end", "early") if value == EARLY else pgettext("of an end", "late")

    def render_odds(self, value):
        return wording_odds.chance(value)


def wrong_calls(row: PastForecasts) -> list[WrongCall]:
    return [
        WrongCall(
            pk=n,
            die_pk=call["die"],
            code=call["code"],
            origin=parse_datetime(call["origin"]),
            low=call["low"],
            high=call["high"],
            came=came(call),
            first=call["position"],
            sort=call["sort"],
            odds=call["gone"] if call["sort"] == EARLY else 1 - call["gone"],
            hits=call["came_high"],
            rests_on=call["rests_on"],
        )
        for n, call in enumerate(row.wrong_calls)
    ]


def came(call: dict) -> str:
    """What came, in words: further hits, and the edge."""
    low, high = numbers.hits(call["came_low"]), numbers.hits(call["came_high"])
    if call["came_as"] == "sharp":
        said = (
            _("{high} hits, and still runs") if call["running"] else _("{high} hits, and {code} was ground still sharp")
        )
        return said.format(high=high, code=call["position"])
    how = _(call["came_as"])
    if call["came_low"] <= 0:
        return _("{code} {how} within {high} hits").format(code=call["position"], how=how, high=high)
    return _("{code} {how} between {low} and {high} hits").format(code=call["position"], how=how, low=low, high=high)


def day(moment: dt.datetime) -> str:
    return date_format(timezone.localtime(moment), "j M Y")


def shown(row: PastForecasts) -> dict:
    """What the page says of a look back that has enough to say."""
    s = row.scores
    held, wide = 100 * s["band_80"], 100 * NINE_IN_TEN * s["se"]
    low, high = round(80 - wide), min(round(80 + wide), 100)
    looked = [o for o in s["origins"] if not o["refusal"]]
    return {
        "held": round(held),
        "low": low,
        "high": high,
        "as_chance_gives": low <= round(held) <= high,
        "too_sure": round(held) < low,
        "statements": s["forecasts"],
        "ended": s["ended"],
        "open": s["forecasts"] - s["ended"],
        "dies": s["dies"],
        "to_be_expected": round(0.1 * s["forecasts"]),
        "early": len([c for c in row.wrong_calls if c["sort"] == EARLY]),
        "late": len([c for c in row.wrong_calls if c["sort"] == LATE]),
        "edges": s["edges"] and {**s["edges"], "held": round(100 * s["edges"]["band_80"])},
        "first": day(parse_datetime(looked[0]["at"])),
        "last": day(parse_datetime(looked[-1]["at"])),
        "looks": len(looked),
        "origins": [{**o, "day": day(parse_datetime(o["at"]))} for o in s["origins"]],
        "chances": [_chance(c) for c in s["chances"]],
        "drawing": drawing(s),
        "ranges": strip.laid_out(s.get("ranges", []), lambda at: day(parse_datetime(at))),
        "marks": [
            {
                "said": round(100 * mark),
                "went": None if went is None else round(100 * went),
                "low": None if went is None else max(round(100 * (went - NINE_IN_TEN * se)), 0),
                "high": None if went is None else min(round(100 * (went + NINE_IN_TEN * se)), 100),
            }
            for mark, went, se in zip(s["marks"], s["went"], s["went_se"], strict=True)
        ],
    }


def _chance(c: dict) -> dict:
    """A class of orders by the chance that was told. `held`: of 100, with those stopped before counted as they ran."""
    return {
        "said": _("{low:.0f} to {high:.0f} %").format(low=100 * c["low"], high=100 * c["high"]),
        "middle": f"{100 * c['said']:.0f} %",
        "statements": c["statements"],
        "finished": f"{c['finished']:g}",
        "not_finished": f"{c['not_finished']:g}",
        "stopped": c["stopped"],
        "held": None if c["held"] is None else f"{100 * c['held']:.0f} %",
        "low": None if c["held"] is None else round(100 * c["held_low"]),
        "high": None if c["held"] is None else round(100 * c["held_high"]),
        "few": c["statements"] < OF_DIE_AT_LEAST,
    }


def drawing(s: dict) -> dict:
    """Said against gone: a point for each tenth, with what chance leaves open as a bar. In the drawing's own units."""
    across, up = Even(0, 1, LEFT, LEFT + SIDE), Even(0, 1, TOP + SIDE, TOP)
    points = [
        {
            "x": round(across.at(mark), 1),
            "y": round(up.at(went), 1),
            "low": round(up.at(went - NINE_IN_TEN * se), 1),
            "high": round(up.at(went + NINE_IN_TEN * se), 1),
            "title": _("forecast: {said:.0f} in 100; dull or chipped: {went:.0f} in 100").format(
                said=100 * mark, went=100 * went
            ),
        }
        for mark, went, se in zip(s["marks"], s["went"], s["went_se"], strict=True)
        if went is not None
    ]
    return {
        "width": LEFT + SIDE + 14,
        "height": TOP + SIDE + FOOT,
        "left": LEFT,
        "right": LEFT + SIDE,
        "top": TOP,
        "foot": TOP + SIDE,
        "points": points,
        "said_ticks": across.marks(MARKS, _of_100),
        "gone_ticks": up.marks(MARKS, _of_100),
        "line": paths.line((p["x"], p["y"]) for p in points),
    }


def _of_100(share: float) -> str:
    return f"{100 * share:.0f}"
