"""What a die is made of: places with the cut they carry and the piece that sits in them, entered together.

A place is three things at once: a row of the register, a cut or the side of one, and a first piece whose fitting is an
entry of the log. Each function here puts all of them there in one transaction, or none. Keys of first pieces and first
entries are those of the history folder (`names`), so a die that was typed and one that was loaded are the same.

since: None where it has been so from the start; else the moment from which it holds: place, cut and piece begin there.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace

from django.db import models, transaction
from django.db.models import ProtectedError
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.handbook.kinds import KINDS
from diestore.handbook.places import next_code, partner_code
from diestore.register import actions, build
from diestore.register.actions import ChangeRefused
from diestore.register.models import Amendment, Cut, Die, Item, Output, Part, Piece, Position, Station, Variant
from diestore.register.writing import name_of, user_of
from maintenance.models import Fitting, Replacement, StockMovement

from . import changes
from .derived import rebuild_fittings
from .names import BEGINNING, first_key, piece_key
from .rules import EntryRefused, check_moment, check_text, saving
from .write import Actor

ENTERED = "Entered"


@dataclass(frozen=True, kw_only=True)
class Opening:
    """How a piece stood when the records began. Hits: over its life, and since it was last sharpened."""

    how: str = Piece.Opening.NEW
    life_hits: int | None = None
    since_sharpening: int | None = None


@dataclass(frozen=True, kw_only=True)
class PlaceSpec:
    """A place that is to be, with the piece that sits in it. Lengths in mm. cut_length_mm: None where it cuts nothing.

    gap_mm: per side. upper_of: on the die side, the code of the punch whose cut it closes; "" for a cut of its own.
    """

    code: str
    kind: str
    side: str
    station: Station | None = None
    x_mm: float | None = None
    y_mm: float | None = None
    height_group: str = ""
    seat_mm: float | None = None
    stroke_share: float = 1.0
    item: Item | None = None
    variants: tuple[Variant, ...] = ()
    wear_of: str = ""
    wear_limit: float | None = None
    cut_length_mm: float | None = None
    gap_mm: float | None = None
    upper_of: str = ""
    tool_steel: str = ""
    coating: str = ""
    hardness_hrc: float | None = None
    length_mm: float | None = None
    grind_allowance_mm: float | None = None
    opening: Opening = field(default_factory=Opening)

    @property
    def piece_columns(self) -> dict:
        return {
            "tool_steel": self.tool_steel,
            "coating": self.coating,
            "hardness_hrc": self.hardness_hrc,
            "length_mm": self.length_mm,
            "grind_allowance_mm": self.grind_allowance_mm,
            "opening": self.opening.how,
            "opening_life_hits": self.opening.life_hits,
            "opening_hits_since_sharpening": self.opening.since_sharpening,
        }


# --- what is wrong with a place before it is there --------------------------------------------------------------------

_FIGURES = {"position": ("x_mm", "y_mm", "seat_mm", "stroke_share", "wear_limit"),
            "piece": ("hardness_hrc", "length_mm", "grind_allowance_mm")}  # fmt: skip


def check_place(spec: PlaceSpec, taken: Collection[str]) -> None:
    """Refuse what cannot be. taken: the names that the die has already, and those that come with it.

    Raises EntryRefused or ChangeRefused with the field to look at.
    """
    build.named(spec.code, what=_("The place"))
    if spec.code.casefold() in {code.casefold() for code in taken}:
        raise EntryRefused(
            _("There is a place {code} already. Give this one another name.").format(code=spec.code), field="code"
        )
    if spec.kind not in KINDS:
        raise EntryRefused(_("Pick what it is."), field="kind")
    if spec.side not in ("upper", "lower"):
        raise EntryRefused(_("Say whether it stands on the punch side or on the die side."), field="side")
    for table, names in _FIGURES.items():
        build.check_figures(table, {name: getattr(spec, name) for name in names})
    build.check_figures("cut", {"gap_mm": spec.gap_mm})
    if spec.cut_length_mm is not None:
        if not KINDS[spec.kind].cuts:
            raise EntryRefused(
                _("A {kind} cuts nothing: leave the length of cut out.").format(kind=_(KINDS[spec.kind].name)),
                field="cut_length_mm",
            )
        try:
            build.check_figures("cut", {"length_mm": spec.cut_length_mm})
        except ChangeRefused as refused:
            raise EntryRefused(str(refused), field="cut_length_mm") from refused
    for text, name, what, most in (
        (spec.tool_steel, "tool_steel", _("The steel"), 40),
        (spec.coating, "coating", _("The coating"), 40),
        (spec.height_group, "height_group", _("The height group"), 20),
    ):
        check_text(text, field=name, what=what, at_most=most)
    check_opening(spec.opening)


def check_opening(opening: Opening) -> None:
    if opening.how not in Piece.Opening.values:
        raise EntryRefused(_("Pick how its pieces stood when the records began."), field="opening")
    life, since = opening.life_hits, opening.since_sharpening
    build.check_figures("piece", {"opening_life_hits": life, "opening_hits_since_sharpening": since})
    if life is not None and since is not None and since > life:
        raise EntryRefused(
            _("{since:,} hits since it was sharpened are more than the {life:,} of its whole life.").format(
                since=since, life=life
            ),
            field="opening_hits_since_sharpening",
        )


# --- adding -----------------------------------------------------------------------------------------------------------


def add_places(
    *, by: Actor, die: Die, places: Sequence[PlaceSpec], since: dt.datetime | None = None, reason: str = ""
) -> list[Position]:
    """Places with their cuts and pieces, all or none, in the order given.

    A place on the die side with `upper_of` becomes the other side of that punch's cut. Raises EntryRefused.
    """
    if since is not None:
        check_moment(since, field="since")
    check_text(reason, field="reason", what=_("The reason"), at_most=300)
    if not places:
        return []
    with saving(_("Somebody else put one of these places there meanwhile.")):
        Die.objects.select_for_update(no_key=True).get(pk=die.pk)
        taken = set(die.positions.values_list("code", flat=True))
        made: list[Position] = []
        for spec in places:
            check_place(spec, taken)
            taken.add(spec.code)
            made.append(_add(by, die, spec, since, reason))
        changes.tell(dies=[die.pk], since=since)
        return made


def _add(by: Actor, die: Die, spec: PlaceSpec, since: dt.datetime | None, reason: str) -> Position:
    if spec.station is not None and spec.station.die_id != die.pk:
        raise EntryRefused(
            _("Station {station} is not one of {code}.").format(station=spec.station, code=die.code), field="station"
        )
    position = Position(
        die=die,
        station=spec.station,
        code=spec.code,
        kind=spec.kind,
        side=spec.side,
        item=spec.item,
        x_mm=spec.x_mm,
        y_mm=spec.y_mm,
        height_group=spec.height_group,
        seat_mm=spec.seat_mm,
        stroke_share=spec.stroke_share,
        wear_of=spec.wear_of,
        wear_limit=spec.wear_limit,
        valid_from=since,
    )
    if reason:  # a die that has run: the change of its make-up is kept with its date
        actions.enter(by=by.user, row=position, at=since, reason=reason)
    else:
        _save(position, by, reason)
    if spec.variants:
        position.variants.set(spec.variants)
    _cut(by, die, spec, position, since, reason)
    piece = Piece(
        plant=die.plant, key=piece_key(die.plant.code, die.code, spec.code, "first"), item=spec.item,
        **spec.piece_columns,
    )  # fmt: skip
    if Piece.objects.filter(key=piece.key).exists():  # of a place of that name that was taken back after it had a log
        raise EntryRefused(
            _("There was a place {code} before, and its piece is still known. Take another name.").format(
                code=spec.code
            ),
            field="code",
        )
    _save(piece, by, reason)
    fit_first(by=by, position=position, piece=piece, since=since, note=reason)
    return position


def fit_first(*, by: Actor, position: Position, piece: Piece, since: dt.datetime | None, note: str = "") -> Replacement:
    """The first piece of a place: there from the start, or put in at a moment."""
    die = position.die
    row = Replacement.objects.create(
        position=position,
        piece_in=piece,
        at=since or BEGINNING,
        why=Replacement.Why.FIRST,
        since_start=since is None,
        note=note,
        key=first_key(die.plant.code, die.code, position.code),
        **by.columns(),
    )
    rebuild_fittings(position)
    return row


def _cut(by: Actor, die: Die, spec: PlaceSpec, position: Position, since: dt.datetime | None, reason: str) -> None:
    """Its cut, or its side of the cut of the punch above it."""
    if spec.upper_of:
        cut = Cut.objects.filter(die=die, upper__code=spec.upper_of, valid_to__isnull=True).first()
        if cut is None or cut.lower_id is not None:
            words = _("{code} has a die side already.") if cut is not None else _("{code} cuts nothing so far.")
            raise EntryRefused(words.format(code=spec.upper_of), field="upper_of")
        if since is None or (cut.valid_from is not None and since <= cut.valid_from):
            cut.lower = position
            _save(cut, by, reason)
        else:
            actions.amend(by=by.user, row=cut, values={"lower": position}, at=since, reason=reason or ENTERED)
    elif spec.cut_length_mm is not None:
        if Cut.objects.filter(die=die, code=spec.code).exists():
            raise EntryRefused(
                _("{code} has a cut {spec_code} already. Give this place another name.").format(
                    code=die.code, spec_code=spec.code
                ),
                field="code",
            )
        cut = Cut(die=die, code=spec.code, length_mm=spec.cut_length_mm, gap_mm=spec.gap_mm, valid_from=since)
        setattr(cut, spec.side, position)
        _save(cut, by, reason)


def _save(row: models.Model, by: Actor, reason: str) -> None:
    _say(row, by, reason)
    row.save()


def _say(row: models.Model, by: Actor, reason: str) -> None:
    """Who does it and why, for the row's own history."""
    for name, value in (("_history_user", by.user), ("_change_reason", (reason or ENTERED)[:100])):
        setattr(row, name, value)


