"""Vats that the tests of the arithmetic are shown: one by hand, and any there can be."""

from decimal import Decimal

from hypothesis import assume
from hypothesis import strategies as st

from orders.calc.vat import charge
from studio.errors import RangeError
from studio.sizes import Size
from studio.units import Q

D = Decimal

# 60 L, A4 opening across, 20 mm of which 97 % stays, 100 g/m².
SIXTY = {
    "volume": Q(60, "L"),
    "mould": Size(297_000, 210_000),
    "draw": Q(20, "mm"),
    "wet_grammage": Q(100, "g/m2"),
    "retention": D("0.97"),
    "carry": Q("0.1", "L"),
    "pulls": 10,
    "tolerance": D("0.05"),
    "thick": Q(40, "g/L"),
}


def sixty(**changes):
    return charge(**{**SIXTY, **changes})


def decimals(low, high, places):
    return st.decimals(D(low), D(high), places=places)


VOLUMES = decimals("5", "200", 1)
TAKEN = decimals("0.05", "3", 2)
CARRIED = st.one_of(st.just(D(0)), decimals("0.01", "0.4", 2))
DROPS = decimals("0.01", "0.4", 2)


@st.composite
def vats(draw, *, topped_up=True):
    """Draw a vat that gives at least its first pulls."""
    grammage, dip = draw(decimals("20", "300", 0)), draw(decimals("5", "40", 1))
    retention = draw(decimals("0.5", "1", 2))
    consistency = grammage / dip / retention
    given = {
        "volume": Q(draw(VOLUMES), "L"),
        "mould": Size(draw(st.integers(50, 800)) * 1000, draw(st.integers(50, 800)) * 1000),
        "draw": Q(dip, "mm"),
        "wet_grammage": Q(grammage, "g/m2"),
        "retention": retention,
        "carry": Q(draw(CARRIED), "L"),
        "pulls": draw(st.integers(1, 120)),
        "tolerance": draw(DROPS),
        "lost": draw(decimals("0", "0.2", 2)),
        "thick": None,
    }
    if topped_up:
        given["thick"] = Q(consistency * draw(decimals("1.5", "20", 1)), "g/L")
    try:
        return charge(**given)
    except RangeError:
        assume(False)
