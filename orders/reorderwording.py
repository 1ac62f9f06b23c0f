"""The sentences about what to buy and when, the same on a page and in the terminal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

from orders.calc.bought import (
    NO_OFFER,
    NOTHING_TO_DO,
    ORDER_BY,
    ORDER_NOW,
    TOO_LATE,
    Flag,
    OrderToPlace,
    Reorder,
)
from orders.wording import day, exact
from studio.money import show_money
from studio.units import System

COUNTS = (
    "No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten",
)  # fmt: skip
SOON_DAYS = 14


def count_of(number: int, noun: str, plural: str = "") -> str:
    """Word a count at the head of a sentence: "Two orders"."""
    said = COUNTS[number] if number < len(COUNTS) else str(number)
    return f"{said} {noun if number == 1 else plural or f'{noun}s'}"


def joined(names: Sequence[str]) -> str:
    """Join names as a sentence does."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def by_day(value: date, today: date) -> str:
    """Say by when, counted from today where it is close."""
    if value <= today:
        return "today"
    if value == today + timedelta(days=1):
        return "tomorrow"
    return f"by {day(value, today)}"


# --- one fibre ---------------------------------------------------------------------------------


def mark_of(flag: Flag, today: date) -> tuple[str, str]:
    """Return the mark and the word of a flag."""
    if flag.state == ORDER_NOW:
        return "order", "Order now"
    if flag.state == ORDER_BY and flag.order_by:
        return "order", f"Order by {day(flag.order_by, today)}"
    if flag.state == TOO_LATE:
        return "short", "Too late"
    if flag.state == NO_OFFER:
        return "short" if flag.needs_purchase else "near", "No offer known"
    return "covered", "Nothing to do"


def head_of(flag: Flag, today: date) -> tuple[str, str, str]:
    """Return mark, word and the day after it, for a head so narrow that the day has to break."""
    kind, word = mark_of(flag, today)
    if flag.state == ORDER_BY and flag.order_by:
        return kind, "Order by", f" {day(flag.order_by, today)}"
    if flag.state == TOO_LATE and flag.earliest:
        return kind, word, f": earliest arrival {day(flag.earliest, today)}"
    return kind, word, ""


def caption(flag: Flag, today: date) -> str:
    """Say on which day it falls short, for the head of its drawing."""
    if flag.short_on is None:
        return "Stays above its minimum."
    when = f"on {day(flag.short_on, today)}" if flag.short_on > today else "now"
    if not flag.promised_mg:
        verb = "Below" if flag.short_on <= today else "Falls below"
        return f"{verb} its minimum {when}, and no promise is short of it."
    lack = next((balance.day for balance in flag.balances if balance.mg < 0), None)
    if flag.minimum_mg and lack and lack > flag.short_on:
        verb = "Below" if flag.short_on <= today else "Falls below"
        return f"{verb} its minimum {when}, and short on {day(lack, today)}."
    return f"Falls short {when}."


def why(flag: Flag, today: date, system: System) -> str:
    """Say what hangs on it: promises that cannot be kept, or the minimum alone."""
    short = exact(flag.short_oven_dry_mg, system)
    if not flag.promised_mg:
        minimum = exact(flag.minimum_mg, system)
        return f"Only the minimum of {minimum} usable is at stake: {short} oven-dry is missing."
    kept = " and its minimum" if flag.minimum_mg else ""
    return (
        f"No plan without a purchase: {_who_lacks(flag)} {exact(flag.promised_mg, system)} usable "
        f"of it.{_left_all_the_same(flag)} {short} oven-dry would keep every promise{kept}."
    )


def _left_all_the_same(flag: Flag) -> str:
    """Say why some is left where promises are short of it all the same; else nothing."""
    if flag.short_on is None or any(balance.mg < 0 for balance in flag.balances):
        return ""
    return " What is left of it is kept from them by their limits or by its dates."


