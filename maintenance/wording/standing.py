"""PURE. How an edge or a die stands, in a word and a mark."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from diestore.texts import pgettext, pgettext_noop


@dataclass(frozen=True)
class Standing:
    """How an edge or a die stands: a word, and the class that its mark carries."""

    word: str
    css: str

    @property
    def label(self) -> str:
        """The word in the language of whoever looks; `word` itself is the key, and what programs read."""
        return pgettext(OF_STANDING, self.word)


OF_STANDING = "standing"  # the context of these words in the catalogues


HELD, DAMAGED, BURRS, WORN, SHARPEN, STOP, CLOSE, RUNS, UNKNOWN = (
    Standing(pgettext_noop("standing", "On hold"), "short"),
    Standing(pgettext_noop("standing", "Damaged"), "short"),
    Standing(pgettext_noop("standing", "Burr too high"), "short"),
    Standing(pgettext_noop("standing", "Past its limit"), "short"),
    Standing(pgettext_noop("standing", "Sharpen first"), "short"),
    Standing(pgettext_noop("standing", "Plan a stop"), "close"),
    Standing(pgettext_noop("standing", "Borderline"), "close"),
    Standing(pgettext_noop("standing", "Runs"), ""),
    Standing(pgettext_noop("standing", "Not known"), "unknown"),
)


def standing(
    *,
    chance_of_order: float | None,
    share_left: float | None,
    unrun: bool = False,
    pays: bool | None = None,
    stop_inside: bool = False,
) -> Standing:
    """With an open order: sharpen first where that pays; where nobody knows, under an even chance. Where it does not
    pay, a likely stop is to be planned for. Borderline under 4 in 5. Without an order, what is left decides.

    chance_of_order: of finishing it without a dull or chipped edge, 0 to 1, of the die or of one edge. share_left: of
    the usual hits to dull, 0 to 1; of a die, that of the edge that limits it. None where it is not known. unrun:
    nothing has run on it since it was sharpened. Sharpening it again would not help: the order needs a stop inside.
    pays: whether sharpening before the order costs less than running on, in the long run; None: not worked out.
    stop_inside: where running on is cheaper with a stop inside the order.
    """
    if chance_of_order is not None:
        first = chance_of_order < 0.5 if pays is None else pays
        likely = stop_inside or chance_of_order < 0.5
        told = SHARPEN if first else STOP if likely else CLOSE if chance_of_order < 0.8 else RUNS
    elif share_left is None:
        return UNKNOWN
    else:
        told = SHARPEN if share_left < 0.12 else CLOSE if share_left < 0.3 else RUNS
    return STOP if unrun and told is SHARPEN else told


def worst(several: Iterable[Standing]) -> Standing:
    """The one of several by which a die is to be judged; what is not known says least."""
    return min(several, key=_WORST_FIRST.index)


def limiting(own: Standing, of_die: Standing) -> Standing:
    """How the edge that limits a die stands: never better than the die.

    Many edges, each likely to last, make a die that is not. So no page calls a die due and all its edges fit to run.
    """
    return worst([own, of_die])


_WORST_FIRST = (HELD, DAMAGED, BURRS, WORN, SHARPEN, STOP, CLOSE, RUNS, UNKNOWN)
