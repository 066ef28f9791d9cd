"""The demo shop: made by its script to the last byte, and it shows what its description promises."""

import csv
import datetime as dt
import itertools
import math
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np
import pytest
from django.core.management import call_command
from scipy import stats

from diestore.handbook.kinds import kind
from diestore.register.models import Plant
from fixtures import alder_bank, describe_tables, wear_truth
from fixtures.make_demo_shop import FOLDER, make_demo_shop
from fixtures.shop_calendar import END, START
from maintenance.forecasts import store
from maintenance.forecasts.stored import chance_of_going
from maintenance.log import queries
from reports.spares import advice

ROUGHLY_A_BYTE_LIMIT = 1_500_000


def table(name: str) -> list[dict[str, str]]:
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def when(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)


def test_the_tables_are_what_the_script_makes(tmp_path: Path):
    made = make_demo_shop(tmp_path / "again")
    names = sorted(path.name for path in made.glob("*.csv"))
    assert names == sorted(path.name for path in FOLDER.glob("*.csv"))
    for name in names:
        assert (made / name).read_bytes() == (FOLDER / name).read_bytes(), f"{name} is not what the script makes"


def test_the_readme_describes_the_columns_that_are_loaded():
    text = describe_tables.README.read_text(encoding="utf-8")
    assert text == describe_tables.described(text), "write it again: python -m fixtures.describe_tables"
    for path in FOLDER.glob("*.csv"):
        section = text.split(f"### {path.name}\n")[1].split("\n### ")[0]
        both = section + text.split("### Columns that every entry may carry")[1]
        for column in path.read_text(encoding="utf-8").partition("\n")[0].split(","):
            assert f"`{column}`" in both, f"{path.name} has a column {column} that is not described"


def test_a_toolmaker_can_read_them():
    assert sum(path.stat().st_size for path in FOLDER.glob("*.csv")) < ROUGHLY_A_BYTE_LIMIT
    assert all(kind(row["kind"]) for row in table("components"))


def test_about_a_dozen_dies_of_different_stock_and_build():
    dies = table("dies")
    assert 11 <= len(dies) <= 15
    assert len({d["stock_material"] for d in dies}) >= 8
    stations = Counter(row["die"] for row in table("stations"))
    assert all(5 <= n <= 10 for n in stations.values())
    steels = {row["tool_steel"] for row in table("components")}
    assert {"D2", "A2", "M2", "PM-M4", "carbide"} <= steels
    assert {"TiN", "TiCN", "AlCrN"} <= {row["coating"] for row in table("components")}


def test_three_years_that_end_on_a_fixed_day():
    assert (END.date() - START.date()).days >= 3 * 365
    for name in ("runs", "sharpenings", "replacements", "readings", "stops", "other_work", "corrections", "costs"):
        for row in table(name):
            assert when(row.get("ended") or row["at"]) <= END
    starts = [when(row["started"]) for row in table("runs")]
    assert min(starts) < START + dt.timedelta(days=14)
    assert max(starts) > END - dt.timedelta(days=7)


def test_a_press_runs_one_die_at_a_time():
    by_press = defaultdict(list)
    for row in table("runs"):
        if not row["struck_at"]:
            by_press[row["press"]].append((when(row["started"]), when(row["ended"])))
    for spans in by_press.values():
        spans.sort()
        assert all(before[1] <= after[0] for before, after in itertools.pairwise(spans))


def test_orders_ahead_are_open_and_due_later():
    orders = table("orders")
    ahead = [o for o in orders if not o["closed"]]
    assert {o["die"] for o in ahead} == {d["die"] for d in table("dies")}
    assert all(dt.date.fromisoformat(o["due"]) > END.date() for o in ahead)
    assert all(when(o["placed"]) < END for o in orders)
    run_for = {row["order"] for row in table("runs")}
    assert 3 <= sum(o["order"] in run_for for o in ahead) < len(ahead), "some partly run, some not begun"
    closed = {o["order"] for o in orders if o["closed"]}
    assert len(closed & run_for) > 0.95 * len(closed), "closed orders are named on the runs"


