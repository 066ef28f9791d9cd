"""Log lines: one JSON object a line where asked for, each with the request it belongs to, and no secrets in any."""

from __future__ import annotations

import datetime as dt
import json
import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

# The request or task that is being worked on; "-" between them.
current: ContextVar[str] = ContextVar("current", default="-")

_NAMED = re.compile(
    r"(?i)\b(pass(?:word|wd)?|secret|token|pin|sessionid|csrf\w*|authorization|cookie)"
    r"(['\"]?\s*[=:]\s*)(?:bearer\s+)?('[^']*'|\"[^\"]*\"|[^\s,;&)]+)"
)
_IN_ADDRESS = re.compile(r"(\w+://[^\s:/@]+:)[^\s@/]+@")
_AS_ADDRESS = re.compile(r"(/(?:tools|calendar)/)[^\s/\"'?]{8,}")  # whoever has such an address opens what it shows
_HIDDEN = "(hidden)"


@contextmanager
def working_on(name: str) -> Iterator[None]:
    """Log lines written inside belong to this request or task."""
    before = current.set(name)
    try:
        yield
    finally:
        current.reset(before)


def without_secrets(text: str) -> str:
    """The text without the service's own keys, and without what stands behind a word such as password or token."""
    for secret in _known_secrets():
        text = text.replace(secret, _HIDDEN)
    text = _AS_ADDRESS.sub(rf"\1{_HIDDEN}", text)
    return _IN_ADDRESS.sub(rf"\1{_HIDDEN}@", _NAMED.sub(rf"\1\2{_HIDDEN}", text))


def _known_secrets() -> list[str]:
    from django.conf import settings

    if not settings.configured:
        return []
    known = [
        settings.SECRET_KEY,
        getattr(settings, "MONITOR_KEY", ""),
        *(database.get("PASSWORD", "") for database in settings.DATABASES.values()),
    ]
    return [secret for secret in known if secret and len(secret) > 3]


class Belongs(logging.Filter):
    """Gives each line the request it belongs to."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.belongs_to = current.get()
        return True


class Plain(logging.Formatter):
    """For a terminal: a line to read."""

    def __init__(self) -> None:
        super().__init__("%(levelname)s %(belongs_to)s %(name)s: %(message)s")

    def format(self, record: logging.LogRecord) -> str:
        return without_secrets(super().format(record))


class JsonLines(logging.Formatter):
    """For a collector: one JSON object a line. Of a request only its method, path, status, time and user's number."""

    def format(self, record: logging.LogRecord) -> str:
        line = {
            "at": dt.datetime.fromtimestamp(record.created, dt.UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "request": getattr(record, "belongs_to", "-"),
            "says": without_secrets(record.getMessage()),
        }
        line |= getattr(record, "figures", {})
        if record.exc_info:
            line["error"] = without_secrets(self.formatException(record.exc_info))
        return json.dumps(line, ensure_ascii=False, default=str)
