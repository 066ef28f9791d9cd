"""How the apps above hear of changes to the register.

Who saves rows of the register by hand says so with `tell`, inside the same transaction; the administration does. What
rests on those rows, forecasts and kept lists, follows above. A receiver may return a sentence for whoever saved them.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from django.db import models, transaction
from django.dispatch import Signal

_heard: ContextVar[list[str] | None] = ContextVar("heard", default=None)
register_changed = Signal()  # rows: saved just now, or about to be deleted


def tell(*rows: models.Model) -> list[str]:
    """Say that rows were saved, or are about to be deleted. Returns what there is to say about it."""
    answers = register_changed.send(sender=None, rows=rows) if rows else []
    sentences = [sentence for _, sentence in answers if sentence]
    if (heard := _heard.get()) is not None:
        heard += [sentence for sentence in sentences if sentence not in heard]
    return sentences


@contextmanager
def hearing() -> Iterator[list[str]]:
    """What there is to say about the rows that are saved within."""
    heard: list[str] = []
    token = _heard.set(heard)
    try:
        yield heard
    finally:
        _heard.reset(token)


def save(row: models.Model, **values) -> models.Model:
    """Save a row of the register with other values, and say so."""
    with transaction.atomic():
        for name, value in values.items():
            setattr(row, name, value)
        row.save()
        tell(row)
    return row
