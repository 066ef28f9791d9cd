"""PURE (numpy, scipy). How long edges last here, from plain data: no Django, no pandas, no models.

    samples = LifeSamples.together([LifeSamples.right_censored([0], 52_000, lot=3), ...])
    fit = fit_fleet(edges, samples)                      # edges: list[EdgeSpec], samples.edge counts in it
    stored = fit.to_dict();  fit = FleetFit.from_dict(stored)
    die = predict_die(fit, edges_of_die, samples_of_die)  # samples.edge counts in edges_of_die
    # with readings of burr or wear in the cycles: Readings.of(row of the sample, hits then, value, quantity number)
    fit = fit_fleet(edges, samples, readings=readings);  predict_die(fit, edges, samples, readings=readings)
    die.remaining[0.1], die.chance_beyond(20_000), die.limits, die.edges[e].usual_hits

- cycles.py   EdgeSpec, LifeSamples and what they refuse (SampleRefused)
- habits.py   what is written down by habit: dull at round counts, the whole set dull
- prior.py    the wear model: columns, means and spread before any record
- weibull.py  one sample at a time: censored Weibull fit with limits, Kaplan-Meier
- cells.py, grids.py, lots.py, chips.py   the parts of the fit
- web.py, ahead.py   lots that cycles share; what is worn and will be, lot by lot
- fleet.py    what the fleet has in common, and how sure that is
- readings.py, integrals.py   what readings say of the cycle under way
- renewals.py what a touch with the stone or a new coat gives back of an edge
- edges.py    edges as columns, for fleets too large for an object an edge
- block.py    the sums of a forecast over some dies at a time
- predict.py  what is left of a die and of its edges; of a whole fleet as arrays
- record.py, drift.py, trend.py   how right past forecasts were; dies that wear faster than before; wear to a limit
- effects.py, causes.py   presses, lots, hands and mishaps told apart by how often edges go dull with them
- handbook.py usual intervals by the wear model alone, and with another build
- unbuilt.py  the interval of a die that nobody has built yet

Hits are plain hits everywhere outside; inside the engine counts in 100,000. An edge's own clock runs in the strokes in
which it cuts; every forecast is in strokes of the die.
"""

from .cycles import CHIPPED, DULL, SHARP, EdgeSpec, LifeSamples, SampleRefused
from .edges import Edges
from .fleet import FleetFit
from .fleet import fit as fit_fleet
from .habits import heaped
from .handbook import Interval, WhatIf, expected_interval, handbook_interval, what_if
from .predict import (
    LEVELS,
    DiePrediction,
    EdgePrediction,
    FleetForecast,
    NothingToForecast,
    RestsOn,
    forecast_fleet,
    predict_die,
    predict_fleet,
)
from .readings import ReadingModel, Readings

__all__ = [
    "CHIPPED",
    "DULL",
    "LEVELS",
    "SHARP",
    "DiePrediction",
    "EdgePrediction",
    "EdgeSpec",
    "Edges",
    "FleetFit",
    "FleetForecast",
    "Interval",
    "LifeSamples",
    "NothingToForecast",
    "ReadingModel",
    "Readings",
    "RestsOn",
    "SampleRefused",
    "WhatIf",
    "expected_interval",
    "fit_fleet",
    "forecast_fleet",
    "handbook_interval",
    "heaped",
    "predict_die",
    "predict_fleet",
    "what_if",
]
