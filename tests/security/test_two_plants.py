"""A shop of two plants: what is another plant's is not found, in no list, no choice, no file, by no address."""

from __future__ import annotations

import csv
import io
import zipfile

import pytest
from django.test import Client
from django.urls import reverse

from diestore.access import roles
from diestore.access.models import Person, PlantOfUser, UserSettings
from diestore.register.models import Die, Part, Plant, Press
from maintenance.forecasts import store
from maintenance.log import queries
from maintenance.models import CounterDevice, CounterQuestion, DieInPress, DriftFlag, Order, Run, StockMovement
from tests import factories as make
from tests.pages import money_shop
from tests.pages.as_read import as_read

from .addresses import TABLE, address, parts_of, shop

pytestmark = pytest.mark.django_db
# What stands on pages of the far plant and on none of the near one.
FAR = ("Q-900", "Q-901", "ZZ-9", "Zora Q.", "press 77", "far box", "77-0001", "Farside")
# What is the shop's and no plant's: the catalogue of spares, too, but for what a plant's own pages say of it.
SHOPS_OWN = {"part", "volume", "customer", "supplier", "stock"}
CATALOGUE = "ZZ-9"
# The catalogue is the shop's own, and so is who supplies it; a level there is always of one's own plant.
OF_THE_CATALOGUE = {"reports:sources", "reports:source_new", "reports:source", "reports:level"}
ROLES = [role for role in roles.ROLES if role != roles.ADMINISTRATOR]


@pytest.fixture(scope="module")
def far(of_the_module):
    """The numbers of the things of the far plant. Its people, presses and codes are its own."""
    plant_of, person_of = make.plant, make.person
    with pytest.MonkeyPatch.context() as there:
        there.setattr(make, "plant", lambda code="far": plant_of(code))
        there.setattr(make, "person", lambda name="Zora Q.": person_of("Zora Q."))
        numbers = shop("Q-900", "Q-901", "ZZ-9")
        plant = make.plant()
        store.fit_and_forecast(plant)
    Plant.objects.filter(pk=plant.pk).update(name="Farside")
    Press.objects.filter(plant=plant).update(code="press 77")
    for part in Part.objects.filter(outputs__variant__die__plant=plant):
        Part.objects.filter(pk=part.pk).update(number=f"part {part.pk}")
    CounterDevice.objects.filter(plant=plant, name="counter box").update(name="far box")
    Order.objects.filter(plant=plant).update(number="77-0001")
    die = Die.objects.get(pk=numbers["die"])
    DriftFlag.objects.create(
        die=die, as_of=make.moment(9), since=make.moment(1), dull_ends=4, expected=1.0, chance=0.001
    )
    return numbers | {"plant": plant.pk, "press": Press.objects.get(plant=plant).pk}


@pytest.fixture(scope="module")
def near(far):
    numbers = shop()
    store.fit_and_forecast(make.plant())
    return numbers | {"plant": make.plant().pk}


@pytest.fixture(scope="module")
def people(near, far):
    """Of each role somebody of the near plant and somebody of the far one."""
    found = {}
    for role in ROLES:
        for name, numbers in (("near", near), ("far", far)):
            user = make.user(role, f"{role} {name}")
            PlantOfUser.objects.create(user=user, plant_id=numbers["plant"])
            found[role, name] = user
    return found


def signed_in(user) -> Client:
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def clients(people) -> dict[tuple[str, str], Client]:
    """Of each role, near and far, signed in once: signing in takes longer than most pages."""
    return {who: signed_in(user) for who, user in people.items()}


def methods(row, role: str) -> list[str]:
    return [method for method, who in (("get", row.get), ("post", row.post)) if role in who]


def keyed() -> dict[str, tuple]:
    """Those whose number is of a plant's own thing."""
    found = {}
    for name, row in TABLE.items():
        of = row.parts.get("pk") or row.parts.get("key")
        of_the_shop = (
            of is None
            or of in SHOPS_OWN
            or name in OF_THE_CATALOGUE
            or (of == "item" and not name.startswith("reports:"))
        )
        in_the_address = "token" in row.parts  # whose it is goes by the token, and no sign-in counts
        if not of_the_shop and not row.by_token and not in_the_address:
            found[name] = row
    return found


