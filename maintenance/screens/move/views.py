"""The page on which a die is moved to another plant."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views import View

from diestore.access import plants, roles
from diestore.register.actions import ChangeRefused
from diestore.register.models import Die, Plant, Press
from maintenance.log import changes, moves


class MoveForm(forms.Form):
    to = forms.ModelChoiceField(
        label=gettext_lazy("To which plant?"),
        queryset=Plant.objects.none(),
        empty_label=None,
        error_messages={
            "required": gettext_lazy("Pick a plant."),
            "invalid_choice": gettext_lazy("Pick a plant of the list."),
        },
    )
    press = forms.ModelChoiceField(
        label=gettext_lazy("On which press does it run there?"),
        queryset=Press.objects.none(),
        required=False,
        empty_label=gettext_lazy("not known yet"),
        error_messages={"invalid_choice": gettext_lazy("Pick a press of the list.")},
    )
    reason = forms.CharField(
        label=gettext_lazy("Why?"),
        max_length=300,
        widget=forms.TextInput({"placeholder": gettext_lazy("the job goes there, the press here is full ...")}),
        error_messages={
            "required": gettext_lazy("Say why it is moved."),
            "max_length": gettext_lazy("Say it in 300 letters at most."),
        },
    )

    def __init__(self, data=None, *, die: Die, user) -> None:
        super().__init__(data)
        others = plants.within(Plant.objects.exclude(pk=die.plant_id).order_by("code"), user, "pk")
        self.fields["to"].queryset = others
        self.fields["press"].queryset = Press.objects.filter(plant__in=others).select_related("plant").order_by("code")
        if others.count() > 1:
            self.fields["press"].label_from_instance = lambda press: f"{press}, {press.plant}"


class Move(PermissionRequiredMixin, View):
    """For whoever keeps the register, and sees both plants."""

    raise_exception = True
    permission_required = roles.EDIT_REGISTER

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        die = self._die(request, pk)
        return self._show(request, die, MoveForm(die=die, user=request.user))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        die = self._die(request, pk)
        form = MoveForm(request.POST, die=die, user=request.user)
        if not form.is_valid():
            return self._show(request, die, form, status=422)
        c = form.cleaned_data
        try:
            with changes.following() as outcome:
                moves.move_die(by=request.user, die=die, to=c["to"], press=c["press"], reason=c["reason"])
        except ChangeRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, die, form, status=422)
        if outcome.behind:
            messages.warning(request, _("It is moved, but its forecast could not be made anew."))
        moved = _("{die} stands in {plant} now. Its open jobs and the pieces in it went along.")
        messages.success(request, moved.format(die=die, plant=c["to"]))
        return redirect("diestore:die", pk=die.pk)

    def _die(self, request: HttpRequest, pk: int) -> Die:
        dies = plants.within(Die.objects.select_related("plant"), request.user)
        return get_object_or_404(dies, pk=min(pk, 2**63 - 1))

    def _show(self, request: HttpRequest, die: Die, form: MoveForm, *, status: int = 200) -> HttpResponse:
        return render(request, "maintenance/screens/move/move.html", {"die": die, "form": form}, status=status)
