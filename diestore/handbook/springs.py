"""PURE. Helical compression springs of round wire, and what die springs (ISO 10243) allow.

Lengths in mm, forces in N, rates in N/mm, stresses in MPa. Close-coiled theory, as in every machine design text (e.g.
T. H. Wentzell, Machine Design, ch. 8; Sadhu Singh, Machine Design-I, ch. 8): k = G d^4 / (8 D^3 n).

Die springs are of rectangular or oval wire: this formula is not for them; take the maker's rate. Their rate usually
lies within 10 % of the printed one, and force, deflection and life are three of which two can be chosen (MetalForming,
Feb 2017, p. 25). Colours mean different loads in ISO, JIS and US series: a colour means nothing without its standard.

A compressed spring can kill. Release it as the maker says, with a holding fixture, before anything is loosened.
"""

from __future__ import annotations

import math
import numbers
from dataclasses import dataclass

from .sources import FROM_MEMORY, Span

# Shear modulus in MPa by sort of wire. EN 13906-1 for the one end; the other is what design tables print by grade:
# 80,500 for patented carbon wire, 78,500 for Mn-Cr-V and Si-Cr wire, 68,500 for Cr-Ni stainless wire. Worked examples
# in textbooks take 84,000, which makes a spring 3 to 7 % stiffer than it is.
SHEAR_MODULUS_MPA: dict[str, Span] = {
    "patented, cold-drawn (EN 10270-1)": Span(
        low=80_500, high=81_500, source="81,500: EN 13906-1, and printed for EN 10270-1 wire by a spring maker"
    ),
    "oil-tempered, Cr-V and Si-Cr (EN 10270-2)": Span(
        low=78_500, high=79_500, source=f"79,500: EN 13906-1, {FROM_MEMORY}; 78,500: design tables"
    ),
    "stainless, 1.4310 (EN 10270-3)": Span(
        low=68_500, high=70_000, source=f"70,000: EN 13906-1, {FROM_MEMORY}; 68,500: design tables"
    ),
}
RATE_TOLERANCE = 0.10  # MetalForming, Feb 2017, p. 25; 3 to 5 % costs extra there


class SpringError(ValueError):
    """A figure that no spring has; the message is one sentence."""


def _positive(what: str, value: float) -> float:
    if isinstance(value, bool) or not isinstance(value, numbers.Real) or not math.isfinite(value) or value <= 0:
        raise SpringError(f"The {what} must be above nought, not {value!r}.")
    return value


@dataclass(frozen=True, kw_only=True)
class RoundWireSpring:
    """A helical compression spring of round wire. mean_mm: middle of wire to middle of wire.

    shear_modulus_mpa: by the sort of wire, see `SHEAR_MODULUS_MPA`; it is not guessed.
    """

    wire_mm: float
    mean_mm: float
    active_coils: float
    shear_modulus_mpa: float

    def __post_init__(self) -> None:
        for what in ("wire_mm", "mean_mm", "active_coils", "shear_modulus_mpa"):
            _positive(what, getattr(self, what))
        if self.mean_mm <= self.wire_mm:
            raise SpringError(f"Wire of {self.wire_mm:g} mm cannot be coiled to {self.mean_mm:g} mm.")

    @property
    def rate_n_mm(self) -> float:
        """k = G d^4 / (8 D^3 n). True division throughout: a whole-number division here once printed 16.0 for 16.2."""
        return self.shear_modulus_mpa * self.wire_mm**4 / (8 * self.mean_mm**3 * self.active_coils)

    @property
    def index(self) -> float:
        return self.mean_mm / self.wire_mm

    def load_n(self, deflection_mm: float) -> float:
        return self.rate_n_mm * _positive("deflection", deflection_mm)

    def deflection_mm(self, load_n: float) -> float:
        return _positive("load", load_n) / self.rate_n_mm

    def stress_mpa(self, load_n: float) -> float:
        """Shear stress with Wahl's factor: K 8 F D / (pi d^3)."""
        return wahl_factor(self.index) * 8 * _positive("load", load_n) * self.mean_mm / (math.pi * self.wire_mm**3)