def _who_lacks(flag: Flag) -> str:
    if not flag.commissions:
        return "what is asked for lacks"
    return f"{joined(flag.commissions)} {'lacks' if len(flag.commissions) == 1 else 'lack'}"


def in_short(flag: Flag, today: date, system: System) -> str:
    """Say in a few words why it has to be ordered, for a line of a table."""
    late = ""
    if flag.state == TOO_LATE and flag.earliest:
        late = f"; arrives on {day(flag.earliest, today)} at the earliest"
    if flag.commissions:
        return f"{_who_lacks(flag)} {exact(flag.promised_mg, system)} usable{late}"
    on = flag.short_on or today
    when = "now" if on <= today else f"on {day(on, today)}"
    return f"Below its minimum {when}{late}"


def act(flag: Flag, today: date) -> str:
    """Say what to do about it."""
    if flag.earliest and flag.state in (ORDER_NOW, TOO_LATE):
        late = "No order arrives in time any more. " if flag.state == TOO_LATE else ""
        arrival = day(flag.earliest, today)
        return f"{late}The first that can be placed arrives on {arrival}."
    if flag.state == ORDER_NOW:
        return "Ordered today it still arrives in time; ordered later it does not."
    if flag.state == ORDER_BY and flag.order_by:
        return f"An order placed {by_day(flag.order_by, today)} still arrives in time."
    if flag.state == NO_OFFER:
        return (
            "No offer of it is known that takes orders in this time. Enter what a source asks "
            "for it, and a plan can be made."
        )
    return ""


def as_planned(flag: Flag, orders: Sequence[OrderToPlace], today: date) -> str:
    """Say from whom and when a plan orders it, where that is not the day the flag names.

    The flag names the last day of the quickest source; a plan may take a cheaper one, sooner.
    """
    own = [order for order in orders if any(line.fibre == flag.fibre for line in order.lines)]
    if not own:
        return ""
    first = min(own, key=lambda order: order.order_on)
    if first.order_on == (flag.order_by or today):
        return ""
    leaves = by_day(first.order_on, today)
    return f"The plan below orders it {'first ' if own[1:] else ''}from {first.source} {leaves}."


def urge(asking: Sequence[Flag], today: date) -> str:
    """Say what to order first, where that still helps; for the head of the first page."""
    helped = [flag for flag in asking if flag.state in (ORDER_NOW, ORDER_BY) and not flag.earliest]
    if not helped:
        return ""
    first = next((flag for flag in helped if flag.needs_purchase), helped[0])
    order = f"Order {first.fibre} {by_day(first.order_by or today, today)}"
    # Said after what promises lack, of which a fibre that is only low mends nothing.
    return f"{order} {'and it comes in time' if first.needs_purchase else 'to keep its minimum'}."


def needs_act(flag: Flag, today: date) -> bool:
    """Tell whether something has to be done about it within a fortnight."""
    if flag.state in (ORDER_NOW, TOO_LATE):
        return True
    if flag.state == ORDER_BY:
        return flag.order_by is not None and flag.order_by <= today + timedelta(days=SOON_DAYS)
    return flag.state == NO_OFFER and flag.needs_purchase


def is_overdue(flag: Flag) -> bool:
    """Tell whether a day to order by has come or has gone."""
    return flag.state in (ORDER_NOW, TOO_LATE)


def flagged(flags: Sequence[Flag]) -> list[Flag]:
    """Return the flags that ask for something, the most pressing first."""
    order = (TOO_LATE, ORDER_NOW, ORDER_BY, NO_OFFER)
    asking = [flag for flag in flags if flag.state != NOTHING_TO_DO]
    return sorted(
        asking,
        key=lambda flag: (
            not flag.needs_purchase and flag.state == NO_OFFER,
            flag.order_by or date.min if flag.state == ORDER_BY else date.min,
            order.index(flag.state),
            flag.fibre,
        ),
    )


