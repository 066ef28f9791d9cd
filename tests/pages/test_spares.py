"""The buyer's page: rows, what stands behind them, the file."""

import csv
import datetime as dt
import io
import json
import re
import zipfile

import pytest
import time_machine
from django.urls import reverse

from diestore.register.models import Die, Item, Output, Part, Party, Piece, Plant, Position, Volume
from maintenance.clockwork import states as clockwork_states
from maintenance.log import queries, read
from maintenance.models import PurchaseLine, PurchaseOrder, Replacement, Scope, StockMovement, fresh_key
from maintenance.wording import numbers
from reports.purchasing.demand import Demand
from reports.spares import advice, months, months_page, projection, reads, said, shelf, supply, used_up
from reports.spares import why as spares_why
from reports.spares.use import PlantAhead
from tests import factories as make
from tests.counters import shop as counter_shop
from tests.pages import money_shop as shop

from .as_read import as_read

pytestmark = pytest.mark.django_db


@pytest.fixture
def punch():
    item = shop.spare("PP-6.0-M2", on_hand=0, lead_days=200)
    shop.worked_die("H-900", item)
    shop.worked_die("H-901", item)
    shop.forecast()
    return item


def row(item):
    return next(r for r in advice.all_spares(make.plant()) if r.item == item)


def test_what_is_left_to_grind_is_what_the_log_says(punch):
    left = reads.allowances_left(Position.objects.all())
    for die in (p.die for p in Position.objects.filter(code="1-A")):
        states = clockwork_states.states(read.of_die(die), shop.make.moment(400).timestamp())
        for position in die.positions.all():
            assert left[position.pk] == pytest.approx(states[position.pk].allowance_left_mm)
            assert left[position.pk] == pytest.approx(4.0 - 8 * 0.15)


def test_what_is_left_is_told_in_grinds_strokes_and_a_day(punch):
    """By the day on which it is used up, the sharpenings that it still gives have come as often as not."""
    ahead = PlantAhead.of(make.plant())
    for place in ahead.places[punch.pk]:
        used_up, die = ahead.used_up(place), place.row.die_id
        assert place.grinds_left == 18 and used_up.day is not None  # 4.0 less 8 grinds of 0.15, at 0.15 a grind
        days = (used_up.day - ahead.today).days
        assert days == pytest.approx(used_up.strokes / ahead.pace[die], abs=2)
        assert used_up.strokes > place.use.grinds_left * min(law.mean_hits for law in ahead.worlds(die).laws)


def test_the_heights_page_says_the_same_of_what_is_left(punch, as_role):
    """Grinds, strokes and the month: one function, two pages."""
    place = Position.objects.filter(code="1-A", item=punch).select_related("die").first()
    told = used_up.of_die(place.die)[place.pk]
    client = as_role("lead")
    heights = as_read(client.get(reverse("maintenance:heights", args=[place.die_id])))
    spare = as_read(client.get(reverse("reports:spare", args=[punch.pk])))
    assert told.grinds == 18 and told.day is not None
    strokes = numbers.hits(told.strokes)
    assert f"{told.day:%b %Y}" in heights and f"{strokes} strokes" in heights and "18 grinds" in heights
    assert f"{told.day:%b %Y}" in spare and f"after about {strokes} strokes" in spare


def test_use_never_falls_with_days_and_grows_with_dies(punch):
    ahead = PlantAhead.of(make.plant())
    alone = PlantAhead.of(make.plant(), dies=[Position.objects.first().die_id])
    means = [ahead.use(punch.pk, days).mean for days in (0, 30, 90, 200, 360)]
    assert means == sorted(means) and means[0] == 0 and means[-1] > 1
    assert alone.use(punch.pk, 360).mean < ahead.use(punch.pk, 360).mean


def test_two_dies_that_share_nothing_are_convolved(punch):
    ahead = PlantAhead.of(make.plant())
    by_hand = Demand.total(group.ground_out() for group in ahead.groups(punch.pk, 360))
    rate = ahead.breaks(punch.pk)
    strokes = sum(3 * ahead.strokes(die, 360) for die in {p.row.die_id for p in ahead.places[punch.pk]})
    expected = by_hand.plus(rate.breaks_in(strokes))
    assert ahead.use(punch.pk, 360).chances == pytest.approx(expected.chances)


