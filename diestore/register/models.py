"""The register: what the shop owns and what it makes. What happens to these things stands in `maintenance`."""

from __future__ import annotations

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from simple_history.models import HistoricalRecords

from diestore.access import roles
from diestore.handbook import limits, springs, wear_limits
from diestore.handbook.cutting import Frame
from diestore.handbook.kinds import KINDS
from diestore.money import MoneyField

from .within import Within, in_order

NO_LONGER = _("No longer offered; what was, stays.")


def kind_choices() -> list[tuple[str, object]]:
    return [(kind.key, _(kind.english)) for kind in KINDS.values()]


class Side(models.TextChoices):
    UPPER = "upper", _("punch side")
    LOWER = "lower", _("die side")


class Plant(models.Model):
    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name or self.code


class Party(models.Model):
    class Role(models.TextChoices):
        CUSTOMER = "customer", _("customer")
        SUPPLIER = "supplier", _("supplier")

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120, blank=True)
    role = models.CharField(max_length=10, choices=Role)
    retired_at = models.DateTimeField(null=True, blank=True, help_text=NO_LONGER)

    class Meta:
        ordering = ["code"]
        verbose_name_plural = _("parties")

    def __str__(self) -> str:
        return self.name or self.code


class Press(models.Model):
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="presses")
    code = models.CharField(max_length=40)
    rated_force_n = models.FloatField(null=True, blank=True, validators=[Within("press", "rated_force_n")])
    shut_height_min_mm = models.FloatField(null=True, blank=True, validators=[Within("press", "shut_height_min_mm")])
    shut_height_max_mm = models.FloatField(null=True, blank=True, validators=[Within("press", "shut_height_max_mm")])
    frame = models.CharField(max_length=20, blank=True, choices=[(frame.value, frame.value) for frame in Frame])
    stroke_mm = models.FloatField(null=True, blank=True, validators=[Within("press", "stroke_mm")])
    rated_at_mm = models.FloatField(
        null=True,
        blank=True,
        validators=[Within("press", "rated_at_mm")],
        help_text=_("So far above the bottom of the stroke the rated force holds."),
    )
    strokes_least = models.FloatField(null=True, blank=True, validators=[Within("press", "strokes_least")])
    strokes_most = models.FloatField(null=True, blank=True, validators=[Within("press", "strokes_most")])
    passline_min_mm = models.FloatField(null=True, blank=True, validators=[Within("press", "passline_min_mm")])
    passline_max_mm = models.FloatField(null=True, blank=True, validators=[Within("press", "passline_max_mm")])
    upper_weight_max_kg = models.FloatField(null=True, blank=True, validators=[Within("press", "upper_weight_max_kg")])
    FOR_SET_UP = (
        "frame",
        "stroke_mm",
        "rated_at_mm",
        "strokes_least",
        "strokes_most",
        "passline_min_mm",
        "passline_max_mm",
        "upper_weight_max_kg",
    )  # beside rated force and shut heights
    retired_at = models.DateTimeField(null=True, blank=True, help_text=NO_LONGER)

    class Meta:
        ordering = ["code"]
        verbose_name_plural = _("presses")
        constraints = [
            models.UniqueConstraint(fields=["plant", "code"], name="press_once_a_plant"),
            models.CheckConstraint(
                condition=Q(rated_force_n__isnull=True) | Q(rated_force_n__gt=0), name="press_force_positive"
            ),
        ]

    def __str__(self) -> str:
        return self.code

    def clean(self) -> None:
        in_order("press", self)


