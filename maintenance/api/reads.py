"""What other systems read: the register, forecasts, jobs with their chance of finishing. The figures of the pages."""

from __future__ import annotations

import datetime as dt

from django.db.models import Count
from django.http import HttpRequest
from ninja import Field, Query, Router, Schema

from diestore.register.models import Die, Position
from maintenance.forecasts import due
from maintenance.log import queries
from maintenance.models import Order, Scope

from .auth import device_of
from .parts import Part, cut
from .routes import READS, _die

router = Router()


class RegisterDie(Schema):
    """A die as the register has it. Lengths in mm."""

    code: str
    description: str
    status: str
    stock: str
    thickness_mm: float
    usual_press: str | None
    strokes_per_minute: float
    places: int


class RegisterDies(Schema):
    next: str | None = Field(description="The cursor of the next part; null where this is the last.")
    dies: list[RegisterDie]


class Place(Schema):
    """A place of a die, and the spare that fits it."""

    code: str
    station: str | None
    kind: str
    side: str
    spare: str | None
    works_in_share_of_strokes: float
    valid_from: dt.datetime | None
    valid_to: dt.datetime | None


class Places(Schema):
    next: str | None = Field(description="The cursor of the next part; null where this is the last.")
    places: list[Place]


class DieForecast(Schema):
    """Further strokes of a die to its first dull or chipped edge. half_last_hits: half last so many
    more; nine_in_ten_last_hits: 9 in 10 do. why_unknown: why nothing can be said."""

    die: str
    as_of: dt.datetime
    limiting_position: str | None
    hits_since_sharpening: int | None
    half_last_hits: int | None
    nine_in_ten_last_hits: int | None
    remaining_hits: dict[str, int] = Field(description="Chance of the first dull or chipped edge -> strokes by then.")
    why_unknown: str


class Forecasts(Schema):
    next: str | None = Field(description="The cursor of the next part; null where this is the last.")
    forecasts: list[DieForecast]


class OpenJob(Schema):
    """An open job. chance: of finishing it without a dull or chipped edge, of the job of each die that is due first."""

    number: str
    part: str
    die: str | None
    due: dt.date
    parts: int
    parts_left: int
    hits_left: int
    chance: float | None
    standing: str
    why_unknown: str


class OpenJobs(Schema):
    next: str | None = Field(description="The cursor of the next part; null where this is the last.")
    jobs: list[OpenJob]


@router.get("/register/dies", response={200: RegisterDies, **READS}, summary="The register of dies", tags=["register"])
def get_register(request: HttpRequest, part: Query[Part]):
    device = device_of(request, Scope.REGISTER, Scope.READ, part=part)
    dies = Die.objects.filter(plant=device.plant_id).select_related("usual_stock", "usual_press")
    shown, more = cut(list(dies.order_by()), part, lambda die: [die.code, die.pk])
    counted = Position.objects.filter(die__in=shown).order_by().values_list("die").annotate(n=Count("pk"))
    places = dict(counted)
    told = [
        {
            "code": die.code,
            "description": die.description,
            "status": die.status,
            "stock": die.usual_stock.code,
            "thickness_mm": die.usual_stock.thickness_mm,
            "usual_press": die.usual_press.code if die.usual_press else None,
            "strokes_per_minute": die.strokes_per_minute,
            "places": places.get(die.pk, 0),
        }
        for die in shown
    ]
    return {"next": more, "dies": told}


@router.get("/register/dies/{code}/places", response={200: Places, **READS}, summary="The places of a die",
            tags=["register"])  # fmt: skip
def get_places(request: HttpRequest, code: str, part: Query[Part]):
    device = device_of(request, Scope.REGISTER, Scope.READ, part=part)
    die = _die(device, code.replace("\x00", " "))
    rows = list(Position.objects.filter(die=die).select_related("station", "item").order_by())
    shown, more = cut(rows, part, lambda place: [place.code, place.pk])
    told = [
        {
            "code": place.code,
            "station": place.station.code if place.station else None,
            "kind": place.kind,
            "side": place.side,
            "spare": str(place.item) if place.item else None,
            "works_in_share_of_strokes": place.stroke_share,
            "valid_from": place.valid_from,
            "valid_to": place.valid_to,
        }
        for place in shown
    ]
    return {"next": more, "places": told}


@router.get("/forecasts", response={200: Forecasts, **READS}, summary="What is left of every die", tags=["forecasts"])
def get_forecasts(request: HttpRequest, part: Query[Part]):
    device = device_of(request, Scope.FORECASTS, Scope.READ, part=part)
    rows = list(queries.newest_forecasts(device.plant).order_by())
    shown, more = cut(rows, part, lambda row: [row.die.code, row.die_id])
    told = [
        {
            "die": row.die.code,
            "as_of": row.as_of,
            "limiting_position": row.limiting.code if row.limiting else None,
            "hits_since_sharpening": row.hits_since_sharpening,
            "half_last_hits": row.half_hits,
            "nine_in_ten_last_hits": row.nine_in_ten_hits,
            "remaining_hits": row.remaining,
            "why_unknown": row.refusal,
        }
        for row in shown
    ]
    return {"next": more, "forecasts": told}


@router.get("/jobs", response={200: OpenJobs, **READS}, summary="Open jobs, each with its chance of finishing",
            tags=["jobs"])  # fmt: skip
def get_jobs(request: HttpRequest, part: Query[Part]):
    """Chances as on the page of the dies due: of each die's job that is due first."""
    device = device_of(request, Scope.FORECASTS, Scope.READ, part=part)
    listed = {row.order.order_id: row for row in due.rows(device.plant, plants={device.plant_id})}
    left = queries.open_orders(plant=device.plant)
    shown, more = cut(left, part, lambda row: [row.due.isoformat(), row.number, row.order_id])
    parts = Order.objects.filter(pk__in=[row.order_id for row in shown]).select_related("part")
    named = {order.pk: str(order.part) for order in parts}
    codes = dict(Die.objects.filter(plant=device.plant_id).values_list("pk", "code"))
    return {"next": more, "jobs": [_job(row, named[row.order_id], codes.get(row.die_id), listed) for row in shown]}


def _job(row, part: str, die: str | None, listed: dict[int, due.DueRow]) -> dict:
    told = listed.get(row.order_id)
    refusal = told.refusal if told else "Another job of its die is due first." if die else "No die here makes it."
    return {
        "number": row.number,
        "part": part,
        "die": die,
        "due": row.due,
        "parts": row.parts,
        "parts_left": row.parts_left,
        "hits_left": row.hits_left,
        "chance": told.chance if told else None,
        "standing": told.standing.word if told else "",
        "why_unknown": refusal,
    }