def test_more_on_the_shelf_never_makes_it_more_urgent(punch):
    before = row(punch)
    shop.movement(punch, 30, kind="delivered", day=1)
    after = row(punch)
    assert after.on_hand == before.on_hand + 30
    assert (after.short_by, after.quantity) <= (before.short_by, before.quantity)
    assert after.order_by is None or before.order_by <= after.order_by


def test_what_is_on_the_way_counts(punch):
    shop.movement(punch, 5, kind="ordered", place="on order", day=2)
    assert (row(punch).on_hand, row(punch).on_order) == (0, 5)


def test_a_longer_lead_time_is_ordered_earlier(punch):
    early = row(punch).order_by
    punch.lead_days = 300
    punch.save()
    assert row(punch).order_by < early


def test_unknown_lead_time_is_said_not_guessed(punch):
    punch.lead_days = None
    punch.save()
    assert row(punch).advice is None and "not known" in row(punch).refusal


def test_a_die_in_store_uses_nothing(punch):
    Position.objects.first().die.__class__.objects.update(status="stored")
    assert row(punch).places == 0 and row(punch).advice.expected == 0


def test_a_struck_out_movement_counts_for_nothing(punch):
    from maintenance.log import write

    extra = shop.movement(punch, 9, kind="delivered", day=3)
    assert row(punch).on_hand == 9
    write.strike_out(by=make.actor(), entry=extra, reason="typed twice")
    assert row(punch).on_hand == 0


def test_forecast_refused_leaves_the_breaks(punch):
    queries.newest_forecasts().update(remaining={}, fresh={}, refusal="nothing to say")
    why = spares_why.why(punch, make.plant())
    assert any("Nothing is forecast of H-900, H-901" in gap for gap in why.gaps)
    assert why.ground_out == 0 and why.broken > 0


def test_one_line_can_be_checked_by_its_own_explanation(as_role, punch):
    """Risk, day, cause, lead time, ladder, figures and movements stand on the page, and are those of the list."""
    shop.movement(punch, 6, kind="correction", day=20)
    shop.movement(punch, -6, kind="count", day=100)
    told = row(punch)
    text = as_read(as_role("buyer").get(reverse("reports:spare", args=[punch.pk])))
    assert f"Order {told.quantity} now" in text and "risk of running out before" in text
    assert f"the count of {said.day(make.moment(100).date())} found 6 fewer" in text
    assert "200 days are promised; none has come yet" in text and "recommended" in text
    best = next(rung for rung in told.advice.ladder if rung.best)
    assert best.pieces == told.quantity and all(best.cost <= rung.cost for rung in told.advice.ladder if rung.pieces)
    for words in ("One piece missing, together", "usual, not entered here", "found 6 fewer", "counted"):
        assert words in text


def test_a_level_by_hand_and_what_a_missing_piece_costs_set_it(punch):
    by_cost = row(punch).advice
    assert not by_cost.by_hand and by_cost.service > 0.9
    rate = shop.Rate.objects.create(
        plant=make.plant(), kind="late job", valid_from=shop.dt.date(2025, 1, 1), amount=shop.Decimal(5_000)
    )
    assert row(punch).advice.service > by_cost.service
    rate.delete()
    shop.Rate.objects.create(
        plant=make.plant(), kind="spares level percent", valid_from=shop.dt.date(2025, 1, 1), amount=shop.Decimal(75)
    )
    by_hand = row(punch).advice
    assert by_hand.by_hand and by_hand.service == 0.75 and by_hand.quantity < by_cost.quantity


def test_lead_times_that_were_seen_move_the_day(punch):
    shop.movement(punch, 3, kind="correction", day=1)
    before = row(punch)
    for day in (2, 10, 20):
        shop.movement(punch, 1, kind="ordered", place="on order", day=day)
        shop.movement(punch, -1, kind="delivered", place="on order", day=day + 60)
    after = row(punch)
    assert reads.lead_days_seen(make.plant())[punch.pk] == pytest.approx((60, 60, 60))
    assert after.advice.lead_seen == 3 and after.advice.late < before.advice.late
    assert before.order_by is not None and (after.order_by is None or after.order_by > before.order_by)


