"""Which change to which die is worth its money: the next euro."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from .money import MoneyRefused, amount


@dataclass(frozen=True, kw_only=True)
class Gain:
    """One change to one die, over what is still to be made with it.

    sort: what is changed ("gap", "steel", "coating"); changes of one sort on one die shut each other out. extra: money
    that it costs now. is_priced: False where nobody knows what it costs; extra is nought then, and `worth` the most
    that it may cost. worth: present value of all that it saves less what it costs. chance: share of the worlds in which
    that is above nought. saved_a_year: money, of running. Raises MoneyRefused for a chance that is none.
    """

    die: str
    sort: str
    words: str
    extra: Decimal
    worth: Decimal
    chance: float
    saved_a_year: Decimal
    is_priced: bool = True

    def __post_init__(self) -> None:
        amount(self.extra, f"what {self.words} on {self.die} costs")
        amount(self.worth, f"what {self.words} on {self.die} is worth", may_be_negative=True)
        if not 0 <= self.chance <= 1:
            raise MoneyRefused(f"a chance of {self.chance:g} that {self.words} on {self.die} pays; it lies in 0 to 1.")

    @property
    def pays(self) -> bool:
        return self.worth > 0

    @property
    def is_free(self) -> bool:
        return self.is_priced and self.extra == 0


def ranked(gains: Iterable[Gain]) -> list[Gain]:
    """What pays and costs nothing first, then what pays at its price, what has no price, and what does not pay.

    Within each the worth decides, then the chance; equal ones by die and words, so that the order is always the same.
    """
    return sorted(gains, key=lambda g: (_class(g), -g.worth, -g.chance, g.die, g.sort, g.words))


def best_of_each(gains: Iterable[Gain]) -> list[Gain]:
    """Of changes that shut each other out (one die, one sort) the first by rank, ranked."""
    kept: dict[tuple[str, str], Gain] = {}
    for gain in ranked(gains):
        kept.setdefault((gain.die, gain.sort), gain)
    return list(kept.values())


def _class(gain: Gain) -> int:
    if not gain.pays:
        return 3
    return 2 if not gain.is_priced else int(not gain.is_free)