# --- like another -----------------------------------------------------------------------------------------------------


def spec_of(position: Position, *, piece: Piece | None, cut: Cut | None) -> PlaceSpec:
    """A place as it stands, so that another one can be made like it. piece, cut: those that hold now."""
    lower = cut is not None and cut.lower_id == position.pk and cut.upper_id is not None
    spec = PlaceSpec(
        code=position.code,
        kind=position.kind,
        side=position.side,
        station=position.station,
        x_mm=position.x_mm,
        y_mm=position.y_mm,
        height_group=position.height_group,
        seat_mm=position.seat_mm,
        stroke_share=position.stroke_share,
        item=position.item,
        wear_of=position.wear_of,
        wear_limit=position.wear_limit,
        cut_length_mm=None if cut is None or lower else cut.length_mm,
        gap_mm=None if cut is None or lower else cut.gap_mm,
        upper_of=cut.upper.code if lower and cut is not None and cut.upper is not None else "",
    )
    if piece is None:
        return spec
    return replace(
        spec,
        tool_steel=piece.tool_steel,
        coating=piece.coating,
        hardness_hrc=piece.hardness_hrc,
        length_mm=piece.length_mm,
        grind_allowance_mm=piece.grind_allowance_mm,
        opening=Opening(
            how=piece.opening,
            life_hits=piece.opening_life_hits,
            since_sharpening=piece.opening_hits_since_sharpening,
        ),
    )