def test_one_die_chips():
    chips = Counter(r["die"] for r in table("sharpenings") if r["reason"] == "chipped" and not r["struck_at"])
    cutting = {(c["die"], c["position"]) for c in table("components") if c["cut_length_mm"]}
    for row in table("replacements"):
        if row["reason"] in ("chipped", "broken") and (row["die"], row["position"]) in cutting:
            chips[row["die"]] += 1
    (worst, most), (_, next_most) = chips.most_common(2)
    assert worst == "K-123"
    assert most >= 12
    assert most > next_most


def test_one_die_has_too_tight_a_gap_and_goes_dull_early():
    gap = {c["die"]: float(c["clearance_pct_per_side"]) for c in table("components") if c["clearance_pct_per_side"]}
    tight = [die for die, pct in gap.items() if pct <= 4.0]
    assert tight == ["K-150"]
    hits = Counter()
    for row in table("runs"):
        if not row["struck_at"]:
            hits[row["die"]] += int(row["hits"])
    dull = Counter(row["die"] for row in table("sharpenings") if row["reason"] == "dull" and not row["struck_at"])
    between = {die: hits[die] / dull[die] for die in hits if dull[die] >= 3}
    assert min(between, key=between.get) == "K-150"


def test_left_and_right_from_one_hit_and_two_parts_a_hit():
    outputs = table("parts_per_hit")
    by_variant = Counter((o["die"], o["variant"]) for o in outputs)
    assert [die for (die, _), n in by_variant.items() if n == 2] == ["K-117"]
    assert any(int(o["parts_per_hit"]) == 2 for o in outputs)


def test_one_die_has_inserts_for_two_parts_with_places_of_their_own():
    variants = Counter(v["die"] for v in table("inserts"))
    assert [die for die, n in variants.items() if n == 2] == ["K-155"]
    mine = {v["variants"] for v in table("components") if v["die"] == "K-155"}
    assert mine == {"", "short", "long"}
    assert {r["variant"] for r in table("runs") if r["die"] == "K-155"} == {"short", "long"}


def test_one_die_came_with_an_unknown_past():
    unknown = {c["die"] for c in table("components") if c["opening"] == "unknown"}
    assert unknown == {"K-170"}
    assert min(when(r["started"]) for r in table("runs") if r["die"] == "K-170") > START + dt.timedelta(days=365)
    assert {c["opening"] for c in table("components")} == {"new", "counted", "estimated", "unknown"}


def test_some_spares_are_short():
    spares = {s["spare"]: s for s in table("spares")}
    for code, (on_hand, on_order) in alder_bank.SHORT.items():
        assert (int(spares[code]["on_hand"]), int(spares[code]["on_order"])) == (on_hand, on_order)
    sums = Counter()
    for move in table("shelf_moves"):
        sums[move["spare"], move["place"]] += int(move["quantity"])
    for code, row in spares.items():
        assert sums[code, "shelf"] == int(row["on_hand"]) >= 0
        assert sums[code, "on order"] == int(row["on_order"]) >= 0


def test_the_shelf_never_holds_fewer_than_none():
    on_hand = Counter()
    for move in sorted(table("shelf_moves"), key=lambda m: (when(m["at"]), -int(m["quantity"]))):
        if move["place"] == "shelf":
            on_hand[move["spare"]] += int(move["quantity"])
            assert on_hand[move["spare"]] >= 0, move


def test_lead_times_vary_and_one_order_is_late_now():
    lines = {line["line"]: line for line in table("purchase_lines")}
    placed = {order["purchase"]: when(order["placed"]) for order in table("purchase_orders")}
    usual = {spare["spare"]: int(spare["lead_days"]) for spare in table("spares")}
    took, came = Counter(), set()
    for move in table("shelf_moves"):
        if move["order_line"] and move["kind"] == "delivered" and move["place"] == "shelf":
            came.add(move["order_line"])
            line = lines[move["order_line"]]
            assert line["spare"] == move["spare"] and int(line["quantity"]) == int(move["quantity"])
            took[usual[line["spare"]], (when(move["at"]) - placed[line["purchase"]]).days] += 1
    for lead in (7, 14, 28, 35):
        days = [n for of, n in took if of == lead]
        assert len(days) >= 4 and min(days) < lead < max(days), lead
    still = [line for key, line in lines.items() if key not in came]
    late = [line for line in still if line["promised_on"] and line["promised_on"] < END.date().isoformat()]
    assert len(late) == 1 and len(still) > 4 and sum(step["sort"] == "chased" for step in table("purchase_steps")) == 1


