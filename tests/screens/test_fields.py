"""Numbers in forms are read by the service and not by the browser: a decimal comma is no thousands mark."""

import pytest
from django import forms

from diestore.access.models import Person
from diestore.frame.fields import BetweenField, KnownField

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


class Who(forms.Form):
    def __init__(self, *args, rows, empty="nobody"):
        super().__init__(*args)
        label = {"required": False, "queryset": Person.objects.none(), "empty_label": empty}
        self.fields["who"] = KnownField(rows=rows, **label)


def test_a_pick_among_rows_that_are_read_asks_nothing_again():
    rows = [Person(pk=3, name="Ina"), Person(pk=7, name="Olaf")]
    assert [(str(value), label) for value, label in Who(rows=rows).fields["who"].choices] == [
        ("", "nobody"), ("3", "Ina"), ("7", "Olaf"),
    ]  # fmt: skip
    assert len(Who(rows=rows).fields["who"].choices) == 3 and not Who(rows=[], empty=None).fields["who"].choices
    form = Who({"who": "7"}, rows=rows)
    assert form.is_valid() and form.cleaned_data["who"] is rows[1]
    assert Who({"who": ""}, rows=rows).is_valid()


@pytest.mark.parametrize("sent", ["8", "-1", "Ina", "7.0", "9" * 40, "\x00"])
def test_what_is_none_of_them_is_refused(sent):
    form = Who({"who": sent}, rows=[Person(pk=7, name="Olaf")])
    assert not form.is_valid() and list(form.errors) == ["who"]