def specs_of(die: Die, positions: Iterable[Position]) -> list[PlaceSpec]:
    """Places as they stand now, punches before the die sides of their cuts."""
    positions = list(positions)
    keys = [position.pk for position in positions]
    fittings = Fitting.objects.filter(position__in=keys, until__isnull=True).select_related("piece")
    pieces = {fitting.position_id: fitting.piece for fitting in fittings}
    cuts: dict[int, Cut] = {}
    for cut in Cut.objects.filter(die=die, valid_to__isnull=True).select_related("upper", "lower"):
        for key in (cut.upper_id, cut.lower_id):
            if key is not None:
                cuts[key] = cut
    specs = [spec_of(p, piece=pieces.get(p.pk), cut=cuts.get(p.pk)) for p in positions]
    return sorted(specs, key=lambda spec: bool(spec.upper_of))


def like(spec: PlaceSpec, *, station: Station | None, taken: Collection[str], code: str = "") -> PlaceSpec:
    """The same again in a station, with the next free name; where it stands is asked anew."""
    name = code or next_code(spec.kind, station.code if station is not None else "", taken)
    return replace(spec, code=name, station=station, x_mm=None, y_mm=None, upper_of="")


def pair_of(spec: PlaceSpec, taken: Collection[str]) -> PlaceSpec:
    """The other one of a left and right pair: across the middle of the strip, with the next free name."""
    name = next_code(spec.kind, spec.station.code if spec.station is not None else "", taken)
    return replace(spec, code=name, y_mm=None if spec.y_mm is None else -spec.y_mm)


