"""The page of a die's card. It is drawn anew after every act, so that what is shown is what is saved."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views import View

from diestore import units
from diestore.access import roles
from diestore.access.models import Person
from diestore.access.plants import within
from diestore.access.queries import system_of
from diestore.access.tablet import tablet_of
from diestore.handbook import tool_steels
from diestore.handbook.cautions import CAUTIONS, first
from diestore.handbook.gaps import GapMeant
from diestore.handbook.kinds import KINDS, Kind
from diestore.handbook.places import OPERATIONS, PARTNER
from diestore.handbook.places import in_a_station as belongs
from diestore.register import build
from diestore.register.actions import ChangeRefused
from diestore.register.models import Die, Item, Part, Station
from diestore.row_keys import row_key
from maintenance.log import building, sent, write
from maintenance.log.rules import EntryRefused, saving

from . import card as cards
from . import cells, changing, forms, grid, makes, paste

MEANT, TICKET = "gap_meant", "die_card_ticket"
NOT_OF_THE_FORM = ("csrfmiddlewaretoken", "key")
CAUTIONS_HERE = ("springs", "marking")
Answer = HttpResponse | HttpResponseRedirect


class Refused(Exception):
    """An act that was refused; the page says why and keeps what was typed. bound: forms by their name on the page."""

    def __init__(self, sentence: str = "", **bound) -> None:
        super().__init__(sentence)
        self.sentence, self.bound = sentence, bound


class DieCard(PermissionRequiredMixin, View):
    permission_required = roles.EDIT_REGISTER
    raise_exception = True

    def dispatch(self, request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if self.has_permission():
            dies = Die.objects.select_related("usual_stock", "usual_press", "plant", "owner")
            self.die = get_object_or_404(within(dies, request.user), pk=kwargs["pk"])
        return super().dispatch(request, *args, **kwargs)

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        return self.page()

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        self.card = cards.read(self.die, system_of(request.user))
        act = ACTS.get(request.POST.get("do", ""))
        try:
            if act is None:
                raise Refused(_("That button is not known here. Load the page again."))
            return act(self)
        except Refused as refused:
            return self.page(refused)
        except (EntryRefused, ChangeRefused) as refused:
            return self.page(Refused(str(refused)))

    # --- who, when and why ------------------------------------------------------------------------------------------

    @property
    def by(self) -> write.Actor:
        tablet = tablet_of(self.request)
        person = tablet.who if tablet else Person.objects.filter(usersettings__user=self.request.user).first()
        return write.Actor(person=person, user=self.request.user, device=tablet.device[:80] if tablet else "")

    @property
    def ticket(self) -> dict | None:
        """Since when what is typed now holds, and why: asked once of a die that has run."""
        return self.request.session.get(TICKET, {}).get(str(self.die.pk))

    def since_and_reason(self) -> dict:
        if not self.card.in_service:
            return {}
        if self.ticket is None:
            raise Refused(
                _("{code} has run already. Say first since when it is so, and why.").format(code=self.die.code)
            )
        since = parse_datetime(self.ticket["since"]) if self.ticket["since"] else None
        return {"since": since, "reason": self.ticket["reason"]}

    # --- what is chosen ---------------------------------------------------------------------------------------------

    @property
    def meant(self) -> GapMeant:
        try:
            return GapMeant(self.request.session.get(MEANT, ""))
        except ValueError:
            return GapMeant.PERCENT_A_SIDE

    def station_of(self, data) -> Station:
        station = self.card.station(row_key(data.get("station")))
        if station is None:
            raise Refused(_("That station is no longer there."))
        return station

    def place_of(self, data) -> cards.CardPlace:
        place = self.card.place(row_key(data.get("place")))
        if place is None:
            raise Refused(_("That place is no longer there."))
        return place

    def spot(self, data) -> dict:
        """Side, station and kind of the place that is to be added; nothing where no spot is chosen."""
        side = data.get("side")
        if side not in ("upper", "lower"):
            return {}
        station = self.card.station(row_key(data.get("station")))
        kinds = kinds_of(side, station is not None)
        kind = KINDS.get(data.get("kind", ""))
        if kind is None or kind not in kinds:
            kind = self.usual_kind(side, station, kinds)
        return {"side": side, "station": station, "kind": kind, "kinds": kinds}

    def usual_kind(self, side: str, station: Station | None, kinds: list[Kind]) -> Kind:
        """The kind of the place that was typed last there, or of the last one of such a place."""
        fits = [p for p in self.card.newest if p.position.side == side and p.kind in kinds]
        here = [p for p in fits if p.position.station_id == (None if station is None else station.pk)]
        if here:
            return here[0].kind
        if station is not None:
            return _by_operation(station.operation, side, kinds)
        return kinds[0]

    # --- the page ---------------------------------------------------------------------------------------------------

    def page(self, refused: Refused | None = None) -> HttpResponse:
        request = self.request
        if request.GET.get("gaps") in set(GapMeant):
            request.session[MEANT] = request.GET["gaps"]
        self.card = card = cards.read(self.die, system_of(request.user))
        data = request.POST if refused is not None else request.GET
        place = card.place(row_key(data.get("place")))
        spot = self.spot(data) if place is None else {}
        station = card.station(row_key(data.get("station"))) if not spot and place is None else None
        bound = refused.bound if refused else {}
        if spot and "place_form" not in bound:
            bound["place_form"] = forms.PlaceForm(card=card, meant=self.meant,
                                                  **{n: spot[n] for n in ("kind", "side", "station")})  # fmt: skip
        if place is not None:
            bound.setdefault("change_form", changing.ChangeForm(card=card, place=place, meant=self.meant))
        if place is not None or station is not None:
            bound.setdefault("end_form", forms.ReasonForm())
        context = {
            "die": self.die,
            "card": card,
            "system": card.system,
            "d": card.drawing(chosen=place.position.pk if place else None),
            "spot": spot,
            "place": place,
            "station": station,
            "saved": [p for key in request.GET.getlist("saved") if (p := card.place(row_key(key)))],
            "refused": refused.sentence if refused else "",
            "operations": OPERATIONS,
            "ticket": self.ticket,
            "needs_ticket": card.in_service and self.ticket is None,
            "ticket_since": parse_datetime(self.ticket["since"]) if self.ticket and self.ticket["since"] else None,
            "ticket_form": forms.TicketForm(),
            "past": changing.past(self.die, card.system, all_of_it=request.GET.get("history") == "all"),
            "opening_form": forms.OpeningForm(opening=self.opening),
            "copy_form": forms.CopyForm(),
            "steels": tool_steels.GRADES,
            "coatings": [name for name in tool_steels.COATINGS if name != "none"],
            "spares": Item.objects.filter(retired_at=None).order_by("code", "revision")[:400],
            "gaps": list(GapMeant),
            "makes": bound.get("makes") or makes.MakesForm(die=self.die, in_service=card.in_service),
            "parts": Part.objects.filter(retired_at=None).order_by("number", "revision")[:400],
            "grid": bound.get("grid") or grid.shown(card, self.meant),
            "heads": [names[0] for names in paste.HEADS.values()],
            "cautions": [CAUTIONS[key].reminder for key in CAUTIONS_HERE] + [first()],
            "lead": lead(card),
        } | bound
        return render(request, "maintenance/screens/die_card/card.html", context)

    @property
    def opening(self) -> building.Opening:
        newest = next((p for p in self.card.newest if p.piece is not None), None)
        return building.Opening() if newest is None else forms.opening_of_piece(newest.piece)

    def to(self, anchor: str = "strip", **query) -> HttpResponseRedirect:
        """Back to the card, where what was chosen is still chosen."""
        address = reverse("maintenance:die_card", args=[self.die.pk])
        pairs = [(k, v) for k, v in query.items() if v not in (None, "")]
        return HttpResponseRedirect(f"{address}?{urlencode(pairs, doseq=True)}#{anchor}" if pairs
                                    else f"{address}#{anchor}")  # fmt: skip

    def to_spot(self, side: str, station: Station | None, made) -> HttpResponseRedirect:
        return self.to(station="" if station is None else station.pk, side=side, saved=[p.pk for p in made])

    # --- acts -------------------------------------------------------------------------------------------------------

    def add_station(self) -> Answer:
        data = self.request.POST
        operation = data.get("operation") or data.get("other", "")
        station = build.add_station(by=self.request.user, die=self.die, operation=operation)
        return self.to(station=station.pk, side="upper")

    def move_station(self) -> Answer:
        station = self.station_of(self.request.POST)
        dated = self.since_and_reason()
        build.move_station(
            by=self.request.user, station=station, steps=-1 if "back" in self.request.POST else 1, **dated
        )
        return self.to(station=station.pk)

    def name_station(self) -> Answer:
        data, station = self.request.POST, self.station_of(self.request.POST)
        build.name_station(by=self.request.user, station=station, code=data.get("code", ""),
                           operation=data.get("operation", ""), **self.since_and_reason())  # fmt: skip
        return self.to(station=station.pk)

    def drop_station(self) -> Answer:
        build.take_back_station(by=self.request.user, station=self.station_of(self.request.POST))
        return self.to()

    def copy_station(self) -> Answer:
        made = building.copy_station(by=self.by, station=self.station_of(self.request.POST), **self.since_and_reason())
        return self.to(station=made.pk)

    def add_place(self) -> Answer:
        data = self.request.POST
        spot = self.spot(data)
        if not spot:
            raise Refused(_("Tap a spot on the strip first."))
        chosen = {name: spot[name] for name in ("kind", "side", "station")}
        form = forms.PlaceForm(data, card=self.card, meant=self.meant, **chosen)
        key, digest = data.get("key", "")[:64], sent.digest_of(_typed(data))
        if was := sent.known(key):
            if was == digest:  # tapped twice, or loaded again: it is there
                return self.to_spot(spot["side"], spot["station"], [])
            fresh = _with_fresh_key(data)
            raise Refused(
                _(
                    "This form was sent before, and a place was saved from it. Press the button again to save what "
                    "stands here as another place; to change the first one, tap it on the strip."
                ),
                place_form=forms.PlaceForm(fresh, card=self.card, meant=self.meant, **chosen),
            )
        self.request.session[MEANT] = data.get("meant", self.meant.value)
        if not form.is_valid():
            raise Refused(place_form=form)
        dated = self.since_and_reason()
        sent.claim(key, digest)
        try:
            made = building.add_places(by=self.by, die=self.die, places=form.cleaned_data["specs"], **dated)
        except (EntryRefused, ChangeRefused) as refused:
            sent.take_back(key)
            form.add_error(_FIELD.get(refused.field, refused.field) if _has(form, refused.field) else None,
                           str(refused))  # fmt: skip
            raise Refused(place_form=form) from refused
        return self.to_spot(spot["side"], spot["station"], made)

    def doubts(self) -> Answer:
        """What there is to doubt about what is being typed, for the script that asks while it is."""
        spot = self.spot(self.request.POST)
        found = []
        if spot:
            chosen = {name: spot[name] for name in ("kind", "side", "station")}
            found = forms.PlaceForm(self.request.POST, card=self.card, meant=self.meant, **chosen).typed_doubts
        return render(self.request, "maintenance/screens/die_card/form_doubts.html", {"doubts": found})

    def again(self) -> Answer:
        place = self.place_of(self.request.POST)
        made = building.again(
            by=self.by, position=place.position, mirrored="mirrored" in self.request.POST, **self.since_and_reason()
        )
        return self.to_spot(place.position.side, self.card.station(place.position.station_id), made)

    def take_back(self) -> Answer:
        for key in self.request.POST.getlist("place"):
            place = self.card.place(row_key(key))
            if place is not None:
                building.take_back_place(by=self.by, position=place.position)
        return self.to(station=self.request.POST.get("station"), side=self.request.POST.get("side"))

    def set_ticket(self) -> Answer:
        form = forms.TicketForm(self.request.POST)
        if not form.is_valid():
            raise Refused(ticket_form=form)
        c = form.cleaned_data
        since: dt.datetime | None = c["since"] if c["since_start"] == "change" else None
        tickets = self.request.session.get(TICKET, {})
        tickets[str(self.die.pk)] = {"since": since.isoformat() if since else "", "reason": c["reason"].strip()}
        self.request.session[TICKET] = tickets
        return self.to(station=self.request.POST.get("station"), side=self.request.POST.get("side"))

    def drop_ticket(self) -> Answer:
        tickets = self.request.session.get(TICKET, {})
        tickets.pop(str(self.die.pk), None)
        self.request.session[TICKET] = tickets
        return self.to()

    def open_pieces(self) -> Answer:
        form = forms.OpeningForm(self.request.POST, opening=self.opening)
        if not form.is_valid():
            raise Refused(opening_form=form)
        but = [key for text in self.request.POST.getlist("but") if (key := row_key(text))]
        building.open_pieces(by=self.by, die=self.die, opening=form.opening_of(form.cleaned_data), but=but)
        return self.to("opening")

    def copy_die(self) -> Answer:
        form = forms.CopyForm(self.request.POST)
        if not form.is_valid():
            raise Refused(copy_form=form)
        c = form.cleaned_data
        try:
            made = building.copy_die(
                by=self.by, die=self.die, code=c["code"], same_part=c["which"] == "same", part=form.part_of(),
                opening=form.opening_of(c),
            )  # fmt: skip
        except (EntryRefused, ChangeRefused) as refused:
            form.add_error("code" if refused.field == "code" else None, str(refused))
            raise Refused(copy_form=form) from refused
        return HttpResponseRedirect(reverse("maintenance:die_card", args=[made.pk]))

    def save_makes(self) -> Answer:
        form = makes.MakesForm(self.request.POST, die=self.die, in_service=self.card.in_service)
        if not form.is_valid() or not form.save(self.by):
            raise Refused(makes=form)
        messages.success(self.request, _("Saved."))
        return self.to("more")

    def change(self) -> Answer:
        place = self.place_of(self.request.POST)
        form = changing.ChangeForm(self.request.POST, card=self.card, place=place, meant=self.meant)
        if not form.is_valid():
            raise Refused(change_form=form)
        try:
            form.save(self.by)
        except cells.CellsRefused as refused:
            form.show(refused)
            raise Refused(change_form=form) from refused
        except (EntryRefused, ChangeRefused) as refused:
            form.add_error(None, str(refused))
            raise Refused(change_form=form) from refused
        self.request.session[MEANT] = self.request.POST.get("chg-meant", self.meant.value)
        return self.to(place=place.position.pk)

    def save_grid(self) -> Answer:
        try:
            changes, meanwhile = grid.save(by=self.by, die=self.die, data=self.request.POST, system=self.card.system)
        except grid.NotSaved as not_saved:
            raise Refused(grid=not_saved.grid) from not_saved
        places = {change.place.code for change in changes}
        messages.success(
            self.request,
            _("Saved: {cells} of {positions}.").format(
                cells=ngettext("{n} cell", "{n} cells", len(changes)).format(n=len(changes)),
                positions=ngettext("{n} position", "{n} positions", len(places)).format(n=len(places)),
            ),
        )
        for told in meanwhile:
            messages.info(self.request, grid.said(told))
        return self.to("places")

    def grid_doubts(self) -> Answer:
        found = grid.doubts(grid.sent(self.card, self.request.POST))
        return render(self.request, "maintenance/screens/die_card/form_doubts.html",
                      {"doubts": found, "named": True})  # fmt: skip

    def end(self) -> Answer:
        place, form = self.place_of(self.request.POST), forms.ReasonForm(self.request.POST)
        if not form.is_valid():
            raise Refused(end_form=form)
        c = form.cleaned_data
        try:
            building.end_place(by=self.by, position=place.position, at=c["at"], reason=c["reason"],
                               to_shelf=form.to_shelf)  # fmt: skip
        except (EntryRefused, ChangeRefused) as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            raise Refused(str(refused), end_form=form) from refused
        return self.to()

    def end_station(self) -> Answer:
        station, form = self.station_of(self.request.POST), forms.ReasonForm(self.request.POST)
        if not form.is_valid():
            raise Refused(end_form=form)
        c = form.cleaned_data
        building.end_station(by=self.by, station=station, at=c["at"], reason=c["reason"], to_shelf=form.to_shelf)
        return self.to()

    def strike(self) -> Answer:
        data = self.request.POST
        changing.strike(by=self.by, die=self.die, key=row_key(data.get("amendment")),
                        reason=data.get("strike-reason", ""))  # fmt: skip
        return self.to("history")

    def paste(self) -> Answer:
        text = self.request.POST.get("cells", "")
        read = paste.read(text, self.card)
        if "save" not in self.request.POST or not read.is_fine:
            raise Refused(paste=read, cells=text)
        dated = self.since_and_reason()
        made = save_paste(self.by, self.die, self.card, read, dated)
        return self.to(saved=[p.pk for p in made][:MOST_SAVED])


MOST_SAVED = 40

ACTS: dict[str, Callable[[DieCard], Answer]] = {
    "station": DieCard.add_station,
    "move": DieCard.move_station,
    "name": DieCard.name_station,
    "drop station": DieCard.drop_station,
    "copy station": DieCard.copy_station,
    "place": DieCard.add_place,
    "doubts": DieCard.doubts,
    "again": DieCard.again,
    "take back": DieCard.take_back,
    "ticket": DieCard.set_ticket,
    "drop ticket": DieCard.drop_ticket,
    "opening": DieCard.open_pieces,
    "copy": DieCard.copy_die,
    "change": DieCard.change,
    "end": DieCard.end,
    "end station": DieCard.end_station,
    "strike": DieCard.strike,
    "paste": DieCard.paste,
    "makes": DieCard.save_makes,
    "grid": DieCard.save_grid,
    "grid doubts": DieCard.grid_doubts,
}

# What the actions call a figure, and the field on the form that says it.
_FIELD = {
    "cut_length_mm": "cut_length",
    "gap_mm": "gap",
    "hardness_hrc": "hardness",
    "length_mm": "length",
    "grind_allowance_mm": "allowance",
    "seat_mm": "seat",
    "x_mm": "x",
    "y_mm": "y",
    "stroke_share": "share",
    "opening_life_hits": "life_hits",
    "opening_hits_since_sharpening": "since_sharpening",
}


def _has(form, field: str) -> bool:
    return _FIELD.get(field, field) in form.fields


def _typed(data) -> list[tuple[str, str]]:
    return [(name, value) for name in data if name not in NOT_OF_THE_FORM for value in data.getlist(name)]


def _with_fresh_key(data):
    data = data.copy()
    data["key"] = forms.fresh_key()
    return data


def save_paste(by: write.Actor, die: Die, card: cards.Card, read: paste.Paste, dated: dict):
    """All rows of a paste, with the stations that they name first, or none."""
    with saving():
        stations = {station.code.casefold(): station for station in card.stations}
        for code in read.new_stations:
            stations[code.casefold()] = build.add_station(by=by.user, die=die, code=code)
        specs = [
            replace(row.spec, station=stations.get(row.station.casefold())) for row in read.rows if row.spec is not None
        ]
        specs.sort(key=lambda spec: bool(spec.upper_of))
        return building.add_places(by=by, die=die, places=specs, **dated)


def kinds_of(side: str, in_a_station: bool) -> list[Kind]:
    """The kinds that may stand on a side, those first that belong there."""
    fits = [kind for kind in KINDS.values() if kind.side == side or kind.shape in ("guide", "plate", "spring", "pin")]
    return sorted(fits, key=lambda kind: (belongs(kind.key) != in_a_station, kind.side != side))


_WORDS = (  # of an operation, and the punch that does it
    ("semi", "semi_pierce_punch"),
    ("pierce", "pierce_punch"),
    ("pilot", "pilot"),
    ("notch", "notch_punch"),
    ("slot", "shape_punch"),
    ("window", "shape_punch"),
    ("trim", "trim_punch"),
    ("cut", "cut_off_punch"),
    ("bend", "forming_punch"),
    ("form", "forming_punch"),
    ("draw", "forming_punch"),
)


def _by_operation(operation: str, side: str, kinds: list[Kind]) -> Kind:
    word = next((kind for word, kind in _WORDS if word in operation.casefold()), "pierce_punch")
    key = word if side == "upper" else PARTNER.get(word, "lifter")
    return KINDS[key] if KINDS[key] in kinds else kinds[0]


def lead(card: cards.Card) -> str:
    """What the die is made of, in a sentence."""
    places, stations, cuts = len(card.places), len(card.stations), card.cuts
    if not places:
        return _("Nothing is on its strip yet. Add stations along it, then tap a spot above or below the strip.")
    length = sum(cut.length_mm for cut in cuts)
    made = {
        "places": ngettext("{n} place", "{n} places", places).format(n=places),
        "stations": ngettext("{n} station", "{n} stations", stations).format(n=stations),
        "cuts": ngettext("{n} cut", "{n} cuts", len(cuts)).format(n=len(cuts)),
        "length": units.show(length, "length_mm", card.system),
    }
    sentence = _("{places} in {stations}, {cuts} of {length} in all.") if cuts else _("{places} in {stations}.")
    doubts = len(card.doubted)
    if not doubts:
        return sentence.format(**made)
    doubted = ngettext("{n} thing to look at, below.", "{n} things to look at, below.", doubts)
    return f"{sentence.format(**made)} {doubted.format(n=doubts)}"
