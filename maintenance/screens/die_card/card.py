"""All that the card of a die shows, read in a number of questions that no die changes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore import units
from diestore.handbook import build_doubts
from diestore.handbook.gaps import percent_of
from diestore.handbook.kinds import KINDS, Kind
from diestore.register.models import Cut, Die, Piece, Position, Station, Variant
from maintenance.models import Fitting, Reading, Run

from . import strip


@dataclass(frozen=True, kw_only=True)
class CardPlace:
    """A place that holds now, with what sits in it and the cut it is a side of."""

    position: Position
    kind: Kind
    piece: Piece | None
    cut: Cut | None
    fitted: dt.datetime | None  # None: there when the records began
    thickness_mm: float
    system: units.System

    @property
    def code(self) -> str:
        return self.position.code

    @property
    def is_upper(self) -> bool:
        return self.position.side == "upper"

    @property
    def partner(self) -> Position | None:
        """The other side of its cut."""
        if self.cut is None:
            return None
        return self.cut.lower if self.cut.upper_id == self.position.pk else self.cut.upper

    def measure(self, value: float | None, quantity: str) -> str:
        return units.show(value, quantity, self.system, unknown="")

    @property
    def gap(self) -> str:
        if self.cut is None or self.cut.gap_mm is None:
            return ""
        shown = self.measure(self.cut.gap_mm, "gap_mm")
        return _("{gap} ({percent:.3g} % a side)").format(
            gap=shown, percent=percent_of(self.cut.gap_mm, self.thickness_mm)
        )

    @property
    def cut_length(self) -> str:
        return "" if self.cut is None else self.measure(self.cut.length_mm, "length_mm")

    @property
    def steel(self) -> str:
        piece = self.piece
        if piece is None:
            return _("empty")
        hardness = "" if piece.hardness_hrc is None else f"{piece.hardness_hrc:g} HRC"
        coating = piece.coating if piece.coating.casefold() not in ("", "none") else ""
        return ", ".join(words for words in (piece.tool_steel, hardness, coating) if words)

    @property
    def length(self) -> str:
        return "" if self.piece is None else self.measure(self.piece.length_mm, "length_mm")

    @property
    def seat(self) -> str:
        return "" if self.position.seat_mm is None else self.measure(self.position.seat_mm, "seat_mm")

    @property
    def allowance(self) -> str:
        return "" if self.piece is None else self.measure(self.piece.grind_allowance_mm, "grind_allowance_mm")

    @property
    def opened(self) -> str:
        """How its piece stood when it came."""
        piece = self.piece
        if piece is None:
            return ""
        if piece.opening_life_hits is None:
            return _(piece.opening)
        return _("{opening} {hits:,} hits").format(opening=_(piece.opening), hits=piece.opening_life_hits)

    @property
    def title(self) -> str:
        words = (
            f"{self.code} {_(self.kind.name)}",
            self.steel,
            self.cut_length and _("cut {length}").format(length=self.cut_length),
            self.gap and _("gap {gap}").format(gap=self.gap),
        )
        return ", ".join(word for word in words if word)


@dataclass(kw_only=True)
class Card:
    die: Die
    system: units.System
    stations: list[Station]
    places: list[CardPlace]
    gone: list[Position]  # ended, their names still taken
    variants: list[Variant]
    in_service: bool  # it has run: what changes has a date and a reason
    springs_n: dict[str, float | None] = field(default_factory=dict)

    @property
    def codes(self) -> list[str]:
        """All names of places that are taken."""
        return [place.code for place in self.places] + [position.code for position in self.gone]

    def place(self, key: int | None) -> CardPlace | None:
        return next((place for place in self.places if place.position.pk == key), None)

    def station(self, key: int | None) -> Station | None:
        return next((station for station in self.stations if station.pk == key), None)

    def in_station(self, station: Station | None) -> list[CardPlace]:
        key = None if station is None else station.pk
        return [place for place in self.places if place.position.station_id == key]

    @property
    def newest(self) -> list[CardPlace]:
        """The places, the one typed last first."""
        return sorted(self.places, key=lambda place: -place.position.pk)

    @cached_property
    def build(self) -> build_doubts.Build:
        stock, press = self.die.usual_stock, self.die.usual_press
        return build_doubts.Build(
            strip=build_doubts.Strip(
                material=stock.material,
                tensile_mpa=stock.tensile_mpa,
                thickness_mm=stock.thickness_mm,
                shear_mpa=stock.shear_mpa,
            ),
            places=[
                build_doubts.Place(
                    code=place.code,
                    kind=place.kind.key,
                    side=place.position.side,
                    tool_steel=place.piece.tool_steel if place.piece else "",
                    hardness_hrc=place.piece.hardness_hrc if place.piece else None,
                    length_mm=place.piece.length_mm if place.piece else None,
                    height_group=place.position.height_group,
                    seat_mm=place.position.seat_mm,
                )
                for place in self.places
            ],
            cuts=[
                build_doubts.Contour(
                    code=cut.code,
                    upper=cut.upper.code if cut.upper else "",
                    lower=cut.lower.code if cut.lower else "",
                    length_mm=cut.length_mm,
                    gap_mm=cut.gap_mm,
                )
                for cut in self.cuts
            ],
            press=press.code if press else "",
            rated_force_n=press.rated_force_n if press else None,
            spring_force_n=self.springs_n,
            system=self.system,
        )

    @property
    def cuts(self) -> list[Cut]:
        return list({place.cut.pk: place.cut for place in self.places if place.cut is not None}.values())

    @cached_property
    def doubts(self) -> list[build_doubts.Doubt]:
        return build_doubts.doubts(self.build)

    @property
    def doubted(self) -> list[tuple[str, build_doubts.Doubt]]:
        """What there is to doubt, once each: of which places, and what."""
        places: dict[tuple[str, str], list[str]] = {}
        first: dict[tuple[str, str], build_doubts.Doubt] = {}
        for doubt in self.doubts:
            key = doubt.text, doubt.source
            places.setdefault(key, []).append(doubt.place)
            first.setdefault(key, doubt)
        return [(", ".join(places[key]), doubt) for key, doubt in first.items()]

    @cached_property
    def forces(self) -> build_doubts.Forces | None:
        return build_doubts.forces(self.build)

    def drawing(self, *, chosen: int | None = None) -> strip.Drawing:
        doubted = {doubt.place for doubt in self.doubts}
        places = [
            strip.StripPlace(
                key=place.position.pk,
                code=place.code,
                shape=place.kind.shape,
                side=place.position.side,
                station=place.position.station_id,
                cuts=place.kind.cuts,
                x_mm=place.position.x_mm,
                y_mm=place.position.y_mm,
                title=place.title,
                css=" ".join(
                    name
                    for name, there in (("chosen", place.position.pk == chosen), ("doubted", place.code in doubted))
                    if there
                ),
            )
            for place in self.places
        ]
        return strip.lay_out(places, [(s.pk, s.code, s.operation) for s in self.stations])


def read(die: Die, system: units.System) -> Card:
    """The card of a die as it stands now."""
    now = timezone.now()
    positions = list(
        die.positions.select_related("station", "item").order_by(F("station__sequence").asc(nulls_last=True), "code")
    )
    holds = [p for p in positions if p.valid_to is None or p.valid_to > now]
    fittings = {
        fitting.position_id: fitting
        for fitting in Fitting.objects.filter(position__die=die, until__isnull=True).select_related("piece__item")
    }
    cuts = Cut.objects.filter(die=die).filter(Q(valid_to__isnull=True) | Q(valid_to__gt=now))
    by_place: dict[int, Cut] = {}
    for cut in cuts.select_related("upper", "lower").order_by("valid_from", "pk"):
        for key in (cut.upper_id, cut.lower_id):
            if key is not None:
                by_place[key] = cut
    places = [
        CardPlace(
            position=position,
            kind=KINDS[position.kind],
            piece=fittings[position.pk].piece if position.pk in fittings else None,
            cut=by_place.get(position.pk),
            fitted=fittings[position.pk].since if position.pk in fittings else None,
            thickness_mm=die.usual_stock.thickness_mm,
            system=system,
        )
        for position in holds
    ]
    ended = {p.station_id for p in positions} - {p.station_id for p in holds}  # nothing of them is there any more
    return Card(
        die=die,
        system=system,
        stations=[s for s in die.stations.order_by("sequence", "pk") if s.pk not in ended],
        places=places,
        gone=[p for p in positions if p not in holds],
        variants=list(die.variants.all()),
        in_service=Run.objects.standing().filter(die=die).exists(),
        springs_n=_springs(die, holds),
    )


def _springs(die: Die, positions: Iterable[Position]) -> dict[str, float | None]:
    """The force of each spring: as read last, else where it is changed, else unknown."""
    springs = {p.pk: p for p in positions if p.kind == "stripper_spring"}
    if not springs:
        return {}
    read_last: dict[int, float] = {}
    readings = Reading.objects.standing().filter(position__in=list(springs), quantity__iexact="spring force")
    for reading in readings.order_by("at", "pk"):
        read_last[reading.position_id] = reading.value_si
    return {
        p.code: read_last.get(key, p.wear_limit if p.wear_of == "spring force" else None) for key, p in springs.items()
    }
