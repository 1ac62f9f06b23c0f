"""What the Reorder page shows of each fibre and of the plan, made ready for the template."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from fibres.models import Offer
from orders import reorderwording
from orders.calc.bought import (
    NOTHING_TO_DO,
    TOO_LATE,
    DayBalance,
    Flag,
    LineToBuy,
    OrderToPlace,
    Reorder,
)
from orders.reordering import Offered, Search
from orders.reordertables import BalanceRow, BalanceTable, PlanRow, PlanTable
from orders.wording import day, named
from studio.charts import Stepped, stepped
from studio.lists import house_table
from studio.money import show_money
from studio.units import System, show_mass, show_number

__all__ = ["PlanTable"]
# What a projection calls the lots that can be used today.
ON_HAND = "on hand"
MOST_NAMED_A_DAY = 20


@dataclass(frozen=True, slots=True)
class Ahead:
    """The balance of one fibre ahead, drawn and as a table."""

    fibre: str
    anchor: str
    chart_id: str
    title: str
    caption: str
    chart: Stepped
    table: BalanceTable


@dataclass(frozen=True, slots=True)
class Entry:
    """One fibre that asks for something: words, and its balance."""

    address: str
    mark: tuple[str, str, str]
    finding: str
    because: str
    ahead: Ahead


class Drawer:
    """Sets out how fibres stand on one page, from what is read once for all of them."""

    def __init__(
        self,
        request: HttpRequest,
        now: date,
        *,
        keys: Mapping[str, int],
        commissions: Collection[str],
        system: System,
    ) -> None:
        self.request = request
        self.now = now
        self.keys = keys
        self.commissions = commissions
        self.system = system
        self.drawn = 0

    def entry(self, flag: Flag, orders: Sequence[OrderToPlace]) -> Entry:
        """Say why a fibre has to be ordered, and draw it."""
        now, key = self.now, self.keys.get(flag.fibre)
        said = (
            reorderwording.why(flag, now, self.system),
            reorderwording.act(flag, now),
            reorderwording.as_planned(flag, orders, now),
        )
        return Entry(
            address=reverse("fibre", args=[key]) if key else "",
            mark=reorderwording.head_of(flag, now),
            finding=reorderwording.caption(flag, now),
            because=" ".join(sentence for sentence in said if sentence),
            ahead=self.ahead(flag),
        )

    def ahead(self, flag: Flag) -> Ahead:
        """Draw a fibre; no two drawings of a page share an id."""
        self.drawn += 1
        title = f"{flag.fibre}, usable fibre ahead"
        rows = balance_rows(flag, self.now)
        return Ahead(
            fibre=flag.fibre,
            anchor=anchor(self.keys.get(flag.fibre)),
            chart_id=f"balance-{self.drawn}",
            title=title,
            caption=drawing_words(flag),
            chart=chart(flag, self.now, self.commissions, self.system),
            table=house_table(self.request, BalanceTable, rows, caption=title, paginate=False),
        )


def resting(flags: Sequence[Flag]) -> list[Flag]:
    """Return those with nothing to do of which anything is held, wanted or to be kept."""
    return [flag for flag in flags if flag.state == NOTHING_TO_DO and _is_worth_drawing(flag)]


def _is_worth_drawing(flag: Flag) -> bool:
    return bool(flag.minimum_mg or any(balance.mg or balance.changes for balance in flag.balances))


def drawing_words(flag: Flag) -> str:
    """Say what is drawn."""
    said = "Usable fibre with nothing bought."
    if flag.state == NOTHING_TO_DO:
        return said
    return f"{said} Lined area: {'below the minimum' if flag.minimum_mg else 'missing'}."


def anchor(key: int | None) -> str:
    """Return the id by which a link finds a fibre on the page."""
    return f"fibre-{key}" if key else ""


def _changing(flag: Flag) -> list[DayBalance]:
    """Return the days on which something is drawn or comes, without what is in store already."""
    days = [
        replace(balance, changes=tuple(one for one in balance.changes if one.what != ON_HAND))
        for balance in flag.balances
    ]
    return [balance for balance in days if balance.changes]


def held_mg(flag: Flag) -> int:
    """Return what is usable before anything of today is drawn."""
    first = flag.balances[0]
    return first.mg - sum(change.mg for change in first.changes if change.what != ON_HAND)


def chart(flag: Flag, now: date, commissions: Collection[str], system: System) -> Stepped:
    """Draw the balance ahead with the promises that draw on it."""
    draws = [
        (balance.day, change.what, change.what in flag.commissions)
        for balance in flag.balances
        for change in balance.changes
        if change.what in commissions
    ]
    return stepped(
        [(now, held_mg(flag))],
        [(balance.day, balance.mg) for balance in _changing(flag)],
        now,
        minimum_mg=flag.minimum_mg,
        dues=draws,
        unit="lb" if system == "US" else "kg",
    )


def balance_rows(flag: Flag, now: date) -> list[BalanceRow]:
    """Return the balance as a table, from what is held today on."""
    rows = [BalanceRow(day(now, now), "In store, usable", None, held_mg(flag))]
    rows += [
        BalanceRow(
            day(balance.day, now),
            named([change.what for change in balance.changes], MOST_NAMED_A_DAY),
            sum(change.mg for change in balance.changes),
            balance.mg,
        )
        for balance in _changing(flag)
    ]
    return rows


# --- the plan ----------------------------------------------------------------------------------


def plan_caption(plan: Reorder, system: System) -> str:
    """Say what the plan is, its units, and where to read the freight of several lines."""
    said = "The cheapest plan" if plan.is_proven else "The cheapest plan found"
    late = any(flag.state == TOO_LATE for flag in plan.flags)
    kept = (
        "keeps what can still be kept on its day, and the rest as soon as it can be"
        if late
        else "keeps every promise on its day and every fibre above its minimum"
    )
    unit = "lb" if system == "US" else "kg"
    lines = ""
    if any(len(order.lines) > 1 for order in plan.purchases):
        lines = ". Freight, sum and day stand on the first line of an order"
    return f"{said} that {kept}; masses in {unit}{lines}"


def plan_rows(
    plan: Reorder, offers: Mapping[str, Offer], now: date, system: System
) -> list[PlanRow]:
    """Return the lines of every order, those of one order together."""
    return [
        _plan_row(order, line, offers.get(line.offer), number == 0, now, system)
        for order in plan.purchases
        for number, line in enumerate(order.lines)
    ]


def _plan_row(
    order: OrderToPlace,
    line: LineToBuy,
    offer: Offer | None,
    is_first: bool,
    now: date,
    system: System,
) -> PlanRow:
    pack, address, as_sold = "", "", None
    if offer is not None:
        size = show_mass(offer.pack_mg, system=system)
        pack = f"{offer.form}, {size} packs" if offer.form else f"{size} packs"
        address = offer.fibre.get_absolute_url()
        as_sold = line.packs * offer.pack_mg
    days = (order.arrives_on - order.order_on).days
    lead = f"{days} day{'' if days == 1 else 's'}" if is_first else ""
    return PlanRow(
        fibre=line.fibre,
        pack=pack,
        address=address,
        source=order.source,
        lead=lead,
        packs=line.packs,
        as_sold_mg=as_sold,
        oven_dry_mg=line.oven_dry_mg,
        goods_minor=line.cost_minor,
        freight_minor=order.freight_minor if is_first else None,
        total_minor=order.total_minor if is_first else None,
        order_by=("order", day(order.order_on, now)) if is_first else None,
    )


def order_words(order: OrderToPlace, now: date) -> str:
    """Say what an order is for and when it is there."""
    listed = reorderwording.joined(
        [
            f"{line.packs} pack{'' if line.packs == 1 else 's'} of {line.fibre}"
            for line in order.lines
        ]
    )
    leaves = reorderwording.by_day(order.order_on, now)
    return f"{listed}. Ordered {leaves}, it is there by {day(order.arrives_on, now)}."


def offered(key: str, weeks: int, order: OrderToPlace) -> Offered:
    """Return an order as the page offers it."""
    return Offered(
        key=key,
        weeks=weeks,
        source=order.source,
        order_on=order.order_on,
        lines=tuple((line.offer, line.packs) for line in order.lines),
        freight_minor=order.freight_minor,
    )


def search_words(search: Search | None, currency: str) -> dict[str, Any] | None:
    """Say how far a search is."""
    if search is None:
        return None
    seconds = show_number(round(search.seconds))
    if search.is_over:
        return {"is_over": True, "words": f"Looked longer, for {seconds} s."}
    said = f"Looking for a cheaper plan, {seconds} s of 30 so far."
    if search.best is not None:
        said += f" Best so far {show_money(round(search.best), currency)}"
        if search.bound is not None and search.bound > 0:
            said += f"; none can be below {show_money(int(search.bound), currency)}"
        said += "."
    return {"is_over": False, "words": said}
