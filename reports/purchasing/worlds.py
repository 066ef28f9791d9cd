"""Several ways the unknown life of a die may be, so that all its coming intervals are long or short together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .laws import LawRefused, StoredLaw, WeibullLaw

LN_WIDTH_WEIBULL = float(np.log(np.log(10)) - np.log(-np.log(0.9)))  # ln(h at 90 % / h at 10 %) x shape = 3.084
LN_WIDTH_NORMAL = 2.5631  # between the 10 % and the 90 % point, in sd
WORLDS = np.array([-1.2816, -0.5244, 0.0, 0.5244, 1.2816])  # normal, at 10, 30 ... 90 %: equally likely
WORLDS = WORLDS / np.sqrt(np.mean(WORLDS**2))


@dataclass(frozen=True, kw_only=True)
class DieWorlds:
    """laws: of an interval from freshly sharpened, each in an equally likely world.

    ln_sd: how far the worlds lie apart, sd of the logarithm.
    """

    laws: tuple[WeibullLaw, ...]
    ln_sd: float

    @property
    def means(self) -> tuple[float, ...]:
        """Mean interval in each world: eta Gamma(1 + 1 / k)."""
        from math import gamma

        return tuple(law.eta_hits * gamma(1 + 1 / law.shape) for law in self.laws)


def die_worlds(fresh: Mapping[str, float], *, ln_sd: float) -> DieWorlds:
    """Split the forecast of a freshly sharpened die into what differs from one interval to the next and what does not.

    fresh: chance -> strokes, as stored, with 10, 50 and 90 %. ln_sd: how unsure the usual life is, sd of its logarithm.
    With W = ln(h at 90 % / h at 10 %) of the forecast: W^2 = W_within^2 + (2.563 ln_sd)^2. Within a world an interval
    is Weibull with its W_within = 3.084 / shape; the median of world z is that of the forecast times exp(ln_sd z).
    Where ln_sd leaves next to nothing for the interval itself, it is cut so that a third of W stays.
    Limits: widths add in quadrature for normal spreads; for these laws the width of the mixture comes out within some
    hundredths. A Weibull within is a stand-in for the first of several edges with chips and lots.
    Raises LawRefused where the stored forecast is not a law or lacks a level.
    """
    StoredLaw.of(fresh)
    at = {round(float(p), 4): float(h) for p, h in fresh.items()}
    missing = [p for p in (0.1, 0.5, 0.9) if not at.get(p, 0.0) > 0]
    if missing:
        raise LawRefused(f"the forecast of a freshly sharpened die lacks its strokes at {missing[0]:.0%}.")
    if not (np.isfinite(ln_sd) and ln_sd >= 0):
        raise LawRefused(f"an unsureness of {ln_sd:g} cannot be.")
    width = max(float(np.log(at[0.9] / at[0.1])), 1e-3)
    within = max(float(np.sqrt(max(width**2 - (LN_WIDTH_NORMAL * ln_sd) ** 2, 0.0))), width / 3)
    ln_sd = float(np.sqrt(width**2 - within**2)) / LN_WIDTH_NORMAL
    k = LN_WIDTH_WEIBULL / within
    laws = tuple(WeibullLaw.with_median(at[0.5] * float(np.exp(ln_sd * z)), k) for z in WORLDS)
    return DieWorlds(laws=laws, ln_sd=ln_sd)
