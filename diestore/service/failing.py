"""What is done row by row, so that one row that cannot be worked out takes no list and no night from the others."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import TypeVar

from django.core.exceptions import PermissionDenied
from django.db import DatabaseError, InterfaceError
from django.http import Http404

logger = logging.getLogger(__name__)
Made = TypeVar("Made")
SHOWN = 120  # letters of what an error says
# What is about the whole request or the database, and would be wrong for every row alike.
NOT_OF_A_ROW = (DatabaseError, InterfaceError, Http404, PermissionDenied, MemoryError)


def attempt(work: Callable[[], Made], otherwise: Callable[[str], Made], *, what: str) -> Made:
    """What the work gives; where it fails, what stands for it, told the sentence that a page shows in its place.

    what: the thing, as the log names it; there the traceback is.
    """
    try:
        return work()
    except NOT_OF_A_ROW:
        raise
    except Exception as error:
        logger.exception("%s could not be worked out", what)
        return otherwise(sentence_of(error))


def sentence_of(error: Exception) -> str:
    said = (str(error).strip().splitlines() or [""])[0][:SHOWN].rstrip(".")
    named = f"{type(error).__name__}, {said}" if said else type(error).__name__
    return f"It could not be worked out: {named}. Tell the administrator."