def test_no_address_that_takes_a_number_finds_what_is_another_plants(people, near, far, clients):
    wrong, tried = [], 0
    for name, row in keyed().items():
        for role in ROLES:
            for method in methods(row, role):
                tried += 1
                theirs = getattr(clients[role, "near"], method)(reverse(name, kwargs=parts_of(row, far)))
                if theirs.status_code != 404:
                    wrong.append((name, role, method, "finds the far plant's", theirs.status_code))
                if method == "get":
                    own = clients[role, "near"].get(reverse(name, kwargs=parts_of(row, near)))
                    far_one = clients[role, "far"].get(reverse(name, kwargs=parts_of(row, far)))
                    if not {own.status_code, far_one.status_code} <= {200, 302}:
                        wrong.append((name, role, "does not find its own", own.status_code, far_one.status_code))
    assert wrong == [] and tried > 30


@pytest.mark.walk
def test_no_page_shows_anything_of_another_plant(people, near, far, clients):
    wrong, seen_there = [], set()
    for name, row in TABLE.items():
        if row.by_token or name in ("diestore:service", "diestore:service_json"):
            continue  # a token has its plant; the page of the service is about the machine
        for role in ROLES:
            if role not in row.get:
                continue
            url = address(name, near)
            asked = [url]
            if role == next(one for one in reversed(ROLES) if one in row.get):  # what is asked for is read by all alike
                asked += [f"{url}{'&' if '?' in url else '?'}q=9", *_with_far_numbers(url, far)]
            for at in asked:
                answer = clients[role, "near"].get(at, follow=True)
                words = _words(answer)
                tells = {word for word in FAR if word in words.replace(f"“{word}”", "")}
                if not name.startswith("reports:"):
                    tells.discard(CATALOGUE)
                wrong += [(name, role, at, word) for word in sorted(tells)]
            if "pk" not in row.parts:
                words = _words(clients[role, "far"].get(address(name, far), follow=True))
                seen_there |= {word for word in FAR if word in words}
    assert wrong == []
    assert seen_there == set(FAR), "what the far plant does not see itself, this test does not miss"


def _with_far_numbers(url: str, far: dict[str, int]) -> list[str]:
    """The address with a die, a press, a person of the other plant in its question."""
    path = url.split("?")[0]
    asked = ("die", far["die"]), ("press", far["press"]), ("person", far["person"]), ("edge", far["position"])
    struck = ("instead", f"run-{far['first run']}")
    return [f"{path}?{name}={value}" for name, value in (*asked, struck)]


def _words(answer) -> str:
    if "html" in answer["Content-Type"]:
        return as_read(answer)
    raw = answer.getvalue() if answer.streaming else answer.content
    if raw.startswith(b"PK"):  # a workbook
        with zipfile.ZipFile(io.BytesIO(raw)) as book:
            raw = b" ".join(book.read(name) for name in book.namelist())
    return raw.decode("utf-8-sig", "replace")


@pytest.mark.parametrize(
    "name",
    [
        "reports:spares",
        "reports:spares_csv",
        "reports:shelf_money",
        "reports:spares_record",
        "reports:spares_record_csv",
        "reports:spares_ahead",
        "reports:spares_ahead_csv",
        "reports:spares_ahead_xlsx",
        "reports:cost",
        "maintenance:record",
        "maintenance:replay",
        "maintenance:wear",
    ],
)
def test_a_plant_that_is_not_ones_own_is_no_plant_to_ask_for(people, near, far, name):
    role = roles.LEAD
    for asked in (far["plant"], 10**9, "x", "-1", "٣", "1e3"):
        assert signed_in(people[role, "near"]).get(reverse(name), {"plant": asked}).status_code == 404
    assert signed_in(people[role, "near"]).get(reverse(name), {"plant": near["plant"]}).status_code == 200


def test_the_label_leads_to_the_die_of_ones_own_plant(people, near, far):
    Die.objects.filter(pk=far["die"]).update(code="H-900")
    label = reverse("diestore:die_by_label", kwargs={"code": "h-900"})
    for where, numbers in (("near", near), ("far", far)):
        answer = signed_in(people["setter", where]).get(label)
        assert answer["Location"] == reverse("diestore:die", args=[numbers["die"]])
    only_far = reverse("diestore:die_by_label", kwargs={"code": "Q-901"})
    assert signed_in(people["setter", "near"]).get(only_far)["Location"] == reverse("diestore:find") + "?q=Q-901"


