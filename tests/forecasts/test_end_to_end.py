"""From a folder to a forecast: sixty made-up dies are loaded and forecast, and held against what was true of them.

The truth is the simulation's own (`fixtures/made_fleet.py`): how many more strokes each edge really had in it.
"""

import json

import numpy as np
import pytest
from django.core.management import call_command

from fixtures.made_fleet import simulate_fleet
from maintenance.forecasts.stored import chance_of_going

pytestmark = pytest.mark.django_db

DIES = 60


def test_a_fleet_loads_and_is_forecast_about_right(tmp_path):
    truth = {(t.die, t.position): t.remaining_hits for t in simulate_fleet(tmp_path / "fleet", dies=DIES, seed=1)}
    call_command("load_history", str(tmp_path / "fleet"), allow_future=True, verbosity=0)
    call_command("forecast", format="json", output=str(tmp_path / "forecast.json"), verbosity=0)
    forecast = json.loads((tmp_path / "forecast.json").read_text())
    assert len(forecast["dies"]) == DIES
    assert {(c["die"], c["position"]) for c in forecast["components"]} == {key for key in truth if key[1]}

    def held(row, position):
        left = row["remaining_hits"]
        return left["0.10"] <= truth[row["die"], position] <= left["0.90"]

    edges = np.mean([held(c, c["position"]) for c in forecast["components"]])
    dies = np.mean([held(d, "") for d in forecast["dies"]])
    # 80 of 100 in the long run. A thousand edges that share die effects: give or take 0.05; sixty dies: give or take
    # two and a half standard errors, 2.5 sqrt(0.8 x 0.2 / 60) = 0.13.
    assert edges == pytest.approx(0.80, abs=0.08)
    assert dies == pytest.approx(0.80, abs=0.13)

    # What it says must also tell the dies apart: the chance of going as far as a die's own truth is even from 0 to 1,
    # and the half-way mark is nearer to the truth than one number for all would be.
    middle = np.array([d["remaining_hits"]["0.50"] for d in forecast["dies"]], float)
    real = np.array([truth[d["die"], ""] for d in forecast["dies"]], float)
    one_for_all = np.abs(np.log1p(real) - np.median(np.log1p(real))).mean()
    assert np.abs(np.log1p(real) - np.log1p(middle)).mean() < 0.85 * one_for_all
    chances = [chance_of_going(d["remaining_hits"], truth[d["die"], ""]) for d in forecast["dies"]]
    assert np.mean(chances) == pytest.approx(0.5, abs=2.5 / np.sqrt(12 * DIES))

    most = {}
    for row in forecast["components"]:
        most[row["die"]] = max(most.get(row["die"], 0), row["hits_since_sharpening"])
    assert {d["die"]: d["hits_since_sharpening"] for d in forecast["dies"]} == most
