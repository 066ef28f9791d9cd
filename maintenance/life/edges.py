"""Edges as columns: what `EdgeSpec` says of each, for fleets too large to hold an object for every edge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from .cycles import FAMILIES, EdgeSpec

Array = NDArray[np.float64]
Codes = NDArray[np.int8]

STEEL_NAMES = ("D2", "A2", "M2", "PM", "carbide", "other")  # the usual one first
COATING_NAMES = ("none", "TiN", "TiCN", "AlCrN", "other")
KINDS = (
    "pierce_punch",
    "pilot_pierce_punch",
    "shape_punch",
    "notch_punch",
    "trim_punch",
    "cut_off_punch",
    "semi_pierce_punch",
    "die_button",
    "die_section",
)
_STEEL = {name: i for i, name in enumerate(STEEL_NAMES)}
_COATING = {name: i for i, name in enumerate(COATING_NAMES)}
_FAMILY = {name: i for i, name in enumerate(FAMILIES)}
_KIND = {name: i for i, name in enumerate(KINDS)}


@dataclass(frozen=True, kw_only=True)
class Edges:
    """One row an edge, as in EdgeSpec. steel, coating, family, kind: number in STEEL_NAMES, COATING_NAMES, FAMILIES,
    KINDS (-1: of no kind named there). hardness_above_usual_hrc, gap_pct: not-a-number where not known."""

    die: NDArray[np.int64]
    thickness_mm: Array
    tensile_mpa: Array
    family: Codes
    steel: Codes
    hardness_above_usual_hrc: Array
    coating: Codes
    gap_pct: Array
    lower: NDArray[np.bool_]
    kind: Codes
    stroke_share: Array

    @classmethod
    def of(cls, specs: Sequence[EdgeSpec] | Edges) -> Edges:
        if isinstance(specs, Edges):
            return specs
        unknown = float("nan")
        other_steel, other_coating, other_family = _STEEL["other"], _COATING["other"], _FAMILY["other"]
        hardness = [s.hardness_above_usual_hrc for s in specs]
        gap = [s.gap_pct for s in specs]
        return cls(
            die=np.array([s.die for s in specs], np.int64),
            thickness_mm=np.array([s.thickness_mm for s in specs], float),
            tensile_mpa=np.array([s.tensile_mpa for s in specs], float),
            family=np.array([_FAMILY.get(s.stock_family, other_family) for s in specs], np.int8),
            steel=np.array([_STEEL.get(s.steel or "", other_steel) for s in specs], np.int8),
            hardness_above_usual_hrc=np.array([unknown if v is None else v for v in hardness], float),
            coating=np.array([_COATING.get(s.coating or "", other_coating) for s in specs], np.int8),
            gap_pct=np.array([unknown if v is None else v for v in gap], float),
            lower=np.array([s.side == "lower" for s in specs], bool),
            kind=np.array([_KIND.get(s.kind, -1) for s in specs], np.int8),
            stroke_share=np.array([s.stroke_share for s in specs], float),
        )

    def __len__(self) -> int:
        return len(self.die)

    def as_rows(self) -> Array:
        """All but the die, [edges, columns]."""
        return np.stack([getattr(self, f.name).astype(float) for f in fields(self) if f.name != "die"], axis=1)

    def pick(self, rows: slice | NDArray[np.int64] | NDArray[np.bool_]) -> Edges:
        return Edges(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})
