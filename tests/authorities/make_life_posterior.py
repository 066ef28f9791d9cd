"""The posterior of five small fleets by random walks over every unknown; writes life_posterior.json beside it.

    python -m tests.authorities.make_life_posterior [--chains 200] [--sweeps 4000] [--burn 800] [--fleet NAME]

With --fleet only that one is made anew and put into the file. About ten minutes on one core.

The stored file holds the records and the answer in ten groups of chains, so that whoever compares can reckon the chance
error from how the groups differ. Nothing of the engine's is used.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np

from tests.life.dense import EDGES, UNIT, Fleet, Walk, invent

FLEETS = {
    "plain": dict(seed=3, lots=False, readings=False),
    "readings": dict(seed=4, lots=False, readings=True),
    "lots": dict(seed=5, lots=True, readings=False),
    "lots and readings": dict(seed=6, lots=True, readings=True),
    "more lots": dict(seed=7, lots=True, readings=False, dies=6, orders=10),
}
GROUPS = 10
STROKES = np.round(UNIT * np.geomspace(0.004, 12.0, 32), 0)


def walk(fleet: Fleet, chains: int, sweeps: int, burn: int) -> dict:
    w = Walk(fleet, chains, seed=1)
    open_row = {r["edge"]: i for i, r in enumerate(fleet.rows) if r["open"]}
    n = len(fleet.x)
    totals, squares, count = None, None, 0
    edge_alive = np.zeros((chains, n, len(STROKES)))
    die_alive = np.zeros((chains, fleet.dies, len(STROKES)))
    for sweep in range(burn + sweeps):
        w.sweep()
        if sweep < burn or sweep % 4:
            continue
        usual = w.m + np.log(np.log(2.0)) / np.exp(w.ln_k)[:, None]
        values = np.concatenate([w.b, np.stack([w.ln_k, w.ln_tu, w.ln_tv, w.ln_sw], axis=1), usual], axis=1)
        totals = values if totals is None else totals + values
        squares = values**2 if squares is None else squares + values**2
        ln = np.stack([w.alive(open_row[e], STROKES) for e in range(n)], axis=1)
        edge_alive += np.exp(ln)
        die_alive += np.exp(ln.reshape(chains, fleet.dies, EDGES, -1).sum(axis=2))
        count += 1

    def groups(total):
        part = total.reshape(GROUPS, chains // GROUPS, *total.shape[1:]).mean(axis=1) / count
        return np.round(part, 5).tolist()

    return {
        "first": groups(totals),
        "second": groups(squares),
        "edges": groups(edge_alive),
        "dies": groups(die_alive),
    }


def main() -> None:
    parse = argparse.ArgumentParser(description=__doc__)
    parse.add_argument("--chains", type=int, default=200)
    parse.add_argument("--sweeps", type=int, default=4000)
    parse.add_argument("--burn", type=int, default=800)
    parse.add_argument("--fleet", choices=FLEETS)
    parse.add_argument("--out", default=str(Path(__file__).with_name("life_posterior.json")))
    told = parse.parse_args()
    out = {"strokes": STROKES.tolist(), "fleets": {}}
    if told.fleet:
        out = json.loads(Path(told.out).read_text())
    for name in [told.fleet] if told.fleet else FLEETS:
        fleet = invent(**FLEETS[name])
        answer = walk(fleet, told.chains, told.sweeps, told.burn)
        records = {"rows": fleet.rows, "x": fleet.x.tolist(), "share": fleet.share.tolist(), "lots": fleet.lots}
        how = {"chains": told.chains, "sweeps": told.sweeps, "burn": told.burn}
        out["fleets"][name] = {"how": how, "records": records, "answer": answer}
        first = np.array(answer["first"])
        print(
            name, np.round(first.mean(axis=0)[:7], 3), np.round(first.std(axis=0)[:7] / np.sqrt(GROUPS), 4), flush=True
        )
    Path(told.out).write_text(json.dumps(out, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
