"""The offer comparison on paper, A4: customer, part, ways, plots, assumptions, method. Nothing on it hangs on the
moment at which it is printed: the same outline gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from diestore import units
from diestore.drawing import paper, scales
from diestore.drawing.paper import BOLD, HIGH, PLAIN, WIDE
from reports.format import cents, day, money

from . import shown
from .reckon import Told

EDGE = 16.0
ROOM = WIDE - 2 * EDGE
FOOT = 18.0
INKS = ((0.14, 0.29, 0.58), (0.43, 0.29, 0.0), (0.08, 0.13, 0.17), (0.70, 0.24, 0.05), (0.27, 0.33, 0.37))
DASHES: tuple[tuple[float, ...], ...] = ((), (6, 3), (1.5, 2.5), (9, 2.5, 2, 2.5), (4, 2))
QUIET, RULE, TINT = (0.27, 0.33, 0.37), (0.82, 0.84, 0.86), (0.937, 0.949, 0.953)
INSIDE = frozenset({"toolroom_rate", "press_rate", "sorting_rate", "piece_price", "part_worth"})  # the shop's own rates

METHOD = (
    (
        gettext_noop("How long edges last"),
        gettext_noop(
            "Each cutting edge's life is worked out from stock, thickness, gap, tool steel, hardness and "
            "coating, after what the shop's own records say of edges like it (Weibull lives, W. Weibull 1951; "
            "wear, J. F. Archard 1953). What is not known stays open: 400 equally likely worlds are reckoned, "
            "and 8 in 10 of them lie within each band. The die is sharpened when its first edge is dull or, "
            "where there is a burr limit, when the burr comes to it."
        ),
    ),
    (
        gettext_noop("What running costs"),
        gettext_noop(
            "Sharpening, pieces that are ground out, stops and sorting for burr, chips and breaks, each in the "
            "long run by the stroke. A grade brings its own grinding and its own number of grinds. What is not "
            "known of a better build is taken to be the same for every way."
        ),
    ),
    (
        gettext_noop("Money at other times"),
        gettext_noop(
            "Money of a year is paid at its end. Present value, payback (not discounted), the return of the "
            "extra money and the even yearly cost are those of engineering economy (Brealey and Myers, "
            "Principles of Corporate Finance); elements of cost follow the stages of IEC 60300-3-3. Two ways "
            "have cost the same at (difference of build prices) / (difference of running costs) parts."
        ),
    ),
    (
        gettext_noop("What it is not"),
        gettext_noop(
            "An estimate from records and stated assumptions, no promise of a tool's life. Chances are shares of "
            "the worlds reckoned."
        ),
    ),
)


@dataclass(frozen=True, kw_only=True)
class Offer:
    """What stands on the paper. with_rates: the shop's rates and what each element costs are shown."""

    told: Told
    shop: str
    currency: str
    system: units.System
    with_rates: bool


class _Page(paper.Page):
    def __init__(self, canvas: Canvas, offer: Offer) -> None:
        super().__init__(canvas, edge=EDGE)
        self.offer = offer

    def colour(self, rgb: tuple[float, float, float] = (0, 0, 0)) -> None:
        self.canvas.setFillColorRGB(*rgb)
        self.canvas.setStrokeColorRGB(*rgb)

    def quiet(self, x: float, words: str, **more) -> None:
        self.colour(QUIET)
        self.text(x, words, **more)
        self.colour()

    def heading(self, words: str, *, above: float = 8.5) -> None:
        self.y -= above
        self.text(EDGE, words, size=11.5, bold=True)
        self.colour(INKS[0])
        self.rule(y=self.y - 1.8, width=0.8)
        self.colour()
        self.y -= 3.2

    def words(
        self,
        text: str,
        *,
        size: float = 8.6,
        lead: float = 4.1,
        x: float = EDGE,
        room: float = ROOM,
        bold: bool = False,
    ) -> None:
        for line in paper.wrapped(text, size, room, BOLD if bold else PLAIN):
            self.need(lead)
            self.y -= lead
            self.text(x, line, size=size, bold=bold)

    def need(self, height: float) -> None:
        if self.y - height < FOOT:
            self.turn()

    def turn(self) -> None:
        self.foot()
        super().turn()
        o = self.offer.told.outline
        told = _("{part} for {customer}: ways of building the tool").format(part=o.part, customer=o.customer)
        self.quiet(EDGE, told, size=8, room=ROOM - 30)
        self.y -= 2

    def foot(self) -> None:
        o = self.offer.told.outline
        self.colour(QUIET)
        self.rule(y=12.5, width=0.3)
        self.canvas.setFont(PLAIN, 7)
        told = [self.offer.shop, _("of {day}").format(day=day(o.on))]
        if o.valid_until:
            told.append(_("valid until {day}").format(day=day(o.valid_until)))
        left = " · ".join(told)
        self.canvas.drawString(EDGE * mm, 8.5 * mm, paper.cut(left, PLAIN, 7, ROOM - 25))
        self.canvas.drawRightString((WIDE - EDGE) * mm, 8.5 * mm, _("page {number}").format(number=self.number))
        self.colour()


