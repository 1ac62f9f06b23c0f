"""Buying: offers, what an order comes to, when it comes, what came of it, claims for water."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.utils.dateformat import format as day_in_words

from fibres.calc import moisture as wet
from fibres.calc.comparing import Bill
from fibres.calc.offerwords import PER_WORDS
from fibres.calc.pricing import price_per_oven_dry_kg
from fibres.explained import water
from fibres.models import Offer, Purchase, PurchaseLine, Source
from studio.explaining import DEFINITION, OURS, Explained, Reader, set_on
from studio.templatetags.studio import day as day_words
from studio.units import show_share
from studio.working import Line

PACK = "oven-dry in a pack = pack as sold × (1 − moisture as sold)."
CLAIM = (
    "Trade press on the recovered-paper guidelines: the rule seen, the figure derived; air-dry "
    "mass by ISO 801, from memory. What was agreed in writing comes first."
)
PARTED = "Common practice, no source: dry and damp fibre bear freight alike."


# --- sources ------------------------------------------------------------------------------------


def came(reader: Reader, source: Any) -> Explained:
    """Take apart what came from a source, as the store reads it."""
    lines: tuple[Line, ...] = ()
    if source is not None and source.lots_given:
        lots = "1 lot" if source.lots_given == 1 else f"{source.lots_given} lots"
        lines = (
            Line("Lots", lots, source.name_shown),
            Line("Came from it, oven-dry", reader.mass(source.given_mg), kind="answer"),
        )
    return Explained(
        "Came from it",
        "came from it = oven-dry mass of all its lots, as they came, added up.",
        DEFINITION,
        lines,
    )


def freight(reader: Reader, source: Source | None) -> tuple[Explained, ...]:
    """Say what an order costs beside the goods; nothing for who may not see money."""
    if not reader.sees_money:
        return ()
    lines: tuple[Line, ...] = ()
    if source is not None:
        free = source.free_freight_from_minor
        lines = (
            Line("Freight of an order", reader.money(source.freight_minor)),
            *(() if free is None else (Line("Freight is free from", reader.money(free)),)),
        )
    return (
        Explained(
            "Freight",
            "freight = freight of an order, once; nothing where the goods alone reach the amount "
            "from which it is free.",
            set_on("the page of the source"),
            lines,
        ),
    )


def arrives(source: Source | None) -> Explained:
    """Say when an order comes."""
    lines: tuple[Line, ...] = ()
    if source is not None and source.lead_days:
        lines = (Line("Order to delivery", _days(source.lead_days)),)
    return Explained(
        "When an order comes",
        "expected = day of the order + order to delivery; outside the months in which orders are "
        "taken, the order waits for the next of them.",
        set_on("the page of the source"),
        lines,
    )


def of_source(reader: Reader, source: Any, offer: Offer | None) -> tuple[Explained, ...]:
    """Explain the page of a source, with the first of its offers."""
    if source.kind != Source.Kind.SUPPLIER:
        return (came(reader, source),)
    price = () if offer is None else dry_price(reader, offer)
    return (came(reader, source), *price, *freight(reader, source), arrives(source))


def terms(reader: Reader, source: Source | None) -> tuple[Explained, ...]:
    """Explain the form of a source by what is kept of a supplier."""
    kept = source if source is not None and source.kind == Source.Kind.SUPPLIER else None
    return (*freight(reader, kept), arrives(kept))


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"


# --- offers -------------------------------------------------------------------------------------


def pack(reader: Reader, offer: Offer | None) -> Explained:
    """Take apart the fibre in a pack."""
    lines: tuple[Line, ...] = ()
    if offer is not None:
        lines = (
            Line("A pack as sold", reader.mass(offer.pack_mg), offer.fibre.name),
            Line("Moisture as sold", show_share(offer.moisture)),
            Line(
                "Oven-dry in a pack",
                reader.mass(wet.oven_dry_mg(offer.pack_mg, offer.moisture)),
                kind="answer",
            ),
        )
    return Explained("Oven-dry in a pack", PACK, water.ISO_287, lines)


def dry_price(reader: Reader, offer: Offer | None) -> tuple[Explained, ...]:
    """Take apart what dry fibre costs; nothing for who may not see money."""
    if not reader.sees_money:
        return ()
    lines: tuple[Line, ...] = ()
    if offer is not None:
        basis: Any = offer.price_per
        per_kg = price_per_oven_dry_kg(offer.minor_per_kg, basis=basis, moisture=offer.moisture)
        lines = (
            Line("Price", reader.price(offer.minor_per_kg), PER_WORDS[offer.price_per]),
            Line("Moisture as sold", show_share(offer.moisture)),
            Line("Oven-dry costs", reader.price(per_kg), kind="answer"),
        )
    return (
        Explained(
            "Price of dry fibre",
            "oven-dry costs = price as sold ÷ (1 − moisture), or price air-dry ÷ 0.90; a price "
            "for oven-dry fibre stays as it is. Freight is not in it.",
            water.ISO_801,
            lines,
        ),
    )


def breaks(reader: Reader) -> tuple[Explained, ...]:
    """Say how price breaks count; nothing for who may not see money."""
    if not reader.sees_money:
        return ()
    return (
        Explained(
            "Packs and price breaks",
            "price of a pack = price × the kilograms that it is for; all packs at the price "
            "reached, or each pack at the price of its own step, as the offer says.",
            DEFINITION,
        ),
    )


def offer_list(reader: Reader, first: Offer | None) -> tuple[Explained, ...]:
    """Explain the list of offers by its first row."""
    return (pack(reader, first), *dry_price(reader, first), *breaks(reader))


def compared(reader: Reader, bills: Sequence[Bill]) -> tuple[Explained, ...]:
    """Explain offers compared, by the first of the table."""
    first = bills[0] if bills else None
    packs: tuple[Line, ...] = ()
    prices: tuple[Line, ...] = ()
    if first is not None:
        packs = (
            Line("Packs that cover it", str(first.packs_needed), first.offer.title),
            Line("Packs", str(first.packs), first.why_more),
            Line("Oven-dry", reader.mass(first.oven_dry_mg), kind="answer"),
        )
        prices = (
            Line("Goods", reader.money(first.goods_minor), first.offer.title),
            Line("Freight", reader.money(first.freight_minor)),
            Line("Cash", reader.money(first.cash_minor), kind="line"),
            Line("Delivered, usable", reader.price(first.cash_per_usable_kg)),
            Line("Before freight, oven-dry", reader.price(first.goods_per_oven_dry_kg)),
        )
    return (
        Explained(
            "Packs",
            "packs = fibre wanted ÷ oven-dry in a pack, rounded up; more where the least order "
            "asks for them, or where a price break or free freight makes more packs cost less.",
            DEFINITION,
            packs,
        ),
        Explained(
            "Three ways to be the cheapest",
            f"cash = goods + freight; delivered, a {reader.unit} = cash ÷ usable mass; before "
            f"freight, a {reader.unit} = goods ÷ oven-dry mass.",
            DEFINITION,
            prices,
        ),
    )


# --- purchases ----------------------------------------------------------------------------------


def to_come(reader: Reader, lines: Sequence[PurchaseLine], *, whose: str = "") -> Explained:
    """Take apart what is to come of an order, by its first line and all of them."""
    found: tuple[Line, ...] = ()
    if lines:
        first = lines[0]
        found = (
            Line("Packs to come", str(first.packs_to_come), f"{whose}{first.fibre.name}"),
            Line("Pack as sold", reader.mass(first.pack_mg)),
            Line("Moisture agreed", show_share(first.moisture)),
        )
        if len(lines) > 1:
            found += (Line("To come of it", reader.mass(first.to_come_mg), kind="line"),)
        whole_mg = sum(line.to_come_mg for line in lines)
        because = "all lines added up" if len(lines) > 1 else ""
        found += (Line("To come", reader.mass(whole_mg), because, "answer"),)
    return Explained(
        "To come",
        "to come, oven-dry = packs that have not come × pack as sold × (1 − moisture agreed).",
        water.ISO_287,
        found,
    )


def purchase_list(reader: Reader, first: Purchase | None) -> tuple[Explained, ...]:
    """Explain the list of purchases by its first row."""
    lines = () if first is None or not first.is_on_its_way else tuple(first.lines.all())
    ref = f"{first.ref}, " if first is not None else ""
    return (to_come(reader, lines, whose=ref), late(first))


def late(purchase: Purchase | None) -> Explained:
    """Say when a purchase is late."""
    day = None if purchase is None else purchase.expected_on
    return Explained(
        "Late",
        "days late = today − day expected, as long as something is to come.",
        OURS,
        ()
        if day is None or purchase is None
        else (Line(f"{purchase.ref} expected", day_words(day)),),
    )


def in_all(reader: Reader, purchase: Purchase) -> tuple[Explained, ...]:
    """Take apart what an order comes to; nothing for who may not see money."""
    if not reader.sees_money:
        return ()
    goods = sum(line.goods_minor for line in purchase.lines.all())
    return (
        Explained(
            "In all",
            "in all = price of all lines + freight of the order.",
            DEFINITION,
            (
                Line("Goods", reader.money(goods)),
                Line("Freight", reader.money(purchase.freight_minor)),
                Line("In all", reader.money(goods + purchase.freight_minor), kind="answer"),
            ),
        ),
    )


def borne(reader: Reader, purchase: Purchase) -> tuple[Explained, ...]:
    """Say what each line bears of the freight; nothing for who may not see money."""
    if not reader.sees_money or not purchase.freight_minor:
        return ()
    shares = purchase.freight_by_line()
    lines = [
        Line(
            line.fibre.name, reader.money(shares[line.pk]), f"{reader.mass(line.oven_dry_mg)} dry"
        )
        for line in purchase.lines.all()
    ]
    return (
        Explained(
            "Freight of a lot",
            "freight of a line = freight × its oven-dry mass as ordered ÷ that of all lines; a "
            "lot bears goods and freight of its packs.",
            PARTED,
            (*lines[:4], Line("Freight", reader.money(purchase.freight_minor), kind="answer")),
        ),
    )


def claimed(reader: Reader, claims: Sequence[tuple[str, str, Any]]) -> tuple[Explained, ...]:
    """Say how a claim is reckoned; the page has the whole sum beside it."""
    if not claims or not reader.sees_money:
        return ()
    return (
        Explained(
            "To claim",
            "to claim = price of the goods × (1 − air-dry mass delivered ÷ air-dry mass "
            "invoiced); air-dry mass = mass as it is × (1 − moisture) ÷ 0.90.",
            CLAIM,
            tuple(Line(lot, amount) for lot, amount, _ in claims[:3]),
        ),
    )


def of_purchase(
    reader: Reader, purchase: Purchase, claims: Sequence[tuple[str, str, Any]]
) -> tuple[Explained, ...]:
    """Explain the page of a purchase."""
    return (
        to_come(reader, list(purchase.lines.all())),
        *in_all(reader, purchase),
        *borne(reader, purchase),
        *claimed(reader, claims),
    )


def planned(reader: Reader, source: Source, sent: tuple[Line, ...]) -> tuple[Explained, ...]:
    """Explain the form that plans an order."""
    return (
        Explained(
            "In all",
            "in all = packs × price of a pack, by the breaks of each offer, + freight.",
            DEFINITION,
            sent,
        ),
        *freight(reader, source),
        Explained(
            f"Price a {reader.unit}",
            f"price a {reader.unit} = in all ÷ oven-dry fibre of all packs.",
            DEFINITION,
        ),
    )


def placed(reader: Reader, purchase: Purchase) -> tuple[Explained, ...]:
    """Explain the form that marks a purchase as ordered."""
    return (*in_all(reader, purchase), arrives(purchase.source))


def received(reader: Reader, purchase: Purchase, sent: tuple[Line, ...]) -> tuple[Explained, ...]:
    """Explain the form that enters what came."""
    agreed = [line for line in purchase.lines.all() if line.packs_to_come]
    return (
        water.oven_dry_alone(sent),
        to_come(reader, agreed),
        *borne(reader, purchase),
    )


def expected(purchase: Purchase) -> tuple[Explained, ...]:
    """Explain the form that keeps another day."""
    days = purchase.source.lead_days
    dates = [("Ordered", purchase.ordered_on), ("Expected until now", purchase.expected_on)]
    lines: Iterable[Line] = (
        *(Line(word, day_in_words(day, "j F")) for word, day in dates if day),
        *((Line("Order to delivery", _days(days), "of the source"),) if days else ()),
    )
    return (
        Explained(
            "Expected",
            "expected = day of the order + order to delivery of the source, unless a day was "
            "given; the day given here takes its place.",
            set_on("the page of the source"),
            tuple(lines),
        ),
    )
