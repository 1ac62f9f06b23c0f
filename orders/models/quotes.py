"""Quotes: what was offered to a client, and the paper it went out on."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from orders.models.commissions import Client, Commission, Sheet
from studio.appendonly import AppendOnly
from studio.models import Entry, ShareField, WholeField

MOST_NUMBERS = 5
MOST_LINES = 8
MOST_SHEETS = 1_000_000
LONG_WORDS, LONGER_WORDS = 300, 500


class Quote(models.Model):
    """An offer to make sheets for a client at a price; free to change until it is issued."""

    class State(models.TextChoices):
        DRAFT = "draft", "Draft"
        ISSUED = "issued", "Issued"
        ACCEPTED = "accepted", "Accepted"
        DECLINED = "declined", "Declined"
        REPLACED = "replaced", "Replaced"

    class Carriage(models.TextChoices):
        UNSAID = "unsaid", "Say nothing of it"
        APART = "apart", "Not included"
        ADDED = "added", "Added, as a line of its own"
        WITHIN = "within", "Included in the price"

    # State: the mark that stands before its word.
    MARKS = {
        State.DRAFT: "asked",
        State.ISSUED: "agreed",
        State.ACCEPTED: "covered",
        State.DECLINED: "closed",
        State.REPLACED: "closed",
    }
    LAPSED = ("soon", "Lapsed")

    ref = models.CharField(max_length=16, unique=True)
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="quotes")
    # The commission that it was made from, or that came of it.
    commission = models.ForeignKey(
        Commission, on_delete=models.PROTECT, related_name="quotes", null=True, blank=True
    )
    sheet = models.ForeignKey(Sheet, on_delete=models.PROTECT, related_name="quotes")
    title = models.CharField("what it is for", max_length=80)
    good_quantity = models.PositiveIntegerField(
        "good sheets", validators=[MinValueValidator(1), MaxValueValidator(MOST_SHEETS)]
    )
    other_quantities = models.JSONField("other numbers", default=list, blank=True)
    size_tolerance_um = WholeField("a side may differ by", default=4000)
    grammage_tolerance = ShareField("grammage may differ by", default=Decimal("0.1"))
    tolerance_over = ShareField("count may be over by", default=Decimal("0"))
    includes = models.TextField("what the price includes", blank=True, max_length=LONG_WORDS)
    carriage = models.CharField(max_length=6, choices=Carriage.choices, default=Carriage.UNSAID)
    # Before tax, for the whole parcel, whichever number is ordered.
    carriage_minor = WholeField("what carriage comes to", null=True, blank=True)
    deposit = ShareField("deposit on order", default=Decimal("0.5"))
    valid_until = models.DateField("holds until")
    send_on = models.DateField("day to send", null=True, blank=True)
    says_recycled = models.BooleanField("say how much is recycled", default=True)
    says_permanence = models.BooleanField("say how long it is meant to last", default=True)
    remarks = models.TextField(blank=True, max_length=LONGER_WORDS)
    # The number that the client ordered; what the commission asks for may change later.
    accepted_quantity = models.PositiveIntegerField(
        "good sheets ordered", null=True, blank=True, editable=False
    )
    state = models.CharField(max_length=8, choices=State.choices, default=State.DRAFT)
    replaces = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="replaced_by", null=True, blank=True
    )

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                name="quote_offers_a_sheet",
                condition=Q(good_quantity__gte=1),
                violation_error_message="Give a whole number of good sheets, 1 or more.",
            ),
        ]
        indexes = [models.Index(fields=["state", "valid_until"])]

    def __str__(self) -> str:
        return f"{self.ref} {self.title}"

    def get_absolute_url(self) -> str:
        """Return the page of the quote."""
        return reverse("quote", args=[self.ref])

    def clean(self) -> None:
        """Refuse other numbers that are none or too many, and carriage without its amount."""
        lines = len(self.remarks.splitlines())
        if lines > MOST_LINES:
            raise ValidationError(
                {
                    "remarks": f"Give at most {MOST_LINES} lines, so that all of it fits one "
                    f"page; these are {lines}."
                }
            )
        numbers = self.other_quantities
        fine = isinstance(numbers, list) and all(
            type(number) is int and 1 <= number <= MOST_SHEETS for number in numbers
        )
        if not fine:
            raise ValidationError(
                {"other_quantities": "Give whole numbers of sheets, such as 25, 50, 100."}
            )
        others = set(numbers) - {self.good_quantity}
        if len(others) > MOST_NUMBERS:
            raise ValidationError(
                {
                    "other_quantities": f"Give at most {MOST_NUMBERS} other numbers, so that all "
                    f"of it fits one page; these are {len(others)}."
                }
            )
        self._look_at_carriage()

    def _look_at_carriage(self) -> None:
        amount, how = self.carriage_minor, self.Carriage
        if self.carriage == how.ADDED and not amount:
            raise ValidationError(
                {
                    "carriage_minor": "Give what carriage comes to, more than 0, or say above "
                    "that it is not included."
                }
            )
        if self.carriage in (how.UNSAID, how.APART) and amount:
            raise ValidationError(
                {
                    "carriage_minor": "Say above that carriage is added or included, or leave "
                    "this empty: an amount that the letter does not speak of counts for nothing."
                }
            )

    @property
    def quantities(self) -> list[int]:
        """Every number that it is priced at, the smallest first."""
        return sorted({self.good_quantity, *self.other_quantities})

    @property
    def state_words(self) -> str:
        """How it stands, to follow the word is."""
        return "a draft" if self.is_draft else str(self.get_state_display()).lower()

    @property
    def is_draft(self) -> bool:
        """Whether it can still be changed."""
        return self.state == self.State.DRAFT

    @property
    def is_issued(self) -> bool:
        """Whether it is out and waits for an answer."""
        return self.state == self.State.ISSUED

    @property
    def is_lapsed(self) -> bool:
        """Whether it is out and its last day is over."""
        return self.is_issued and self.valid_until < timezone.localdate()

    @property
    def state_mark(self) -> tuple[str, str]:
        """The mark and the word of its state."""
        if self.is_lapsed:
            return self.LAPSED
        return self.MARKS[self.State(self.state)], str(self.get_state_display())

    # --- as it went out, where it did; a draft shows what is kept of it now ---

    @property
    def frozen(self) -> dict[str, Any] | None:
        """What was issued, as it was; None for a draft."""
        kept = getattr(self, "document", None)
        return kept.body if kept else None

    @property
    def shown_title(self) -> str:
        """What it is for, as issued."""
        return self._shown("title", self.title)

    @property
    def shown_client(self) -> str:
        """Whom it is for, as issued."""
        return self._shown("client", self.client.name)

    @property
    def shown_sheet(self) -> str:
        """The sheet it offers, as issued."""
        return self._shown("sheet_name", self.sheet.name)

    def _shown(self, name: str, kept: str) -> str:
        return str(self.frozen[name]) if self.frozen else kept

    @property
    def shown_quantity(self) -> int:
        """The number that was ordered, or else the one that it is first of all priced at."""
        return self.accepted_quantity or self.good_quantity

    @property
    def price_in_all_minor(self) -> int | None:
        """Price before tax and carriage of the number that stands; None until it is issued."""
        if not self.frozen:
            return None
        wanted = self.accepted_quantity or self.frozen["good_quantity"]
        return next(
            int(row["total_minor"]) for row in self.frozen["prices"] if row["sheets"] == wanted
        )


class QuoteDocument(AppendOnly):
    """A quote as it was issued: everything the paper shows, and the working behind its prices."""

    quote = models.OneToOneField(Quote, on_delete=models.PROTECT, related_name="document")
    ref = models.CharField(max_length=16)
    issued_on = models.DateField()
    body = models.JSONField()
    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name = "the book of issued quotes"
        verbose_name_plural = "issued quotes"
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.ref} of {self.issued_on}"
