"""The page on which a newer revision, or another spare, takes the place of one."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth.mixins import UserPassesTestMixin
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views import View

from diestore.access import plants, roles
from diestore.frame.fields import MomentField, Picks, minute
from diestore.register import amendments, successors
from diestore.register.models import Item
from diestore.register.writing import ChangeRefused
from maintenance.log import changes, purchase_reads, revisions, write

OFFERED = 40
USABLE, RETIRED = Item.OldStock.USABLE, Item.OldStock.RETIRED
# What becomes of the old pieces, as it is asked: what they are from then on, and what happens to them at once.
FATES = {
    "usable": (USABLE, revisions.LATER, "Still usable: they are used up first"),
    "later": (RETIRED, revisions.LATER, "Retired, left there for now"),
    "scrap": (RETIRED, revisions.SCRAP, "Retired, and scrapped now"),
    "send back": (RETIRED, revisions.SEND_BACK, "Retired, and returned to the supplier now"),
}


class RevisionForm(forms.Form):
    opened = forms.IntegerField(required=False, widget=forms.HiddenInput)
    newer = forms.CharField(
        label="What takes its place?", max_length=120, help_text="Code and revision, as in the catalogue: PP-6.0 B.",
        widget=forms.TextInput({"list": "newer", "autocomplete": "off"}),
        error_messages={"required": "Name the newer one.", "max_length": "Say it in 120 letters."},
    )  # fmt: skip
    fate = forms.ChoiceField(
        label="The old pieces", choices=[(key, words) for key, (_, _, words) in FATES.items()], widget=Picks,
        error_messages={"required": "Say what becomes of the old pieces.", "invalid_choice": "Pick one of these."},
    )  # fmt: skip
    reason = forms.CharField(
        label="What changed on the drawing?", max_length=300,
        widget=forms.TextInput({"autocomplete": "off", "placeholder": "radius 0.2 instead of 0.1"}),
        error_messages={"required": "Say what changed.", "max_length": "Say it in 300 letters at most."},
    )  # fmt: skip

    def __init__(self, data=None, *, item: Item) -> None:
        super().__init__(data, initial={"opened": amendments.newest_of(item)})
        self.fields["at"] = MomentField(label="Since when?", initial=minute(timezone.localtime()))

    def clean_newer(self) -> Item:
        code = " ".join(self.cleaned_data["newer"].replace("\x00", "").split())
        bare, _, revision = code.rpartition(" ")
        found = list(Item.objects.filter(code__iexact=bare, revision__iexact=revision)) if bare else []
        found = found or list(Item.objects.filter(code__iexact=code))
        if not found:
            raise forms.ValidationError(f"There is no spare “{code}”. Enter it in the register first, then come back.")
        if len(found) > 1:
            some = ", ".join(sorted(str(one) for one in found))
            raise forms.ValidationError(f"“{code}” is there more than once: {some}. Add the revision.")
        return found[0]


class Revision(UserPassesTestMixin, View):
    """For whoever changes the catalogue of spares."""

    raise_exception = True

    def test_func(self) -> bool:
        return any(self.request.user.has_perm(right) for right in (roles.EDIT_REGISTER, roles.EDIT_SPARES))

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        item = self._item(pk)
        return self._show(request, item, RevisionForm(item=item))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        item = self._item(pk)
        form = RevisionForm(request.POST, item=item)
        if not form.is_valid():
            return self._show(request, item, form, status=422)
        c = form.cleaned_data
        old_stock, pieces, _ = FATES[c["fate"]]
        theirs = plants.all_seen(request.user)
        try:
            with changes.following() as outcome:
                revisions.replace(
                    by=write.Actor(user=request.user), old=item, newer=c["newer"], old_stock=old_stock, at=c["at"],
                    reason=c["reason"], pieces=pieces, plants=theirs, opened=c["opened"],
                )  # fmt: skip
        except ChangeRefused as refused:
            field = {"changed_at": "at", "old_stock": "fate", "pieces": "fate"}.get(refused.field, refused.field)
            form.add_error(field if field in form.fields else None, str(refused))
            return self._show(request, self._item(pk), form, status=422)
        messages.success(request, f"{c['newer']} took the place of {item}. Its places follow.")
        if outcome.behind:
            messages.warning(request, "Not every forecast could be made anew; the night does it.")
        for line in purchase_reads.open_lines_of(item.pk, [plant.pk for plant in theirs]):
            messages.warning(request, line_words(line))
        return redirect("diestore:spares_card", pk=item.pk)

    @staticmethod
    def _item(pk: int) -> Item:
        return get_object_or_404(Item.objects.select_related("newer"), pk=min(pk, 2**63 - 1))

    def _show(self, request: HttpRequest, item: Item, form, *, status: int = 200) -> HttpResponse:
        theirs = plants.all_seen(request.user)
        lies = revisions.lies_there(theirs, item)
        places = list(successors.places_of(item, timezone.now()))
        alike = Item.objects.filter(retired_at=None, newer=None).exclude(pk=item.pk)
        offered = [*alike.filter(code=item.code).order_by("-revision", "-pk")[:OFFERED]]
        offered += [*alike.filter(kind=item.kind).exclude(code=item.code).order_by("code", "-revision", "pk")[:OFFERED]]
        shown = {
            "item": item, "form": form, "offered": offered, "several": len(theirs) > 1,
            "lies": [(plant, lies[plant.pk]) for plant in theirs if plant.pk in lies],
            "places": len(places), "dies": len({place.die_id for place in places}),
            "lines": [
                (line, line_words(line), reverse("maintenance:purchase", args=[line.order_id]))
                for line in purchase_reads.open_lines_of(item.pk, [plant.pk for plant in theirs])
            ],
        }  # fmt: skip
        return render(request, "maintenance/screens/revision/revision.html", shown, status=status)


def line_words(line) -> str:
    """An open line of an order for the old one, and what to do about it."""
    if line.order.placed_at is None:
        return f"Draft {line.order} names {line.quantity:,} {line.item}: take the line off before it is placed."
    return (
        f"Order {line.order} still brings {line.to_come:,} {line.item}: ask the supplier to change or to cancel them, "
        "or take them in as old pieces."
    )
