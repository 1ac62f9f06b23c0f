"""Answers about buying for tests, made by hand; a test names only what it is about."""

from orders.calc.bought import (
    NOTHING_TO_DO,
    ORDER_BY,
    Change,
    DayBalance,
    Flag,
    LineToBuy,
    OrderToPlace,
    Reorder,
)
from tests.builders import KG, day


def ahead(days):
    return day(-days)


def flag(fibre="Abaca", *, state=ORDER_BY, **changes):
    """Return a fibre of which 2 kg are held, 3 kg are drawn in 20 days; 1 kg short for T-1."""
    usual = {
        "minimum_mg": 0,
        "balances": (
            DayBalance(ahead(0), 2 * KG, (Change("on hand", 2 * KG),)),
            DayBalance(ahead(20), -KG, (Change("T-1", -3 * KG),)),
        ),
        "short_on": ahead(20),
        "short_mg": KG,
        "short_oven_dry_mg": 1_250_000,
        "order_by": ahead(10),
        "commissions": ("T-1",),
        "promised_mg": KG,
    }
    return Flag(fibre=fibre, state=state, **{**usual, **changes})


def at_rest(fibre="Kozo"):
    """Return a fibre with nothing to do."""
    return Flag(
        fibre, NOTHING_TO_DO, 0, (DayBalance(ahead(0), 5 * KG, (Change("on hand", 5 * KG),)),)
    )


def line(fibre="Abaca", offer="O-1", **changes):
    """Return two packs of 1 kg for 30.80, without freight."""
    usual = {"packs": 2, "usable_mg": 1_600_000, "oven_dry_mg": 1_820_000, "cost_minor": 3080}
    return LineToBuy(fibre=fibre, offer=offer, **{**usual, **changes})


def order(*lines, source="Oastler Pulp Supply", **changes):
    """Return an order that leaves in 10 days at the latest and is there 9 days later."""
    usual = {"order_on": ahead(10), "arrives_on": ahead(19), "freight_minor": 750}
    return OrderToPlace(source=source, lines=lines or (line(),), **{**usual, **changes})


def reorder(*purchases, flags=None, **changes):
    """Return a plan of one order, 38.30 with freight, 5.00 less than the rule."""
    usual = {"horizon_days": 91, "rule_total_minor": 4330}
    return Reorder(
        today=ahead(0),
        flags=(flag(), at_rest()) if flags is None else tuple(flags),
        purchases=purchases,
        **{**usual, **changes},
    )


class Planner:
    """Stands in for the arithmetic: gives the answers it was told to, and counts."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.asked = []
        self.steps = []

    def plan(self, snapshot, *, time_limit_s=5.0, cover=None, progress=None):
        self.asked.append(time_limit_s)
        for step in self.steps:
            if progress is not None:
                progress(*step)
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        if isinstance(answer, Exception):
            raise answer
        return answer

    def flags(self, snapshot, *, cover=None):
        return self.answers[0].flags