def test_a_spare_that_both_plants_take_is_told_of_each_shelf_by_itself(people, near, far):
    """The catalogue is the shop's; what lies on a shelf, and what has to be ordered, is a plant's."""
    item = Die.objects.get(pk=near["die"]).positions.get(code="1-A").item
    Die.objects.get(pk=far["die"]).positions.filter(code="1-A").update(item=item)
    plant = Plant.objects.get(pk=far["plant"])
    made = money_shop.movement(item, 40_961)  # no place in a drawing reads so
    type(made).objects.filter(pk=made.pk).update(plant=plant)

    def on_hand(where: str) -> str:
        rows = csv.DictReader(io.StringIO(_words(signed_in(people["buyer", where]).get(reverse("reports:spares_csv")))))
        return {row["spare"]: (row["on the shelf"], row["dies"]) for row in rows}[item.code]

    assert on_hand("near") == ("2", "H-900 H-901")
    assert on_hand("far") == ("40961", "Q-900")
    page = _words(signed_in(people["buyer", "near"]).get(reverse("reports:spare", args=[item.pk])))
    assert not any(word in page for word in ("Q-900", "40961", "40,961"))
    theirs = _words(signed_in(people["buyer", "far"]).get(reverse("reports:spare", args=[item.pk])))
    assert "Q-900" in theirs and "40,961" in theirs


# --- what is sent ---------------------------------------------------------------------------------------------------


def test_a_form_refuses_a_choice_of_another_plant(people, near, far):
    """Each sends what is right but for one thing of the far plant."""
    lead = signed_in(people[roles.LEAD, "near"])
    person = near["person"]
    log = f"{reverse('maintenance:log_run')}?die={near['die']}"
    run = {"started_0": "2025-08-01", "started_1": "06:00", "ended_0": "2025-08-01", "ended_1": "10:00",
           "started": "2025-08-01T06:00", "ended": "2025-08-01T10:00", "hits": "15000",
           "stock": Die.objects.get(pk=near["die"]).usual_stock_id, "person": person, "order": ""}  # fmt: skip
    before = Run.objects.count()
    for name, value in (
        ("person", far["person"]),
        ("press", far["press"]),
        ("order", Order.objects.get(number="77-0001").pk),
    ):
        assert lead.post(log, run | {name: value}).status_code == 422, name
    assert Run.objects.count() == before
    assert lead.post(log, run).status_code == 302 and Run.objects.count() == before + 1, "what is right is taken"

    press = f"{reverse('maintenance:in_press')}?die={near['die']}"
    sent = {"press": far["press"], "person": person, "act": "set"}
    assert lead.post(press, sent).status_code == 422 and not DieInPress.objects.exists()

    strike = reverse("maintenance:strike", kwargs={"sort": "run", "pk": near["first run"]})
    assert lead.post(strike, {"reason": "logged twice", "person": far["person"]}).status_code == 422

    named = {"name": "Ansa R.", "plant": far["plant"], "active": "on"}
    lead.post(reverse("diestore:people"), named)
    assert Person.objects.get(name="Ansa R.").plant_id == near["plant"], "there is no other plant to pick"
    assert lead.post(reverse("diestore:settings"), {"units": "metric", "person": far["person"]}).status_code == 200
    assert not UserSettings.objects.filter(person=far["person"]).exists()

    device = {"name": "box 2", "scopes": ["counts"]}
    for more in ({"presses": [far["press"]]}, {"dies": [far["die"]]}):
        assert lead.post(reverse("maintenance:counter_devices"), device | more).status_code == 422
    lead.post(reverse("maintenance:counter_devices"), device | {"plant": far["plant"]})
    assert CounterDevice.objects.get(name="box 2").plant_id == near["plant"]


