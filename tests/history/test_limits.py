"""What a figure can be stands once: models, administration, loader and lists go by it, and none trips over another."""

from __future__ import annotations

import math

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.urls import reverse

from diestore.handbook import limits
from diestore.register.models import Item, Position
from maintenance.forecasts import store
from maintenance.history.columns import TABLES
from maintenance.history.load import load
from maintenance.history.problems import HistoryRefused
from maintenance.models import CounterDevice, EdgeForecast, Stop
from reports.spares import advice
from tests import factories as make
from tests.history import folders
from tests.pages import money_shop
from tests.pages.bench_browser import page, send

WRONG = [20_261_201, 2**31, 2**63, 10**30, 1e308, -1e308, math.inf, -math.inf, math.nan]
SMALL = [1e-300, 5e-324, -1e-300]
# File and column of a history folder -> of what it is.
LOADED = {
    ("spares", "lead_days"): ("item", "lead_days"),
    ("spares", "pack_size"): ("item", "pack_size"),
    ("dies", "strokes_per_minute"): ("die", "strokes_per_minute"),
    ("dies", "expected_parts"): ("die", "expected_parts"),
    ("dies", "shut_height_mm"): ("die", "shut_height_mm"),
    ("dies", "weight_kg"): ("die", "weight_kg"),
    ("presses", "rated_at_mm"): ("press", "rated_at_mm"),
    ("dies", "stock_tensile_mpa"): ("stock", "tensile_mpa"),
    ("dies", "stock_thickness_mm"): ("stock", "thickness_mm"),
    ("components", "works_in_share_of_strokes"): ("position", "stroke_share"),
    ("components", "x_mm"): ("position", "x_mm"),
    ("components", "grind_allowance_mm"): ("piece", "grind_allowance_mm"),
    ("cuts", "length_mm"): ("cut", "length_mm"),
    ("cuts", "gap_mm"): ("cut", "gap_mm"),
    ("pieces", "opening_life_hits"): ("piece", "opening_life_hits"),
    ("presses", "rated_force_n"): ("press", "rated_force_n"),
    ("stations", "sequence"): ("station", "sequence"),
    ("parts", "burr_limit_um"): ("part", "burr_limit_um"),
}


@pytest.mark.parametrize(("table", "column"), sorted(limits.OF))
def test_a_model_refuses_what_lies_beyond(table, column):
    field, limit = apps.get_model("diestore", table)._meta.get_field(column), limits.OF[table, column]
    for value in (limit.least, limit.most):
        field.run_validators(field.to_python(value))
    beyond = [limit.most * 1.01 + 1, limit.least - 1, *(v for v in (*WRONG, *SMALL) if not limit.holds(v))]
    for value in beyond:
        with pytest.raises(ValidationError):
            field.run_validators(value)


def test_every_figure_of_the_register_has_its_limit():
    """A figure added to a model without one is found here."""
    found = set()
    for model in apps.get_app_config("diestore").get_models():
        ours = model.__module__ in ("diestore.register.models", "diestore.register.sources")
        if not ours or model._meta.model_name.startswith("historical"):
            continue
        for field in model._meta.concrete_fields:
            kind = field.get_internal_type()
            if not field.is_relation and not field.primary_key and ("Integer" in kind or "Float" in kind):
                found.add((model._meta.model_name, field.name))
    money = {("item", "unit_price"), ("die", "build_price"), ("rate", "amount"), ("sourceprice", "unit_price")}
    money |= {("stock", "price_kg"), ("stock", "scrap_kg")}
    money.add(("source", "changes"))  # counted, never typed
    assert found - money == set(limits.OF)


@pytest.mark.parametrize(("file", "column"), sorted(LOADED))
def test_the_loader_goes_by_the_same_limit(file, column):
    (table,) = [table for table in TABLES if table.file == f"{file}.csv"]
    told, limit = table.by_name[column], limits.OF[LOADED[file, column]]
    assert (told.at_least, told.at_most) == (limit.least, limit.most)


