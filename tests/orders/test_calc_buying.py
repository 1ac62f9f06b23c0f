"""What to buy, from whom and by when, by hand; print stands in tests/published."""

import pytest

from orders.calc.buying import plan
from orders.calc.plan import from_json
from tests.orders.plans import lot, promise, share
from tests.orders.plans import plan as snapshot_of
from tests.orders.sourcings import KG, bought, given, offer, planned, source, stands, wish

# --- flags ------------------------------------------------------------------------------------


def test_short_of_abaca_on_27_march_with_nine_days_of_lead_is_ordered_by_the_18th():
    # Trade scenario H1: C3 due 3 April less 7 days of making; pack of 0.9 kg oven-dry at 19.00.
    answer = planned(
        [source(lead=9)],
        [{**offer("O1", "abaca", 1, (1, 1900)), "pack_usable_mg": 873_000}],
        None,
        lots=[lot("AB-01", "abaca", 1_000_000, oven_dry_mg=1_030_928)],
        commissions=[
            promise(
                "C3",
                need=1_350_000,
                due="2027-04-03",
                needed_on="2027-03-27",
                furnish=[share("abaca", "1")],
            )
        ],
        yields={"abaca": "0.97"},
    )
    assert stands(answer, "abaca") == ("order by", "03-27", "03-18", None)
    assert answer.of("abaca").commissions == ("C3",)
    assert answer.of("abaca").needs_purchase
    # 350 g usable / 0.97 is 360.83 g oven-dry; a pack of 873 g usable is 900 g oven-dry.
    assert answer.of("abaca").short_oven_dry_mg == 360_825
    assert answer.purchases[0].lines[0].oven_dry_mg == 900_000
    assert bought(answer) == [("03-18", "O1", 1)]
    assert (answer.purchases[0].arrives_on.isoformat(), answer.total_minor) == ("2027-03-27", 1900)


BARK = source(lead=70, season=["02-01", "04-30"])


@pytest.mark.parametrize(
    ("need", "stand", "order"),
    [
        # Trade scenario H3: 30 May less 70 days is 21 March; the first arrival is 10 May.
        ("05-30", ("order by", "05-30", "03-21", None), "03-21"),
        ("05-10", ("order now", "05-10", "03-01", None), "03-01"),
        ("05-09", ("too late", "05-09", None, "05-10"), "03-01"),
        # 20 July less 70 days is 11 May, when no orders are taken any more.
        ("07-20", ("order by", "07-20", "04-30", None), "04-30"),
    ],
)
def test_bark_is_ordered_in_its_season(need, stand, order):
    answer = planned([BARK], [offer("O", "kozo", 1)], [wish(need, 0.5, "kozo")], horizon=200)
    assert stands(answer, "kozo") == stand
    assert bought(answer) == [(order, "O", 1)]


def test_a_season_may_wrap_the_end_of_the_year():
    winter = source(lead=1, season=["12-01", "02-15"])
    answer = planned([winter], [offer()], [wish("12-24", 1)], horizon=365)
    assert stands(answer) == ("order by", "12-24", "12-23", None)
    assert bought(answer) == [("12-23", "O", 1)]


def test_a_season_that_opens_after_the_horizon_comes_too_late_and_says_when():
    # By hand: the first order is taken on 1 August and comes 3 days later.
    answer = planned([source(season=["08-01", "08-31"], lead_days=3)], [offer()], [wish(9, 1)])
    assert stands(answer) == ("too late", "03-09", None, "08-04")
    assert bought(answer) == []


def test_a_fibre_without_an_offer_is_told_and_the_rest_is_planned():
    answer = planned([source()], [offer()], [wish(9, 1), wish(5, 1, "kozo")])
    assert stands(answer, "kozo") == ("no offer known", "03-05", None, None)
    assert bought(answer) == [("03-09", "O", 1)]


def test_enough_in_store_asks_for_nothing():
    answer = planned([source()], [offer()], [wish(9, 1)], lots=[lot(usable=KG)])
    assert stands(answer) == ("nothing to do", None, None, None)
    assert (answer.purchases, answer.total_minor, answer.gap) == ((), 0, 0)


def test_an_offer_is_ordered_while_it_holds():
    # The first offer ends on 4 March, the second begins on the 6th.
    offers = [
        offer("OLD", "linter", 1, (1, 100), valid_to="2027-03-04"),
        offer("NEW", "linter", 1, (1, 300), valid_from="2027-03-06"),
    ]
    answer = planned([source(lead=2)], offers, [wish(20, 1)])
    assert stands(answer) == ("order by", "03-20", "03-18", None)
    assert bought(answer) == [("03-04", "OLD", 1)]


def test_a_minimum_that_is_broken_today_is_ordered_now_and_is_not_too_late():
    answer = planned(
        [source(lead=5)], [offer()], None, lots=[lot(usable=100)], minimum_mg={"linter": 500}
    )
    assert stands(answer) == ("order now", "03-01", "03-01", "03-06")
    assert not answer.of("linter").needs_purchase
    assert bought(answer) == [("03-01", "O", 1)]


def test_a_promise_that_comes_too_late_counts_more_than_a_minimum_broken_today():
    answer = planned([source(lead=5)], [offer()], [wish(3, 1)], minimum_mg={"linter": KG})
    assert stands(answer) == ("too late", "03-01", None, "03-06")
    assert bought(answer) == [("03-01", "O", 2)]


