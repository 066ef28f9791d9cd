"""PURE. The tables of a history folder: the one description that reader, writer and handbook page share.

A table is a CSV file: UTF-8, a header row, ISO 8601 times, a decimal point, the unit in the column's name.
"""

from __future__ import annotations

from diestore.handbook import limits

from . import set_up_columns
from .amended_columns import AMENDED, AMENDED_TABLES, AMENDMENTS
from .bench_columns import BENCH_TABLES
from .bill_columns import BILL_TABLES
from .counter_columns import COUNTER_ANSWERS, COUNTER_BOXES, COUNTER_TABLES, COUNTS, DIE_IN_PRESS
from .described import ENTRY, HITS, INT, MONEY, MOST, Column, Sort, Table
from .described import may as _may
from .described import must as _must
from .described import need as _need
from .inspection_columns import INSPECTION_TABLES
from .outline_columns import OUTLINE_TABLES
from .owner_columns import OWNER_TABLES
from .payer_columns import PAYER_TABLES
from .photo_columns import PHOTO_TABLES
from .purchase_columns import PURCHASE_TABLES
from .source_columns import SOURCE_TABLES

__all__ = [
    "AMENDED",
    "AMENDMENTS",
    "COUNTER_ANSWERS",
    "COUNTER_BOXES",
    "COUNTS",
    "DIE_IN_PRESS",
    "PLAIN",
    "TABLES",
    "Column",
    "Sort",
    "Table",
]


def _within(table: str, column: str) -> dict[str, float]:
    limit = limits.OF[table, column]
    return {"at_least": limit.least, "at_most": limit.most}


DIE = _must("die", "The die.", longest=60)
POSITION = _must("position", "The place in the die that a piece sits in.", longest=40)
AT = _must("at", "When it happened.", Sort.TIME, past=True)
INTO_RUN = _may("hits_into_run", "Hits of the run under way that were done by then.", Sort.WHOLE, at_least=0,
                at_most=HITS)  # fmt: skip
FOUND = ("sharp", "dull", "chipped", "broken", "galled", "not looked")
PIECE_COLUMNS = (
    _may("tool_steel", "Grade of tool steel.", longest=40),
    _may("coating", "Coating.", longest=40),
    _may("hardness_hrc", "Hardness, Rockwell C.", Sort.NUMBER, **_within("piece", "hardness_hrc")),
)
ALLOWANCE = _may(
    "grind_allowance_mm", "What may be ground away in all.", Sort.NUMBER, **_within("piece", "grind_allowance_mm")
)
LENGTH = _may(
    "length_mm",
    "Length of the piece when its record begins: of a new one when new.",
    Sort.NUMBER,
    **_within("piece", "length_mm"),
)
OPENING = (
    _may("opening", "How the piece stood when the records began. Empty: unknown, in pieces.csv new.", longest=9,
         choices=("new", "counted", "estimated", "unknown")),
    _may("opening_life_hits", "Hits over its life by then.", Sort.WHOLE, **_within("piece", "opening_life_hits")),
    _may("opening_hits_since_sharpening", "Hits since it was last sharpened by then.", Sort.WHOLE,
         **_within("piece", "opening_hits_since_sharpening")),
)  # fmt: skip
SPARE = _may("spare", "The spare that fits.", longest=80)
SPARE_REVISION = _may("spare_revision", "Its revision.", longest=20)
VALID = (
    _may("valid_from", "Since when; empty: from the start.", Sort.TIME),
    _may("valid_to", "Until when; empty: still.", Sort.TIME),
)
RETIRED = _may("retired_at", "Since when it is no longer used. Empty: it is used.", Sort.TIME)


def _entries(file: str, about: str, *columns: Column, same: tuple[str, ...], plain: bool = False) -> Table:
    return Table(file=file, about=about, columns=(*columns, *ENTRY), same=same, plain=plain)


