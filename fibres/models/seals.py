"""What each movement was sealed with, so that a change behind the program's back is found."""

from __future__ import annotations

from django.db import models

from fibres.models.lots import Movement
from studio.appendonly import AppendOnly


class Seal(AppendOnly):
    """One link of the chain over the ledger: a movement, its place, and what comes of both.

    How a seal is reckoned is told in ``fibres.calc.chain``.
    """

    number = models.BigIntegerField(unique=True)
    movement = models.OneToOneField(Movement, on_delete=models.PROTECT, related_name="seal")
    digest = models.CharField(max_length=64)

    class Meta:
        verbose_name = "the seals of the ledger"
        verbose_name_plural = "seals"
        ordering = ["number"]

    def __str__(self) -> str:
        return f"{self.number}: {self.digest}"
