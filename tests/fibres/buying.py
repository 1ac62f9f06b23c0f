"""What several tests of buying start from."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.urls import reverse

from fibres import purchasing
from fibres.models import Lot, Offer, Purchase
from tests.builders import KG, arrived, day, make_fibre, make_offer, make_purchase, make_source


def kozo(**changes: Any) -> Offer:
    """Offer kozo in packs of 5 kg at 9.40, from 4 packs at 9.00, 12 days away."""
    source = make_source(name="Tidewater", lead_days=12, freight_minor=3500)
    usual = {"form": "Dry bark", "breaks": {4: 900}}
    return make_offer(make_fibre(name="Kozo", code="KZ"), source, **{**usual, **changes})


def two_lines(**changes: Any) -> Purchase:
    """Order 3 packs of 5 kg at 9.40 and 3 packs of 2 kg at 5.00."""
    source = make_source()
    first = make_offer(make_fibre(name="Kozo"), source)
    linter = make_offer(make_fibre(name="Linter"), source, pack_mg=2 * KG, minor_per_kg=500)
    return make_purchase(first, linter, **changes)


def received(purchase: Purchase, *packs: int, **changes: Any) -> list[Lot]:
    """Receive so many packs of each of the first lines, as their labels say."""
    arrivals = [
        arrived(line, come, **changes)
        for line, come in zip(purchase.lines.all(), packs, strict=False)
    ]
    return purchasing.receive(purchase, arrivals, received_on=day(), by=None)


def wetter(purchase: Purchase) -> list[Lot]:
    """Receive a pack of the first line at 12 %, weighed, where 8 % was agreed."""
    return received(purchase, 1, moisture=Decimal("0.12"), moisture_known="weighed")


def state_of(purchase: Purchase) -> str:
    """Return the state of a purchase as it is kept now."""
    return str(Purchase.objects.get(pk=purchase.pk).state)


def at(purchase: Purchase, act: str = "") -> str:
    """Return the address of a purchase, or of what is done about it."""
    return reverse(f"purchase_{act}" if act else "purchase", args=[purchase.ref])