def test_lead_times_of_orders_go_by_their_own_lines(punch):
    """The second order came first: 10 and 40 days, as the page lists them, and not 20 and 30."""
    party = Party.objects.create(code="late ones", role=Party.Role.SUPPLIER)
    for number, placed, came in (("1", 0, 40), ("2", 10, 20)):
        order = PurchaseOrder.objects.create(
            plant=make.plant(), number=number, supplier=party, currency="EUR", placed_at=make.moment(placed)
        )
        line = PurchaseLine.objects.create(order=order, item=punch, quantity=1)
        for place, kind, quantity, day in (
            ("on order", "ordered", 1, placed), ("on order", "delivered", -1, came), ("shelf", "delivered", 1, came),
        ):  # fmt: skip
            StockMovement.objects.create(
                plant=make.plant(), item=punch, place=place, kind=kind, quantity=quantity, at=make.moment(day),
                key=fresh_key(), line=line,
            )  # fmt: skip
    days = reads.lead_days_seen(make.plant())[punch.pk]
    assert sorted(days) == [10, 40] == supply.of_a_spare(make.plant(), punch.pk, on_order=0).leads.days


def test_the_day_does_not_slide_while_nothing_is_entered(punch, settings):
    """Told a day, a week and two months later from the same records, the same day to order."""
    settings.STANDS_STILL = False
    shop.movement(punch, 3, kind="count", day=100)
    told = []
    for later in (0, 1, 7, 60):
        with time_machine.travel(make.moment(shop.LAST_DAY + later), tick=False):
            advice._advice.clear()
            told.append(row(punch))
    assert len({r.order_by for r in told}) == 1 and len({r.advice.runs_out for r in told}) == 1
    assert [r.advice.days_late for r in told] == [told[0].advice.days_late + n for n in (0, 1, 7, 60)]


def test_an_entry_on_one_die_hardly_moves_the_year_of_another():
    """A tenth of its strokes lies at the far end of the year: a plain year lost all of it at the next day's entry."""
    other, busy = make.die("H-910"), make.die("H-911")
    for die in (other, busy):
        make.position(die, "1-A", item=make.item("PP-9"))
    for day in (0.5, *range(40, 365, 40)):
        make.run(other, day, 10_000)
    make.run(busy, 365, 500)
    before = PlantAhead(make.plant(), make.moment(365).date(), make.moment(365).date()).pace
    after = PlantAhead(make.plant(), make.moment(366).date(), make.moment(366).date()).pace
    assert after[other.pk] == pytest.approx(before[other.pk], rel=0.03)


def test_a_stated_year_stands_in_place_of_the_pace_and_nothing_is_needed_after_the_end(punch):
    ahead = PlantAhead.of(make.plant())
    die = ahead.places[punch.pk][0].row.die_id
    plain = ahead.strokes(die, 300)
    part = Output.objects.filter(variant__die=die).get().part
    Volume.objects.create(part=part, year=ahead.today.year, parts=3_650_000)
    stated = PlantAhead.of(make.plant())
    assert stated.strokes(die, 300) == pytest.approx(300 * 10_000, rel=0.02) != plain  # one part a hit
    Part.objects.update(last_needed=ahead.today + shop.dt.timedelta(days=20))
    ended = PlantAhead.of(make.plant())
    assert ended.strokes(die, 300) == ended.strokes(die, 21) < stated.strokes(die, 300)
    assert any("Last buy: nothing needs it after" in gap for gap in ended.gaps(punch.pk)) == (
        ended.ends(punch.pk) is not None
    )


def test_pieces_that_went_together_are_one_mishap_of_several(punch):
    die = Die.objects.get(code="H-900")
    for place in die.positions.order_by("code")[:2]:
        piece = Piece.objects.create(plant=die.plant, key=fresh_key(), grind_allowance_mm=4.0)
        Replacement.objects.create(
            position=place, piece_in=piece, at=make.moment(120), why="broken", key=fresh_key(), through="import"
        )
    ahead = PlantAhead.of(make.plant())
    assert ahead.mishaps_by_item[punch.pk] == 1 and ahead.mishaps_of(punch.pk).sizes == {2: 1}
    assert ahead.at_once(punch.pk).mean == pytest.approx((4 + 2) / 5)


