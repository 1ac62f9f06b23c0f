"""What is still to weigh out where some lies there: by hand, and against its own limits."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from orders.calc.cover import allocate
from orders.calc.covered import COVERED, SHORT
from orders.calc.plan import from_json, to_json
from orders.calc.planrows import Part, PlanLot, Promise, Snapshot
from orders.calc.weighed import Run, after_weighing, recipe_of, still_to_weigh
from studio.errors import RangeError, SnapshotError

D = Decimal
DAY = date(2027, 3, 1)


def part(fibre, share, *others, least=None, most=None):
    target = D(share)
    return Part(
        (fibre, *others),
        target if least is None else D(least),
        target,
        target if most is None else D(most),
    )


EIGHTY = (part("linter", "0.8"), part("abaca", "0.2"))
ALL = (part("linter", "1"),)


def targets(furnish, total, weighed):
    return [int(still.target) for still in still_to_weigh(furnish, total, weighed)]


# --- by hand -------------------------------------------------------------------------------------


def test_what_is_weighed_out_of_one_fibre_leaves_the_other_to_weigh():
    # 80 of 100 are linter and lie there: the 20 that are left are abaca, not 16 and 4.
    assert targets(EIGHTY, 100_000, {"linter": 80_000}) == [0, 20_000]
    need, furnish = recipe_of(EIGHTY, still_to_weigh(EIGHTY, 100_000, {"linter": 80_000}))
    assert need == 20_000
    assert [(one.fibres, one.target) for one in furnish] == [(("linter",), 0), (("abaca",), 1)]


def test_half_of_each_leaves_half_of_each():
    found = targets(EIGHTY, 100_000, {"linter": 40_000, "abaca": 10_000})
    assert found == [40_000, 10_000]


def test_too_much_of_one_fibre_does_not_spare_the_other():
    # 30 of abaca where 20 are wanted: to keep 80 to 20 all the linter is wanted still.
    assert targets(EIGHTY, 100_000, {"abaca": 30_000}) == [80_000, 0]


def test_within_its_limits_one_fibre_spares_another():
    # 60 of linter are the most of 100, so 40 of flax do.
    ranged = (
        part("linter", "0.5", least="0.4", most="0.6"),
        part("flax", "0.5", least="0.4", most="0.6"),
    )
    assert targets(ranged, 100_000, {"linter": 60_000}) == [0, 40_000]


def test_a_stand_in_counts_for_the_fibre_that_it_stands_in_for():
    furnish = (part("linter", "0.5"), part("flax", "0.5", "hemp"))
    assert targets(furnish, 100_000, {"hemp": 30_000}) == [50_000, 20_000]


def test_a_fibre_that_the_furnish_does_not_name_stands_in_for_all_in_proportion():
    assert targets(EIGHTY, 100_000, {"straw": 50_000}) == [40_000, 10_000]


def test_the_slip_of_a_scale_is_not_weighed_out_again():
    assert targets(ALL, 100_000, {"linter": 99_000}) == [0]
    assert targets(ALL, 100_000, {"linter": 98_000}) == [2_000]


def test_less_than_nothing_is_refused():
    with pytest.raises(RangeError, match="linter must be 0 mg or more, got -1"):
        still_to_weigh(ALL, 100, {"linter": -1})


# --- what holds for any --------------------------------------------------------------------------

MASSES = st.integers(0, 10**9)


@given(MASSES, MASSES, MASSES, st.integers(1, 99))
def test_the_rest_completes_the_whole_and_its_shares_add_up(total, linter, abaca, percent):
    share = D(percent) / 100
    furnish = (part("linter", share), part("abaca", 1 - share))
    still = still_to_weigh(furnish, total, {"linter": linter, "abaca": abaca})
    need, recipe = recipe_of(furnish, still)
    assert sum(one.target for one in recipe) == 1
    assert all(0 <= one.least <= one.target <= one.most <= 1 for one in recipe)
    assert need >= total - linter - abaca - total // 100 - 1
    # Of no fibre more than its share of the whole.
    assert all(
        line.target <= Fraction(one.target) * total
        for line, one in zip(still, furnish, strict=True)
    )


# --- a promise with runs at the vat --------------------------------------------------------------


def promise(**changes):
    usual = {"need_mg": 1000, "safe_need_mg": 1100, "furnish": ALL, "wanted": 10, "pull_mg": 100}
    return Promise(ref="C1", priority=5, due=date(2027, 3, 20), **{**usual, **changes})


def store(*promises, **held):
    lots = tuple(
        PlanLot(fibre, fibre, mass, mass, mass, DAY, spread=D("0.01"))
        for fibre, mass in held.items()
    )
    return Snapshot(DAY, "GBP", lots, promises)


def test_without_a_run_a_promise_stands_as_it_is():
    assert after_weighing(promise(), []) == promise()


def test_a_run_that_is_all_weighed_out_asks_the_store_for_nothing():
    left = after_weighing(promise(), [Run(1250, 1100, 11, {"linter": 1250})])
    assert (left.need_mg, left.safe_need_mg, left.weighed_sheets) == (0, 0, 10)
    answer = allocate(store(left)).of("C1")
    assert (answer.state, answer.covered_sheets, answer.picks) == (COVERED, 10, ())
    # What comes of the vat is not the store's to say.
    assert answer.chance is None


def test_a_run_that_begins_wants_its_trial_sheets_and_what_stays_in_the_vat_too():
    left = after_weighing(promise(), [Run(1250, 1100, 11, {})])
    assert (left.need_mg, left.safe_need_mg, left.weighed_sheets) == (1250, 1250, 0)


def test_what_no_run_forms_is_wanted_as_before():
    # 400 of 1000 are formed; 50 more stay in the vat. All 450 lie there: 600 are left.
    left = after_weighing(promise(), [Run(450, 400, 4, {"linter": 450})])
    assert (left.need_mg, left.safe_need_mg, left.weighed_sheets) == (600, 700, 4)
    answer = allocate(store(left, linter=300)).of("C1")
    # 300 of the 600 make three more.
    assert (answer.state, answer.covered_sheets) == (SHORT, 7)


def test_where_one_fibre_lies_there_the_store_has_to_give_the_other_alone():
    asked = promise(furnish=EIGHTY, safe_need_mg=1000)
    left = after_weighing(asked, [Run(1000, 1000, 10, {"linter": 800})])
    assert (left.need_mg, left.pull_mg, left.weighed_sheets) == (200, 20, 0)
    answer = allocate(store(left, linter=5000, abaca=100)).of("C1")
    assert answer.state == SHORT
    assert answer.covered_sheets == 5
    assert [(lack.fibres, lack.usable_mg) for lack in answer.short] == [(("abaca",), 100)]
    assert allocate(store(left, linter=5000, abaca=200)).of("C1").state == COVERED


def test_a_promise_at_the_vat_survives_json():
    left = after_weighing(
        promise(furnish=EIGHTY), [Run(450, 400, 4, {"linter": 300, "abaca": 10})]
    )
    shot = store(left, linter=10_000)
    assert from_json(to_json(shot)) == shot


def test_sheets_in_the_vat_are_not_more_than_those_wanted():
    plain = to_json(store(after_weighing(promise(), [Run(450, 400, 4, {"linter": 450})])))
    plain["commissions"][0]["weighed_sheets"] = 11
    with pytest.raises(SnapshotError, match=r"commissions\[0\].weighed_sheets: .*from 0 to 10"):
        from_json(plain)


def test_the_chance_at_the_vat_is_that_of_all_pulls_with_heel_and_trial_sheets_off():
    # 16 pulls of 100 mg and 150 mg besides; 500 mg lie there, and the store holds just the rest.
    asked = promise(good_share=D("0.8"), need_mg=1300, safe_need_mg=1600)
    left = after_weighing(asked, [Run(1750, 1600, 16, {"linter": 500})])
    held = PlanLot("L", "linter", 1250, 1250, 1250, DAY, spread=D(0))
    answer = allocate(Snapshot(DAY, "GBP", (held,), (left,))).of("C1")
    # The number of good sheets of 16 is binomial; SciPy is the reference.
    assert answer.state == COVERED
    assert answer.chance == pytest.approx(binom.sf(9, 16, 0.8), abs=1e-6)


def test_a_line_that_lies_there_whole_does_not_hold_back_the_chance():
    asked = promise(furnish=EIGHTY, good_share=D("0.8"), need_mg=1300, safe_need_mg=1600)
    left = after_weighing(asked, [Run(1600, 1600, 16, {"linter": 1280})])
    held = PlanLot("A", "abaca", 320, 320, 320, DAY, spread=D(0))
    answer = allocate(Snapshot(DAY, "GBP", (held,), (left,))).of("C1")
    assert answer.chance == pytest.approx(binom.sf(9, 16, 0.8), abs=1e-6)


def test_what_lies_at_the_vat_is_told_for_every_line():
    plain = to_json(store(after_weighing(promise(), [Run(450, 400, 4, {"linter": 300})])))
    plain["commissions"][0]["at_vat"]["lying_mg"] = [1, 2]
    with pytest.raises(SnapshotError, match=r"commissions\[0\].at_vat.lying_mg: .*1 line"):
        from_json(plain)
