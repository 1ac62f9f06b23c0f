"""Lots as planning sees them: what lies in the store, and what is on its way."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from decimal import Decimal
from functools import lru_cache

from django.db.models import TextField
from django.db.models.functions import Cast

from fibres.calc.spread import Known, lot_spread
from fibres.models import Fibre, Lot
from fibres.queries import packs_to_come
from orders.calc.planrows import PlanLot

MG_PER_KG = 1_000_000
# The most that a snapshot may name as a price; a milligram that cost a fortune comes to more.
DEAREST_MINOR = 10**12
A_DAY = timedelta(days=1)


def held(fibres: dict[int, Fibre], gone: Mapping[int, int]) -> Iterable[PlanLot]:
    """Return what lies in the store, without what is weighed out, oven-dry by the lot's key."""
    rows = (
        Lot.objects.filter(oven_dry_mg__gt=0)
        .order_by("pk")
        .values_list(
            "pk", "fibre_id", "oven_dry_mg", "ref", _text("moisture"), _text("preparation_yield"),
            _text("received_on"), _text("keep_until"), "moisture_known", _text("band"),
            "paid_minor", "received_oven_dry_mg",
        )
    )  # fmt: skip
    usual = {
        key: (fibre.name, _ratio(fibre.preparation_yield), frozenset(fibre.marks))
        for key, fibre in fibres.items()
    }
    for pk, fibre, in_book, *rest in rows:
        oven_dry = in_book - gone.get(pk, 0)
        if oven_dry > 0:
            yield _lot(usual[fibre], oven_dry, *rest)


def on_their_way(fibres: dict[int, Fibre], today: date) -> Iterable[PlanLot]:
    """Return what is ordered as lots that can be used from the day they are expected.

    What should have come by now is looked for tomorrow.
    """
    for packs in packs_to_come():
        fibre = fibres[packs.fibre_id]
        usable = _part(packs.oven_dry_mg, _ratio(fibre.preparation_yield))
        yield PlanLot(
            ref=packs.ref,
            fibre=fibre.name,
            usable_mg=usable,
            oven_dry_mg=packs.oven_dry_mg,
            as_is_mg=packs.as_is_mg,
            usable_from=packs.expected_on if packs.expected_on >= today else today + A_DAY,
            cost_minor_per_kg=_cost_of_usable(packs.paid_minor, usable),
            marks=frozenset(fibre.marks),
            # The moisture agreed is what the label will say.
            spread=lot_spread(packs.moisture, known="label", band=Decimal(0)),
        )


# A store of ten thousand lots has few different shares and days: they are read as they are
# written, what each comes to is kept, and lots are reckoned in whole numbers alone, as exactly as
# fibres.calc.moisture does with fractions. A lot itself changes seldom: until then it is one and
# the same for everybody who plans.
Ratio = tuple[int, int]
Usual = tuple[str, Ratio, frozenset[str]]
_day = lru_cache(maxsize=100_000)(date.fromisoformat)
_share = lru_cache(maxsize=100_000)(Decimal)


def _text(field: str) -> Cast:
    return Cast(field, TextField())


@lru_cache(maxsize=120_000)
def _lot(
    usual: Usual,
    oven_dry_mg: int,
    ref: str,
    moisture: str,
    own_yield: str | None,
    received_on: str,
    until: str | None,
    known: Known,
    band: str,
    paid_minor: int | None,
    received_mg: int,
) -> PlanLot:
    fibre, yielded, marks = usual
    if own_yield is not None:
        yielded = _ratio(_share(own_yield))
    return PlanLot(
        ref=ref,
        fibre=fibre,
        usable_mg=_part(oven_dry_mg, yielded),
        oven_dry_mg=oven_dry_mg,
        as_is_mg=_over(oven_dry_mg, _dry(moisture)),
        usable_from=_day(received_on),
        until=None if until is None else _day(until),
        cost_minor_per_kg=_cost_of_usable(paid_minor, _part(received_mg, yielded)),
        marks=marks,
        spread=_spread(moisture, known, band),
    )


@lru_cache(maxsize=100_000)
def _spread(moisture: str, known: Known, band: str) -> Decimal:
    return lot_spread(Decimal(moisture), known=known, band=Decimal(band))


@lru_cache(maxsize=100_000)
def _ratio(share: Decimal) -> Ratio:
    return share.as_integer_ratio()


@lru_cache(maxsize=100_000)
def _dry(moisture: str) -> Ratio:
    """Return the share of a lot that is not water."""
    return (1 - Decimal(moisture)).as_integer_ratio()


def _part(mass_mg: int, share: Ratio) -> int:
    """Return a share of a mass, rounded down."""
    return mass_mg * share[0] // share[1]


def _over(mass_mg: int, share: Ratio) -> int:
    """Return a mass over a share, rounded half-even."""
    whole, rest = divmod(mass_mg * share[1], share[0])
    return whole + (2 * rest > share[0] or (2 * rest == share[0] and whole % 2))


def _cost_of_usable(paid_minor: int | None, usable_mg: int) -> int:
    """Return what a usable kilogram cost, rounded half-even; 0 where that is not known."""
    if not paid_minor or not usable_mg:
        return 0
    return min(_over(paid_minor * MG_PER_KG, (usable_mg, 1)), DEAREST_MINOR)
