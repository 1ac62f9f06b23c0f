"""Fibre recipes: their parts by dry mass, what is added, and how they shrink."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from fibres.models.fibres import Fibre
from studio.models import Closable, ShareField, WholeField


class Drying(models.TextChoices):
    """How a sheet dries; it decides how far the sheet shrinks."""

    RESTRAINT = "restraint", "Held flat in the dryer"
    LOFT = "loft", "Loft, hung free"
    BOARD = "board", "Brushed on boards"
    AIR = "air", "Free in the air"
    IRON = "iron", "Ironed or hot plate"


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
    least = ShareField("least share", null=True, blank=True)
    most = ShareField("most share", null=True, blank=True)
    substitutes = models.ManyToManyField(
        Fibre, related_name="stands_in_for", blank=True, verbose_name="fibres that may stand in"
    )

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
            models.CheckConstraint(
                name="furnish_share_lies_within_its_limits",
                condition=(Q(least__isnull=True) | Q(least__lte=F("share")))
                & (Q(most__isnull=True) | Q(most__gte=F("share"))),
                violation_error_message="The share must lie between its least and its most.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.fibre_id} {self.share}"

    @property
    def limits(self) -> tuple[Decimal, Decimal]:
        """Least and most share; the share itself where no limit is set."""
        return (
            self.share if self.least is None else self.least,
            self.share if self.most is None else self.most,
        )


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
