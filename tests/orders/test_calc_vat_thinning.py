"""A vat that thins: the product against steps, against gamma functions, and where it counts."""

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from orders.calc.thinning import draining, fibre_left, pulls_until, top_up, top_up_rising
from studio.errors import RangeError, StudioError
from studio.units import Q
from tests.orders.vats import CARRIED, DROPS, TAKEN, VOLUMES

D = Decimal

PULLS = st.integers(0, 60)


def litres(number):
    return Q(number, "L")


def stepped(volume, taken, carried, pulls):
    """The oracle: step after step, in exact fractions."""
    fibre, held = Fraction(1), Fraction(volume)
    for _ in range(pulls):
        fibre *= 1 - Fraction(taken) / held
        held -= Fraction(carried)
    return fibre, held


def by_gamma(volume, taken, carried, pulls):
    """The closed form: a quotient of gamma functions, or a power where no water is carried."""
    if not carried:
        return float(1 - Fraction(taken) / Fraction(volume)) ** pulls
    v, k = float(volume / carried), float(taken / carried)
    logarithm = (
        math.lgamma(v - k + 1)
        + math.lgamma(v - pulls + 1)
        - math.lgamma(v - k - pulls + 1)
        - math.lgamma(v + 1)
    )
    return math.exp(logarithm)


def lasts(volume, taken, carried, pulls):
    return volume - (pulls - 1) * carried > max(taken, carried)


@given(VOLUMES, TAKEN, CARRIED, PULLS)
def test_the_product_is_what_the_steps_come_to(volume, taken, carried, pulls):
    assume(lasts(volume, taken, carried, max(pulls, 1)))
    left = fibre_left(
        Q(1, "g"), volume=litres(volume), taken=litres(taken), carry=litres(carried), pulls=pulls
    )
    fibre, _ = stepped(volume, taken, carried, pulls)
    assert abs(Fraction(left.magnitude) - fibre) < Fraction(1, 10**20)


@given(VOLUMES, TAKEN, CARRIED, PULLS)
def test_the_closed_form_is_what_the_simulation_comes_to(volume, taken, carried, pulls):
    assume(lasts(volume, taken, carried, max(pulls, 1)))
    left = fibre_left(
        Q(1, "g"), volume=litres(volume), taken=litres(taken), carry=litres(carried), pulls=pulls
    )
    assert float(left.magnitude) == pytest.approx(
        by_gamma(volume, taken, carried, pulls), abs=1e-8
    )


@given(VOLUMES, TAKEN, CARRIED, DROPS)
def test_the_count_is_the_last_that_is_within_the_drop(volume, taken, carried, drop):
    assume(taken > carried)
    assume(lasts(volume, taken, carried, 1))
    vat = {"volume": litres(volume), "taken": litres(taken), "carry": litres(carried)}
    pulls = pulls_until(drop, **vat)

    def thickness(number):
        fibre, held = stepped(volume, taken, carried, number)
        return fibre * Fraction(volume) / held

    assert thickness(pulls) >= 1 - Fraction(drop)
    most = draining(**vat).most
    assert pulls == most or thickness(pulls + 1) < 1 - Fraction(drop)


@pytest.mark.parametrize(
    ("drop", "pulls"),
    [
        # 0.9² = 0.81 exactly: a tie counts as within.
        ("0.19", 2),
        ("0.1899999999999999999999999999", 1),
        ("0.1900000000000000000000000001", 2),
        # 0.9⁵ = 0.59049
        ("0.40951", 5),
        ("0.4095099999999999999999999999", 4),
    ],
)
def test_a_tie_is_decided_exactly(drop, pulls):
    assert pulls_until(D(drop), volume=litres(10), taken=litres(1)) == pulls


def test_a_tie_with_water_carried_is_decided_exactly():
    # 10 L, 2 L taken, 1 L carried: fibre 4/5 × 7/9, level 8 L; × 10 / 8 = 7/9 of the consistency.
    vat = {"volume": litres(9), "taken": litres(3), "carry": litres(1)}
    # 9 L, 3 L taken: fibre 2/3, level 8 L, thickness 2/3 × 9/8 = 3/4.
    assert pulls_until(D("0.25"), **vat) == 1
    assert pulls_until(D("0.2499999999"), **vat) == 0


