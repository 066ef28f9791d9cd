"""Photos with something in every column, for the round trip."""

from __future__ import annotations

import io

from PIL import Image

from diestore.pictures import drawn_anew
from maintenance.log import photos, write
from maintenance.models import Photo, Stop, Work


def drawn(colour: str = "gray", size: tuple[int, int] = (40, 24), kind: str = "PNG") -> bytes:
    """A file with a picture in it."""
    file = io.BytesIO()
    Image.new("RGB", size, colour).save(file, kind)
    return file.getvalue()


def pictured(*, plant, die, person, user, at) -> None:
    by = write.Actor(person=person, user=user)
    stop = Stop.objects.filter(die=die).first()
    for thing, colour in ((stop, "red"), (Work.objects.filter(position__die=die).exclude(set_key="").first(), "blue")):
        photos.add_photo(by=by, plant=plant, of=thing, picture=drawn_anew(drawn(colour)), words="edge; left", at=at(20))
    struck = Photo.objects.without_pictures().get(of_sort="work")
    photos.strike_photo(by=by, photo=struck, reason="= of another die")
