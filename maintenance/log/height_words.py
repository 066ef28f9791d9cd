"""Heights in words: what puts one right, and how a new piece stands in its group. Pages, forms and the bench sheet say
it alike."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext as _

from diestore import units
from diestore.register.models import Position
from maintenance.policy.height_ledger import Act, Row, Way
from maintenance.policy.heights import HeightError, Lack

from . import heights

NAMED_AT_MOST = 4  # codes in one sentence


def shown(mm: float, system: units.System, *, signed: bool = False) -> str:
    """A height or what it is out by; a minus stands before what is below nought, a plus where signs are asked for."""
    text = units.show(abs(mm), "raised_mm", system)
    if not any(digit in text for digit in "123456789"):
        return text
    return f"{chr(0x2212) if mm < 0 else '+' if signed else ''}{text}"


def named(codes: Iterable[str]) -> str:
    codes = list(codes)
    if len(codes) > NAMED_AT_MOST:
        shown_codes = ", ".join(codes[:NAMED_AT_MOST])
        return _("{shown} and {n} more").format(shown=shown_codes, n=len(codes) - NAMED_AT_MOST)
    if len(codes) < 2:
        return "".join(codes)
    return _("{some} and {last}").format(some=", ".join(codes[:-1]), last=codes[-1])


def way(one: Way, system: units.System, *, alone: bool = False) -> str:
    """What to do. alone: the sentence does not say yet which piece is meant."""
    amount, many = shown(one.mm, system), len(one.codes) > 1
    which = _("each of {codes}").format(codes=named(one.codes)) if many else one.codes[0] if alone else ""
    if one.act is Act.SHIM:
        words = _("shim {amount} under {which}") if which else _("shim {amount}")
    elif one.act is Act.UNSHIM:
        words = _("take {amount} of spacers out from under {which}") if which else _("take {amount} of spacers out")
    else:
        words = _("grind {amount} off {which}") if which else _("grind {amount} off")
    return words.format(amount=amount, which=which)


def of_new_piece(position: Position, system: units.System) -> str:
    """How the piece that went in stands in its group, and what puts it right; nothing where it has none."""
    try:
        row = heights.of_die(position.die).ledger.row(position.code)
    except HeightError as refused:
        return str(refused)
    return "" if row is None or row.seat.in_group is None else _of_row(row, system)


def _of_row(row: Row, system: units.System) -> str:
    code = row.seat.code
    if row.lack is Lack.LENGTH:
        return _("How long the piece in {code} is was never entered: measure it, so that it can be set level.").format(
            code=code
        )
    if row.lack is Lack.SEAT:
        return _(
            "{code} is of another length than its group: type its seat on the die card, then it is compared."
        ).format(code=code)
    if row.out_mm is None:
        return ""
    if not row.is_out or row.way is None:
        return _("{code} stands level with its group.").format(code=code)
    words = _("{code} stands {amount} short of its group: {way}. Nothing is counted as lying under it.")
    if row.out_mm > 0:
        words = _("{code} stands {amount} proud of its group: {way}. Nothing is counted as lying under it.")
    ways = way(row.way, system)
    if row.other is not None:
        ways = _("{one}, or {other}").format(one=ways, other=way(row.other, system))
    return words.format(code=code, amount=shown(abs(row.out_mm), system), way=ways)
