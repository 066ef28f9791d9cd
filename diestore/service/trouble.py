"""What a command says where the machine is in its way: a database that is gone, a file or a setting that cannot be."""

from __future__ import annotations

from django.core.exceptions import ImproperlyConfigured
from django.db import DatabaseError, InterfaceError, OperationalError

from diestore.database_url import DatabaseAddressError

NO_TABLE = ("no such table", "no such column", "does not exist")
SHOWN = 200  # letters of what a server or a system says


def sentence_of(error: BaseException) -> str:
    """The sentence, or '' where it is an error of ours, whose traceback is wanted."""
    said = (str(error).strip().splitlines() or [type(error).__name__])[0][:SHOWN]
    if isinstance(error, DatabaseError | InterfaceError) and any(words in said for words in NO_TABLE):
        return f"The tables in this database are not those of this version: run manage.py migrate first. ({said})"
    if isinstance(error, OperationalError | InterfaceError):
        return f"The database does not answer, or cannot do it now: {said}. Look at it, then run this once more."
    if isinstance(error, DatabaseAddressError | ImproperlyConfigured):
        return str(error)
    if isinstance(error, OSError) and error.strerror:
        name = str(error.filename or "")
        named = f" ({name if len(name) <= 80 else name[:80] + '...'})" if name else ""
        return f"The system refuses it: {error.strerror}{named}."
    return ""
