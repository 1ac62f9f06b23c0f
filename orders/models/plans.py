"""Plans of what to buy that are kept because they took long to find."""

from __future__ import annotations

from django.db import models


class StoredPlan(models.Model):
    """A plan of purchases that the time limit stopped, and the search for a better one.

    ``key`` stands for all that the plan was worked out from: with other stock, promises, offers
    or on another day there is another key. A plan proven cheapest by itself is not kept; it
    comes out the same every time.
    """

    key = models.CharField(max_length=64, unique=True)
    answer = models.JSONField(null=True, blank=True)
    found_at = models.DateTimeField(null=True, blank=True)
    looking_since = models.DateTimeField(null=True, blank=True)
    progress = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"plan {self.key[:8]}"
