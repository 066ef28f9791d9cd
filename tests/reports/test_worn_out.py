"""Springs that wear out: each counts by the age that the log gives it, on the page, kept and from the log alike."""

import pytest
from django.urls import reverse

from maintenance.log import write
from reports.spares import advice, kept
from reports.spares.use import PlantAhead
from tests import factories as make
from tests.pages import money_shop as shop
from tests.pages.as_read import as_read

pytestmark = pytest.mark.django_db
PLACES, LAST = 6, 500


def sprung(code: str, item, ages):
    """A die that runs every twentieth day; each spring is replaced about every hundred days, last so many days ago."""
    die = make.die(code)
    for n in range(PLACES):
        make.position(die, f"1-{n}", kind="stripper_spring", item=item, allowance_mm=None, gap_mm=None)
    for day in range(0, LAST + 1, 20):
        make.run(die, day, 80_000)
    for n, place in enumerate(die.positions.order_by("code")):
        for k in range(4, -1, -1):
            at = LAST - ages[n] - 100 * k + (3 * n + 5 * k) % 7 + 0.5
            if 0 < at < LAST:
                write.log_replacement(by=make.actor(), position=place, at=make.moment(at), why="broken")
    return die


@pytest.fixture
def springs():
    young = shop.spare("SP-YOUNG", kind="stripper_spring")
    old = shop.spare("SP-OLD", kind="stripper_spring")
    sprung("S-1", young, ages=[7, 9, 12, 14, 17, 20])
    sprung("S-2", old, ages=[78, 80, 82, 85, 88, 90])
    return young, old


def test_an_old_spring_is_needed_sooner_than_a_young_one(springs, as_role, monkeypatch):
    young, old = springs
    plant = make.plant()
    ahead = PlantAhead.of(plant, longest_lead_days=40)
    law = ahead.mishaps_of(old.pk).wear
    assert law.wears_out and law.shape > 3 and law.lives >= 30
    assert law.mean_life == pytest.approx(100 * 4_000, rel=0.1)  # a hundred days of 4,000 strokes
    soon = {item.code: ahead.use(item.pk, 30) for item in springs}
    assert soon["SP-OLD"].mean > 3 > 0.5 > soon["SP-YOUNG"].mean
    assert ahead.use(young.pk, 300).mean == pytest.approx(ahead.use(old.pk, 300).mean, abs=5)
    # a die's year ahead counts its own by the same ages, though it reads no other die
    alone = PlantAhead.of(plant, dies=[old.positions.first().die_id])
    assert alone.breaking(old.pk, 365).chances == pytest.approx(ahead.breaking(old.pk, 365).chances, abs=1e-12)
    text = as_read(as_role("buyer").get(reverse("reports:spare", args=[old.pk])))
    assert "wear out rather than break" in text and "each counts by its age" in text

    from_log = {row.code: (row.half, row.nine_in_ten, row.order_by) for row in advice.all_spares(plant)}
    monkeypatch.setattr(kept, "WORTH_KEEPING", 1)
    kept.keep(kept.work_out(plant))
    assert {row.code: (row.half, row.nine_in_ten, row.order_by) for row in kept.of_plant(plant).rows} == from_log
    told = kept.why(old, plant).row  # from the log, with what the night kept of the kind
    assert (told.half, told.nine_in_ten, told.order_by) == from_log["SP-OLD"]
