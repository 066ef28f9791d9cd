"""PURE. The pieces of a spare as pegs on a shelf: filled here, outlined on order, a line at what is needed."""

from __future__ import annotations

from dataclasses import dataclass

from diestore.drawing import paths
from diestore.texts import gettext as _

PITCH, WIDE, HIGH, LEFT, TOP = 9.0, 6.0, 14.0, 2.0, 3.0
MOST = 14  # pegs that fit; of more, each stands for several


@dataclass(frozen=True)
class Pegs:
    """here, coming: paths of the pegs. needed: where the line of what is needed before delivery stands, None where that
    is not known. each: the pieces that a peg stands for."""

    width: float
    here: str
    coming: str
    needed: float | None
    each: int
    words: str


def laid_out(here: int, coming: int, needed: int | None) -> Pegs:
    """Below nought nothing lies there; a line beyond the last peg has its place too."""
    here, coming = max(here, 0), max(coming, 0)
    each = -(-max(here + coming, needed or 0, 1) // MOST)
    whole, also = -(-here // each), -(-coming // each)
    pegs = [f"M{paths.place(LEFT + PITCH * n)} {TOP}h{WIDE}v{HIGH}h-{WIDE}z" for n in range(whole + also)]
    words = _("{here:,} here, {coming:,} on order").format(here=here, coming=coming)
    if needed is not None:
        words += "; " + _("{needed:,} needed before an order arrives (9 in 10 at most)").format(needed=needed)
    if each > 1:
        words += "; " + _("each peg stands for {each:,}").format(each=each)
    return Pegs(
        width=LEFT * 2 + PITCH * MOST,
        here="".join(pegs[:whole]),
        coming="".join(pegs[whole:]),
        needed=None if needed is None else LEFT + PITCH * needed / each - (PITCH - WIDE) / 2,
        each=each,
        words=words,
    )
