"""Measured wear in a die's log: by hand, what counts for the piece that sits there now, and what is refused."""

import math
from dataclasses import replace

import pytest

from diestore import units
from maintenance.clockwork.rows import (
    CutRow,
    DieLog,
    PieceRow,
    PositionRow,
    ReadingRow,
    ReplacementRow,
    RunRow,
    StockRow,
)
from maintenance.forecasts import part_wear

HOUR = 3600.0
STOCK = StockRow(material="low-carbon steel", tensile_mpa=340, thickness_mm=1.0)


def log(
    readings, *, kind="bushing", position=None, piece=None, replacements=None, pieces=None, runs=10, gap_mm=0.06
) -> DieLog:
    """Runs of 100,000 hits, one an hour, from nought on; the readings are (hour, quantity, value in SI). The smallest
    gap of the die is gap_mm, and a gap of 0.2 mm was smaller before its time and is wider beside it."""
    cuts = () if gap_mm is None else (
        CutRow(upper=8, lower=None, length_mm=20, gap_mm=gap_mm),
        CutRow(upper=9, lower=None, length_mm=20, gap_mm=0.2),
        CutRow(upper=9, lower=None, length_mm=20, gap_mm=0.001, valid_to=1.0),
        CutRow(upper=9, lower=None, length_mm=20, gap_mm=None, valid_from=1.0),
    )  # fmt: skip
    place = position or PositionRow(id=1, code="GB-1", kind=kind, side="upper")
    return DieLog(
        die=1,
        code="H-1",
        usual_stock=1,
        stocks={1: STOCK},
        positions={1: place},
        cuts=cuts,
        pieces=pieces or {5: piece or PieceRow(id=5)},
        runs=tuple(
            RunRow(started=h * HOUR, ended=(h + 1) * HOUR, hits=100_000, variant=1, stock=1) for h in range(runs)
        ),
        replacements=replacements or (first(5),),
        readings=tuple(
            ReadingRow(at=h * HOUR, position=1, quantity=quantity, value_si=value) for h, quantity, value in readings
        ),
    )


def first(piece: int, at: float = 0.0, since_start: bool = True, key: str = "a") -> ReplacementRow:
    return ReplacementRow(
        at=at, sequence=0, key=key, position=1, piece=piece, why="first" if since_start else "other",
        since_start=since_start,
    )  # fmt: skip


def rising(*, start=10e-6, a_hit=1e-11, hours=(2, 4, 6, 8), quantity="bore clearance"):
    return [(h, quantity, start + a_hit * 100_000 * h) for h in hours]


def only(found: list[part_wear.Wear]) -> part_wear.Wear:
    assert len(found) == 1
    return found[0]


def test_a_bushing_by_hand():
    """10 um and 1 um more every 100,000 hits: 30 um at 2,000,000 hits; 1,000,000 are run."""
    wear = only(part_wear.of_log(log(rising()), 10 * HOUR))
    assert (wear.code, wear.kind, wear.quantity) == ("GB-1", "bushing", "bore clearance")
    assert wear.hits == [200_000, 400_000, 600_000, 800_000] and wear.hits_now == 1_000_000
    assert wear.limit.value_si == pytest.approx(30e-6) and wear.limit.source == "common practice, no source"
    assert wear.trend.at_hits == pytest.approx(2_000_000)
    assert wear.left_hits == pytest.approx(1_000_000) and wear.early_hits == pytest.approx(1_000_000)
    assert "in about 1,000,000 hits" in part_wear.words(wear)["verdict"]


def test_a_pilot_wears_by_getting_thinner():
    """6.000 mm at its first reading, 4 um less every 200,000 hits; 0.02 mm under the first, half of a gap of 0.04, at
    1,200,000."""
    readings = [(h, "diameter", 6e-3 - 2e-6 * (h - 2)) for h in (2, 4, 6, 8)]
    wear = only(part_wear.of_log(log(readings, kind="pilot", gap_mm=0.04), 8 * HOUR))
    assert wear.falling and wear.limit.value_si == pytest.approx(5.98e-3)
    assert wear.trend.at_hits == pytest.approx(1_200_000, rel=1e-6)
    assert not wear.is_past
    thinner = [*readings, (9, "diameter", 5.979e-3)]
    assert only(part_wear.of_log(log(thinner, kind="pilot", gap_mm=0.04), 9 * HOUR)).is_past


def test_a_spring_loses_its_force():
    readings = [(h, "spring force", 1000.0 - 10 * h) for h in (0.5, 2, 4, 6)]
    wear = only(part_wear.of_log(log(readings, kind="stripper_spring"), 6 * HOUR))
    assert wear.falling and wear.limit.value_si == pytest.approx(0.9 * 995)
    assert wear.trend.at_hits == pytest.approx(1_045_000)  # 1000 - 10 h = 895.5 at hour 10.45


def with_beside(made: DieLog, *, beside: dict[float, dict[str, float]]) -> DieLog:
    """The log with what stands beside the value of some readings, by the hour."""
    rows = tuple(replace(r, **beside.get(r.at / HOUR, {})) for r in made.readings)
    return replace(made, readings=rows)


