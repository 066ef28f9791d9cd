"""PURE. The table of photos in a history folder. Each picture is a file of its own beside it: photos/KEY.jpg."""

from __future__ import annotations

from .described import Sort, Table
from .described import may as _may
from .described import must as _must

PICTURES = "photos"  # the folder in the folder

PHOTOS = Table(
    file="photos.csv",
    about="Photos of entries and of works on the bench. The picture itself is the file photos/KEY.jpg.",
    same=("key",),
    columns=(
        _must("key", "The photo's own name, and that of its file: letters, digits, - and _ only.", longest=64),
        _must("of", "What it is of.", longest=20,
              choices=("run", "stop", "incident", "work", "replacement", "reading", "setup", "inspection",
                       "benchwork")),
        _must("of_key", "The entry_id of that; of a sharpening its set_key, of a work on the bench its name.",
              longest=160),
        _must("at", "When it came.", Sort.TIME, past=True),
        _may("person", "Who took it.", longest=120),
        _may("sign_in", "The sign-in it was entered under.", longest=150),
        _may("words", "What it shows.", Sort.WORDS, longest=200),
        _may("struck_at", "When it was struck out.", Sort.TIME, past=True),
        _may("struck_by", "Who struck it out.", longest=120),
        _may("struck_reason", "Why it was struck out.", Sort.WORDS, longest=300),
    ),
)  # fmt: skip
PHOTO_TABLES = (PHOTOS,)
