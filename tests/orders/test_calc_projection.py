"""What there is day by day with nothing bought, by hand."""

from datetime import date

from orders.calc._buying.projection import project
from orders.calc.cover import allocate
from orders.calc.covered import LATER, SHORT, Answer, Cover, Lack, Pick
from orders.calc.plan import from_json
from tests.orders.plans import lot, part, plan, promise

TODAY = date(2027, 3, 1)


def outlook(lots=(), commissions=(), fibre="linter", cover=None, horizon=30, **sourcing):
    snapshot = from_json(plan(lots, commissions, sourcing={"horizon_days": horizon, **sourcing}))
    if cover is None and "demand" not in sourcing:
        cover = allocate(snapshot)
    return project(snapshot, cover=cover)[fibre]


def days(found):
    return {balance.day.isoformat()[5:]: balance.mg for balance in found.balances}


def changes(found, day):
    return next(
        {change.what: change.mg for change in balance.changes}
        for balance in found.balances
        if balance.day.isoformat()[5:] == day
    )


def needs(found):
    return [(need.day, need.promised_mg, need.minimum_mg) for need in found.requirements]


def wish(on, mg, fibre="linter"):
    return {"fibre": fibre, "on": f"2027-03-{on:02d}", "mg": mg}


def offered(lead, fibre="linter", price=100):
    return {
        "sources": [{"ref": "S", "lead_days": lead}],
        "offers": [
            {
                "ref": "O",
                "source": "S",
                "fibre": fibre,
                "pack_usable_mg": 100,
                "breaks": [[1, price]],
            }
        ],
    }


def lacking(*fibres, state=SHORT, ready_on=None, mg=400):
    answer = Answer(
        "C1", date(2027, 3, 6), 10, state, 0, ready_on, 1000, (Lack(fibres, mg, mg),), ()
    )
    return Cover(TODAY, (answer,), (), 0)


def test_every_change_of_the_balance_is_told_by_name_on_its_day():
    found = outlook(
        [
            lot("L1", usable=700),
            lot("W1", usable=500, until="2027-03-10"),
            lot("P-004", usable=300, **{"from": "2027-03-12"}),
        ],
        [promise("C-101", need=400, due="2027-03-06")],
    )
    # 700 + 500; C-101 draws 400 of W1, which has to be used first; its last 100 end on the 10th.
    assert days(found) == {"03-01": 1200, "03-06": 800, "03-11": 700, "03-12": 1000}
    assert changes(found, "03-01") == {"on hand": 1200}
    assert changes(found, "03-06") == {"C-101": -400}
    assert changes(found, "03-11") == {"W1 past its use": -100}
    assert changes(found, "03-12") == {"P-004": 300}
    assert needs(found) == []


def test_what_is_short_counts_as_drawn_and_pulls_the_balance_below_zero():
    found = outlook([lot(usable=700)], [promise("C1", need=1000, due="2027-03-06")])
    assert days(found) == {"03-01": 700, "03-06": -300}
    assert needs(found) == [(5, 300, 0)]
    assert found.requirements[0].commissions == ("C1",)


def test_a_promise_whose_day_has_passed_draws_today():
    found = outlook([lot(usable=700)], [promise("C1", need=1000, due="2027-02-06")])
    assert days(found) == {"03-01": -300}


def test_fibre_is_drawn_on_the_day_it_is_needed_not_on_the_day_due():
    found = outlook([lot(usable=1000)], [promise("C1", due="2027-03-20", needed_on="2027-03-13")])
    assert days(found) == {"03-01": 1000, "03-13": 0}


def test_stock_that_cannot_serve_a_promise_does_not_mend_its_lack():
    found = outlook([lot(usable=5000, marks=["scrap"])], [promise("C1", excludes=["scrap"])])
    assert needs(found) == [(5, 1000, 0)]


def test_the_minimum_asks_for_what_the_balance_lies_below_it_once():
    # 900 on hand, keep 800: drawing 500 breaks it by 400, drawing 300 more by 300 more.
    found = outlook(
        [lot(usable=900)], demand=[wish(4, 500), wish(9, 300)], minimum_mg={"linter": 800}
    )
    assert needs(found) == [(3, 0, 400), (8, 0, 300)]
    assert days(found) == {"03-01": 900, "03-04": 400, "03-09": 100}


def test_demand_draws_first_the_lot_that_has_to_be_used_first():
    found = outlook(
        [lot("L1", usable=500), lot("W1", usable=500, until="2027-03-05")],
        demand=[wish(4, 500), wish(9, 600)],
    )
    assert needs(found) == [(8, 100, 0)]


