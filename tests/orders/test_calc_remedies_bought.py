"""Ways out of a shortage by what is bought: which offer, how many packs, and in two parts."""

from datetime import date

from orders.calc.ways import AnotherDay, Buy, InTwo, OnlyByBuying
from tests.orders.plans import lot, one, promise, share, ways


def market(*offers, **terms):
    return {
        "horizon_days": 91,
        "sources": [
            {"ref": ref, "lead_days": 2, **terms.get(ref, {})}
            for ref in sorted({row["source"] for row in offers})
        ],
        "offers": list(offers),
    }


def offer(ref, source, *breaks, pack=100, **changes):
    return {
        "ref": ref, "source": source, "fibre": "linter", "pack_usable_mg": pack,
        "breaks": [list(step) for step in breaks], **changes,
    }  # fmt: skip


def bought(sourcing, **changes):
    return one(Buy, ways("C1", [lot(usable=600)], [promise(**changes)], sourcing=sourcing))


def test_the_cheapest_offer_in_time_is_taken_with_its_freight():
    sourcing = market(
        offer("A", "Near", (1, 50)),
        offer("B", "Far", (1, 60)),
        offer("C", "Slow", (1, 1)),
        Near={"freight_minor": 100},
        Slow={"lead_days": 40},
    )
    # By hand: four packs are 200 + 100 from Near and 240 from Far; Slow comes too late.
    take = bought(sourcing).take
    assert (take.ref, take.packs, take.cost_minor) == ("B", 4, 240)


def test_more_packs_are_taken_where_a_break_makes_them_cheaper():
    take = bought(market(offer("A", "Near", (1, 50), (5, 30)))).take
    assert (take.packs, take.cost_minor) == (5, 150)


def test_packs_are_filled_up_to_free_freight_where_that_is_cheaper():
    sourcing = market(
        offer("A", "Near", (1, 50)), Near={"freight_minor": 90, "free_freight_from_minor": 250}
    )
    # By hand: four packs are 200 + 90, five are 250 with no freight.
    assert (bought(sourcing).take.packs, bought(sourcing).take.cost_minor) == (5, 250)


def test_packs_are_filled_up_to_the_least_order():
    sourcing = market(offer("A", "Near", (1, 50)), Near={"order_minimum_minor": 301})
    assert bought(sourcing).take.packs == 7


def test_without_prices_the_last_day_to_order_is_said_and_no_offer_is_chosen():
    sourcing = market(
        offer("A", "Near", (1, 50)), offer("B", "Far", (1, 10)), Far={"lead_days": 4}
    )
    buy = one(Buy, ways("C1", [], [promise()], sourcing=sourcing, with_prices=False))
    assert (buy.order_by, buy.take) == (date(2027, 3, 4), None)


def test_an_offer_that_is_over_is_not_taken():
    buy = bought(market(offer("A", "Near", (1, 50), valid_to="2027-02-20")))
    assert (buy.order_by, buy.arrives_on, buy.is_looked_up) == (None, None, True)


def test_with_no_sourcing_at_all_no_offer_is_looked_for():
    assert not one(Buy, ways("C1", [], [promise()])).is_looked_up


def test_each_line_that_lacks_fibre_is_bought():
    furnish = [share("linter", "0.5"), share("abaca", "0.5")]
    found = ways("C1", [], [promise(furnish=furnish)])
    assert [way.fibres for way in found if isinstance(way, Buy)] == [("linter",), ("abaca",)]


# --- in two, and another day ---------------------------------------------------------------------


def test_the_rest_is_made_of_a_receipt_on_its_way():
    lots = [lot(usable=600), lot("L2", usable=400, **{"from": "2027-03-12"})]
    asked = promise(needed_on="2027-03-03")
    found = ways("C1", lots, [asked])
    # By hand: three days from fibre to sheets, so what comes on the 12th is made by the 15th.
    assert one(InTwo, found) == InTwo(6, 4, date(2027, 3, 15), is_bought=False)
    assert one(AnotherDay, found) == AnotherDay(date(2027, 3, 15), date(2027, 3, 12))
    assert not [way for way in found if isinstance(way, OnlyByBuying)]


def test_what_is_wanted_whole_or_not_at_all_is_not_sent_in_two():
    found = ways("C1", [lot(usable=600)], [promise(all_or_nothing=True)])
    assert not [way for way in found if isinstance(way, InTwo)]


def test_with_nothing_to_send_now_there_are_no_two_parts():
    assert [type(way) for way in ways("C1", [], [promise()])] == [OnlyByBuying, Buy]