SETTINGS = Table(
    file="shop.csv",
    about="What the shop is called, its money, its clock, its units and its language: one row.",
    same=("name",),
    columns=(
        _must("name", "What it is called.", Sort.WORDS, longest=80),
        _must("currency", "Its money, as it is written.", longest=10),
        _must("time_zone", "Its clock, as Europe/Berlin.", longest=60),
        _must("units", "What most people there see.", longest=6, choices=("metric", "inch")),
        _may("language", "What most people there read.", longest=10, choices=("en", "es-mx")),
    ),
)
PLANTS = Table(
    file="plants.csv",
    about="The plant that the folder is of: one row.",
    same=("plant",),
    columns=(_must("plant", "Short name.", longest=40), _may("name", "Full name.", Sort.WORDS, longest=120)),
)
PEOPLE = Table(
    file="people.csv",
    about="Who does things. A person named in another table and missing here is added.",
    same=("person",),
    columns=(
        _must("person", "Name.", longest=120),
        _may("active", "Still there. Empty: yes.", Sort.YES_NO),
    ),
)
FIRMS = Table(
    file="firms.csv",
    about="Customers and suppliers. One that is named elsewhere and missing here is added.",
    same=("firm",),
    columns=(
        _must("firm", "Short name.", longest=40),
        _may("name", "Full name.", Sort.WORDS, longest=120),
        _must("role", "What they are to the shop.", longest=10, choices=("customer", "supplier")),
        RETIRED,
    ),
)
PRESSES = Table(
    file="presses.csv",
    about="Presses. One that is named elsewhere and missing here is added.",
    same=("press",),
    columns=(
        _must("press", "The press.", longest=40),
        _may("rated_force_n", "Rated force, newtons.", Sort.NUMBER, above=0, **_within("press", "rated_force_n")),
        _may("shut_height_min_mm", "Least shut height.", Sort.NUMBER, **_within("press", "shut_height_min_mm")),
        _may("shut_height_max_mm", "Greatest shut height.", Sort.NUMBER, **_within("press", "shut_height_max_mm")),
        *set_up_columns.OF_PRESSES,
        RETIRED,
    ),
)
_TENSILE = dict(sort=Sort.NUMBER, above=0, **_within("stock", "tensile_mpa"))
_THICKNESS = dict(sort=Sort.NUMBER, above=0, **_within("stock", "thickness_mm"))
STRIP_STOCK = Table(
    file="strip_stock.csv",
    about="Strip stock: a material at one thickness. dies.csv alone makes one for each material, strength and "
    "thickness.",
    same=("stock",),
    columns=(
        _must("stock", "Short name, not used twice.", longest=80),
        _must("material", "Material.", longest=120),
        _must("tensile_mpa", "Tensile strength.", **_TENSILE),
        _may("shear_mpa", "Shear strength.", **_TENSILE),
        _may("hardness", "Hardness as it is told.", Sort.WORDS, longest=40),
        _must("thickness_mm", "Thickness.", **_THICKNESS),
        _may("price_kg", "What a kilogram of it costs.", Sort.MONEY, at_least=0, at_most=MONEY),
        _may("scrap_kg", "What a kilogram of its scrap brings.", Sort.MONEY, at_least=0, at_most=MONEY),
        _may("source", "Certificate, standard or measurement.", Sort.WORDS, longest=200),
        RETIRED,
    ),
)
PARTS = Table(
    file="parts.csv",
    about="What the shop makes. A part that is named elsewhere and missing here is added.",
    same=("part", "revision"),
    columns=(
        _must("part", "Number of the part.", longest=80),
        _may("revision", "Its revision.", longest=20),
        _may("description", "What it is.", Sort.WORDS, longest=200),
        _may("customer", "Whose part it is.", longest=40),
        _may("burr_limit_um", "Greatest burr allowed, micrometres.", Sort.NUMBER, **_within("part", "burr_limit_um")),
        _may("last_needed", "The last day it will be needed.", Sort.DATE),
        RETIRED,
    ),
)
VOLUMES = Table(
    file="volumes.csv",
    about="How many of a part are wanted in a year.",
    same=("part", "revision", "year"),
    columns=(
        _must("part", "Number of the part.", longest=80),
        _may("revision", "Its revision.", longest=20),
        _must("year", "The year.", Sort.WHOLE, **_within("volume", "year")),
        _must("parts", "Parts in that year.", Sort.WHOLE, **_within("volume", "parts")),
    ),
)
DIES = Table(
    file="dies.csv",
    about="The dies.",
    same=("die",),
    plain=True,
    columns=(
        DIE,
        _may("description", "What it is.", Sort.WORDS, longest=200),
        _must("stock_material", "Material of the strip it usually runs.", longest=120),
        _must("stock_tensile_mpa", "Its tensile strength.", **_TENSILE),
        _must("stock_thickness_mm", "Its thickness.", **_THICKNESS),
        _must("strokes_per_minute", "Usual speed.", Sort.NUMBER, above=0, **_within("die", "strokes_per_minute")),
        _must("parts_per_hit", "Parts that fall at one hit; 0: makes no part yet. parts_per_hit.csv says more.",
              Sort.WHOLE, at_least=0, at_most=100_000),
        _may("stock", "Which row of strip_stock.csv. Empty: one of that material, strength and thickness.", longest=80),
        _may("owner", "Whose die it is, where not the shop's.", longest=40),
        _may("press", "The press it usually runs in.", longest=40),
        _may("build_price", "What building it cost.", Sort.MONEY, at_least=0, at_most=MONEY),
        _may("expected_parts", "Parts it was built for.", Sort.WHOLE, **_within("die", "expected_parts")),
        _may("status", "Empty: in service.", longest=12, choices=("in service", "stored", "in repair", "retired")),
        *set_up_columns.OF_DIES,
    ),
)  # fmt: skip
INSERTS = Table(
    file="inserts.csv",
    about="Sets of interchangeable inserts. A die that is not named here has one, `standard`.",
    same=("die", "variant"),
    columns=(
        DIE,
        _must("variant", "The set of inserts.", longest=40),
        _may("usual", "The one meant where none is named: one a die.", Sort.YES_NO),
    ),
)
PARTS_PER_HIT = Table(
    file="parts_per_hit.csv",
    about="What falls out of a die at one hit. A die that is not named here makes one part, named as the die.",
    same=("die", "variant", "part", "revision"),
    columns=(
        DIE,
        _may("variant", "Empty: the usual one.", longest=40),
        _must("part", "Number of the part.", longest=80),
        _may("revision", "Its revision.", longest=20),
        _must("parts_per_hit", "So many at one hit.", Sort.WHOLE, at_least=1, at_most=100_000),
    ),
)
STATIONS = Table(
    file="stations.csv",
    about="Stations in the order of the strip. components.csv alone makes them, in the order of their numbers.",
    same=("die", "station"),
    columns=(
        DIE,
        _must("station", "The station.", longest=40),
        _must("sequence", "Its place in the order.", Sort.WHOLE, **_within("station", "sequence")),
        _may("operation", "What is done there.", longest=60),
    ),
)
SPARES = Table(
    file="spares.csv",
    about="The catalogue of spares and what is on the shelf.",
    same=("spare", "revision"),
    plain=True,
    columns=(
        _must("spare", "The spare.", longest=80),
        _may("description", "What it is.", Sort.WORDS, longest=200),
        _need("on_hand", "On the shelf. Empty: says nothing.", Sort.WHOLE, at_least=-INT, at_most=INT),
        _need("on_order", "On the way. Empty: says nothing.", Sort.WHOLE, at_least=-INT, at_most=INT),
        _need("lead_days", "Days from order to delivery.", Sort.WHOLE, **_within("item", "lead_days")),
        _need("unit_price", "Price of one.", Sort.MONEY, at_least=0, at_most=MONEY),
        _may("pack_size", "Sold in packs of so many. Empty: 1.", Sort.WHOLE, **_within("item", "pack_size")),
        _may("shelf_place", "Where in the store it lies: rack, bin.", longest=40),
        _may("revision", "Its revision.", longest=20),
        _may("kind", "Kind of component.", longest=30),
        *PIECE_COLUMNS,
        LENGTH,
        ALLOWANCE,
        *set_up_columns.OF_SPARES,
        _may("if_we_run_out", "What happens then.", longest=20,
             choices=("stops the press", "slows the job", "can wait")),
        _may("supplier", "Who sells it.", longest=40),
        _may("counted_at", "When it was counted. Empty: at the last moment in the folder.", Sort.TIME, past=True),
        RETIRED,
        _may("newer", "The spare that took its place: the last one, which has none itself.", longest=80),
        _may("newer_revision", "Its revision.", longest=20),
        _may("old_stock", "What became of its pieces then. Needed where something took its place.", longest=8,
             choices=("usable", "retired")),
    ),
)  # fmt: skip
COMPONENTS = Table(
    file="components.csv",
    about="The positions of each die, with the piece that sat there when the records began.",
    same=("die", "position"),
    plain=True,
    columns=(
        DIE,
        _need("station", "The station it is in; empty for guides and plates.", longest=40),
        POSITION,
        _must("kind", "Kind of component.", longest=30),
        _need("tool_steel", "Grade of tool steel of the first piece.", longest=40),
        _may("coating", "Its coating.", longest=40),
        _may("hardness_hrc", "Its hardness, Rockwell C.", Sort.NUMBER, **_within("piece", "hardness_hrc")),
        _may("clearance_pct_per_side", "Gap per side, in % of the thickness.", Sort.NUMBER, at_least=0, at_most=100),
        _may("cut_length_mm", "Length of the contour that it cuts.", Sort.NUMBER, above=0,
             **_within("cut", "length_mm")),
        ALLOWANCE,
        SPARE,
        *OPENING,
        SPARE_REVISION,
        _may("side", "Punch side (upper) or die side (lower). Empty: as usual for its kind.", longest=5,
             choices=("upper", "lower")),
        _may("x_mm", "Place along the strip.", Sort.NUMBER, **_within("position", "x_mm")),
        _may("y_mm", "Place across the strip.", Sort.NUMBER, **_within("position", "y_mm")),
        _may("enters_with", "Punches of one group enter together.", longest=20),
        _may("works_in_share_of_strokes", "Share of the strokes in which it works. Empty: 1.", Sort.NUMBER, above=0,
             **_within("position", "stroke_share")),
        _may("variants", "The sets of inserts it belongs to. Empty: all.", Sort.LIST, longest=2_000),
        _may("measured", "What is measured of its wear, as readings call it.", longest=60),
        _may("wear_limit", "Where it is changed: lengths and clearances in mm, forces in N, pressures in MPa.",
             Sort.NUMBER, above=0, at_most=1e9),
        *VALID,
        _may("fitted", "When the first piece was fitted, where the records began before.", Sort.TIME, past=True),
        _may("empty_at_start", "yes: no first piece is meant; replacements.csv brings what sat there.", Sort.YES_NO),
        _may("piece", "Key of the first piece.", longest=120),
        _may("mark", "Mark on the first piece.", longest=60),
        _may("piece_spare", "The spare that the first piece is. Without this column: `spare`.", longest=80),
        _may("piece_spare_revision", "Its revision.", longest=20),
        LENGTH,
        _may("seat_mm", "How far its seat lies from the plate that heights are measured from, towards the strip.",
             Sort.NUMBER, **_within("position", "seat_mm")),
    ),
)  # fmt: skip
CUTS = Table(
    file="cuts.csv",
    about="Contours that are cut, each with a punch above, a die below, or both.",
    same=("die", "cut", "valid_from"),
    columns=(
        DIE,
        _must("cut", "The cut.", longest=40),
        _may("upper", "Position of the punch.", longest=40),
        _may("lower", "Position of the die section or button.", longest=40),
        _must("length_mm", "Length of the contour.", Sort.NUMBER, above=0, **_within("cut", "length_mm")),
        _may("gap_mm", "Gap per side.", Sort.NUMBER, **_within("cut", "gap_mm")),
        _may("clearance_pct_per_side", "Or the gap in % of the thickness; made into mm on loading.", Sort.NUMBER,
             at_least=0, at_most=100),
        *VALID,
    ),
)  # fmt: skip
PIECES = Table(
    file="pieces.csv",
    about="Pieces that are not the first of a position.",
    same=("piece",),
    columns=(
        _must("piece", "Key of the piece.", longest=120),
        _may("mark", "Mark on it.", longest=60),
        SPARE,
        SPARE_REVISION,
        *PIECE_COLUMNS,
        LENGTH,
        ALLOWANCE,
        *OPENING,
    ),
)
ORDERS = Table(
    file="orders.csv",
    about="What customers want and when.",
    same=("order", "part", "revision"),
    plain=True,
    columns=(
        _need("die", "The die that is to make them; empty: whichever makes the part.", longest=60),
        _must("order", "Number of the order.", longest=80),
        _must("parts", "Parts wanted.", Sort.WHOLE, at_least=1, at_most=MOST),
        _must("due", "Due on.", Sort.DATE),
        _may("part", "The part. Empty: the only one that the die makes.", longest=80),
        _may("revision", "Its revision.", longest=20),
        _may("placed", "When it came in. Empty: the day it is loaded.", Sort.TIME, past=True),
        _may("closed", "When it was closed. Empty: open.", Sort.TIME, past=True),
    ),
)
REPLACEMENTS = _entries(
    "replacements.csv",
    "What sits in a position changes.",
    DIE,
    POSITION,
    AT,
    _must("reason", "Why the piece came out; first: it was the first in this place.", longest=12,
          choices=("dull", "chipped", "broken", "ground out", "other", "first")),
    _may("found", "How the old edge was found.", longest=10, choices=FOUND),
    _may("piece", "Key of the piece that went in. Empty: a new one like the old.", longest=120),
    _may("take_out", "yes: nothing went in.", Sort.YES_NO),
    _may("since_start", "yes: it sat there when the records began.", Sort.YES_NO),
    INTO_RUN,
    _may("mark", "Mark on the new piece.", longest=60),
    SPARE,
    SPARE_REVISION,
    *PIECE_COLUMNS,
    LENGTH,
    ALLOWANCE,
    same=("die", "position", "at"),
    plain=True,
)  # fmt: skip
COUNTED_BY = (
    _may("counter_press", "Made from a counter of `device`: the press whose counter it is; or", longest=40),
    _may("counter_die", "the die, where it carries a counter of its own.", longest=60),
)
RUNS = _entries(
    "runs.csv",
    "When a die ran, and how many hits.",
    DIE,
    _must("started", "Start.", Sort.TIME, past=True),
    _must("ended", "End.", Sort.TIME, past=True),
    _must("hits", "Hits of the press.", Sort.WHOLE, at_least=1, at_most=HITS),
    _may("variant", "The set of inserts. Empty: the usual one.", longest=40),
    _may("how_counted", "Empty: counted.", longest=9, choices=("counted", "estimated")),
    _may("press", "The press.", longest=40),
    _may("stock", "The stock that was run. Empty: the die's usual one.", longest=80),
    _may("coil", "Coil or lot.", longest=80),
    _may("order", "The order it was run for.", longest=80),
    _may("order_part", "The part, where the order has several.", longest=80),
    _may("order_revision", "The part's revision.", longest=20),
    _may("good_parts", "Good parts counted.", Sort.WHOLE, at_least=0, at_most=MOST),
    *COUNTED_BY,
    same=("die", "started"),
    plain=True,
)
CORRECTIONS = _entries(
    "corrections.csv",
    "Hits that no run carries: set-up strokes, a miscount put right (then with a minus).",
    DIE,
    _may("variant", "The set of inserts. Empty: the usual one.", longest=40),
    AT,
    _must("hits", "Hits to add, or to take off with a minus.", Sort.WHOLE, at_least=-HITS, at_most=HITS),
    _must("with_stock", "no: strokes without strip, which wear guides and springs and no edge.", Sort.YES_NO),
    _must("reason", "Why.", Sort.WORDS, longest=200),
    *COUNTED_BY,
    _may("counted_from", "When the strokes began that a counter told of.", Sort.TIME, past=True),
    same=("die", "variant", "at", "with_stock"),
)
RESTARTS = _entries(
    "restarts.csv",
    "From when on a die's record counts anew, since it has worn otherwise from then on.",
    DIE,
    AT,
    _must("reason", "Why.", Sort.WORDS, longest=200),
    same=("die", "at"),
)
SET_UPS = _entries(
    "set_ups.csv",
    "A die set into a press and read at its stop blocks.",
    DIE,
    AT,
    _must("readings", "A piece of solder each: block|crushed|slot|stand-off|x|y in mm, the last two may be left out.",
          Sort.LIST, longest=9_000),
    _may("press", "The press.", longest=40),
    _may("shut_height_mm", "As the press showed it.", Sort.NUMBER, above=0, at_most=10_000),
    _may("is_good", "Whether it was left to run like this. Empty: no.", Sort.YES_NO),
    same=("die", "at"),
)  # fmt: skip
STOPS = _entries(
    "stops.csv",
    "The press stood.",
    DIE,
    AT,
    _must("cause", "Why.", longest=16,
          choices=("misfeed", "die protection", "slug", "burr", "galling", "stuck part", "broken", "pilot broken",
                   "spring broken", "mended in press", "waiting", "setting", "other")),
    _must("minutes", "How long.", Sort.NUMBER, at_least=0, at_most=100_000),
    _may("parts_scrapped", "Parts thrown away. Empty: 0.", Sort.WHOLE, at_least=0, at_most=MOST),
    _may("planned", "Empty: no.", Sort.YES_NO),
    _may("press", "The press.", longest=40),
    _may("station", "The station it was in.", longest=40),
    _may("position", "The place in the die, where one was seen.", longest=40),
    same=("die", "at", "cause"),
)  # fmt: skip
MISHAPS = _entries(
    "mishaps.csv",
    "A mishap: one shock for all that it damaged.",
    DIE,
    AT,
    _must("what", "What sort of mishap.", longest=40),
    _may("positions", "Positions whose pieces were damaged.", Sort.LIST, longest=9_000),
    _may("pieces", "Or the keys of the pieces.", Sort.LIST, longest=9_000),
    same=("die", "at", "what"),
)
REASON = _must("reason", "Why it was done.", longest=20,
               choices=("dull", "chipped", "with set", "planned", "engineering change", "other"))  # fmt: skip