def test_the_price_of_an_empty_shelf(as_role, punch):
    shop.spare("ZZ-1", on_hand=3)
    shop.movement(punch, 2, kind="count", day=100)
    client = as_role("buyer")
    text = as_read(client.get(reverse("reports:shelf_money")))
    assert "97.00 EUR lie in spares that are used" in text  # two of 48.50
    assert "ZZ-1" in text and "worth 146 EUR" in text  # 145.50: no die takes it
    curve = shelf.of_rows(advice.all_spares(make.plant())).curve
    assert f"{curve.now_stops:.2f} stops a year" in text
    assert reverse("reports:shelf_money") in client.get(reverse("reports:spares")).content.decode()


def test_the_list_shows_what_to_decide_this_week_and_folds_the_rest(as_role, punch):
    shop.spare("ZZ-1", on_hand=300)
    client = as_role("buyer")
    assert [r.code for r in page(client).context["wanted"]] == ["PP-6.0-M2"]
    assert "Show the other 1 too" in as_read(page(client))
    assert len(page(client, "?short=all").context["wanted"]) == 2
    assert [r.code for r in page(client, "?q=zz").context["wanted"]] == ["ZZ-1"]


def page(client, query: str = ""):
    return client.get(reverse("reports:spares") + query)


def test_the_page_says_what_to_order_and_why_is_one_click_away(as_role, punch):
    answer = page(as_role("buyer"))
    text = as_read(answer)
    assert answer.status_code == 200 and "PP-6.0-M2" in text and (" spare now" in text or " spares now" in text)
    why = as_read(answer.client.get(reverse("reports:spare", args=[punch.pk])))
    assert "H-900" in why and "H-901" in why and "1-A" in why and "Order" in why


@pytest.mark.parametrize("role, may", [("buyer", True), ("lead", True), ("setter", False), ("sales", False)])
def test_who_may_see_the_spares(as_role, punch, role, may):
    client = as_role(role)
    for url in (
        reverse("reports:spares"),
        reverse("reports:spares_csv"),
        reverse("reports:spare", args=[punch.pk]),
    ):
        assert client.get(url).status_code == (200 if may else 403)


def test_every_column_sorts_both_ways(as_role, punch):
    shop.spare("AA-1", on_hand=7, lead_days=None)
    shop.spare("ZZ-1", on_hand=3)
    client = as_role("buyer")
    for column in ("code", "state", "on_hand", "on_order", "lead_days", "use", "short_by", "order_by", "quantity"):
        orders = []
        for sign in ("", "-"):
            table = page(client, f"?short=all&sort={sign}{column}").context["table"]
            orders.append([r.record.code for r in table.rows])
        assert sorted(orders[0]) == sorted(orders[1])
        key = {"code": lambda r: r.code, "on_hand": lambda r: r.on_hand}.get(column)
        if key:
            by_code = {r.record.code: r.record for r in table.rows}
            assert [key(by_code[c]) for c in orders[0]] == sorted(key(r) for r in by_code.values())
            assert [key(by_code[c]) for c in orders[1]] == sorted((key(r) for r in by_code.values()), reverse=True)


def test_filters_and_what_is_not_on_offer(as_role, punch):
    shop.spare("ZZ-1", on_hand=3, kind="pilot")
    client = as_role("buyer")
    codes = lambda query: [r.code for r in page(client, query).context["wanted"]]  # noqa: E731
    assert codes("?short=1") == ["PP-6.0-M2"]
    assert codes("?kind=pilot") == ["ZZ-1"]
    assert codes("?q=h-901") == ["PP-6.0-M2"]
    assert len(codes("?supplier=nobody&kind=%00&short=x")) == 2