class Stock(models.Model):
    """A stock material at one thickness: what the strip is."""

    code = models.CharField(max_length=80, unique=True)
    material = models.CharField(max_length=120)
    tensile_mpa = models.FloatField(validators=[Within("stock", "tensile_mpa")])
    shear_mpa = models.FloatField(null=True, blank=True, validators=[Within("stock", "shear_mpa")])
    hardness = models.CharField(max_length=40, blank=True)
    thickness_mm = models.FloatField(validators=[Within("stock", "thickness_mm")])
    price_kg = MoneyField(null=True, blank=True, help_text=_("What a kilogram of it costs."))
    scrap_kg = MoneyField(null=True, blank=True, help_text=_("What a kilogram of its scrap brings."))
    source = models.CharField(max_length=200, blank=True, help_text=_("Certificate, standard or measurement."))
    retired_at = models.DateTimeField(null=True, blank=True, help_text=NO_LONGER)
    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(condition=Q(tensile_mpa__gt=0), name="stock_tensile_positive"),
            models.CheckConstraint(condition=Q(thickness_mm__gt=0), name="stock_thickness_positive"),
            models.CheckConstraint(
                condition=(Q(price_kg__isnull=True) | Q(price_kg__gte=0))
                & (Q(scrap_kg__isnull=True) | Q(scrap_kg__gte=0)),
                name="stock_prices_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Part(models.Model):
    number = models.CharField(max_length=80)
    revision = models.CharField(max_length=20, blank=True)
    description = models.CharField(max_length=200, blank=True)
    customer = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT)
    burr_limit_um = models.FloatField(null=True, blank=True, validators=[Within("part", "burr_limit_um")])
    last_needed = models.DateField(null=True, blank=True)
    retired_at = models.DateTimeField(null=True, blank=True, help_text=NO_LONGER)

    class Meta:
        ordering = ["number", "revision"]
        constraints = [models.UniqueConstraint(fields=["number", "revision"], name="part_revision_once")]

    def __str__(self) -> str:
        return f"{self.number} {self.revision}".strip()


