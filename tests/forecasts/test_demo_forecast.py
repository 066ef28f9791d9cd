"""The demo shop is forecast as it was: what moves code about moves no number."""

import json

import numpy as np
import pytest

from tests.authorities.make_demo_forecast import STORED, forecast

# Hits are whole, and the last of them may turn on how a processor rounds the sums of the fit.
RELATIVE, HITS = 1e-4, 1.0


@pytest.mark.walk
def test_the_demo_shop_is_forecast_as_it_was():
    now = forecast()
    was = json.loads(STORED.read_text(encoding="utf-8"))
    assert now["as_of"] == was["as_of"]
    for what in ("dies", "edges"):
        assert now[what].keys() == was[what].keys() and len(was[what]) > 10
        for name, hits in was[what].items():
            np.testing.assert_allclose(now[what][name], hits, rtol=RELATIVE, atol=HITS, err_msg=name)
