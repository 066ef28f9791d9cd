"""The pages of every card: its list, one row, a new one, its changes."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views import View

from diestore.access import plants, roles
from diestore.access.queries import system_of
from diestore.frame.tables import lay_out
from diestore.register import actions, amendments, changes
from diestore.register.models import Amendment, Die, Plant
from diestore.row_keys import row_key

from . import described, lists
from .described import Card
from .forms import NEVER_SO, CardForm, MergeForm, WhyForm

PAST_ON_CARD = 5
BELOW_AT_MOST = 25
REFUSED = 422
MEANWHILE = 409


class OfCard(View):
    """card: whose page it is. needs: whether it changes something."""

    card: Card = None
    needs_edit = False
    http_method_names = ("get", "head", "options", "post")

    def dispatch(self, request, *args, **kwargs):
        allowed = self.card.edits if self.needs_edit else self.card.sees
        if not allowed(request.user):
            raise PermissionDenied(f"Not allowed: {self.card.many}.")
        return super().dispatch(request, *args, **kwargs)

    def found(self, request, pk: int):
        return get_object_or_404(self.card.rows(request.user), pk=pk)

    def shown(self, request, **more) -> dict:
        return {
            "card": self.card,
            "edits": self.card.edits(request.user),
            "new": self.card.address("new"),
            "system": system_of(request.user),
        } | more


class Register(View):
    """What there is to look up and to type: one page that names all lists."""

    def get(self, request):
        groups = [(title, said) for title, keys in _GROUPS if (said := list(_offered(request, keys)))]
        if not any(card.sees(request.user) for some in described.BY_TABLE.values() for card in some):
            raise PermissionDenied("No list of the register is yours to see.")
        prints = any(map(request.user.has_perm, (roles.EDIT_REGISTER, roles.EDIT_SPARES, roles.LOG_SHARPENING)))
        labels = reverse("maintenance:labels") if prints else ""
        return render(request, "diestore/cards/register.html", {"groups": groups, "labels": labels})


# In the order in which a new shop needs them.
_GROUPS = (
    ("Dies and what they make", ("dies", "parts", "volumes", "jobs", "customers")),
    ("On the shop floor", ("presses", "stocks", "people", "plants")),
    ("The bench", ("bench_hours", "absences", "grinders")),
    ("Bought", ("spares", "suppliers")),
    ("Money", ("rates",)),
)


def _offered(request, keys):
    known = {card.key: card for some in described.BY_TABLE.values() for card in some}
    for key in keys:
        if key == "dies":
            yield {
                "title": "Dies",
                "intro": "Each die with its strip, positions and pieces.",
                "url": reverse("diestore:dies"),
                "new": reverse("diestore:die_new") if request.user.has_perm(roles.EDIT_REGISTER) else "",
                "one": "die",
            }
        elif key == "people" and request.user.has_perm(roles.MANAGE_PEOPLE):
            yield {"title": "People", "intro": "Names on entries, and their PINs.", "url": reverse("diestore:people")}
        elif key in known and known[key].sees(request.user):
            card = known[key]
            yield {
                "title": card.many.capitalize(),
                "intro": card.intro,
                "url": card.address(),
                "new": card.address("new") if card.edits(request.user) else "",
                "one": card.one,
            }


class CardList(OfCard):
    def get(self, request):
        card = self.card
        asked = lists.filter_of(card)(request.GET, queryset=card.rows(request.user))
        rows = asked.qs.order_by(*(card.order or card.model._meta.ordering), "pk")
        table = lists.table_of(card)(
            rows,
            system=system_of(request.user),
            exclude=("plant",) if "plant" in card.columns and described.only_plant(request.user) else (),
        )
        return render(
            request,
            "diestore/cards/list.html",
            self.shown(
                request,
                table=lay_out(request, table),
                filter=asked,
                empty=not card.rows(request.user).exists(),
                rows_of_taps=lists.taps_of(card, request),
                kept={name: value for name, value in request.GET.items() if name in asked.filters and name != "q"},
                clear=request.path if request.GET else "",
            ),
        )


class NewRow(OfCard):
    needs_edit = True

    def get(self, request):
        row = self._row(request)
        form = CardForm(card=self.card, row=row, user=request.user, system=system_of(request.user))
        return self._show(request, form)

    def post(self, request):
        row = self._row(request)
        form = CardForm(request.POST, card=self.card, row=row, user=request.user, system=system_of(request.user))
        if not form.is_valid():
            return self._show(request, form, REFUSED)
        if "plant" in {field.name for field in row._meta.concrete_fields} and not Plant.objects.exists():
            row.plant = Plant.objects.create(code="main")  # the first row of a shop brings its plant
        for name in form.columns:
            column, value = self.card.model._meta.get_field(name), form.kept_value(name)
            setattr(row, name if column.is_relation else column.attname, value)
        _keep_to_plant(request, self.card, row)
        try:
            with changes.hearing() as said:
                actions.enter(by=request.user, row=row)
        except actions.ChangeRefused as refused:
            form.show(refused.errors, str(refused))
            return self._show(request, form, REFUSED)
        _say(request, f"{row} is entered.", row, self.card, said)
        return redirect(self.card.address("card", row.pk))

    def _row(self, request):
        row = self.card.model(**self.card.always)
        names = {field.name for field in row._meta.get_fields()}
        if "plant" in names and row.plant_id is None:
            row.plant = next(iter(plants.shown(request.user)), None)
        for below in self.card.typed:
            asked = row_key(request.GET.get(below.name))
            if asked is not None and row._meta.get_field(below.name).is_relation:
                setattr(row, row._meta.get_field(below.name).attname, asked)
        return row

    def _show(self, request, form, status: int = 200):
        return render(request, "diestore/cards/new.html", self.shown(request, form=form), status=status)


class OneRow(OfCard):
    """A row, to be read and, by whoever may, changed. Each button does one thing."""

    def get(self, request, pk: int):
        row = self.found(request, pk)
        return self._show(request, row, self._form(request, row))

    def post(self, request, pk: int):
        if not self.card.edits(request.user):
            raise PermissionDenied(f"Not allowed: {self.card.many}.")
        row = self.found(request, pk)
        act = {"out": self._use, "back": self._use, "merge": self._merge, "delete": self._delete}
        for name, do in act.items():
            if name in request.POST:
                return do(request, row)
        return self._save(request, row)

    def _form(self, request, row, data=None) -> CardForm:
        return CardForm(data, card=self.card, row=row, user=request.user, system=system_of(request.user))

    def _save(self, request, row):
        form = self._form(request, row, request.POST)
        if not form.is_valid():
            return self._show(request, row, form, status=REFUSED)
        asked = {"by": request.user, "row": row, "values": form.values, "opened": form.opened_at}
        try:
            _keep_values_to_plant(request, form.values)
            with changes.hearing() as said:
                if form.cleaned_data.get("how") == NEVER_SO:
                    reason = form.cleaned_data["reason"] or actions.NEVER_SO
                    actions.correct(**asked, reason=reason)
                else:
                    actions.amend(**asked, at=form.at, reason=form.cleaned_data["reason"])
        except actions.ChangedMeanwhile as meanwhile:
            row = self.found(request, row.pk)
            form.row = row
            told = [amendments.told(one, system_of(request.user)) for one in meanwhile.since]
            return self._show(request, row, form.again(request.user), status=MEANWHILE, meanwhile=(meanwhile, told))
        except actions.ChangeRefused as refused:
            form.show(refused.errors, str(refused))
            return self._show(request, self.found(request, row.pk), form, status=REFUSED)
        row = self.found(request, row.pk)
        _say(request, "Saved.", row, self.card, said)
        return redirect(self.card.address("card", row.pk))

    def _use(self, request, row):
        out = "out" in request.POST
        do = actions.retire if out else actions.restore
        return self._act(request, row, lambda why: do(by=request.user, row=row, at=timezone.now(), reason=why),
                         self.card.out[2 if out else 3].format(row))  # fmt: skip

    def _delete(self, request, row):
        return self._act(request, row, lambda why: actions.delete(by=request.user, row=row, reason=why),
                         f"{row} is deleted.", then=self.card.address())  # fmt: skip

    def _merge(self, request, row):
        form = MergeForm(request.POST, rows=self.card.rows(request.user).exclude(pk=row.pk))
        if not form.is_valid():
            return self._show(request, row, self._form(request, row), status=REFUSED, merge=form)
        into = form.cleaned_data["into"]
        there = self.card.address("card", into.pk)
        return self._act(request, row, lambda why: actions.merge(by=request.user, row=row, into=into, reason=why),
                         f"{row} is joined to {into}.", then=there, merge=form)  # fmt: skip

    def _act(self, request, row, do, done: str, then: str = "", merge=None):
        why = WhyForm(request.POST, auto_id="act_%s")
        if not why.is_valid():
            return self._show(request, row, self._form(request, row), status=REFUSED, why=why)
        try:
            do(why.cleaned_data["reason"])
        except actions.ChangeRefused as refused:
            why.add_error(None, str(refused))
            row = self.card.rows(request.user).filter(pk=row.pk).first() or row
            return self._show(request, row, self._form(request, row), status=REFUSED, why=why)
        messages.success(request, done)
        return redirect(then or self.card.address("card", row.pk))

    def _show(self, request, row, form, *, status: int = 200, meanwhile=None, why=None, merge=None):
        edits = self.card.edits(request.user)
        retires = edits and _retires(row)
        merges = edits and any(f.name == "retired_at" for f in row._meta.get_fields())
        past = amendments.of_row(row)[:PAST_ON_CARD]
        return render(
            request,
            "diestore/cards/card.html",
            self.shown(
                request,
                row=row,
                form=form,
                facts=[
                    (t.label, _fact(row, t.name, system_of(request.user))) for t in self.card.typed_by(request.user)
                ],
                below=[_below(request, one, row) for one in self.card.below],
                doubts=self.card.doubts(row) if self.card.doubts else [],
                notes=self.card.notes(row, system_of(request.user)) if self.card.notes else [],
                past=[amendments.told(one, system_of(request.user)) for one in past],
                acts=[(label, described.page_of(name, row.pk)) for label, name in self.card.acts] if edits else [],
                gone=_retires(row) and actions.is_retired(row),
                retires=retires,
                merges=merges,
                meanwhile=meanwhile,
                why=why or WhyForm(auto_id="act_%s"),
                merge=merge or (MergeForm(rows=self.card.rows(request.user).exclude(pk=row.pk)) if merges else None),
                acts_open=bool(why or merge),
            ),
            status=status,
        )


class Past(OfCard):
    """What a row was, change by change; the lead strikes out what was wrong."""

    def get(self, request, pk: int):
        row = self.found(request, pk)
        told = [amendments.told(one, system_of(request.user)) for one in amendments.of_row(row)]
        return render(request, "diestore/cards/past.html", self.shown(request, row=row, past=told))


class StrikeChange(View):
    """Strike a change out, after a look at what it says. Who may change the row may."""

    http_method_names = ("get", "head", "options", "post")

    def get(self, request, pk: int):
        return self._show(request, self._change(request, pk), WhyForm())

    def post(self, request, pk: int):
        change, form = self._change(request, pk), WhyForm(request.POST)
        if not form.is_valid():
            return self._show(request, change, form, REFUSED)
        try:
            actions.take_back(by=request.user, amendment=change, reason=form.cleaned_data["reason"])
        except actions.ChangeRefused as refused:
            form.add_error(None, str(refused))
            return self._show(request, change, form, REFUSED)
        messages.success(request, "Struck out. What it changed is as it was before.")
        return redirect(back_from(request, change))

    def _change(self, request, pk: int) -> Amendment:
        change = get_object_or_404(Amendment.objects.select_related("die"), pk=pk)
        plant = change.plant_id or (change.die.plant_id if change.die else None)
        if plant is not None and not plants.sees(request.user, plant):
            raise Http404("Of a plant that the person does not see.")
        cards = described.BY_TABLE.get(change.table)
        allowed = (
            any(card.edits(request.user) for card in cards) if cards else request.user.has_perm(roles.EDIT_REGISTER)
        )
        if not allowed:
            raise PermissionDenied("This change is not yours to strike out.")
        return change

    def _show(self, request, change, form, status: int = 200):
        shown = {"told": amendments.told(change, system_of(request.user)), "form": form,
                 "back": back_from(request, change)}  # fmt: skip
        return render(request, "diestore/cards/strike.html", shown, status=status)


def back_from(request, change: Amendment) -> str:
    """Where a change is seen: its row's card, the die's page, or the register."""
    model = amendments.model_of(change.table)
    row = model._base_manager.filter(pk=change.row_key).first()
    card = described.of_row(row) if row is not None else None
    if card is not None and card.sees(request.user):
        return card.address("past", row.pk)
    if isinstance(row, Die) or change.die_id:
        return reverse("diestore:die", args=[change.die_id or row.pk])
    cards = described.BY_TABLE.get(change.table)
    return cards[0].address() if cards else reverse("diestore:register")


def _retires(row) -> bool:
    return isinstance(row, Die) or any(f.name in ("retired_at", "closed_at") for f in row._meta.get_fields())


def _keep_to_plant(request, card: Card, row) -> None:
    if card.plant == "plant" and not plants.sees(request.user, row.plant_id):
        raise PermissionDenied("Not of a plant that the person sees.")


def _keep_values_to_plant(request, values: dict) -> None:
    plant = values.get("plant")
    if plant is not None and not plants.sees(request.user, plant.pk):
        raise PermissionDenied("Not of a plant that the person sees.")


def _say(request, done: str, row, card: Card, said: list[str]) -> None:
    messages.success(request, done)
    for sentence in said:
        messages.info(request, sentence)
    for doubt in card.doubts(row) if card.doubts else ():
        messages.warning(request, doubt)


def _fact(row, name: str, system) -> str:
    return amendments.as_read(row, name, amendments.stored(row, name), system)


def _below(request, below, row) -> dict:
    named = below.rows(row)
    rows = list((plants.within(named, request.user, below.plant) if below.plant else named)[: BELOW_AT_MOST + 1])
    return {
        "title": below.title,
        "rows": [
            (below.says(one), reverse(below.url_name, args=[one.pk]) if below.url_name else "")
            for one in rows[:BELOW_AT_MOST]
        ],
        "more": len(rows) > BELOW_AT_MOST,
        "new": f"{reverse(below.new)}?{below.column}={row.pk}" if below.new else "",
    }