class Volume(models.Model):
    """How many of a part are wanted in a year."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="volumes")
    year = models.PositiveIntegerField(validators=[Within("volume", "year")])
    parts = models.BigIntegerField(validators=[Within("volume", "parts")])

    class Meta:
        ordering = ["part", "year"]
        verbose_name = _("volume of a year")
        verbose_name_plural = _("volumes by year")
        constraints = [models.UniqueConstraint(fields=["part", "year"], name="volume_once_a_year")]

    def __str__(self) -> str:
        return f"{self.part} in {self.year}"


class Die(models.Model):
    class Status(models.TextChoices):
        IN_SERVICE = "in service", _("in service")
        STORED = "stored", _("stored")
        IN_REPAIR = "in repair", _("in repair")
        RETIRED = "retired", _("retired")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="dies")
    code = models.CharField(max_length=60)
    description = models.CharField(max_length=200, blank=True)
    owner = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT, related_name="dies_owned")
    usual_stock = models.ForeignKey(Stock, on_delete=models.PROTECT, related_name="dies")
    usual_press = models.ForeignKey(Press, null=True, blank=True, on_delete=models.PROTECT, related_name="dies")
    strokes_per_minute = models.FloatField(validators=[Within("die", "strokes_per_minute")])
    build_price = MoneyField(null=True, blank=True)
    expected_parts = models.BigIntegerField(
        null=True, blank=True, help_text=_("Parts the die is built for."), validators=[Within("die", "expected_parts")]
    )
    status = models.CharField(max_length=12, choices=Status, default=Status.IN_SERVICE)
    shut_height_mm = models.FloatField(null=True, blank=True, validators=[Within("die", "shut_height_mm")])
    passline_mm = models.FloatField(
        null=True,
        blank=True,
        validators=[Within("die", "passline_mm")],
        help_text=_("Strip above the bed of the press."),
    )
    stroke_needed_mm = models.FloatField(null=True, blank=True, validators=[Within("die", "stroke_needed_mm")])
    contact_mm = models.FloatField(
        null=True,
        blank=True,
        validators=[Within("die", "contact_mm")],
        help_text=_("So far above the bottom of the stroke the first punch meets the strip."),
    )
    stagger_mm = models.FloatField(
        null=True,
        blank=True,
        validators=[Within("die", "stagger_mm")],
        help_text=_("Each height group meets the strip so much after the one before."),
    )
    feed_pitch_mm = models.FloatField(null=True, blank=True, validators=[Within("die", "feed_pitch_mm")])
    pilot_release_mm = models.FloatField(
        null=True,
        blank=True,
        validators=[Within("die", "pilot_release_mm")],
        help_text=_("So far above the bottom of the stroke the feed lets go of the strip, for the pilots."),
    )
    strip_width_mm = models.FloatField(null=True, blank=True, validators=[Within("die", "strip_width_mm")])
    oil = models.CharField(max_length=80, blank=True)
    spring_fitted_mm = models.FloatField(
        null=True,
        blank=True,
        validators=[Within("die", "spring_fitted_mm")],
        help_text=_("Length of its stripper springs in the open die."),
    )
    stripper_travel_mm = models.FloatField(null=True, blank=True, validators=[Within("die", "stripper_travel_mm")])
    weight_kg = models.FloatField(null=True, blank=True, validators=[Within("die", "weight_kg")])
    upper_weight_kg = models.FloatField(null=True, blank=True, validators=[Within("die", "upper_weight_kg")])
    FOR_SET_UP = (
        "shut_height_mm",
        "passline_mm",
        "feed_pitch_mm",
        "pilot_release_mm",
        "strip_width_mm",
        "oil",
        "stroke_needed_mm",
        "contact_mm",
        "stagger_mm",
        "spring_fitted_mm",
        "stripper_travel_mm",
        "weight_kg",
        "upper_weight_kg",
    )
    history = HistoricalRecords()

    class Meta:
        ordering = ["code"]
        permissions = [(code.split(".")[1], name) for code, name in roles.PERMISSIONS]
        constraints = [
            models.UniqueConstraint(fields=["plant", "code"], name="die_once_a_plant"),
            models.CheckConstraint(condition=Q(strokes_per_minute__gt=0), name="die_strokes_positive"),
            models.CheckConstraint(
                condition=Q(expected_parts__isnull=True) | Q(expected_parts__gt=0), name="die_parts_positive"
            ),
            models.CheckConstraint(
                condition=Q(build_price__isnull=True) | Q(build_price__gte=0), name="die_price_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return self.code

    def clean(self) -> None:
        in_order("die", self)


class Variant(models.Model):
    """A set of interchangeable inserts; every die has its default one."""

    die = models.ForeignKey(Die, on_delete=models.CASCADE, related_name="variants")
    code = models.CharField(max_length=40, default="standard")
    is_default = models.BooleanField(default=False)

    class Meta:
        ordering = ["die", "-is_default", "code"]
        constraints = [
            models.UniqueConstraint(fields=["die", "code"], name="variant_once_a_die"),
            models.UniqueConstraint(fields=["die"], condition=Q(is_default=True), name="one_default_variant"),
        ]

    def __str__(self) -> str:
        return self.code


class Output(models.Model):
    """What falls out of the die at one hit: left and right from one hit are two outputs."""

    variant = models.ForeignKey(Variant, on_delete=models.CASCADE, related_name="outputs")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="outputs")
    parts_per_hit = models.PositiveIntegerField(default=1, validators=[Within("output", "parts_per_hit")])

    class Meta:
        ordering = ["variant", "part"]
        constraints = [
            models.UniqueConstraint(fields=["variant", "part"], name="output_once_a_variant"),
            models.CheckConstraint(condition=Q(parts_per_hit__gte=1), name="output_at_least_one"),
        ]

    def __str__(self) -> str:
        return f"{self.part} × {self.parts_per_hit}"


class Station(models.Model):
    die = models.ForeignKey(Die, on_delete=models.CASCADE, related_name="stations")
    sequence = models.PositiveIntegerField(validators=[Within("station", "sequence")])
    code = models.CharField(max_length=40)
    operation = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering = ["die", "sequence"]
        constraints = [models.UniqueConstraint(fields=["die", "code"], name="station_once_a_die")]

    def __str__(self) -> str:
        return self.code


class Item(models.Model):
    """The catalogue of spares: what is bought, not the piece that sits in a die."""

    class Criticality(models.TextChoices):
        STOPS = "stops the press", _("stops the press")
        SLOWS = "slows the job", _("slows the job")
        WAITS = "can wait", _("can wait")

    class OldStock(models.TextChoices):
        USABLE = "usable", _("still usable")
        RETIRED = "retired", _("retired")

    code = models.CharField(max_length=80)
    revision = models.CharField(max_length=20, blank=True)
    description = models.CharField(max_length=200, blank=True)
    kind = models.CharField(max_length=30, blank=True, choices=kind_choices)
    tool_steel = models.CharField(max_length=40, blank=True)
    coating = models.CharField(max_length=40, blank=True)
    hardness_hrc = models.FloatField(null=True, blank=True, validators=[Within("item", "hardness_hrc")])
    length_mm = models.FloatField(null=True, blank=True, validators=[Within("item", "length_mm")])
    grind_allowance_mm = models.FloatField(null=True, blank=True, validators=[Within("item", "grind_allowance_mm")])
    spring_rate_n_mm = models.FloatField(null=True, blank=True, validators=[Within("item", "spring_rate_n_mm")])
    spring_class = models.CharField(max_length=40, blank=True, help_text=_("Its standard and colour: ISO 10243 red."))
    gas_force_n = models.FloatField(
        null=True,
        blank=True,
        validators=[Within("item", "gas_force_n")],
        help_text=_("Of a gas spring, rod out, at the pressure that it is charged to."),
    )
    gas_charge_mpa = models.FloatField(null=True, blank=True, validators=[Within("item", "gas_charge_mpa")])
    criticality = models.CharField(max_length=20, blank=True, choices=Criticality)
    supplier = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT, related_name="items")
    lead_days = models.PositiveIntegerField(null=True, blank=True, validators=[Within("item", "lead_days")])
    unit_price = MoneyField(null=True, blank=True)
    pack_size = models.PositiveIntegerField(default=1, validators=[Within("item", "pack_size")])
    shelf_place = models.CharField(max_length=40, blank=True, help_text=_("Where in the store it lies."))
    retired_at = models.DateTimeField(null=True, blank=True, help_text=NO_LONGER)
    newer = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="older")
    old_stock = models.CharField(
        max_length=8, blank=True, choices=OldStock, help_text=_("Once another took its place.")
    )
    history = HistoricalRecords()

    class Meta:
        ordering = ["code", "revision"]
        constraints = [
            models.CheckConstraint(
                condition=Q(newer=None, old_stock="") | (Q(newer__isnull=False) & ~Q(old_stock="")),
                name="item_says_what_of_old_stock",
            ),
            models.CheckConstraint(condition=Q(newer=None) | ~Q(newer=F("pk")), name="item_not_its_own_newer"),
            models.UniqueConstraint(fields=["code", "revision"], name="item_revision_once"),
            models.CheckConstraint(condition=Q(pack_size__gte=1), name="item_pack_at_least_one"),
            models.CheckConstraint(
                condition=Q(unit_price__isnull=True) | Q(unit_price__gte=0), name="item_price_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(grind_allowance_mm__isnull=True) | Q(grind_allowance_mm__gte=0),
                name="item_allowance_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.revision}".strip()

    def clean(self) -> None:
        try:
            springs.class_of(self.spring_class)
        except springs.SpringError as error:
            raise ValidationError({"spring_class": str(error)}) from error
        if self.newer is not None and self.newer.newer is not None:
            raise ValidationError({"newer": self.newer.gave_way()})
        if self.old_stock == self.OldStock.RETIRED and self.retired_at is None:
            said = _("Its pieces were retired when {newer} took its place. Strike that change out instead.").format(
                newer=self.newer
            )
            raise ValidationError({"retired_at": said})
        self._check_its_source()

    def gave_way(self) -> str:
        return _("{newer} took the place of {spare}. Name that one.").format(newer=self.newer, spare=self)

    def _check_its_source(self) -> None:
        """What a preferred source tells is changed there; the item follows."""
        source = self.sources.filter(preferred=True).first() if self.pk else None
        stood = None if source is None else type(self).objects.filter(pk=self.pk).first()
        if stood is None:
            return
        said = _(
            "{source} is its preferred source and says so: change it at “Who supplies it” on the spare's page."
        ).format(source=source)
        names = {"supplier_id": "supplier", "lead_days": "", "unit_price": "", "pack_size": ""}
        wrong = [label or name for name, label in names.items() if getattr(self, name) != getattr(stood, name)]
        if wrong:
            raise ValidationError(dict.fromkeys(wrong, said))


class Position(models.Model):
    """A place in the die that a piece sits in: '3-A'."""

    die = models.ForeignKey(Die, on_delete=models.CASCADE, related_name="positions")
    station = models.ForeignKey(Station, null=True, blank=True, on_delete=models.PROTECT, related_name="positions")
    code = models.CharField(max_length=40)
    kind = models.CharField(max_length=30, choices=kind_choices)
    side = models.CharField(max_length=5, choices=Side)
    item = models.ForeignKey(
        Item,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="positions",
        help_text=_("The spare for it."),
    )
    x_mm = models.FloatField(null=True, blank=True, validators=[Within("position", "x_mm")])
    y_mm = models.FloatField(null=True, blank=True, validators=[Within("position", "y_mm")])
    height_group = models.CharField(max_length=20, blank=True, help_text=_("Punches that enter together."))
    seat_mm = models.FloatField(
        null=True,
        blank=True,
        help_text=_("How far its seat lies from the plate that heights are measured from, towards the strip."),
        validators=[Within("position", "seat_mm")],
    )
    stroke_share = models.FloatField(
        default=1.0,
        help_text=_("Share of the strokes in which it works."),
        validators=[Within("position", "stroke_share")],
    )
    variants = models.ManyToManyField(Variant, blank=True, related_name="positions", help_text=_("None named: all."))
    wear_of = models.CharField(
        max_length=60, blank=True, help_text=_("What is measured of its wear, as readings call it: bore clearance.")
    )
    wear_limit = models.FloatField(
        validators=[Within("position", "wear_limit")],
        null=True,
        blank=True,
        help_text=_("Where it is changed: lengths and clearances in mm, forces in N, pressures in MPa."),
    )
    valid_from = models.DateTimeField(null=True, blank=True)
    valid_to = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["die", "station__sequence", "code"]
        constraints = [
            models.UniqueConstraint(fields=["die", "code"], name="position_once_a_die"),
            models.CheckConstraint(
                condition=Q(stroke_share__gt=0) & Q(stroke_share__lte=1), name="position_share_of_strokes"
            ),
            models.CheckConstraint(
                condition=Q(valid_from__isnull=True) | Q(valid_to__isnull=True) | Q(valid_from__lt=F("valid_to")),
                name="position_from_before_to",
            ),
            models.CheckConstraint(
                condition=Q(wear_of="", wear_limit__isnull=True) | (~Q(wear_of="") & Q(wear_limit__gt=0)),
                name="position_wear_limit_whole",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    def clean(self) -> None:
        if self.wear_of and wear_limits.named(self.wear_of) is None:
            raise ValidationError({"wear_of": wear_limits.UNKNOWN})
        if self.item is not None and self.item.newer is not None and self.valid_to is None:
            raise ValidationError({"item": self.item.gave_way()})
        if self.station_id and self.die_id and self.station.die_id != self.die_id:
            raise ValidationError(
                {"station": _("Station {station} is of die {die}.").format(station=self.station, die=self.station.die)}
            )


class Cut(models.Model):
    """One contour that is cut. Its edges are its sides: the punch's (upper) and the die's (lower).

    The gap is per side and in mm: the percentage of thickness follows from the stock that was really run.
    """

    die = models.ForeignKey(Die, on_delete=models.CASCADE, related_name="cuts")
    code = models.CharField(max_length=40)
    upper = models.ForeignKey(Position, null=True, blank=True, on_delete=models.PROTECT, related_name="cuts_as_punch")
    lower = models.ForeignKey(Position, null=True, blank=True, on_delete=models.PROTECT, related_name="cuts_as_die")
    length_mm = models.FloatField(validators=[Within("cut", "length_mm")])
    gap_mm = models.FloatField(null=True, blank=True, validators=[Within("cut", "gap_mm")])
    valid_from = models.DateTimeField(null=True, blank=True)
    valid_to = models.DateTimeField(null=True, blank=True)
    history = HistoricalRecords()

    class Meta:
        ordering = ["die", "code"]
        constraints = [
            models.CheckConstraint(condition=Q(upper__isnull=False) | Q(lower__isnull=False), name="cut_has_an_edge"),
            models.CheckConstraint(condition=Q(length_mm__gt=0), name="cut_length_positive"),
            models.CheckConstraint(condition=Q(gap_mm__isnull=True) | Q(gap_mm__gte=0), name="cut_gap_not_negative"),
            models.CheckConstraint(
                condition=Q(valid_from__isnull=True) | Q(valid_to__isnull=True) | Q(valid_from__lt=F("valid_to")),
                name="cut_from_before_to",
            ),
            models.UniqueConstraint(fields=["die", "code", "valid_from"], name="cut_once_a_date"),
            models.UniqueConstraint(
                fields=["die", "code"], condition=Q(valid_from__isnull=True), name="cut_once_from_the_start"
            ),
        ]

    def __str__(self) -> str:
        return self.code

    def clean(self) -> None:
        """Both places are of this die, each on its side."""
        for name, side in (("upper", Side.UPPER), ("lower", Side.LOWER)):
            place = getattr(self, name)
            if place is None or not self.die_id:
                continue
            if place.die_id != self.die_id:
                raise ValidationError({name: _("Place {place} is of die {die}.").format(place=place, die=place.die)})
            if place.side != side:
                raise ValidationError(
                    {name: _("Place {place} is on the {side}.").format(place=place, side=place.get_side_display())}
                )


class Piece(models.Model):
    """One physical component. Cheap ones carry no mark. How it stood when the records began is its opening."""

    class Opening(models.TextChoices):
        NEW = "new", _("new")
        COUNTED = "counted", _("counted")
        ESTIMATED = "estimated", _("estimated")
        UNKNOWN = "unknown", _("unknown")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="pieces")
    key = models.CharField(max_length=120, unique=True)
    item = models.ForeignKey(Item, null=True, blank=True, on_delete=models.PROTECT, related_name="pieces")
    mark = models.CharField(max_length=60, blank=True)
    tool_steel = models.CharField(max_length=40, blank=True)
    coating = models.CharField(max_length=40, blank=True)
    hardness_hrc = models.FloatField(null=True, blank=True, validators=[Within("piece", "hardness_hrc")])
    length_mm = models.FloatField(null=True, blank=True, validators=[Within("piece", "length_mm")])
    grind_allowance_mm = models.FloatField(null=True, blank=True, validators=[Within("piece", "grind_allowance_mm")])
    opening = models.CharField(max_length=9, choices=Opening, default=Opening.NEW)
    opening_life_hits = models.BigIntegerField(null=True, blank=True, validators=[Within("piece", "opening_life_hits")])
    opening_hits_since_sharpening = models.BigIntegerField(
        null=True, blank=True, validators=[Within("piece", "opening_hits_since_sharpening")]
    )
    history = HistoricalRecords()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "mark"], condition=~Q(mark=""), name="piece_mark_once_a_plant"),
            models.CheckConstraint(
                condition=Q(opening_life_hits__isnull=True) | Q(opening_life_hits__gte=0),
                name="piece_life_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(opening_hits_since_sharpening__isnull=True) | Q(opening_hits_since_sharpening__gte=0),
                name="piece_since_sharpening_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(grind_allowance_mm__isnull=True) | Q(grind_allowance_mm__gte=0),
                name="piece_allowance_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return self.mark or f"piece {self.pk}"


class Rate(models.Model):
    """What an hour costs, from a date on, and the other figures that decisions are priced by."""

    class Kind(models.TextChoices):
        TOOLROOM_HOUR = "toolroom hour", _("toolroom hour")
        PRESS_HOUR = "press hour", _("press hour")
        SORTING_HOUR = "sorting hour", _("sorting hour")
        SCRAPPED_PART = "scrapped part", _("scrapped part: what it is worth")
        PARTS_SORTED = "parts sorted an hour", _("parts sorted in an hour")
        REFIT_PERCENT = "refit percent", _("pulling, taking apart, putting back: % of a sharpening's hours")
        READING_MINUTES = "reading minutes", _("minutes to measure one burr")
        PURCHASE_ORDER = "purchase order", _("purchase order: placing, receiving and paying one")
        HURRIED_ORDER = "hurried order", _("hurried order of a spare: what it costs more")
        LATE_JOB = "late job", _("late job: what one costs that waits for a spare")
        CAPITAL_PERCENT = "capital percent", _("money tied up in spares: % a year")
        KEEPING_PERCENT = "keeping percent", _("room and care of spares: % of their price a year")
        AGEING_PERCENT = "ageing percent", _("spares that nothing needs any more: % a year")
        LEVEL_PERCENT = "spares level percent", _("spares: enough so many times in 100, instead of by cost")

    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="rates")
    kind = models.CharField(max_length=20, choices=Kind)
    valid_from = models.DateField()
    amount = MoneyField()
    history = HistoricalRecords()

    class Meta:
        ordering = ["kind", "-valid_from"]
        constraints = [
            models.UniqueConstraint(fields=["plant", "kind", "valid_from"], name="rate_once_a_day"),
            models.CheckConstraint(condition=Q(amount__gte=0), name="rate_not_negative"),
            *(
                models.CheckConstraint(
                    condition=~Q(kind=kind) | Q(amount__gte=limit.least, amount__lte=limit.most),
                    name=f"rate_{kind.replace(' ', '_')}_possible",
                    violation_error_message=f"{kind.capitalize()}: enter {limit.least:,} to {limit.most:,}.",
                )
                for kind, limit in limits.OF_RATES.items()
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} from {self.valid_from}"


class Amendment(models.Model):
    """One change of the register: which row, from when it holds, what was and what is, why, and who says so.

    Written by `actions` only. One that was wrong is struck out: it stays, is seen, and counts for nothing.
    """

    class Sort(models.TextChoices):
        ENTERED = "entered", _("entered")
        CHANGED = "changed", _("changed")
        CORRECTED = "corrected", _("typing error put right")
        RETIRED = "retired", _("retired")
        RESTORED = "restored", _("brought back")
        MERGED = "merged", _("duplicate joined to it")
        DELETED = "deleted", _("deleted")

    table = models.CharField(max_length=60, help_text="The row's table, as diestore.cut.")
    row_key = models.CharField(max_length=20, help_text="Of a cut, the key of its first row.")
    called = models.CharField(max_length=200, help_text="What the row was called then.")
    die = models.ForeignKey(Die, null=True, blank=True, on_delete=models.SET_NULL, related_name="amendments")
    plant = models.ForeignKey(Plant, null=True, blank=True, on_delete=models.SET_NULL, related_name="amendments")
    sort = models.CharField(max_length=10, choices=Sort)
    at = models.DateTimeField(null=True, blank=True, help_text="Since when it is so; empty: it was never otherwise.")
    fields = models.JSONField(default=dict, help_text="Of each column: was and now, as stored and as read.")
    kept = models.JSONField(null=True, blank=True, help_text="Rows that went, and what stood on them.")
    opened_row = models.BooleanField(default=False, help_text="Began a row of its own, which goes when it is struck.")
    reason = models.CharField(max_length=300, blank=True)
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    who = models.CharField(max_length=150, blank=True, help_text="The name, where the user goes.")
    recorded_at = models.DateTimeField(default=timezone.now)
    struck_at = models.DateTimeField(null=True, blank=True)
    struck_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    struck_who = models.CharField(max_length=150, blank=True)
    struck_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-recorded_at", "-pk"]
        indexes = [
            models.Index(fields=["table", "row_key", "at"], name="amendment_by_row"),
            models.Index(fields=["die", "recorded_at"], name="amendment_by_die"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(sort="entered") | ~Q(reason=""),
                name="amendment_has_a_reason",
            ),
            models.CheckConstraint(
                condition=Q(struck_at__isnull=True, struck_reason="")
                | (Q(struck_at__isnull=False) & ~Q(struck_reason="")),
                name="amendment_struck_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.called}: {self.get_sort_display()}"

    @property
    def is_struck(self) -> bool:
        return self.struck_at is not None