def pdf(offer: Offer) -> bytes:
    """The paper. Its outline must be one of which something can be said: `Told.weighed` is there."""
    paper.fonts()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(WIDE * mm, HIGH * mm), invariant=True)
    canvas.setTitle(_("Offer comparison: {outline}").format(outline=offer.told.outline))
    page = _Page(canvas, offer)
    _head(page)
    _answer(page)
    _ways(page)
    _against(page)
    _volume(page)
    _years(page)
    _burr(page)
    _matters(page)
    _payers(page)
    _assumed(page)
    _method(page)
    page.foot()
    canvas.save()
    return out.getvalue()


def _head(page: _Page) -> None:
    o = page.offer.told.outline
    page.colour(INKS[0])
    page.canvas.rect(0, (HIGH - 30) * mm, WIDE * mm, 30 * mm, stroke=0, fill=1)
    page.colour((1, 1, 1))
    page.y = HIGH - 12
    page.text(EDGE, page.offer.shop, size=9, room=ROOM / 2)
    page.text(WIDE - EDGE, _("Offer comparison of {day}").format(day=day(o.on)), size=9, right=True)
    page.y = HIGH - 20.5
    page.text(EDGE, o.part, size=18, bold=True, room=ROOM)
    page.y = HIGH - 26.5
    page.text(EDGE, _("for {customer}").format(customer=o.customer), size=10.5, room=ROOM / 2)
    if o.valid_until:
        page.text(WIDE - EDGE, _("valid until {day}").format(day=day(o.valid_until)), size=9, right=True)
    page.colour()
    page.y = HIGH - 34
    for name, value in shown.facts(page.offer.told, page.offer.system, with_offer=False):
        lines = paper.wrapped(value, 8.6, ROOM - 30)
        for n, line in enumerate(lines):
            page.y -= 4.3
            if n == 0:
                page.quiet(EDGE, name, size=8.6)
            page.text(EDGE + 30, line, size=8.6)
    if o.note:
        page.y -= 1
        page.words(o.note)


def _answer(page: _Page) -> None:
    """In a tinted box: what it comes to."""
    text, more = shown.lead(page.offer.told, page.offer.currency)
    first, second = paper.wrapped(text, 10.5, ROOM - 10, BOLD), paper.wrapped(more, 8.8, ROOM - 10)
    height = 5.4 * len(first) + 4.4 * len(second) + 6
    page.y -= 4
    page.colour(TINT)
    page.canvas.rect(EDGE * mm, (page.y - height) * mm, ROOM * mm, height * mm, stroke=0, fill=1)
    page.colour(INKS[0])
    page.canvas.rect(EDGE * mm, (page.y - height) * mm, 1.2 * mm, height * mm, stroke=0, fill=1)
    page.colour()
    bottom = page.y - height
    page.y -= 1.2
    for line in first:
        page.y -= 5.4
        page.text(EDGE + 5, line, size=10.5, bold=True)
    page.y -= 0.6
    for line in second:
        page.y -= 4.4
        page.text(EDGE + 5, line, size=8.8)
    page.y = bottom


