"""Pages of the bench: the plan, one work, a new one, its sheet, and a die held or released."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from django.contrib import messages
from django.contrib.auth.mixins import PermissionRequiredMixin
from django.core.exceptions import PermissionDenied
from django.db.models import Exists, OuterRef
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views import View
from django.views.decorators.http import require_safe

from diestore.access import plants, roles, shop
from diestore.access.models import Person
from diestore.access.queries import system_of
from diestore.access.tablet import tablet_of
from diestore.register.models import Die, Item
from diestore.row_keys import row_key
from maintenance.log import bench, bench_plan, bench_reads, bench_spares, photos, write
from maintenance.models import (
    BenchEdge,
    BenchHours,
    BenchPiece,
    BenchWork,
    Incident,
    Inspection,
    StockMovement,
    Stop,
    fresh_key,
)

from . import drawing, sheet
from .forms import ApproveForm, DieForm, HoldForm, OpenForm, WorkForm, doers
from .page import ENDED_SHOWN, PUT_DAYS, WEEKS, put_where, reasons, sentence, state_buttons

LAST_PERSON = "log_person"  # who logged last in this session, as in the log
Source = BenchWork.Source


def _people(plant: int):
    """Everybody who works there, with whether they have hours for the bench."""
    hours = BenchHours.objects.filter(person=OuterRef("pk"), retired_at=None)
    return Person.objects.filter(plant=plant, active=True).annotate(has_hours=Exists(hours))


def _expected_person(request: HttpRequest, people) -> Person | None:
    if tablet := tablet_of(request):
        return tablet.who
    own = getattr(request.user, "shop_settings", None)
    by_pk = {person.pk: person for person in people}
    return by_pk.get(request.session.get(LAST_PERSON)) or by_pk.get(own.person_id if own else None)


def _by(request: HttpRequest, plant: int) -> dict:
    """What every form that says who does it takes; the people are read once."""
    people = _people(plant)
    return {"people": people, "person": _expected_person(request, people), "tablet": tablet_of(request)}


def _actor(request: HttpRequest, person: Person | None) -> write.Actor:
    tablet = tablet_of(request)
    if person is not None:
        if tablet:
            tablet.pick(person)
        elif request.session.get(LAST_PERSON) != person.pk:
            request.session[LAST_PERSON] = person.pk
    return write.Actor(person=person, user=request.user, device=tablet.device[:80] if tablet else "")


def _works(request: HttpRequest):
    rows = BenchWork.objects.select_related(
        "die__plant", "die__usual_stock", "person", "supplier", "position", "stop", "incident", "inspection__plan",
        "item", "ended_by",
    )  # fmt: skip
    return plants.within(bench_reads.with_more(rows), request.user, "die__plant")


def _dies(request: HttpRequest):
    return plants.within(Die.objects.select_related("plant", "usual_stock"), request.user)


class Bench(PermissionRequiredMixin, View):
    """Who does what in the weeks ahead, what is late, and what each work waits for."""

    raise_exception = True
    permission_required = roles.LOG_MISHAP

    def get(self, request: HttpRequest) -> HttpResponse:
        picked = plants.picked(request)
        if picked.plant is None:
            return render(request, "maintenance/screens/bench/bench.html", {"picked": picked, "plan": None})
        plan = bench_plan.plan_of(picked.plant)
        weeks = next((w for w in WEEKS if str(w) == request.GET.get("weeks")), WEEKS[0])
        tapped = next((row for row in plan.rows if str(row.work.pk) == request.GET.get("work")), None)
        may_plan = request.user.has_perm(roles.PLAN_BENCH)
        return render(
            request,
            "maintenance/screens/bench/bench.html",
            {
                "picked": picked,
                "plan": plan,
                "otherwise": bench_reads.done_otherwise(picked.plant),
                "picture": drawing.lay_out(plan, days=7 * weeks, picked=tapped.work.pk if tapped else None),
                "first": sentence(plan),
                "weeks": weeks,
                "all_weeks": WEEKS,
                "tapped": tapped,
                "put": put_where(plan, tapped) if tapped and may_plan and tapped.is_planned else None,
                "put_days": PUT_DAYS,
                "may_plan": may_plan,
                "sees_cost": request.user.has_perm(roles.SEE_COST),
                "currency": shop.current().currency,
            },
        )


class Better(PermissionRequiredMixin, View):
    """Search for a plan that is less late."""

    raise_exception = True
    permission_required = roles.PLAN_BENCH
    http_method_names = ["post"]

    def post(self, request: HttpRequest) -> HttpResponse:
        asked, seen = request.POST.get("plant", ""), plants.all_seen(request.user)
        plant = next((p for p in seen if str(p.pk) == asked or not asked), None)
        if plant is None:
            raise Http404("There is no such plant.")
        plan = bench_plan.improve(plant)
        saved = (plan.first_cost or 0.0) - plan.cost
        late = len(plan.late)
        if saved > 1e-9:
            left = f"{late} {'work is' if late == 1 else 'works are'} late in it" if late else "nothing is late in it"
            messages.success(request, f"A better plan is found: {left}. It holds until something changes.")
        else:
            messages.info(request, "No better plan was found: this is the one by earliest due date.")
        return redirect(f"{reverse('maintenance:bench')}?plant={plant.pk}")


class NewWork(PermissionRequiredMixin, View):
    """A work is opened. Without a die the page first asks for one."""

    raise_exception = True
    permission_required = roles.LOG_MISHAP

    def get(self, request: HttpRequest) -> HttpResponse:
        die = self._die(request)
        if die is None:
            return self._ask(request)
        return self._show(request, die, self._form(request, die))

    def post(self, request: HttpRequest) -> HttpResponse:
        die = self._die(request)
        if die is None:
            return self._ask(request, status=422)
        form = self._form(request, die, data=request.POST, files=request.FILES)
        if not form.is_valid():
            return self._show(request, die, form, status=422)
        try:
            work = form.save(_actor(request, form.cleaned_data["person"]), **self._about(request, die))
        except write.EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, die, form, status=422)
        messages.success(request, f"Opened: {work.what}.")
        return redirect("maintenance:bench_work", pk=work.pk)

    def _die(self, request: HttpRequest) -> Die | None:
        pk = row_key(request.GET.get("die"))
        return None if pk is None else _dies(request).filter(pk=pk).first()

    def _ask(self, request: HttpRequest, *, status: int = 200) -> HttpResponse:
        dies = _dies(request).exclude(status=Die.Status.RETIRED).order_by("code", "pk")
        form = DieForm()
        form.fields["die"].queryset = dies
        return render(request, "maintenance/screens/bench/which.html", {"form": form}, status=status)

    def _about(self, request: HttpRequest, die: Die) -> dict:
        """What the address names beside the die: the stop, the mishap or the look at it, the spare that came."""
        get = request.GET.get
        stop = Stop.objects.filter(pk=row_key(get("stop")), die=die).first()
        mishap = Incident.objects.filter(pk=row_key(get("mishap")), die=die).first()
        item = Item.objects.filter(pk=row_key(get("item")), positions__die=die).distinct().first()
        look = Inspection.objects.standing().filter(pk=row_key(get("inspection")), die=die).first()
        return {"stop": stop, "incident": mishap, "inspection": look, "item": item}

    def _form(self, request: HttpRequest, die: Die, *, data=None, files=None) -> OpenForm:
        source = request.GET.get("source", "")
        asked = {"place": self._place(request, die), "damaged": request.GET.get("damaged", "")[:2_000].split(",")}
        asked["what"] = " ".join(request.GET.get("what", "").replace("\x00", "").split())[:200]
        return OpenForm(
            data, files=files, die=die, source=source if source in Source.values else Source.OTHER, asked=asked,
            may_plan=request.user.has_perm(roles.LOG_SHARPENING), system=system_of(request.user),
            **_by(request, die.plant_id),
        )  # fmt: skip

    @staticmethod
    def _place(request: HttpRequest, die: Die) -> str:
        code = request.GET.get("place", "").replace("\x00", "")[:40]
        pk = die.positions.filter(code=code).values_list("pk", flat=True).first() if code else None
        return "" if pk is None else str(pk)

    def _show(self, request, die, form, *, status: int = 200) -> HttpResponse:
        held = bench_reads.hold_of(die)
        works = bench_reads.open_works().filter(die=die)
        shown = {"die": die, "form": form, "hold": held, "works": works, "tablet": tablet_of(request)}
        return render(request, "maintenance/screens/bench/new.html", shown, status=status)


class Work(PermissionRequiredMixin, View):
    """One work: how it stands, what is done about it, what was done."""

    raise_exception = True
    permission_required = roles.LOG_MISHAP

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        work = self._work(request, pk)
        today = bench_reads.today_at(work.die.plant)
        row = _planned(work, today)
        return self._show(request, work, self._form(request, work, today=today, row=row), row=row)

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        work = self._work(request, pk)
        today = bench_reads.today_at(work.die.plant)
        form = self._form(request, work, today=today, data=request.POST)
        act = request.POST.get("act", "")[:120]
        name, _, value = act.partition(" ")
        needed = _ACTS.get(name)
        if needed is None:
            form.is_valid()
            form.add_error(None, "Tap what is to be done.")
            return self._not_saved(request, work, form)
        if not request.user.has_perm(needed) or (value == "dropped" and not request.user.has_perm(roles.PLAN_BENCH)):
            raise PermissionDenied("Not allowed: this about a work on the bench.")
        if not form.is_valid():
            return self._not_saved(request, work, form)
        try:
            self._do(request, work, form, name, value, _actor(request, form.cleaned_data["person"]))
        except write.EntryRefused as refused:
            field = _FIELD_OF.get(refused.field, refused.field)
            form.add_error(field if field in form.fields else None, str(refused))
            return self._not_saved(request, work, form)
        return redirect("maintenance:bench_work", pk=work.pk)

    def _do(self, request, work: BenchWork, form: WorkForm, name: str, value: str, by: write.Actor) -> None:
        c, today = form.cleaned_data, form.today
        match name:
            case "state":
                supplier = c["supplier"] if value == "away" else None
                back_on = c["back_on"] if value == "away" else None
                bench.set_state(by=by, work=work, state=_state(value), reason=c["reason"] if value == "dropped" else "",
                                supplier=supplier, back_on=back_on, today=today)  # fmt: skip
            case "hours":
                if c["hours"] is None:
                    raise write.EntryRefused("Enter the hours worked, such as 1.5.", field="hours")
                bench.use_hours(by=by, work=work, hours=c["hours"])
            case "edges":
                bench.set_edges(by=by, work=work, edges=form.wanted(), why=c["why"])
            case "aside":
                _set_aside(request, work, form, by)
            case "back":
                row = BenchPiece.objects.filter(work=work, pk=row_key(value)).first()
                if row is not None:
                    bench.give_back(by=by, work=work, row=row)
            case "draw" | "unused" | "undraw":
                _spare(request, work, name, value, by)
            case "note":
                bench.say(by=by, work=work, words=c["words"])
            case "plan":
                bench.plan_work(by=by, work=work, supplier=c["supplier"],
                                **{n: c[n] for n in ("what", "hours_foreseen", "needed_on", "not_before", "away_days",
                                                     "late_cost")})  # fmt: skip
            case "move":
                bench.move_work(by=by, work=work, person=c["doer"], day=c["day"], today=today)

    def _work(self, request: HttpRequest, pk: int) -> BenchWork:
        return get_object_or_404(_works(request), pk=pk)

    def _form(
        self, request, work: BenchWork, *, today: dt.date, row: bench_plan.PlannedWork | None = None, data=None
    ) -> WorkForm:
        return WorkForm(
            data, work=work, today=today, edges=_edges(row.work if row else work),
            may_plan=request.user.has_perm(roles.PLAN_BENCH), system=system_of(request.user),
            **_by(request, work.die.plant_id),
        )  # fmt: skip

    def _not_saved(self, request, work: BenchWork, form: WorkForm) -> HttpResponse:
        return self._show(request, work, form, row=_planned(work, form.today), status=422)

    def _show(
        self, request, work: BenchWork, form: WorkForm, *, row: bench_plan.PlannedWork | None, status: int = 200
    ) -> HttpResponse:
        user = request.user
        works = user.has_perm(roles.LOG_SHARPENING)
        return render(
            request,
            "maintenance/screens/bench/work.html",
            {
                "work": work,
                "form": form,
                "row": row,
                "hold": bench_reads.why_held(work),
                "buttons": state_buttons(work, may_plan=user.has_perm(roles.PLAN_BENCH)) if works else [],
                "may_work": works and work.is_open,
                "may_plan": user.has_perm(roles.PLAN_BENCH) and work.is_open,
                "sees_cost": user.has_perm(roles.SEE_COST),
                "currency": shop.current().currency,
                "reasons": reasons(work),
                "otherwise": bench_reads.otherwise(work, form.edges.values()),
                "steps": work.steps.select_related("person", "user").order_by("-at", "-pk"),
                "photos": photos.of_works([work]).get(work.pk, ()),
                "spares": _spares(work, form, row),
                "draw_key": fresh_key(),
                "pieces": row.work.pieces.all() if row else work.pieces.select_related("item", "piece"),
                "tablet": tablet_of(request),
            },
            status=status,
        )


def _spares(work: BenchWork, form: WorkForm, row: bench_plan.PlannedWork | None) -> list[bench_spares.SpareOfWork]:
    """Which spares of its places, and of what is set aside for it, are there."""
    codes: dict[int, list[str]] = {}
    planned = {pk for pk, edge in form.edges.items() if not edge.left_out} | {work.position_id}
    for place in form.in_use.places:
        if place.position.pk in planned and place.position.item_id is not None:
            codes.setdefault(place.position.item_id, []).append(place.position.code)
    known = [*form.in_use.spares, *([work.item] if work.item is not None else [])]
    if work.item_id is not None:
        codes.setdefault(work.item_id, [])
    pieces = row.work.pieces.all() if row else []
    others = [one.work for one in row.beside] if row else []
    return bench_spares.of_work(work, codes=codes, known=known, pieces=pieces, others=others)


def _planned(work: BenchWork, today: dt.date) -> bench_plan.PlannedWork | None:
    """Where the plan has it; nowhere once it is ended. The work in it was read with its edges and its pieces."""
    if not work.is_open:
        return None
    plan = bench_plan.plan_of(work.die.plant, today)
    row = next((row for row in plan.rows if row.work.pk == work.pk), None)
    return None if row is None else replace(row, beside=tuple(plan.rows))


def _edges(work: BenchWork) -> list[BenchEdge]:
    read = "edges" in getattr(work, "_prefetched_objects_cache", {})
    return list(work.edges.all() if read else work.edges.select_related("position"))


_ACTS = {
    "state": roles.LOG_SHARPENING, "hours": roles.LOG_SHARPENING, "edges": roles.LOG_SHARPENING,
    "aside": roles.LOG_SHARPENING, "back": roles.LOG_SHARPENING, "note": roles.LOG_MISHAP,
    "draw": roles.LOG_SHARPENING, "unused": roles.LOG_SHARPENING, "undraw": roles.LOG_SHARPENING,
    "plan": roles.PLAN_BENCH, "move": roles.PLAN_BENCH,
}  # fmt: skip
_FIELD_OF = {"item": "aside", "piece": "aside", "edges": "more"}


def _set_aside(request: HttpRequest, work: BenchWork, form: WorkForm, by: write.Actor) -> None:
    thing = {**form.spares, **form.marked}.get(form.cleaned_data["aside"])
    if thing is None:
        raise write.EntryRefused("Pick what is set aside.", field="aside")
    named = {"item": thing} if isinstance(thing, Item) else {"piece": thing}
    amount = form.cleaned_data["quantity"]
    if said := bench.reserve(by=by, work=work, quantity=1 if amount is None else amount, **named):
        messages.warning(request, said)


def _spare(request: HttpRequest, work: BenchWork, name: str, value: str, by: write.Actor) -> None:
    """A spare is drawn for the work, comes back unused, or was not drawn after all."""
    pk, _, key = value.partition(" ")
    if name == "undraw":
        row = StockMovement.objects.standing().filter(pk=row_key(pk), bench_work=work, kind="drawn").first()
        if row is None:
            raise write.EntryRefused("That is undone already.")
        messages.success(request, bench.undraw_spare(by=by, work=work, row=row, on_a_tablet=bool(tablet_of(request))))
        return
    item = Item.objects.filter(pk=row_key(pk)).first()
    if item is None:
        raise write.EntryRefused("Tap one of the spares on the list.")
    if name == "unused":
        n = bench.return_spare(by=by, work=work, item=item, key=key[:64] or None)
        messages.success(request, f"{n} × {item} returned to the shelf.")
        return
    n = bench.draw_spare(by=by, work=work, item=item, key=key[:64] or None)
    messages.success(request, f"{n} × {item} drawn.")


def _state(value: str) -> str:
    if value not in BenchWork.State.values:
        raise write.EntryRefused("Tap how it goes on.", field="state")
    return value


class Put(PermissionRequiredMixin, View):
    """A work is put to a person and on a day by a tap in the picture, or left to the plan again."""

    raise_exception = True
    permission_required = roles.PLAN_BENCH
    http_method_names = ["post"]

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        work = get_object_or_404(_works(request), pk=pk)
        plant = work.die.plant
        person = day = None
        people = _people(plant.pk)
        where = request.POST.get("where", "")[:60]
        back = f"{reverse('maintenance:bench')}?plant={plant.pk}&work={work.pk}"
        if where:
            who, _, when = where.partition(" ")
            person = next((one for one in doers(people) if one.pk == row_key(who)), None)
            try:
                day = dt.date.fromisoformat(when) if when else None
            except ValueError:
                day = None
            if person is None or day is None:
                messages.warning(request, "Tap a person's day.")
                return HttpResponseRedirect(back)
        try:
            bench.move_work(
                by=_actor(request, _expected_person(request, people)), work=work, person=person, day=day,
                today=bench_reads.today_at(plant),
            )  # fmt: skip
        except write.EntryRefused as refused:
            messages.warning(request, str(refused))
            return HttpResponseRedirect(back)
        row = next((one for one in bench_plan.plan_of(plant).rows if one.work.pk == work.pk), None)
        messages.success(
            request,
            f"{work.die}: {person}, {bench.day_of(day)}. It stays there." if day else f"{work.die}: left to the plan.",
        )
        if row is not None and row.clash:
            messages.warning(request, f"{row.clash[:1].upper()}{row.clash[1:]}.")
        return redirect(f"{reverse('maintenance:bench')}?plant={plant.pk}")


class Hold(PermissionRequiredMixin, View):
    """A die is held, or its first piece approved."""

    raise_exception = True
    permission_required = roles.LOG_SHARPENING

    def get(self, request: HttpRequest, pk: int) -> HttpResponse:
        die = self._die(request, pk)
        return self._show(request, die, self._form(request, die))

    def post(self, request: HttpRequest, pk: int) -> HttpResponse:
        die = self._die(request, pk)
        hold = bench_reads.hold_of(die)
        if hold is not None and not request.user.has_perm(roles.PLAN_BENCH):
            raise PermissionDenied("Not allowed: approve a first piece.")
        form = self._form(request, die, data=request.POST, hold=hold)
        if not form.is_valid():
            return self._show(request, die, form, hold=hold, status=422)
        by = _actor(request, form.cleaned_data["person"])
        try:
            if hold is None:
                bench.hold_die(by=by, die=die, reason=form.cleaned_data["reason"], key=form.cleaned_data["key"] or None)
                messages.success(request, f"{die} is on hold. It makes no parts until a first piece is approved.")
            else:
                bench.approve_first_piece(by=by, die=die, measured=form.cleaned_data["measured"])
                messages.success(request, f"{die} is released by {by.person}.")
        except write.EntryRefused as refused:
            form.add_error(refused.field if refused.field in form.fields else None, str(refused))
            return self._show(request, die, form, hold=hold, status=422)
        return redirect("diestore:die", pk=die.pk)

    def _die(self, request: HttpRequest, pk: int) -> Die:
        return get_object_or_404(_dies(request), pk=pk)

    def _form(self, request, die: Die, *, data=None, hold=None):
        kind = ApproveForm if (hold or bench_reads.hold_of(die)) else HoldForm
        return kind(data, **_by(request, die.plant_id))

    def _show(self, request, die, form, *, hold=None, status: int = 200) -> HttpResponse:
        past = die.holds.exclude(released_at=None).select_related("held_by", "released_by").order_by("-at", "-pk")
        shown = {
            "die": die, "form": form, "hold": hold or bench_reads.hold_of(die), "tablet": tablet_of(request),
            "may_release": request.user.has_perm(roles.PLAN_BENCH),
            "past": past[:ENDED_SHOWN],
        }  # fmt: skip
        return render(request, "maintenance/screens/bench/hold.html", shown, status=status)


@require_safe
def bench_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The work's paper for the bench, as PDF."""
    if not request.user.has_perm(roles.LOG_MISHAP):
        raise PermissionDenied("Not allowed: the bench.")
    work = get_object_or_404(_works(request), pk=pk)
    address = request.build_absolute_uri(reverse("maintenance:bench_work", args=[work.pk]))
    heights = request.build_absolute_uri(reverse("maintenance:heights", args=[work.die_id]))
    told = sheet.read(work, system=system_of(request.user), address=address, heights_address=heights)
    named = "".join(c for c in work.die.code if c.isalnum() or c in "-_") or "die"
    return HttpResponse(
        sheet.pdf(told),
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="bench-{named}.pdf"'},
    )
