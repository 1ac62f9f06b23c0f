"""Where fibre comes from, and what is offered there."""

from __future__ import annotations

from django.db import models
from django.urls import reverse

from studio.models import Closable


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
