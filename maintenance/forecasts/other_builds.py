"""An edge built otherwise: how many times as long it would last, by a stored fit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from django.utils import timezone

from diestore.register.models import Die
from maintenance.life import prior
from maintenance.life.cycles import EdgeSpec
from maintenance.life.fleet import FleetFit
from maintenance.log import queries
from maintenance.log import read as log_read
from maintenance.log.data import OrderLeft
from maintenance.models import DieForecast

from . import samples
from .predict import fitted_positions

TIMES_DRAWN = 2_000  # thetas from which the times of another build are told


@dataclass(frozen=True, kw_only=True)
class EdgeNow:
    """An edge as it is built now. usual_hits: its forecast of a fresh edge, in strokes of the die. in_every_set: it
    works whichever inserts are in."""

    position: int
    code: str
    spec: EdgeSpec
    usual_hits: float
    tool_steel: str
    coating: str
    hardness_hrc: float | None
    in_every_set: bool = True


def edges_now(die: Die, *, orders: Iterable[OrderLeft] | None = None) -> list[EdgeNow]:
    """The edges that work in a die, as built now, with the stored forecast of each.

    orders: the open orders of the die, the earliest due first, where they are read.
    """
    forecast = DieForecast.objects.filter(die=die, is_newest=True).first()
    if forecast is None or not forecast.fresh:
        return []
    usual = dict(forecast.edges.filter(usual_hits__gt=0).order_by().values_list("position_id", "usual_hits"))
    log = log_read.of_die(die)
    part = samples.of_die(log, forecast.as_of.timestamp(), built_at=timezone.now().timestamp())
    orders = queries.open_orders(dies=[die]) if orders is None else orders
    variant = next((order.variant_id for order in orders), None)
    working = fitted_positions(log, variant, forecast.as_of.timestamp())
    edges = []
    for number, cycle in part.rows:
        place = log.positions[cycle.position]
        if not cycle.open or place.id not in usual or (working is not None and place.id not in working):
            continue
        edges.append(
            EdgeNow(
                position=place.id,
                code=place.code,
                spec=part.specs[number],
                usual_hits=usual[place.id] / place.stroke_share,
                tool_steel=cycle.build.tool_steel,
                coating=cycle.build.coating,
                hardness_hrc=cycle.build.hardness_hrc,
                in_every_set=not place.variants,
            )
        )
    return sorted(edges, key=lambda edge: edge.code)


def times_with(fit: FleetFit, edges: Sequence[EdgeNow], changed: Sequence[EdgeSpec], *, draws: int = 24) -> np.ndarray:
    """How many times as long a die goes between sharpenings with its edges built otherwise: equally likely values,
    rising.

    [sum over edges of (usual hits x times)^-k / sum of usual hits^-k]^(-1/k): the first of Weibull lives of one shape.
    times of an edge: what the wear model says of the change after this shop's record; the edge's own part is kept.
    """
    if len(edges) != len(changed) or not edges:
        raise ValueError(f"{len(edges)} edges and {len(changed)} ways to build them; as many as there are edges")
    usual = np.log([edge.usual_hits for edge in edges])
    steps = prior.design(list(changed)) - prior.design([edge.spec for edge in edges])
    b, k = fit.many(TIMES_DRAWN)
    before = -k[:, None] * (usual - usual.min())
    after = before - k[:, None] * (b @ steps.T)
    times = np.exp((np.logaddexp.reduce(before, axis=1) - np.logaddexp.reduce(after, axis=1)) / k)
    return np.quantile(times, (np.arange(draws) + 0.5) / draws)
