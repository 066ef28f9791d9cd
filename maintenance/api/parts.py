"""Parts of a list: so many rows, and a cursor that goes on behind the last of them, whatever came in meanwhile."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Callable, Sequence
from typing import Annotated, Any, TypeVar

from ninja import Field
from ninja.errors import HttpError

from .schema import Sent

Row = TypeVar("Row")
NOT_OURS = "This cursor is none that was given. Begin without one, and send each as it came."


class Part(Sent):
    """Which part of a list: cursor is `next` of the part before."""

    limit: Annotated[int, Field(ge=1, le=200)] = 50
    cursor: Annotated[str, Field(min_length=1, max_length=400, pattern=r"^[A-Za-z0-9_=-]+$")] = ""


def cut(rows: Sequence[Row], part: Part, key: Callable[[Row], list[Any]]) -> tuple[list[Row], str | None]:
    """The rows behind the cursor, as many as were asked for, and the cursor of the next part. key: by which they stand
    in order; no two have the same."""
    ordered = sorted(rows, key=key)
    if part.cursor:
        behind = _read(part.cursor)
        try:
            ordered = [row for row in ordered if key(row) > behind]
        except TypeError as error:
            raise HttpError(422, NOT_OURS) from error
    shown = ordered[: part.limit]
    return shown, _written(key(shown[-1])) if len(ordered) > len(shown) else None


def _written(key: list[Any]) -> str:
    return base64.urlsafe_b64encode(json.dumps(key).encode()).decode()


def _read(cursor: str) -> list[Any]:
    try:
        key = json.loads(base64.urlsafe_b64decode(cursor.encode()))
    except (binascii.Error, ValueError, RecursionError) as error:
        raise HttpError(422, NOT_OURS) from error
    if not isinstance(key, list):
        raise HttpError(422, NOT_OURS)
    return key