def wahl_factor(index: float) -> float:
    """(4C - 1) / (4C - 4) + 0.615 / C, with C = D / d above 1."""
    if not _positive("index", index) > 1:
        raise SpringError(f"A spring index of {index:g} is none.")
    return (4 * index - 1) / (4 * index - 4) + 0.615 / index


def wire_for_stress_mm(*, load_n: float, index: float, stress_mpa: float) -> float:
    """Wire for a load and an allowed shear stress, at a given index: d = sqrt(K 8 F C / (pi tau))."""
    top = wahl_factor(index) * 8 * _positive("load", load_n) * index
    return math.sqrt(top / (math.pi * _positive("stress", stress_mpa)))


def active_coils_for(*, wire_mm: float, mean_mm: float, rate_n_mm: float, shear_modulus_mpa: float) -> float:
    """n = G d^4 / (8 D^3 k)."""
    one = RoundWireSpring(wire_mm=wire_mm, mean_mm=mean_mm, active_coils=1, shear_modulus_mpa=shear_modulus_mpa)
    return one.rate_n_mm / _positive("rate", rate_n_mm)


# --- die springs ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class LoadClass:
    """A class of die spring in one standard. Shares of the free length: for long life, and at most."""

    standard: str
    colour: str
    load: str
    long_life: float
    at_most: float
    source: str

    def long_life_mm(self, free_mm: float) -> float:
        return self.long_life * _positive("free length", free_mm)

    def at_most_mm(self, free_mm: float) -> float:
        return self.at_most * _positive("free length", free_mm)


_CATALOGUES = f"spring catalogues based on ISO 10243, {FROM_MEMORY}"
_CLASSES = {
    (made.standard, made.colour): made
    for made in (
        LoadClass(standard="ISO 10243", colour=colour, load=load, long_life=long, at_most=most, source=_CATALOGUES)
        for colour, load, long, most in (
            ("green", "light", 0.25, 0.40),
            ("blue", "medium", 0.25, 0.375),
            ("red", "heavy", 0.20, 0.30),
            ("yellow", "extra heavy", 0.17, 0.25),
        )
    )
}


def load_class(standard: str, colour: str) -> LoadClass:
    """What a colour means in its standard. Only ISO 10243 is held.

    Raises SpringError for a colour without standard, another standard, or another colour: nothing is guessed.
    """
    if not standard.strip():
        raise SpringError(
            f"A {colour.strip()[:20]} spring means nothing without its standard: colours differ by series."
        )
    plain = "".join(standard.upper().split()).partition(":")[0]
    spring_class = _CLASSES.get(("ISO 10243" if plain in ("ISO10243", "ISO") else plain, colour.strip().lower()))
    if spring_class is None:
        raise SpringError(
            f"{colour.strip()[:20]!r} in {standard.strip()[:30]!r} is not in the handbook; take the maker's table."
        )
    return spring_class


