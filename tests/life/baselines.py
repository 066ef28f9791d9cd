"""Three simpler ways of telling what is left, to be compared with: plain methods that a toolroom or a textbook would
use."""

from __future__ import annotations

import numpy as np

from maintenance.life import LEVELS, fit_fleet, predict_fleet
from maintenance.life.cycles import DULL, LifeSamples
from maintenance.life.weibull import NotEnough, fit_sample
from tests.life.simulate import Shop

STROKES = np.geomspace(1e-4, 60, 300)


def handbook(made: Shop):
    """The wear model alone: the records of past cycles are not looked at."""
    fit = fit_fleet([], LifeSamples.of([], [], []))
    told = predict_fleet(fit, made.edges, made.samples.pick(made.samples.under_way))
    return (
        {e: p.remaining for die in told.values() for e, p in die.edges.items()},
        {d: p.remaining for d, p in told.items()},
    )


def own_likelihood(made: Shop):
    """Each edge's own censored Weibull by maximum likelihood; with too few dull ends, the fleet's middle."""
    fits = []
    for e in range(len(made.edges)):
        try:
            mine = made.samples.pick(made.samples.edge == e)
            fit = fit_sample(mine)
            fits.append((np.log(fit.scale_hits), fit.shape))
        except NotEnough:
            fits.append((np.nan, np.nan))
    values = np.array(fits)
    values = np.where(np.isnan(values), np.nanmedian(values, axis=0), values)
    return _weibull(made, values[:, 0], values[:, 1])


def mean_interval(made: Shop):
    """The mean of each edge's intervals that ended dull, with a scatter of 25 %; else the fleet's."""
    dull = made.samples.pick(made.samples.ended == DULL)
    count = np.bincount(dull.edge, minlength=len(made.edges))
    total = np.bincount(dull.edge, dull.hits, len(made.edges))
    mean = np.where(count > 0, total / np.maximum(count, 1), dull.hits.mean())
    return _weibull(made, np.log(mean), np.full(len(mean), 4.5))


def _weibull(made: Shop, ln_scale, shape):
    h = made.hits_now
    scale = np.exp(np.clip(ln_scale, 0, 25))
    strokes = scale[:, None] * STROKES
    hazard = ((h[:, None] + strokes) / scale[:, None]) ** shape[:, None] - (h / scale)[:, None] ** shape[:, None]
    edges = {e: _levels(strokes[e], hazard[e]) for e in range(len(h))}
    die = np.array([e.die for e in made.edges])
    dies = {}
    for d in range(die.max() + 1):
        x = np.exp(np.mean(np.log(scale[die == d]))) * STROKES
        mine = np.flatnonzero(die == d)
        all_hazard = sum(((h[e] + x) / scale[e]) ** shape[e] - (h[e] / scale[e]) ** shape[e] for e in mine)
        dies[d] = _levels(x, all_hazard)
    return edges, dies


def _levels(x, hazard):
    wanted = -np.log1p(-np.array(LEVELS))
    return dict(zip(LEVELS, np.exp(np.interp(wanted, np.maximum.accumulate(hazard), np.log(x))), strict=True))


ALL = {"each edge's likelihood": own_likelihood, "handbook only": handbook, "mean interval": mean_interval}
