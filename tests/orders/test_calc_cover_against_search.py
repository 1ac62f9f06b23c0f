"""Cover beside an exhaustive search, on studios so small that every possibility is looked at.

The search, the flow and the linear programme under ``oracles`` share no line with the planner.
"""

import json
from dataclasses import replace
from datetime import timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from orders.calc.cover import allocate
from orders.calc.plan import to_json
from orders.calc.planrows import PlanLot
from tests.orders.oracles import cover_oracle, flow_oracle
from tests.orders.oracles.asks import UNIT_MG
from tests.orders.oracles.binding import binding_faults
from tests.orders.oracles.checking import differences, faults, read
from tests.orders.oracles.cover_cases import FIBRES, TODAY, tiny

BLOCKS, CASES_IN_A_BLOCK = 15, 100
blocks = pytest.mark.parametrize("block", range(BLOCKS))
few_blocks = pytest.mark.parametrize("block", range(3))


def snapshots(block, topic, cases=CASES_IN_A_BLOCK, **wanted):
    choose = Random(f"{topic} {block}")
    return [tiny(choose, **wanted) for _ in range(cases)]


def told(snapshot):
    """Return a snapshot so that a failure can be put to the planner again."""
    return json.dumps(to_json(snapshot))


def shorts_of(cover):
    return [sum(lack.usable_mg for lack in found.short) for found in cover.commissions]


# --- the oracles themselves -------------------------------------------------------------------


@few_blocks
def test_search_and_flow_find_the_same_best_cover(block):
    for snapshot in snapshots(block, "oracles"):
        assert cover_oracle.best(snapshot) == flow_oracle.best(snapshot), told(snapshot)


def test_search_and_linear_programme_find_the_same_best_cover():
    pytest.importorskip("scipy")
    from tests.orders.oracles import lp_oracle

    for snapshot in snapshots(0, "programme", cases=60):
        assert cover_oracle.best(snapshot) == lp_oracle.best(snapshot), told(snapshot)


# --- the best cover ---------------------------------------------------------------------------


@blocks
def test_cover_is_the_best_that_the_search_finds(block):
    for snapshot in snapshots(block, "cover"):
        found = cover_oracle.best(snapshot)
        assert not differences(snapshot, allocate(snapshot), found), told(snapshot)


@given(st.randoms(use_true_random=False))
@hypothesis_settings(max_examples=150, derandomize=True)
def test_cover_is_the_best_for_any_tiny_studio(choose):
    snapshot = tiny(choose)
    found = cover_oracle.best(snapshot)
    assert not differences(snapshot, allocate(snapshot), found), told(snapshot)


@few_blocks
def test_whole_or_not_at_all_leaves_the_store_to_the_rest(block):
    choose = Random(f"whole {block}")
    for snapshot in snapshots(block, "whole or not", safe=False):
        whole = replace(
            snapshot,
            commissions=tuple(
                replace(one, all_or_nothing=bool(choose.randint(0, 2)))
                for one in snapshot.commissions
            ),
        )
        found = cover_oracle.best(whole)
        cover = allocate(whole)
        assert not faults(whole, cover), told(whole)
        assert read(whole, cover).shorts == tuple(s * UNIT_MG for s in found.shorts), told(whole)


# --- what follows from rank -------------------------------------------------------------------


@few_blocks
def test_leaving_out_who_ranks_last_changes_nothing_for_the_rest(block):
    for snapshot in snapshots(block, "rank"):
        whole = allocate(snapshot)
        last = whole.commissions[-1].ref
        rest = tuple(one for one in snapshot.commissions if one.ref != last)
        without = allocate(replace(snapshot, commissions=rest))
        assert shorts_of(without) == shorts_of(whole)[:-1], told(snapshot)


@few_blocks
def test_one_more_lot_never_makes_anybody_of_higher_rank_worse_off(block):
    choose = Random(f"one more {block}")
    for snapshot in snapshots(block, "more"):
        more = PlanLot(
            "L9", choose.choice(FIBRES), *[choose.randint(1, 6) * UNIT_MG] * 3, TODAY,
        )  # fmt: skip
        better = allocate(replace(snapshot, lots=(*snapshot.lots, more)))
        assert shorts_of(better) <= shorts_of(allocate(snapshot)), told(snapshot)


# --- the other answers ------------------------------------------------------------------------


@few_blocks
def test_a_short_promise_is_ready_on_the_first_day_that_works(block):
    for snapshot in snapshots(block, "ready", safe=False):
        found = cover_oracle.best(snapshot)
        days = cover_oracle.ready_days(snapshot, found)
        cover = allocate(snapshot)
        said = {answer.ref: answer.ready_on for answer in cover.commissions if answer.ref in days}
        assert said == days, told(snapshot)


@few_blocks
def test_as_many_more_sheets_are_promised_as_can_be_and_no_more(block):
    for snapshot in snapshots(block, "question", question=True):
        found = cover_oracle.best(snapshot)
        most = cover_oracle.extra_good_sheets(snapshot, found)
        assert allocate(snapshot).extra_good_sheets == most, told(snapshot)


@few_blocks
def test_the_reasons_add_up_to_what_is_short(block):
    for snapshot in snapshots(block, "reasons"):
        cover = allocate(snapshot)
        assert not list(binding_faults(snapshot, cover)), told(snapshot)


# --- the checks see a fault -------------------------------------------------------------------


def one_short():
    """Return a snapshot whose cover has picks and a shortage, and that cover."""
    for snapshot in snapshots(0, "cover"):
        cover = allocate(snapshot)
        picked = [found for found in cover.commissions if found.picks]
        if picked and cover.binding and len(cover.commissions) > 1:
            return snapshot, cover, picked[0]
    raise AssertionError("no case is short")


def with_answer(cover, changed):
    return replace(
        cover,
        commissions=tuple(
            changed if found.ref == changed.ref else found for found in cover.commissions
        ),
    )


@pytest.mark.parametrize(
    "spoil",
    [
        lambda pick: replace(pick, usable_mg=pick.usable_mg - 1),
        lambda pick: replace(pick, usable_mg=pick.usable_mg + 1),
        lambda pick: replace(pick, fibre="kozo"),
        lambda pick: replace(pick, as_is_mg=pick.as_is_mg + 1),
    ],
)
def test_a_pick_that_is_off_is_seen(spoil):
    snapshot, cover, picked = one_short()
    spoilt = replace(picked, picks=(spoil(picked.picks[0]), *picked.picks[1:]))
    assert faults(snapshot, with_answer(cover, spoilt))


def test_a_lot_used_after_its_last_day_is_seen():
    snapshot, cover, picked = one_short()
    early = TODAY - timedelta(days=2)
    gone_off = tuple(
        replace(lot, until=early) if lot.ref == picked.picks[0].lot else lot
        for lot in snapshot.lots
    )
    assert any("outside" in fault for fault in faults(replace(snapshot, lots=gone_off), cover))


def test_a_reason_that_is_a_milligram_off_is_seen():
    snapshot, cover, _ = one_short()
    first = cover.binding[0]
    off = replace(cover, binding=(replace(first, need_mg=first.need_mg + 1), *cover.binding[1:]))
    assert list(binding_faults(snapshot, off))
