"""Finished sheets in hand: every change of their number, and the parcels they left in."""

from __future__ import annotations

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from orders.models.commissions import Commission
from orders.models.makings import Making
from studio.appendonly import AppendOnly
from studio.models import Entry, WholeField


class Delivery(models.Model):
    """Sheets that left in one parcel, with what the packing list says of them."""

    ref = models.CharField(max_length=16, unique=True)
    commission = models.ForeignKey(
        Commission, on_delete=models.PROTECT, related_name="deliveries", null=True, blank=True
    )
    sent_on = models.DateField()
    sent_to = models.CharField(max_length=200, blank=True)
    sheet_mg = WholeField("one sheet weighed, conditioned", null=True, blank=True)
    parcel_mg = WholeField("whole parcel weighed", null=True, blank=True)
    remarks = models.TextField(blank=True)
    # What it came to on the day it was sent; parcels of before have none of it.
    good_minor = WholeField("price of a good sheet", null=True, blank=True)
    retree_minor = WholeField("price of a retree sheet", null=True, blank=True)
    total_minor = WholeField("price of its sheets, before tax", null=True, blank=True)
    price_working = models.JSONField("how its price came about", null=True, blank=True)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-sent_on", "-pk"]
        verbose_name_plural = "deliveries"
        constraints = [
            models.CheckConstraint(
                name="delivery_price_is_whole_or_none",
                condition=Q(
                    good_minor__isnull=True,
                    retree_minor__isnull=True,
                    total_minor__isnull=True,
                    price_working__isnull=True,
                )
                | Q(
                    good_minor__isnull=False,
                    retree_minor__isnull=False,
                    total_minor__isnull=False,
                    price_working__isnull=False,
                ),
                violation_error_message="A parcel has its whole price, or none.",
            )
        ]

    def __str__(self) -> str:
        return self.ref

    def get_absolute_url(self) -> str:
        """Return the packing list."""
        return reverse("delivery", args=[self.ref])


class SheetMovement(AppendOnly):
    """One change of the finished sheets of a making, in whole sheets; written once."""

    class Quality(models.TextChoices):
        GOOD = "good", "Good"
        RETREE = "retree", "Retree"

    class Kind(models.TextChoices):
        MADE = "made", "Made"
        SENT = "sent", "Sent"
        SPOILT = "spoilt", "Spoilt"
        COUNTED = "counted", "Counted"
        CORRECTED = "corrected", "Corrected"

    making = models.ForeignKey(Making, on_delete=models.PROTECT, related_name="sheet_movements")
    quality = models.CharField(max_length=6, choices=Quality.choices)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    sheets = models.BigIntegerField("sheets, into the store")
    delivery = models.ForeignKey(
        Delivery, on_delete=models.PROTECT, related_name="sheet_movements", null=True
    )
    happened_on = models.DateField()
    why = models.CharField(max_length=200, blank=True)
    reverses = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="sheet_movements")

    class Meta:
        verbose_name = "the book of sheets"
        verbose_name_plural = "sheet movements"
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="sheet_movement_goes_the_way_its_kind_says",
                condition=Q(kind="made", sheets__gt=0)
                | Q(kind__in=["sent", "spoilt"], sheets__lt=0)
                | Q(kind__in=["counted", "corrected"]),
                violation_error_message="Sheets made go in, sheets sent or spoilt go out.",
            ),
            models.CheckConstraint(
                name="sheet_movement_sent_in_a_delivery",
                condition=Q(delivery__isnull=True) | Q(kind__in=["sent", "corrected"]),
                violation_error_message="Only what was sent belongs to a delivery.",
            ),
            models.CheckConstraint(
                name="sheet_movement_only_a_correction_reverses",
                condition=Q(reverses__isnull=True) | Q(kind="corrected"),
                violation_error_message="Only a correction takes back another movement.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.making_id} {self.quality} {self.kind} {self.sheets}"


class AcceptedFigure(AppendOnly):
    """A figure learned from makings that the owner took over, with what it rests on."""

    class Figure(models.TextChoices):
        YIELD = "yield", "Preparation yield"
        RETENTION = "retention", "Share of fibre that stays"
        BROKE = "broke", "Broke"
        RETREE = "retree", "Retree"
        MINUTES = "minutes", "Minutes a pull"
        DRAW = "draw", "Draw of a mould"
        SHRINKAGE_ACROSS = "across", "Shrinkage across"
        SHRINKAGE_ALONG = "along", "Shrinkage along"

    figure = models.CharField(max_length=12, choices=Figure.choices)
    # What it is a figure of: "fibre 3", "sheet 7", "mould 2", "furnish 4 loft".
    subject = models.CharField(max_length=60, db_index=True)
    before = models.CharField("figure before", max_length=30, blank=True)
    value = models.CharField("figure taken over", max_length=30)
    low = models.CharField(max_length=30)
    high = models.CharField(max_length=30)
    makings = models.PositiveIntegerField("makings behind it", validators=[MinValueValidator(1)])
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name = "the book of learned figures"
        verbose_name_plural = "accepted figures"
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.figure} of {self.subject}: {self.value}"
