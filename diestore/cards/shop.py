"""The cards of the register itself. Orders of the customers are described in the app above, which has their table."""

from __future__ import annotations

from diestore import units
from diestore.access import roles
from diestore.handbook import build_doubts, hardness, materials, tool_steels
from diestore.register.models import Die, Item, Part, Party, Plant, Press, Rate, Stock, Volume

from .described import Below, Card, Typed

LEAD, BUYER = roles.EDIT_REGISTER, roles.EDIT_SPARES
STEELS, COATINGS = tuple(tool_steels.GRADES), tuple(tool_steels.COATINGS)


def _suppliers(rows):
    return rows.filter(role=Party.Role.SUPPLIER)


def _customers(rows):
    return rows.filter(role=Party.Role.CUSTOMER)


def doubts_of_stock(stock: Stock) -> list[str]:
    """Where the handbook expects another strength of the material."""
    known = materials.material(stock.material)
    if known is None:
        return [f"The handbook does not know “{stock.material}”; gap and wear are worked out from its strength alone."]
    span = known.tensile_mpa
    if span is not None and not span.low * 0.8 <= stock.tensile_mpa <= span.high * 1.2:
        return [
            f"{known.name} usually has {span.low:g} to {span.high:g} MPa; here stand {stock.tensile_mpa:g} MPa. "
            "Look at the certificate."
        ]
    return []


STEEL_STRIP = ("carbon steel", "high-strength steel")


def notes_of_stock(stock: Stock, system: units.System) -> list[str]:
    """What its hardness would be in tensile strength, where that can be said."""
    try:
        made = hardness.estimate(stock.hardness)
    except hardness.HardnessOutside as outside:
        return [f"Its tensile strength cannot be read from its hardness. {outside}"]
    if made is None:
        return []
    if materials.family_of(stock.material) not in STEEL_STRIP:
        return [f"{stock.hardness} is not converted to tensile strength: tables are for carbon and alloy steel alone."]
    span = made.tensile_mpa
    about = units.show_span(made.middle_mpa, made.middle_mpa, "stress_mpa", system, digits=2)
    between = units.show_span(span.low, span.high, "stress_mpa", system, digits=3)
    return [
        f"{made.value:g} {made.scale} would be about {about} of tensile strength (conversion, {between} by chart: "
        f"{span.source}). {hardness.CAUTION}"
    ]


def doubts_of_item(item: Item) -> list[str]:
    found = [doubt.text for doubt in build_doubts.of_hardness(item.tool_steel, item.hardness_hrc)]
    if item.tool_steel and tool_steels.grade(item.tool_steel) is None:
        found.append(f"The handbook does not know the tool steel “{item.tool_steel}”.")
    if item.grind_allowance_mm and item.length_mm and item.grind_allowance_mm >= item.length_mm:
        found.append("The grind allowance is as long as the piece itself.")
    return found


def notes_of_item(item: Item, system: units.System) -> list[str]:
    """What took its place, and what became of its pieces."""
    if item.newer is None:
        return []
    of_pieces = {
        Item.OldStock.USABLE: "Its pieces are still usable, and used up first.",
        Item.OldStock.RETIRED: "Its pieces are retired.",
    }
    return [
        f"{item.newer} took its place. {of_pieces[Item.OldStock(item.old_stock)]} Nothing of it is ordered any more."
    ]


