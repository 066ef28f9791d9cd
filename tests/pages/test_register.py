"""Pages of the register: the list of dies, labels, words, settings, sign-in, what goes wrong."""

import re
from html import escape

import pytest
from django.conf import settings
from django.contrib.auth.models import Permission, User
from django.urls import reverse

from diestore.access import roles
from diestore.access.models import UserSettings
from diestore.handbook import cautions, words
from diestore.register.models import Die, Plant
from tests import factories as make

from .as_read import as_read
from .small_shop import more, shop

pytestmark = pytest.mark.django_db


def page(client, name: str, *args, **asked) -> str:
    answer = client.get(reverse(name, args=args), asked)
    assert answer.status_code == 200
    return as_read(answer)


def codes(client, **asked) -> list[str]:
    """The dies listed, in the order of the rows."""
    return re.findall(r'<a href="/dies/\d+/">([^<]+)</a>', page(client, "diestore:dies", **asked))


def test_the_list_of_dies_takes_the_same_queries_at_three_and_at_thirty(as_role, django_assert_num_queries):
    client, url = as_role("lead"), reverse("diestore:dies")
    shop(3)
    client.get(url)  # what a process asks once and keeps is no part of the count
    with django_assert_num_queries(200, exact=False) as few:
        client.get(url)
    more(3, 30)
    with django_assert_num_queries(len(few)):
        client.get(url, {"per_page": 50})


def test_an_empty_register_says_what_to_do_first(as_role):
    client = as_role("lead")
    for name in ("diestore:dies", "reports:today", "maintenance:due"):
        said = page(client, name)
        assert "Begin in one of these ways" in said and "manage.py" not in said
        assert f'href="{reverse("diestore:register")}"' in said
    make.die()
    for name in ("diestore:dies", "reports:today", "maintenance:due"):
        assert "Begin in one of these ways" not in page(client, name)


@pytest.mark.parametrize(
    ("column", "rising"),
    [
        ("code", ["A-1", "A-2", "A-3"]),
        ("stock", ["A-3", "A-1", "A-2"]),
        ("thickness", ["A-2", "A-1", "A-3"]),
        ("strokes_per_minute", ["A-3", "A-1", "A-2"]),
        ("positions_count", ["A-2", "A-3", "A-1"]),
        ("status", ["A-2", "A-1", "A-3"]),
    ],
)
def test_the_list_of_dies_sorts_both_ways(as_role, column, rising):
    client = as_role("lead")
    for code, material, thickness_mm, strokes, positions, status in (
        ("A-1", "low-carbon steel", 1.2, 90, 2, "in service"),
        ("A-2", "stainless 304", 0.8, 120, 0, "in repair"),
        ("A-3", "brass CuZn37", 1.5, 60, 1, "stored"),
    ):
        die = make.die(code, of=make.stock(material, 400, thickness_mm), strokes_per_minute=strokes, status=status)
        for n in range(positions):
            make.position(die, f"{n + 1}-A")
    assert codes(client, sort=column) == rising
    assert codes(client, sort=f"-{column}") == rising[::-1]
    head = re.search(r'<th[^>]*aria-sort="(\w+)"', page(client, "diestore:dies", sort=f"-{column}"))
    assert head[1] == "descending"


def test_the_list_of_dies_is_filtered(as_role):
    client = as_role("setter")
    make.die("A-1", of=make.stock("low-carbon steel"), description="hinge leaf")
    make.die("A-2", of=make.stock("stainless 304"), status="stored")
    make.die("A-3", of=make.stock("brass CuZn37"))
    assert codes(client, q="hinge") == ["A-1"]
    assert codes(client, q="p-a-2") == ["A-2"], "the part's number finds the die"
    assert codes(client, q="stainless") == ["A-2"], "the family of its stock finds it"
    assert codes(client, q="brass CuZn37") == ["A-3"]
    Die.objects.filter(code="A-1").update(usual_press=make.press("P7"))
    assert codes(client, q="p7") == ["A-1"]
    taps = re.findall(r">([\w ]+?) <b>(\d+)</b></a>", page(client, "diestore:dies", q="A-", status="stored"))
    assert {words: int(count) for words, count in taps} == {
        "all": 3, "in service": 2, "in repair": 0, "stored": 1, "retired": 0
    }  # fmt: skip
    assert codes(client, status="stored") == ["A-2"]
    assert codes(client, q="nothing like it") == []
    assert "No die matches" in page(client, "diestore:dies", q="nothing like it")


def test_plants_are_asked_for_only_where_there_are_two(as_role):
    client, die = as_role("lead"), make.die("A-1")
    assert "Plant" not in page(client, "diestore:dies")
    other = Plant.objects.create(code="annexe")
    Die.objects.create(plant=other, code="A-9", usual_stock=die.usual_stock, strokes_per_minute=60)
    assert codes(client, plant=other.pk) == ["A-9"]


@pytest.mark.parametrize("asked", ["0", "-3", "abc", "7", "999999999999999999999", "1e9", ""])
def test_pages_and_sizes_that_nobody_offers_are_answered_with_the_usual(as_role, asked):
    client = as_role("lead")
    for n in range(30):
        make.die(f"A-{n:02d}")
    assert len(codes(client, per_page=asked)) == 25
    assert len(codes(client, page=asked)) in (5, 25)
    assert len(codes(client, per_page="50")) == 30
    assert codes(client, page="2") == [f"A-{n}" for n in range(25, 30)]