def test_a_lot_past_its_use_serves_on_its_last_day_and_not_after():
    wet = [lot("W1", usable=500, until="2027-03-05")]
    assert needs(outlook(wet, demand=[wish(5, 500)])) == []
    assert needs(outlook(wet, demand=[wish(6, 500)])) == [(5, 500, 0)]


def test_needs_beyond_the_horizon_are_not_looked_at():
    assert needs(outlook(demand=[wish(10, 500)], horizon=10)) == [(9, 500, 0)]
    assert needs(outlook(demand=[wish(11, 500)], horizon=10)) == []


def test_of_fibres_that_stand_in_for_each_other_the_cheapest_on_offer_is_asked_for():
    offers = {
        "sources": [{"ref": "S", "lead_days": 1}],
        "offers": [
            {
                "ref": "A",
                "source": "S",
                "fibre": "abaca",
                "pack_usable_mg": 10,
                "breaks": [[1, 9]],
            },
            {
                "ref": "F",
                "source": "S",
                "fibre": "flax",
                "pack_usable_mg": 20,
                "breaks": [[1, 16]],
            },
        ],
    }
    # 0.9 and 0.8 a milligram.
    cover = lacking("abaca", "flax")
    commissions = [promise(furnish=[part("abaca", "flax")])]
    assert needs(outlook([], commissions, "flax", cover, **offers)) == [(5, 400, 0)]


def test_without_an_offer_the_first_of_the_fibres_is_asked_for():
    found = outlook(
        [], [promise(furnish=[part("abaca", "flax")])], "abaca", lacking("abaca", "flax")
    )
    assert needs(found) == [(5, 400, 0)]


RECEIPT = lot("P-004", usable=900, **{"from": "2027-03-12"})


def test_what_is_on_its_way_is_drawn_when_it_comes_and_asks_for_no_purchase():
    cover = lacking("linter", state=LATER, ready_on=date(2027, 3, 12))
    found = outlook([RECEIPT], [promise()], cover=cover, **offered(lead=11))
    assert needs(found) == []
    assert changes(found, "03-12") == {"P-004": 900, "C1": -400}
    assert days(found)["03-12"] == 500


def test_what_can_be_had_before_the_receipt_is_still_asked_for():
    cover = lacking("linter", state=LATER, ready_on=date(2027, 3, 12))
    found = outlook([RECEIPT], [promise()], cover=cover, **offered(lead=10))
    assert needs(found) == [(5, 400, 0)]


def test_a_promise_that_cannot_be_met_in_time_waits_for_the_first_arrival():
    found = outlook(cover=lacking("linter"), **offered(lead=9))
    assert needs(found) == [(5, 400, 0)]
    assert found.wanted == {9: 400}


def test_a_minimum_mended_before_anything_can_arrive_asks_for_nothing():
    keep = {"minimum_mg": {"linter": 500}, "demand": []}
    late = [lot("P-004", usable=500, **{"from": "2027-03-04"})]
    assert outlook(late, **keep, **offered(lead=3)).wanted == {}
    assert outlook(late, **keep, **offered(lead=2)).wanted == {2: 500}


def test_what_lies_above_the_minimum_is_added_up_night_by_night():
    # Nights 1 to 3: 900 - 200; nights 4 to 10: 300 - 200.
    found = outlook(
        [lot(usable=900)], demand=[wish(4, 600)], minimum_mg={"linter": 200}, horizon=10
    )
    assert found.above_mg_days == 3 * 700 + 7 * 100


def test_a_lot_past_its_use_is_not_in_the_balance():
    found = outlook([lot("OLD", until="2027-02-28"), lot("L1", usable=300)])
    assert days(found) == {"03-01": 300}


def test_with_neither_cover_nor_demand_nothing_is_drawn():
    snapshot = from_json(plan([lot("L1", usable=300)], [promise(need=200)]))
    assert days(project(snapshot)["linter"]) == {"03-01": 300}


def test_what_an_answer_draws_of_a_lot_that_is_no_more_in_the_plan_is_left_aside():
    gone = Pick("GONE", "linter", 100, 100, 100)
    answer = Answer("C1", date(2027, 3, 6), 10, "covered", 10, None, 100, (), (gone,))
    found = outlook([lot("L1", usable=300)], cover=Cover(TODAY, (answer,), (), 0))
    assert days(found) == {"03-01": 300}
