"""What is asked of the promises, and what is done to them; page and command call the same."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from fibres.models import Fibre, Lot
from orders import bookcosts, costings, sheetsinhand, snapshot
from orders.allocated import allocated
from orders.bookcosts import Masses
from orders.calc.costing import Cost
from orders.calc.cover import Answer, Cover, Pick
from orders.calc.plan import Promise, Snapshot
from orders.calc.remedies import ways_out
from orders.calc.ways import Way
from orders.dates import Turns
from orders.makings.atthevat import weighed_picks
from orders.models import Client, Commission, Sheet
from studio.entries import acting, enter, refuse_repeat
from studio.errors import StudioError
from studio.models import Counter

USUAL_QUANTITIES = (10, 25, 50, 100, 250)

# What a form changes; the state has its own door, so that a page kept open cannot undo a move.
CHANGEABLE = (
    "title", "client", "sheet", "good_quantity", "due", "priority", "no_scrap", "not_before",
    "all_or_nothing", "tolerance_over", "claim_recycled", "remarks",
)  # fmt: skip

State = Commission.State
MOVES: dict[str, tuple[str, ...]] = {
    State.ENQUIRY: (State.QUOTED, State.AGREED, State.WITHDRAWN),
    State.QUOTED: (State.AGREED, State.ENQUIRY, State.WITHDRAWN),
    State.AGREED: (State.MAKING, State.QUOTED, State.WITHDRAWN),
    State.MAKING: (State.SENT, State.AGREED, State.WITHDRAWN),
    State.SENT: (State.CLOSED, State.MAKING),
    State.CLOSED: (),
    State.WITHDRAWN: (State.ENQUIRY,),
}


def cover(
    today: date,
    *,
    with_quoted: bool = False,
    extra: Commission | None = None,
    extra_only_lots: Iterable[str] | None = None,
) -> Cover:
    """Answer whether the store covers the promises; ``extra`` counts one more as if agreed.

    ``extra_only_lots`` are lots chosen for it that are not kept yet.
    """
    return allocated(
        snapshot.read(today, with_quoted=with_quoted, extra=extra, extra_only_lots=extra_only_lots)
    )


def cover_of(commission: Commission, today: date) -> tuple[Cover, Answer | None]:
    """Answer for one commission, counted among the promises even while it is only asked for."""
    standing = standing_of(commission, today)
    return standing.cover, standing.answer


@dataclass(frozen=True, slots=True)
class Standing:
    """How one commission stands among the promises, and the snapshot that says so.

    ``turns`` are those of all promises in the dryers.
    """

    ref: str
    snapshot: Snapshot
    cover: Cover
    with_prices: bool
    turns: Turns

    @property
    def answer(self) -> Answer | None:
        """How it stands; None where nothing is set aside for it or it cannot be reckoned."""
        return self.cover.of(self.ref)

    @property
    def promise(self) -> Promise | None:
        """The commission as planning reads it."""
        rows = self.snapshot.commissions
        return next((promise for promise in rows if promise.ref == self.ref), None)

    def ways_out(self) -> tuple[Way, ...]:
        """Return what would mend its shortage."""
        return ways_out(self.snapshot, self.cover, self.ref, with_prices=self.with_prices)


def standing_of(
    commission: Commission,
    today: date,
    *,
    with_quoted: bool = False,
    with_offers: bool = False,
    with_money: bool = False,
) -> Standing:
    """Answer for one commission, ready to be asked what would mend it.

    ``with_offers`` reads what can be bought as well, and ``with_money`` its prices.
    """
    shot, turns = snapshot.read_with_turns(
        today,
        with_quoted=with_quoted,
        extra=commission if commission.is_open else None,
        with_money=with_money,
        with_sourcing=with_offers,
    )
    return Standing(commission.ref, shot, allocated(shot), with_prices=with_money, turns=turns)


@dataclass(frozen=True, slots=True)
class FibrePlan:
    """One fibre of a commission, in oven-dry milligrams: needed, set aside, short, from where."""

    fibre: str
    share: Decimal
    needs_mg: int
    set_aside_mg: int
    short_mg: int
    picks: tuple[Pick, ...]
    usable_mg: int

    @property
    def preparation_yield(self) -> Decimal:
        """What is left of the fibre after preparation, by the lots that it comes from."""
        return Decimal(self.usable_mg) / self.needs_mg


def plan_by_fibre(answer: Answer) -> list[FibrePlan]:
    """Set out an answer fibre by fibre; what is needed is what is set aside and what is short.

    What is free for one that takes all or nothing is needed too, and not set aside.
    """
    by_fibre: dict[str, list[Pick]] = {}
    for pick in answer.picks:
        by_fibre.setdefault(pick.fibre, []).append(pick)
    free: dict[str, list[Pick]] = {}
    for pick in answer.free:
        free.setdefault(pick.fibre, []).append(pick)
    short = {lack.fibres[0]: lack.oven_dry_mg for lack in answer.short}
    plans = []
    for fibre in dict.fromkeys([*by_fibre, *free, *short]):
        picks = tuple(by_fibre.get(fibre, ()))
        held = sum(pick.oven_dry_mg for pick in picks)
        lack = short.get(fibre, 0)
        waiting = sum(pick.oven_dry_mg for pick in free.get(fibre, ()))
        total = answer.need_mg or 1
        usable = sum(pick.usable_mg for pick in (*picks, *free.get(fibre, ()))) + sum(
            found.usable_mg for found in answer.short if found.fibres[0] == fibre
        )
        plans.append(
            FibrePlan(
                fibre, Decimal(usable) / total, held + waiting + lack, held, lack, picks, usable
            )
        )
    return plans


@dataclass(frozen=True, slots=True)
class FibrePromise:
    """What the promises want of one fibre, oven-dry: set aside and short; short from which day."""

    promised_mg: int
    short_from: date | None


def promised_by_fibre(today: date) -> dict[int, FibrePromise]:
    """Return what is promised of each fibre, by its key."""
    wanted: dict[str, int] = {}
    short: dict[str, date] = {}
    for answer in cover(today).commissions:
        for plan in plan_by_fibre(answer):
            wanted[plan.fibre] = wanted.get(plan.fibre, 0) + plan.needs_mg
            if plan.short_mg:
                day = max(answer.fibre_day, today)
                short[plan.fibre] = min(short.get(plan.fibre, day), day)
    ids = Fibre.objects.filter(name__in=wanted).values_list("name", "pk")
    return {pk: FibrePromise(wanted[name], short.get(name)) for name, pk in ids}


def costs_of(
    sheet: Sheet,
    quantities: Iterable[int],
    *,
    picks: Sequence[Pick] = (),
    ahead: Masses | None = None,
) -> list[Cost]:
    """Return what a good sheet costs at several quantities, each with the lots it would take.

    ``ahead`` is what goes out of each lot before ``picks``, as ``bookcosts.ahead_of`` says.
    """
    costing = costings.read(sheet, picks=picks, ahead=ahead)
    return [costing.cost(quantity) for quantity in quantities]


def cost_of(
    commission: Commission,
    quantity: int | None = None,
    *,
    picks: Sequence[Pick] = (),
    cover: Cover | None = None,
) -> Cost:
    """Return what a good sheet of a commission costs, at its own quantity or another.

    What lies weighed out for it at the vat is counted at what it cost, before what is set aside;
    ``cover`` says what other promises take before it.
    """
    number = quantity or commission.good_quantity
    return costing_of(commission, picks=picks, cover=cover).cost(number)


def costs_now(
    sheet: Sheet, quantities: Iterable[int], *, commission: Commission | None, today: date
) -> list[Cost]:
    """Return what a sheet costs at several quantities, as the page of its commission has them.

    Without a commission, or for another sheet than it asks for, nothing is set aside.
    """
    if commission is None or commission.sheet_id != sheet.pk:
        return costs_of(sheet, quantities)
    found, answer = cover_of(commission, today)
    costing = costing_of(commission, picks=answer.picks if answer else (), cover=found)
    return [costing.cost(quantity) for quantity in quantities]


def costing_of(
    commission: Commission,
    *,
    picks: Sequence[Pick] = (),
    cover: Cover | None = None,
) -> costings.Costing:
    """Return all that a commission is costed with, for any number of its sheets."""
    return costings.read(
        commission.sheet,
        picks=(*weighed_picks(commission), *picks),
        ahead=bookcosts.ahead_of(cover, commission.ref) if cover else None,
    )


@acting()
def enter_commission(
    commission: Commission,
    *,
    by: Any,
    new_client: str = "",
    only_lots: Iterable[Lot] | None = None,
    key: uuid.UUID | None = None,
) -> Commission:
    """Enter a new commission, or keep what was changed in one; one entry in the book.

    ``new_client`` names a client that is entered with it; an open one of that name is taken.
    ``only_lots`` are the only lots it may be made of, none for any lot; None leaves them be.
    """
    if key is not None:
        refuse_repeat(key)
    if new_client:
        commission.client = client_named(new_client)
    is_new = commission._state.adding
    if is_new:
        commission.ref = commission.ref or f"C-{Counter.next('commission'):03d}"
    else:
        _refuse_if_over(commission)
        sheetsinhand.refuse_fewer_than_sent(commission, commission.good_quantity)
    commission.full_clean()
    commission.save(update_fields=None if is_new else CHANGEABLE)
    if only_lots is not None:
        _limit_to(commission, only_lots)
    verb = "Entered" if is_new else "Changed"
    enter(
        f"{verb.lower()} commission",
        f"{verb} {commission.ref} {commission.title}",
        page=commission.get_absolute_url(),
        key=key,
        by=by,
    )
    return commission


def client_named(name: str) -> Client:
    """Return the client of that name, or enter one; a closed one is refused."""
    name = " ".join(name.split())
    client = Client.objects.filter(name__iexact=name).first()
    if client is not None and client.is_closed:
        raise StudioError(
            f"{client.name} is closed. Open it again under Clients, or give another name.",
            field="new_client",
            value=name,
        )
    if client is None:
        client = Client(name=name)
        client.full_clean()
        client.save()
    return client


def _limit_to(commission: Commission, lots: Iterable[Lot]) -> None:
    """Keep the only lots it may be made of; a lot that is new to it must have fibre left."""
    chosen = {lot.pk for lot in lots}
    kept = set(commission.only_lots.values_list("pk", flat=True))
    empty = Lot.objects.filter(pk__in=chosen - kept, oven_dry_mg=0).order_by("ref")
    refs = list(empty.values_list("ref", flat=True))
    if refs:
        has = "has" if len(refs) == 1 else "have"
        raise StudioError(
            f"{' and '.join(refs)} {has} nothing left. Choose lots with fibre in them.",
            field="only_lots",
            value=refs,
        )
    commission.only_lots.set(chosen)


def _refuse_if_over(commission: Commission) -> None:
    """Look at the state as it is kept now; what was sent is not changed any more."""
    held = Commission.objects.select_for_update().get(pk=commission.pk)
    commission.state = held.state
    if not held.is_open:
        raise StudioError(
            f"{held.ref} is {held.get_state_display().lower()}, so nothing in it is changed any "
            "more. Enter a new commission instead.",
            value=held.state,
        )


def steps_of(commission: Commission) -> tuple[str, ...]:
    """Return the states that can follow; what a client accepted a quote for stays agreed."""
    following = MOVES[commission.state]
    back = State.QUOTED
    if commission.state == State.AGREED and commission.quotes.filter(state="accepted").exists():
        following = tuple(state for state in following if state != back)
    return following


@acting()
def move(
    commission: Commission, state: str, *, by: Any, key: uuid.UUID | None = None
) -> Commission:
    """Move a commission to another state, if that state can follow the one it is in."""
    if key is not None:
        refuse_repeat(key)
    held = Commission.objects.select_for_update().get(pk=commission.pk)
    allowed = steps_of(held)
    if state not in allowed:
        names = ", ".join(State(name).label.lower() for name in allowed) or "nothing"
        raise StudioError(
            f"{held.ref} is {held.get_state_display().lower()}; after that it can become {names}.",
            field="state",
            value=state,
        )
    held.state = state
    held.save(update_fields=["state"])
    enter(
        "moved commission",
        f"{held.ref} is now {held.get_state_display().lower()}",
        page=held.get_absolute_url(),
        key=key,
        by=by,
    )
    commission.state = state
    return held
