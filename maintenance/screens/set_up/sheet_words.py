"""A set-up sheet in words, in the reader's units: the page and the paper show the same lines."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from django.utils import timezone

from diestore import units
from diestore.handbook.cautions import first, for_work
from diestore.handbook.cutting import BREAKS_AT
from diestore.handbook.sources import Span
from diestore.register.models import Press
from maintenance.log import spring_words
from maintenance.log.set_up_reads import Read
from maintenance.policy.heights import STEP_MM
from maintenance.policy.set_up_sheet import Fit, Misfit, SetUpSheet

NOT_KNOWN = "not known"
ESTIMATES = (
    "Computed forces are estimates for square edges and an even gap. The press maker's rating and curve come first."
)
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
        verdict = f"Do not run it: a spring of {die} cannot take its travel."
    elif press is None:
        verdict = "No press is picked, so the fit is not checked."
    elif misfits:
        verdict = f"Do not put it in: {die} does not fit {press}."
    else:
        verdict = f"{die} fits {press}, by all that is known."
    sections = [
        ("To set", list(_to_set(read, sheet, system))),
        ("Force", list(_force(read, sheet, system))),
        ("Stripping", list(_stripping(read, sheet, system))),
        *([("Springs", springs)] if (springs := list(_springs(read, system))) else []),
        ("Weight", list(_weight(read, system))),
    ]
    return Words(
        die=die.code, description=die.description, press="" if press is None else press.code,
        inserts=read.inserts.code if read.inserts is not None and len(read.variants) > 1 else "",
        verdict=verdict, misfits=[*over, *misfits], doubts=list(_doubts(read, sheet, system)), sections=sections,
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
        side = "more than the most" if one.is_above else "less than the least"
        return f"{one.value:g} strokes a minute are {side} that {press} makes, {one.limit:g}."
    column = _COLUMNS[one.what]
    if column == "force_n":
        value, limit = (units.show_span(x, x, column, system, digits=3) for x in (one.value, one.limit))
    else:
        value, limit = (units.show(x, column, system) for x in (one.value, one.limit))
    if one.what is Fit.SHUT_HEIGHT:
        how = f"more than {press} opens to" if one.is_above else f"less than {press} closes to"
        return f"Its shut height of {value} is {how}, {limit}."
    if one.what is Fit.PASSLINE:
        how = "above the highest" if one.is_above else "below the lowest"
        return f"Its passline of {value} is {how} that the feed of {press} reaches, {limit}."
    if one.what is Fit.STROKE:
        return f"It needs a stroke of {limit}; {press} has {value}."
    if one.what is Fit.UPPER_WEIGHT:
        return f"Its upper half of {value} is heavier than the slide of {press} carries, {limit}."
    if one.what is Fit.FORCE:
        return f"Cutting takes {value} with sharp edges, more than {press} is rated for, {limit}."
    at = units.show(one.at_mm, "height_mm", system)
    return f"Cutting takes {value} from {at} above the bottom of the stroke; {press} can push with {limit} there."


def _day(moment: dt.datetime | None) -> str:
    return "" if moment is None else f"{timezone.localtime(moment):%d %b %Y}".lstrip("0")


def _span(span: Span, column: str, system: units.System, *, digits: int = 3) -> str:
    return units.show_span(span.low, span.high, column, system, digits=digits)


def _between(low: float | None, high: float | None, column: str, system: units.System, words: str) -> str:
    """What the press takes, in words; nothing where it is not known."""
    if low is None and high is None:
        return ""
    shown = [units.show(x, column, system) if x is not None else "" for x in (low, high)]
    if low is None:
        return f"{words} up to {shown[1]}"
    if high is None:
        return f"{words} {shown[0]} and more"
    return f"{words} {shown[0]} to {shown[1]}"


def _to_set(read: Read, sheet: SetUpSheet, system: units.System) -> Iterator[Line]:
    die, press, height = read.die, read.press, read.height
    wrong = {one.what for one in sheet.misfits}
    why = []
    if height is not None:
        if height.set_up is not None:
            where = f" in {height.set_up.press}" if height.set_up.press else ""
            why.append(f"as it was left to run on {_day(height.at)}{where}")
        else:
            why.append("as typed on the die's card" + (f", {_day(height.at)}" if height.at else ""))
        for side, words in (("upper", "punch side"), ("lower", "die side")):
            if height.ground_mm.get(side):
                off = units.show(height.ground_mm[side], "removed_mm", system)
                why.append(f"up to {off} ground off on the {words} since then: read the stop blocks")
    if press is not None:
        why.append(_between(press.shut_height_min_mm, press.shut_height_max_mm, "shut_height_mm", system,
                            f"{press} takes"))  # fmt: skip
    yield _line("Shut height now", height and height.mm, "shut_height_mm", system, why, Fit.SHUT_HEIGHT in wrong)
    why = []
    if press is not None and press.stroke_mm is not None:
        why.append(f"{press} has {units.show(press.stroke_mm, 'stroke_mm', system)}")
    yield _line("Stroke, at least", die.stroke_needed_mm, "stroke_mm", system, why, Fit.STROKE in wrong)
    why = ["strip above the bed"]
    if press is not None:
        why.append(_between(press.passline_min_mm, press.passline_max_mm, "passline_mm", system,
                            f"the feed of {press} reaches"))  # fmt: skip
    yield _line("Passline", die.passline_mm, "passline_mm", system, why, Fit.PASSLINE in wrong)
    yield _line("Feed pitch", die.feed_pitch_mm, "feed_pitch_mm", system)
    why = []
    if die.pilot_release_mm is not None:
        why.append("so far above the bottom of the stroke the feed lets go")
        if sheet.release_deg is not None:
            why.append(f"about {sheet.release_deg:.0f}° before the bottom in {press} (crank with a long rod)")
    yield _line("Pilot release", die.pilot_release_mm, "height_mm", system, why)
    stock = die.usual_stock
    strip = f"{stock}: {units.show(stock.thickness_mm, 'thickness_mm', system)} thick"
    yield _line("Strip width", die.strip_width_mm, "strip_width_mm", system, [strip])
    why = []
    if press is not None and (press.strokes_least is not None or press.strokes_most is not None):
        some = [f"{x:g}" for x in (press.strokes_least, press.strokes_most) if x is not None]
        why.append(f"{press} runs {' to '.join(some)}" if len(some) > 1 else f"limit of {press}: {some[0]}")
    yield Line(name="Strokes a minute", value=f"{die.strokes_per_minute:g}", why="; ".join(why),
               is_short=Fit.STROKES in wrong)  # fmt: skip
    yield Line(name="Oil", value=die.oil or NOT_KNOWN)


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
        yield Line(name="Cutting force", value=NOT_KNOWN, why=sheet.no_force)
        return
    wrong = {one.what for one in sheet.misfits}
    several = len(force.groups_n) > 1
    length = units.show(force.length_mm, "length_mm", system)
    thick = units.show(strip.thickness_mm, "thickness_mm", system)
    shear = _span(strip.shear_mpa, "stress_mpa", system)
    yield Line(
        name="Cutting force, sharp",
        value=_span(force.together_n, "force_n", system),
        why=f"{'all groups at once; ' if several else ''}{length} of cut × {thick} × {shear} "
        f"({strip.shear_mpa.source})",
        is_short=Fit.FORCE in wrong and force.peak_n is None,
    )
    if several:
        named = (f"{f'group {name}' if name else 'the others'}: {units.show_span(n, n, 'force_n', system, digits=3)}"
                 for name, n in force.groups_n.items())  # fmt: skip
        apart = units.show(force.apart_mm, "height_mm", system)
        share = f"{BREAKS_AT.low:g} to {BREAKS_AT.high:g} of its thickness"
        yield Line(
            name="By height group", value="; ".join(named),
            why=f"groups {apart} or more apart in height do not add up: the stock breaks through at {share} "
            f"({BREAKS_AT.source})",
        )  # fmt: skip
        if force.depths_mm is not None:
            yield _depths(read, force.depths_mm, system)
            yield Line(name="Most at once, sharp", value=_span(force.peak_n, "force_n", system),
                       why="with groups as deep as their pieces stand now", is_short=Fit.FORCE in wrong)  # fmt: skip
        elif force.peak_n is None:
            yield Line(name="Step between groups", value=NOT_KNOWN, why="so all groups are taken together")
        else:
            step = units.show(read.die.stagger_mm, "height_mm", system)
            yield Line(name="Most at once, sharp", value=_span(force.peak_n, "force_n", system),
                       why=f"groups {step} apart", is_short=Fit.FORCE in wrong)  # fmt: skip
    yield Line(name="The same with dull edges", value=_span(force.dull_n, "force_n", system), why=force.dull_n.source)
    if press is None:
        return
    if sheet.load is None:
        yield Line(name=f"Of the force of {press}", value=NOT_KNOWN, why=f"{press} has no rated force on its card")
        return
    load = sheet.load
    rated = units.show(press.rated_force_n, "rated_force_n", system)
    advised = (
        f"{100 * load.advised.low:.0f} %"
        if load.advised.low == load.advised.high
        else f"{100 * load.advised.low:.0f} to {100 * load.advised.high:.0f} %"
    )
    frame = f"for a {press.frame} press" if press.frame else "by the frame, which is not known"
    yield Line(
        name=f"Of the rating of {press}",
        value=f"{_percents(load.share)} sharp, {_percents(load.dull_share)} dull",
        why=f"of {rated}; advised in running work: up to {advised} {frame} ({load.advised.source})",
        is_short=Fit.FORCE in wrong or not load.is_advised,
    )
    at = units.show(load.at_mm, "height_mm", system)
    meets = "where the first punch meets the strip" if load.at_is_typed else "one thickness above the bottom"
    if load.allowed_n is None:
        yield Line(name=f"{press} can push with, {at} up", value=NOT_KNOWN,
                   why=f"{meets}; its stroke and how far up its rating holds are not both on its card. Ask the maker's "
                   "curve")  # fmt: skip
    else:
        yield Line(
            name=f"{press} can push with, {at} up",
            value=units.show_span(load.allowed_n, load.allowed_n, "force_n", system, digits=3),
            why=f"{meets}; by the crank, from memory: the maker's curve comes first", is_short=Fit.CURVE in wrong,
        )  # fmt: skip


def _depths(read: Read, depths_mm: Mapping[str, float], system: units.System) -> Line:
    """How far the groups stand apart now, by the ledger of heights; and where the card says otherwise."""
    deep = sorted(depths_mm.items(), key=lambda pair: (pair[1], pair[0]))
    named = [
        f"{f'group {name}' if name else 'the others'}: "
        f"{'first' if mm < 0.005 else units.show(mm, 'height_mm', system) + ' later'}"
        for name, mm in deep
    ]
    why, typed = "by the lengths of their pieces now", read.die.stagger_mm
    steps = [later - before for (_, before), (_, later) in pairwise(deep)]
    if typed is not None and any(abs(step - typed) > STEP_MM for step in steps):
        why += f"; the die's card says a step of {units.show(typed, 'height_mm', system)}"
    return Line(name="Groups enter", value="; ".join(named), why=why)


def _percents(span: Span) -> str:
    low, high = (f"{100 * x:.0f}" for x in (span.low, span.high))
    return f"{low} %" if low == high else f"{low} to {high} %"


def held_words(read: Read, sheet: SetUpSheet, system: units.System) -> str:
    """What the springs hold of what is needed, in one sentence; nothing where neither is known."""
    told = sheet.stripping
    if told is None or told.held_n is None:
        return ""
    held = units.show_span(told.held_n, told.held_n, "force_n", system, digits=3)
    return f"The springs fitted hold {held} of {_span(told.needed_n, 'force_n', system, digits=2)} needed"


def _stripping(read: Read, sheet: SetUpSheet, system: units.System) -> Iterator[Line]:
    told = sheet.stripping
    if told is None:
        yield Line(name="Stripping force", value=NOT_KNOWN, why=sheet.no_force)
        return
    yield Line(
        name="Needed to strip", value=_span(told.needed_n, "force_n", system, digits=2),
        why=f"3 to 20 % of the cutting force of all punches ({told.needed_n.source})",
    )  # fmt: skip
    rules = [f"{_span(rule.force_n, 'force_n', system, digits=2)} {rule.rule}" for rule in told.rules]
    low, high = min(rule.force_n.low for rule in told.rules), max(rule.force_n.high for rule in told.rules)
    sources = "; ".join(dict.fromkeys(rule.force_n.source for rule in told.rules))
    yield Line(
        name="By single rules", value=units.show_span(low, high, "force_n", system, digits=2),
        why=f"{'; '.join(rules)} ({sources})",
    )  # fmt: skip
    if told.held_n is None:
        fitted = f"{len(told.unknown)} springs fitted, none measured" if told.unknown else "no spring is entered"
        yield Line(name="Springs hold", value=NOT_KNOWN, why=f"{fitted}: log a reading of spring force")
        return
    some = [f"{told.measured} measured, the last on {_day(read.springs.measured_at)}"] if told.measured else []
    if told.computed:
        some.append(f"{told.computed} by their rate")
    if told.unknown:
        some.append(f"of {', '.join(told.unknown)} nothing is known")
    yield Line(
        name="Springs hold",
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
    yield _line("Weight of the die", die.weight_kg, "weight_kg", system)
    why = []
    if press is not None and press.upper_weight_max_kg is not None:
        why.append(f"the slide of {press} carries {units.show(press.upper_weight_max_kg, 'weight_kg', system)}")
    over = die.upper_weight_kg is not None and press is not None and press.upper_weight_max_kg is not None
    yield _line("Its upper half", die.upper_weight_kg, "weight_kg", system, why,
                over and die.upper_weight_kg > press.upper_weight_max_kg)  # fmt: skip


def _doubts(read: Read, sheet: SetUpSheet, system: units.System) -> Iterator[str]:
    """What is no reason to leave it out, and one to look."""
    load, told, press = sheet.load, sheet.stripping, read.press
    if load is not None and not any(one.what in (Fit.FORCE, Fit.CURVE) for one in sheet.misfits):
        if load.dull_share.high > 1:
            yield f"With dull edges cutting may take more than {press} is rated for."
        elif not load.is_advised:
            share = _percents(load.dull_share)
            yield f"With dull edges cutting takes {share} of the rating of {press}, above what is advised."
        if load.allowed_n is not None and sheet.force is not None and sheet.force.dull_n.high > load.allowed_n:
            at = units.show(load.at_mm, "height_mm", system)
            yield f"With dull edges it may take more than {press} can push with {at} above the bottom."
    held = held_words(read, sheet, system)
    if told is not None and held:
        if told.holds is False:
            yield f"{held}: less than any rule asks. The strip may hang on the punches."
        elif told.unknown and told.holds is not True:
            yield f"{held}, as far as they are known: {', '.join(told.unknown)} not."
        elif told.is_inside:
            yield f"{held}: enough by some rules and not by others."
