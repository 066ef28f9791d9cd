"""PURE. Settings kept in a file beside the code, so that they are the same after a restart, a cron job and by hand.

Lines of NAME=value; `#` begins a line that is only read by people; quotes around a value are taken off. What the
environment itself says wins. The form is that of the files which services are started with.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

FILE = "diestore.env"
KNOWN = ("DATABASE_URL", "DIESTORE_", "PORT")


class NotReadable(ValueError):
    """A line of the file that says nothing, in a sentence without its value: it may be a password."""


def read(path: Path) -> dict[str, str]:
    """What the file says; nothing where there is none. Raises NotReadable."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as error:
        raise NotReadable(
            f"{path.name} cannot be read: {getattr(error, 'strerror', None) or 'it is not UTF-8'}."
        ) from None
    told = {}
    for number, line in enumerate(lines, start=1):
        line = line.strip().removeprefix("export ").strip()
        if not line or line.startswith("#"):
            continue
        name, equals, value = line.partition("=")
        name, value = name.strip(), value.strip()
        if not equals or not name.startswith(KNOWN):
            raise NotReadable(
                f"Line {number} of {path.name} is no setting. Write NAME=value, such as DIESTORE_HTTPS=1."
            )
        if len(value) > 1 and value[0] == value[-1] and value[0] in "\"'":
            value = value[1:-1]
        told[name] = value
    return told


def merged(environment: Mapping[str, str], path: Path) -> dict[str, str]:
    """The settings of the file that the environment does not say itself. Raises NotReadable."""
    return {name: value for name, value in read(path).items() if name not in environment}
