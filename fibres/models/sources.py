"""Where fibre comes from, and what is offered there."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse
from django.utils.dates import MONTHS

from fibres.models.fibres import Fibre
from studio.models import LARGEST, Closable, ShareField, WholeField

LAST_DAY = {2: 29, 4: 30, 6: 30, 9: 30, 11: 30}
PACK_LIMITS = [MinValueValidator(1), MaxValueValidator(LARGEST)]


class Source(Closable):
    """Where fibre comes from: a supplier, a donor, or the studio itself."""

    class Kind(models.TextChoices):
        SUPPLIER = "supplier", "Supplier"
        DONOR = "donor", "Donor"
        STUDIO = "studio", "The studio itself"

    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    may_be_named = models.BooleanField("may be named in public", default=False)
    lead_days = models.PositiveIntegerField(
        "days from order to delivery", default=0, validators=[MaxValueValidator(730)]
    )
    freight_minor = WholeField("freight of an order", default=0)
    order_minimum_minor = WholeField("least an order must come to, goods alone", default=0)
    free_freight_from_minor = WholeField(
        "freight is free from, goods alone", null=True, blank=True
    )
    season_from = models.PositiveSmallIntegerField(
        "takes orders from the start of", choices=sorted(MONTHS.items()), null=True, blank=True
    )
    season_to = models.PositiveSmallIntegerField(
        "takes orders to the end of", choices=sorted(MONTHS.items()), null=True, blank=True
    )
    contact = models.CharField(max_length=200, blank=True)
    thanked_on = models.DateField(null=True, blank=True)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                name="source_season_has_both_ends",
                condition=Q(season_from__isnull=True, season_to__isnull=True)
                | Q(season_from__isnull=False, season_to__isnull=False),
                violation_error_message="Give both months of the season, or neither.",
            )
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the page of the source."""
        return reverse("source", args=[self.pk])

    @property
    def season(self) -> tuple[str, str] | None:
        """First and last day of the year on which it takes orders, as month-day; None: always."""
        if self.season_from is None or self.season_to is None:
            return None
        return (
            f"{self.season_from:02d}-01",
            f"{self.season_to:02d}-{LAST_DAY.get(self.season_to, 31):02d}",
        )


class Offer(Closable):
    """What a source asks for one fibre, by the supply pack.

    ``minor_per_kg`` holds from the least number of packs on; :class:`OfferBreak` rows say what
    more packs cost.
    """

    class PricePer(models.TextChoices):
        AS_IS = "as-is", "kilogram as sold"
        AIR_DRY = "air-dry", "kilogram air-dry, 90 % fibre"
        OVEN_DRY = "oven-dry", "kilogram oven-dry"

    class Breaks(models.TextChoices):
        ALL_UNITS = "all units", "All packs at the price reached"
        INCREMENTAL = "incremental", "Each pack at the price of its own step"

    source = models.ForeignKey(Source, on_delete=models.PROTECT, related_name="offers")
    fibre = models.ForeignKey(Fibre, on_delete=models.PROTECT, related_name="offers")
    form = models.CharField("form it comes in", max_length=60, blank=True)
    pack_mg = WholeField("supply pack, as sold", validators=PACK_LIMITS)
    moisture = ShareField("moisture as sold")
    price_per = models.CharField(
        "price is for a", max_length=8, choices=PricePer.choices, default=PricePer.AS_IS
    )
    minor_per_kg = WholeField("price a kilogram")
    least_packs = models.PositiveIntegerField(
        "fewest packs sold", default=1, validators=[MinValueValidator(1)]
    )
    breaks_are = models.CharField(
        "how price breaks count",
        max_length=11,
        choices=Breaks.choices,
        default=Breaks.ALL_UNITS,
    )
    valid_from = models.DateField(null=True, blank=True)
    valid_to = models.DateField(null=True, blank=True)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["fibre__name", "source__name", "pack_mg", "pk"]
        constraints = [
            models.CheckConstraint(
                name="offer_holds_fibre",
                condition=Q(moisture__lt=1, pack_mg__gt=0),
                violation_error_message="Some of a pack must be fibre.",
            ),
            models.CheckConstraint(
                name="offer_ends_after_it_starts",
                condition=Q(valid_from__isnull=True)
                | Q(valid_to__isnull=True)
                | Q(valid_to__gte=F("valid_from")),
                violation_error_message="An offer cannot end before it starts.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.fibre} from {self.source}"

    def get_absolute_url(self) -> str:
        """Return the page where the offer is changed."""
        return reverse("offer", args=[self.pk])

    def holds_on(self, day: date) -> bool:
        """Whether its prices hold on a day."""
        return (self.valid_from is None or self.valid_from <= day) and (
            self.valid_to is None or day <= self.valid_to
        )

    @property
    def dry_share(self) -> Decimal:
        """Oven-dry fibre in what is sold."""
        return 1 - self.moisture


class OfferBreak(models.Model):
    """A price that holds from a number of packs on."""

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="breaks")
    from_packs = models.PositiveIntegerField(validators=[MinValueValidator(2)])
    minor_per_kg = WholeField("price a kilogram")

    class Meta:
        ordering = ["from_packs"]
        constraints = [
            models.UniqueConstraint(
                fields=["offer", "from_packs"],
                name="offer_breaks_once_at_each_number",
                violation_error_message="This number of packs has its price already. Change it.",
            )
        ]

    def __str__(self) -> str:
        return f"from {self.from_packs} packs"
