"""Photos as people send and see them, and a complaint of the press in three taps."""

from __future__ import annotations

import io
import re
import tracemalloc
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from diestore.access.models import PlantOfUser
from diestore.pictures import drawn_anew
from diestore.register.models import Plant
from maintenance.log import photos, write
from maintenance.models import BenchWork, Incident, Photo, Stop
from tests import factories as make
from tests.history.pictured import drawn

from .as_read import as_read
from .bench_browser import address, page, sent

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("no_forecasts")]


def file(data: bytes | None = None, name: str = "x.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, drawn("teal", (2_000, 900), "JPEG") if data is None else data)


def stop(client, die, ina, **more):
    url = address("log_stop", die)
    return client.post(url, sent(client.get(url), cause="slug", minutes="5", person=ina.pk) | more)


def small_ones(text: str) -> list[str]:
    return re.findall(r'src="(/photos/[^"]+/small/)"', text)


def test_a_stop_with_its_photo_is_one_form_and_its_picture_stands_beside_it(lead, die, ina):
    shown = page(lead.get(address("log_stop", die)))
    assert 'enctype="multipart/form-data"' in shown and 'accept="image/*"' in shown and "photo.js" in shown
    assert stop(lead, die, ina, photo=file()).status_code == 302
    row, photo = Stop.objects.get(), Photo.objects.get()
    assert (photo.of_sort, photo.of_key, photo.person, photo.plant) == ("stop", row.key, ina, die.plant)
    die_page = reverse("diestore:die", args=[die.pk])
    for where in (reverse("maintenance:entry", args=["stop", row.pk]), address("entries"), die_page):
        assert small_ones(page(lead.get(where))) == [f"/photos/{photo.key}/small/"], where
    for name, longest in (("photo", 1_600), ("photo_small", 320)):
        answer = lead.get(reverse(f"maintenance:{name}", args=[photo.key]))
        assert answer["Content-Type"] == "image/jpeg" and answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Disposition"] == "inline; filename=photo.jpg"
        assert answer["Cache-Control"] == "private, max-age=3600"
        assert max(Image.open(io.BytesIO(answer.content)).size) == longest


def test_a_mishap_takes_one_too_and_any_entry_gets_another_later(lead, die, ina):
    url = address("log_mishap", die)
    answer = lead.post(url, sent(lead.get(url), sort="slug", person=ina.pk) | {"photo": file()}, follow=True)
    assert len(small_ones(page(answer))) == 1
    more = reverse("maintenance:photo_new", args=["incident", Incident.objects.get().pk])
    assert more in page(lead.get(reverse("maintenance:entry", args=["incident", Incident.objects.get().pk])))
    answer = lead.post(more, {"photo": file(drawn("red")), "words": "the slug", "person": ina.pk}, follow=True)
    assert len(small_ones(page(answer))) == 2 and "Photo: the slug" in page(answer)
    assert lead.post(more, {"photo": file(drawn("red")), "person": ina.pk}).status_code == 302
    assert Photo.objects.count() == 2, "the same picture of the same thing is there once"
    assert "Take a photo" in page(lead.post(more, {"person": ina.pk}))
    for n in range(photos.AT_MOST - 2):
        assert lead.post(more, {"photo": file(drawn((n * 9, 0, 0))), "person": ina.pk}).status_code == 302
    assert "12 photos here already" in page(lead.post(more, {"photo": file(drawn("blue")), "person": ina.pk}))


def test_a_photo_of_a_sharpening_is_of_its_set(lead, die, ina):
    works = make.sharpen(die, 3, *die.positions.filter(code__in=("1-A", "3-A")))
    more = reverse("maintenance:photo_new", args=["work", works[1].pk])
    assert lead.post(more, {"photo": file(), "person": ina.pk}).status_code == 302
    for work in works:
        assert len(small_ones(page(lead.get(reverse("maintenance:entry", args=["work", work.pk]))))) == 1


@pytest.mark.parametrize(("data", "said"), [
    (b"<script>alert(1)</script>", "no picture that can be read"), (b"%PDF-1.7", "no picture that can be read"),
    (drawn(kind="GIF"), "no picture that can be read"), (b"x" * 15_000_001, "15.0 MB; 15 MB is the most"),
])  # fmt: skip
def test_what_is_no_photo_is_refused_with_a_sentence_and_nothing_is_half_saved(lead, die, ina, data, said):
    answer = stop(lead, die, ina, photo=file(data, "<script>.html"), note="the slug was bent")
    assert answer.status_code == 422 and said in as_read(answer) and "the slug was bent" in as_read(answer)
    assert not Stop.objects.exists() and not Photo.objects.exists()
    assert "<script>.html" not in answer.content.decode()


def test_forty_megabytes_are_read_past_and_never_held(lead, die, ina):
    data = sent(lead.get(address("log_stop", die)), cause="slug", minutes="5", person=ina.pk)
    head = "".join(f'--x\r\nContent-Disposition: form-data; name="{k}"\r\n\r\n{v}\r\n' for k, v in data.items())
    head += '--x\r\nContent-Disposition: form-data; name="photo"; filename="x.jpg"\r\n\r\n'

    class Body(io.RawIOBase):
        """Forty megabytes that are made as they are read."""

        left, begun = 40_000_000, False

        def read(self, size=-1):
            if not self.begun:
                self.begun = True
                return head.encode()
            size = min(self.left, size if size and size > 0 else 65_536, 65_536)
            self.left -= size
            return b"\xff" * size if size else b""

    tracemalloc.start()
    answer = lead.generic(
        "POST", address("log_stop", die), b"", content_type="multipart/form-data; boundary=x",
        **{"wsgi.input": Body(), "CONTENT_LENGTH": str(len(head) + 40_000_000)},
    )  # fmt: skip
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert answer.status_code in (400, 422) and not Stop.objects.exists()
    assert most < 25_000_000


def test_a_photo_is_struck_out_with_a_reason_and_shown_no_more(lead, die, ina):
    stop(lead, die, ina, photo=file())
    photo, row = Photo.objects.get(), Stop.objects.get()
    entry, strike = (
        reverse("maintenance:entry", args=["stop", row.pk]),
        reverse("maintenance:photo_strike", args=[photo.key]),
    )
    assert strike in page(lead.get(entry))
    assert "Say why it is struck out" in page(lead.post(strike, {"person": ina.pk}))
    assert (
        lead.post(strike, {"person": ina.pk, "reason": "a person is on it"}, follow=True).redirect_chain[0][0] == entry
    )
    assert small_ones(page(lead.get(entry))) == []
    assert lead.get(reverse("maintenance:photo", args=[photo.key])).status_code == 404
    assert lead.get(strike).status_code == 404
    photo = Photo.objects.get()
    assert (photo.struck_by, photo.struck_reason) == (ina, "a person is on it") and photo.jpeg
    with pytest.raises(TypeError):
        photo.delete()


def test_with_an_entry_that_is_struck_out_its_photos_are_hidden(lead, die, ina):
    stop(lead, die, ina, photo=file())
    row, photo = Stop.objects.get(), Photo.objects.get()
    write.strike_out(by=make.actor(), entry=row, reason="twice")
    for where in (reverse("maintenance:entry", args=["stop", row.pk]), address("entries")):
        assert small_ones(page(lead.get(where))) == []
    for name in ("photo", "photo_small"):
        assert lead.get(reverse(f"maintenance:{name}", args=[photo.key])).status_code == 404
    assert lead.get(reverse("maintenance:photo_new", args=["stop", row.pk])).status_code == 404


def test_a_photo_is_of_a_plant_and_no_other_sees_it(client, die):
    row = write.log_stop(by=make.actor(), die=die, at=make.moment(2), cause="slug", minutes=3)
    photo = photos.add_photo(by=make.actor(), plant=die.plant, of=row, picture=drawn_anew(drawn()))
    for plant, status in ((die.plant, 200), (Plant.objects.create(code="far"), 404)):
        user = make.user("lead", f"lead of {plant}")
        PlantOfUser.objects.create(user=user, plant=plant)
        client.force_login(user)
        for name in ("photo", "photo_small", "photo_strike"):
            assert client.get(reverse(f"maintenance:{name}", args=[photo.key])).status_code == status
    client.logout()
    assert client.get(reverse("maintenance:photo", args=[photo.key])).status_code == 302


# --- a complaint of the press -----------------------------------------------------------------------------------------


def test_a_complaint_is_a_place_a_photo_and_a_word(as_role, die, ina):
    setter = as_role("setter")
    plan = as_read(setter.get(f"{reverse('diestore:die', args=[die.pk])}?complain=1"))
    (there,) = re.findall(r'href="([^"]*complaint[^"]*place=3-A)"', plan)
    assert "place=elsewhere" in plan
    there = unescape(there)
    data = sent(setter.get(there), person=ina.pk) | {"what": "slug", "note": "every tenth", "photo": file()}
    answer = setter.post(there, data, follow=True)
    work = BenchWork.objects.get()
    assert (work.what, work.source, work.state) == ("slug pulled at 3-A", "complaint", "reported")
    assert "slug pulled at 3-A" in as_read(answer) and "every tenth" in work.steps.get(words="every tenth").words
    assert setter.post(there, data | {"photo": file()}).status_code == 302
    assert BenchWork.objects.count() == Photo.objects.count() == 1
    assert work.steps.count() == 2, "sent twice it is said once"
    shown = as_read(setter.get(reverse("maintenance:bench_work", args=[work.pk])))
    assert len(small_ones(shown)) == 1
    assert "slug pulled at 3-A" in as_read(setter.get(there)), "whoever comes next sees that it is known"


def test_somewhere_else_and_something_else_need_words(as_role, die, ina):
    setter = as_role("setter")
    there = f"{reverse('maintenance:complaint')}?die={die.pk}&place=elsewhere"
    data = sent(setter.get(there), person=ina.pk)
    for change, said in (
        ({"what": "other"}, "Say in a few words"),
        ({}, "Tap what is wrong"),
        ({"what": "x"}, "Tap what"),
    ):
        answer = setter.post(there, data | change)
        assert answer.status_code == 422 and said in as_read(answer) and not BenchWork.objects.exists()
    setter.post(there, data | {"what": "other", "note": "the lifter sticks"})
    assert BenchWork.objects.get().what == "the lifter sticks" and BenchWork.objects.get().position is None
    answer = setter.get(reverse("maintenance:complaint"))
    assert "Which die?" in as_read(answer)
    found = setter.get(reverse("maintenance:complaint"), {"die": die.pk, "find": "plan"})
    assert found.url == f"{reverse('diestore:die', args=[die.pk])}?complain=1#plan"
