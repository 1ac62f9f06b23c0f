"""What the fibre in the store cost by the book, fibre by fibre, and what it would cost today."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from fibres.models import Fibre
from orders import bookcosts, prices
from orders.calc.bookcost import MG_PER_KG, Book
from studio.models import Studio


@dataclass(frozen=True, slots=True)
class FibreValue:
    """One fibre in the store: what is left of it, and its cost in minor units."""

    fibre: Fibre
    held_mg: int
    value_minor: Decimal
    unpriced_mg: int
    today_minor: Decimal | None

    @property
    def minor_per_kg(self) -> Decimal | None:
        """What an oven-dry kilogram of it cost, as far as prices are known."""
        priced = self.held_mg - self.unpriced_mg
        return self.value_minor * MG_PER_KG / priced if priced else None


def values(studio: Studio, today: date) -> list[FibreValue]:
    """Return the value of every fibre that lies in the store, in a fixed number of queries."""
    books = bookcosts.read(studio.book_cost).by_fibre()
    held = {pk: found for pk, found in books.items() if any(one.held_mg for one in found)}
    known = prices.today_prices(held, today)
    fibres = Fibre.objects.filter(pk__in=held).order_by("name")
    return [_value(fibre, held[fibre.pk], known.get(fibre.name)) for fibre in fibres]


def _value(fibre: Fibre, books: list[Book], price: prices.TodayPrice | None) -> FibreValue:
    mass = sum(one.held_mg for one in books)
    return FibreValue(
        fibre=fibre,
        held_mg=mass,
        value_minor=sum((one.value_minor for one in books), Decimal(0)),
        unpriced_mg=sum(one.unpriced_mg for one in books),
        today_minor=None if price is None else price.minor_per_kg * mass / MG_PER_KG,
    )
