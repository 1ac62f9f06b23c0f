from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.bookcost import WAYS, Flow, Piece, book
from studio.errors import RangeError


def bought(key, mg, minor, lot=""):
    return Flow(key, "bought", mg, lot or f"L{key}", None if minor is None else Decimal(minor))


# --- by hand -----------------------------------------------------------------------------------


def test_what_came_first_goes_first_whichever_lot_it_is_of():
    # 10 mg for 100 and 10 mg for 200; 15 out: 100 and half of 200.
    found = book([bought(1, 10, 100), bought(2, 10, 200), Flow(3, "issued", 15)], way="fifo")
    assert found.outs[3].pieces == (Piece("L1", 10, Decimal(100)), Piece("L2", 5, Decimal(100)))
    assert found.held == (Piece("L2", 5, Decimal(100)),)


def test_at_an_average_all_of_it_has_one_price():
    # 300 for 20 mg is 15 each.
    flows = [bought(1, 10, 100), bought(2, 10, 200), Flow(3, "issued", 4)]
    found = book(flows, way="average")
    assert found.outs[3].minor == 60
    assert found.value_minor == 240


def test_what_was_issued_before_keeps_its_cost_when_dearer_fibre_comes():
    flows = [bought(1, 10, 100), Flow(2, "issued", 5), bought(3, 5, 950)]
    found = book(flows, way="average")
    assert found.outs[2].minor == 50
    # 50 and 950 for 10 mg.
    assert found.next_out(1) == (Piece("", 1, Decimal(100)),)


def test_what_is_lost_leaves_at_its_cost_and_makes_the_rest_no_dearer():
    found = book([bought(1, 10, 100), Flow(2, "lost", 4)], way="average")
    assert (found.outs[2].minor, found.value_minor, found.held_mg) == (40, 60, 6)


@pytest.mark.parametrize("way", WAYS)
def test_what_is_found_comes_in_at_the_average_cost_of_what_lies_there(way):
    # 300 for 20 mg is 15 each: 4 found are 60.
    found = book([bought(1, 10, 100), bought(2, 10, 200), Flow(3, "found", 4)], way=way)
    assert (found.in_minor, found.value_minor, found.held_mg) == (360, 360, 24)


def test_what_is_found_where_nothing_lies_costs_what_the_last_cost():
    flows = [bought(1, 10, 100), Flow(2, "issued", 10), Flow(3, "found", 2, "L1")]
    assert book(flows, way="fifo").held == (Piece("L1", 2, Decimal(20)),)


@pytest.mark.parametrize("way", WAYS)
def test_what_comes_back_costs_what_it_cost_when_it_went(way):
    flows = [
        bought(1, 10, 100), Flow(2, "issued", 6), bought(3, 10, 900), Flow(4, "returned", 2),
    ]  # fmt: skip
    found = book(flows, way=way)
    assert found.out_minor == 40
    assert found.value_minor == 960
    assert found.in_minor == 1000


def test_what_comes_back_goes_out_first_again():
    # 2 mg at 10 come back before those at 90: the next 2 out cost 20.
    flows = [
        bought(1, 2, 20), Flow(2, "issued", 2), bought(3, 2, 180), Flow(4, "returned", 2),
    ]  # fmt: skip
    found = book(flows, way="fifo")
    assert found.held[0].minor == 20
    assert found.next_out(2)[0].minor == 20


def test_more_that_comes_back_than_ever_went_is_found():
    flows = [bought(1, 10, 100), Flow(2, "issued", 2), Flow(3, "returned", 5)]
    found = book(flows, way="fifo")
    # 2 come back at 20; 3 more at 10 each.
    assert (found.in_minor, found.out_minor, found.value_minor) == (130, 0, 130)


def test_a_gift_costs_nothing_and_is_no_unknown_price():
    found = book([bought(1, 10, 0)], way="fifo")
    assert (found.value_minor, found.unpriced_mg) == (0, 0)


@pytest.mark.parametrize("way", WAYS)
def test_fibre_without_a_price_is_told_and_not_counted(way):
    found = book([bought(1, 10, None), bought(2, 10, 200), Flow(3, "issued", 10)], way=way)
    assert found.unpriced_mg + found.outs[3].unpriced_mg == 10
    assert found.value_minor + found.outs[3].minor == 200


def test_on_average_what_has_no_price_goes_in_step_with_the_rest():
    found = book([bought(1, 10, None), bought(2, 30, 300), Flow(3, "issued", 8)], way="average")
    assert found.outs[3].pieces == (Piece("", 6, Decimal(60)), Piece("", 2, None))


@pytest.mark.parametrize("way", WAYS)
def test_what_went_before_it_was_there_is_made_up_for_by_what_comes_next(way):
    flows = [bought(1, 10, 100), Flow(2, "issued", 14), bought(3, 10, 200), Flow(4, "lost", 1)]
    found = book(flows, way=way)
    # 10 at 10 and 4 at 20.
    assert (found.outs[2].minor, found.outs[2].mg) == (180, 14)
    assert (found.outs[4].minor, found.value_minor) == (20, 100)


