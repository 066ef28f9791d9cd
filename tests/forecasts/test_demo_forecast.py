"""The demo shop is forecast as it was: what moves code about moves no number."""

import json

import numpy as np
import pytest
from django.core.management import call_command

from fixtures.make_demo_shop import FOLDER
from tests.authorities.make_demo_forecast import STORED, shortened

# Hits are whole, and the last of them may turn on how a processor rounds the sums of the fit.
RELATIVE, HITS = 1e-4, 1.0


@pytest.mark.django_db
def test_the_demo_shop_is_forecast_as_it_was(tmp_path):
    call_command("load_history", str(FOLDER), plant="main", stdout=open(tmp_path / "said", "w"))  # noqa: SIM115
    call_command("forecast", format="json", output=str(tmp_path / "forecast.json"))
    now = shortened(json.loads((tmp_path / "forecast.json").read_text()))
    was = json.loads(STORED.read_text(encoding="utf-8"))
    assert now["as_of"] == was["as_of"]
    for what in ("dies", "edges"):
        assert now[what].keys() == was[what].keys() and len(was[what]) > 10
        for name, hits in was[what].items():
            np.testing.assert_allclose(now[what][name], hits, rtol=RELATIVE, atol=HITS, err_msg=name)
