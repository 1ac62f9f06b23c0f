"""What is ordered from a source, line by line, and what came of it."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from fibres.calc import moisture as wet
from fibres.calc.parting import part_by_mass
from fibres.models.fibres import Fibre
from fibres.models.lots import Lot
from fibres.models.sources import PACK_LIMITS, Offer, Source
from studio.models import Entry, ShareField, WholeField


class Purchase(models.Model):
    """One order to one source; freight is charged once for it."""

    class State(models.TextChoices):
        PLANNED = "planned", "Planned"
        ORDERED = "ordered", "Ordered"
        PART_RECEIVED = "part received", "Received in part"
        RECEIVED = "received", "Received"
        CLOSED = "closed", "Closed"

    # State: the mark that stands before its word.
    MARKS = {
        State.PLANNED: "asked",
        State.ORDERED: "agreed",
        State.PART_RECEIVED: "making",
        State.RECEIVED: "covered",
        State.CLOSED: "closed",
    }
    ON_ITS_WAY = (State.ORDERED, State.PART_RECEIVED)
    OPEN = (State.PLANNED, *ON_ITS_WAY)

    ref = models.CharField(max_length=16, unique=True)
    source = models.ForeignKey(Source, on_delete=models.PROTECT, related_name="purchases")
    state = models.CharField(max_length=13, choices=State.choices, default=State.PLANNED)
    order_by = models.DateField("order by", null=True, blank=True)
    ordered_on = models.DateField(null=True, blank=True)
    expected_on = models.DateField("expected", null=True, blank=True)
    closed_on = models.DateField(null=True, blank=True, editable=False)
    freight_minor = WholeField("freight", default=0)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                name="purchase_on_its_way_has_a_day",
                condition=~Q(state__in=["ordered", "part received", "received"])
                | Q(ordered_on__isnull=False, expected_on__isnull=False),
                violation_error_message="What is ordered needs the day it is expected.",
            )
        ]
        indexes = [models.Index(fields=["state", "expected_on"])]

    def __str__(self) -> str:
        return self.ref

    def get_absolute_url(self) -> str:
        """Return the page of the purchase."""
        return reverse("purchase", args=[self.ref])

    @property
    def state_mark(self) -> tuple[str, str]:
        """The mark and the word of its state."""
        return self.MARKS[self.State(self.state)], str(self.get_state_display())

    @property
    def is_on_its_way(self) -> bool:
        """Whether something of it is still to come."""
        return self.state in self.ON_ITS_WAY

    def freight_by_line(self) -> dict[int, int]:
        """Return the share of the freight that each line bears, by its mass as ordered."""
        masses = {line.pk: line.oven_dry_mg for line in self.lines.all()}
        shares = part_by_mass(self.freight_minor, list(masses.values()))
        return dict(zip(masses, shares, strict=True))

    @property
    def to_come_mg(self) -> int | None:
        """Oven-dry fibre that is to come of it, as agreed; None where nothing is on its way."""
        if not self.is_on_its_way:
            return None
        return sum(line.to_come_mg for line in self.lines.all())


class PurchaseLine(models.Model):
    """So many packs of one fibre, at the price and moisture agreed when it was ordered."""

    purchase = models.ForeignKey(Purchase, on_delete=models.CASCADE, related_name="lines")
    fibre = models.ForeignKey(Fibre, on_delete=models.PROTECT, related_name="purchase_lines")
    offer = models.ForeignKey(
        Offer, on_delete=models.PROTECT, related_name="purchase_lines", null=True, blank=True
    )
    form = models.CharField("form it comes in", max_length=60, blank=True)
    packs = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    pack_mg = WholeField("supply pack, as sold", validators=PACK_LIMITS)
    moisture = ShareField("moisture agreed")
    price_per = models.CharField(
        "price is for a",
        max_length=8,
        choices=Offer.PricePer.choices,
        default=Offer.PricePer.AS_IS,
    )
    goods_minor = WholeField("price of the line, without freight")
    packs_received = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                name="purchase_line_receives_no_more_than_ordered",
                condition=Q(packs_received__lte=F("packs")),
                violation_error_message="More packs cannot come than were ordered.",
            ),
            models.CheckConstraint(
                name="purchase_line_holds_fibre",
                condition=Q(moisture__lt=1, pack_mg__gt=0, packs__gt=0),
                violation_error_message="Some of a pack must be fibre.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.purchase_id}: {self.packs} packs"

    @property
    def packs_to_come(self) -> int:
        """Packs that have been ordered and have not come."""
        return self.packs - self.packs_received

    @property
    def still_to_come_mg(self) -> int | None:
        """Oven-dry fibre that can still come; None where the rest was given up."""
        return None if self.purchase.state == Purchase.State.CLOSED else self.to_come_mg

    @property
    def dry_share(self) -> Decimal:
        """Oven-dry fibre in what is sold, as agreed."""
        return 1 - self.moisture

    @property
    def oven_dry_mg(self) -> int:
        """Oven-dry fibre of the whole line, as agreed."""
        return wet.oven_dry_mg(self.packs * self.pack_mg, self.moisture)

    @property
    def to_come_mg(self) -> int:
        """Oven-dry fibre of the packs that have not come, as agreed."""
        return wet.oven_dry_mg(self.packs_to_come * self.pack_mg, self.moisture)


class ArrivalQuerySet(models.QuerySet):
    """Receipts of what was ordered."""

    def standing(self) -> ArrivalQuerySet:
        """Return those that were not taken back: of a lot that never came no mass is left."""
        return self.filter(lot__as_is_mg__gt=0)


class Arrival(models.Model):
    """Packs of one line that came together, and the lot they became.

    One that was taken back is kept and counts no more; see :meth:`ArrivalQuerySet.standing`.
    """

    line = models.ForeignKey(PurchaseLine, on_delete=models.PROTECT, related_name="arrivals")
    lot = models.OneToOneField(Lot, on_delete=models.PROTECT, related_name="arrival")
    packs = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    goods_minor = WholeField("price of these packs")
    freight_minor = WholeField("their share of the freight", default=0)
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")

    objects = ArrivalQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.packs} packs as lot {self.lot_id}"
