"""A complaint of the press: a place tapped on the plan of the die, a word tapped here, and the toolroom has it."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views import View

from diestore.access import roles
from diestore.access.tablet import tablet_of
from diestore.frame.fields import PhotoField
from diestore.register.models import Die, Position
from diestore.row_keys import row_key
from maintenance.log import bench, bench_reads, photos, write
from maintenance.models import BenchWork, fresh_key

from .forms import ByForm, DieForm
from .views import _actor, _by, _dies

# What a press complains of, in the trade's words: as it is said of a place, and what the button says beside it.
WHAT = {
    "burr": ("burr", "too high, or torn"),
    "scratch": ("scratch or mark on the part", "galled, dented"),
    "slug": ("slug pulled", "stuck to the punch or on the strip"),
    "misfeed": ("misfeed", "pitch off, pilots late"),
    "stuck": ("part stuck", "does not come off"),
    "noise": ("noise", "knocks, squeals"),
    "size": ("out of size", "hole, bend, flatness"),
    "other": ("something else", "say what in the note"),
}
ELSEWHERE = "elsewhere"
NOTE_AT_MOST = 300


class ComplaintForm(ByForm):
    """The word is the button that sends it."""

    who = "Who reports it?"
    photo = PhotoField()
    what = forms.ChoiceField(
        choices=[(key, words) for key, (words, _) in WHAT.items()],
        error_messages={"required": "Tap what is wrong.", "invalid_choice": "Tap what is wrong."},
    )
    note = forms.CharField(
        label="Note", max_length=NOTE_AT_MOST, required=False, widget=forms.Textarea({"rows": 2}),
        error_messages={"max_length": f"Say it in {NOTE_AT_MOST} letters."},
    )  # fmt: skip

    def clean(self) -> dict:
        cleaned = super().clean()
        if cleaned.get("what") == "other" and not " ".join((cleaned.get("note") or "").split()):
            self.add_error("note", "Say in a few words what is wrong, then tap it again.")
        return cleaned

    def save(self, by: write.Actor, die: Die, position: Position | None) -> BenchWork:
        c = self.cleaned_data
        note = " ".join(c["note"].split())
        said = _short(note) if c["what"] == "other" else WHAT[c["what"]][0]
        at = f" at {position.code}" if position is not None else ""
        key = f"complaint {c['key']}" if c["key"] else fresh_key()
        with transaction.atomic():
            is_new = not BenchWork.objects.filter(key=key).exists()
            work = bench.open_work(
                by=by, die=die, what=f"{said}{at}", source=BenchWork.Source.COMPLAINT, position=position, key=key
            )
            if note and is_new and (c["what"] != "other" or said != note):
                bench.say(by=by, work=work, words=note)
            if c["photo"] is not None:
                photos.add_photo(by=by, plant=die.plant, of=work, picture=c["photo"])
        return work


def _short(note: str) -> str:
    return note if len(note) <= 120 else f"{note[:119]}…"


class Complaint(PermissionRequiredMixin, View):
    """Without a die it asks for one, and leads to its plan; without a place it is of the die."""

    raise_exception = True
    permission_required = roles.LOG_MISHAP

    def get(self, request: HttpRequest) -> HttpResponse:
        die = self._die(request)
        if die is None:
            return self._ask(request)
        if request.GET.get("find") and die.positions.exists():
            return redirect(f"{reverse('diestore:die', args=[die.pk])}?complain=1#plan")
        return self._show(request, die, ComplaintForm(**_by(request, die.plant_id)))

    def post(self, request: HttpRequest) -> HttpResponse:
        die = self._die(request)
        if die is None:
            return self._ask(request, status=422)
        form = ComplaintForm(request.POST, files=request.FILES, **_by(request, die.plant_id))
        if not form.is_valid():
            return self._show(request, die, form, status=422)
        try:
            work = form.save(_actor(request, form.cleaned_data["person"]), die, self._place(request, die))
        except write.EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, die, form, status=422)
        messages.success(request, f"The toolroom has it: {work.what}.")
        return HttpResponseRedirect(reverse("diestore:die", args=[die.pk]))

    def _die(self, request: HttpRequest) -> Die | None:
        return _dies(request).filter(pk=row_key(request.GET.get("die"))).first()

    def _ask(self, request: HttpRequest, *, status: int = 200) -> HttpResponse:
        form = DieForm()
        form.fields["die"].queryset = _dies(request).exclude(status=Die.Status.RETIRED).order_by("code", "pk")
        shown = {"form": form, "heading": "A complaint from the press", "find": True}
        return render(request, "maintenance/screens/bench/which.html", shown, status=status)

    @staticmethod
    def _place(request: HttpRequest, die: Die) -> Position | None:
        code = request.GET.get("place", "").replace("\x00", "")[:40]
        return die.positions.filter(code=code).order_by("pk").first() if code and code != ELSEWHERE else None

    def _show(self, request, die: Die, form: ComplaintForm, *, status: int = 200) -> HttpResponse:
        place = self._place(request, die)
        works = [w for w in bench_reads.open_works().filter(die=die) if place is None or w.position_id == place.pk]
        shown = {
            "die": die, "form": form, "place": place, "works": works, "tablet": tablet_of(request),
            "whats": [{"key": key, "words": words, "note": note} for key, (words, note) in WHAT.items()],
        }  # fmt: skip
        return render(request, "maintenance/screens/bench/complaint.html", shown, status=status)