def at_rest(flags: Sequence[Flag], weeks: int) -> str:
    """Name the fibres with nothing to do, in one sentence."""
    names = [flag.fibre for flag in flags if flag.state == NOTHING_TO_DO]
    if not names:
        return ""
    one = len(names) == 1
    verb, them = ("needs", "it") if one else ("need", "them")
    rest = "it does not fall" if one else "none of them falls"
    return (
        f"{joined(names)} {verb} nothing for the next {weeks} weeks: no promise lacks {them}, and "
        f"{rest} below its minimum."
    )


# --- the plan ----------------------------------------------------------------------------------


def lede(flags: Sequence[Flag], today: date, weeks: int) -> str:
    """Say what has to be ordered and when, without money."""
    asking = flagged(flags)
    if not asking:
        return f"Nothing has to be ordered in the next {weeks} weeks."
    unknown = [flag for flag in asking if flag.state == NO_OFFER]
    known = [flag for flag in asking if flag.state != NO_OFFER]
    said = []
    if known:
        due = min(flag.order_by or today for flag in known)
        has = "has" if len(known) == 1 else "have"
        first = by_day(due, today) if len(known) == 1 else f"the first {by_day(due, today)}"
        said.append(f"{count_of(len(known), 'fibre')} {has} to be ordered, {first}.")
    late = [flag.fibre for flag in known if flag.state == TOO_LATE]
    if late:
        verb = "comes" if len(late) == 1 else "come"
        said.append(f"{joined(late)} {verb} too late even if ordered at once.")
    if unknown:
        verb, them = ("falls", "it") if len(unknown) == 1 else ("fall", "them")
        names = joined([flag.fibre for flag in unknown])
        said.append(f"{names} {verb} short, and no offer of {them} is known.")
    return " ".join(said)


def plan_lede(plan: Reorder, currency: str, weeks: int) -> str:
    """Say how many orders there are, what they cost, and when the first has to leave."""
    if not plan.purchases:
        return lede(plan.flags, plan.today, weeks)
    cash = sum(order.total_minor for order in plan.purchases)
    first = min(order.order_on for order in plan.purchases)
    one = len(plan.purchases) == 1
    leave = by_day(first, plan.today)
    said = (
        f"{count_of(len(plan.purchases), 'order')}, {show_money(cash, currency)} with freight. "
        f"{'It' if one else 'The first'} has to leave {leave}."
    )
    late = [flag.fibre for flag in plan.flags if flag.state == TOO_LATE]
    if late:
        verb = "arrives" if len(late) == 1 else "arrive"
        said += f" {joined(late)} {verb} too late all the same."
    unknown = [flag.fibre for flag in plan.flags if flag.state == NO_OFFER]
    if unknown:
        said += f" No offer is known of {joined(unknown)}."
    return said


def gap_words(plan: Reorder) -> str:
    """Say how far a plan may be from the cheapest possible."""
    if plan.is_proven:
        return "Proven: no cheaper plan does the same."
    if plan.gap >= 1:
        return "The best plan found in the time given; how far from the cheapest is not known."
    above = math.ceil(plan.gap / (1 - plan.gap) * 1000 - 1e-9) / 10
    # A share that rounds to nothing is still not a proof.
    return f"At most {max(above, 0.1):.1f} % above the cheapest possible."


def rule_words(plan: Reorder, currency: str) -> str:
    """Say what the walk-forward rule would cost beside the plan."""
    more = plan.rule_total_minor - plan.total_minor
    whole = show_money(plan.rule_total_minor, currency)
    if more <= 0:
        return f"A simple rule that orders need by need comes to the same, {whole}."
    return (
        f"A simple rule that orders need by need would cost {whole}: "
        f"{show_money(more, currency)} more."
    )


def order_words(order: OrderToPlace, today: date) -> str:
    """Say in a few words when an order leaves and when it is there."""
    return f"order {by_day(order.order_on, today)}, there on {day(order.arrives_on, today)}"