def test_no_count_takes_away_what_has_only_just_come():
    """A delivery that a count takes away within the hour would be no delivery."""
    came: dict[str, dt.datetime] = {}
    for move in sorted(table("shelf_moves"), key=lambda m: when(m["at"])):
        if move["kind"] == "delivered":
            came[move["spare"]] = when(move["at"])
        elif move["kind"] == "count" and move["spare"] in came:
            assert when(move["at"]) - came[move["spare"]] > dt.timedelta(days=2), move


def test_slips_are_struck_out_with_a_reason():
    struck = [row for name in ("runs", "sharpenings", "readings") for row in table(name) if row["struck_at"]]
    assert len(struck) >= 3
    assert all(row["struck_by"] and row["struck_reason"] for row in struck)
    assert any(row.get("replaced_by") for row in struck)


def test_one_or_two_entries_in_a_hundred_are_untidy():
    runs, ground = table("runs"), table("sharpenings")
    estimated = sum(r["how_counted"] == "estimated" for r in runs) / len(runs)
    unmeasured = sum(not r["removed_mm"] for r in ground) / len(ground)
    assert 0.003 < estimated < 0.02
    assert 0.003 < unmeasured < 0.02


# The scenario's own truth against scipy's Weibull, an implementation that is not ours.


def test_a_life_drawn_is_weibull():
    rng, m = np.random.default_rng(5), 0.4
    lives = [wear_truth.draw_life(rng, m) / wear_truth.HITS_UNIT for _ in range(2_000)]
    assert stats.kstest(lives, stats.weibull_min(wear_truth.SHAPE, scale=math.exp(m)).cdf).pvalue > 0.01


def test_a_life_drawn_outlasts_what_the_edge_has_stood():
    rng = np.random.default_rng(6)
    law = stats.weibull_min(wear_truth.SHAPE, scale=1.0)
    lives = [wear_truth.draw_life(rng, 0.0, already=80_000) / wear_truth.HITS_UNIT for _ in range(2_000)]
    assert min(lives) >= 0.8
    assert stats.kstest(lives, lambda x: 1 - law.sf(x) / law.sf(0.8)).pvalue > 0.01


@pytest.mark.parametrize("chance", [0.1, 0.5, 0.97])
def test_strokes_at_a_chance_against_scipy(chance):
    edge = wear_truth.EdgeNow(m=0.3, hits=50_000, chip_rate=0.0)
    law = stats.weibull_min(wear_truth.SHAPE, scale=math.exp(0.3))
    expected = wear_truth.HITS_UNIT * (law.isf(chance * law.sf(0.5)) - 0.5)
    assert wear_truth.strokes_at_chance([edge], chance) == pytest.approx(expected, abs=2)


# Loaded and forecast


@pytest.mark.django_db
def test_some_dies_are_due_some_comfortable_and_some_spares_short():
    call_command("load_history", str(FOLDER), allow_future=True, verbosity=0)
    plant = Plant.objects.get()
    store.fit_and_forecast(plant)
    orders = queries.next_order_by_die(plant)
    told = {forecast.die.code: forecast for forecast in queries.newest_forecasts(plant)}
    assert set(told) == {line.code for line in alder_bank.DIES}
    assert all(forecast.as_of == END for forecast in told.values())
    chance = {code: chance_of_going(row.remaining, orders[row.die_id].hits_left) for code, row in told.items()}
    due = {code for code, value in chance.items() if value < 0.5}
    comfortable = {code for code, value in chance.items() if value > 0.9}
    assert {"K-104", "K-123", "K-128", "K-150"} <= due
    assert len(comfortable) >= 4
    for line in alder_bank.DIES:  # the scenario's own truth, known to nobody but the simulation
        if not line.reads_burr:  # burr tells more of the edges than their hits do
            assert chance[line.code] == pytest.approx(line.chance_next, abs=0.25), line.code
    short = {row.code for row in advice.spares_to_order(plant)}
    assert {"PP-1.8-PM-M4-AlCrN", "SP-19x51", "PL-2.98"} <= short
    left = {position: edge for position, edge in _edges(told["K-155"]).items() if edge.rests_on}
    assert {"3-S", "4-L", "6-S", "6-L"} <= set(left), "inserts on the shelf have a forecast of their own"


def _edges(forecast) -> dict:
    return {edge.position.code: edge for edge in queries.edges_of(forecast)}
