"""Generated snapshots of any size, always the same for one seed, with no database behind them.

Lots have days of their own, each fifth fibre is scrap, which some promises exclude, a few promises
keep to a few lots, furnishes have one to three lines, some with limits and some with stand-ins,
and what is held comes to about as much as is promised, so that some promises are short. So is the
studio that :mod:`tests.bench.studio` writes into the database. A ``marked`` one is harder than any
that the program can hold: its lots bear three marks at random, which promises exclude at random.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from random import Random

from orders.calc.planrows import (
    BREAKS_ARE,
    Demand,
    PackOffer,
    Part,
    PlanLot,
    Promise,
    Snapshot,
    SourceTerms,
    Sourcing,
)

KG = 1_000_000
TODAY = date(2027, 3, 1)
SCRAP = ("scrap",)
MARKS = ("dyed", "long kept", *SCRAP)
LOT = "L{:06d}"
EACH_KEEPING_TO_LOTS = 200
# Least, target and most share of every line.
FURNISHES = (
    (("1", "1", "1"),),
    (("0.5", "0.6", "0.7"), ("0.3", "0.4", "0.5")),
    (("0.8", "0.8", "0.8"), ("0.2", "0.2", "0.2")),
    (("0.4", "0.5", "0.6"), ("0.2", "0.3", "0.4"), ("0.2", "0.2", "0.2")),
)


@dataclass(frozen=True)
class Size:
    """How large a planning problem is."""

    lots: int
    commissions: int
    fibres: int
    days: int

    def __str__(self) -> str:
        return f"{self.lots}x{self.commissions}x{self.fibres}x{self.days}"


EVERYDAY = Size(100, 20, 5, 90)
SMALL = Size(1_000, 100, 10, 180)
LARGE = Size(10_000, 1_000, 30, 365)
LARGEST = Size(100_000, 10_000, 50, 365)


# --- cover ------------------------------------------------------------------------------------


def studio(size: Size, *, seed: int = 1, load: float = 0.95, marked: bool = False) -> Snapshot:
    """Return a studio of that size that holds ``load`` of what it has promised."""
    choose = Random(seed)
    fibres = [f"fibre {number:02d}" for number in range(size.fibres)]
    promises = tuple(_promises(choose, size, fibres, marked=marked))
    wanted: Counter[str] = Counter()
    for one in promises:
        for part in one.furnish:
            for fibre in part.fibres:
                wanted[fibre] += float(part.target) * one.need_mg / len(part.fibres)
    return Snapshot(
        today=TODAY,
        currency="GBP",
        lots=tuple(_lots(choose, size, fibres, wanted, load, marked=marked)),
        commissions=promises,
    )


def _promises(choose: Random, size: Size, fibres: list[str], *, marked: bool) -> Iterator[Promise]:
    furnishes = [tuple(_furnish(choose, fibres)) for _ in range(2 * size.fibres)]
    for number in range(size.commissions):
        due = TODAY + timedelta(days=choose.randint(0, size.days))
        wanted = choose.randint(20, 400)
        pull = choose.randint(3_000, 30_000)
        need = wanted * pull * 9 // 8
        furnish = choose.choice(furnishes)
        keeps_to_lots = not marked and number % EACH_KEEPING_TO_LOTS == 0
        yield Promise(
            ref=f"C{number:05d}",
            priority=choose.randint(1, 9),
            due=due,
            wanted=wanted,
            need_mg=need,
            safe_need_mg=need * choose.randint(100, 106) // 100,
            pull_mg=pull,
            furnish=furnish,
            good_share=Decimal("0.88"),
            excludes=_marks(choose, MARKS, 0.15) if marked else _marks(choose, SCRAP, 0.3),
            only_lots=_few_lots(choose, size, furnish, fibres) if keeps_to_lots else None,
            needed_on=due - timedelta(days=7),
        )


def _marks(choose: Random, marks: tuple[str, ...], share: float) -> frozenset[str]:
    return frozenset(mark for mark in marks if choose.random() < share)


def _few_lots(
    choose: Random, size: Size, furnish: tuple[Part, ...], fibres: list[str]
) -> frozenset[str]:
    """Return three lots of each fibre of a furnish."""
    numbers = (
        range(fibres.index(part.fibres[0]), size.lots, size.fibres)[at]
        for part in furnish
        for at in choose.sample(range(size.lots // size.fibres), 3)
    )
    return frozenset(LOT.format(number) for number in numbers)


def _furnish(choose: Random, fibres: list[str]) -> Iterator[Part]:
    shares = choose.choice(FURNISHES)
    chosen = choose.sample(fibres, len(shares) + 1)
    for fibre, (least, target, most) in zip(chosen, shares, strict=False):
        stands_in = chosen[-1:] if choose.random() < 0.2 else []
        yield Part((fibre, *stands_in), Decimal(least), Decimal(target), Decimal(most))


def _lots(
    choose: Random,
    size: Size,
    fibres: list[str],
    wanted: Counter[str],
    load: float,
    *,
    marked: bool,
) -> Iterator[PlanLot]:
    a_lot = size.fibres * load / size.lots
    loads = {fibre: choose.uniform(0.9, 1.1) for fibre in fibres}
    for number in range(size.lots):
        fibre = fibres[number % size.fibres]
        scrap = frozenset(SCRAP if number % size.fibres % 5 == 4 else ())
        mass = int(wanted[fibre] * a_lot * loads[fibre] * choose.uniform(0.4, 1.6))
        since = TODAY + timedelta(days=choose.randint(-size.days * 4, size.days // 2))
        keeps = choose.randint(size.days // 4, size.days) if choose.random() < 0.15 else None
        yield PlanLot(
            ref=LOT.format(number),
            fibre=fibre,
            usable_mg=mass,
            oven_dry_mg=mass * 100 // 95,
            as_is_mg=mass * 100 // 87,
            usable_from=since,
            until=None if keeps is None else max(since, TODAY) + timedelta(days=keeps),
            cost_minor_per_kg=choose.randint(200, 2400),
            marks=_marks(choose, MARKS, 0.2) if marked else scrap,
            spread=Decimal("0.03"),
        )


# --- buying -----------------------------------------------------------------------------------


def buying(fibres: int, weeks: int, sources: int, *, seed: int = 1) -> Snapshot:
    """Return a buying problem: fibre is wanted in 35 of 100 weeks of every kind."""
    choose = Random(seed)
    names = [f"fibre {number:02d}" for number in range(fibres)]
    terms = tuple(
        SourceTerms(
            ref=f"S{number}",
            lead_days=choose.randint(3, 14),
            freight=((TODAY, choose.randint(8, 40) * 100),),
            order_minimum_minor=choose.choice([0, 0, 5_000]),
            free_freight_from_minor=choose.choice([None, 20_000]),
        )
        for number in range(sources)
    )
    return Snapshot(
        today=TODAY,
        currency="GBP",
        lots=tuple(_first_lots(names)),
        commissions=(),
        sourcing=Sourcing(
            horizon_days=weeks * 7,
            sources=terms,
            offers=tuple(_offers(choose, names, terms)),
            minimum_mg=dict.fromkeys(names, 2 * KG),
            holding_minor_per_kg_day={name: Decimal(choose.randint(1, 4)) for name in names},
            demand=tuple(
                Demand(
                    name, TODAY + timedelta(days=week * 7), choose.randint(1_000, 12_000) * 1_000
                )
                for name in names
                for week in range(2, weeks)
                if choose.random() < 0.35
            ),
        ),
    )


def _first_lots(names: list[str]) -> Iterator[PlanLot]:
    for number, name in enumerate(names):
        yield PlanLot(f"L{number}", name, *[4 * KG] * 3, TODAY - timedelta(days=30))


def _offers(
    choose: Random, names: list[str], terms: tuple[SourceTerms, ...]
) -> Iterator[PackOffer]:
    for number, name in enumerate(names):
        # At least two sources a fibre, so that there is something to choose.
        for source in choose.sample(terms, min(len(terms), choose.randint(2, 3))):
            price = choose.randint(7, 20) * 100
            pack = choose.choice([1, 2, 5])
            breaks = [(1, price * pack)]
            if choose.random() < 0.6:
                breaks.append((choose.randint(3, 6), price * pack * 88 // 100))
            yield PackOffer(
                ref=f"{source.ref}/{number}",
                source=source.ref,
                fibre=name,
                pack_usable_mg=pack * KG * 92 // 100,
                breaks=tuple(breaks),
                breaks_are=choose.choice(BREAKS_ARE),
                least_packs=choose.choice([1, 1, 2]),
            )
