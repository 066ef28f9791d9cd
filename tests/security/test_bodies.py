"""What is sent: too much of it, files, broken pieces. Always a page with a sentence, never an error of ours."""

import os

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from tests import factories as make

pytestmark = pytest.mark.django_db
BIG = settings.DATA_UPLOAD_MAX_MEMORY_SIZE + 1


@pytest.fixture
def strict(client):
    """As in a deployment: an error in a view would be an answer 500 and not raised into the test."""
    client = Client(raise_request_exception=False, enforce_csrf_checks=False)
    client.force_login(make.user("lead"))
    return client


def the_page(answer, status: int, words: str) -> bool:
    text = answer.content.decode()
    return answer.status_code == status and words in text and "look.css" in text and "Traceback" not in text


def test_a_body_too_large_is_refused_with_a_sentence(strict):
    die = make.die()
    for there in ("/settings/", f"/log/stop/?die={die.pk}"):
        answer = strict.post(there, {"note": "x" * BIG})
        assert the_page(answer, 413, "make the text shorter")
        body = "note=" + "x" * BIG
        answer = strict.post(there, body, content_type="application/x-www-form-urlencoded")
        assert the_page(answer, 413, "make the text shorter")
    answer = Client(raise_request_exception=False).post("/sign-in/", {"username": "x" * BIG, "password": "y"})
    assert the_page(answer, 413, "make the text shorter"), "also before anybody is signed in"


def test_too_many_fields_are_refused_with_a_sentence(strict):
    fields = {f"f{n}": "1" for n in range(settings.DATA_UPLOAD_MAX_NUMBER_FIELDS + 1)}
    assert the_page(strict.post("/settings/", fields), 413, "That was too much at once")
    assert the_page(strict.get("/dies/", fields), 413, "That was too much at once")


def test_the_page_of_spreadsheets_takes_a_file_that_never_reaches_the_disk(strict, tmp_path, settings):
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path)
    there = "/books/"
    for size in (10, settings.FILE_UPLOAD_MAX_MEMORY_SIZE + 10):
        answer = strict.post(there, {"file": SimpleUploadedFile("x.pdf", b"%PDF" + b"x" * size)})
        assert answer.status_code == 422 and "no spreadsheet" in answer.content.decode()
        assert os.listdir(tmp_path) == []
    files = {name: SimpleUploadedFile(name, b"x") for name in ("file", "other")}
    assert the_page(strict.post(there, files), 413, "no files")
    big = SimpleUploadedFile("x.csv", b"x" * 9_000_000)
    assert strict.post(there, {"file": big}).status_code == 413
    assert Client().post(there, {"file": SimpleUploadedFile("x.csv", b"a,b")}).status_code == 302


def test_no_other_page_takes_a_file_and_none_reaches_the_disk(strict, tmp_path, settings):
    settings.FILE_UPLOAD_TEMP_DIR = str(tmp_path)
    for size in (10, settings.FILE_UPLOAD_MAX_MEMORY_SIZE + 10):
        for client in (strict, Client(raise_request_exception=False)):
            file = SimpleUploadedFile("x.html", b"<script>" + b"x" * size, content_type="text/html")
            there = "/settings/" if client is strict else "/sign-in/"
            assert the_page(client.post(there, {"look": file}), 413, "no files")
            assert os.listdir(tmp_path) == []


@pytest.mark.parametrize(
    ("content_type", "body"),
    [
        ("multipart/form-data", b"no boundary"),
        ("multipart/form-data; boundary=x", b"--x\r\nContent-Disposition: form-data; name="),
        ("multipart/form-data; boundary=" + "x" * 300, b"--x--"),
        ("multipart/form-data; boundary=x", b'--x\r\nContent-Disposition: form-data; name="look"\r\n'
         b"Content-Transfer-Encoding: base64\r\n\r\n%%%\r\n--x--"),
        ("application/x-www-form-urlencoded; charset=utf-16", b"look=dark"),
        ("application/x-www-form-urlencoded; charset=nonsense", b"look=dark"),
        ("application/x-www-form-urlencoded", b"look=%ff%fe%00"),
        ("application/json", b"{"),
        ("", b"look=dark"),
        ("text/html; charset=\xff".encode("latin-1").decode("latin-1"), b""),
    ],
)  # fmt: skip
def test_broken_bodies_break_nothing(strict, content_type, body):
    for there in ("/settings/", "/sign-in/", f"/log/stop/?die={make.die().pk}"):
        answer = strict.generic("POST", there, body, content_type=content_type)
        assert answer.status_code < 500


def test_a_host_that_is_not_ours_is_refused_in_our_words():
    answer = Client(raise_request_exception=False).get("/sign-in/", HTTP_HOST="elsewhere.invalid")
    assert the_page(answer, 400, "That request could not be read")


@pytest.mark.parametrize(
    "path",
    ["/%00", "/dies/1/%00", "/d/%ff/", "/d/%00/", "/../../etc/passwd", "/dies/٣/",
     "/d/" + "x" * 3_000 + "/", "/static/../diestore/settings.py", "/static/%2e%2e/settings.py", "/.secret-key",
     "/static/diestore/%00"],
)  # fmt: skip
def test_odd_addresses_are_pages_that_are_not_there(strict, path):
    answer = strict.get(path)
    assert answer.status_code in (302, 400, 404)
    if answer.status_code == 302:
        assert answer["Location"].startswith(("/dies/", "/d/", "/find/?q="))


def test_an_address_that_is_not_asked_for_in_that_way_says_so(strict):
    answer = strict.get("/sign-out/")
    assert the_page(answer, 405, "This address takes a form, not a visit")
    assert int(answer["Content-Length"]) == len(answer.content), "else a server sends no word of it"
    answer = strict.post("/due/", {"q": "x"})
    assert the_page(answer, 405, "Nothing was saved or changed") and "GET" in answer["Allow"]
    assert strict.head("/sign-out/").content == b""


def test_a_body_of_no_boundary_is_answered_at_an_address_that_is_none():
    client = Client(raise_request_exception=False, enforce_csrf_checks=True)
    client.force_login(make.user("lead"))
    client.cookies["csrftoken"] = "t" * 32
    for there, status, words in (("/nowhere/", 404, "no such page"), ("/settings/", 400, "")):
        answer = client.generic("POST", there, b"{}", content_type="multipart/form-data")
        assert answer.status_code == status and words in answer.content.decode().casefold(), there
