"""A studio whose prices can be reckoned in the head, and quotes of it."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from django.utils import timezone

from orders import quoting
from orders.calc.costing import Cost
from orders.calc.quotation import Quotation
from orders.calc.quoterows import Terms
from orders.models import Quote, Sheet
from studio.models import Studio
from studio.sizes import Size
from tests.builders import (
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_sheet,
    make_studio,
)

NOTHING = Decimal(0)


def now(quote: Quote) -> Quote:
    """Read a quote again."""
    return Quote.objects.get(pk=quote.pk)


def prices(found: Quotation) -> list[tuple[int, int, int, int | None]]:
    """Return what is asked at each number of sheets, in minor units."""
    return [(one.sheets, one.each_minor, one.total_minor, one.tax_minor) for one in found.prices]


def plain_studio(**changes: Any) -> Studio:
    """Make a studio that pays 24.00 an hour and counts nothing else but the price of fibre.

    Setting up takes an hour and a pull six minutes; a fifth of the price is kept as margin, and
    a fifth is added as tax.
    """
    return make_studio(
        **{
            "name": "Reed Vat", "currency": "GBP", "hourly_rate_minor": 2400,
            "overhead_minor_per_hour": 0, "setup_minutes": 60, "minutes_per_pull": Decimal(6),
            "trial_pulls": 0, "heel_mg": 0, "energy_kwh_per_kg": NOTHING,
            "energy_kwh_per_pull": NOTHING, "water_litres_per_pull": NOTHING,
            "packing_minor_per_sheet": 0, "price_by": "margin", "price_rate": Decimal("0.2"),
            "tax_rate": Decimal("0.2"), "quote_deposit": Decimal("0.5"),
            "quote_includes": "Packing is included; carriage is extra.",
            **changes,
        }
    )  # fmt: skip


def gift_sheet(**changes: Any) -> Sheet:
    """Make a sheet of a fibre that came for nothing and of which no sheet is lost."""
    fibre = make_fibre(name="Given linter", sorting_minutes_per_kg=0)
    make_lot(fibre, paid_minor=0)
    return make_sheet(
        make_furnish({fibre: "1"}, name="All given linter"),
        **{
            "name": "Song A4", "broke": NOTHING, "retree": NOTHING, "retention": Decimal(1),
            **changes,
        },
    )  # fmt: skip


def enquiry(sheet: Sheet | None = None, **changes: Any) -> Any:
    """Make an enquiry for 20 good sheets."""
    usual = {"ref": "C-101", "title": "Song sheets", "good_quantity": 20, "state": "enquiry"}
    return make_commission(sheet or gift_sheet(), **{**usual, **changes})


def drafted(asked: Any) -> Quote:
    """Draft a quote for a commission, priced at 10 and 50 sheets too."""
    quote = quoting.from_commission(asked, timezone.localdate())
    quote.other_quantities = [10, 50]
    return quoting.draft(quote, by=None)


def terms(**changes: Any) -> Terms:
    """Return terms of 60 sheets of A4."""
    return Terms(
        **{
            "ref": "Q-007", "replaces": "", "issued_on": date(2026, 12, 4), "studio": "Reed Vat",
            "currency": "GBP", "system": "metric", "client": "Bramble Letterpress",
            "title": "Song sheets", "sheet_name": "Song A4", "size": Size(210_000, 297_000),
            "grammage": Decimal(120), "edges": "Deckle edges, as pulled",
            "furnish": (("Linter", Decimal("0.6")), ("Abaca", Decimal("0.4"))),
            "additions": ("Chalk",), "size_tolerance_um": 4000,
            "grammage_tolerance": Decimal("0.1"), "tolerance_over": Decimal("0.05"),
            "good_quantity": 60, "includes": "", "deposit": Decimal("0.5"),
            "tax_rate": NOTHING, "valid_until": date(2027, 1, 3), "send_on": None,
            "recycled": "", "permanence": "", "remarks": "",
            **changes,
        }
    )  # fmt: skip


def cost_at(sheets: int, each_minor: int, tax_minor: int = 0, currency: str = "GBP") -> Cost:
    """Return a cost whose price is given."""
    return Cost(
        currency=currency,
        quantity=sheets,
        pulls=sheets,
        parts=(),
        price_by="margin",
        price_rate=NOTHING,
        price_minor_per_sheet=each_minor,
        tax_minor=tax_minor,
        setup_minor=NOTHING,
        missing=(),
        notes=(),
    )


def offered(*costs: Cost, **changes: Any) -> Quotation:
    """Return a quotation of such costs."""
    return Quotation.of(terms(**changes), costs or (cost_at(60, 654),))


def today() -> date:
    """Return the day it is in the studio."""
    return timezone.localdate()


def in_days(count: int) -> date:
    """Return a day ahead of today."""
    return day(-count)