def _sample(page: _Page, number: int, x: float, y: float, length: float = 9) -> None:
    """The line of a way, as in the plots."""
    page.canvas.setStrokeColorRGB(*INKS[number - 1])
    page.canvas.setLineWidth(1.6)
    page.canvas.setDash(*((list(DASHES[number - 1]), 0) if DASHES[number - 1] else ([], 0)))
    page.canvas.line(x * mm, y * mm, (x + length) * mm, y * mm)
    page.canvas.setDash([], 0)
    page.colour()


def _ways(page: _Page) -> None:
    page.heading(_("Ways of building it"))
    currency, told = page.offer.currency, shown.ways(page.offer.told)
    columns = (EDGE + 106, EDGE + 130, EDGE + 153, EDGE + ROOM)
    page.y -= 3.4
    for x, words in zip(columns, (_("build"), _("sharpened every"), _("running"), _("all in all")), strict=True):
        page.quiet(x, words, size=7.6, right=True)
    page.y -= 3.2
    thousand = _("{currency} a thousand").format(currency=currency)
    for x, words in zip(columns, (currency, _("hits"), thousand, thousand), strict=True):
        page.quiet(x, words, size=6.6, right=True)
    page.y -= 1.4
    page.rule(width=0.4)
    for one in told:
        lines = paper.wrapped(one["words"], 7.4, 76)
        page.need(6 + 3.4 * max(len(lines), 1))
        page.y -= 5
        _sample(page, one["number"], EDGE, page.y + 1.1)
        page.text(EDGE + 11, f"{one['number']}  {one['name']}", size=9, bold=True, room=74)
        price = one["price"].removesuffix(f" {currency}")
        for x, value, bold in zip(
            columns, (price, one["interval"], one["running"], one["thousand"]), (0, 0, 0, 1), strict=True
        ):
            page.text(x, value, size=9, bold=bool(bold), right=True)
        bands = (None, one["band"], one["running_band"], None)
        for n, line in enumerate(lines):
            page.y -= 3.4
            page.quiet(EDGE + 11, line, size=7.4)
            if n == 0:
                for x, value in zip(columns, bands, strict=True):
                    if value:
                        page.quiet(x, value, size=6.6, right=True)
        page.y -= 1.6
        page.colour(RULE)
        page.rule(width=0.3)
        page.colour()
    page.y -= 3.6
    page.quiet(
        EDGE,
        _("Hits between sharpenings: half of such tools; below it, as below the running cost, where 8 in 10 lie."),
        size=7,
    )


# --- plots ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Scale:
    low: float
    high: float
    by_ratio: bool = False

    def values(self, most: int) -> list[float]:
        make = scales.ratio_values if self.by_ratio else scales.even_values
        return list(make(self.low, self.high, most))

    def place(self) -> Callable[[float, float, float], float]:
        import math

        def at(value: float, start: float, length: float) -> float:
            if self.by_ratio:
                share = math.log(value / self.low) / math.log(self.high / self.low)
            else:
                share = (value - self.low) / (self.high - self.low)
            return start + share * length

        return at


