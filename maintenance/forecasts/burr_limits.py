"""A die's forecast counted to the burr limit of its parts, where that is tighter than where the shop calls dull.

Glue without database or mathematics: from samples and a fit to predictions; what it means stands in life/limit.py.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from maintenance.life import limit, predict, renewals
from maintenance.life.fleet import FleetFit
from maintenance.life.readings import READINGS_NEEDED, ReadingModel

from . import samples

BURR = samples.QUANTITIES.index("burr height")
LEAVES_NO_BURR = {"semi_pierce_punch"}  # it does not cut through; common practice, no source
TOO_FEW = "too few readings"
AS_FRESH = "as fresh edges leave"


@dataclass(frozen=True, kw_only=True)
class Counted:
    """prediction: in place of the die's own; edges, held: by position, all of them and those that count to the limit;
    None and empty where the limit changes nothing. stored: the limit as it lies beside a forecast, for `sentence`."""

    prediction: predict.DiePrediction | None = None
    fresh: predict.DiePrediction | None = None
    edges: dict[int, predict.EdgePrediction] = field(default_factory=dict)
    held: frozenset[int] = frozenset()
    stored: dict | None = None


def of_variant(limits_um: Mapping[int, float], variant: int | None) -> float | None:
    """The limit of what runs next; of all the die's parts where that is not known."""
    if variant is not None:
        return limits_um.get(variant)
    return min(limits_um.values(), default=None)


def model_of(fit: FleetFit) -> ReadingModel | None:
    return next((m for m in fit.reading_models if m.quantity == BURR), None)


def count(
    fit: FleetFit, part: samples.DieSamples, limit_um: float, working: Collection[int] | None, limiting: int | None
) -> Counted:
    """part: the die's samples. working: positions of the inserts that run next, None for all. limiting: the position
    that limits the die to dull; the share of its life is the one that is told."""
    model = model_of(fit)
    if model is None:
        return Counted(stored={"um": limit_um, "not_used": TOO_FEW})
    try:
        limits = {
            e: known
            for e, spec in enumerate(part.specs)
            if spec.kind not in LEAVES_NO_BURR and (known := limit.Limit.of(model, limit_um, spec.thickness_mm))
        }
    except ValueError:
        return Counted(stored={"um": limit_um, "not_used": AS_FRESH})
    held = frozenset(p for p, e in part.current.items() if e in limits)
    if not held:
        return Counted()
    every, every_fresh = _predict(fit, part, limits, limit_um)
    prediction, fresh = every, every_fresh
    if working is not None and not set(part.current) <= set(working):
        rows = [row for row in part.rows if not row[1].open or row[1].position in working]
        prediction, fresh = _predict(fit, replace(part, rows=rows), limits, limit_um)
    if every is None or prediction is None or not any(e in limits for e in prediction.edges):
        return Counted()
    at = part.current[limiting] if limiting in held else part.current[min(held)]
    return Counted(
        prediction=prediction,
        fresh=fresh,
        edges={p: every.edges[e] for p, e in part.current.items() if e in every.edges},
        held=held,
        stored={"um": limit_um, "share": round(limits[at].share, 3)},
    )


def _predict(
    fit: FleetFit, part: samples.DieSamples, limits: Mapping[int, limit.Limit], limit_um: float
) -> tuple[predict.DiePrediction | None, predict.DiePrediction | None]:
    """What is left to the limit, and what would be once every edge is sharpened."""
    gathered = samples.Gathered([part])
    specs, life, measured = gathered.specs, gathered.life, gathered.readings
    fresh = predict.predict_fleet(fit, specs, samples.sharpened_now(life), rest=gathered.rest).get(0)
    off = renewals.offsets(life, fit.shares)
    life, measured = renewals.aged(life, measured, fit.shares)
    if measured is not None:
        life = limit.told_of_limits(fit.reading_models, BURR, specs, life, measured)
    prediction = predict.predict_fleet(fit, specs, life, rest=gathered.rest).get(0)
    burrs: dict[int, dict[float, float]] = {}
    for row, (number, cycle) in enumerate(part.rows):
        if cycle.open:
            burrs[number] = {at + off[row]: um for at, um in samples.burrs_um(cycle).items()}
    held = {e: limit.held(fit, specs[e], of, burrs.get(e, {}), limit_um) for e, of in limits.items()}
    sharp = {e: limit.held(fit, specs[e], of, {}, limit_um) for e, of in limits.items()}
    return (
        None if prediction is None else limit.to_limit(prediction, held),
        None if fresh is None else limit.to_limit(fresh, sharp),
    )


def sentence(kept: Mapping, shown_limit: str) -> str:
    """What is stored of a limit, as one sentence."""
    if kept.get("not_used") == TOO_FEW:
        return (
            f"The burr limit of {shown_limit} is not used: it takes {READINGS_NEEDED} burr readings on edges that "
            "then went dull to know where in the life it is reached."
        )
    if kept.get("not_used") == AS_FRESH:
        return f"The burr limit of {shown_limit} is not used: by this shop's readings fresh edges leave as much."
    return f"Counts to the burr limit of {shown_limit}, reached at {kept['share']:.2g} of the life to dull."
