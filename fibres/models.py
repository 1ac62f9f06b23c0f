"""Fibres, where they come from, the lots in store, and every movement of them."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from fibres.calc.pricing import paid_per_kg
from studio.appendonly import AppendOnly
from studio.models import Closable, Entry, ShareField, WholeField


class Drying(models.TextChoices):
    """How a sheet dries; it decides how far the sheet shrinks."""

    RESTRAINT = "restraint", "Held flat in the dryer"
    LOFT = "loft", "Loft, hung free"
    BOARD = "board", "Brushed on boards"
    AIR = "air", "Free in the air"
    IRON = "iron", "Ironed or hot plate"


class Fibre(Closable):
    """A kind of material in one state, with the figures that turn a lot into usable fibre."""

    class Family(models.TextChoices):
        SEED_HAIR = "seed hair", "Seed hair: cotton"
        BAST = "bast", "Bast: flax, hemp, kozo, gampi"
        LEAF = "leaf", "Leaf: abaca, sisal"
        GRASS = "grass", "Grass and straw"
        WOOD = "wood", "Wood pulp"
        RAG = "rag", "Rag"
        WASTE_PAPER = "waste paper", "Waste paper"
        BROKE = "broke", "Own broke and trimmings"

    class SourceClass(models.TextChoices):
        VIRGIN = "virgin", "Virgin"
        PRE_CONSUMER = "pre-consumer", "Pre-consumer"
        POST_CONSUMER = "post-consumer", "Post-consumer"
        IN_HOUSE = "in-house", "In-house: own broke"

    name = models.CharField(max_length=80, unique=True)
    code = models.CharField("letters before a lot number", max_length=3, default="L")
    family = models.CharField(max_length=16, choices=Family.choices)
    state = models.CharField(max_length=80, blank=True)
    usual_moisture = ShareField(default=Decimal("0.08"))
    preparation_yield = ShareField(default=Decimal("0.95"))
    evidence = models.TextField("where these figures come from", blank=True)
    minimum_mg = WholeField("minimum to keep, oven-dry", default=0)
    keeps_wet_days = models.PositiveIntegerField("days it keeps wet", null=True, blank=True)
    source_class = models.CharField(
        "class for recycled claims", max_length=16, choices=SourceClass.choices
    )
    is_scrap = models.BooleanField("donated scrap", default=False)
    is_refused = models.BooleanField("refused at the door", default=False)
    refusals = models.TextField("what to refuse", blank=True)
    cautions = models.TextField(blank=True)
    sorting_minutes_per_kg = models.DecimalField(
        "sorting, minutes a kilogram",
        max_digits=6,
        decimal_places=2,
        default=Decimal("0"),
        validators=[MinValueValidator(0)],
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                name="fibre_yield_above_zero",
                condition=Q(preparation_yield__gt=0),
                violation_error_message="Preparation yield must be above 0 %.",
            )
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the page of the fibre."""
        return reverse("fibre", args=[self.pk])

    @property
    def use_in_words(self) -> str:
        """Whether lots of it are taken in; nothing where they are."""
        if self.is_refused:
            return "Refused"
        return "Closed" if self.is_closed else ""

    @property
    def marks(self) -> tuple[str, ...]:
        """What a commission may exclude a lot of this fibre for."""
        return ("scrap",) if self.is_scrap or self.family == self.Family.BROKE else ()