@pytest.mark.django_db
def test_the_loader_refuses_a_date_in_the_wrong_cell(tmp_path):
    item = {"spare": "PP-6", "on_hand": "2", "on_order": "0", "lead_days": "20261201", "unit_price": "4"}
    file = next(table.file for table in TABLES if "lead_days" in table.by_name)
    with pytest.raises(HistoryRefused, match="20,261,201 cannot be: 3,650 is the most"):
        load(folders.sound(tmp_path, **{file.removesuffix(".csv"): [item]}))
    assert not Item.objects.exists()


@pytest.mark.django_db
def test_the_card_of_a_spare_refuses_it_too(as_role):
    client, item = as_role("lead"), make.item()
    for column, value in (("lead_days", 20_261_201), ("grind_allowance_mm", "1e308"), ("pack_size", 2**63)):
        sent = {"code": item.code, "pack_size": 1, "lead_days": 5, "reason": "x", column: value}
        answer = client.post(reverse("diestore:spares_card", args=[item.pk]), sent)
        assert answer.status_code == 422 and f'href="#id_{column}"' in answer.content.decode(), column


@pytest.mark.django_db
def test_a_lead_time_that_stands_already_takes_no_page_from_anybody(as_role):
    """It came in before there was a limit: its row says what it is, the other spare is told as ever."""
    for code, wrong in (("PP-1", 2_000_000_000), ("PP-2", None)):
        item = money_shop.spare(code, on_hand=2, lead_days=200)
        money_shop.worked_die(f"H-{code}", item, cycles=2)
        if wrong:
            Item.objects.filter(pk=item.pk).update(lead_days=wrong)
    client = as_role("lead")
    for name in ("reports:today", "reports:spares", "reports:spares_csv"):
        assert client.get(reverse(name)).status_code == 200, name
    rows = {row.code: row for row in advice.all_spares(make.plant())}
    assert "2,000,000,000 cannot be: 3,650 is the most" in rows["PP-1"].refusal
    assert rows["PP-2"].advice is not None
    answer = client.get(reverse("reports:spare", args=[rows["PP-1"].item.pk]))
    assert answer.status_code == 200 and "3,650 is the most" in page(answer)


@pytest.mark.django_db
def test_a_share_of_the_strokes_that_stands_already_ends_no_fit():
    for code in ("H-1", "H-2"):
        die = make.die(code)
        places = [make.position(die, place) for place in ("1-A", "2-A")]
        make.run(die, 1, 20_000)
        make.sharpen(die, 2, *places)
        make.run(die, 3, 7_000)
    Position.objects.filter(die__code="H-1", code="1-A").update(stroke_share=1e-300)
    store.fit_and_forecast(make.plant())
    told = {(e.position.die.code, e.position.code): e for e in EdgeForecast.objects.select_related("position__die")}
    assert ("H-1", "2-A") in told and ("H-2", "1-A") in told
    wrong = told.get(("H-1", "1-A"))
    assert wrong is not None and "0.0001 is the least" in wrong.refusal


@pytest.mark.django_db
def test_the_bench_and_the_devices_refuse_numbers_that_no_row_takes(as_role):
    client = as_role("lead")
    die = make.die()
    person = make.person()
    for wrong in ({"minutes": "1000000000000000"}, {"minutes": "10", "parts_scrapped": str(2**63)},
                  {"minutes": "1e308"}, {"minutes": "10", "parts_scrapped": str(10**30)}):  # fmt: skip
        answer = send(client, "log_stop", die, cause="slug", person=person.pk, at="2026-03-01T10:00", **wrong)
        assert answer.status_code == 422, wrong
    assert not Stop.objects.exists()
    for number in (2**63, 10**30, "x", "-1"):
        sent = {"name": "box", "scopes": "counts", "dies": number}
        assert client.post(reverse("maintenance:counter_devices"), sent).status_code == 422, number
    assert not CounterDevice.objects.exists()


@pytest.mark.django_db
def test_the_loader_refuses_figures_of_which_one_cannot_be_above_the_other(tmp_path):
    press = {"press": "P1", "shut_height_min_mm": "320", "shut_height_max_mm": "220"}
    with pytest.raises(HistoryRefused, match="The least shut height is above the greatest"):
        load(folders.sound(tmp_path, presses=[press]))