def _plot(
    page: _Page,
    lines: Sequence[tuple[int, Sequence[float], Sequence[float]]],
    *,
    x_label: str,
    y_label: str,
    by_ratio: bool = False,
    named: Sequence[tuple[float, str]] = (),
    height: float = 58,
) -> None:
    """lines: number of the way, x, y."""
    page.need(height + 16)
    left, right, top = EDGE + 17, EDGE + ROOM - 8, page.y - 6
    bottom, canvas = top - height, page.canvas
    across = _Scale(low=lines[0][1][0], high=lines[0][1][-1], by_ratio=by_ratio)
    most, least = (of(of(y) for _, _, y in lines) for of in (max, min))
    if by_ratio and least > 0:
        up = _Scale(low=least / 1.25, high=most * 1.1, by_ratio=True)
    else:
        up = _Scale(low=0.0, high=1.06 * most if most > 0 else 1.0)
    x_at, y_at = across.place(), up.place()
    canvas.setLineWidth(0.3)
    for value in across.values(8):
        x = x_at(value, left, right - left)
        canvas.setStrokeColorRGB(*RULE)
        canvas.line(x * mm, bottom * mm, x * mm, top * mm)
        canvas.setFillColorRGB(*QUIET)
        canvas.setFont(PLAIN, 7)
        canvas.drawCentredString(x * mm, (bottom - 4) * mm, scales.counted(value))
    for value in up.values(7):
        y = y_at(value, bottom, height)
        canvas.setStrokeColorRGB(*RULE)
        canvas.line(left * mm, y * mm, right * mm, y * mm)
        canvas.drawRightString((left - 1.5) * mm, (y - 0.9) * mm, scales.counted(value))
    canvas.drawCentredString((left + right) / 2 * mm, (bottom - 8.2) * mm, x_label)
    canvas.drawString((EDGE) * mm, (top + 2) * mm, y_label)
    page.colour()
    canvas.setLineWidth(0.6)
    canvas.line(left * mm, bottom * mm, right * mm, bottom * mm)
    canvas.line(left * mm, bottom * mm, left * mm, top * mm)
    for n, (value, words) in enumerate(named):
        if across.low < value < across.high:
            x = x_at(value, left, right - left)
            canvas.setLineWidth(0.5)
            canvas.setDash([1.5, 2], 0)
            canvas.line(x * mm, bottom * mm, x * mm, top * mm)
            canvas.setDash([], 0)
            canvas.setFont(PLAIN, 7)
            y = (top - 3 - 3.6 * n) * mm
            if x > (left + right) / 2:
                canvas.drawRightString((x - 1.2) * mm, y, words)
            else:
                canvas.drawString((x + 1.2) * mm, y, words)
    ends = []
    for number, xs, ys in lines:
        canvas.setStrokeColorRGB(*INKS[number - 1])
        canvas.setLineWidth(1.5)
        canvas.setDash(list(DASHES[number - 1]), 0)
        path = canvas.beginPath()
        for n, (x, y) in enumerate(zip(xs, ys, strict=True)):
            at = x_at(x, left, right - left) * mm, y_at(y, bottom, height) * mm
            path.lineTo(*at) if n else path.moveTo(*at)
        canvas.drawPath(path, stroke=1, fill=0)
        canvas.setDash([], 0)
        ends.append((y_at(ys[-1], bottom, height), number))
    page.colour()
    canvas.setFont(BOLD, 8)
    below = bottom - 4.0
    for y, number in sorted(ends):
        below = max(y, below + 3.4)
        canvas.drawString((right + 1.8) * mm, (below - 1) * mm, str(number))
    page.y = bottom - 10


def _volume(page: _Page) -> None:
    told = page.offer.told
    page.need(81)
    page.heading(_("Cost per thousand parts against volume"))
    same = _("{one} and {other} cost the same")
    named = [(float(told.parts), _("all parts"))]
    named += [
        (float(c.parts), same.format(one=told.number_of_way(name), other=told.base_number))
        for name, c in told.crossings
        if c.parts is not None
    ][:3]
    _plot(
        page,
        [(c.number, told.volumes, c.y) for c in told.by_volume],
        by_ratio=True,
        named=named,
        height=53,
        x_label=_("parts over the life of the tool"),
        y_label=_("{currency} per thousand parts").format(currency=page.offer.currency),
    )