def test_what_a_lead_did_to_another_plant_is_done_no_more(people, near, far):
    """Struck its run, set its person's PIN, revoked its token, took its answer back."""
    lead = signed_in(people[roles.LEAD, "near"])
    strike = {"reason": "wrong", "person": near["person"]}
    sent = {
        reverse("maintenance:strike", kwargs={"sort": "run", "pk": far["first run"]}): strike,
        reverse("diestore:person", args=[far["person"]]): {"pin": "4071", "again": "4071"},
        reverse("maintenance:counter_device_revoke", args=[far["device"]]): {},
        reverse("maintenance:counter_question_again", args=[far["answer"]]): {},
        reverse("maintenance:counter_question", args=[far["question"]]): {"verdict": "to nobody"},
    }
    for url, data in sent.items():
        assert lead.post(url, data).status_code == 404, url
    assert Run.objects.get(pk=far["first run"]).struck_at is None
    assert Person.objects.get(pk=far["person"]).pin_hash == ""
    assert CounterDevice.objects.get(pk=far["device"]).revoked_at is None
    assert CounterQuestion.objects.get(pk=far["answer"]).taken_back_at is None
    assert CounterQuestion.objects.get(pk=far["question"]).settled_at is None


def test_a_shared_tablet_offers_the_names_of_its_own_plant(people, near, far):
    Person.objects.update(pin_hash="x")
    bench = people["toolmaker", "near"]
    UserSettings.objects.create(user=bench, shared_device=True)
    names = _words(signed_in(bench).get(reverse("diestore:who")))
    assert "Ina T." in names and "Zora Q." not in names


# --- who sees several plants ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("bound", [False, True], ids=["bound to none", "bound to both"])
def test_who_sees_both_plants_is_told_the_spares_and_the_cost_of_each(near, far, bound):
    user = make.user(roles.LEAD)
    if bound:
        PlantOfUser.objects.bulk_create(PlantOfUser(user=user, plant_id=n["plant"]) for n in (near, far))
    client = signed_in(user)
    for name, own, other in (("reports:spares", "PP-6.0-M2", "ZZ-9"), ("reports:cost", "H-900", "Q-900")):
        of_near = _words(client.get(reverse(name), {"plant": near["plant"], "short": "all"}))
        of_far = _words(client.get(reverse(name), {"plant": far["plant"], "short": "all"}))
        assert own in of_near and other not in of_near
        assert other in of_far and own not in of_far
        html = client.get(reverse(name)).content.decode()
        assert all(f'href="?plant={n["plant"]}"' in html for n in (near, far))
    for numbers in (near, far):
        assert client.get(reverse("reports:cost_die", args=[numbers["die"]])).status_code == 200
        assert client.get(reverse("reports:spare", args=[numbers["item"]])).status_code == 200
    StockMovement.objects.update(quantity=-9)  # the shelf was counted wrong: more went out than lay there
    page = client.get(reverse("reports:today")).content.decode()
    for item, numbers in (("PP-6.0-M2", near), ("ZZ-9", far)):
        assert item in page and f"/spares/{numbers['item']}/?plant={numbers['plant']}" in page
    listed = _words(client.get(reverse("maintenance:due")))
    assert ">H-900<" in listed and ">Q-900<" in listed


def test_the_plant_of_the_settings_comes_first_and_opens_nothing(near, far):
    user = make.user(roles.LEAD)
    UserSettings.objects.create(user=user, plant_id=far["plant"])
    assert "Q-900" in _words(signed_in(user).get(reverse("reports:cost")))
    PlantOfUser.objects.create(user=user, plant_id=near["plant"])
    shown = _words(signed_in(user).get(reverse("reports:cost")))
    assert "H-900" in shown and "Q-900" not in shown


def test_an_order_is_made_in_its_own_plant_where_both_make_the_part(near, far):
    part = Order.objects.get(number="26-0001").part
    for code in ("A-1", "H-900"):  # the first by its label is the far plant's
        die = Die.objects.get(code="H-900") if code == "H-900" else Die.objects.get(pk=far["die"])
        if code == "A-1":
            Die.objects.filter(pk=die.pk).update(code=code)
            die.variants.get().outputs.update(part=part)
    Order.objects.filter(number="26-0001").update(die=None)
    (left,) = [row for row in queries.open_orders() if row.number == "26-0001"]
    assert left.die_id == near["die"]
    assert [row.number for row in queries.open_orders(plants={far["plant"]})] == ["77-0001"]
    Die.objects.filter(plant_id=near["plant"]).update(status="stored")
    (left,) = [row for row in queries.open_orders(plants={far["plant"]}) if row.number == "26-0001"]
    assert left.die_id == far["die"], "an order goes with the die that makes it"
