"""The chances of dies whose cycles span lots, at given theta, by random walks; writes life_spanned.json beside it.

    python -m tests.authorities.make_life_spanned

Some two minutes on one core. Nothing of the engine's is used: tests/life/dense.py holds the model and the walk.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from tests.life.dense import EDGES, UNIT, SpannedWalk, Theta, invent_spanned

THETAS = {
    "usual": Theta(np.array([0.4, -0.9, 0.8]), 2.8, 0.35, 0.25, 0.35),
    "edges differ": Theta(np.array([0.6, -1.0, 0.9]), 2.0, 0.20, 0.40, 0.20),
    "steep": Theta(np.array([0.4, -0.9, 0.8]), 4.0, 0.50, 0.15, 0.50),
}
CASES = [("usual", 0.4, 1), ("usual", 0.0, 2), ("usual", 1.5, 3), ("edges differ", 0.4, 5), ("steep", 0.4, 4)]
DIES = 3
STROKES = np.round(UNIT * np.geomspace(0.003, 12.0, 120), 0)


def invented(theta: str, rest: float, seed: int) -> list:
    at = THETAS[theta]
    return [invent_spanned(10 * seed + i, sw=at.sw, rest=rest, k=at.k) for i in range(DIES)]


def chances(theta: str, rest: float, seed: int) -> list[dict]:
    """Of each die: the chance that it, and that each of its edges, is still sharp after STROKES."""
    out = []
    for die in invented(theta, rest, seed):
        walk = SpannedWalk(die, THETAS[theta])
        drawn = walk.draws()
        alive = [walk.alive(STROKES, drawn, of) for of in (range(EDGES), *([i] for i in range(EDGES)))]
        die_alive, *edges = (np.round(curve, 6).tolist() for curve in alive)
        out.append({"die": die_alive, "edges": edges})
    return out


def main() -> None:
    cases = [{"theta": t, "rest": rest, "seed": seed, "dies": chances(t, rest, seed)} for t, rest, seed in CASES]
    out = {"strokes": STROKES.tolist(), "cases": cases}
    Path(__file__).with_name("life_spanned.json").write_text(json.dumps(out, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
