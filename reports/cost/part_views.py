"""The page of what a part costs, all in."""

from __future__ import annotations

from decimal import Decimal

from django.contrib.auth.decorators import permission_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import pgettext
from django.views.decorators.http import require_safe

from diestore import units
from diestore.access import plants, roles, shop
from diestore.access.queries import system_of
from diestore.register.models import Die
from reports.costing.elements import per_thousand
from reports.costing.material import StripMaterial, strip_material
from reports.costing.money import MoneyRefused
from reports.costing.part_cost import PartCost, feed_mm_a_minute, part_cost, parts_an_hour
from reports.format import cents
from reports.purchasing.laws import LawRefused
from reports.spares import kept as spares_kept
from reports.spares.use import PlantAhead

from . import reads, sheets
from .forms import PartForm
from .sheets import RUNNING
from .two_builds import as_it_is
from .year_ahead import year_ahead


@require_safe
@permission_required(roles.SEE_COST, raise_exception=True)
def part_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One die: material, press, set-up and tool of a thousand parts."""
    die = plants.within(reads.with_plant().select_related("owner", "plant", "usual_stock"), request.user)
    die = die.filter(pk=pk).first()
    if die is None:
        raise Http404(_("No such die here."))
    cost = sheets.cost_per_thousand(die)
    per_hit = reads.parts_per_hit([die.pk]).get(die.pk, 1)
    form = PartForm(request.GET if request.GET else None, system=system_of(request.user), start=_start(die, cost))
    left_out: list[str] = []
    made, refusal = None, ""
    ahead = spares_kept.ahead_of_die(die)
    rate = cost.rates.on("press", ahead.today) if cost.rates else None
    tool = _tool(cost, ahead, left_out)
    try:
        material = _material(die, form, per_hit, left_out)
        if rate is None:
            left_out.append(_("What a press hour costs is not known: press and set-up are left out."))
        if form.value("set_up") is None:
            left_out.append(_("The hours of a set-up are not known."))
        made = part_cost(
            hourly=parts_an_hour(
                strokes_per_minute=form.value("strokes") or Decimal(0),
                parts_per_hit=per_hit,
                availability=(form.value("running") or RUNNING) / 100,
            ),
            press_rate=rate,
            set_up_hours=form.value("set_up"),
            parts_a_lot=int(form.value("lot") or 1),
            material=material,
            tool=tool,
        )
    except MoneyRefused as reason:
        refusal = f"{str(reason)[:1].upper()}{str(reason)[1:]}"
        material = None
    return render(
        request,
        "reports/cost/part.html",
        {
            "die": die,
            "form": form,
            "made": made,
            "refusal": refusal,
            "lines": _lines(made, material, rate, form, per_hit) if made else [],
            "together": cents(made.together) if made else "",
            "apart": cents(made.apart_from_tool) if made else "",
            "a_part": f"{made.together / 1000:.4f}" if made else "",
            "hourly": f"{made.hourly:,.0f}" if made else "",
            "feed": _feed(form, system_of(request.user)),
            "used": f"{material.used * 100:.0f}" if material and form.value("used") is not None else "",
            "left_out": left_out,
            "currency": shop.current().currency,
        },
    )


def _feed(form: PartForm, system: units.System) -> str:
    """How far the strip goes in a minute, in the reader's own unit."""
    pitch, strokes = form.value("pitch"), form.value("strokes")
    if not pitch or not strokes:
        return ""
    mm = float(feed_mm_a_minute(pitch_mm=pitch, strokes_per_minute=strokes))
    return f"{units.shown_value(mm, 'length_mm', system):,.0f} {units.column('length_mm').unit(system)}"


def _start(die: Die, cost: sheets.DieCost) -> dict:
    """What the register and the record say, and what is usual."""
    hours = cost.spent.setting_minutes / 60 / cost.spent.set_ups if cost.spent and cost.spent.set_ups else None
    return {
        "strokes": die.strokes_per_minute,
        "running": float(RUNNING),
        "lot": reads.usual_lot(die),
        "set_up": round(hours, 2) if hours is not None else None,
        "pitch": die.feed_pitch_mm,
        "width": die.strip_width_mm,
        "density": float(sheets.density_of(die)),
        "used": None,
        "price": die.usual_stock.price_kg,
        "scrap": die.usual_stock.scrap_kg,
    }


def _tool(cost: sheets.DieCost, ahead: PlantAhead, left_out: list[str]) -> Decimal | None:
    """A thousand parts of tool in the long run, with its share of the build."""
    die = cost.die
    try:
        running = as_it_is(cost, year_ahead(cost, ahead=ahead), ahead=ahead)[0].running_per_thousand().expected
    except (LawRefused, MoneyRefused) as reason:
        left_out.append(_("The tool is left out. {reason}").format(reason=reason))
        return None
    if die.build_price is None or not die.expected_parts:
        left_out.append(_("The build price or the parts the die is built for are not known; the tool is without them."))
        return running
    return running + per_thousand(die.build_price, die.expected_parts)


def _material(die: Die, form: PartForm, per_hit: int, left_out: list[str]) -> StripMaterial | None:
    pitch, width, price = form.value("pitch"), form.value("width"), form.a_kilogram("price")
    if pitch is None or width is None or price is None:
        left_out.append(_("Material is left out: it needs the pitch, the strip width and what the stock costs."))
        return None
    used, scrap = form.value("used"), form.a_kilogram("scrap")
    if scrap is not None and used is None:
        left_out.append(_("What scrap brings needs how much of the strip is in the part."))
    sheet = pitch * width / 100 / per_hit
    return strip_material(
        sheet_cm2=sheet,
        part_cm2=sheet * (used if used is not None else Decimal(100)) / 100,
        thickness_mm=Decimal(str(die.usual_stock.thickness_mm)),
        density_g_cm3=form.value("density") or Decimal("7.85"),
        price_per_kg=price,
        scrap_price_per_kg=scrap or Decimal(0),
    )


def _lines(made: PartCost, material: StripMaterial | None, rate, form: PartForm, per_hit: int) -> list[dict]:
    stock = (
        _("pitch × width × thickness × density, one part a hit")
        if per_hit == 1
        else _("pitch × width × thickness × density, {parts} parts a hit").format(parts=per_hit)
    )
    press = (
        _("{parts:,.0f} parts an hour at {rate:,.2f}").format(parts=made.hourly, rate=rate) if rate is not None else ""
    )
    set_up = _("{hours} h for {parts:,} parts").format(hours=form.value("set_up"), parts=int(form.value("lot") or 1))
    rows = [
        (pgettext("cost of a part", "Stock"), made.material, stock),
        (
            _("Scrap brings back"),
            -made.scrap_credit if made.scrap_credit else None,
            _("what does not go into the part"),
        ),
        (pgettext("cost of a part", "Press"), made.press, press),
        (pgettext("cost of a part", "Set-up"), made.set_up, set_up),
        (pgettext("cost of a part", "Tool"), made.tool, _("in the long run, with its share of the build")),
    ]
    whole = made.together
    return [
        {
            "name": name,
            "amount": cents(amount),
            "basis": basis,
            "share": f"{amount / whole * 100:.0f} %" if whole > 0 else "",
        }
        for name, amount, basis in rows
        if amount is not None
    ]
