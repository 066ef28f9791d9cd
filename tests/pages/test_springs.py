"""A spring's figures on its own page and what is asked where its force or its pressure is read."""

import pytest
from django.contrib.auth.models import User
from django.urls import reverse

from diestore.access.models import Person, UserSettings
from maintenance.log import damage, write
from maintenance.models import Reading
from tests import factories as make

from .as_read import as_read
from .bench_browser import sent

pytestmark = pytest.mark.django_db


@pytest.fixture
def die():
    made = make.die("H-700", spring_fitted_mm=51, stripper_travel_mm=3)
    coil = make.item("SP-25x64", kind="stripper_spring", length_mm=64, spring_rate_n_mm=70, grind_allowance_mm=None,
                     spring_class="ISO 10243 blue", tool_steel="", hardness_hrc=None)  # fmt: skip
    gas = make.item("GAS-250", kind="gas_spring", gas_force_n=2500, gas_charge_mpa=15, grind_allowance_mm=None,
                    tool_steel="", hardness_hrc=None)  # fmt: skip
    make.position(made, "1-A")
    for code in ("SS-1", "SS-2"):
        make.position(made, code, kind="stripper_spring", item=coil, length_mm=None)
    make.position(made, "GS-1", kind="gas_spring", item=gas, length_mm=None)
    make.run(made, 1, 1_600_000, hours=200)
    return made


def page(client, die, code) -> str:
    return as_read(client.get(reverse("maintenance:edge", args=[die.positions.get(code=code).pk])))


def read_at(die, code, day, quantity, value_si, **beside):
    return write.log_reading(
        by=make.actor(), position=die.positions.get(code=code), at=make.moment(day), quantity=quantity,
        value_si=value_si, typed_value=f"{value_si:g}", typed_unit="N" if "force" in quantity else "Pa", **beside,
    )  # fmt: skip


def ask(client, die, **values):
    Person.objects.get_or_create(plant=die.plant, name="Ina T.")
    address = reverse("maintenance:log_reading") + f"?die={die.pk}"
    values = {"position": die.positions.get(code=values.pop("code")).pk} | values
    values.setdefault("person", Person.objects.get().pk)
    return client.post(address, sent(client.get(address), **values))


def test_rate_number_preload_travel_and_strokes_stand_on_its_page(die, as_role):
    said = page(as_role("lead"), die, "SS-1")
    # [T3-09] blue: a quarter of 64 mm for a long life, 37.5 % at most: pressed by 16 mm, 8 mm are left
    assert "SP-25x64, 2 fitted" in said and "70.0 N/mm" in said and "25 % of free length" in said and "8.00 mm" in said
    assert "1,600,000" in said and "such a spring takes about 1,500,000 to 3,000,000" in said
    assert "as many strokes as the first of such springs last" in said
    assert "hold it before you loosen the last screws" in said
    sheet = as_read(as_role("setter").get(reverse("maintenance:set_up_sheet", args=[die.pk])))
    assert "Strokes made" in sheet and "such a spring takes about 1,500,000 to 3,000,000" in sheet


def test_what_the_cards_do_not_say_is_named(die, as_role):
    die.spring_fitted_mm = None
    die.save()
    die.positions.get(code="GS-1").item.__class__.objects.filter(code="GAS-250").update(gas_charge_mpa=None)
    client = as_role("lead")
    assert "Not known: the length of the springs in the open die, on the die" in page(client, die, "SS-1")
    assert "Not known: what it is charged to, on the card of GAS-250" in page(client, die, "GS-1")


def test_a_force_is_held_against_its_rate_at_its_length(die, as_role):
    read_at(die, "SS-1", 2, "spring force", 800, at_length_mm=51)
    read_at(die, "SS-2", 2, "spring force", 1200, at_length_mm=47)
    client = as_role("lead")
    # 70 N/mm x (64 - 51) mm = 910 N, of which 800 are 12 % less; x (64 - 47) mm = 1,190 N
    weak = page(client, die, "SS-1")
    assert "Force at 51.00 mm" in weak and "12 % less" in weak and 'class="short"' in weak
    assert "1 % more" in page(client, die, "SS-2")
    # The sheet brings the second to 51 mm: 1,200 - 70 x 4 = 920; with the gas spring's 2,500 that is 4,220 N
    sheet = as_read(as_role("setter").get(reverse("maintenance:set_up_sheet", args=[die.pk])))
    assert "4.22 kN" in sheet and "SS-1: force at 51.00 mm" in sheet


