"""A set-up sheet in words, in the reader's units: the page and the paper show the same lines."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from diestore import units
from diestore.handbook.cautions import first, for_work
from diestore.handbook.cutting import BREAKS_AT
from diestore.handbook.sources import Span
from diestore.register.models import Press
from maintenance.log import spring_words
from maintenance.log.set_up_reads import Read
from maintenance.policy.heights import STEP_MM
from maintenance.policy.set_up_sheet import Fit, Misfit, SetUpSheet

NOT_KNOWN = gettext_noop("not known")
ESTIMATES = gettext_noop(
    "Computed forces are estimates for square edges and an even gap. The press maker's rating and curve come first."
)
_FRAMES = (gettext_noop("straight side"), gettext_noop("C-frame"))  # as the register says them
HELD = "set-up sheet"  # whose cautions stand on it
_COLUMNS = {
    Fit.SHUT_HEIGHT: "shut_height_mm",
    Fit.PASSLINE: "passline_mm",
    Fit.STROKE: "stroke_mm",
    Fit.UPPER_WEIGHT: "weight_kg",
    Fit.FORCE: "force_n",
    Fit.CURVE: "force_n",
}


@dataclass(frozen=True, kw_only=True)
class Line:
    """value: the figure, or that it is not known. why: from what it is, and with which range. is_short: look at it."""

    name: str
    value: str
    why: str = ""
    is_short: bool = False

    @property
    def is_known(self) -> bool:
        return self.value != NOT_KNOWN

    @property
    def shown(self) -> str:
        return self.value if self.is_known else _(NOT_KNOWN)


@dataclass(frozen=True, kw_only=True)
class InAnother:
    """Another press of the plant. why: what does not fit it."""

    press: Press
    why: str


@dataclass(frozen=True, kw_only=True)
class Words:
    """sections: heading and its lines. misfits: sentences, each of which is a reason not to set it in. doubts: what to
    look at. missing: what the card does not say."""

    die: str
    description: str
    press: str
    inserts: str
    verdict: str
    misfits: list[str]
    doubts: list[str]
    sections: list[tuple[str, list[Line]]]
    others: list[InAnother] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    estimates: str = ESTIMATES


def words(read: Read, system: units.System) -> Words:
    sheet = read.sheet()
    die, press = read.die, read.press
    misfits = [misfit_words(one, str(press), system) for one in sheet.misfits]
    over = _over(read, system)
    if over:
        verdict = _("Do not run it: a spring of {die} cannot take its travel.")
    elif press is None:
        verdict = _("No press is picked, so the fit is not checked.")
    elif misfits:
        verdict = _("Do not put it in: {die} does not fit {press}.")
    else:
        verdict = _("{die} fits {press}, by all that is known.")
    sections = [
        (_("To set"), list(_to_set(read, sheet, system))),
        (_("Force"), list(_force(read, sheet, system))),
        (_("Stripping"), list(_stripping(read, sheet, system))),
        *([(_("Springs"), springs)] if (springs := list(_springs(read, system))) else []),
        (_("Weight"), list(_weight(read, system))),
    ]
    return Words(
        die=die.code, description=die.description, press="" if press is None else press.code,
        inserts=read.inserts.code if read.inserts is not None and len(read.variants) > 1 else "",
        verdict=verdict.format(die=die, press=press), misfits=[*over, *misfits],
        doubts=list(_doubts(read, sheet, system)), sections=sections,
        others=[_other(one, read, system) for one in read.presses if press is None or one.pk != press.pk],
        missing=list(dict.fromkeys(line.name.lower() for _, lines in sections for line in lines if not line.is_known)),
        cautions=[first(), *(caution.reminder for caution in for_work(HELD))],
    )  # fmt: skip


def _other(press: Press, read: Read, system: units.System) -> InAnother:
    misfits = read.sheet(press).misfits
    return InAnother(press=press, why=" ".join(misfit_words(one, press.code, system) for one in misfits))


def misfit_words(one: Misfit, press: str, system: units.System) -> str:
    """What does not fit, with both figures."""
    if one.what is Fit.STROKES:
        if one.is_above:
            text = _("{value:g} strokes a minute are more than the most that {press} makes, {limit:g}.")
        else:
            text = _("{value:g} strokes a minute are less than the least that {press} makes, {limit:g}.")
        return text.format(value=one.value, press=press, limit=one.limit)
    column = _COLUMNS[one.what]
    if column == "force_n":
        value, limit = (units.show_span(x, x, column, system, digits=3) for x in (one.value, one.limit))
    else:
        value, limit = (units.show(x, column, system) for x in (one.value, one.limit))
    at = "" if one.what is not Fit.CURVE else units.show(one.at_mm, "height_mm", system)
    return _misfit(one).format(value=value, limit=limit, press=press, at=at)


def _misfit(one: Misfit) -> str:
    if one.what is Fit.SHUT_HEIGHT:
        if one.is_above:
            return _("Its shut height of {value} is more than {press} opens to, {limit}.")
        return _("Its shut height of {value} is less than {press} closes to, {limit}.")
    if one.what is Fit.PASSLINE:
        if one.is_above:
            return _("Its passline of {value} is above the highest that the feed of {press} reaches, {limit}.")
        return _("Its passline of {value} is below the lowest that the feed of {press} reaches, {limit}.")
    if one.what is Fit.STROKE:
        return _("It needs a stroke of {limit}; {press} has {value}.")
    if one.what is Fit.UPPER_WEIGHT:
        return _("Its upper half of {value} is heavier than the slide of {press} carries, {limit}.")
    if one.what is Fit.FORCE:
        return _("Cutting takes {value} with sharp edges, more than {press} is rated for, {limit}.")
    return _("Cutting takes {value} from {at} above the bottom of the stroke; {press} can push with {limit} there.")


def _day(moment: dt.datetime | None) -> str:
    return "" if moment is None else date_format(timezone.localtime(moment), "j M Y")


def _span(span: Span, column: str, system: units.System, *, digits: int = 3) -> str:
    return units.show_span(span.low, span.high, column, system, digits=digits)


def _between(low: float | None, high: float | None, column: str, system: units.System) -> str:
    """From what to what; nothing where it is not known."""
    if low is None and high is None:
        return ""
    least, most = (units.show(x, column, system) if x is not None else "" for x in (low, high))
    if low is None:
        return _("up to {most}").format(most=most)
    if high is None:
        return _("{least} and more").format(least=least)
    return _("{low} to {high}").format(low=least, high=most)


def _height_now(height, system: units.System) -> list[str]:
    """From what its shut height is known."""
    why: list[str] = []
    if height is None:
        return why
    if height.set_up is not None:
        if height.set_up.press:
            left = _("as it was left to run on {day} in {press}")
        else:
            left = _("as it was left to run on {day}")
        why.append(left.format(day=_day(height.at), press=height.set_up.press))
    elif height.at:
        why.append(_("as typed on the die's card, {day}").format(day=_day(height.at)))
    else:
        why.append(_("as typed on the die's card"))
    ground = {side: units.show(mm, "removed_mm", system) for side, mm in height.ground_mm.items() if mm}
    if "upper" in ground:
        text = _("up to {off} ground off on the punch side since then: read the stop blocks")
        why.append(text.format(off=ground["upper"]))
    if "lower" in ground:
        text = _("up to {off} ground off on the die side since then: read the stop blocks")
        why.append(text.format(off=ground["lower"]))
    return why


def _to_set(read: Read, sheet: SetUpSheet, system: units.System) -> Iterator[Line]:
    die, press, height = read.die, read.press, read.height
    wrong = {one.what for one in sheet.misfits}
    why = _height_now(height, system)
    if press is not None:
        takes = _between(press.shut_height_min_mm, press.shut_height_max_mm, "shut_height_mm", system)
        why.append(_("{press} takes {range}").format(press=press, range=takes) if takes else "")
    yield _line(_("Shut height now"), height and height.mm, "shut_height_mm", system, why, Fit.SHUT_HEIGHT in wrong)
    why = []
    if press is not None and press.stroke_mm is not None:
        stroke = units.show(press.stroke_mm, "stroke_mm", system)
        why.append(_("{press} has {stroke}").format(press=press, stroke=stroke))
    yield _line(_("Stroke, at least"), die.stroke_needed_mm, "stroke_mm", system, why, Fit.STROKE in wrong)
    why = [_("strip above the bed")]
    if press is not None:
        reach = _between(press.passline_min_mm, press.passline_max_mm, "passline_mm", system)
        why.append(_("the feed of {press} reaches {range}").format(press=press, range=reach) if reach else "")
    yield _line(_("Passline"), die.passline_mm, "passline_mm", system, why, Fit.PASSLINE in wrong)
    yield _line(_("Feed pitch"), die.feed_pitch_mm, "feed_pitch_mm", system)
    why = []
    if die.pilot_release_mm is not None:
        why.append(_("so far above the bottom of the stroke the feed lets go"))
        if sheet.release_deg is not None:
            text = _("about {degrees:.0f}° before the bottom in {press} (crank with a long rod)")
            why.append(text.format(degrees=sheet.release_deg, press=press))
    yield _line(_("Pilot release"), die.pilot_release_mm, "height_mm", system, why)
    stock = die.usual_stock
    thick = units.show(stock.thickness_mm, "thickness_mm", system)
    strip = _("{stock}: {thickness} thick").format(stock=stock, thickness=thick)
    yield _line(_("Strip width"), die.strip_width_mm, "strip_width_mm", system, [strip])
    why = []
    if press is not None and (press.strokes_least is not None or press.strokes_most is not None):
        some = [f"{x:g}" for x in (press.strokes_least, press.strokes_most) if x is not None]
        text = _("{press} runs {low} to {high}") if len(some) > 1 else _("limit of {press}: {low}")
        why.append(text.format(press=press, low=some[0], high=some[-1]))
    yield Line(name=_("Strokes a minute"), value=f"{die.strokes_per_minute:g}", why="; ".join(why),
               is_short=Fit.STROKES in wrong)  # fmt: skip
    yield Line(name=_("Oil"), value=die.oil or NOT_KNOWN)


def _line(name, value, column, system, why: Sequence[str] = (), is_short: bool = False) -> Line:
    return Line(
        name=name,
        value=NOT_KNOWN if value is None else units.show(value, column, system),
        why="; ".join(one for one in why if one),
        is_short=is_short,
    )


def _force(read: Read, sheet: SetUpSheet, system: units.System) -> Iterator[Line]:
    force, strip, press = sheet.force, read.strip, read.press
    if force is None:
        yield Line(name=_("Cutting force"), value=NOT_KNOWN, why=sheet.no_force)
        return
    wrong = {one.what for one in sheet.misfits}
    several = len(force.groups_n) > 1
    length = units.show(force.length_mm, "length_mm", system)
    thick = units.show(strip.thickness_mm, "thickness_mm", system)
    shear = _span(strip.shear_mpa, "stress_mpa", system)
    if several:
        text = _("all groups at once; {length} of cut × {thickness} × {shear} ({source})")
    else:
        text = _("{length} of cut × {thickness} × {shear} ({source})")
    yield Line(
        name=_("Cutting force, sharp"),
        value=_span(force.together_n, "force_n", system),
        why=text.format(length=length, thickness=thick, shear=shear, source=strip.shear_mpa.source),
        is_short=Fit.FORCE in wrong and force.peak_n is None,
    )
    if several:
        named = (f"{_group(name)}: {units.show_span(n, n, 'force_n', system, digits=3)}"
                 for name, n in force.groups_n.items())  # fmt: skip
        apart = units.show(force.apart_mm, "height_mm", system)
        text = _("groups {apart} or more apart in height do not add up: the stock breaks through at {low:g} to "
                 "{high:g} of its thickness ({source})")  # fmt: skip
        yield Line(
            name=_("By height group"), value="; ".join(named),
            why=text.format(apart=apart, low=BREAKS_AT.low, high=BREAKS_AT.high, source=BREAKS_AT.source),
        )  # fmt: skip
        if force.depths_mm is not None:
            yield _depths(read, force.depths_mm, system)
            yield Line(name=_("Most at once, sharp"), value=_span(force.peak_n, "force_n", system),
                       why=_("with groups as deep as their pieces stand now"), is_short=Fit.FORCE in wrong)  # fmt: skip
        elif force.peak_n is None:
            yield Line(name=_("Step between groups"), value=NOT_KNOWN, why=_("so all groups are taken together"))
        else:
            step = units.show(read.die.stagger_mm, "height_mm", system)
            yield Line(name=_("Most at once, sharp"), value=_span(force.peak_n, "force_n", system),
                       why=_("groups {step} apart").format(step=step), is_short=Fit.FORCE in wrong)  # fmt: skip
    yield Line(
        name=_("The same with dull edges"), value=_span(force.dull_n, "force_n", system), why=force.dull_n.source
    )
    if press is None:
        return
    if sheet.load is None:
        yield Line(name=_("Of the force of {press}").format(press=press), value=NOT_KNOWN,
                   why=_("{press} has no rated force on its card").format(press=press))  # fmt: skip
        return
    load = sheet.load
    rated = units.show(press.rated_force_n, "rated_force_n", system)
    if press.frame:
        text = _("of {rated}; advised in running work: up to {advised} for a {frame} press ({source})")
    else:
        text = _("of {rated}; advised in running work: up to {advised} by the frame, which is not known ({source})")
    yield Line(
        name=_("Of the rating of {press}").format(press=press),
        value=_("{sharp} sharp, {dull} dull").format(sharp=_percents(load.share), dull=_percents(load.dull_share)),
        why=text.format(rated=rated, advised=_percents(load.advised), frame=_(press.frame), source=load.advised.source),
        is_short=Fit.FORCE in wrong or not load.is_advised,
    )
    at = units.show(load.at_mm, "height_mm", system)
    meets = _("where the first punch meets the strip") if load.at_is_typed else _("one thickness above the bottom")
    name = _("{press} can push with, {at} up").format(press=press, at=at)
    if load.allowed_n is None:
        unsaid = _("its stroke and how far up its rating holds are not both on its card. Ask the maker's curve")
        yield Line(name=name, value=NOT_KNOWN, why=f"{meets}; {unsaid}")
    else:
        by = _("by the crank, from memory: the maker's curve comes first")
        yield Line(
            name=name, value=units.show_span(load.allowed_n, load.allowed_n, "force_n", system, digits=3),
            why=f"{meets}; {by}", is_short=Fit.CURVE in wrong,
        )  # fmt: skip


def _group(name: str) -> str:
    return _("group {name}").format(name=name) if name else _("the others")


def _depths(read: Read, depths_mm: Mapping[str, float], system: units.System) -> Line:
    """How far the groups stand apart now, by the ledger of heights; and where the card says otherwise."""
    deep = sorted(depths_mm.items(), key=lambda pair: (pair[1], pair[0]))
    named = [f"{_group(name)}: {_enters(mm, system)}" for name, mm in deep]
    why, typed = _("by the lengths of their pieces now"), read.die.stagger_mm
    steps = [later - before for before, later in pairwise(mm for name, mm in deep)]
    if typed is not None and any(abs(step - typed) > STEP_MM for step in steps):
        says = _("the die's card says a step of {step}").format(step=units.show(typed, "height_mm", system))
        why = f"{why}; {says}"
    return Line(name=_("Groups enter"), value="; ".join(named), why=why)


def _enters(mm: float, system: units.System) -> str:
    if mm < 0.005:
        return _("first")
    return _("{later} later").format(later=units.show(mm, "height_mm", system))


def _percents(span: Span) -> str:
    low, high = (f"{100 * x:.0f}" for x in (span.low, span.high))
    return f"{low} %" if low == high else _("{low} to {high} %").format(low=low, high=high)


def held_words(read: Read, sheet: SetUpSheet, system: units.System) -> str:
    """What the springs hold of what is needed, in one sentence; nothing where neither is known."""
    told = sheet.stripping
    if told is None or told.held_n is None:
        return ""
    held = units.show_span(told.held_n, told.held_n, "force_n", system, digits=3)
    needed = _span(told.needed_n, "force_n", system, digits=2)
    return _("The springs fitted hold {held} of {needed} needed").format(held=held, needed=needed)


def _stripping(read: Read, sheet: SetUpSheet, system: units.System) -> Iterator[Line]:
    told = sheet.stripping
    if told is None:
        yield Line(name=_("Stripping force"), value=NOT_KNOWN, why=sheet.no_force)
        return
    yield Line(
        name=_("Needed to strip"), value=_span(told.needed_n, "force_n", system, digits=2),
        why=_("3 to 20 % of the cutting force of all punches ({source})").format(source=told.needed_n.source),
    )  # fmt: skip
    rules = [f"{_span(rule.force_n, 'force_n', system, digits=2)} {rule.rule}" for rule in told.rules]
    low, high = min(rule.force_n.low for rule in told.rules), max(rule.force_n.high for rule in told.rules)
    sources = "; ".join(dict.fromkeys(rule.force_n.source for rule in told.rules))
    yield Line(
        name=_("By single rules"), value=units.show_span(low, high, "force_n", system, digits=2),
        why=f"{'; '.join(rules)} ({sources})",
    )  # fmt: skip
    if told.held_n is None:
        n = len(told.unknown)
        if n:
            why = ngettext("{n} springs fitted, none measured: log a reading of spring force",
                           "{n} springs fitted, none measured: log a reading of spring force", n)  # fmt: skip
        else:
            why = _("no spring is entered: log a reading of spring force")
        yield Line(name=_("Springs hold"), value=NOT_KNOWN, why=why.format(n=n))
        return
    some = []
    if told.measured:
        text = _("{n} measured, the last on {day}")
        some.append(text.format(n=told.measured, day=_day(read.springs.measured_at)))
    if told.computed:
        some.append(_("{n} by their rate").format(n=told.computed))
    if told.unknown:
        some.append(_("of {places} nothing is known").format(places=", ".join(told.unknown)))
    yield Line(
        name=_("Springs hold"),
        value=units.show_span(told.held_n, told.held_n, "force_n", system, digits=3),
        why="; ".join(some), is_short=told.holds is False,
    )  # fmt: skip


def _over(read: Read, system: units.System) -> list[str]:
    """Springs that cannot sit as they are said to, or are pressed further than they may be."""
    return [why for one in read.springs.sorts if (why := spring_words.over(one, system))]


def _springs(read: Read, system: units.System) -> Iterator[Line]:
    of = {code: sort for sort in read.springs.sorts for code in sort.places}
    for one in read.springs.sorts:
        for told in spring_words.of_sort(one, read.springs.clocks, system):
            yield Line(name=told.name, value=told.value, why=told.why, is_short=told.is_short)
    for place in read.springs.places:
        for told in spring_words.of_place(place, of.get(place.position.code), system):
            if told.is_short:
                name = told.name[:1].lower() + told.name[1:]
                yield Line(name=f"{place.position.code}: {name}", value=told.value, why=told.why,
                           is_short=True)  # fmt: skip


def _weight(read: Read, system: units.System) -> Iterator[Line]:
    die, press = read.die, read.press
    yield _line(_("Weight of the die"), die.weight_kg, "weight_kg", system)
    why = []
    if press is not None and press.upper_weight_max_kg is not None:
        most = units.show(press.upper_weight_max_kg, "weight_kg", system)
        why.append(_("the slide of {press} carries {weight}").format(press=press, weight=most))
    over = die.upper_weight_kg is not None and press is not None and press.upper_weight_max_kg is not None
    yield _line(_("Its upper half"), die.upper_weight_kg, "weight_kg", system, why,
                over and die.upper_weight_kg > press.upper_weight_max_kg)  # fmt: skip


def _doubts(read: Read, sheet: SetUpSheet, system: units.System) -> Iterator[str]:
    """What is no reason to leave it out, and one to look."""
    load, told, press = sheet.load, sheet.stripping, read.press
    if load is not None and not any(one.what in (Fit.FORCE, Fit.CURVE) for one in sheet.misfits):
        if load.dull_share.high > 1:
            yield _("With dull edges cutting may take more than {press} is rated for.").format(press=press)
        elif not load.is_advised:
            share = _percents(load.dull_share)
            text = _("With dull edges cutting takes {share} of the rating of {press}, above what is advised.")
            yield text.format(share=share, press=press)
        if load.allowed_n is not None and sheet.force is not None and sheet.force.dull_n.high > load.allowed_n:
            at = units.show(load.at_mm, "height_mm", system)
            text = _("With dull edges it may take more than {press} can push with {at} above the bottom.")
            yield text.format(press=press, at=at)
    held = held_words(read, sheet, system)
    if told is not None and held:
        if told.holds is False:
            yield _("{held}: less than any rule asks. The strip may hang on the punches.").format(held=held)
        elif told.unknown and told.holds is not True:
            text = _("{held}, as far as they are known: {places} not.")
            yield text.format(held=held, places=", ".join(told.unknown))
        elif told.is_inside:
            yield _("{held}: enough by some rules and not by others.").format(held=held)
