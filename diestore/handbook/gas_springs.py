"""PURE. Gas springs: force at a pressure, and what warmth does to it. Pressures in MPa above the air, forces in N.

With the rod out the gas pushes on the rod's section alone, so force and pressure keep their ratio; pressed in, the gas
has less room and the force rises, by its maker's table. Pressure goes with the absolute temperature at the same volume,
worked out with the pressure as the gauge shows it, which is near enough at 20 bar and more.

A gas spring is under pressure. It is opened, let out and charged only by people who are qualified for it and as its
maker says, with nitrogen and never above the pressure on it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .sources import COMMON_PRACTICE

KIND = "gas_spring"
PRESSURE = "gas pressure"  # as readings call it
LOST_AT_MOST = 0.10  # of the pressure that it was charged to
LOST_SOURCE = COMMON_PRACTICE
_NOUGHT_K = 273.15


class GasError(ValueError):
    """A figure that no gas spring has; the message is one sentence."""


def _positive(what: str, value: float) -> float:
    if isinstance(value, bool) or not math.isfinite(value) or value <= 0:
        raise GasError(f"The {what} of a gas spring must be above nought, not {value!r}.")
    return value


@dataclass(frozen=True, kw_only=True)
class GasSpring:
    """force_n: with the rod out, as its maker prints it for a pressure of charge_mpa."""

    force_n: float
    charge_mpa: float

    def __post_init__(self) -> None:
        _positive("force", self.force_n)
        _positive("pressure", self.charge_mpa)

    def at_n(self, pressure_mpa: float) -> float:
        """Its force with the rod out at another pressure: F = F0 p / p0."""
        if isinstance(pressure_mpa, bool) or not math.isfinite(pressure_mpa) or pressure_mpa < 0:
            raise GasError(f"A gas pressure of {pressure_mpa!r} is none.")
        return self.force_n * pressure_mpa / self.charge_mpa

    def lost(self, pressure_mpa: float) -> float:
        """Share of its force that is gone at that pressure; below nought where it is charged higher."""
        return 1 - self.at_n(pressure_mpa) / self.force_n


def warmer(value: float, *, from_c: float, to_c: float) -> float:
    """Pressure or force of the same gas at another temperature: times (to + 273.15) / (from + 273.15)."""
    if not (math.isfinite(from_c) and math.isfinite(to_c) and min(from_c, to_c) > -_NOUGHT_K):
        raise GasError("Type temperatures in degrees Celsius.")
    return value * (to_c + _NOUGHT_K) / (from_c + _NOUGHT_K)
