"""Files that rows of a history folder name: photos, papers of bills, signed reports, each in a folder of its sort."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from pathlib import Path


def write_files(place: Path, files: Iterable[tuple[str, bytes]], *, ours: str) -> None:
    """Each by its name into `place`, one at a time and whole or not at all.

    ours: what the names of such files look like; those that are there and not among them go, whatever else lies there
    stays. An empty place goes too.
    """
    written = set()
    for name, data in files:
        place.mkdir(exist_ok=True)
        part = place / f"{name}.part"
        part.write_bytes(data)
        os.replace(part, place / name)
        written.add(name)
    if not place.is_dir():
        return
    for path in place.iterdir():
        if path.name not in written and re.fullmatch(ours, path.name):
            path.unlink()
    if not written and not any(place.iterdir()):
        place.rmdir()