def test_a_snapshot_without_sourcing_is_looked_at_for_thirteen_weeks():
    answer = plan(from_json(snapshot_of([], [promise("C1")])))
    assert answer.horizon_days == 91
    assert stands(answer) == ("no offer known", "03-06", None, None)


# --- the plan ---------------------------------------------------------------------------------


def test_one_order_for_two_fibres_pays_freight_once_and_waits_for_the_first_need():
    answer = planned(
        [source(lead=2, freight_minor=500)],
        [offer("A", "abaca"), offer("L", "linter")],
        [wish(10, 1, "abaca"), wish(20, 1)],
    )
    assert bought(answer) == [("03-08", "A", 1), ("03-08", "L", 1)]
    assert (answer.total_minor, answer.purchases[0].freight_minor) == (700, 500)


def test_holding_splits_what_freight_would_join():
    # A kilogram kept for ten days at 60 a day is dearer than freight of 500.
    answer = planned(
        [source(freight_minor=500)],
        [offer()],
        [wish(10, 1), wish(20, 1)],
        holding_minor_per_kg_day={"linter": "60"},
    )
    assert bought(answer) == [("03-10", "O", 1), ("03-20", "O", 1)]
    assert (answer.total_minor, answer.holding_minor) == (1200, 0)


def test_holding_is_charged_on_what_is_left_of_a_pack_and_on_stock():
    # 0.5 kg in store on 5 nights, then 0.5 of a pack on the other 5 of the horizon, at 2 a day.
    answer = planned(
        [source()],
        [offer()],
        [wish(6, 1)],
        lots=[lot(usable=KG // 2)],
        horizon=10,
        holding_minor_per_kg_day={"linter": "2"},
    )
    assert (answer.holding_minor, answer.total_minor) == (10, 110)


def test_an_order_is_made_up_to_its_minimum():
    # Three packs for 300 to be let order at all, though one would do.
    answer = planned([source(order_minimum_minor=250)], [offer()], [wish(9, 1)])
    assert bought(answer) == [("03-09", "O", 3)]


def test_more_is_bought_where_that_makes_freight_free():
    terms = source(freight_minor=250, free_freight_from_minor=300)
    answer = planned([terms], [offer()], [wish(9, 1)])
    assert (bought(answer), answer.total_minor) == ([("03-09", "O", 3)], 300)
    dearer = source(freight_minor=150, free_freight_from_minor=300)
    answer = planned([dearer], [offer()], [wish(9, 1)])
    assert (bought(answer), answer.total_minor) == ([("03-09", "O", 1)], 250)


@pytest.mark.parametrize(
    ("kind", "packs", "cost"), [("all units", 4, 280), ("incremental", 3, 270)]
)
def test_a_break_is_bought_up_to_only_where_it_lowers_every_pack(kind, packs, cost):
    # From four packs on 70 each: all at once 4 × 70 = 280 < 3 × 100; pack by pack 3 × 90.
    first = 100 if kind == "all units" else 90
    answer = planned(
        [source()], [offer("O", "linter", 1, (1, first), (4, 70), breaks_are=kind)], [wish(9, 3)]
    )
    assert (bought(answer), answer.total_minor) == ([("03-09", "O", packs)], cost)


def test_pack_by_pack_each_step_has_its_own_price():
    steps = offer("O", "linter", 1, (1, 90), (4, 70), breaks_are="incremental")
    assert planned([source()], [steps], [wish(9, 5)]).total_minor == 3 * 90 + 2 * 70


def test_no_fewer_packs_are_bought_than_are_sold():
    least = offer("O", "linter", 1, (1, 100), least_packs=4)
    assert bought(planned([source()], [least], [wish(9, 1)])) == [("03-09", "O", 4)]


def test_a_pack_a_milligram_too_small_is_not_enough():
    exact = {**offer(), "pack_usable_mg": 4_600_000}
    need = {"fibre": "linter", "on": "2027-03-09", "mg": 9_200_000}
    assert bought(planned([source()], [exact], [need])) == [("03-09", "O", 2)]
    more = {**need, "mg": 9_200_001}
    assert bought(planned([source()], [exact], [more])) == [("03-09", "O", 3)]


def test_an_order_waits_for_cheaper_freight_where_it_can():
    falls = source(lead=1, freight_minor=[["2027-03-01", 900], ["2027-03-05", 400]])
    assert bought(planned([falls], [offer()], [wish(9, 1)])) == [("03-08", "O", 1)]
    rises = source(lead=1, freight_minor=[["2027-03-01", 400], ["2027-03-05", 900]])
    assert bought(planned([rises], [offer()], [wish(9, 1)])) == [("03-04", "O", 1)]


def test_groups_that_share_a_source_without_freight_still_place_one_order_a_day():
    answer = planned(
        [source()], [offer("A", "abaca"), offer("L")], [wish(9, 1), wish(9, 1, "abaca")]
    )
    assert [len(order.lines) for order in answer.purchases] == [2]


def test_a_source_whose_least_order_cannot_be_reached_is_no_offer():
    answer = planned(
        [source(order_minimum_minor=5)], [offer("O", "linter", 1, (1, 0))], [wish(9, 1)]
    )
    assert stands(answer) == ("no offer known", "03-09", None, None)


@pytest.mark.parametrize("today", ["9999-12-31", "9999-12-01", "0001-01-01"])
def test_the_ends_of_the_calendar_are_no_error(today):
    snapshot = given([source(lead=9)], [offer()], None, minimum_mg={"linter": KG}, today=today)
    assert plan(snapshot).of("linter").short_mg == KG