def test_forces_are_held_against_each_other_at_one_length_only():
    """1,000 N at 50 mm falls by 10 an hour; 1,700 N at 40 mm in between is another thing."""
    readings = [(0.5, "spring force", 995.0), (2, "spring force", 980.0), (3, "spring force", 1700.0),
                (4, "spring force", 960.0), (6, "spring force", 940.0)]  # fmt: skip
    beside = {h: {"at_length_mm": 40.0 if h == 3 else 50.0} for h, _, _ in readings}
    made = with_beside(log(readings, kind="stripper_spring"), beside=beside)
    wear = only(part_wear.of_log(made, 6 * HOUR))
    assert (wear.elsewhere, wear.at_length_mm, wear.before) == (1, 50.0, 0)
    assert wear.trend.at_hits == pytest.approx(1_045_000)  # as where nobody measured at 40 mm
    del beside[6]  # the last without its length: alone, as nobody knows where it belongs
    alone = only(part_wear.of_log(with_beside(log(readings, kind="stripper_spring"), beside=beside), 6 * HOUR))
    assert (alone.elsewhere, alone.values_si, alone.trend) == (4, [940.0], None)


def test_a_gas_spring_counts_anew_from_what_it_was_charged_to():
    """Charged from 13 to 15 MPa at hour 2; then a quarter of a megapascal less every hour: a tenth of 15 is gone six
    hours on, at 800,000 hits."""
    readings = [(1, "gas pressure", 14e6), (2, "gas pressure", 13e6), (4, "gas pressure", 14.5e6),
                (6, "gas pressure", 14.0e6), (7, "gas pressure", 13.75e6)]  # fmt: skip
    made = with_beside(log(readings, kind="gas_spring"), beside={2: {"charged_to_mpa": 15.0}})
    wear = only(part_wear.of_log(made, 7 * HOUR))
    assert wear.values_si == [15e6, 14.5e6, 14.0e6, 13.75e6] and wear.charged == 2 * HOUR
    assert wear.limit.value_si == pytest.approx(13.5e6) and wear.trend.at_hits == pytest.approx(800_000)


def test_the_shops_own_limit_goes_before_the_customary_one():
    limits = {(1, "bore clearance"): part_wear.Limit(value_si=25e-6, words="25", source=part_wear.THE_SHOPS)}
    wear = only(part_wear.of_log(log(rising()), 10 * HOUR, limits=limits))
    assert wear.limit.source == part_wear.THE_SHOPS and wear.trend.at_hits == pytest.approx(1_500_000)


def test_a_customary_limit_is_said_in_the_units_of_the_reader():
    wear = only(part_wear.of_log(log(rising()), 10 * HOUR))
    assert (
        wear.limit.in_words(wear.quantity, "metric")
        == "clearance of 0.030 mm across in the guide, half of the smallest gap"
    )
    assert (
        wear.limit.in_words(wear.quantity, "inch")
        == "clearance of 0.0012 in across in the guide, half of the smallest gap"
    )


def test_hits_run_before_the_records_count_where_they_are_known():
    counted = PieceRow(id=5, opening="counted", opening_life_hits=300_000)
    wear = only(part_wear.of_log(log(rising(), piece=counted), 10 * HOUR))
    assert wear.hits[0] == 500_000 and wear.hits_now == 1_300_000 and wear.age_known
    unknown = only(part_wear.of_log(log(rising(), piece=PieceRow(id=5, opening="unknown")), 10 * HOUR))
    assert unknown.hits[0] == 200_000 and not unknown.age_known


def test_a_place_that_works_at_every_other_stroke_counts_half():
    half = PositionRow(id=1, code="GB-1", kind="bushing", side="upper", stroke_share=0.5)
    wear = only(part_wear.of_log(log(rising(), position=half), 10 * HOUR))
    assert wear.hits == [100_000, 200_000, 300_000, 400_000] and wear.hits_now == 500_000


def test_only_the_piece_that_sits_there_now_is_told_of():
    changed = (first(5), first(6, at=5 * HOUR, since_start=False, key="b"))
    pieces = {5: PieceRow(id=5), 6: PieceRow(id=6)}
    wear = only(part_wear.of_log(log(rising(), replacements=changed, pieces=pieces), 10 * HOUR))
    assert wear.before == 2 and wear.hits == [100_000, 300_000] and wear.hits_now == 500_000
    assert wear.trend is None and "2 readings at 2 counts seen; 3" in wear.refusal
    at_the_change = [*rising(), (5, "bore clearance", 99e-6)]
    again = only(part_wear.of_log(log(at_the_change, replacements=changed, pieces=pieces), 10 * HOUR))
    assert again.before == 3 and 99e-6 not in again.values_si, "measured as it came out"
    early = log(rising(hours=(2, 4)), replacements=changed, pieces=pieces)
    assert part_wear.of_log(early, 10 * HOUR) == [], "nothing of the new one was measured yet"


