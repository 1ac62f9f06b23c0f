"""Kinds of material, each in one state, with the figures that turn a lot into fibre."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from studio.models import Closable, ShareField, WholeField


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
    yield_spread = ShareField(
        "how far the yield varies, standard deviation",
        default=Decimal("0.02"),
        validators=[MinValueValidator(0), MaxValueValidator(Decimal("0.3"))],
    )
    preparation_days = models.PositiveIntegerField(
        "days to soak, cook and beat before the vat",
        default=0,
        validators=[MaxValueValidator(365)],
    )
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