@pytest.mark.parametrize("taken", ["0.1", "0.2"])
def test_a_vat_that_loses_as_much_water_as_fibre_does_not_thin(taken):
    carry = litres("0.2")
    assert pulls_until(D("0.1"), volume=litres(60), taken=litres(taken), carry=carry) is None


def test_a_small_vat_ends_before_it_is_thinned_that_far():
    # 3 L: after two pulls 1 L is left, too little for the next.
    vat = {"volume": litres(3), "taken": litres("1.1"), "carry": litres(1)}
    assert draining(**vat).most == 2
    assert pulls_until(D("0.9"), **vat) == 2


def test_more_pulls_than_the_vat_gives_are_refused():
    with pytest.raises(RangeError, match="The vat gives 2 pulls before too little is left"):
        fibre_left(Q(15, "g"), volume=litres(3), taken=litres("1.1"), carry=litres(1), pulls=3)


@pytest.mark.parametrize("pulls", [-1, True, D("1.5")])
def test_pulls_are_whole(pulls):
    with pytest.raises(RangeError, match="Pulls must be a whole number"):
        fibre_left(Q(15, "g"), volume=litres(3), taken=litres(1), pulls=pulls)


def test_a_mould_that_takes_the_whole_vat_is_refused():
    with pytest.raises(RangeError, match="Take a larger vat or a smaller mould") as refused:
        draining(litres(3), taken=litres(3))
    assert refused.value.field == "volume"


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"volume": Q(3, "kg")}, "The volume of the vat must be a volume such as 60 L"),
        ({"volume": litres(0)}, "The volume of the vat must be more than 0"),
        ({"taken": litres(0)}, "What one pull takes must be more than 0"),
        ({"carry": litres("-1")}, "What one pull carries away must be 0 or more"),
    ],
)
def test_what_no_vat_has_is_refused(given, said):
    with pytest.raises(StudioError, match=said):
        draining(**{"volume": litres(60), "taken": litres(1), **given})


def test_thick_stuff_that_brings_no_more_than_is_gone_needs_water():
    # 10 g / 100 g/L = 0.1 L; 0.3 L are missing.
    given = top_up(Q(10, "g"), level=litres("0.3"), thick=Q(100, "g/L"), after=4)
    assert (given.thick_l, given.water_l, given.after) == (D("0.1"), D("0.2"), 4)
    assert (given.clear_water_l, given.draw_off_l) == (D("0.2"), 0)


def test_thin_stuff_lifts_the_level_and_has_to_be_drawn_off():
    # 10 g / 20 g/L = 0.5 L; 0.3 L are missing.
    given = top_up(Q(10, "g"), level=litres("0.3"), thick=Q(20, "g/L"))
    assert (given.water_l, given.clear_water_l, given.draw_off_l) == (D("-0.2"), 0, D("0.2"))


@given(VOLUMES, DROPS, st.decimals(D(6), D(80), places=1))
def test_a_level_that_may_rise_takes_the_vat_back_to_its_consistency(volume, drop, thick):
    wanted, held = D(5), 5 * volume * (1 - drop)
    given = top_up_rising(
        Q(held, "g"), volume=litres(volume), consistency=Q(5, "g/L"), thick=Q(thick, "g/L")
    )
    scoop = Fraction(given.thick_l)
    after = (Fraction(held) + scoop * Fraction(thick)) / (Fraction(volume) + scoop)
    assert float(after) == pytest.approx(float(wanted), abs=1e-12)


@pytest.mark.parametrize(
    ("fibre", "thick", "said", "field"),
    [
        (290, 5, "must be thicker than the vat", "thick"),
        (301, 40, "thick enough already", "fibre"),
    ],
)
def test_a_top_up_that_cannot_restore_is_refused(fibre, thick, said, field):
    with pytest.raises(RangeError, match=said) as refused:
        top_up_rising(
            Q(fibre, "g"), volume=litres(60), consistency=Q(5, "g/L"), thick=Q(thick, "g/L")
        )
    assert refused.value.field == field
