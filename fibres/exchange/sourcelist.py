"""The list of sources: suppliers with their terms, donors, and the studio itself."""

from __future__ import annotations

from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone

from fibres.exchange.named import NamedList
from fibres.forms.fibres import MOST_LEAD_DAYS
from fibres.models import Source
from studio.files.columns import Column, choices_of

MONTHS = tuple((str(number), str(number)) for number in range(1, 13))


class SourceList(NamedList):
    """Sources by name."""

    slug, title, noun, nouns = "sources", "Sources", "source", "sources"
    lede = "Where fibre comes from: suppliers with their terms, donors, and the studio itself."
    act = "take in sources"
    route = "sources"
    model = Source
    fixed = ("kind",)
    columns = (
        Column("name", "name", "As it is called everywhere.", "Greyling Fibres",
               "the name of a source", needed=True),
        Column("kind", "choice", "What it is.", "supplier", "what it is",
               choices=choices_of(Source.Kind)),
        Column("may be named", "yes", "Whether it agreed to be named in public: yes or no.",
               "yes"),
        Column("lead days", "count", "Days from order to delivery.", "9", most=MOST_LEAD_DAYS),
        Column("freight", "money", "Of one order.", "12.00", money=True),
        Column("least order", "money", "What the goods of an order must come to.", "50.00",
               money=True),
        Column("free freight from", "money", "Goods from which freight costs nothing.", "200.00",
               money=True),
        Column("season from", "count", "First month in which it takes orders, 1 to 12.", "9",
               least=1, most=12),
        Column("season to", "count", "Last month in which it takes orders, 1 to 12.", "4",
               least=1, most=12),
        Column("contact", "text", "Whom to ask, and how; with consent.", longest=200),
        Column("thanked on", "day", "When a donor was last thanked."),
        Column("remarks", "text", longest=2000),
        Column("closed", "day", "The day from which it is not offered any more."),
    )  # fmt: skip
    attributes = {
        "kind": "kind", "may be named": "may_be_named", "lead days": "lead_days",
        "freight": "freight_minor", "least order": "order_minimum_minor",
        "free freight from": "free_freight_from_minor", "season from": "season_from",
        "season to": "season_to", "contact": "contact", "thanked on": "thanked_on",
        "remarks": "remarks", "closed": "closed_on",
    }  # fmt: skip
    rules = (
        "A source that is there already is known by its name. What a cell says replaces what is "
        "there; an empty cell leaves it.",
    )

    def check(self, row: Any) -> None:
        """Ask for both ends of a season, and for days that have come."""
        if (row.season_from is None) != (row.season_to is None):
            lacking = "season_from" if row.season_from is None else "season_to"
            raise ValidationError({lacking: "Give both months of the season, or neither."})
        if row.thanked_on and row.thanked_on > timezone.localdate():
            raise ValidationError({"thanked_on": "That day has not come yet."})