class Source(Closable):
    """Where fibre comes from: a supplier, a donor, or the studio itself."""

    class Kind(models.TextChoices):
        SUPPLIER = "supplier", "Supplier"
        DONOR = "donor", "Donor"
        STUDIO = "studio", "The studio itself"

    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    may_be_named = models.BooleanField("may be named in public", default=False)
    lead_days = models.PositiveIntegerField("days from order to delivery", default=0)
    contact = models.CharField(max_length=200, blank=True)
    thanked_on = models.DateField(null=True, blank=True)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the page of the source."""
        return reverse("source", args=[self.pk])


class Lot(Closable):
    """One receipt of one fibre from one source, with its own moisture and price.

    ``oven_dry_mg`` is the balance: the sum of the lot's movements, kept in step with them by
    the ledger alone.
    """

    class MoistureKnown(models.TextChoices):
        WEIGHED = "weighed", "Weighed"
        LABEL = "label", "On the label"
        ASSUMED = "assumed", "Assumed"

    class Measured(models.TextChoices):
        WEIGHED = "weighed", "Weighed"
        COUNTED = "counted", "Sheets counted"
        REAMS = "reams", "Reams"
        PILE = "pile", "Height of a pile"
        BOXES = "boxes", "Boxes"
        GUESS = "guess", "A guess"

    ref = models.CharField(max_length=16, unique=True)
    fibre = models.ForeignKey(Fibre, on_delete=models.PROTECT, related_name="lots")
    source = models.ForeignKey(Source, on_delete=models.PROTECT, related_name="lots")
    form = models.CharField("form it came in", max_length=60, blank=True)
    received_on = models.DateField()
    as_is_mg = WholeField("received, as is")
    received_oven_dry_mg = WholeField("received, oven-dry")
    measured = models.CharField(max_length=8, choices=Measured.choices)
    band = ShareField("either way", default=Decimal("0"))
    moisture = ShareField()
    moisture_known = models.CharField(max_length=8, choices=MoistureKnown.choices)
    preparation_yield = ShareField("preparation yield of this lot", null=True, blank=True)
    oven_dry_mg = WholeField("left, oven-dry", default=0)
    keep_until = models.DateField(null=True, blank=True)
    paid_minor = WholeField("paid, with its share of freight", null=True, blank=True)
    sorting_minutes = models.DecimalField(
        max_digits=8, decimal_places=2, default=Decimal("0"), validators=[MinValueValidator(0)]
    )
    is_confidential = models.BooleanField("may show private papers", default=False)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["received_on", "pk"]
        constraints = [
            models.CheckConstraint(
                name="lot_never_below_zero",
                condition=Q(oven_dry_mg__gte=0),
                violation_error_message="A lot cannot hold less than nothing.",
            ),
            models.CheckConstraint(
                name="lot_dry_is_not_more_than_as_is",
                condition=Q(received_oven_dry_mg__lte=F("as_is_mg")),
                violation_error_message="Oven-dry fibre cannot weigh more than the lot as it is.",
            ),
        ]
        indexes = [models.Index(fields=["fibre", "received_on"])]

    def __str__(self) -> str:
        return self.ref

    def get_absolute_url(self) -> str:
        """Return the page of the lot."""
        return reverse("lot", args=[self.ref])

    @property
    def yield_now(self) -> Decimal:
        """Preparation yield of this lot, or of its fibre."""
        return (
            self.fibre.preparation_yield
            if self.preparation_yield is None
            else self.preparation_yield
        )

    @property
    def paid_minor_per_kg(self) -> Decimal | None:
        """What an oven-dry kilogram of the lot cost, or None where no price is known."""
        return paid_per_kg(self.paid_minor, self.received_oven_dry_mg)


class MoistureTest(models.Model):
    """One sample of a lot, weighed wet and oven-dry."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="moisture_tests")
    tested_on = models.DateField()
    wet_mg = WholeField("sample as it is")
    dry_mg = WholeField("sample oven-dry")
    tare_mg = WholeField("dish", default=0)
    moisture = ShareField()
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.lot_id}: {self.moisture}"


