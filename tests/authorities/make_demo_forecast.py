"""Writes down what is forecast for the demo shop, from its tables: `python -m tests.authorities.make_demo_forecast`.

Run anew where the engine is changed on purpose, and say in the commit what moved and why.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
STORED = Path(__file__).with_name("demo_forecast.json")
OF_EDGES = ("0.10", "0.50", "0.90")
# A fit turns on the last digit of its sums, by some 0.0002 of its hits, and processors round them each in its way: here
# all go the way of those without the widest registers. In the service each goes its own.
ONE_ARITHMETIC = {
    "NPY_DISABLE_CPU_FEATURES": "X86_V4 AVX512_ICL AVX512_SPR",
    "OPENBLAS_CORETYPE": "Haswell",
    "OMP_NUM_THREADS": "1",
}


def shortened(answer: dict) -> dict:
    """What is kept of an answer of `manage.py forecast`: dies whole, of edges three shares."""
    edges = {
        f"{edge['die']} {edge['position']}": [edge["remaining_hits"][share] for share in OF_EDGES]
        for edge in answer["components"]
    }
    dies = {die["die"]: [die["hits_since_sharpening"], *die["remaining_hits"].values()] for die in answer["dies"]}
    return {"as_of": answer["as_of"], "dies": dies, "edges": edges}


def forecast() -> dict:
    """What is forecast for the demo shop by commands of their own, in a database of their own, `shortened`."""
    with tempfile.TemporaryDirectory() as folder:
        around = os.environ | ONE_ARITHMETIC | {"DATABASE_URL": f"sqlite:///{folder}/demo.sqlite3"}
        for words in (
            ("migrate", "--verbosity=0"),
            ("load_history", str(ROOT / "fixtures" / "demo-shop"), "--plant", "main"),
            ("forecast", "--format", "json", "--output", f"{folder}/forecast.json"),
        ):
            command = [sys.executable, "manage.py", *words]
            subprocess.run(command, cwd=ROOT, env=around, check=True, stdout=subprocess.DEVNULL)
        return shortened(json.loads(Path(folder, "forecast.json").read_text()))


def main() -> None:
    lines = json.dumps(forecast()).replace("], ", "],\n ").replace('"edges": {', '\n"edges": {\n ')
    STORED.write_text(lines + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
