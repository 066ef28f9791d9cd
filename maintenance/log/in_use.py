"""The state of a die in the register follows its retirement in the log, and comes back when that is struck out."""

from __future__ import annotations

from diestore.register import actions, amendments
from diestore.register.models import Amendment
from diestore.register.writing import ChangeRefused
from maintenance.models import Retirement

from .rules import EntryRefused, english


def end(row: Retirement, *, by: object) -> None:
    """The die is retired from then on; where it was already, it stays so."""
    if actions.is_retired(row.die):
        return
    try:
        actions.retire(
            by=by, row=row.die, at=row.at, reason=english(lambda: f"By its entry in the log: {row.get_fate_display()}")
        )
    except ChangeRefused as refused:
        raise EntryRefused(str(refused)) from refused


def undo(row: Retirement, *, by: object, reason: str) -> None:
    """The die is as it was before, where nobody changed that since."""
    mine = Amendment.objects.filter(
        table=amendments.table_of(row.die), row_key=amendments.key_of(row.die), sort=Amendment.Sort.RETIRED, at=row.at,
        struck_at=None,
    ).first()  # fmt: skip
    if mine is None:
        return
    try:
        actions.take_back(by=by, amendment=mine, reason=reason)
    except ChangeRefused as refused:
        raise EntryRefused(str(refused)) from refused