def again(*, by: Actor, position: Position, mirrored: bool = False, since: dt.datetime | None = None,
          reason: str = "") -> list[Position]:  # fmt: skip
    """Another place like one that stands, in its station, with its die side where it has one."""
    die = position.die
    group = _with_partner(position)
    specs = specs_of(die, group)
    taken = set(die.positions.values_list("code", flat=True))
    first = specs[0]
    made = pair_of(first, taken) if mirrored else like(first, station=first.station, taken=taken)
    new = [made]
    for spec in specs[1:]:
        y_mm = None if not mirrored or spec.y_mm is None else -spec.y_mm
        new.append(replace(spec, code=_free(partner_code(made.code), taken), upper_of=made.code,
                           x_mm=spec.x_mm if mirrored else None, y_mm=y_mm))  # fmt: skip
    return add_places(by=by, die=die, places=new, since=since, reason=reason)


def _with_partner(position: Position) -> list[Position]:
    """A place and the die side of its cut: of a die side alone only itself, as its punch has one already."""
    cut = Cut.objects.filter(upper=position, valid_to__isnull=True).select_related("lower").first()
    return [position, cut.lower] if cut is not None and cut.lower is not None else [position]


def _free(code: str, taken: Collection[str]) -> str:
    used, number, wanted = {one.casefold() for one in taken}, 1, code
    while wanted.casefold() in used:
        number += 1
        wanted = f"{code}{number}"
    return wanted


def copy_station(*, by: Actor, station: Station, since: dt.datetime | None = None, reason: str = "") -> Station:
    """Another station like one that stands, behind it, with places and pieces of its own."""
    die = station.die
    with transaction.atomic():
        after = list(die.stations.order_by("sequence", "pk"))
        at = next(i for i, one in enumerate(after) if one.pk == station.pk)
        before = after[at + 1] if at + 1 < len(after) else None
        made = build.add_station(by=by.user, die=die, operation=station.operation, before=before)
        specs = specs_of(die, station.positions.filter(valid_to__isnull=True).order_by("code"))
        add_places(by=by, die=die, places=_renamed(die, specs, station, made), since=since, reason=reason)
        return made


def _renamed(die: Die, specs: Sequence[PlaceSpec], old: Station, new: Station) -> list[PlaceSpec]:
    """The places of a station under the names that they have in the new one: 3-A is 9-A."""
    taken = set(die.positions.values_list("code", flat=True))
    name: dict[str, str] = {}
    for spec in specs:
        head, dash, tail = spec.code.partition("-")
        wanted = f"{new.code}{dash}{tail}" if dash and head == old.code else f"{new.code}-{spec.code}"
        name[spec.code] = _free(wanted[:40], taken)
        taken.add(name[spec.code])
    return [
        replace(s, code=name[s.code], station=new, x_mm=None, y_mm=s.y_mm, upper_of=name.get(s.upper_of, ""))
        for s in specs
    ]


def copy_die(
    *,
    by: Actor,
    die: Die,
    code: str,
    opening: Opening | None = None,
    same_part: bool = True,
    description: str = "",
    part: Part | None = None,
) -> Die:
    """A second copy of the build, or a like one: stations, places, cuts and pieces of its own, and no past.

    opening: how the pieces of the copy stand, None: new. same_part: a second copy makes the same parts; else `part`,
    where it is known. What holds now is copied, from the start.
    """
    with saving(_("{code} could not be entered.").format(code=code)):
        new = build.new_die(
            by=by.user,
            plant=die.plant,
            code=code,
            usual_stock=die.usual_stock,
            strokes_per_minute=die.strokes_per_minute,
            description=description or die.description,
            usual_press=die.usual_press,
            owner=die.owner,
            build_price=die.build_price,
            expected_parts=die.expected_parts,
            **{name: getattr(die, name) for name in Die.FOR_SET_UP},
        )
        variants = _copy_variants(die, new, same_part, part)
        stations = {
            old.pk: Station.objects.create(die=new, code=old.code, sequence=old.sequence, operation=old.operation)
            for old in die.stations.order_by("sequence", "pk")
        }
        standing = list(
            die.positions.filter(valid_to__isnull=True).prefetch_related("variants").select_related("station", "item")
        )
        of = {position.code: tuple(variants[v.pk] for v in position.variants.all()) for position in standing}
        places = [
            replace(
                spec,
                station=None if spec.station is None else stations[spec.station.pk],
                opening=opening or Opening(),
                variants=of[spec.code],
            )
            for spec in specs_of(die, standing)
        ]
        add_places(by=by, die=new, places=places)
        _call_cuts_alike(die, new)
        return new


