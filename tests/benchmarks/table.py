"""The lines of the table that `make bench` prints: what, how much, the ratio, and the goal."""

from __future__ import annotations


def heading(text: str) -> None:
    print(f"\n{text}", flush=True)


def line(what: str, amount: str, ratio: str = "", *, goal: str = "", met: bool | None = None) -> None:
    """met: whether the goal is, None where there is none."""
    verdict = {None: "", True: "met", False: "MISSED"}[met]
    print(f"  {what:54s}{amount:>12s}  {ratio:42s}  {goal:28s}{verdict}".rstrip(), flush=True)


def amount(seconds: float) -> str:
    return f"{seconds:.1f} s" if seconds >= 10 else f"{seconds:.3g} s" if seconds >= 1 else f"{1000 * seconds:.3g} ms"
