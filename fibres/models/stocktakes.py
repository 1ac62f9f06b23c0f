"""Counting the store: what the book says, what was weighed, and why they differ."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.urls import reverse

from fibres.models.lots import Lot, Movement
from studio.models import ShareField, WholeField


class Stocktake(models.Model):
    """One count of the lots of one place, or of all; nothing moves before it is posted."""

    class State(models.TextChoices):
        COUNTING = "counting", "Counting"
        POSTED = "posted", "Posted"
        GIVEN_UP = "given up", "Given up"

    MARKS = {State.COUNTING: "making", State.POSTED: "closed", State.GIVEN_UP: "closed"}

    ref = models.CharField(max_length=16, unique=True)
    place = models.CharField("place", max_length=40, blank=True)
    started_on = models.DateField()
    posted_on = models.DateField(null=True, blank=True, editable=False)
    state = models.CharField(max_length=10, choices=State.choices, default=State.COUNTING)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["-started_on", "-pk"]

    def __str__(self) -> str:
        return self.ref

    def get_absolute_url(self) -> str:
        """Return the page of the count."""
        return reverse("stocktake", args=[self.ref])

    @property
    def is_open(self) -> bool:
        """Whether lots are still counted."""
        return self.state == self.State.COUNTING

    @property
    def state_mark(self) -> tuple[str, str]:
        """The mark and the word of its state."""
        return self.MARKS[self.State(self.state)], str(self.get_state_display())


class CountLine(models.Model):
    """One lot of a count: what the book said when it was weighed, and what the scale said."""

    class Reason(models.TextChoices):
        DRIED = "water", "It dried or drew water"
        NOT_ENTERED = "use", "Taken and not entered"
        SPILT = "spilt", "Spilt or spoilt"
        MISWEIGHED = "misweighed", "Weighed wrong before"
        MISSING = "missing", "Missing, and nobody knows why"
        FOUND = "found", "Found, and nobody knows why"

    stocktake = models.ForeignKey(Stocktake, on_delete=models.PROTECT, related_name="lines")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="count_lines")
    book_oven_dry_mg = WholeField("in the book, oven-dry")
    as_is_mg = WholeField("weighed, as is", null=True, blank=True)
    moisture = ShareField("moisture when weighed", null=True, blank=True)
    oven_dry_mg = WholeField("weighed, oven-dry", null=True, blank=True)
    reason = models.CharField(max_length=10, choices=Reason.choices, blank=True)
    note = models.CharField(max_length=120, blank=True)
    movement = models.OneToOneField(
        Movement, on_delete=models.PROTECT, related_name="count_line", null=True, editable=False
    )

    class Meta:
        ordering = ["lot__ref"]
        constraints = [
            models.UniqueConstraint(
                fields=["stocktake", "lot"], name="stocktake_counts_each_lot_once"
            ),
            models.CheckConstraint(
                name="count_line_is_whole",
                condition=Q(as_is_mg__isnull=True, oven_dry_mg__isnull=True)
                | Q(as_is_mg__isnull=False, oven_dry_mg__isnull=False, moisture__isnull=False),
                violation_error_message="Give what was weighed and how wet it is.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.stocktake_id} {self.lot_id}"