def _against(page: _Page) -> None:
    found = shown.others(page.offer.told)
    if not found:
        return
    page.need(18 + 10.1 * len(found))
    page.heading(_("Against {way}, the cheapest to build").format(way=found[0]["base"]))
    columns = (EDGE + 70, EDGE + 94, EDGE + 112, EDGE + 137, EDGE + ROOM)
    heads = (_("costs more"), _("worth today"), _("earns"), _("back after, years"), _("chance that it pays"))
    page.y -= 3.6
    for x, words in zip(columns, heads, strict=True):
        page.quiet(x, words, size=7.4, right=True)
    page.y -= 1.4
    page.rule(width=0.4)
    for one in found:
        page.need(10)
        page.y -= 5
        page.text(EDGE, f"{one['number']}  {one['name']}", size=8.8, bold=True, room=50)
        if one["alike"]:
            page.text(EDGE + ROOM, _("the same in everything that counts"), size=8.6, right=True)
        else:
            years = one["years"] or _("not in these years")
            for x, value in zip(
                columns,
                (one["extra"], one["worth"], one["rate_alone"], years, one["chance"]),
                strict=True,
            ):
                page.text(x, value, size=8.6, right=True)
            page.y -= 3.5
            same = _("costs the same at {parts} parts; beyond that {way} is cheaper")
            cross = same.format(parts=one["crossing"], way=one["from_there"]) if one["crossing"] else one["never"]
            page.quiet(EDGE + 5, cross, size=7.2)
            page.quiet(columns[3], _("8 in 10: {band}").format(band=one["back_band"]), size=6.6, right=True)
        page.y -= 1.6
        page.colour(RULE)
        page.rule(width=0.3)
        page.colour()


def _years(page: _Page) -> None:
    told = page.offer.told
    assert told.weighed is not None
    page.need(86)
    page.heading(_("Money paid, year by year"))
    back = _("{n} is paid back")
    named = [
        (one.years, back.format(n=told.number_of_way(one.money.way.name)))
        for one in told.weighed.others
        if one.years is not None and one.extra > 0
    ]
    _plot(
        page,
        [
            (n, range(len(one.cumulative)), [float(v) for v in one.cumulative])
            for n, one in enumerate(told.weighed.ways, start=1)
        ],
        x_label=_("years"),
        y_label=_("{currency} paid so far").format(currency=page.offer.currency),
        named=named,
    )


def _burr(page: _Page) -> None:
    told, system = page.offer.told, page.offer.system
    if len(told.burr_um) < 2:
        return
    page.need(86)
    page.heading(_("The price of a tighter burr"))
    x = [units.shown_value(v, "burr_limit_um", system) for v in told.burr_um]
    limit = told.outline.burr_limit_um
    named = [(units.shown_value(limit, "burr_limit_um", system), _("the part's limit"))] if limit else []
    _plot(
        page,
        [(c.number, x, c.y) for c in told.by_burr],
        named=named,
        x_label=_("burr limit, {unit}").format(unit=units.column("burr_limit_um").unit(system)),
        y_label=_("{currency} per thousand parts, over all parts").format(currency=page.offer.currency),
    )


def _matters(page: _Page) -> None:
    """One assumption at a time. Those that are the shop's rates stay inside unless they are to be shown."""
    told = page.offer.told
    bars = [bar for bar in told.bars if page.offer.with_rates or bar.key not in INSIDE][:10]
    if not bars:
        return
    page.need(24 + 5.2 * len(bars))
    page.heading(_("What matters"))
    middle = float(told.bars_worth)
    ends = [v for bar in bars for v in (bar.at_low, bar.at_high)] + [middle, 0.0]
    span = max(ends) - min(ends) or 1.0
    low, high = min(ends) - 0.14 * span, max(ends) + 0.14 * span
    left, right, canvas = EDGE + 74, EDGE + ROOM, page.canvas
    top = page.y - 1

    def at(value: float) -> float:
        return left + (value - low) / (high - low) * (right - left)

    for bar in bars:
        page.y -= 5.2
        page.text(EDGE, bar.words, size=7.2, room=71)
        for end, grey in ((bar.at_low, 0.62), (bar.at_high, 0.0)):
            canvas.setFillColorRGB(*(INKS[0] if not grey else (0.72, 0.68, 0.58)))
            a, b = sorted((at(middle), at(end)))
            canvas.rect(a * mm, (page.y - 0.7) * mm, (b - a) * mm, 3.2 * mm, stroke=0, fill=1)
        page.colour(QUIET)
        canvas.setFont(PLAIN, 6.2)
        for end, value in ((bar.at_low, bar.from_value), (bar.at_high, bar.to_value)):
            words = shown.end_words(bar.key, value)
            if end < middle:
                canvas.drawRightString((at(end) - 0.8) * mm, page.y * mm, words)
            else:
                canvas.drawString((at(end) + 0.8) * mm, page.y * mm, words)
        page.colour()
    bottom = page.y - 2
    canvas.setLineWidth(0.6)
    canvas.line(at(middle) * mm, bottom * mm, at(middle) * mm, top * mm)
    canvas.setDash([1.5, 2], 0)
    canvas.line(at(0.0) * mm, bottom * mm, at(0.0) * mm, top * mm)
    canvas.setDash([], 0)
    page.y = bottom - 3
    page.colour(QUIET)
    canvas.setFont(PLAIN, 7)
    for value in (v for v in scales.even_values(low, high, 6) if at(v) < right - 5):
        canvas.drawCentredString(at(value) * mm, page.y * mm, scales.counted(value))
    page.y -= 4
    worth = _("What {way} is worth today, {currency}; dotted: nought. Light: the assumption at its low.")
    page.text(
        EDGE,
        worth.format(way=told.bars_of, currency=page.offer.currency),
        size=7,
    )
    page.colour()


