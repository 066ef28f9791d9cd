"""PURE. Names that files and columns of a history folder had in earlier versions.

A shop keeps the folders that it wrote as long as it keeps its records, and lists of its own go by the names of the day
they were set up. So the old names are read for good, and written never again.
"""

from __future__ import annotations

from .described import Table

FILES = {  # then: now
    "parties.csv": "firms.csv",
    "stocks.csv": "strip_stock.csv",
    "variants.csv": "inserts.csv",
    "outputs.csv": "parts_per_hit.csv",
    "rates.csv": "hourly_rates.csv",
    "incidents.csv": "mishaps.csv",
    "works.csv": "other_work.csv",
    "movements.csv": "shelf_moves.csv",
    "counter_devices.csv": "counter_boxes.csv",
    "in_press.csv": "die_in_press.csv",
}
OF_ENTRIES = {  # of every table that has the new one and not the old
    "key": "entry_id",
    "sequence": "order_within_time",
    "through": "came_by",
    "signed_in": "sign_in",
    "set_signed_in": "set_sign_in",
    "removed_signed_in": "removed_sign_in",
    "struck_signed_in": "struck_sign_in",
    "released_signed_in": "released_sign_in",
    "back_signed_in": "back_sign_in",
}
COLUMNS = {
    "firms.csv": {"party": "firm"},
    "inserts.csv": {"is_default": "usual"},
    "spares.csv": {"criticality": "if_we_run_out"},
    "components.csv": {
        "wear_of": "measured",
        "starts_empty": "empty_at_start",
        "stroke_share": "works_in_share_of_strokes",
        "height_group": "enters_with",
    },
    "runs.csv": {"basis": "how_counted", "lot": "coil"},
    "mishaps.csv": {"sort": "what"},
    "counter_boxes.csv": {"scopes": "may", "figures": "digits", "revoked": "withdrawn"},
    "counts.csv": {"clock_off": "wrong_clock", "raw": "as_sent"},
}


def columns_of(table: Table) -> dict[str, str]:
    """What columns of this table were called, and what they are called now."""
    known = table.by_name
    shared = {then: now for then, now in OF_ENTRIES.items() if now in known and then not in known}
    return shared | COLUMNS.get(table.file, {})


def files_of(table: Table) -> list[str]:
    """What the file of this table was called."""
    return [then for then, now in FILES.items() if now == table.file]
