"""Numbers in forms are read by the service and not by the browser: a decimal comma is no thousands mark."""

import pytest
from django import forms

from diestore.frame.fields import BetweenField

pytestmark = pytest.mark.no_database


class Asked(forms.Form):
    hardness = BetweenField(least=40, most=72, unit="HRC")
    gap = BetweenField(least=0.5, most=40, unit="%")


@pytest.mark.parametrize(
    ("typed", "read"),
    [("1,5", 1.5), ("1.5", 1.5), ("1,5 %", 1.5), ("1.5%", 1.5), (" 12 ", 12.0), ("", None)],
)
def test_a_gap_is_read_with_a_comma_or_a_point_and_with_its_unit(typed, read):
    form = Asked({"gap": typed})
    assert form.is_valid() and form.cleaned_data["gap"] == read


@pytest.mark.parametrize("typed", ["HRC 60", "60 HRC", "60"])
def test_a_hardness_is_read_as_it_stands_on_drawings(typed):
    form = Asked({"hardness": typed})
    assert form.is_valid() and form.cleaned_data["hardness"] == 60.0


@pytest.mark.parametrize("typed", ["60-62", "wide", "15", "nan", "1e999", "1,250"])
def test_what_cannot_be_comes_back_as_typed_with_a_sentence(typed):
    form = Asked({"hardness": typed})
    assert not form.is_valid() and form["hardness"].value() == typed
    (sentence,) = form.errors["hardness"]
    assert sentence.endswith(".") and "Traceback" not in sentence


def test_no_browser_reads_the_number():
    assert 'type="number"' not in str(Asked())
