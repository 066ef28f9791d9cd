"""The places of a die as a grid: every figure in its cell, one form for all, only what was changed is written.

A cell that was left as it was says nothing, so what somebody else changed meanwhile stays. Where two changed the same
cell, the second is told what stands there now, and a second press of the button decides.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from django import forms
from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from diestore.frame.fields import MomentField
from diestore.handbook import build_doubts
from diestore.handbook.gaps import GapMeant
from diestore.register import amendments
from diestore.register.models import Amendment, Die
from diestore.row_keys import row_key
from maintenance.log import write

from . import card as cards
from . import cells, changing
from .card import Card, CardPlace
from .forms import now_minute

COLUMNS = ("code", "station", "cut_length", "gap", "tool_steel", "hardness", "coating", "length", "allowance",
           "height_group", "seat", "x", "y", "share", "item")  # fmt: skip
HEADS = {
    "code": gettext_lazy("Position"),
    "station": gettext_lazy("Station"),
    "cut_length": gettext_lazy("Cut"),
    "allowance": gettext_lazy("Grind off"),
    "x": gettext_lazy("Along"),
    "y": gettext_lazy("Across"),
    "share": gettext_lazy("Works in"),
    "height_group": gettext_lazy("Group"),
}
UNITS = {"hardness": "", "share": gettext_lazy("% of strokes")}
OFFERS = {"station": "stations", "tool_steel": "steels", "coating": "coatings", "item": "spares"}
LONGEST_BEFORE = 400_000


def called(name: str) -> str:
    return HEADS.get(name, cells.FIGURES[name].label)


@dataclass(frozen=True, kw_only=True)
class Cell:
    """key: the name of its field. text: what stands in it. instead: what is read where nothing is typed."""

    key: str
    name: str
    text: str = ""
    wrong: str = ""
    changed: bool = False
    instead: str = ""

    @property
    def is_typed(self) -> bool:
        return bool(self.key)

    @property
    def label(self) -> str:
        return called(self.name).casefold()

    @property
    def offers(self) -> str:
        return OFFERS.get(self.name, "")


@dataclass(frozen=True, kw_only=True)
class Row:
    place: CardPlace
    cells: list[Cell]
    wrong: str = ""


@dataclass(frozen=True, kw_only=True)
class Change:
    """A cell that was typed otherwise than it was shown. was: as it was shown, now: as it stands by now."""

    place: CardPlace
    name: str
    text: str
    was: str
    now: str

    @property
    def key(self) -> str:
        return key_of(self.place, self.name)


def key_of(place: CardPlace, name: str) -> str:
    return f"at{place.position.pk}-{name}"


class WhyForm(forms.Form):
    """Since when all that was changed is so, and why."""

    def __init__(self, data=None, *, in_service: bool) -> None:
        super().__init__(data, prefix="grid")
        if in_service:
            self.fields["how"] = forms.ChoiceField(label=_("It is"), choices=changing.HOW, initial=changing.SINCE,
                                                   widget=forms.RadioSelect)  # fmt: skip
            self.fields["at"] = MomentField(label=_("Since when?"), required=False, initial=now_minute())
            self.fields["reason"] = forms.CharField(
                label=_("Why?"), max_length=300, widget=forms.TextInput({"autocomplete": "off"}),
                error_messages={"required": _("Say why."), "max_length": _("300 letters are the most.")},
            )  # fmt: skip

    def clean(self) -> dict:
        cleaned = super().clean()
        if self.fields and self.is_dated and cleaned.get("at") is None and "at" not in self.errors:
            self.add_error("at", _("Say since when it is so."))
        return cleaned

    @property
    def is_dated(self) -> bool:
        return bool(self.fields) and self.cleaned_data.get("how") == changing.SINCE


@dataclass(kw_only=True)
class Grid:
    """typed: by the key of a cell what was typed, as far as it was sent. was: what the page had shown."""

    card: Card
    meant: GapMeant
    opened: int
    why: WhyForm
    typed: dict[str, str] = field(default_factory=dict)
    was: dict[str, str] = field(default_factory=dict)
    wrong: dict[str, str] = field(default_factory=dict)
    rows_wrong: dict[int, str] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)  # what holds for the grid as a whole
    meanwhile: list[amendments.Told] = field(default_factory=list)

    @property
    def heads(self) -> list[tuple[str, str]]:
        """What a column is called, and its unit."""
        found = []
        for name in self.columns:
            figure = cells.FIGURES[name]
            unit = cells.unit_of(figure, self.card.system) if figure.quantity else UNITS.get(name, "")
            found.append((called(name), self.meant.value if name == "gap" else unit))
        return found

    @property
    def columns(self) -> list[str]:
        """Those that any place has."""
        has = {name for place in self.card.places for name in cells.figures_of(place)}
        return [name for name in COLUMNS if name in has]

    @property
    def rows(self) -> list[Row]:
        return [
            Row(
                place=place,
                cells=list(self._cells(place)),
                wrong=self.rows_wrong.get(place.position.pk, ""),
            )
            for place in self.card.places
        ]

    def _cells(self, place: CardPlace) -> Iterator[Cell]:
        has = cells.figures_of(place)
        for name in self.columns:
            if name not in has:
                yield Cell(key="", name=name, instead=self._instead(place, name))
                continue
            key, stands = key_of(place, name), cells.shown(place, name, self.meant)
            text = self.typed.get(key, stands)
            yield Cell(key=key, name=name, text=text, changed=text != stands, wrong=self.wrong.get(key, ""))

    @staticmethod
    def _instead(place: CardPlace, name: str) -> str:
        if name in ("cut_length", "gap") and place.cut is not None and place.partner is not None:
            return _("as {code}").format(code=place.partner.code)
        return ""

    @property
    def before(self) -> str:
        """What each cell shows, for the form to carry: what is sent back like that was left alone."""
        return json.dumps({
            key_of(place, name): cells.shown(place, name, self.meant)
            for place in self.card.places for name in cells.figures_of(place)
        })  # fmt: skip

    @property
    def errors(self) -> list[tuple[str, str, str]]:
        """Key, what it is of, sentence."""
        found = []
        for place in self.card.places:
            if words := self.rows_wrong.get(place.position.pk):
                found.append((key_of(place, "code"), place.code, words))
            for name in cells.figures_of(place):
                if words := self.wrong.get(key_of(place, name)):
                    found.append((key_of(place, name), f"{place.code}, {called(name).casefold()}", words))
        return found

    @property
    def is_amiss(self) -> bool:
        return bool(self.wrong or self.rows_wrong or self.told or self.why.errors)


def shown(card: Card, meant: GapMeant) -> Grid:
    return Grid(card=card, meant=meant, opened=newest(), why=WhyForm(in_service=card.in_service))


def newest() -> int:
    return Amendment.objects.order_by("-pk").values_list("pk", flat=True).first() or 0


def said(told: amendments.Told) -> str:
    """What somebody else changed, in a sentence."""
    lines = "; ".join(
        _("{label} from {was} to {now}").format(label=line.label, was=line.was, now=line.now) for line in told.lines
    )
    return _("Meanwhile {who} changed {what}: {lines}.").format(
        who=told.amendment.who or _("somebody"), what=told.amendment.called, lines=lines
    )


class NotSaved(Exception):
    """What was typed, with what is wrong with it."""

    def __init__(self, grid: Grid) -> None:
        super().__init__("Not saved yet.")
        self.grid = grid


def save(*, by: write.Actor, die: Die, data: Mapping[str, str], system) -> tuple[list[Change], list[amendments.Told]]:
    """All cells that were changed, or none. Returns them, and what others changed since the page was opened.

    Raises NotSaved.
    """
    with transaction.atomic():
        Die.objects.select_for_update(no_key=True).get(pk=die.pk)
        card = cards.read(die, system)
        grid = sent(card, data)
        changes = _changes(grid)
        grid.meanwhile = _since(grid, data)
        _check(grid, changes, data)
        values = _read(grid, changes)
        if grid.is_amiss:
            raise NotSaved(grid)
        _write(by, grid, values)
        if grid.is_amiss:
            raise NotSaved(grid)
    return changes, grid.meanwhile


def sent(card: Card, data: Mapping[str, str]) -> Grid:
    """The grid with what was typed in it."""
    try:
        meant = GapMeant(data.get("meant", ""))
    except ValueError:
        meant = GapMeant.PERCENT_A_SIDE
    grid = Grid(card=card, meant=meant, opened=newest(), why=WhyForm(data, in_service=card.in_service))
    grid.typed = {key: data[key].strip() for key in data if key.startswith("at") and "-" in key}
    grid.was = _before(data)
    return grid


def _before(data: Mapping[str, str]) -> dict[str, str]:
    text = data.get("before", "")
    if not text or len(text) > LONGEST_BEFORE:
        return {}
    try:
        loaded = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return {str(key): str(value) for key, value in loaded.items()} if isinstance(loaded, dict) else {}


def _changes(grid: Grid) -> list[Change]:
    found = []
    for place in grid.card.places:
        for name in cells.figures_of(place):
            key = key_of(place, name)
            now = cells.shown(place, name, grid.meant)
            was, text = grid.was.get(key, now), grid.typed.get(key)
            if text is None or text == was:
                grid.typed.pop(key, None)  # left alone: it shows what stands there now
            elif text != now:
                found.append(Change(place=place, name=name, text=text, was=was, now=now))
    return found


def _since(grid: Grid, data: Mapping[str, str]) -> list[amendments.Told]:
    """What others changed of the die since the page was opened."""
    opened = row_key(data.get("opened"))
    if opened is None:
        return []
    found = changing.changes_of(grid.card.die).filter(pk__gt=opened).order_by("pk")
    return [amendments.told(row, grid.card.system) for row in found]


def _check(grid: Grid, changes: list[Change], data: Mapping[str, str]) -> None:
    """What was changed by two, what is gone, and whether there is anything to save."""
    there = {key_of(place, name) for place in grid.card.places for name in cells.figures_of(place)}
    lost = [key for key, text in grid.typed.items() if key not in there and text != grid.was.get(key, text)]
    if lost:
        sentence = ngettext(
            "{n} cell that you changed is no longer there: somebody ended the position, or something else sits in it "
            "now.",
            "{n} cells that you changed are no longer there: somebody ended the position, or something else sits in it "
            "now.",
            len(lost),
        )
        grid.told.append(sentence.format(n=len(lost)))
    for change in changes:
        if change.was != change.now:
            grid.wrong[change.key] = (
                _("Somebody changed this from {was} to {now} while you had it open. Save again to put {text} there.")
            ).format(was=change.was or _("nothing"), now=change.now or _("nothing"), text=change.text or _("nothing"))
    if not changes:
        grid.why = WhyForm(in_service=grid.card.in_service)
        if not grid.told:
            grid.told.append(_("No cell is other than it was."))


def _read(grid: Grid, changes: list[Change]) -> dict[int, dict[str, object]]:
    """By place the values; what cannot be read is wrong at its cell."""
    called = {place.position.pk: place.code for place in grid.card.places}
    called |= {c.place.position.pk: c.text for c in changes if c.name == "code"}
    gone = [position.code for position in grid.card.gone]
    values: dict[int, dict[str, object]] = {}
    reads = cells.Reads(card=grid.card, meant=grid.meant)
    dated = grid.card.in_service and grid.why.is_valid() and grid.why.is_dated
    for change in changes:
        if change.key in grid.wrong:
            continue
        key = change.place.position.pk
        reads.names = [*gone, *(code for other, code in called.items() if other != key)]
        try:
            if change.name == "code" and dated:
                raise cells.EntryRefused(changing.ONLY_PUT_RIGHT)
            values.setdefault(key, {})[change.name] = reads.read(change.place, change.name, change.text)
        except cells.REFUSALS as error:
            grid.wrong[change.key] = str(error)
    return values


def _write(by: write.Actor, grid: Grid, values: dict[int, dict[str, object]]) -> None:
    c = grid.why.cleaned_data
    at: dt.datetime | None = c["at"] if grid.why.is_dated else None
    by_key = {place.position.pk: place for place in grid.card.places}
    for key, new in values.items():
        place = by_key[key]
        try:
            with transaction.atomic():
                cells.save(by=by, place=place, new=new, at=at, reason=c.get("reason") or changing.ENTERING)
        except cells.CellsRefused as refused:
            for name, sentence in refused.wrong.items():
                if name in new:
                    grid.wrong[key_of(place, name)] = sentence
                else:
                    grid.rows_wrong[key] = sentence
        except cells.REFUSALS as refused:
            grid.rows_wrong[key] = str(refused)


# --- doubts while somebody types --------------------------------------------------------------------------------------


def doubts(grid: Grid) -> list[build_doubts.Doubt]:
    """What there is to doubt about the die as it is typed, that there was not before."""
    values = _read(grid, _changes(grid))
    build = grid.card.build
    places, cuts = [], []
    cut_of = {place.cut.code: place.position.pk for place in grid.card.places
              if place.cut is not None and "gap" in cells.figures_of(place)}  # fmt: skip
    called = {place.code: place.position.pk for place in grid.card.places}
    for one in build.places:
        new = values.get(called[one.code], {})
        places.append(replace(one, **{of: new[name] for name, of in _OF_PLACE.items() if name in new}))
    for cut in build.cuts:
        new = values.get(cut_of.get(cut.code, 0), {})
        cuts.append(replace(cut, **{of: new[name] for name, of in _OF_CUT.items() if name in new}))
    known = {(doubt.place, doubt.text) for doubt in grid.card.doubts}
    found = build_doubts.doubts(replace(build, places=places, cuts=cuts))
    return [doubt for doubt in found if (doubt.place, doubt.text) not in known]


_OF_PLACE = {"tool_steel": "tool_steel", "hardness": "hardness_hrc", "length": "length_mm",
             "height_group": "height_group", "seat": "seat_mm"}  # fmt: skip
_OF_CUT = {"cut_length": "length_mm", "gap": "gap_mm"}