class Movement(AppendOnly):
    """One change of a lot, in oven-dry milligrams; written once, corrected by another.

    The order of the ledger is the order of its rows: a clock can be set back, a row cannot.
    """

    class Kind(models.TextChoices):
        RECEIVED = "received", "Received"
        ISSUED = "issued", "Issued"
        COUNTED = "counted", "Counted"
        RETURNED = "returned", "Returned"
        DISCARDED = "discarded", "Discarded"
        CORRECTED = "corrected", "Corrected"

    INTO_STORE = (Kind.RECEIVED, Kind.RETURNED)
    OUT_OF_STORE = (Kind.ISSUED, Kind.DISCARDED)

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="movements")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    oven_dry_mg = models.BigIntegerField("oven-dry, into the store")
    as_is_mg = models.BigIntegerField("as is, into the store", null=True)
    moisture = ShareField()
    happened_on = models.DateField()
    why = models.CharField(max_length=200, blank=True)
    reverses = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, related_name="reversed_by"
    )
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="movements")

    class Meta:
        verbose_name = "the ledger"
        verbose_name_plural = "movements"
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="movement_goes_the_way_its_kind_says",
                condition=(
                    Q(kind__in=["received", "returned"], oven_dry_mg__gt=0)
                    | Q(kind__in=["issued", "discarded"], oven_dry_mg__lt=0)
                    | Q(kind__in=["counted", "corrected"])
                ),
                violation_error_message="Received and returned go in, issued and discarded out.",
            ),
            models.CheckConstraint(
                name="movement_only_a_correction_reverses",
                condition=Q(reverses__isnull=True) | Q(kind="corrected"),
                violation_error_message="Only a correction takes back another movement.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} {self.kind} {self.oven_dry_mg} mg"


class Furnish(Closable):
    """A fibre recipe by dry mass share, with what is added to it."""

    name = models.CharField(max_length=80, unique=True)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "furnishes"

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the page of the furnish."""
        return reverse("furnish", args=[self.pk])


class FurnishPart(models.Model):
    """One fibre of a furnish, by its share of the dry fibre."""

    furnish = models.ForeignKey(Furnish, on_delete=models.CASCADE, related_name="parts")
    fibre = models.ForeignKey(Fibre, on_delete=models.PROTECT, related_name="furnish_parts")
    share = ShareField("share of dry fibre")

    class Meta:
        ordering = ["-share", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["furnish", "fibre"],
                name="furnish_has_each_fibre_once",
                violation_error_message="This fibre is in the furnish already. Change its share.",
            ),
            models.CheckConstraint(
                name="furnish_share_above_zero",
                condition=Q(share__gt=0),
                violation_error_message="A share must be above 0 %. Leave the fibre out instead.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.fibre_id} {self.share}"


class Addition(models.Model):
    """What goes into a furnish beside fibre, dosed on dry fibre."""

    class Kind(models.TextChoices):
        SIZING = "sizing", "Sizing"
        FILLER = "filler", "Filler"
        PIGMENT = "pigment", "Pigment"
        RETENTION_AID = "retention aid", "Retention aid"
        FORMATION_AID = "formation aid", "Formation aid"
        OTHER = "other", "Other"

    furnish = models.ForeignKey(Furnish, on_delete=models.CASCADE, related_name="additions")
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=16, choices=Kind.choices)
    dose = ShareField("dose on dry fibre")
    minor_per_kg = WholeField("price a kilogram", null=True, blank=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.name


class Shrinkage(models.Model):
    """How far a furnish shrinks in drying, across and along the mould."""

    furnish = models.ForeignKey(Furnish, on_delete=models.CASCADE, related_name="shrinkages")
    drying = models.CharField(max_length=10, choices=Drying.choices)
    across = ShareField(validators=[MinValueValidator(0), MaxValueValidator(Decimal("0.6"))])
    along = ShareField(validators=[MinValueValidator(0), MaxValueValidator(Decimal("0.6"))])

    class Meta:
        ordering = ["drying"]
        constraints = [
            models.UniqueConstraint(
                fields=["furnish", "drying"],
                name="furnish_shrinks_one_way_per_drying",
                violation_error_message="This drying has its shrinkage already. Change it.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.across} × {self.along}"
