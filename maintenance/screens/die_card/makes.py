"""What a die makes at a hit, and with which sets of inserts: one form for all of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from django import forms
from django.utils import timezone
from django.utils.translation import gettext as _

from diestore.frame.fields import WholeField
from diestore.register import actions
from diestore.register.models import Amendment, Die, Output, Part, Variant
from maintenance.log import write
from maintenance.log.rules import EntryRefused, saving

from .changing import ENTERING
from .forms import text_field


class MakesForm(forms.Form):
    """Parts a hit of each set of inserts as they stand, one more part, one more set."""

    def __init__(self, data=None, *, die: Die, in_service: bool) -> None:
        super().__init__(data, prefix="makes")
        self.die, self.in_service = die, in_service
        self.variants = list(die.variants.order_by("-is_default", "code"))
        self.outputs = list(Output.objects.filter(variant__die=die).select_related("part", "variant")
                            .order_by("variant__code", "pk"))  # fmt: skip
        for output in self.outputs:
            self.fields[f"hit{output.pk}"] = WholeField(
                label=_("{part} a hit").format(part=output.part), required=False, initial=output.parts_per_hit
            )
            self.fields[f"gone{output.pk}"] = forms.BooleanField(label=_("never made"), required=False)
        self.fields["part"] = text_field(_("Another part"), 80, list="parts")
        self.fields["hit"] = WholeField(label=_("Parts a hit"), required=False, placeholder="1")
        if len(self.variants) > 1:
            sets = [(str(v.pk), v.code) for v in self.variants]
            usual = next((str(v.pk) for v in self.variants if v.is_default), sets[0][0])
            self.fields["of"] = forms.ChoiceField(
                label=_("With the inserts"), choices=sets, initial=usual, required=False
            )
            self.fields["usual"] = forms.ChoiceField(
                label=_("Usual inserts"), choices=sets, initial=usual, required=False
            )
            for variant in self.variants:
                self.fields[f"name{variant.pk}"] = text_field(_("Inserts"), 40)
                self.fields[f"name{variant.pk}"].initial = variant.code
                if not variant.is_default:
                    self.fields[f"out{variant.pk}"] = forms.BooleanField(label=_("entered by mistake"), required=False)
        self.fields["another"] = text_field(_("Another set of inserts"), 40)
        self.fields["reason"] = text_field(_("Why?"), 300)
        newest = Amendment.objects.order_by("-pk").values_list("pk", flat=True).first() or 0
        self.fields["opened"] = forms.IntegerField(required=False, initial=newest, widget=forms.HiddenInput)

    # --- as the page draws it -----------------------------------------------------------------------------------------

    @property
    def made(self) -> Iterator[tuple[Output, forms.BoundField, forms.BoundField]]:
        for output in self.outputs:
            yield output, self[f"hit{output.pk}"], self[f"gone{output.pk}"]

    @property
    def sets(self) -> Iterator[tuple[forms.BoundField, forms.BoundField | None]]:
        """The name of each set of inserts, where there are several, and the tick that takes it away."""
        for variant in self.variants if len(self.variants) > 1 else ():
            out = f"out{variant.pk}"
            yield self[f"name{variant.pk}"], self[out] if out in self.fields else None

    # --- what was typed -----------------------------------------------------------------------------------------------

    def clean(self) -> dict:
        cleaned = super().clean()
        # A field that is not sent is left alone.
        self.altered = [name for name in self.changed_data
                        if self.add_prefix(name) in self.data or name.startswith(("gone", "out"))]  # fmt: skip
        old = [name for name in self.altered if name.startswith(("hit", "gone", "name", "out", "usual"))
               and name != "hit"]  # fmt: skip
        for name in old:
            if name.startswith("hit") and cleaned.get(name) is None and name not in self.errors:
                self.add_error(name, _("Enter a number."))
        if self.in_service and old and not (cleaned.get("reason") or "").strip():
            self.add_error("reason", _("Say why."))
        if not old and not cleaned.get("part") and not cleaned.get("another") and not self.errors:
            self.add_error(None, _("Nothing here is other than it was."))
        if cleaned.get("hit") is not None and not cleaned.get("part"):
            self.add_error("part", _("Say which part."))
        return cleaned

    # --- saved --------------------------------------------------------------------------------------------------------

    def save(self, by: write.Actor) -> bool:
        """All of it or nothing; whether it was saved. What is refused stands at its field."""
        c = self.cleaned_data
        opened, reason = c.get("opened"), (c.get("reason") or "").strip() or ENTERING
        dated = {"by": by.user, "reason": reason, "opened": opened}
        steps: list[tuple[str, Callable[[], object]]] = []
        for output in self.outputs:
            if c.get(f"gone{output.pk}"):
                steps.append((f"hit{output.pk}", lambda o=output: actions.delete(by=by.user, row=o, reason=reason)))
            elif f"hit{output.pk}" in self.altered:
                values = {"parts_per_hit": c[f"hit{output.pk}"]}
                steps.append((f"hit{output.pk}", lambda o=output, v=values: actions.correct(row=o, values=v, **dated)))
        for variant in self.variants:
            if c.get(f"out{variant.pk}"):
                steps.append((f"name{variant.pk}", lambda v=variant: self._take_away(by, v, reason)))
            elif f"name{variant.pk}" in self.altered:
                values = {"code": c[f"name{variant.pk}"]}
                steps.append((f"name{variant.pk}", lambda v=variant, new=values: actions.amend(
                    row=v, values=new, at=timezone.now(), **dated)))  # fmt: skip
        if "usual" in self.altered:
            steps.append(("usual", lambda: self._set_usual(dated)))
        if c.get("another"):
            steps.append(("another", lambda: actions.enter(by=by.user, row=Variant(die=self.die, code=c["another"]))))
        if c.get("part"):
            steps.append(("part", lambda: self._add(by)))
        try:
            with saving():
                for _, step in sorted(steps, key=lambda one: one[0] == "part"):
                    step()
        except (actions.ChangeRefused, EntryRefused) as refused:
            name = next((name for name, do in steps if do is step), None)
            self.add_error(name if name in self.fields else None, str(refused))
            return False
        return True

    @staticmethod
    def _take_away(by: write.Actor, variant: Variant, reason: str) -> None:
        if variant.outputs.exists():
            raise EntryRefused(_("Parts are made with {variant}. Take those away first.").format(variant=variant))
        actions.delete(by=by.user, row=variant, reason=reason)

    def _set_usual(self, dated: dict) -> None:
        new = next(v for v in self.variants if str(v.pk) == self.cleaned_data["usual"])
        for variant in [v for v in self.variants if v.is_default] + [new]:
            actions.amend(row=variant, values={"is_default": variant.pk == new.pk}, at=timezone.now(), **dated)

    def _add(self, by: write.Actor) -> None:
        c = self.cleaned_data
        variant = next((v for v in self.variants if str(v.pk) == c.get("of")), self.variants[0])
        number = " ".join(c["part"].split())
        part = next((p for p in Part.objects.filter(number__istartswith=number.split(" ")[0]).order_by("-pk")
                     if number.casefold() in (str(p).casefold(), p.number.casefold())), None)  # fmt: skip
        if part is None:
            part = Part(number=number)
            actions.enter(by=by.user, row=part)
        per_hit = 1 if c.get("hit") is None else c["hit"]
        actions.enter(by=by.user, row=Output(variant=variant, part=part, parts_per_hit=per_hit))
