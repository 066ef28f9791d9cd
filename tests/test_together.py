"""Reads asked together give what each gives when it is asked alone."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db.models import Count, Sum
from django.db.models.fields.json import KT
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from diestore import together
from diestore.access.models import Person
from diestore.register.models import Die, Position, Rate
from maintenance.models import CostLine, DieForecast, Incident, OpenCount, Order, Reading, Run, Work
from tests import factories as make

pytestmark = pytest.mark.django_db


def fields(row):
    told = {name: value for name, value in row.__dict__.items() if not name.startswith("_")}
    along = {name: one and fields(one) for name, one in row._state.fields_cache.items()}
    return told, along


def alike(**asked):
    told = together.read(**{name: query.all() for name, query in asked.items()})
    for name, query in asked.items():
        alone = list(query)
        assert len(alone) == len(told[name]), name
        for mine, its in zip(told[name], alone, strict=True):
            assert (fields(mine) == fields(its)) if hasattr(its, "_state") else (mine == its), name
            kinds = [type(v) for v in mine] if isinstance(mine, tuple) else []
            assert kinds == ([type(v) for v in its] if isinstance(its, tuple) else []), name
    return told


@pytest.fixture
def shop():
    die = make.die("H-1", build_price=Decimal("9000.0385"))
    positions = [make.position(die, code) for code in ("1-A", "2-A")]
    order = make.order(die, "26-1")
    make.run(die, 1, 9_000, order=order)
    make.run(die, 2, 8_000)
    make.sharpen(die, 3, *positions)
    Rate.objects.create(plant=make.plant(), kind="toolroom hour", valid_from="2020-02-29", amount=Decimal("60.05"))
    DieForecast.objects.create(die=die, as_of=make.START, remaining={"0.5": 1.5e6}, rests_on={"words": 'a "b" %s é'})
    return die


def test_rows_models_sums_and_slices(shop):
    told = alike(
        models=Work.objects.select_related("position__station", "piece", "person", "struck_by").order_by("-at", "pk"),
        dies=Die.objects.select_related("usual_stock", "plant", "owner"),
        rows=Run.objects.order_by("-started").values_list("at", "hits", "good_parts", "order__number"),
        slice=Run.objects.order_by("-started")[:1],
        sums=Run.objects.order_by().values("die_id").annotate(n=Sum("hits")).values_list("die_id", "n"),
        counted=Die.objects.annotate(n=Count("positions")).order_by("pk"),
        money=Rate.objects.values_list("valid_from", "amount"),
        told=DieForecast.objects.values_list("remaining", "rests_on", KT("rests_on__words")),
        deferred=DieForecast.objects.select_related("die").defer("fresh"),
        flags=Position.objects.values_list("code", "valid_from", "stroke_share"),
        nothing=CostLine.objects.all(),
        none=OpenCount.objects.none(),
        empty=Order.objects.filter(pk__in=[]),
        truth=Person.objects.values_list("active"),
        fetched=Incident.objects.prefetch_related("pieces"),
    )
    assert (
        len(told["rows"]) == 2
        and len(told["models"]) == 2
        and told["money"] == [(dt.date(2020, 2, 29), Decimal("60.05"))]
    )
    assert told["nothing"] == told["none"] == told["empty"] == []


def test_it_is_one_question(shop, django_assert_num_queries):
    with django_assert_num_queries(1):
        together.read(runs=Run.objects.all(), works=Work.objects.select_related("position"), dies=Die.objects.all())
    with django_assert_num_queries(0):
        assert together.read(none=Run.objects.none(), empty=Run.objects.filter(pk__in=[])) == {"none": [], "empty": []}


def test_what_has_no_way_through_a_list_is_refused(shop):
    with pytest.raises(TypeError, match="values_list"):
        together.read(runs=Run.objects.values("pk"))


class ExactNumbers(TestCase):
    """No digit of a number is lost on its way through a list."""

    @settings(max_examples=40, deadline=None)
    @given(
        st.floats(1e-9, 1e9),
        st.datetimes(dt.datetime(1990, 1, 1), dt.datetime(2090, 1, 1)),
        st.text("a\"\\%é\n{}'", max_size=9),
    )
    def test_back_as_it_was_kept(self, value, at, note):
        die = make.die("H-9")
        Reading.objects.create(
            die=die,
            at=at.replace(tzinfo=dt.UTC),
            quantity="strip force",
            value_si=value,
            typed_value="1",
            typed_unit="N",
            key="k",
            note=note,
        )
        rows = Reading.objects.values_list("value_si", "at", "note")
        assert together.read(rows=rows.all())["rows"] == list(rows)