def _payers(page: _Page) -> None:
    told = page.offer.told
    page.need(16 + 4.4 * len(told.payers))
    page.heading(_("Who pays what"))
    if not page.offer.with_rates:
        for p in shown.payers(told):
            page.y -= 4.4
            page.text(EDGE, p["words"], size=8.4)
            page.text(EDGE + 62, p["payer"], size=8.4)
            page.quiet(EDGE + 92, _("to {receiver}").format(receiver=p["receiver"]), size=8.4)
        return
    numbers = [way.number for way in told.ways]
    columns = [EDGE + ROOM - 23 * (len(numbers) - 1 - n) for n in range(len(numbers))]
    page.y -= 3.6
    for x, number in zip(columns, numbers, strict=True):
        page.quiet(x, f"{number}, {page.offer.currency}", size=7.4, right=True)
    for p in shown.payers(told):
        page.y -= 4.4
        page.text(EDGE, p["words"], size=8)
        page.quiet(EDGE + 45, p["payer"], size=7.4)
        for x, value in zip(columns, p["amounts"], strict=True):
            page.text(x, value, size=8, right=True)
    page.y -= 4.4
    page.quiet(EDGE, _("Over all parts, at today's prices."), size=7)
    for way in told.ways:
        if way.lines:
            page.need(10)
            page.y -= 2
            lines = "; ".join(f"{words} {how} = {amount}" for words, how, amount in shown.price_lines(way))
            page.words(_("Build of {n}: {lines}.").format(n=way.number, lines=lines), size=7.4, lead=3.6)
    each = "; ".join(f"{name} {', '.join(cells)}" for name, cells in shown.elements(told))
    page.words(_("Per thousand parts: {each} (ways in their order).").format(each=each), size=7.4, lead=3.6)


def _assumed(page: _Page) -> None:
    page.need(30)
    page.heading(_("What is assumed"))
    told = page.offer.told
    page.words(" ".join([*told.notes, _("Intervals rest on {basis}.").format(basis=told.rests_on)]), size=8, lead=3.8)
    page.y -= 2
    for figure in told.figures:
        if not figure.used or (figure.key in INSIDE and not page.offer.with_rates):
            continue
        page.need(4)
        page.y -= 3.8
        page.text(EDGE, figure.words, size=7.4, room=82)
        page.text(EDGE + 99, shown.value_words(figure.value), size=7.4, bold=figure.changed, right=True)
        page.text(EDGE + 101, figure.unit, size=7.4, room=24)
        page.quiet(EDGE + 126, figure.source, size=6.6, room=ROOM - 126)
    if not page.offer.with_rates:
        page.y -= 4.4
        inside = _("The shop's rates per hour and prices of pieces are in the sums and not on this paper.")
        page.quiet(EDGE, inside, size=7.2)


def _method(page: _Page) -> None:
    page.need(40)
    page.heading(_("How it is worked out"))
    for head, text in METHOD:
        page.need(14)
        page.y -= 1.2
        page.words(_(head), bold=True, size=8.4, lead=4.2)
        page.words(_(text), size=8, lead=3.8)


__all__ = ["Offer", "cents", "money", "pdf"]