def test_what_is_owed_takes_as_many_receipts_as_it_needs():
    flows = [
        bought(1, 10, 100), Flow(2, "issued", 20), bought(3, 4, 80), bought(4, 10, 300),
    ]  # fmt: skip
    found = book(flows, way="fifo")
    # 10 at 10, 4 at 20 and 6 at 30.
    assert found.outs[2].minor == 100 + 80 + 180
    assert found.value_minor == 120


@pytest.mark.parametrize("way", WAYS)
def test_what_would_go_next_is_told_and_nothing_moves(way):
    found = book([bought(1, 10, 100), bought(2, 10, 300)], way=way)
    # First in first out, after 5: 5 at 10 and 3 at 30. On average 8 at 20.
    wanted = {"fifo": 50 + 90, "average": 160}[way]
    assert sum(piece.minor for piece in found.next_out(8, after_mg=5)) == wanted
    assert found.value_minor == 400
    assert sum(piece.mg for piece in found.next_out(99, after_mg=5)) == 15
    assert found.next_out(5, after_mg=99) == ()


def test_a_kilogram_of_a_piece_is_what_its_milligrams_cost():
    assert Piece("L", 500_000, Decimal(700)).minor_per_kg == 1400
    assert Piece("L", 1, None).minor_per_kg is None


# --- refusals ----------------------------------------------------------------------------------


def test_another_way_is_refused():
    with pytest.raises(RangeError, match="by fifo or by average, got 'lifo'"):
        book([], way="lifo")


def test_more_out_than_in_is_refused():
    with pytest.raises(RangeError, match="4 mg more have gone out than came in"):
        book([bought(1, 10, 100), Flow(2, "issued", 14)], way="fifo")


@pytest.mark.parametrize(
    ("flow", "said"),
    [
        (Flow(1, "sold", 10), "got 'sold'"),
        (Flow(1, "issued", 0), "more than 0 mg of fibre, got 0"),
        (Flow(1, "bought", 1, "L", Decimal(-1)), "must be 0 or more, got -1"),
    ],
)
def test_a_flow_that_cannot_be_is_refused(flow, said):
    with pytest.raises(RangeError, match=said):
        book([flow], way="fifo")


# --- properties --------------------------------------------------------------------------------

STEPS = st.lists(
    st.tuples(
        st.sampled_from(["bought", "issued", "lost", "found", "returned"]),
        st.integers(min_value=1, max_value=20_000_000),
        st.one_of(st.none(), st.integers(min_value=0, max_value=5_000_000)),
    ),
    max_size=40,
)


def ledger(steps):
    """Return flows that never take more than is there."""
    flows, held = [], 0
    for key, (kind, mg, minor) in enumerate(steps):
        if kind in {"issued", "lost"}:
            mg = min(mg, held)
            held -= mg
        else:
            held += mg
        if mg:
            price = Decimal(minor) if kind == "bought" and minor is not None else None
            flows.append(Flow(key, kind, mg, f"L{key}", price))
    return flows, held


@given(steps=STEPS, way=st.sampled_from(WAYS))
def test_cost_in_is_cost_out_and_cost_in_store_to_the_last_digit(steps, way):
    flows, held = ledger(steps)
    found = book(flows, way=way)
    assert found.in_minor == found.out_minor + found.value_minor
    assert found.held_mg == held
    for flow in flows:
        if flow.kind in {"issued", "lost"}:
            assert found.outs[flow.key].mg == flow.mg


@given(steps=STEPS, way=st.sampled_from(WAYS))
def test_nothing_costs_less_than_nothing(steps, way):
    flows, _ = ledger(steps)
    found = book(flows, way=way)
    pieces = [*found.held, *(piece for out in found.outs.values() for piece in out.pieces)]
    assert all(piece.minor is None or piece.minor >= 0 for piece in pieces)
    assert all(piece.mg > 0 for piece in pieces)


@given(
    prices=st.lists(st.tuples(st.integers(1, 10**7), st.integers(0, 10**6)), min_size=1),
    share=st.fractions(min_value=0, max_value=1),
)
def test_an_average_lies_between_the_cheapest_and_the_dearest(prices, share):
    flows = [bought(key, mg, minor) for key, (mg, minor) in enumerate(prices)]
    mg = int(sum(mg for mg, _ in prices) * share)
    if not mg:
        return
    out = book([*flows, Flow(-1, "issued", mg)], way="average").outs[-1]
    each = [Decimal(minor) / mg for mg, minor in prices]
    fine = Decimal("0.000001")
    assert min(each) - fine <= out.minor / out.mg <= max(each) + fine


@given(steps=STEPS)
def test_both_ways_share_out_the_same_cost_where_all_of_it_goes(steps):
    flows = [flow for flow in ledger(steps)[0] if flow.kind == "bought" and flow.minor is not None]
    if not flows:
        return
    flows.append(Flow(-1, "issued", sum(flow.mg for flow in flows)))
    assert book(flows, way="fifo").out_minor == book(flows, way="average").out_minor