def _call_cuts_alike(die: Die, new: Die) -> None:
    """Cuts that have another name than their punch keep it in the copy."""
    for cut in Cut.objects.filter(die=die, valid_to__isnull=True).select_related("upper", "lower"):
        first = cut.upper or cut.lower
        if first is not None and cut.code != first.code:
            Cut.objects.filter(die=new, code=first.code).update(code=cut.code)


def _copy_variants(die: Die, new: Die, same_part: bool, part: Part | None) -> dict[int, Variant]:
    """The sets of inserts of a die in its copy, by the key of the old one."""
    usual = build.default_variant(die)
    made: dict[int, Variant] = {}
    for old in die.variants.order_by("-is_default", "code"):
        if old.pk == usual.pk:
            variant = build.default_variant(new)
            variant.code = old.code
            variant.save(update_fields=["code"])
        else:
            variant = Variant.objects.create(die=new, code=old.code)
        made[old.pk] = variant
        for output in old.outputs.all() if same_part else ():
            Output.objects.create(variant=variant, part=output.part, parts_per_hit=output.parts_per_hit)
    if not same_part and part is not None:
        Output.objects.create(variant=made[usual.pk], part=part)
    return made


# --- opening, of the whole die ----------------------------------------------------------------------------------------


def open_pieces(*, by: Actor, die: Die, opening: Opening, but: Collection[int] = ()) -> int:
    """How the pieces that sat there from the start stood when the records began, for the whole die.

    but: keys of places that are an exception. Returns how many pieces it says it of.
    """
    check_opening(opening)
    with saving():
        rows = Fitting.objects.filter(position__die=die, since__isnull=True).exclude(position__in=but)
        pieces = [fitting.piece for fitting in rows.select_related("piece")]
        for piece in pieces:
            piece.opening, piece.opening_life_hits = opening.how, opening.life_hits
            piece.opening_hits_since_sharpening = opening.since_sharpening
            _save(piece, by, _("How it stood when the records began"))
        changes.tell(dies=[die.pk])
        return len(pieces)


# --- taking back what was entered by mistake --------------------------------------------------------------------------


def log_of(position: Position) -> str:
    """What stands in the log of a place, in words; nothing where only its first piece does."""
    entries = {
        _("sharpenings or other work"): position.works.exists(),
        _("replacements"): position.replacements.exclude(why=Replacement.Why.FIRST).exists(),
        _("readings"): position.readings.exists()
        or Cut.objects.filter(models.Q(upper=position) | models.Q(lower=position), readings__isnull=False).exists(),
        _("mishaps"): Piece.objects.filter(fittings__position=position, incidents__isnull=False).exists(),
        _("work or readings on the bench"): Piece.objects.filter(fittings__position=position)
        .filter(models.Q(works__isnull=False) | models.Q(readings__isnull=False) | models.Q(movements__isnull=False))
        .exists(),
        _("pieces that sat elsewhere"): Fitting.objects.filter(piece__fittings__position=position)
        .exclude(position=position)
        .exists(),
    }
    return ", ".join(words for words, there in entries.items() if there)


def end_place(*, by: Actor, position: Position, at: dt.datetime, reason: str, to_shelf: bool = False) -> None:
    """From a day on a place is no longer part of the die; of its cut a punch takes all, a die side its own.

    Its piece comes out that day: back to the shelf, or scrapped.
    """
    check_moment(at)
    with saving():
        ended = actions.retire(by=by.user, row=position, at=at, reason=reason)
        cuts = Cut.objects.filter(models.Q(upper=position) | models.Q(lower=position))
        for cut in cuts.filter(models.Q(valid_to__isnull=True) | models.Q(valid_to__gt=at)):
            if cut.valid_from is not None and cut.valid_from > at:
                raise EntryRefused(
                    _("{code} was changed after that day. Strike that change out first, or take a later day.").format(
                        code=position.code
                    ),
                    field="at",
                )
            if cut.lower_id == position.pk and cut.upper_id is not None:
                actions.amend(by=by.user, row=cut, values={"lower": None}, at=at, reason=reason)
            else:
                actions.retire(by=by.user, row=cut, at=at, reason=reason)
        _release(by, position, at, reason, to_shelf, taken_out_key(ended))
        changes.tell(dies=[position.die_id], since=at)


