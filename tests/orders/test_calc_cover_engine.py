"""What only the exact engine answers: limits, stand-ins, aims, who keeps what, and checks."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import numpy as np
import pytest

from orders.calc._cover import conceded
from orders.calc._cover.flow import Clock, CoverError, check
from orders.calc._cover.served import MOST_MG, serve
from orders.calc.cover import allocate, good_sheets
from orders.calc.plan import from_json
from orders.calc.planrows import Part, Question
from studio.errors import RangeError
from tests.orders.plans import answer, lot, part, plan, promise, share

HALF_AND_HALF = [
    part("linter", least="0.4", target="0.5", most="0.7"),
    part("abaca", least="0.3", target="0.5", most="0.6"),
]


def given_of(cover, ref="C1"):
    found = {}
    for pick in cover.of(ref).picks:
        found[pick.fibre] = found.get(pick.fibre, 0) + pick.usable_mg
    return found


def states(cover):
    return {found.ref: found.state for found in cover.commissions}


# --- limits and stand-ins ---------------------------------------------------------------------


def test_a_share_leaves_its_target_only_as_far_as_it_must():
    lots = [lot("L1", usable=9000), lot("A1", "abaca", 400)]
    cover = answer(lots, [promise(furnish=HALF_AND_HALF)])
    assert given_of(cover) == {"linter": 600, "abaca": 400}


def test_a_share_never_leaves_its_limits():
    lots = [lot("L1", usable=9000), lot("A1", "abaca", 200)]
    found = answer(lots, [promise(furnish=HALF_AND_HALF)]).of("C1")
    assert [(lack.fibres, lack.usable_mg) for lack in found.short] == [(("abaca",), 100)]
    # By hand: least abaca 0.3 × 100 a pull, so 200 make 6 pulls with 420 of linter.
    assert found.covered_sheets == 6


def test_limits_are_rounded_outward_to_whole_milligrams():
    lots = [lot("L1", usable=2), lot("A1", "abaca", 1)]
    furnish = [share("linter", "0.5"), share("abaca", "0.5")]
    assert answer(lots, [promise(need=3, furnish=furnish)]).all_covered


def test_one_that_can_do_without_leaves_the_scarce_fibre_to_one_that_cannot():
    lots = [lot("A1", "abaca", 1000), lot("F1", "flax", 1000)]
    either, abaca = [part("abaca", "flax")], [part("abaca")]
    cover = answer(lots, [promise("C1", furnish=either), promise("C2", furnish=abaca)])
    assert (given_of(cover, "C1"), given_of(cover, "C2")) == ({"flax": 1000}, {"abaca": 1000})


def test_good_sheets_of_a_mix_within_its_limits():
    half = Decimal("0.5")
    furnish = (
        Part(("linter",), Decimal("0.3"), half, Decimal("0.8")),
        Part(("abaca",), Decimal("0.3"), half, Decimal("0.6")),
    )
    asked = Question(from_json(plan()).today, 100, furnish)
    # By hand: 0.3 × 100 of abaca a pull at least, so 299 are enough for 9.
    assert good_sheets([9000, 299], asked) == 9
    # By hand: at most 0.6 of abaca, so 600 of linter are 0.4 of 1500.
    assert good_sheets([600, 9000], asked) == 15


def test_a_lot_serves_on_its_first_day():
    assert answer([lot(**{"from": "2027-03-06"})], [promise()]).all_covered
    assert not answer([lot(**{"from": "2027-03-07"})], [promise()]).all_covered


# --- aims -------------------------------------------------------------------------------------

DEAR_AND_CHEAP = [
    lot("L1", usable=9000, cost_minor_per_kg=900),
    lot("A1", "abaca", 9000, cost_minor_per_kg=100),
]


def test_the_recipe_comes_before_the_cost_or_after_it_as_chosen():
    asked = [promise(furnish=HALF_AND_HALF)]
    by_recipe = answer(DEAR_AND_CHEAP, asked, aims="recipe first")
    by_cost = answer(DEAR_AND_CHEAP, asked, aims="cost first")
    assert given_of(by_recipe) == {"linter": 500, "abaca": 500}
    assert given_of(by_cost) == {"linter": 400, "abaca": 600}


def test_what_is_only_held_for_the_safe_count_leaves_the_cheap_lot_to_be_drawn():
    lots = [
        lot("Z-CHEAP", usable=1000, cost_minor_per_kg=100),
        lot("A-DEAR", usable=1000, cost_minor_per_kg=900),
    ]
    cover = answer(lots, [promise(need=1000, safe_need_mg=2000)])
    assert [pick.lot for pick in cover.of("C1").picks] == ["Z-CHEAP"]
    assert states(cover) == {"C1": "covered"}


def test_of_equal_lots_those_that_go_off_first_are_drawn():
    lots = [
        lot("WET", usable=300, until="2027-03-06"),
        lot("MID", usable=300, until="2027-03-20"),
        lot("DRY", usable=900),
    ]
    later = [promise("C2", need=1, due="2027-03-20"), promise("C3", need=1, due="2027-03-30")]
    cover = answer(lots, [promise("C1", need=500), *later])
    assert [(pick.lot, pick.usable_mg) for pick in cover.of("C1").picks] == [
        ("WET", 300), ("MID", 200),
    ]  # fmt: skip


# --- who keeps what ---------------------------------------------------------------------------


def test_the_extra_of_a_short_one_leaves_the_fibre_to_the_extra_of_the_next():
    furnish = [share("linter", "0.5"), share("abaca", "0.5")]
    lots = [lot("L1", usable=1100)]
    cover = answer(
        lots,
        [
            promise("C1", need=1000, safe_need_mg=1200, furnish=furnish),
            promise("C2", need=500, safe_need_mg=600),
        ],
    )
    assert states(cover) == {"C1": "short", "C2": "covered"}


def test_a_later_day_is_found_where_lots_have_to_change_hands():
    # C1 is given the cheap clean lot; C2 may have no other, and C1 could as well have the dyed.
    came = {"from": "2027-03-10"}
    lots = [
        lot("CLEAN", cost_minor_per_kg=1, **came),
        lot("DYED", marks=["dyed"], cost_minor_per_kg=900, **came),
    ]
    first = promise("C1", priority=1, due="2027-03-20")
    clean = promise("C2", priority=2, due="2027-03-06", excludes=["dyed"])
    cover = answer(lots, [first, clean])
    assert [pick.lot for pick in cover.of("C1").picks] == ["CLEAN"]
    assert cover.of("C2").ready_on.isoformat() == "2027-03-10"


def test_lots_that_would_do_together_but_never_on_one_day_give_no_later_day():
    """X is there from the 10th to the 12th and Y from the 15th; half of each is promised."""
    lots = [
        lot("X", **{"from": "2027-03-10", "until": "2027-03-12"}),
        lot("Y", **{"from": "2027-03-15"}),
    ]
    asked = promise("C3", need=1000, priority=3, due="2027-03-06")
    early = promise("C1", need=500, priority=1, due="2027-03-11", only_lots=["X"])
    late = promise("C2", need=500, priority=2, due="2027-03-16", only_lots=["Y"])
    cover = answer(lots, [early, late, asked])
    assert states(cover) == {"C1": "covered", "C2": "covered", "C3": "short"}
    assert cover.of("C3").ready_on is None
    # Without the second promise all of Y is there on the 15th.
    assert answer(lots, [early, asked]).of("C3").ready_on.isoformat() == "2027-03-15"


@pytest.mark.parametrize("off", [-2, -1, 1, 2])
def test_a_guess_that_is_off_is_put_right_in_whole_milligrams(monkeypatch, off):
    asked = {"due": "2027-03-10", "pull_mg": 100, "furnish": [part()]}
    given = [[lot(usable=1500)], [promise(safe_need_mg=1200)]]
    exact = conceded.Asking._guess
    monkeypatch.setattr(conceded.Asking, "_guess", lambda self: exact(self) + off)
    assert answer(*given, question=asked).extra_good_sheets == 3


def test_a_question_takes_nothing_that_is_held_for_a_safe_count():
    asked = {"due": "2027-03-10", "pull_mg": 100, "furnish": [part()]}
    cover = answer([lot(usable=1500)], [promise(safe_need_mg=1200)], question=asked)
    assert cover.extra_good_sheets == 3


def test_a_question_may_move_promises_to_other_lots():
    asked = {"due": "2027-03-10", "pull_mg": 100, "furnish": [part()], "excludes": ["scrap"]}
    lots = [
        lot("CLEAN", usable=1000, cost_minor_per_kg=1),
        lot("SCRAP", marks=["scrap"], cost_minor_per_kg=900),
    ]
    cover = answer(lots, [promise()], question=asked)
    assert [pick.lot for pick in cover.of("C1").picks] == ["CLEAN"]
    assert cover.extra_good_sheets == 10


def test_who_takes_all_or_nothing_and_gets_nothing_is_among_the_reasons():
    cover = answer([lot()], [promise(need=5000, all_or_nothing=True)])
    (bind,) = cover.binding
    assert (bind.commissions, bind.need_mg, bind.supply_mg) == (("C1",), 5000, 1000)


def test_what_other_lines_give_at_most_is_no_part_of_what_binds():
    furnish = [
        part("linter", least="0.4", target="0.45", most="0.5"),
        part("abaca", least="0.3", target="0.55", most="0.6"),
    ]
    lots = [lot("L1", usable=9000), lot("A1", "abaca", 400)]
    (bind,) = answer(lots, [promise(furnish=furnish)]).binding
    # By hand: linter gives 0.5 of 1000 at most, the other 500 have to be abaca.
    assert (bind.fibres, bind.need_mg, bind.supply_mg) == (("abaca",), 500, 400)


# --- checks -----------------------------------------------------------------------------------


def test_the_same_snapshot_is_answered_alike_every_time():
    snapshot = from_json(plan(DEAR_AND_CHEAP, [promise(furnish=HALF_AND_HALF)]))
    assert allocate(snapshot) == allocate(snapshot)


def test_the_solver_is_timed_for_who_asks():
    clock = Clock()
    allocate(from_json(plan([lot()], [promise()])), clock=clock)
    assert clock.solver_seconds > 0


@pytest.mark.parametrize(
    ("change", "fault"), [(1, "more than it may"), (-2000, "less than nothing"), (-1, "balance")]
)
def test_a_flow_that_contradicts_itself_is_refused(change, fault):
    served = serve(from_json(plan([lot()], [promise()])), Clock())
    check(served.net, served.flow, served.net.demand)
    wrong = served.flow.copy()
    wrong[0] += change
    with pytest.raises(CoverError, match=fault):
        check(served.net, wrong, served.net.demand)


def test_a_promise_draws_its_fibre_on_its_day_of_need_or_else_on_the_day_due():
    due = answer([lot()], [promise()]).of("C1")
    needed = answer([lot()], [promise(needed_on="2027-03-03")]).of("C1")
    assert (due.fibre_day, needed.fibre_day) == (date(2027, 3, 6), date(2027, 3, 3))


def test_more_than_can_be_reckoned_exactly_is_refused():
    snapshot = from_json(plan([lot()], [promise()]))
    (one,) = snapshot.commissions
    huge = replace(one, need_mg=MOST_MG + 1, safe_need_mg=MOST_MG + 1)
    with pytest.raises(RangeError, match="noughts"):
        allocate(replace(snapshot, commissions=(huge,)))


# --- sureness ---------------------------------------------------------------------------------


def spread_out(lots, commissions, *, spread="0.03"):
    snapshot = from_json(plan(lots, commissions))
    spreads = None if spread is None else Decimal(spread)
    return replace(snapshot, lots=tuple(replace(one, spread=spreads) for one in snapshot.lots))


def test_sureness_counts_what_is_held_and_what_is_free():
    lots = [lot("L1", usable=1500), lot("L2", usable=500), lot("OFF", until="2027-03-02")]
    cover = allocate(spread_out(lots, [promise(need=1000, safe_need_mg=1200), promise("C2", 300)]))
    (line,) = cover.of("C1").sureness.lines
    # By hand: 2000 that keep, less the 300 held for the other.
    assert sum(mg for mg, _ in line.pieces) == 1700
    assert line.share == 1
    assert 0 <= cover.of("C1").chance <= 1


def test_a_lot_that_two_lines_may_take_counts_for_the_first():
    furnish = [
        part("linter", "rag", least="0", target="0.5", most="1"),
        part("rag", least="0", target="0.5", most="1"),
    ]
    lots = [lot("R1", "rag", usable=1000), lot("R2", "rag", usable=1000)]
    cover = allocate(spread_out(lots, [promise(need=1000, furnish=furnish)]))
    first, second = cover.of("C1").sureness.lines
    # Each draws its half of 1000; the other 1000 could go to either.
    assert sum(mg for mg, _ in first.pieces) == 1500
    assert [mg for mg, _ in second.pieces] == [500]


def test_without_a_spread_there_is_no_chance():
    cover = allocate(spread_out([lot()], [promise()], spread=None))
    assert cover.of("C1").chance is None


def test_numbers_of_a_flow_are_whole():
    served = serve(from_json(plan([lot()], [promise()])), Clock())
    assert served.flow.dtype == np.int64
