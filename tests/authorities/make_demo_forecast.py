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


def shortened(answer: dict) -> dict:
    """What is kept of an answer of `manage.py forecast`: dies whole, of edges three shares."""
    edges = {
        f"{edge['die']} {edge['position']}": [edge["remaining_hits"][share] for share in OF_EDGES]
        for edge in answer["components"]
    }
    dies = {die["die"]: [die["hits_since_sharpening"], *die["remaining_hits"].values()] for die in answer["dies"]}
    return {"as_of": answer["as_of"], "dies": dies, "edges": edges}


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.environ["DATABASE_URL"] = f"sqlite:///{folder}/demo.sqlite3"
        for words in (
            ("migrate", "--verbosity=0"),
            ("load_history", str(ROOT / "fixtures" / "demo-shop"), "--plant", "main"),
            ("forecast", "--format", "json", "--output", f"{folder}/forecast.json"),
        ):
            subprocess.run([sys.executable, "manage.py", *words], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        answer = json.loads(Path(folder, "forecast.json").read_text())
    lines = json.dumps(shortened(answer)).replace("], ", "],\n ").replace('"edges": {', '\n"edges": {\n ')
    STORED.write_text(lines + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