def test_the_file_carries_the_rows_and_no_formula(as_role, punch):
    shop.spare("=HYPERLINK(1)", on_hand=3)
    text = as_role("buyer").get(reverse("reports:spares_csv")).content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert {r["spare"] for r in rows} == {"PP-6.0-M2", "'=HYPERLINK(1)"}
    mine = next(r for r in rows if r["spare"] == "PP-6.0-M2")
    told = row(punch)
    assert (int(mine["short by"]), int(mine["how many"])) == (told.short_by, told.quantity)
    assert mine["order by"] == told.order_by.isoformat() and mine["unit price"] == "48.50"


def test_advice_kept_is_the_advice_computed(punch):
    """What was computed for the last page may serve the next one only where nothing that it rests on has changed."""

    def told():
        return row(punch).advice

    def afresh():
        advice._advice.clear()
        return told()

    assert told() == told() == afresh()
    make.order(Position.objects.first().die, parts=400_000, due=make.moment(200).date())
    assert told() == afresh()
    queries.newest_forecasts().update(remaining={}, fresh={}, refusal="nothing to say")
    assert told() == afresh()
    Position.objects.filter(code="1-A").update(stroke_share=0.5)
    assert told() == afresh()
    punch.pack_size = 10
    punch.save()
    assert told() == afresh() and told().quantity % 10 == 0


def test_an_empty_shop_says_what_to_do_first(as_role):
    assert "No spare is in the catalogue yet" in as_read(page(as_role("buyer")))


def test_an_unknown_spare_is_not_found(as_role, punch):
    assert as_role("buyer").get(reverse("reports:spare", args=[99_999])).status_code == 404


