"""The bench forms: one screen a task. Each checks what was typed, says what it doubts, and hands over to an action."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator

from django import forms
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from diestore import units
from diestore.access.models import Person
from diestore.access.tablet import Tablet
from diestore.access.who_field import add_person, prove_person
from diestore.frame.fields import MomentField, Pick, Picks, WholeField, choices, minute
from diestore.register.models import Die, Output, Press, Stock
from maintenance.log import bench_reads, doubts, listing, rules, write
from maintenance.log import expected as log_expected
from maintenance.models import HITS_AT_MOST, Event, HitCorrection, Order, Run, fresh_key
from maintenance.wording import numbers

NOTE_AT_MOST = 2_000


class LogForm(forms.Form):
    """What every entry has: who, when, a note, and a key that makes a repeat harmless.

    A form may doubt what was typed (`doubts`). It then is shown again with the sentence and a tick beside it; the tick
    holds for that sentence only, so that a number changed afterwards is doubted anew.
    """

    heading = ""
    work = ""  # what the cautions beside the form go by
    who = gettext_lazy("Who did it?")

    key = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    confirm = forms.CharField(max_length=64, required=False, widget=forms.HiddenInput)
    note = forms.CharField(
        label=gettext_lazy("Note"),
        max_length=NOTE_AT_MOST,
        required=False,
        widget=forms.Textarea({"rows": 2}),
        error_messages={"max_length": format_lazy(gettext_lazy("A note has {n:,} letters at most."), n=NOTE_AT_MOST)},
    )

    def __init__(
        self,
        data=None,
        files=None,
        *,
        die: Die,
        system: units.System = units.System.METRIC,
        now: dt.datetime | None = None,
        person: Person | None = None,
        instead: listing.Entry | None = None,
        initial: dict | None = None,
        tablet: Tablet | None = None,
    ) -> None:
        """`instead`: the struck entry that is entered again; the form starts with what it said."""
        self.die, self.system, self.now = die, system, now or timezone.now()
        self.instead = instead
        self.doubt = self.doubt_mark = ""
        again = self.initial_of(instead.events, system) if instead else {}
        if tablet is not None:
            again.pop("person", None)
        super().__init__(data, files, initial={"key": fresh_key(), "person": person, **again, **(initial or {})})
        self.has_people = add_person(
            self,
            people=log_expected.people(die),
            label=self.who,
            missing=_("Pick a name."),
            tablet=tablet,
            required=True,
        )
        self.build()

    def build(self) -> None:
        """Add the fields that depend on the die."""

    def doubts(self, cleaned: dict) -> Iterator[str]:
        """Sentences on what is possible but unlikely."""
        return iter(())

    def clean(self) -> dict:
        cleaned = super().clean()
        self.check(cleaned)
        prove_person(self, cleaned)
        if not self.errors:
            sentences = list(self.doubts(cleaned))
            if sentences:
                self.doubt = " ".join(sentences)
                self.doubt_mark = hashlib.sha256(self.doubt.encode()).hexdigest()[:16]
                if cleaned.get("confirm") != self.doubt_mark:
                    self.add_error("confirm", self.doubt)
        return cleaned

    def check(self, cleaned: dict) -> None:
        """Refuse what contradicts itself on the form."""

    def save(self, by: write.Actor) -> list[Event]:
        raise NotImplementedError

    def moment_of(self, typed: dt.datetime, field: str = "at") -> dt.datetime:
        """The moment that a typed minute means, since a form shows whole minutes.

        What an entry struck out said, where that was left alone; now; the exact end of a run in that minute; else the
        minute itself.
        """
        before = self.initial.get(field)
        if before is not None and minute(before) == typed:
            return before
        if typed == minute(self.now):
            return self.now
        return log_expected.run_end_within(self.die, typed) or typed

    @property
    def visible_errors(self) -> list[tuple[str, str]]:
        """Field name and sentence of every error but the doubt, for the summary on top."""
        return [(name, sentence) for name, found in self.errors.items() if name != "confirm" for sentence in found]

    @classmethod
    def initial_of(cls, events: tuple[Event, ...], system: units.System) -> dict:
        """What the form starts with when an entry that was struck out is entered again."""
        event = events[0]
        return {"at": event.at, "person": event.person_id, "note": event.note}


def picks(
    label: str, options, *, required: bool = True, missing: str = gettext_lazy("Pick one."), **kwargs
) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,
        choices=choices(options),
        widget=Picks,
        required=required,
        error_messages={"required": missing, "invalid_choice": _("Pick one of these.")},
        **kwargs,
    )


def when(label: str, initial: dt.datetime | None, **kwargs) -> MomentField:
    return MomentField(label=label, initial=initial, **kwargs)


class RunForm(LogForm):
    heading = gettext_lazy("Log a run")
    work = "run"

    def build(self) -> None:
        self.expected = log_expected.run_expected(self.die)
        started = self.expected.started(self.now)
        by_the_clock = self.expected.hits(started, self.now)
        self.expected_hits = by_the_clock or self.expected.usual_hits
        self.clock_words = numbers.hits(by_the_clock) if by_the_clock else ""
        self.usual_words = numbers.hits(self.expected.usual_hits) if self.expected.usual_hits else ""
        self.fields["started"] = when(_("From"), started)
        self.fields["ended"] = when(_("To"), self.now)
        self.fields["hits"] = WholeField(
            label=_("Hits"),
            big=True,
            placeholder=f"{self.expected_hits:,}" if self.expected_hits else "",
            error_messages={"required": _("Enter the hits that the counter went up by.")},
        )
        if not self.is_bound:
            self.fields["hits"].widget.attrs["autofocus"] = True
        self.orders = {str(row.order_id): row for row in log_expected.open_orders(self.die)}
        self.fields["order"] = picks(_("For which job?"), self._order_picks(), required=False)
        self.initial.setdefault("order", next(iter(self.orders), ""))
        self.variants = {str(v.pk): v for v in self.expected.variants}
        if len(self.variants) > 1:
            self.fields["variant"] = picks(_("With which inserts?"), [(pk, str(v)) for pk, v in self.variants.items()])
            first = self.orders.get(str(self.initial["order"]))
            wanted = str(first.variant_id) if first and first.variant_id else next(iter(self.variants))
            self.initial.setdefault("variant", wanted)
        self.fields["press"] = forms.ModelChoiceField(
            label=_("Press"),
            queryset=Press.objects.filter(plant=self.die.plant_id),
            required=False,
            empty_label=_("not said"),
            initial=log_expected.press_now(self.die),
        )
        self.fields["stock"] = forms.ModelChoiceField(
            label=_("Stock"), queryset=Stock.objects.all(), empty_label=None, initial=self.die.usual_stock_id
        )
        self.fields["lot"] = forms.CharField(label=_("Coil or lot"), max_length=80, required=False)
        self.fields["good_parts"] = WholeField(label=_("Good parts, if counted"), required=False)
        self.fields["estimated"] = forms.BooleanField(label=_("The hits are estimated, not counted"), required=False)

    def _order_picks(self):
        known = self.initial.get("order")
        for row in self.orders.values():
            yield (
                row.order_id,
                Pick(
                    row.number,
                    _("{hits:,} hits to go, due {day}").format(hits=row.hits_left, day=date_format(row.due, "j M")),
                ),
            )
        if known and str(known) not in self.orders:
            yield known, Pick(str(self.initial.get("order_said", known)), _("closed"))
        yield "", _("no job")

    def check(self, cleaned: dict) -> None:
        started, ended = cleaned.get("started"), cleaned.get("ended")
        if started and ended:
            self.typed_times = started, ended
            cleaned["started"] = self.moment_of(started, "started")
            cleaned["ended"] = self.moment_of(ended, "ended")
        hits, good = cleaned.get("hits"), cleaned.get("good_parts")
        for check, value in ((rules.check_hits, hits), (rules.check_good_parts, good)):
            try:
                if value is not None:
                    check(value)
            except rules.EntryRefused as refused:
                self.add_error(refused.field, str(refused))
        order, variant = self.orders.get(cleaned.get("order", "")), self._variant(cleaned)
        if order and variant:
            made = Output.objects.filter(variant=variant)
            if made.exists() and not made.filter(part__orders=order.order_id).exists():
                self.add_error(
                    "order",
                    _("Job {number} is for a part that the inserts {variant} do not make.").format(
                        number=order.number, variant=variant
                    ),
                )

    def _variant(self, cleaned: dict):
        return self.variants.get(cleaned.get("variant", "")) or next(
            (v for v in self.variants.values() if v.is_default), None
        )

    def doubts(self, cleaned: dict) -> Iterator[str]:
        started, ended = self.typed_times  # as typed: the same sentence however often the form is sent
        length = ended - started
        hits = cleaned["hits"]
        if doubt := doubts.of_hits(hits, length, self.die.strokes_per_minute):
            yield doubt
        if doubt := rules.doubt_of_press(self.die, cleaned.get("press"), cleaned["started"], cleaned["ended"]):
            yield doubt
        hold = bench_reads.hold_of(self.die)
        if hold is not None and cleaned["ended"] > hold.at and (doubt := bench_reads.doubt_of_hold(hold, self.die)):
            yield doubt
        good = cleaned.get("good_parts")
        variant = self._variant(cleaned)
        if good is not None and variant is not None:
            per_hit = sum(Output.objects.filter(variant=variant).values_list("parts_per_hit", flat=True)) or 1
            if good > hits * per_hit:
                yield _("{good:,} good parts are more than {hits:,} hits make.").format(good=good, hits=hits)

    def save(self, by: write.Actor) -> list[Event]:
        c = self.cleaned_data
        run = write.log_run(
            by=by,
            die=self.die,
            started=c["started"],
            ended=c["ended"],
            hits=c["hits"],
            variant=self._variant(c),
            basis=Run.Basis.ESTIMATED if c["estimated"] else Run.Basis.COUNTED,
            press=c["press"],
            stock=c["stock"],
            lot=c["lot"],
            order=Order.objects.filter(pk=c["order"] or None).first(),
            good_parts=c["good_parts"],
            note=c["note"],
            key=c["key"] or None,
        )
        return [run]

    @classmethod
    def initial_of(cls, events, system):
        run = events[0]
        return super().initial_of(events, system) | {
            "started": run.started,
            "ended": run.at,
            "hits": f"{run.hits:,}",
            "order": run.order_id or "",
            "order_said": str(run.order or ""),
            "variant": str(run.variant_id),
            "press": run.press_id,
            "stock": run.stock_id,
            "lot": run.lot,
            "good_parts": run.good_parts,
            "estimated": run.basis == Run.Basis.ESTIMATED,
        }


class CorrectionForm(LogForm):
    heading = gettext_lazy("Put the count right")
    WITHOUT, MORE, FEWER = "without stock", "more", "fewer"

    def build(self) -> None:
        self.fields["what"] = picks(
            _("What is to be put right?"),
            [
                (self.WITHOUT, Pick(_("strokes without stock"), _("setting up; edges do not wear"))),
                (self.MORE, Pick(_("more hits than logged"), _("they are added"))),
                (self.FEWER, Pick(_("fewer hits than logged"), _("they are taken off"))),
            ],
            initial=self.WITHOUT,
        )
        self.fields["hits"] = WholeField(
            label=_("How many?"), big=True, error_messages={"required": _("Enter how many hits.")}
        )
        self.fields["reason"] = forms.CharField(
            label=_("Why?"), max_length=200, required=False, widget=forms.TextInput({"placeholder": _("setting up")})
        )
        self.fields["at"] = when(_("When was it?"), self.now)
        variants = log_expected.variants(self.die)
        self.variants = {str(v.pk): v for v in variants}
        if len(variants) > 1:
            self.fields["variant"] = picks(_("With which inserts?"), [(v.pk, str(v)) for v in variants])
            self.initial.setdefault("variant", str(variants[0].pk))

    def check(self, cleaned: dict) -> None:
        if cleaned.get("at"):
            cleaned["at"] = self.moment_of(cleaned["at"])
        hits = cleaned.get("hits")
        if hits is not None and not 1 <= hits <= HITS_AT_MOST:
            self.add_error("hits", _("Enter how many as a number from 1 to {n:,}.").format(n=HITS_AT_MOST))
        if not (cleaned.get("reason") or "").strip():
            if cleaned.get("what") == self.WITHOUT:
                cleaned["reason"] = "setting up"
            elif "reason" in cleaned:
                self.add_error("reason", _("Say why the count was wrong."))

    def save(self, by: write.Actor) -> list[Event]:
        c = self.cleaned_data
        row = write.log_hit_correction(
            by=by,
            die=self.die,
            at=c["at"],
            hits=-c["hits"] if c["what"] == self.FEWER else c["hits"],
            with_stock=c["what"] != self.WITHOUT,
            reason=c["reason"],
            variant=self.variants.get(c.get("variant", "")),
            note=c["note"],
            key=c["key"] or None,
        )
        return [row]

    @classmethod
    def initial_of(cls, events, system):
        row: HitCorrection = events[0]
        what = cls.WITHOUT if not row.with_stock else cls.MORE if row.hits > 0 else cls.FEWER
        return super().initial_of(events, system) | {
            "what": what,
            "hits": f"{abs(row.hits):,}",
            "reason": row.reason,
            "variant": str(row.variant_id),
        }


class StrikeForm(forms.Form):
    """Who strikes an entry out, and why."""

    reason = forms.CharField(
        label=gettext_lazy("Why is it wrong?"),
        max_length=300,
        widget=forms.TextInput({"placeholder": gettext_lazy("logged twice, wrong die, wrong number ...")}),
        error_messages={
            "required": gettext_lazy("Say why it is struck out."),
            "max_length": gettext_lazy("Say it in 300 letters at most."),
        },
    )

    def __init__(self, data=None, *, people, person: Person | None = None, tablet: Tablet | None = None) -> None:
        super().__init__(data, initial={"person": person})
        add_person(
            self,
            people=people,
            label=_("Who strikes it out?"),
            missing=_("Pick who strikes it out."),
            tablet=tablet,
            required=True,
        )
        self.fields["person"].required = True

    def clean(self) -> dict:
        cleaned = super().clean()
        prove_person(self, cleaned)
        return cleaned


class EntriesFilter(forms.Form):
    """What of the log is shown. A value that means nothing is left out, not refused."""

    die = forms.CharField(
        label=gettext_lazy("Die"), max_length=60, required=False, widget=forms.TextInput({"type": "search"})
    )
    sort = forms.ChoiceField(label=gettext_lazy("What"), required=False)
    person = forms.ModelChoiceField(
        label=gettext_lazy("Who"), queryset=Person.objects.none(), required=False, empty_label=gettext_lazy("everybody")
    )
    struck = forms.ChoiceField(
        label=gettext_lazy("Struck out"),
        required=False,
        choices=[
            ("", gettext_lazy("both")),
            ("no", gettext_lazy("only what counts")),
            ("yes", gettext_lazy("only struck out")),
        ],
    )

    def __init__(self, data=None, *, sorts, people) -> None:
        super().__init__(data)
        self.fields["person"].queryset = people
        self.names = {s.address: s.name for s in sorts}
        self.fields["sort"].choices = [("", _("everything")), *((s.address, _(s.label)) for s in sorts)]

    def clean_sort(self) -> str:
        return self.names.get(self.cleaned_data["sort"], "")
