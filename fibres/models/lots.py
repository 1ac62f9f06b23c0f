"""The lots in store, and every movement of them."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from fibres.calc.pricing import paid_per_kg
from fibres.models.fibres import Fibre
from fibres.models.sources import Source
from studio.appendonly import AppendOnly
from studio.models import Closable, Entry, ShareField, WholeField


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
    place = models.CharField("where it lies", max_length=40, blank=True, db_index=True)
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