WORK_COLUMNS = (
    _may("found", "How the edge was found.", longest=10, choices=FOUND),
    _may("wear_mm", "How far it was worn.", Sort.NUMBER, at_least=0, at_most=100),
    _may("length_after_mm", "Length afterwards.", Sort.NUMBER, at_least=0, at_most=10_000),
    _may("coating_after", "Coating afterwards, where it is another.", longest=40),
    _may("supplier", "Who did it, where not the shop.", longest=40),
    _may("hours", "Hours it took.", Sort.NUMBER, at_least=0, at_most=10_000),
    _may("set_key", "The same for all pieces that were ground as one set. Without this column: all that were ground "
         "on one die at one time.", longest=160),
    INTO_RUN,
)  # fmt: skip
REMOVED = dict(sort=Sort.NUMBER, at_least=0, at_most=100)
SHARPENINGS = _entries(
    "sharpenings.csv",
    "Pieces ground, one row a piece.",
    DIE,
    POSITION,
    AT,
    _need("removed_mm", "Ground away. Empty: not measured.", **REMOVED),
    REASON,
    *WORK_COLUMNS,
    same=("die", "position", "at"),
    plain=True,
)
OTHER_WORK = _entries(
    "other_work.csv",
    "Other work on pieces: dressed, turned, recoated, welded, shimmed, repaired, or ground on the bench.",
    _may("die", "The die.", longest=60),
    _may("position", "The position that the piece sat in.", longest=40),
    _may("piece", "Or the key of the piece, where it lay on the bench.", longest=120),
    AT,
    _must("operation", "What was done.", longest=30,
          choices=("ground", "dressed in the press", "turned to a fresh edge", "welded and recut", "recoated",
                   "spacer", "repaired")),
    _may("removed_mm", "Taken off.", **REMOVED),
    _may("raised_mm", "How much higher it stands by a spacer; with a minus where one came out.", Sort.NUMBER,
         at_least=-100, at_most=100),
    REASON,
    *WORK_COLUMNS,
    same=("die", "position", "piece", "at", "operation"),
)  # fmt: skip
READINGS = _entries(
    "readings.csv",
    "What was measured, on a position, a piece, a cut or the die.",
    _need("die", "The die.", longest=60),
    _need("position", "The position; empty: see the next columns, and else it is of the die.", longest=40),
    AT,
    _must("quantity", "What was measured: burr height, wear land, bore clearance ...", longest=60),
    _must("value", "The value as it was read.", longest=40),
    _must("unit", "Its unit.", longest=20),
    _may("value_si", "The value in SI units; must agree with value and unit.", Sort.NUMBER, at_least=-1e300,
         at_most=1e300),
    _may("at_length_mm", "Of a spring's force: the length that it had when it was measured.", Sort.NUMBER, above=0,
         at_most=10_000),
    _may("charged_to_mpa", "Of the pressure of a gas spring: what it was charged to after that.", Sort.NUMBER, above=0,
         at_most=100),
    _may("piece", "Key of the piece, where that was measured.", longest=120),
    _may("cut", "The cut, where that was measured.", longest=40),
    _may("cut_valid_from", "Which of the cuts of that name.", Sort.TIME),
    _may("parts_scrapped", "Parts thrown away for it. Empty: 0.", Sort.WHOLE, at_least=0, at_most=MOST),
    INTO_RUN,
    same=("die", "position", "piece", "cut", "at", "quantity", "value", "unit"),
    plain=True,
)  # fmt: skip
SHELF_MOVES = _entries(
    "shelf_moves.csv",
    "Spares that come and go. What is on the shelf is their sum. Two alike at one time: say their order_within_time.",
    _must("spare", "The spare.", longest=80),
    SPARE_REVISION,
    AT,
    _must("quantity", "Pieces, with a minus where they go.", Sort.WHOLE, at_least=-INT, at_most=INT),
    _must("kind", "Why. A count holds the difference that was found.", longest=12,
          choices=("count", "ordered", "delivered", "fitted", "scrapped", "correction", "cancelled", "drawn",
                   "returned", "sent out", "back", "moved", "sent back")),
    _may("place", "Empty: shelf.", longest=10, choices=("shelf", "on order", "drawn", "repair")),
    _may("piece", "Key of the piece, where it is known.", longest=120),
    _may("order_line", "Of an order to a supplier, the line: as in purchase_lines.csv.", longest=160),
    _may("die", "The die for which it was drawn, or from which it came back.", longest=60),
    _may("bench_work", "The work for which it was drawn, as in bench_works.csv.", longest=160),
    _may("supplier", "Who repairs it.", longest=40),
    _may("elsewhere", "The plant that it went to or came from.", longest=40),
    _may("length_mm", "Its length as it came back.", Sort.NUMBER, at_least=0.0001, at_most=10_000),
    _may("grinds_left", "Grinds left in it as it came back.", Sort.WHOLE, at_least=0, at_most=10_000),
    _may("worth", "What one is worth as it came back.", Sort.MONEY, at_least=0, at_most=MONEY),
    same=("spare", "spare_revision", "at", "kind", "place", "piece"),
)  # fmt: skip
COSTS = _entries(
    "costs.csv",
    "Money spent on a die beyond hours and spares at their rates.",
    _may("die", "The die.", longest=60),
    AT,
    _must("kind", "What for.", longest=12, choices=("build", "sharpening", "spares", "repair", "stop", "other")),
    _must("amount", "How much.", Sort.MONEY, at_least=-MONEY, at_most=MONEY),
    _may("payer", "Who pays, where not the shop.", longest=40),
    _may("work", "entry_id of the work it is for.", longest=160),
    _may("stop", "entry_id of the stop it is for.", longest=160),
    _may("bill", "The bill that it is a line of, as in bills.csv.", longest=64),
    _may("billed", "As it stands on that bill, in its currency.", Sort.MONEY, above=0, at_most=MONEY),
    _may("bench_work", "The work on the bench that it is for, as in bench_works.csv.", longest=160),
    _may("purchase", "The order that it is for, as in purchase_orders.csv.", longest=160),
    same=("die", "at", "kind", "payer", "work", "stop"),
)
HOURLY_RATES = Table(
    file="hourly_rates.csv",
    about="What an hour costs, from a day on, and the other figures that decisions are priced by.",
    same=("kind", "valid_from"),
    columns=(
        _must("kind", "Which hour, or which figure.", longest=20,
              choices=("toolroom hour", "press hour", "sorting hour", "scrapped part", "purchase order",
                       "hurried order", "late job", *limits.OF_RATES)),
        _must("valid_from", "The first day.", Sort.DATE),
        _must("amount", "Money an hour or a part; else the percent, parts or minutes.", Sort.MONEY, at_least=0,
              at_most=MONEY),
    ),
)  # fmt: skip