PARTS = Card(
    key="parts", app="diestore", model=Part, one="part", many="parts",
    intro="What the shop makes: customer, burr limit, until when it is needed, how many a year.",
    typed=(
        Typed("number", "Part number"),
        Typed("revision", "Revision"),
        Typed("description", "What it is"),
        Typed("customer", "Customer", only=_customers),
        Typed("burr_limit_um", "Burr limit", "The highest burr that the customer takes."),
        Typed("last_needed", "Last needed on", "Forecasts and spares look no further ahead than this day."),
    ),
    columns=("number", "revision", "description", "customer", "burr_limit_um", "last_needed"),
    search=("number", "description", "customer__code", "customer__name"),
    see=(roles.SEE_COST,), edit=(LEAD,), related=("customer",),
    below=(
        Below("Volume by year", lambda row: row.volumes.order_by("year"), lambda v: f"{v.year}: {v.parts:,} parts",
              "diestore:volumes_card", "diestore:volumes_new", "part"),
        Below("Made by", lambda row: row.outputs.select_related("variant__die").order_by("variant__die__code", "pk"),
              lambda o: f"{o.variant.die}, {o.parts_per_hit} a hit", plant="variant__die__plant"),
    ),
)  # fmt: skip
VOLUMES = Card(
    key="volumes", app="diestore", model=Volume, one="volume of a year", many="volumes by year",
    intro="How many of a part are wanted in a year.",
    typed=(Typed("part", "Part"), Typed("year", "Year"), Typed("parts", "Parts in that year")),
    columns=("year", "part", "parts"), search=("part__number", "part__description"),
    see=(roles.SEE_COST,), edit=(LEAD,), related=("part",), order=("-year", "part"),
)  # fmt: skip
CUSTOMERS = Card(
    key="customers", app="diestore", model=Party, one="customer", many="customers",
    intro="Whom the parts go to, and who owns dies.",
    typed=(Typed("code", "Short name"), Typed("name", "Full name")),
    columns=("code", "name"), search=("code", "name"), see=(roles.SEE_COST,), edit=(LEAD,),
    always={"role": Party.Role.CUSTOMER},
    below=(
        Below("Parts", lambda row: row.part_set.order_by("number", "pk"), str, "diestore:parts_card",
              "diestore:parts_new", "customer"),
        Below("Owns", lambda row: row.dies_owned.order_by("code", "pk"), str, "diestore:die", plant="plant"),
    ),
)  # fmt: skip
SUPPLIERS = Card(
    key="suppliers", app="diestore", model=Party, one="supplier", many="suppliers",
    intro="Who sells spares and grinds for the shop.",
    typed=(Typed("code", "Short name"), Typed("name", "Full name")),
    columns=("code", "name"), search=("code", "name"), see=(roles.SEE_SPARES,), edit=(LEAD, BUYER),
    always={"role": Party.Role.SUPPLIER},
    below=(
        Below("Spares", lambda row: row.items.order_by("code", "pk"), str, "diestore:spares_card",
              "diestore:spares_new", "supplier"),
    ),
)  # fmt: skip
SPARES = Card(
    key="spares", app="diestore", model=Item, one="spare", many="spares",
    intro="The catalogue: what is bought for the dies, from whom, how long it takes, what it costs.",
    typed=(
        Typed("code", "Code"),
        Typed("revision", "Revision"),
        Typed("description", "What it is"),
        Typed("kind", "Kind of component"),
        Typed("supplier", "Supplier", only=_suppliers),
        Typed("lead_days", "Lead time, days", "From the order to the shelf."),
        Typed("unit_price", "Price of one"),
        Typed("pack_size", "Sold in packs of", "Empty: one by one."),
        Typed("shelf_place", "Place on the shelf", "Rack and bin, such as C-14. It is printed on bench sheets."),
        Typed("criticality", "If none is there"),
        Typed("tool_steel", "Tool steel", offers=STEELS),
        Typed("coating", "Coating", offers=COATINGS),
        Typed("hardness_hrc", "Hardness"),
        Typed("length_mm", "Length when new"),
        Typed("grind_allowance_mm", "Grind allowance", "What may be ground away in all."),
        Typed("spring_rate_n_mm", "Spring rate", "Of a coil spring, as its maker prints it."),
        Typed("spring_class", "Spring standard and colour", "Both, as ISO 10243 red: colours differ by standard."),
        Typed("gas_force_n", "Force of a gas spring", "Rod out, at the pressure that it is charged to.", must_say=True),
        Typed("gas_charge_mpa", "Charged to", "The pressure of a gas spring, as its maker says."),
    ),
    columns=("code", "revision", "description", "kind", "supplier", "lead_days", "unit_price", "shelf_place"),
    search=("code", "description", "shelf_place", "tool_steel", "supplier__code", "supplier__name"),
    see=(roles.SEE_SPARES,), edit=(LEAD, BUYER), related=("supplier", "newer"), doubts=doubts_of_item,
    notes=notes_of_item, acts=(("Another takes its place", "maintenance:revision"),),
    below=(
        Below("Took the place of", lambda row: row.older.order_by("code", "revision", "pk"), str,
              "diestore:spares_card"),
        Below("Fits", lambda row: row.positions.select_related("die").order_by("die__code", "code", "pk"),
              lambda p: f"{p.code} of {p.die}", plant="die__plant"),
    ),
)  # fmt: skip
PRESSES = Card(
    key="presses", app="diestore", model=Press, one="press", many="presses",
    intro="What the dies run in, and what it can take.",
    typed=(
        Typed("code", "Press"),
        Typed("plant", "Plant"),
        Typed("rated_force_n", "Rated force", "With its unit, as its plate says: kN or US tons.", must_say=True),
        Typed("shut_height_min_mm", "Least shut height"),
        Typed("shut_height_max_mm", "Greatest shut height"),
        Typed("frame", "Frame", "Says how much of the rated force is advised in running work."),
        Typed("stroke_mm", "Stroke"),
        Typed("rated_at_mm", "Rated force holds to", "So far above the bottom of the stroke, as the maker says."),
        Typed("strokes_least", "Strokes a minute, least"),
        Typed("strokes_most", "Strokes a minute, most"),
        Typed("passline_min_mm", "Feed, lowest passline", "Strip above the bed."),
        Typed("passline_max_mm", "Feed, highest passline"),
        Typed("upper_weight_max_kg", "Heaviest upper half", "What slide and counterbalance carry, as the maker says."),
    ),
    columns=("code", "plant", "rated_force_n", "shut_height_min_mm", "shut_height_max_mm"),
    search=("code",), see=(roles.LOG_SHARPENING,), edit=(LEAD,), plant="plant", related=("plant",),
    below=(Below("Usual press of", lambda row: row.dies.order_by("code", "pk"), str, "diestore:die", plant="plant"),),
)  # fmt: skip
STOCKS = Card(
    key="stocks", app="diestore", model=Stock, one="strip stock", many="strip stock",
    intro="What the strip is: a material at one thickness. Gaps and wear are worked out from it.",
    typed=(
        Typed("code", "Short name"),
        Typed("material", "Material", offers=tuple(materials.MATERIALS)),
        Typed("thickness_mm", "Thickness"),
        Typed("tensile_mpa", "Tensile strength"),
        Typed("shear_mpa", "Shear strength", "Empty: worked out from the tensile strength."),
        Typed("hardness", "Hardness, as stated"),
        Typed("price_kg", "A kilogram costs", "By it a scrapped part is worth something; empty: not known."),
        Typed("scrap_kg", "A kilogram of scrap brings"),
        Typed("source", "Where that is from", "Certificate, standard or measurement."),
    ),
    columns=("code", "material", "thickness_mm", "tensile_mpa", "source"), search=("code", "material", "source"),
    see=(roles.LOG_SHARPENING,), edit=(LEAD,), doubts=doubts_of_stock,
    notes=notes_of_stock,
    below=(Below("Usual stock of", lambda row: row.dies.order_by("code", "pk"), str, "diestore:die", plant="plant"),),
)  # fmt: skip
RATES = Card(
    key="rates", app="diestore", model=Rate, one="rate", many="rates",
    intro="What an hour costs, from a day on, and what else decisions are priced by. A new rate is entered; what was "
          "paid before keeps the old one.",
    typed=(
        Typed("kind", "What"),
        Typed("plant", "Plant"),
        Typed("valid_from", "Holds from"),
        Typed("amount", "Amount", "Of an hour and of a scrapped part in the shop's currency."),
    ),
    columns=("kind", "plant", "valid_from", "amount"), search=("kind",), see=(roles.SEE_COST,), edit=(LEAD,),
    plant="plant", related=("plant",),
)  # fmt: skip
PLANTS = Card(
    key="plants", app="diestore", model=Plant, one="plant", many="plants",
    intro="Where dies, presses and people belong. Most shops have one.",
    typed=(Typed("code", "Short name"), Typed("name", "Full name")),
    columns=("code", "name"), search=("code", "name"), see=(), edit=(LEAD,), plant="pk",
    below=(
        Below("Presses", lambda row: row.presses.order_by("code", "pk"), str, "diestore:presses_card", plant="plant"),
        Below("Dies", lambda row: row.dies.order_by("code", "pk"), str, "diestore:die", plant="plant"),
    ),
)  # fmt: skip
DIES = Card(
    key="dies", app="diestore", model=Die, one="die", many="dies",
    intro="What it is called, runs on and costs. What it is made of is on its die card.",
    typed=(
        Typed("code", "Name of the die"),
        Typed("description", "What it makes, in words"),
        Typed("owner", "Owner", "Where a customer owns it.", only=_customers),
        Typed("usual_stock", "Strip stock"),
        Typed("usual_press", "Usual press"),
        Typed("strokes_per_minute", "Strokes a minute"),
        Typed("build_price", "What it cost to build"),
        Typed("expected_parts", "Parts it is built for"),
        Typed("status", "In use?"),
        Typed("shut_height_mm", "Shut height", "Closed, shoes and all, as it was last measured."),
        Typed("passline_mm", "Passline", "Strip above the bed of the press."),
        Typed("feed_pitch_mm", "Feed pitch"),
        Typed("pilot_release_mm", "Pilot release", "So far above the bottom of the stroke the feed lets go."),
        Typed("strip_width_mm", "Strip width"),
        Typed("oil", "Oil on the strip"),
        Typed("stroke_needed_mm", "Stroke it needs", "The least: strip and parts clear the punches."),
        Typed("contact_mm", "First punch meets the strip", "So far above the bottom of the stroke."),
        Typed("stagger_mm", "Step between height groups", "Each meets the strip so much after the one before."),
        Typed("spring_fitted_mm", "Stripper springs fitted at", "Their length in the open die."),
        Typed("stripper_travel_mm", "Travel of the stripper", "By so much they are shorter in the closed die."),
        Typed("weight_kg", "Weight of the die"),
        Typed("upper_weight_kg", "Weight of its upper half"),
    ),
    columns=("code", "description", "status"), search=("code", "description"),
    see=(), edit=(LEAD,), plant="plant", related=("owner", "usual_stock", "usual_press", "plant"),
    out=("Retire it", "Use it again", "{} is retired.", "{} is used again.", "retired"),
    acts=(
        ("Die card", "maintenance:die_card"), ("Who pays", "maintenance:payers"),
        ("End of life", "maintenance:retirement?die"), ("The die", "diestore:die"),
    ),
    elsewhere={"": "diestore:dies", "new": "diestore:die_new"},
)  # fmt: skip

CARDS = (DIES, PARTS, VOLUMES, CUSTOMERS, SUPPLIERS, SPARES, PRESSES, STOCKS, RATES, PLANTS)