@dataclass(frozen=True, kw_only=True)
class FittedSpring:
    """A coil die spring as it sits: fitted_mm long in the open die, travel_mm shorter in the closed one.

    rate_n_mm: as its maker prints it; within RATE_TOLERANCE of it unless a closer one was bought. load_class: where its
    standard and colour are known. Raises SpringError for a spring that is longer than free, or pressed to nothing.
    """

    rate_n_mm: float
    free_mm: float
    fitted_mm: float
    travel_mm: float
    load_class: LoadClass | None = None

    def __post_init__(self) -> None:
        for what in ("rate_n_mm", "free_mm", "fitted_mm"):
            _positive(what.rsplit("_", 1)[0].replace("_", " "), getattr(self, what))
        if not (math.isfinite(self.travel_mm) and self.travel_mm >= 0):
            raise SpringError(f"A travel of {self.travel_mm!r} mm is none.")
        if self.fitted_mm > self.free_mm:
            raise SpringError("It would sit loose: its length in the open die is more than its free length.")
        if self.closed_mm <= 0:
            raise SpringError("Its travel is longer than the spring in the open die.")

    @property
    def closed_mm(self) -> float:
        return self.fitted_mm - self.travel_mm

    @property
    def pressed_mm(self) -> float:
        """By how much it is shorter than free in the closed die."""
        return self.free_mm - self.closed_mm

    @property
    def share(self) -> float:
        return self.pressed_mm / self.free_mm

    def _force(self, pressed_mm: float) -> Span:
        middle = self.rate_n_mm * pressed_mm
        return Span(
            low=middle * (1 - RATE_TOLERANCE), high=middle * (1 + RATE_TOLERANCE),
            source="rate times what it is pressed by, within 10 % as rates usually are (MetalForming, Feb 2017, p. 25)",
        )  # fmt: skip

    @property
    def preload_n(self) -> Span:
        """In the open die."""
        return self._force(self.free_mm - self.fitted_mm)

    @property
    def closed_n(self) -> Span:
        return self._force(self.pressed_mm)

    @property
    def left_mm(self) -> float | None:
        """What it may still be pressed by; below nought it is over its travel. None where its class is not known."""
        return None if self.load_class is None else self.load_class.at_most_mm(self.free_mm) - self.pressed_mm

    @property
    def is_over(self) -> bool:
        return self.left_mm is not None and self.left_mm < -1e-9

    @property
    def lasts(self) -> bool | None:
        """Whether it is pressed by no more than is usual for a long life."""
        return None if self.load_class is None else self.pressed_mm <= self.load_class.long_life_mm(self.free_mm) + 1e-9


@dataclass(frozen=True, kw_only=True)
class MeasuredForce:
    """The force of a coil spring on a tester, at the length it had there. rate_n_mm, free_mm: as its maker prints them.

    A force without its length says nothing of a spring. Raises SpringError where it was not pressed at that length.
    """

    force_n: float
    length_mm: float
    rate_n_mm: float
    free_mm: float

    def __post_init__(self) -> None:
        for what in ("force_n", "length_mm", "rate_n_mm", "free_mm"):
            _positive(what.rsplit("_", 1)[0].replace("_", " "), getattr(self, what))
        if self.length_mm >= self.free_mm:
            raise SpringError("At that length it is not pressed: its free length is no more.")

    @property
    def expected_n(self) -> Span:
        """Rate x (free length - length), within RATE_TOLERANCE."""
        middle = self.rate_n_mm * (self.free_mm - self.length_mm)
        return Span(
            low=middle * (1 - RATE_TOLERANCE), high=middle * (1 + RATE_TOLERANCE),
            source="rate x (free length - length), within 10 % as rates usually are (MetalForming, Feb 2017, p. 25)",
        )  # fmt: skip

    @property
    def by(self) -> float:
        """Share by which it is more than the middle of what is expected; below nought where it is less."""
        return self.force_n / self.expected_n.middle - 1

    @property
    def is_weak(self) -> bool:
        return self.force_n < self.expected_n.low

    @property
    def is_strong(self) -> bool:
        """More than its rate gives: another spring, or another length than was typed."""
        return self.force_n > self.expected_n.high

    def at_n(self, length_mm: float) -> float:
        """What it has at another length, by its rate from what was measured; none where it is not pressed there."""
        return max(self.force_n + self.rate_n_mm * (self.length_mm - length_mm), 0.0)


def class_of(text: str) -> LoadClass | None:
    """From words, standard and colour, "ISO 10243 red"; None for no words. Raises SpringError for a colour alone."""
    words = text.split()
    return load_class(" ".join(words[:-1]), words[-1]) if words else None
