"""What was changed on a die: the figures by hand, the promise as it was known then, its page and its file."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db.models import F
from django.urls import reverse

from diestore.register import actions
from diestore.register.models import Cut, Rate
from maintenance.forecasts import made_changes
from maintenance.log import write
from maintenance.models import Replacement, Run, Work
from reports.changes import kept
from reports.costing.changes import Spells, Verdict, compared, saved_a_year, times_of_die
from reports.format import money
from reports.models import KeptChanges
from tests import factories as make
from tests.pages import money_shop as shop
from tests.pages.as_read import as_read

pytestmark = pytest.mark.django_db
CHANGED = 81  # the day on which 1-A got a powder steel punch


@pytest.fixture(scope="module")
def die(of_the_module):
    """Ground whenever 1-A is dull: every 20 days with its D2 punch, every 32 with the powder steel one."""
    shop.rates()
    item = shop.spare("PP-6.0-D2", tool_steel="D2", hardness_hrc=60, grind_allowance_mm=4.0, on_hand=3)
    made = make.die("H-900", build_price=Decimal("30000"), expected_parts=4_000_000)
    first = make.position(made, "1-A", item=item)
    others = [make.position(made, code) for code in ("1-B", "2-A")]
    for day in range(1, 201, 4):
        make.run(made, day, 8_000)
    for day in (*range(20, 81, 20), *range(112, 201, 32)):
        make.sharpen(made, day + 0.5, first, why="dull", found="dull")
        make.sharpen(made, day + 0.5, *others, why="with set", found="sharp")
    better = make.item("PP-6.0-PM", tool_steel="PM-M4", hardness_hrc=63, unit_price=Decimal("128.50"))
    piece = write.new_piece_like(None, position=first, item=better)
    with make.nothing_follows():
        write.log_replacement(by=make.actor(), position=first, at=make.moment(CHANGED), why="ground out", piece=piece)
    shop.forecast()
    as_entered(made)
    kept.work_out(made.plant).keep()
    return made


def as_entered(die) -> None:
    """Every entry recorded when it happened."""
    for model, of in ((Run, {"die": die}), (Work, {"position__die": die}), (Replacement, {"position__die": die})):
        model.objects.filter(**of).update(recorded_at=F("at"))


def one(die):
    (row,) = kept.rows_of(die.plant).rows
    return row.followed


def test_what_came_is_the_lives_at_the_place_and_the_money_by_hand(die):
    told = one(die)
    assert told.words == "D2 of 60 HRC to PM-M4 of 63 HRC" and [code for _, code in told.places] == ["1-A"]
    assert (told.came.dull_before, told.came.dull_after) == (4, 3)
    assert told.came.times == pytest.approx(1.6, abs=0.15)  # 32 days for 20, at one pace
    assert told.came.low < 1.6 < told.came.high
    assert told.extra == Decimal("80")  # 128.50 for 48.50
    # sharpenings a year by the pace of before, each at what the die's page says one costs today
    (made,) = made_changes.made_on(die, kept.store.fleet_of(die.plant).shares)
    promised = kept._promises(KeptChanges.objects.get())[made.key]
    assert made.hits_a_year_before == pytest.approx(20 * 8_000 / (CHANGED - 1) * 365, rel=0.03)
    usual = list(promised.usual_hits.values())
    times = [told.came.times if at == told.places[0][0] else 1.0 for at in promised.usual_hits]
    of_die = times_of_die(usual, times, shape=promised.shape)
    sharpening, _ = kept.followed._sharpening(die)
    by_hand = made.hits_a_year_before / promised.interval_hits * (1 - 1 / of_die) * float(sharpening)
    assert float(told.came_sum[0]) == pytest.approx(by_hand, rel=1e-6)
    so_far = saved_a_year(
        hits_a_year=made.hits_since, interval_hits=promised.interval_hits, sharpening=sharpening, times=of_die
    )
    assert told.so_far == so_far - 80


def test_the_promise_is_what_was_known_then_and_is_not_made_anew(die):
    before = KeptChanges.objects.get().dies
    told = one(die)
    assert told.promised[1] < told.promised[0] < told.promised[2]
    assert not told.by_handbook
    # what is learnt since moves what came, never what was promised
    for day in range(204, 240, 4):
        make.run(die, day, 8_000)
    make.sharpen(die, 240.5, die.positions.get(code="1-A"), why="dull", found="dull")
    kept.work_out(die.plant).keep()
    after = KeptChanges.objects.get().dies
    (was,), (now,) = (rows[str(die.pk)]["changes"] for rows in (before, after))
    assert was["promise"] == now["promise"]
    assert one(die).came.dull_after == 4


def test_a_record_that_was_loaded_later_promises_by_the_handbook(die):
    Run.objects.update(recorded_at=make.moment(300))
    Work.objects.update(recorded_at=make.moment(300))
    KeptChanges.objects.all().delete()
    kept.work_out(die.plant).keep()
    told = one(die)
    assert told.by_handbook
    # powder steel against D2 is exp(0.8) in the wear model, its hardness told against its own usual one
    assert told.promised[0] == pytest.approx(2.2, abs=0.4)
    assert any("This shop had no record yet" in words for words in told.doubts)


def test_the_page_says_what_came_and_whether_it_was_kept(die, as_role):
    client = as_role("lead")
    told = one(die)
    text = as_read(client.get(reverse("reports:changes")))
    assert "D2 of 60 HRC to PM-M4 of 63 HRC at <a" in text
    assert "4 dull edges before, 3 since" in text
    assert f"Together they have brought {money(told.so_far, cents=False)} so far" in text
    html = client.get(reverse("reports:changes")).content.decode()
    assert reverse("maintenance:edge", args=[told.places[0][0]]) in html
    assert reverse("reports:cost_die", args=[die.pk]) in html
    for address in ("reports:gains", "reports:cost"):
        assert reverse("reports:changes") in client.get(reverse(address)).content.decode()


def test_it_sorts_filters_and_comes_as_a_file(die, as_role):
    client = as_role("sales")
    verdict = Verdict(one(die).verdict)
    other = next(v for v in Verdict if v != verdict)
    assert "H-900" in as_read(client.get(reverse("reports:changes"), {"verdict": verdict.name, "q": "pm-m4"}))
    for asked in ({"verdict": other.name}, {"q": "carbide"}):
        assert "No change matches." in as_read(client.get(reverse("reports:changes"), asked))
    for column in ("number", "so_far", "-so_far", "came", "saved", "verdict", "promised"):
        assert client.get(reverse("reports:changes"), {"sort": column}).status_code == 200
    head, row = client.get(reverse("reports:changes_csv")).content.decode("utf-8-sig").splitlines()
    cells = dict(zip(head.split(","), row.split(","), strict=False))
    assert (cells["die"], cells["places"], cells["cost once"]) == ("H-900", "1-A", "80.00")
    assert cells["verdict"] == verdict.value


def test_before_the_first_night_and_where_nothing_was_changed_the_page_says_so(die, as_role):
    client = as_role("lead")
    KeptChanges.objects.all().delete()
    assert "Nothing was followed yet" in as_read(client.get(reverse("reports:changes")))
    with make.nothing_follows():
        write.strike_out(by=make.actor(), entry=Replacement.objects.get(since_start=False), reason="never so")
    kept.work_out(die.plant).keep()
    assert "No change on record" in as_read(client.get(reverse("reports:changes")))
    assert "No change was made by the record." in client.get(reverse("reports:changes_csv")).content.decode()


def test_few_dull_ends_and_no_price_are_said(die):
    cut = Cut.objects.get(die=die, code="2-A")
    place = die.positions.get(code="1-B")
    piece = write.new_piece_like(None, position=place, item=make.item("PP-CARBIDE", tool_steel="carbide"))
    with make.nothing_follows():
        actions.change_cut(by=None, cut=cut, at=make.moment(60.5), gap_mm=0.13, reason="regrind")
        write.log_replacement(by=make.actor(), position=place, at=make.moment(41), why="ground out", piece=piece)
    kept.work_out(die.plant).keep()
    _, gap, steel = kept.rows_of(die.plant).rows  # the newest first
    assert gap.followed.words == "gap 8.33 % to 10.8 % a side"
    assert gap.followed.extra == 0  # taken on when it was ground anyway
    assert steel.followed.extra is None
    assert "What it cost is not known at 1-B: no price, no bill and no hours." in steel.followed.doubts
    assert steel.followed.verdict == Verdict.UNKNOWN.value
    assert steel.followed.doubts[0] == "3 dull edges before the change are needed, so this can never be known."


def test_a_coat_put_on_costs_its_hours_and_is_shared_by_its_pieces(die):
    places = [die.positions.get(code=code) for code in ("1-B", "2-A")]
    pieces = [write.SharpenedPiece(position=p, why="other", operation="recoated", coating_after="TiN") for p in places]
    with make.nothing_follows():
        write.log_sharpening(by=make.actor(), die=die, at=make.moment(150.25), pieces=pieces, hours=1.5)
    kept.work_out(die.plant).keep()
    coat = next(row.followed for row in kept.rows_of(die.plant).rows if "TiN" in row.followed.words)
    assert [code for _, code in coat.places] == ["1-B", "2-A"]
    assert coat.extra == Decimal("90")  # 1.5 h at 60


def test_the_engines_own_samples_are_what_is_compared(die):
    (made,) = made_changes.made_on(die, kept.store.fleet_of(die.plant).shares)
    told = compared(
        [Spells(before=place.lives_before, after=place.lives_after) for place in made.places], shape=3.0, drift=0.0
    )
    # dull at 20 days of runs of 8,000 every four, seen at the run before at the earliest
    assert set(made.places[0].lives_before.hits) == {40_000.0}
    assert set(made.places[0].lives_before.lower_hits) == {32_000.0}
    assert told.dull_before == 4


def test_rates_of_another_day_change_what_comes_and_the_page_says_that_it_waits(die, as_role):
    Rate.objects.filter(kind="toolroom hour").update(amount=Decimal(120))
    was = one(die).came_sum[0]
    kept.work_out(die.plant).keep()
    assert one(die).came_sum[0] == pytest.approx(was * 2, rel=Decimal("0.35"))
    make.run(die, 260, 100)
    assert "changed since" in as_read(as_role("lead").get(reverse("reports:changes")))
    assert dt.datetime.fromisoformat(KeptChanges.objects.get().dies[str(die.pk)]["changes"][0]["followed"]["at"])


def test_a_night_makes_so_many_fits_of_the_past_and_says_what_waits_for_the_next(die, monkeypatch):
    KeptChanges.objects.all().delete()
    monkeypatch.setattr(kept, "FITS_A_NIGHT", 0)
    kept.work_out(die.plant).keep()
    told = one(die)
    assert told.promised is None and told.verdict == Verdict.EARLY.value
    assert "What was promised is not worked out yet; that is done in the coming nights." in told.doubts
    assert told.came.dull_after == 3  # what came needs no fit of the past
    monkeypatch.undo()
    kept.work_out(die.plant).keep()
    assert one(die).promised is not None