def test_the_number_of_queries_does_not_grow_with_the_rows(as_role, punch, django_assert_max_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = as_role("buyer")
    page(client)
    with CaptureQueriesContext(
        connection,
    ) as few:
        page(client)
    for n in range(30):
        make.position(make.die(f"M-{n:03}"), "1-A", item=shop.spare(f"PP-{n:03}"))
    shop.forecast()
    page(client)
    with CaptureQueriesContext(connection) as many:
        page(client)
    assert len(many) <= len(few)


def test_the_stock_ahead_is_drawn_and_told(punch, as_role):
    """What lies there, the order on the way with its days, the order point: in the drawing and in its words."""
    order = PurchaseOrder.objects.create(
        plant=make.plant(), number="P-77", placed_at=make.moment(160), currency="EUR",
        supplier=Party.objects.create(code="steelwright", role=Party.Role.SUPPLIER),
    )  # fmt: skip
    line = PurchaseLine.objects.create(order=order, item=punch, quantity=3)
    StockMovement.objects.create(
        plant=make.plant(), item=punch, at=make.moment(160), quantity=3, place="on order", kind="ordered", line=line,
        key=fresh_key(),
    )  # fmt: skip
    ahead = PlantAhead.of(make.plant(), longest_lead_days=200)
    why = spares_why.why(punch, make.plant(), ahead=ahead)
    found = projection.of_a_spare(why, ahead, supply.of_a_spare(make.plant(), punch.pk, on_order=why.row.on_order))
    assert [order.number for order in found.orders] == ["P-77"]
    waited = (found.today - found.orders[0].due_on).days + 200
    assert found.orders[0].arrival.by(0.5) == pytest.approx(200 - waited, abs=8)
    assert found.ahead.half[0] <= why.row.on_hand and found.point == why.row.advice.point
    page = as_read(as_role("buyer").get(reverse("reports:spare", args=[punch.pk])))
    out = found.runs_out_on
    assert f"a piece is missing by {out.day} {out:%b %Y} in 1 case of 10" in page
    assert "P-77: 3 more" in page and f"order point: {found.point}" in page


def test_what_is_spent_month_by_month_is_the_same_on_page_and_in_files(punch, as_role):
    """Ordered pieces fall in the month they are due; files and page, kept and reckoned anew, show the same figures."""
    order = PurchaseOrder.objects.create(
        plant=make.plant(), number="P-78", placed_at=make.moment(160), currency="EUR",
        supplier=Party.objects.create(code="steelwright", role=Party.Role.SUPPLIER),
    )  # fmt: skip
    line = PurchaseLine.objects.create(order=order, item=punch, quantity=3, unit_price=20)
    StockMovement.objects.create(
        plant=make.plant(), item=punch, at=make.moment(160), quantity=3, place="on order", kind="ordered", line=line,
        key=fresh_key(),
    )  # fmt: skip
    found = months.of_plant(make.plant())
    due = (make.moment(160) + dt.timedelta(days=200)).date()
    month = next(n for n, month in enumerate(found.months) if month.first <= due <= month.last)
    assert found.shop.sure[month] == 60 and found.shop.sure.sum() == 60
    assert (found.shop.low <= found.shop.half).all() and (found.shop.half <= found.shop.high).all()
    assert {one.name for one in found.dies} == {"H-900", "H-901"}
    assert sum(one.spend.mean.sum() for one in found.dies) == pytest.approx(found.shop.mean.sum())
    assert sum(one.spend.mean.sum() for one in found.suppliers) == pytest.approx(found.shop.mean.sum())
    again = months.from_kept(json.loads(json.dumps(months.to_keep(found))))
    assert list(months_page.lines(again, "EUR")) == list(months_page.lines(found, "EUR"))
    client = as_role("buyer")
    text = client.get(reverse("reports:spares_ahead_csv")).content.decode("utf-8-sig")
    table = list(csv.reader(io.StringIO(text)))
    with zipfile.ZipFile(io.BytesIO(client.get(reverse("reports:spares_ahead_xlsx")).content)) as book:
        cells = re.findall(r"<v>([-0-9.]+)</v></c>", book.read("xl/worksheets/sheet1.xml").decode())
        assert "<f>" not in book.read("xl/worksheets/sheet1.xml").decode()
    figures = [float(cell) for row in table[1:] for cell in row[4:9]]
    assert len(table) == 1 + 12 * (1 + len(found.suppliers) + len(found.dies))
    in_book = [float(cell) for cell in cells]
    assert all(f"{n:g}" in {f"{cell:g}" for cell in in_book} for n in figures)
    die = found.dies[0]
    page = as_read(client.get(f"{reverse('reports:spares_ahead')}?die={die.pk}"))
    assert "<span>H-900</span>" in page and "By supplier, twelve months" in page
    assert f"{round(die.spend.year[2]):,} EUR" in page


def test_nothing_is_spent_on_a_die_after_its_programme(punch):
    Item.objects.update(lead_days=30)
    before, ahead = months.of_plant(make.plant()), advice.whole_plant(make.plant())
    punch.refresh_from_db()
    end = ahead.today + dt.timedelta(days=2)
    Part.objects.update(last_needed=end)
    after = months.of_plant(make.plant())
    last = end + dt.timedelta(days=ahead.lead(punch).longest)  # an order of the last day comes then at the latest
    over = [month.first > last for month in after.months]
    assert any(over) and before.shop.mean[over].sum() > 0
    assert after.shop.mean[over].sum() == 0 and after.shop.mean.sum() < before.shop.mean.sum()


def test_another_system_reads_the_advice_and_the_orders(punch, client):
    """The figures of the pages; a draft is told to nobody, nor is an order of another plant."""
    token = counter_shop.device("purchasing system", scopes=[Scope.PURCHASING]).token
    party = Party.objects.create(code="steelwright", name="Steelwright", role=Party.Role.SUPPLIER)
    for number, placed, plant in (("P-79", 160, make.plant()), ("P-80", None, make.plant()), ("P-81", 160, None)):
        plant = plant or Plant.objects.create(code="far", name="far")
        order = PurchaseOrder.objects.create(
            plant=plant, number=number, currency="EUR", supplier=party, placed_at=placed and make.moment(placed)
        )
        line = PurchaseLine.objects.create(order=order, item=punch, quantity=3, unit_price="20.50")
        for kind, place, n in (("ordered", "on order", 3), ("delivered", "on order", -1), ("delivered", "shelf", 1)):
            if placed:
                StockMovement.objects.create(
                    plant=plant, item=punch, at=make.moment(placed), quantity=n, place=place, kind=kind, line=line,
                    key=fresh_key(),
                )  # fmt: skip

    def told(path: str) -> dict:
        answer = client.get(f"/api/v1{path}", headers={"Authorization": f"Bearer {token}"})
        assert answer.status_code == 200, answer.content
        return answer.json()

    (order,) = told("/spares/orders")["orders"]
    assert (order["number"], order["placed_on"]) == ("P-79", make.moment(160).date().isoformat())
    (line,) = order["lines"]
    assert (line["ordered"], line["came"], line["to_come"], line["unit_price"]) == (3, 1, 2, "20.50")
    asked = told("/spares/advice?limit=1")
    (one,), shown = asked["spares"], row(punch)
    assert asked["found"] == 1 and one["spare"] == str(punch)
    assert (one["stock"], one["on_the_way"], one["order_point"]) == (shown.on_hand, shown.on_order, shown.advice.point)
    assert one["by"] == (shown.order_by and shown.order_by.isoformat()) and one["pieces"] == shown.quantity
    assert one["chance"] == pytest.approx(1 - shown.advice.enough, abs=1e-4)
    assert one["reason"] == said.headline_of(shown)


def test_usable_old_pieces_count_as_stock_and_what_was_replaced_is_never_proposed(punch):
    """Whatever lies there of the old one, the advised quantity of the newer never rises; retired, it counts nought."""
    old = Item.objects.create(code="PP-6.0-M2", revision="0", kind=punch.kind, lead_days=40)
    plain = row(punch)
    assert plain.quantity, "it is short, else nothing could be seen"
    Item.objects.filter(pk=old.pk).update(newer=punch, old_stock=Item.OldStock.USABLE)
    shop.movement(old, -3)
    assert row(punch) == plain and not row(old).quantity and not row(old).is_due, "owed, and never ordered"
    before, now = plain.quantity, plain
    for more in (4, 2, 30):
        shop.movement(old, more)
        now = row(punch)
        assert now.quantity <= before and now.on_hand == plain.on_hand
        before = now.quantity
    assert now.quantity < plain.quantity and [(one.name, one.pieces) for one in now.older] == [("PP-6.0-M2 0", 33)]
    Item.objects.filter(pk=old.pk).update(retired_at=make.moment(1), old_stock=Item.OldStock.RETIRED)
    assert row(punch) == plain and not row(old).quantity
    shop.movement(punch, 33)
    assert row(punch).older == () and row(punch).advice == now.advice, "old or new, so many are there"


def test_the_change_of_drawing_from_the_card_to_the_list(as_role, punch):
    newer = Item.objects.create(code="PP-6.0-M2", revision="B", kind=punch.kind, lead_days=40, unit_price=50)
    shop.movement(punch, 4)
    buyer = as_role("buyer")
    there = reverse("maintenance:revision", args=[punch.pk])
    assert there in buyer.get(reverse("diestore:spares_card", args=[punch.pk])).content.decode()
    asked = as_read(buyer.get(there))
    assert "6 places of 2 dies take the newer one" in asked and "4 lie on the shelf" in asked
    sent = {
        "newer": "PP-6.0-M2 b",
        "fate": "usable",
        "reason": "radius",
        "at": make.moment(400).strftime("%Y-%m-%dT%H:%M"),
    }
    for wrong, words in (({"newer": "X"}, "There is no spare “X”"), ({"newer": "PP-6.0-M2"}, "more than once"),
                         ({"fate": ""}, "Say what becomes"), ({"newer": "PP-6.0-M2 "}, "more than once")):  # fmt: skip
        answer = buyer.post(there, sent | wrong)
        assert answer.status_code == 422 and words in as_read(answer)
    card = as_read(buyer.post(there, sent, follow=True))
    assert "PP-6.0-M2 B took the place of PP-6.0-M2. Its places follow." in card and "used up first" in card
    told = as_read(buyer.get(reverse("reports:spare", args=[newer.pk])))
    assert "whose place it took, are still usable: they count as stock here and are fitted first" in told
    assert "Nothing of it is ordered any more" in as_read(buyer.get(reverse("reports:spare", args=[punch.pk])))
    rows = list(csv.DictReader(io.StringIO(buyer.get(reverse("reports:spares_csv")).content.decode("utf-8-sig"))))
    assert {one["spare"]: one["usable older pieces"] for one in rows} == {"PP-6.0-M2": "0", "PP-6.0-M2 B": "4"}
    assert as_role("toolmaker").get(there).status_code == 403
