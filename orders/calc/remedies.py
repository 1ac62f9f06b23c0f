"""What would mend a shortage: figures only; the sentences are the business of the pages."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from fibres.calc.comparing import cheapest_order
from fibres.calc.offers import Terms
from orders.calc._buying.terms import Market, Offer
from orders.calc._mixes import nearest_mix
from orders.calc.cover import allocate
from orders.calc.covered import COVERED, JUST_COVERED, LATER, SHORT, Answer, Cover, Lack
from orders.calc.planrows import PlanLot, Promise, Snapshot
from orders.calc.ways import (
    AnotherDay,
    Buy,
    FurnishChange,
    InTwo,
    Mix,
    OfferToTake,
    OnlyByBuying,
    SwapOrder,
    Way,
)

MOST_SWAPS_TRIED = 5
# Of lot and commission, in all tries together: a second or two.
MOST_PAIRS_TRIED = 2_000_000
# A year and a bit, so that the next season of every source is seen.
DAYS_LOOKED_AHEAD = 400
# The better first.
STATES_IN_ORDER = (COVERED, JUST_COVERED, LATER, SHORT)


def ways_out(
    snapshot: Snapshot, cover: Cover, ref: str, *, with_prices: bool = True
) -> tuple[Way, ...]:
    """Return what would mend the shortage of one commission.

    Parameters
    ----------
    snapshot : Snapshot
        What ``cover`` was worked out from; with ``sourcing``, offers are looked through too.
    cover : Cover
        How all promises stand.
    ref : str
        The commission that is asked about.
    with_prices : bool, optional
        Whether the snapshot holds prices to choose an offer by.

    Returns
    -------
    tuple of Way
        In this order: that there is no plan without a purchase, where that is so; one purchase
        for each line that lacks fibre; delivery in two parts; other shares of the same fibres;
        another order of serving; another day due. Empty where nothing is short.

    Raises
    ------
    StudioError
        If cover cannot be worked out again for another order of serving.

    Notes
    -----
    Other shares leave alone what is held for everybody else; another order of serving may not,
    and then says who is worse. Up to five commissions of higher rank that need the same scarce
    fibre are tried, the nearest first; one whose turn can be taken without making anybody worse
    is preferred. A turn that makes somebody worse hands the shortage on: it is no plan without a
    purchase. Each try serves everybody anew, so fewer are made in a very large store, and none
    where lots times commissions are more than two million; then nobody says that there is no plan
    without a purchase. Source: definition.

    Examples
    --------
    >>> from orders.calc.plan import from_json
    >>> part = {"fibres": ["abaca"], "least": "1", "target": "1", "most": "1"}
    >>> snapshot = from_json({
    ...     "halfstuff_snapshot": 1, "today": "2027-03-01", "currency": "GBP",
    ...     "lots": [{"ref": "A1", "fibre": "abaca", "usable_mg": 900, "from": "2027-02-01"}],
    ...     "commissions": [{"ref": "C1", "due": "2027-03-06", "wanted": 10, "need_mg": 1000,
    ...                      "pull_mg": 100, "furnish": [part]}],
    ... })
    >>> only, buy, parts = ways_out(snapshot, allocate(snapshot), "C1")
    >>> buy.usable_mg, parts.now_sheets, parts.later_sheets
    (100, 9, 1)
    """
    answer = cover.of(ref)
    promise = _promise(snapshot, ref)
    if answer is None or promise is None or not answer.short:
        return ()
    market = _market(snapshot, promise)
    purchases = [_buy(market, promise, lack, with_prices=with_prices) for lack in answer.short]
    without = [
        *_furnish_change(snapshot, cover, promise),
        *_swap(snapshot, cover, promise),
        *_another_day(promise, answer),
    ]
    helps = [way for way in without if not (isinstance(way, SwapOrder) and way.worse)]
    return (
        *([] if helps or not _tries(snapshot) else [OnlyByBuying()]),
        *purchases,
        *_in_two(market, promise, answer),
        *without,
    )


def mix_used(promise: Promise, answer: Answer) -> Mix:
    """Return the shares of the fibres set aside where they are not the targets of the furnish.

    Parameters
    ----------
    promise : Promise
        The commission, with the targets of its furnish.
    answer : Answer
        How it stands.

    Returns
    -------
    tuple of (str, Decimal [-])
        Fibre and share, in the order of the furnish; empty where the mix is the target, to a
        thousandth, and where something is short.

    Raises
    ------
    StudioError
        Never.

    Notes
    -----
    The target of a line is counted for its first fibre; a substitute is a mix of its own.
    Source: definition.

    Examples
    --------
    >>> from orders.calc.covered import Pick
    >>> from orders.calc.planrows import Part
    >>> from decimal import Decimal as D
    >>> day, half = date(2027, 3, 6), Part(("linter",), D("0.4"), D("0.5"), D("0.6"))
    >>> other = Part(("abaca",), D("0.4"), D("0.5"), D("0.6"))
    >>> promise = Promise("C1", 1, day, 10, 1000, 1000, 100, (half, other))
    >>> picks = (Pick("L1", "linter", 600, 600, 600), Pick("A1", "abaca", 400, 400, 400))
    >>> mix_used(promise, Answer("C1", day, 10, "covered", 10, day, 1000, (), picks))
    (('linter', Decimal('0.600')), ('abaca', Decimal('0.400')))
    """
    total = sum(pick.usable_mg for pick in answer.picks)
    if answer.short or not total:
        return ()
    used: dict[str, int] = {fibre: 0 for part in promise.furnish for fibre in part.fibres}
    target = dict.fromkeys(used, Decimal(0))
    for pick in answer.picks:
        used[pick.fibre] = used.get(pick.fibre, 0) + pick.usable_mg
    for part in promise.furnish:
        target[part.fibres[0]] += part.target
    thousandth = Decimal("0.001")
    shares = {fibre: Decimal(mass) / total for fibre, mass in used.items()}
    if all(abs(share - target.get(fibre, 0)) < thousandth for fibre, share in shares.items()):
        return ()
    return tuple((fibre, share.quantize(thousandth)) for fibre, share in shares.items() if share)


def made_worse(before: Cover, after: Cover) -> list[Answer]:
    """Return the answers that stand worse than they did.

    Parameters
    ----------
    before : Cover
        How the promises stand now.
    after : Cover
        How they would stand.

    Returns
    -------
    list of Answer
        From ``after``, in its order; what was not there before is not worse.

    Raises
    ------
    StudioError
        Never.

    Notes
    -----
    Worse is another state further down (covered, just covered, later, short), or fewer sheets
    in the same state. Source: definition.

    Examples
    --------
    >>> made_worse(Cover(date(2027, 3, 1), (), (), 0), Cover(date(2027, 3, 1), (), (), 0))
    []
    """
    worse = []
    for answer in after.commissions:
        was = before.of(answer.ref)
        if was is not None and _standing(answer) > _standing(was):
            worse.append(answer)
    return worse


def _standing(answer: Answer) -> tuple[int, int]:
    return STATES_IN_ORDER.index(answer.state), -answer.covered_sheets


def _promise(snapshot: Snapshot, ref: str) -> Promise | None:
    return next((found for found in snapshot.commissions if found.ref == ref), None)


def _fibre_day(snapshot: Snapshot, promise: Promise) -> date:
    return max(promise.fibre_day, snapshot.today)


def _making_days(promise: Promise) -> timedelta:
    """Return the time that it takes from the day it draws its fibre to the day it is due."""
    if promise.making_days is not None:
        return timedelta(days=promise.making_days)
    return max(promise.due - promise.fibre_day, timedelta(0))


# --- buying --------------------------------------------------------------------------------------


def _market(snapshot: Snapshot, promise: Promise) -> Market:
    """Return what can be ordered over a year, and until the commission needs its fibre."""
    sourcing = snapshot.sourcing
    if sourcing is None:
        return Market(snapshot)
    days = (promise.fibre_day - snapshot.today).days + 1
    far = replace(sourcing, horizon_days=max(days, sourcing.horizon_days, DAYS_LOOKED_AHEAD))
    return Market(replace(snapshot, sourcing=far))


def _buy(market: Market, promise: Promise, lack: Lack, *, with_prices: bool) -> Buy:
    needed_on = max(promise.fibre_day, market.today)
    day = market.day(needed_on)
    orders = [
        (offer, last)
        for fibre in lack.fibres
        for offer in market.by_fibre.get(fibre, ())
        if (last := offer.latest(day - offer.lead)) is not None
    ]
    buy = Buy(
        lack.fibres,
        lack.usable_mg,
        lack.oven_dry_mg,
        needed_on,
        is_looked_up=market.horizon > 0,
    )
    if not orders:
        return replace(buy, arrives_on=_first_arrival(market, lack))
    take = None
    offer, last = max(orders, key=lambda order: order[1])
    if with_prices:
        offer, last, take = min(
            ((offer, last, _taken(market, offer, last, lack.usable_mg)) for offer, last in orders),
            key=lambda order: (order[2].cost_minor, -order[1], order[2].ref),
        )
    arrives = market.on(last + offer.lead)
    return replace(buy, order_by=market.on(last), arrives_on=arrives, take=take)


def _taken(market: Market, offer: Offer, day: int, usable_mg: int) -> OfferToTake:
    """Return the packs that hold as much for the least cash, freight counted.

    More packs than needed are taken where a price break or free freight makes them cheaper, or
    where the source takes no smaller order.
    """
    source = market.sources[offer.source]
    terms = Terms(
        freight_minor=source.freight_on(day),
        order_minimum_minor=source.order_minimum,
        free_freight_from_minor=source.free_from,
    )
    chosen = cheapest_order(-(-usable_mg // offer.pack_mg), offer.steps, terms)
    # The market holds only offers of which some number of packs can be ordered.
    assert chosen is not None
    cost, number = chosen
    return OfferToTake(offer.ref, offer.source, offer.fibre, number, offer.pack_mg, cost)


def _in_two(market: Market, promise: Promise, answer: Answer) -> Iterable[InTwo]:
    """Yield part now and the rest when the fibre has come and the sheets have been made."""
    rest = answer.wanted - answer.covered_sheets
    if promise.all_or_nothing or answer.covered_sheets <= 0 or rest <= 0:
        return
    fibre_on = answer.ready_on or _all_bought_on(market, answer)
    yield InTwo(
        now_sheets=answer.covered_sheets,
        later_sheets=rest,
        later_on=fibre_on + _making_days(promise) if fibre_on else None,
        is_bought=answer.ready_on is None,
    )


def _all_bought_on(market: Market, answer: Answer) -> date | None:
    """Return the first day on which all that is missing can have come, ordered at once."""
    arrivals = [_first_arrival(market, lack) for lack in answer.short]
    known = [arrival for arrival in arrivals if arrival is not None]
    return max(known) if len(known) == len(arrivals) else None


def _first_arrival(market: Market, lack: Lack) -> date | None:
    arrivals = [market.earliest(fibre) for fibre in lack.fibres]
    known = [arrival for arrival in arrivals if arrival is not None]
    return market.on(min(known)) if known else None


# --- without buying ------------------------------------------------------------------------------


def _furnish_change(snapshot: Snapshot, cover: Cover, promise: Promise) -> Iterable[FurnishChange]:
    """Yield the mix nearest to the target that what is held and free makes."""
    taken: dict[str, int] = {}
    for answer in cover.commissions:
        for pick in answer.picks if answer.ref != promise.ref else ():
            taken[pick.lot] = taken.get(pick.lot, 0) + pick.usable_mg
    free: dict[str, int] = {}
    day = _fibre_day(snapshot, promise)
    for lot in snapshot.lots:
        if _serves(lot, promise, day):
            left = lot.usable_mg - taken.get(lot.ref, 0)
            free[lot.fibre] = free.get(lot.fibre, 0) + left
    mix = nearest_mix(promise.furnish, free, promise.need_mg)
    if mix:
        yield FurnishChange(mix)


def _serves(lot: PlanLot, promise: Promise, day: date) -> bool:
    return (
        lot.usable_from <= day
        and (lot.until is None or day <= lot.until)
        and not lot.marks & promise.excludes
        and (promise.only_lots is None or lot.ref in promise.only_lots)
    )


def _swap(snapshot: Snapshot, cover: Cover, promise: Promise) -> Iterable[SwapOrder]:
    """Yield the exchange of turns that covers this one and costs the others least."""
    order = sorted(snapshot.commissions, key=lambda found: found.rank)
    place = order.index(promise)
    rivals = {
        ref
        for bind in cover.binding
        if promise.ref in bind.commissions
        for ref in bind.commissions
    }
    before = [n for n in range(place - 1, -1, -1) if order[n].ref in rivals]
    found = []
    for other in before[: _tries(snapshot)]:
        turns = {row.ref: n for n, row in enumerate(order, start=1)}
        turns[promise.ref], turns[order[other].ref] = other + 1, place + 1
        rows = tuple(replace(row, priority=turns[row.ref]) for row in snapshot.commissions)
        after = allocate(replace(snapshot, commissions=rows, question=None))
        mine = after.of(promise.ref)
        if mine is None or mine.short:
            continue
        worse = tuple(made_worse(cover, after))
        found.append(SwapOrder(order[other].ref, worse))
        if not worse:
            break
    yield from sorted(found, key=_harm)[:1]


def _tries(snapshot: Snapshot) -> int:
    pairs = len(snapshot.lots) * len(snapshot.commissions)
    return min(MOST_SWAPS_TRIED, MOST_PAIRS_TRIED // max(pairs, 1))


def _harm(swap: SwapOrder) -> tuple[int, int]:
    return len(swap.worse), sum(answer.wanted - answer.covered_sheets for answer in swap.worse)


def _another_day(promise: Promise, answer: Answer) -> Iterable[AnotherDay]:
    if answer.ready_on is not None:
        due = answer.ready_on + _making_days(promise)
        if due > promise.due:
            yield AnotherDay(due, answer.ready_on)