def taken_out_key(ended: Amendment) -> str:
    """Of the entry that took the piece out when a place ended."""
    return f"ended|{ended.pk}"


def _release(by: Actor, position: Position, at: dt.datetime, reason: str, to_shelf: bool, key: str) -> None:
    fitting = position.fittings.select_related("piece").filter(until__isnull=True).first()
    if fitting is None:
        return
    if fitting.since is not None and fitting.since > at:
        raise EntryRefused(
            _("Another piece went into {code} after that day. Take a later day, or strike that entry out.").format(
                code=position.code
            ),
            field="at",
        )
    item = fitting.piece.item or position.item
    if to_shelf and item is None:
        raise EntryRefused(
            _(
                "{code} has no spare in the catalogue, so its piece has no place on the shelf. Say that it "
                "is scrapped, or name its spare first."
            ).format(code=position.code),
            field="piece",
        )
    Replacement.objects.create(
        position=position, piece_in=None, at=at, why=Replacement.Why.OTHER, note=reason, key=key, **by.columns()
    )
    if to_shelf and item is not None:
        StockMovement.objects.create(
            plant=position.die.plant, item=item, piece=fitting.piece, quantity=1,
            kind=StockMovement.Kind.CORRECTION, at=at, note=reason, key=f"{key}:shelf", **by.columns(),
        )  # fmt: skip
    rebuild_fittings(position)
    changes.tell(dies=[position.die_id], items=[item.pk] if to_shelf and item is not None else [], since=at)


def end_station(*, by: Actor, station: Station, at: dt.datetime, reason: str, to_shelf: bool = False) -> int:
    """From a day on nothing of a station is part of the die any more. Returns how many places end."""
    with saving():
        standing = station.positions.filter(models.Q(valid_to__isnull=True) | models.Q(valid_to__gt=at))
        places = sorted(standing, key=lambda position: position.side == "lower")  # a punch ends its whole cut
        if not places:
            raise EntryRefused(
                _("Nothing stands in station {code}, so nothing ends. Take it back instead.").format(code=station.code)
            )
        for position in places:
            end_place(
                by=by, position=position, at=at, reason=reason, to_shelf=to_shelf and position.item_id is not None
            )
        return len(places)


def take_back_place(*, by: Actor, position: Position, reason: str = "Entered by mistake") -> None:
    """A place that was entered by mistake goes with its piece and its side of the cut, as long as it has no log."""
    if words := log_of(position):
        raise EntryRefused(
            _("{code} has a log ({words}), and nothing with a log is deleted. Let it end on a day instead.").format(
                code=position.code, words=words
            )
        )
    if not reason.strip():
        raise EntryRefused(_("Say why it is struck out."), field="reason")
    die, key = position.die, position.pk
    with saving():
        pieces = list(Piece.objects.filter(fittings__position=position).distinct())
        for cut in Cut.objects.filter(models.Q(upper=position) | models.Q(lower=position)):
            if cut.upper_id is not None and cut.lower_id is not None:
                setattr(cut, "upper" if cut.upper_id == position.pk else "lower", None)
                _save(cut, by, f"{position.code} was entered by mistake")
            else:
                cut.delete()
        position.fittings.all().delete()
        # The entry of its first piece was part of entering the place, and goes with it: it tells of nothing else.
        models.QuerySet(Replacement).filter(position=position).delete()
        _say(position, by, reason)
        try:
            for piece in pieces:
                piece.delete()
            position.delete()
        except ProtectedError as error:
            raise EntryRefused(
                _("Something still stands on {code}, so it cannot be deleted.").format(code=position.code)
            ) from error
        told = Amendment.objects.filter(table="diestore.position", row_key=key, struck_at=None)
        told.update(struck_at=timezone.now(), struck_by=user_of(by.user), struck_who=name_of(by.user),
                    struck_reason=reason.strip())  # fmt: skip
        changes.tell(dies=[die.pk])