def test_a_label_leads_to_its_die(as_role):
    client, die = as_role("setter"), make.die("H-7/2")
    assert client.get("/d/h-7%2F2/")["Location"] == reverse("diestore:die", args=[die.pk])
    assert client.get("/d/h-7&sort=-code/")["Location"] == "/find/?q=h-7%26sort%3D-code"
    other = Plant.objects.create(code="annexe")
    Die.objects.create(plant=other, code="H-7/2", usual_stock=die.usual_stock, strokes_per_minute=60)
    assert client.get("/d/H-7%2F2/")["Location"] == "/find/?q=H-7%2F2", "two plants: the list shows both"


def test_the_words_and_cautions_stand_on_their_page(as_role):
    said = page(as_role("sales"), "diestore:words")
    for letter in words.by_letter().values():
        for word in letter:
            assert f"<dt>{escape(word.term)}</dt>" in said
    for caution in cautions.CAUTIONS.values():
        assert escape(caution.title) in said
    assert escape(cautions.FIRST) in said
    for there in re.findall(r'href="#([^"]+)"', said):
        assert f'id="{there}"' in said, f"#{there} leads nowhere"


@pytest.mark.parametrize("role", ["setter", "sales"])
def test_my_settings_are_kept(as_role, role):
    client = as_role(role)
    assert client.post(reverse("diestore:settings"), {"units": "inch", "look": "dark", "person": ""}).status_code == 302
    assert UserSettings.objects.get().units == "inch"
    assert 'data-theme="dark"' in page(client, "diestore:words")
    client.post(reverse("diestore:settings"), {"units": "inch", "look": "", "person": ""})
    assert "data-theme" not in page(client, "diestore:words")
    refused = client.post(reverse("diestore:settings"), {"units": "cubits", "look": "puce", "person": "999"})
    assert refused.status_code == 200 and as_read(refused).count('class="wrong"') == 3
    assert UserSettings.objects.get().units == "inch"


def test_sign_in_and_out(client):
    make.user("lead", "ann")
    answer = client.post(reverse("diestore:sign_in"), {"username": "ann", "password": "not a real password"})
    assert answer.status_code == 302 and answer["Location"] == reverse("reports:today")
    said = page(client, "reports:today")
    assert re.search(r">ann</a>\s+\(lead\)", said), "who is signed in, and as what"
    assert client.get(reverse("diestore:sign_out")).status_code == 405, "an address alone signs nobody out"
    client.post(reverse("diestore:sign_out"))
    assert client.get(reverse("reports:today")).status_code == 302
    wrong = client.post(reverse("diestore:sign_in"), {"username": "ann", "password": "wrong"})
    assert wrong.status_code == 200 and "correct username and password" in as_read(wrong)


def test_sign_in_leads_nowhere_outside(client):
    make.user("lead", "ann")
    sent = {"username": "ann", "password": "not a real password", "next": "https://elsewhere.invalid/"}
    assert client.post(reverse("diestore:sign_in"), sent)["Location"] == reverse("reports:today")


@pytest.mark.parametrize("name", ["diestore:dies", "diestore:words", "diestore:settings", "reports:today"])
def test_no_page_has_a_script_or_loads_from_elsewhere(as_role, name):
    answer = as_role("lead").get(reverse(name))
    policy, said = answer["Content-Security-Policy"], as_read(answer)
    assert "default-src 'self'" in policy and "script-src" not in policy
    assert not re.search(r"<script(?![^>]*\bsrc=)|\son\w+=|javascript:", said)
    assert not re.search(r"https?://(?!www\.w3\.org/)", said)


def test_what_goes_wrong_is_said_in_plain_words(client, as_role, monkeypatch):
    client = as_role("setter")
    lost = client.get("/dies/999999/")
    assert lost.status_code == 404 and "There is no such page" in as_read(lost)
    kept = client.get("/cost/")
    assert kept.status_code == 403 and "Your role cannot open this page" in as_read(kept)
    strict = client.handler.__class__(enforce_csrf_checks=True)
    client.handler = strict
    stale = client.post(reverse("diestore:settings"), {"units": "inch"})
    assert stale.status_code == 403 and "page was open too long" in as_read(stale)
    client.raise_request_exception = False
    monkeypatch.setattr("diestore.register.queries.dies_for_list", lambda: 1 / 0)
    broken = client.get("/dies/")
    assert broken.status_code == 500 and "Something broke on our side" in as_read(broken)
    for answer in (lost, kept, stale, broken):
        assert "Traceback" not in as_read(answer) and "look.css" in as_read(answer)


def test_only_administrators_and_those_let_in_reach_the_administration(client, as_role):
    for role in roles.ROLES:
        answer = as_role(role).get("/admin/")
        assert answer.status_code == 302, f"{role} is not staff, so the administration asks for another sign-in"
    User.objects.create_superuser("root", password="x")
    client.force_login(User.objects.get(username="root"))
    die = make.die("A-1")
    make.position(die)
    for there in ("", "diestore/die/", f"diestore/die/{die.pk}/change/", f"diestore/die/{die.pk}/history/"):
        assert client.get(f"/admin/{there}").status_code == 200
    for model in ("run", "work", "stop", "reading", "replacement"):
        assert client.get(f"/admin/maintenance/{model}/").status_code == 200
        assert client.get(f"/admin/maintenance/{model}/add/").status_code == 403, "the log is there to read only"


def test_the_strip_shows_what_a_person_may_open(client):
    user = User.objects.create_user("nobody", password="x")
    client.force_login(user)
    assert re.findall(r'<li><a href="[^"]+"[^>]*>(\w[^<]*)</a></li>', page(client, "diestore:words"))[:5] == [
        "Today",
        "Dies due",
        "Dies",
        "Track record",
        "Words",
    ]
    user.user_permissions.add(Permission.objects.get(codename="see_cost"))
    assert ">Cost</a>" in page(client, "diestore:words")
    assert settings.SHOP_NAME in page(client, "diestore:words")