def test_the_form_asks_for_the_length_of_a_force(die, as_role):
    client = as_role("lead")
    without = ask(client, die, code="SS-1", quantity="spring force", value="800 N")
    assert without.status_code == 422, without.context["form"].errors
    assert "belongs to a length" in as_read(without), without.context["form"].errors
    free = ask(client, die, code="SS-1", quantity="spring force", value="800 N", at_length="64")
    assert free.status_code == 422 and "not pressed" in as_read(free)
    strong = ask(client, die, code="SS-1", quantity="spring force", value="1800 N", at_length="51")
    assert strong.status_code == 422 and "By its rate it holds" in as_read(strong)
    assert not Reading.objects.exists()
    assert ask(client, die, code="SS-1", quantity="spring force", value="800 N", at_length="51").status_code == 302
    assert Reading.objects.get().at_length_mm == 51
    assert "at 51.00 mm" in as_read(client.get(reverse("maintenance:entries") + "?die=H-700"))


def test_an_inch_shop_types_inches_and_reads_them(die, as_role):
    client = as_role("lead")
    UserSettings.objects.create(user=User.objects.get(username="lead"), units="inch")
    assert ask(client, die, code="SS-1", quantity="spring force", value="180 lbf", at_length="2").status_code == 302
    assert Reading.objects.get().at_length_mm == pytest.approx(50.8)
    assert "Force at 2.000 in" in page(client, die, "SS-1")


def test_a_gas_spring_is_read_and_charged(die, as_role):
    client = as_role("lead")
    at_a_coil = ask(client, die, code="SS-1", quantity="gas pressure", value="138 bar")
    assert at_a_coil.status_code == 422 and "is read at a gas spring" in as_read(at_a_coil)
    less = ask(client, die, code="GS-1", quantity="gas pressure", value="138 bar", charged_to="100 bar")
    assert less.status_code == 422 and "less than was in it" in as_read(less)
    assert ask(client, die, code="GS-1", quantity="gas pressure", value="132 bar").status_code == 302
    said = page(client, die, "GS-1")
    # 132 of 150 bar: 12 % lost, 2,500 N x 132 / 150 = 2,200 N
    assert "12 % lost" in said and ("2,200 N" in said or "2.20 kN" in said) and "only by qualified people" in said
    answer = ask(client, die, code="GS-1", quantity="gas pressure", value="132 bar", charged_to="150 bar")
    assert answer.status_code == 302
    assert Reading.objects.get(charged_to_mpa__isnull=False).charged_to_mpa == pytest.approx(15)
    said = page(client, die, "GS-1")
    assert "% lost" not in said and "150 bar" in said


def test_a_length_is_of_a_force_only_and_a_charge_of_a_pressure(die):
    with pytest.raises(write.EntryRefused, match="Only a spring force belongs to a length"):
        read_at(die, "SS-1", 2, "free length", 63, at_length_mm=51)
    with pytest.raises(write.EntryRefused, match="what was charged"):
        read_at(die, "SS-1", 2, "spring force", 800, charged_to_mpa=15)
    with pytest.raises(write.EntryRefused, match="nought"):
        read_at(die, "SS-1", 2, "spring force", 800, at_length_mm=0)
    assert not Reading.objects.exists()


def test_a_force_at_another_length_and_a_charge_are_no_wear(die):
    """1,400 N at 45 mm and 800 at 51 are the same spring; a gas spring charged again is as new."""
    read_at(die, "SS-1", 2, "spring force", 1330, at_length_mm=45)
    read_at(die, "SS-1", 3, "spring force", 905, at_length_mm=51)
    read_at(die, "GS-1", 2, "gas pressure", 15e6)
    read_at(die, "GS-1", 3, "gas pressure", 13e6)

    def worn() -> list[str]:
        return sorted(one.place for one in damage.open_damage([die.pk]).get(die.pk, ()))

    assert worn() == ["GS-1"]
    read_at(die, "GS-1", 4, "gas pressure", 13e6, charged_to_mpa=15)
    assert worn() == []
    read_at(die, "SS-1", 4, "spring force", 800, at_length_mm=51)  # 12 % under the first at that length
    assert worn() == ["SS-1"]