def test_an_empty_place_is_not_told_of():
    taken_out = (first(5), replace(first(5, at=5 * HOUR, since_start=False, key="b"), piece=None))
    assert part_wear.of_log(log(rising(), replacements=taken_out), 10 * HOUR) == []


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        (rising(hours=(2, 4)), "2 readings at 2 counts seen; 3"),
        (rising(a_hit=-1e-11), "no wear is seen: over 600,000 hits"),
        (rising(quantity="shape of the sky"), "No limit is known for it"),
    ],
)
def test_what_the_readings_do_not_carry_is_refused_in_words(readings, words):
    wear = only(part_wear.of_log(log(readings), 10 * HOUR))
    assert wear.trend is None and words.lower() in wear.refusal.lower() and wear.left_hits is None
    assert part_wear.words(wear)["when"] == ("no wear seen" if words.startswith("no wear") else "not known")
    assert wear.refusal in part_wear.words(wear)["verdict"]


def test_a_limit_beyond_what_was_measured_is_far_off():
    """10 um and 1 um in ten million hits: 30 um at 200 million, of which 800,000 are measured."""
    wear = only(part_wear.of_log(log(rising(a_hit=1e-13)), 10 * HOUR))
    said = part_wear.words(wear)
    assert wear.is_far_off and wear.trend is None and said["when"] == "far off"
    assert "measured over 800,000 hits, limit beyond 3 times that" in said["verdict"]


def test_the_limit_of_a_guide_goes_by_the_gap_and_without_one_there_is_none():
    narrow = only(part_wear.of_log(log(rising(), gap_mm=0.0175), 10 * HOUR))
    assert narrow.limit.value_si == pytest.approx(8.75e-6) and narrow.is_past
    unknown = only(part_wear.of_log(log(rising(), gap_mm=None), 10 * HOUR))
    assert unknown.limit is None and "goes by the gap of the die, and no gap is entered" in unknown.refusal
    caged = only(part_wear.of_log(log(rising(), kind="roller_cage", gap_mm=None), 10 * HOUR))
    assert caged.limit.value_si == 0.0 and caged.is_past  # it runs preloaded


def test_a_pilot_that_does_not_get_thinner_is_not_said_not_to_rise():
    readings = [(h, "diameter", 6e-3 + 1e-6 * h) for h in (2, 4, 6, 8)]
    assert "do not fall" in only(part_wear.of_log(log(readings, kind="pilot"), 9 * HOUR)).refusal


def test_a_first_reading_past_the_limit_is_past_it():
    wear = only(part_wear.of_log(log(rising(start=35e-6)), 10 * HOUR))
    assert wear.is_past and not wear.falling
    assert part_wear.words(wear)["when"] == "at its limit now"


def test_what_tells_of_an_edge_or_of_the_press_is_no_measured_wear():
    others = [(h, name, 1e-5 * h) for name in ("burr height", "Wear land", "edge radius", "temperature")
              for h in (2, 4, 6)]  # fmt: skip
    assert part_wear.of_log(log(others), 10 * HOUR) == []


def test_readings_later_than_the_moment_do_not_count():
    assert only(part_wear.of_log(log(rising()), 5 * HOUR)).hits == [200_000, 400_000]


def test_the_nearest_to_its_limit_stands_first():
    two = replace(
        log(rising()),
        positions={n: PositionRow(id=n, code=f"GB-{n}", kind="bushing", side="upper") for n in (1, 2, 3)},
        pieces={n: PieceRow(id=n) for n in (1, 2, 3)},
        replacements=tuple(replace(first(n, key=str(n)), position=n) for n in (1, 2, 3)),
        readings=tuple(
            ReadingRow(at=h * HOUR, position=n, quantity="bore clearance", value_si=start + 1e-6 * h)
            for n, start in ((1, 10e-6), (2, 15e-6), (3, 40e-6))
            for h in (2, 4, 6, 8)
        ),
    )
    assert [w.code for w in part_wear.of_log(two, 10 * HOUR)] == ["GB-3", "GB-2", "GB-1"]
    assert [w.code for w in part_wear.of_log(two, 10 * HOUR, only=2)] == ["GB-2"]


def test_where_the_band_never_crosses_no_latest_is_told():
    scattered = [(h, "bore clearance", v * 1e-6) for h, v in ((2, 10), (4, 18), (6, 12), (8, 22))]
    wear = only(part_wear.of_log(log(scattered), 10 * HOUR))
    assert wear.trend is not None and math.isinf(wear.trend.late_hits)
    assert "9 in 10: before" not in part_wear.words(wear)["verdict"]


def test_values_are_shown_in_the_units_of_whoever_looks():
    assert part_wear.shown(25.4e-6, "bore clearance", units.System.INCH) == "0.0010 in"
    assert part_wear.shown(25e-6, "bore clearance", units.System.METRIC) == "0.025 mm"
    assert part_wear.shown(5.957e-3, "diameter", units.System.METRIC) == "5.957 mm", "two decimals would hide the wear"
    assert part_wear.shown(865.0, "spring force", units.System.METRIC) == "865 N"
    assert part_wear.shown(1.5, "shape of the sky", units.System.METRIC) == "1.5"
