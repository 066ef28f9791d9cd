"""The wear model: what stock, gap, steel, hardness and coating do to the interval before any record speaks.

ln eta = x'b, eta the scale of a Weibull life in units of 100,000 hits. Values and their spread are from memory and
toolroom lore, wide on purpose: the shop's record moves them. That thickness and strength enter with exponent -1 is
Archard's law (wear volume goes with load times sliding distance over hardness): sliding per stroke goes with thickness,
pressure on the edge with strength.
J. F. Archard, Contact and rubbing of flat surfaces, J. Appl. Phys. 24 (1953) 981-988 (form of the law; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .cycles import FAMILIES, EdgeSpec
from .edges import COATING_NAMES, KINDS, STEEL_NAMES, Edges

STEELS = {"A2": (-0.2, 0.4), "M2": (0.3, 0.4), "PM": (0.8, 0.5), "carbide": (1.8, 0.6)}  # against D2
COATINGS = {"TiN": (0.35, 0.3), "TiCN": (0.4, 0.3), "AlCrN": (0.5, 0.3)}  # against none
USUAL_STEEL, USUAL_COATING = STEEL_NAMES[0], COATING_NAMES[0]

_COLUMNS: list[tuple[str, float, float]] = [
    ("constant", float(np.log(1.5)), 1.0),
    ("ln thickness in mm", -1.0, 0.5),
    ("ln (tensile / 400 MPa)", -1.0, 0.5),
    ("HRC above the grade's usual", 0.03, 0.03),
    ("ln squared (gap / 10 %)", -0.8, 0.6),
    *((f"ln (gap / 10 %) in {family}", 0.0, 0.4) for family in FAMILIES),
    *((f"{steel} against D2", mean, sd) for steel, (mean, sd) in STEELS.items()),
    ("another steel", 0.0, 0.5),
    *((f"{coating} against none", mean, sd) for coating, (mean, sd) in COATINGS.items()),
    ("another coating", 0.0, 0.5),
    *((f"kind {kind}", 0.0, 0.15) for kind in KINDS),
    ("lower side against the punch", float(np.log(2.5)), 0.4),  # common practice: a half to a third as often
]
NAMES: tuple[str, ...] = tuple(name for name, _, _ in _COLUMNS)
MEAN: NDArray[np.float64] = np.array([mean for _, mean, _ in _COLUMNS])
SD: NDArray[np.float64] = np.array([sd for _, _, sd in _COLUMNS])
_AT = {name: i for i, name in enumerate(NAMES)}
_FIRST_STEEL, _FIRST_COATING = _AT[f"{STEEL_NAMES[1]} against D2"], _AT[f"{COATING_NAMES[1]} against none"]
_FIRST_KIND = _AT[f"kind {KINDS[0]}"]

LN_K = (float(np.log(2.5)), 0.4)  # shape of the life to dullness
TU_HALF_NORMAL, TV_HALF_NORMAL = 0.5, 0.4  # spread between dies, and between edges of one die
CHIPS = (0.5, 5.0)  # Gamma(shape, exposure in 100,000 hits)

GAP_AT_LEAST, GAP_AT_MOST = 1.0, 40.0  # % of thickness: beyond these the curve is held, it was never meant for them


def design(specs: Sequence[EdgeSpec] | Edges) -> NDArray[np.float64]:
    """X, float64[edges, p], in the order of NAMES. What is not known stands at the usual value (nought)."""
    edges = Edges.of(specs)
    x = np.zeros((len(edges), len(NAMES)))
    x[:, _AT["constant"]] = 1.0
    x[:, _AT["ln thickness in mm"]] = np.log(edges.thickness_mm)
    x[:, _AT["ln (tensile / 400 MPa)"]] = np.log(edges.tensile_mpa / 400.0)
    hardness = np.clip(edges.hardness_above_usual_hrc, -15.0, 15.0)
    x[:, _AT["HRC above the grade's usual"]] = np.where(np.isnan(hardness), 0.0, hardness)
    told = ~np.isnan(edges.gap_pct)
    gap = np.log(np.clip(np.where(told, edges.gap_pct, 10.0), GAP_AT_LEAST, GAP_AT_MOST) / 10.0)
    x[:, _AT["ln squared (gap / 10 %)"]] = gap**2
    x[np.arange(len(edges)), _AT[f"ln (gap / 10 %) in {FAMILIES[0]}"] + edges.family] = gap
    for code, first in ((edges.steel, _FIRST_STEEL), (edges.coating, _FIRST_COATING), (edges.kind + 1, _FIRST_KIND)):
        has = np.flatnonzero(code > 0)  # the usual one has no column
        x[has, first + code[has] - 1] = 1.0
    x[edges.lower, _AT["lower side against the punch"]] = 1.0
    return x


def design_row(spec: EdgeSpec) -> NDArray[np.float64]:
    """x of one edge, float64[p]."""
    return design([spec])[0]