# In the order of loading: a table names only what tables before it, or rows of its own, have brought.
TABLES = (
    SETTINGS,
    PLANTS,
    PEOPLE,
    FIRMS,
    PRESSES,
    STRIP_STOCK,
    PARTS,
    VOLUMES,
    DIES,
    INSERTS,
    PARTS_PER_HIT,
    STATIONS,
    SPARES,
    *SOURCE_TABLES,
    COMPONENTS,
    CUTS,
    PIECES,
    HOURLY_RATES,
    ORDERS,
    REPLACEMENTS,
    RUNS,
    CORRECTIONS,
    RESTARTS,
    SET_UPS,
    STOPS,
    MISHAPS,
    SHARPENINGS,
    OTHER_WORK,
    READINGS,
    SHELF_MOVES,
    COSTS,
    *COUNTER_TABLES,
    *BENCH_TABLES,
    *INSPECTION_TABLES,
    *PURCHASE_TABLES,
    *BILL_TABLES,
    *PAYER_TABLES,
    *OUTLINE_TABLES,
    *OWNER_TABLES,
    *PHOTO_TABLES,
    *AMENDED_TABLES,
)
PLAIN = tuple(table for table in TABLES if table.plain)


def as_markdown(table: Table) -> str:
    """The description of a table as a Markdown section: * marks a column that must be there."""
    lines = [f"### {table.file}", "", table.about, "", "| column | what stands there | meaning |", "|---|---|---|"]
    shared = {c.name for c in ENTRY} if set(ENTRY) <= set(table.columns) else set()
    for column in table.columns:
        if column.name not in shared:
            lines.append(_line(column))
    if shared:
        lines += ["", "And the columns that every entry may carry."]
    return "\n".join(lines) + "\n"


def entry_columns_as_markdown() -> str:
    lines = ["### Columns that every entry may carry", "", "| column | what stands there | meaning |", "|---|---|---|"]
    return "\n".join(lines + [_line(column) for column in ENTRY]) + "\n"


def all_as_markdown() -> str:
    """Every table: the eight that are enough for a forecast first."""
    rest = [table for table in TABLES if not table.plain]
    return "\n".join([*map(as_markdown, PLAIN), *map(as_markdown, rest), entry_columns_as_markdown()])


def _line(column: Column) -> str:
    what = ", ".join(column.choices) if column.choices else column.sort.value
    star = "\\*" if column.needed else ""
    return f"| `{column.name}`{star} | {what} | {column.meaning} |"
