"""What files and columns of a history folder were called in earlier versions, and a folder by those names.

Written down here a second time: a name that goes missing where it is read makes a test fail.
"""

from __future__ import annotations

import csv
from pathlib import Path

FILES = {
    "firms.csv": "parties.csv",
    "strip_stock.csv": "stocks.csv",
    "inserts.csv": "variants.csv",
    "parts_per_hit.csv": "outputs.csv",
    "hourly_rates.csv": "rates.csv",
    "mishaps.csv": "incidents.csv",
    "other_work.csv": "works.csv",
    "shelf_moves.csv": "movements.csv",
    "counter_boxes.csv": "counter_devices.csv",
    "die_in_press.csv": "in_press.csv",
}
EVERYWHERE = {
    "entry_id": "key",
    "order_within_time": "sequence",
    "came_by": "through",
    "sign_in": "signed_in",
    "set_sign_in": "set_signed_in",
    "removed_sign_in": "removed_signed_in",
    "struck_sign_in": "struck_signed_in",
    "released_sign_in": "released_signed_in",
    "back_sign_in": "back_signed_in",
}
COLUMNS = {
    ("firms.csv", "firm"): "party",
    ("inserts.csv", "usual"): "is_default",
    ("mishaps.csv", "what"): "sort",
    ("components.csv", "measured"): "wear_of",
    ("components.csv", "empty_at_start"): "starts_empty",
    ("components.csv", "works_in_share_of_strokes"): "stroke_share",
    ("components.csv", "enters_with"): "height_group",
    ("runs.csv", "how_counted"): "basis",
    ("runs.csv", "coil"): "lot",
    ("spares.csv", "if_we_run_out"): "criticality",
    ("counts.csv", "wrong_clock"): "clock_off",
    ("counts.csv", "as_sent"): "raw",
    ("counter_boxes.csv", "may"): "scopes",
    ("counter_boxes.csv", "digits"): "figures",
    ("counter_boxes.csv", "withdrawn"): "revoked",
}


def old(file: str, column: str) -> str:
    return COLUMNS.get((file, column), EVERYWHERE.get(column, column))


def named_as_before(folder: Path) -> set[tuple[str, str]]:
    """Give the tables of a written folder their old names. Returns (file, column) of what was renamed."""
    renamed = set()
    for path in sorted(folder.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            head, *rows = csv.reader(file)
        renamed |= {(path.name, name) for name in head if old(path.name, name) != name}
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([[old(path.name, name) for name in head], *rows])
        if path.name in FILES:
            path.rename(folder / FILES[path.name])
            renamed.add((path.name, ""))
    return renamed
