"""Offers in words: the working of a pack and of an order, and why the cheapest differ."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from fibres.calc import moisture as wet
from fibres.calc.comparing import Bill, Comparison
from fibres.calc.offers import Offering, kilograms_priced, pack_breaks
from fibres.calc.pricing import MG_PER_KG, price_per_oven_dry_kg
from studio.money import BY_MASS_WORDS, KG_PER_POUND, by_mass, show_money
from studio.units import System, show_mass, show_number, show_share
from studio.working import Line

# What a price is for a kilogram of: how it is worded, and how it may be written in a list.
PER_WORDS = {"as-is": "as sold", "air-dry": "air-dry, 90 % fibre", "oven-dry": "oven-dry"}
READ_AS_PER = {
    "as-is": "as-is", "as is": "as-is", "as sold": "as-is", "as weighed": "as-is",
    "air-dry": "air-dry", "air dry": "air-dry",
    "oven-dry": "oven-dry", "oven dry": "oven-dry",
}  # fmt: skip


def packs_in_words(packs: int) -> str:
    """Return a number of packs in words.

    Parameters
    ----------
    packs : int [packs]
        A whole number.

    Returns
    -------
    str [-]
        In the singular for one.

    Raises
    ------
    Nothing.

    Notes
    -----
    Source: definition.

    Examples
    --------
    >>> packs_in_words(1), packs_in_words(3)
    ('1 pack', '3 packs')
    """
    return "1 pack" if packs == 1 else f"{packs} packs"


def pack_lines(offer: Offering, *, currency: str, system: System = "metric") -> list[Line]:
    """Return what a pack holds and costs, line by line, and a kilogram on every basis.

    Parameters
    ----------
    offer : Offering
        Pack, moisture, price and breaks.
    currency : str [-]
        Code of the studio's currency.
    system : str [-]
        "metric" or "US"; it bears on how masses are shown.

    Returns
    -------
    list of Line
        From the mass as sold to the price of a pack, then breaks, then a kilogram by basis.

    Raises
    ------
    RangeError
        If the pack cannot be.

    Notes
    -----
    Air-dry is taken to hold 10 % water. Source: [ISO801], wording from memory.

    Examples
    --------
    >>> offer = Offering("X", 5_000_000, Decimal("0.08"), 940)
    >>> [line.value for line in pack_lines(offer, currency="GBP") if line.kind == "answer"]
    ['£47.00']
    """
    dry_mg = wet.oven_dry_mg(offer.pack_mg, offer.moisture)
    counted = kilograms_priced(offer.pack_mg, offer.moisture, offer.price_per)
    minor_each, unit = by_mass(offer.minor_per_kg, system)
    if unit == "lb":
        counted = round(counted / Fraction(KG_PER_POUND), 2)
    first, *later = pack_breaks(offer)
    price = show_money(minor_each, currency)
    each = "Price of a pack" if first[0] == 1 else f"Price of a pack, from {first[0]} packs"
    return [
        Line("A pack as sold", show_mass(offer.pack_mg, system=system)),
        Line(
            "Less moisture",
            show_mass(dry_mg - offer.pack_mg, system=system),
            show_share(offer.moisture),
        ),
        Line("Oven-dry in a pack", show_mass(dry_mg, system=system), kind="line"),
        Line(
            each,
            show_money(first[1], currency),
            f"{_number(counted)} {unit} {PER_WORDS[offer.price_per]}, {price} each",
            "answer",
        ),
        *(
            Line(f"{_whose(offer)} from {packs} packs on", show_money(minor, currency))
            for packs, minor in later
        ),
        *_kilograms(offer, currency, system),
    ]


def _whose(offer: Offering) -> str:
    return "A further pack" if offer.is_incremental else "A pack"


def _kilograms(offer: Offering, currency: str, system: System) -> list[Line]:
    dry = price_per_oven_dry_kg(offer.minor_per_kg, basis=offer.price_per, moisture=offer.moisture)
    prices = [
        ("as sold", dry * (1 - offer.moisture)),
        ("air-dry, 90 % fibre", dry * wet.AIR_DRYNESS),
        ("oven-dry", dry),
    ]
    if offer.preparation_yield < 1:
        prices.append(("usable", dry / offer.preparation_yield))
    return [
        Line(f"A {BY_MASS_WORDS[unit]} {basis}", show_money(minor, currency))
        for basis, per_kg in prices
        for minor, unit in [by_mass(per_kg, system)]
    ]


def bill_lines(bill: Bill, *, currency: str, system: System = "metric") -> list[Line]:
    """Return how an order comes to what it costs, line by line.

    Parameters
    ----------
    bill : Bill
        As worked out for one offer.
    currency : str [-]
        Code of the studio's currency.
    system : str [-]
        "metric" or "US"; it bears on how masses are shown.

    Returns
    -------
    list of Line
        Packs, fibre, goods, freight, cash, and what a kilogram comes to.

    Raises
    ------
    Nothing.

    Notes
    -----
    Source: definition.

    Examples
    --------
    >>> from datetime import date
    >>> from fibres.calc.comparing import bill
    >>> one = bill(
    ...     1_119_000, Offering("Y", 10_000_000, Decimal("0.06"), 860), today=date(2027, 9, 1)
    ... )
    >>> [line.value for line in bill_lines(one, currency="GBP") if line.kind == "answer"]
    ['£86.00']
    """
    offer, terms = bill.offer, bill.offer.terms
    packs = packs_in_words(bill.packs)
    if bill.why_more:
        packs = f"{packs} {bill.why_more}; {bill.packs_needed} would cover it"
    delivered, word = _priced(bill.cash_per_usable_kg, currency, system)
    goods, _ = _priced(bill.goods_per_oven_dry_kg, currency, system)
    free = terms.free_freight_from_minor
    freight = "" if free is None else f"free from {show_money(free, currency)} of goods"
    return [
        Line("As sold", show_mass(bill.as_sold_mg, system=system), packs),
        Line(
            "Oven-dry",
            show_mass(bill.oven_dry_mg, system=system),
            f"at {show_share(offer.moisture)} moisture",
        ),
        Line(
            "Usable",
            show_mass(bill.usable_mg, system=system),
            f"{show_share(offer.preparation_yield)} is left after preparation",
            "line",
        ),
        Line("Goods", show_money(bill.goods_minor, currency)),
        Line("Freight", show_money(bill.freight_minor, currency), freight),
        Line("Cash", show_money(bill.cash_minor, currency), kind="answer"),
        Line(f"A usable {word}, delivered", delivered),
        Line(f"A {word} oven-dry, before freight", goods),
    ]


def why_they_differ(comparison: Comparison, *, currency: str, system: System = "metric") -> str:
    """Return in plain words which offer is cheapest in which way, and why not in the others.

    Parameters
    ----------
    comparison : Comparison
        Bills of the offers for one need.
    currency : str [-]
        Code of the studio's currency.
    system : str [-]
        "metric" or "US"; it bears on how masses are shown.

    Returns
    -------
    str [-]
        Whole sentences; nothing where no offer can be ordered.

    Raises
    ------
    Nothing.

    Notes
    -----
    Each reason follows from the figures: who costs less a kilogram and more in cash brings
    more; who is cheaper before freight and dearer delivered has the dearer freight a kilogram.
    Source: definition.

    Examples
    --------
    >>> from datetime import date
    >>> from fibres.calc.comparing import compare
    >>> one = Offering("Y", 10_000_000, Decimal("0.06"), 860)
    >>> why_they_differ(compare(1_119_000, (one,), today=date(2027, 9, 1)), currency="GBP")
    'There is nothing to compare Y with: no other offer can be ordered.'
    """
    cash, delivered = comparison.least_cash, comparison.least_delivered
    goods = comparison.least_before_freight
    if cash is None or delivered is None or goods is None:
        return ""
    if len(comparison.bills) == 1:
        return (
            f"There is nothing to compare {cash.offer.title} with: no other offer can be ordered."
        )
    if cash is delivered is goods:
        return f"{cash.offer.title} is the cheapest all three ways."
    sentences = [
        f"{cash.offer.title} asks for the least money: {packs_in_words(cash.packs)} for "
        f"{show_money(cash.cash_minor, currency)}."
    ]
    word = _priced(delivered.cash_per_usable_kg, currency, system)[1]
    if delivered is not cash:
        sentences.append(_delivered(delivered, cash, currency, system))
    else:
        sentences.append(f"It is also the cheapest for a usable {word} delivered.")
    if goods is not delivered:
        sentences.append(_before_freight(goods, delivered, currency, system))
    else:
        sentences.append("It is the cheapest before freight too.")
    return " ".join(sentences)


def _delivered(delivered: Bill, cash: Bill, currency: str, system: System) -> str:
    dearer = delivered.cash_minor - cash.cash_minor
    more = show_mass(delivered.usable_mg - cash.usable_mg, system=system)
    money = f"asks for {show_money(dearer, currency)} more and" if dearer else "for as much"
    price, word = _priced(delivered.cash_per_usable_kg, currency, system)
    return (
        f"{delivered.offer.title} costs the least for a usable {word} delivered, "
        f"{price}: it {money} brings {more} more."
    )


def _before_freight(goods: Bill, delivered: Bill, currency: str, system: System) -> str:
    mine, theirs = (
        _priced(Fraction(one.freight_minor * MG_PER_KG, one.oven_dry_mg), currency, system)[0]
        for one in (goods, delivered)
    )
    price, word = _priced(goods.goods_per_oven_dry_kg, currency, system)
    return (
        f"{goods.offer.title} is the cheapest before freight, "
        f"{price} for an oven-dry {word}; its freight "
        f"adds {mine} to each, that of {delivered.offer.title} {theirs}."
    )


def _priced(minor_per_kg: Fraction, currency: str, system: System) -> tuple[str, str]:
    """Return a price by mass in words, and what it is for one of."""
    minor, unit = by_mass(exact(minor_per_kg), system)
    return show_money(minor, currency), BY_MASS_WORDS[unit]


def _number(kilograms: Fraction) -> str:
    return show_number(round(exact(kilograms), 3).normalize())


def exact(number: Fraction) -> Decimal:
    """Return a fraction as a Decimal, to as many digits as one has.

    Parameters
    ----------
    number : Fraction [-]
        Any.

    Returns
    -------
    Decimal [-]
        28 digits.

    Raises
    ------
    Nothing.

    Notes
    -----
    Source: definition.

    Examples
    --------
    >>> exact(Fraction(1, 8))
    Decimal('0.125')
    """
    return Decimal(number.numerator) / number.denominator
