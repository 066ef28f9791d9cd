"""History folders made for tests: rows as dicts, written with the csv module, not with the code under test."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

START = dt.datetime(2020, 1, 6, 6, 0, tzinfo=dt.UTC)

DIES = [
    {
        "die": "H-201",
        "description": "hinge leaf",
        "stock_material": "low-carbon steel",
        "stock_tensile_mpa": "340",
        "stock_thickness_mm": "1.2",
        "strokes_per_minute": "80",
        "parts_per_hit": "1",
    }
]


def component(position: str, kind: str = "pierce punch", die: str = "H-201", **more: str) -> dict[str, str]:
    row = {"die": die, "station": position.split("-")[0], "position": position, "kind": kind, "tool_steel": "D2"}
    if "punch" in kind or "die" in kind.split():
        row |= {"clearance_pct_per_side": "9", "cut_length_mm": "18.8", "grind_allowance_mm": "4"}
    return row | {"spare": "", "opening": "new"} | more


COMPONENTS = [component("1-A"), component("1-B"), component("3-A", "shape punch"), component("2-A", "pilot")]


def run(started: str, ended: str, hits: object = 1000, die: str = "H-201", **more: str) -> dict[str, str]:
    return {"die": die, "started": started, "ended": ended, "hits": str(hits)} | more


def ground(position: str, at: str, die: str = "H-201", **more: str) -> dict[str, str]:
    row = {"die": die, "position": position, "at": at, "removed_mm": "0.1", "reason": "dull", "found": ""}
    return row | more


def write(folder: Path, **tables: list[dict[str, str]]) -> Path:
    """One file for each table; its columns are those of all its rows."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        columns = list(dict.fromkeys(column for row in rows for column in row))
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, columns, restval="")
            writer.writeheader()
            writer.writerows(rows)
    return folder


def sound(folder: Path, **tables: list[dict[str, str]]) -> Path:
    """A folder with one die, and the tables given."""
    return write(folder, **({"dies": DIES, "components": COMPONENTS} | tables))


def fleet(folder: Path, *, dies: int, edges: int, runs: int, grinds: int) -> Path:
    """The plain tables of a shop of so many dies, each with so many edges, runs, and grinds an edge."""
    tables: dict[str, list[dict[str, str]]] = {"dies": [], "components": [], "runs": [], "sharpenings": []}
    tables["replacements"] = []
    for d in range(dies):
        code = f"F-{d:04d}"
        tables["dies"].append(DIES[0] | {"die": code})
        positions = [f"{e // 4 + 1}-{'ABCD'[e % 4]}" for e in range(edges)]
        tables["components"] += [component(p, die=code) for p in positions]
        for r in range(runs):
            started = START + dt.timedelta(hours=12 * r)
            ended = started + dt.timedelta(hours=6)
            tables["runs"].append(run(started.isoformat(), ended.isoformat(), 20_000 + r, code))
        for g in range(grinds):
            at = (START + dt.timedelta(hours=12 * (g + 1) * max(runs // max(grinds, 1), 1) - 2)).isoformat()
            tables["sharpenings"] += [ground(p, at, code, reason="with set") for p in positions]
            if g % 5 == 4:
                tables["replacements"].append(
                    {"die": code, "position": positions[g % edges], "at": at, "reason": "broken"}
                )
    return write(folder, **tables)
