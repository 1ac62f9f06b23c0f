"""Clients, sheets to make, and the commissions that promise them."""

from __future__ import annotations

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from fibres.models import Drying, Furnish, Lot
from studio.models import Closable, Mould, ShareField, WholeField
from studio.sizes import Size


class Client(Closable):
    """Someone a commission is made for."""

    name = models.CharField(max_length=80, unique=True)
    contact = models.CharField(max_length=200, blank=True)
    remarks = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the page of the client."""
        return reverse("client", args=[self.pk])


class Sheet(Closable):
    """A specification: dry size, grammage, furnish, mould, edges and drying."""

    class Edges(models.TextChoices):
        AS_PULLED = "as pulled", "Deckle edges, as pulled"
        TRIMMED = "trimmed", "Cut to size"

    name = models.CharField(max_length=80, unique=True)
    width_um = WholeField("dry size, across")
    height_um = WholeField("dry size, along")
    grammage = models.DecimalField(
        "grammage, conditioned",
        max_digits=7,
        decimal_places=2,
        validators=[MinValueValidator(1), MaxValueValidator(5000)],
    )
    furnish = models.ForeignKey(Furnish, on_delete=models.PROTECT, related_name="sheets")
    mould = models.ForeignKey(
        Mould, on_delete=models.PROTECT, related_name="sheets", null=True, blank=True
    )
    edges = models.CharField(max_length=10, choices=Edges.choices, default=Edges.AS_PULLED)
    drying = models.CharField(max_length=10, choices=Drying.choices, default=Drying.RESTRAINT)
    trim_um = WholeField("cut off each side", default=0)
    sheet_moisture = ShareField("moisture of the finished sheet", null=True, blank=True)
    non_fibre_share = ShareField("filler, sizing and pigment in the sheet", default=Decimal("0"))
    retention = ShareField("share of fibre that stays on the mould", default=Decimal("0.96"))
    broke = ShareField("broke", default=Decimal("0.08"))
    retree = ShareField("retree", default=Decimal("0.04"))
    minutes_per_pull = models.DecimalField(
        "minutes a pull", max_digits=6, decimal_places=2, null=True, blank=True
    )
    setup_minutes = models.PositiveIntegerField(
        "minutes to set up and clear", null=True, blank=True
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                name="sheet_has_some_good",
                condition=Q(broke__lt=Decimal(1) - F("retree")),
                violation_error_message="Broke and retree must come to less than 100 %.",
            ),
            models.CheckConstraint(
                name="sheet_has_fibre",
                condition=Q(non_fibre_share__lt=1, retention__gt=0),
                violation_error_message="Some of the sheet must be fibre, and some must stay.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        """Return the page of the sheet."""
        return reverse("sheet", args=[self.pk])

    @property
    def size(self) -> Size:
        """Dry size of the finished sheet."""
        return Size(self.width_um, self.height_um)


class Commission(models.Model):
    """An order from a client for a number of good sheets."""

    class State(models.TextChoices):
        ENQUIRY = "enquiry", "Enquiry"
        QUOTED = "quoted", "Quoted"
        AGREED = "agreed", "Agreed"
        MAKING = "making", "Making"
        SENT = "sent", "Sent"
        CLOSED = "closed", "Closed"
        WITHDRAWN = "withdrawn", "Withdrawn"

    # State: the mark that stands before its word.
    MARKS = {
        State.ENQUIRY: "asked",
        State.QUOTED: "asked",
        State.AGREED: "agreed",
        State.MAKING: "making",
        State.SENT: "closed",
        State.CLOSED: "closed",
        State.WITHDRAWN: "closed",
    }
    PROMISES = (State.AGREED, State.MAKING)
    OPEN = (State.ENQUIRY, State.QUOTED, State.AGREED, State.MAKING)

    ref = models.CharField(max_length=16, unique=True)
    title = models.CharField(max_length=80)
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="commissions")
    sheet = models.ForeignKey(Sheet, on_delete=models.PROTECT, related_name="commissions")
    good_quantity = models.PositiveIntegerField(
        "good sheets", validators=[MinValueValidator(1), MaxValueValidator(1_000_000)]
    )
    due = models.DateField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.ENQUIRY)
    priority = models.PositiveSmallIntegerField(
        default=5, validators=[MinValueValidator(1), MaxValueValidator(9)]
    )
    no_scrap = models.BooleanField("no scrap or broke in it", default=False)
    only_lots = models.ManyToManyField(
        Lot, related_name="commissions", blank=True, verbose_name="only these lots"
    )
    not_before = models.DateField("not made before", null=True, blank=True)
    all_or_nothing = models.BooleanField("whole, or not at all", default=False)
    tolerance_over = ShareField("client takes over, up to", default=Decimal("0"))
    claim_recycled = ShareField("recycled, at least", null=True, blank=True)
    remarks = models.TextField(blank=True)
    agreed_price_minor = WholeField(
        "price of a good sheet that was agreed", null=True, blank=True, editable=False
    )

    class Meta:
        ordering = ["priority", "due", "ref"]
        constraints = [
            models.CheckConstraint(
                name="commission_wants_a_sheet",
                condition=Q(good_quantity__gte=1),
                violation_error_message="Give a whole number of good sheets, 1 or more.",
            ),
            models.CheckConstraint(
                name="commission_is_due_after_it_may_be_made",
                condition=Q(not_before__isnull=True) | Q(not_before__lte=F("due")),
                violation_error_message="It cannot be due before it may be made.",
            ),
        ]
        indexes = [models.Index(fields=["state", "due"])]

    def __str__(self) -> str:
        return f"{self.ref} {self.title}"

    def get_absolute_url(self) -> str:
        """Return the page of the commission."""
        return reverse("commission", args=[self.ref])

    @property
    def is_promise(self) -> bool:
        """Whether the store is held for it."""
        return self.state in self.PROMISES

    @property
    def is_open(self) -> bool:
        """Whether it can still be changed, and cover asked for it."""
        return self.state in self.OPEN

    @property
    def state_mark(self) -> tuple[str, str]:
        """The mark and the word of its state."""
        return self.MARKS[self.State(self.state)], str(self.get_state_display())
