"""How a fit over more dies than one process holds would spread: the sums over dies add up over shards.

    python -m tests.benchmarks.shards [dies]      (default 240 of 100 edges, 20 cycles an edge)

Each shard holds the records of its dies and answers, at a theta, with one number and its slopes, the prior left out.
One more process adds them up and climbs. Printed: by how much the sum over shards differs from the whole, what
travels, and how much quicker a question is answered.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # a process a core

import multiprocessing
import sys
import time

import numpy as np

from maintenance.life import prior
from maintenance.life.fleet import _Problem
from maintenance.life.grids import Grids, Theta, nodes_for, travel

from .engine import large_fleet
from .table import amount, heading, line

THETA = Theta(b=prior.MEAN.copy(), ln_k=np.log(3.0), ln_tu=np.log(0.3), ln_tv=np.log(0.25))
QUESTIONS = 5


def prepared(edges, samples, dies: np.ndarray) -> _Problem:
    """The records of some dies, with the tables that answer at any theta near THETA."""
    mine = np.isin(edges.die, dies)
    number = np.cumsum(mine) - 1
    some = samples.pick(mine[samples.edge])
    some = type(some)(**{**vars(some), "edge": number[some.edge]})
    problem = _Problem.of(edges.pick(np.flatnonzero(mine)), some, seed=0, fit_dies=len(dies), with_lots=False)
    mu = problem.x @ THETA.b
    problem.grids = Grids.at_prior(mu, THETA, problem.n_dies)
    problem.grids.m_nodes, problem.grids.u_nodes = nodes_for(THETA)
    travel(problem.grids, problem._table_at(THETA.k), mu, problem.die, THETA)
    problem._tabulate(THETA.ln_k)
    return problem


def answer(problem: _Problem, z: np.ndarray) -> np.ndarray:
    """Value and slopes of this shard alone: [1 + p + 3]."""
    value, slopes = problem.objective(z)
    prior_value, prior_slopes = problem.log_prior(z)
    return np.r_[value + prior_value, slopes + prior_slopes]


def _serve(pipe, edges, samples, dies) -> None:
    problem = prepared(edges, samples, dies)
    pipe.send("ready")
    while (z := pipe.recv()) is not None:
        pipe.send(answer(problem, z))


def asked(edges, samples, dies: np.ndarray, processes: int, z: np.ndarray) -> tuple[float, np.ndarray]:
    """Seconds of a question, the least of some, and the sum of the answers."""
    fork = multiprocessing.get_context("fork")
    pipes, servers = [], []
    for part in np.array_split(dies, processes):
        here, there = fork.Pipe()
        server = fork.Process(target=_serve, args=(there, edges, samples, part))
        server.start()
        pipes.append(here), servers.append(server)
    [pipe.recv() for pipe in pipes]
    least = np.inf
    for _ in range(QUESTIONS):
        began = time.perf_counter()
        [pipe.send(z) for pipe in pipes]
        total = sum(pipe.recv() for pipe in pipes)
        least = min(least, time.perf_counter() - began)
    [pipe.send(None) for pipe in pipes]
    [server.join() for server in servers]
    return least, total


def main(dies: int) -> None:
    edges, samples = large_fleet(dies)
    names = np.arange(dies)
    z = prepared(edges, samples, names[:2])._pack(THETA) + 0.01
    alone_s, whole = asked(edges, samples, names, 1, z)
    heading(f"Shards: {dies} dies, {len(edges):,} edges, {len(samples):,} cycles, on {os.cpu_count()} cores")
    line("one question at one theta, in one process", amount(alone_s))
    for processes in (2, 4):
        took, total = asked(edges, samples, names, processes, z)
        off = np.abs(total - whole).max() / np.abs(whole).max()
        said = f"{alone_s / took:.2f} times as fast, off by {off:.0e}"
        line(
            f"in {processes} shards, {8 * len(total)} bytes each",
            amount(took),
            said,
            goal="off by 1e-9",
            met=off < 1e-9,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 240)
