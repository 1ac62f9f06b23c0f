from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from orders import wording
from orders.calc.cover import allocate
from orders.calc.covered import Binding
from orders.calc.plan import from_json
from orders.calc.sureness import HeldLine, Sureness
from orders.calc.ways import (
    AnotherDay,
    Buy,
    FurnishChange,
    InTwo,
    OfferToTake,
    OnlyByBuying,
    SwapOrder,
)
from tests.orders.plans import answer, lot, part, plan, promise, share

TODAY = date(2027, 3, 1)
KG = 1_000_000


def plain(text):
    return text.replace("\u00a0", " ")


def first(lots, commissions):
    return answer(lots, commissions).commissions[0]


def test_a_day_has_its_year_only_when_it_is_not_this_one():
    assert wording.day(date(2027, 3, 12), TODAY) == "Fri 12 Mar"
    assert wording.day(date(2028, 1, 3), TODAY) == "Mon 3 Jan 2028"


def test_covered_and_just_covered_are_told_apart():
    covered = first([lot()], [promise()])
    just = first([lot()], [promise(safe_need_mg=1100)])
    assert wording.mark_of(covered, TODAY) == ("covered", "Covered")
    assert wording.mark_of(just, TODAY) == ("near", "Just covered")
    assert "also at the safe count" in wording.finding(covered, TODAY)
    assert "at the average count" in wording.finding(just, TODAY)


def test_what_is_late_says_so_first():
    late = first([lot()], [promise(due="2027-02-20")])
    assert wording.finding(late, TODAY).startswith("It was due on Sat 20 Feb. The store covers")


def test_what_waits_for_a_receipt_names_the_day_and_what_can_be_made_till_then():
    lots = [lot(usable=600), lot("L2", usable=400, **{"from": "2027-03-12"})]
    found = first(lots, [promise()])
    assert wording.mark_of(found, TODAY) == ("order", "Covered from Fri 12 Mar")
    assert plain(wording.finding(found, TODAY)) == (
        "Its fibre is all there from Fri 12 Mar, too late for Sat 6 Mar: until then 0.400 g "
        "oven-dry of linter is missing and 6 of 10 good sheets can be made."
    )


def test_two_fibres_are_missing_in_the_plural():
    furnish = [share("linter", "0.5"), share("abaca", "0.5")]
    found = first([], [promise(need=4 * KG, furnish=furnish)])
    assert plain(wording.lacks(found)) == (
        "2.000 kg oven-dry of linter and 2.000 kg oven-dry of abaca are missing"
    )


def test_a_shortage_is_worded_in_pounds_where_the_studio_measures_in_them():
    found = first([], [promise(need=453_592)])
    assert plain(wording.lacks(found, "US")) == "1 lb 0.0 oz oven-dry of linter is missing"


# --- how sure, and why not


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (1.0, "all of 100"),
        (0.9999, "more than 99 of 100"),
        (0.995, "more than 99 of 100"),
        (0.94, "94 of 100"),
        (0.004, "fewer than 1 of 100"),
        (0.0, "none of 100"),
    ],
)
def test_a_chance_is_worded_in_whole_counts_and_never_too_sure(chance, said):
    assert wording.tries(chance) == said


def test_how_sure_names_what_varies_and_says_nothing_where_it_is_not_known():
    even = Sureness(10, 100, 1, Decimal(1), (HeldLine(Decimal(1), ((1000, Decimal("0.01")),)),))
    known = replace(first([lot()], [promise()]), sure=lambda: even)
    # By hand: what is expected is what is needed, so it is there in half of all cases; one
    # milligram of 1000 is allowed for splitting, which is a tenth of a deviation more.
    assert wording.how_sure(known) == (
        "The store covers all 10 in 54 of 100 tries, letting moisture, yield and culls vary as "
        "they do."
    )
    assert wording.how_sure(replace(known, sure=None)) == ""


def test_what_binds_is_named_with_fibre_day_and_mass():
    bind = Binding(("abaca", "flax"), 12 * KG, 9 * KG, ("C2", "C5"), ("A3", "A7"))
    assert plain(wording.why_short(bind, date(2027, 3, 14), TODAY)) == (
        "C2, C5 need 12.000 kg usable of abaca or flax by Sun 14 Mar; lots A3, A7 hold 9.000 kg; "
        "3.000 kg is missing."
    )
    alone = replace(bind, commissions=("C2",), lots=(), supply_mg=0, fibres=("flax",))
    assert plain(wording.why_short(alone, date(2027, 3, 14), TODAY)) == (
        "C2 needs 12.000 kg usable of flax by Sun 14 Mar; no lot that it may take holds any; "
        "12.000 kg is missing."
    )


def test_of_many_only_a_few_are_named():
    refs = [f"C{number}" for number in range(9)]
    assert wording.named(refs) == "C0, C1, C2, C3, C4, C5 and 3 more"


def standing(lots, commissions, ref):
    snapshot = from_json(plan(lots, commissions))
    cover = allocate(snapshot)
    return [plain(said) for said in wording.standing(snapshot, cover, cover.of(ref))]


def test_a_short_one_says_what_binds_on_the_day_the_fibre_is_needed():
    two = [promise(), promise("C2", due="2027-03-20", needed_on="2027-03-13")]
    (said,) = [
        sentence for sentence in standing([lot(usable=1200)], two, "C2") if "need" in sentence
    ]
    assert said == (
        "C1, C2 need 2.00 g usable of linter by Sat 13 Mar; lot L1 holds 1.20 g; 0.800 g is "
        "missing."
    )
    assert not [said for said in standing([lot(usable=1200)], two, "C1") if "need" in said]


def test_the_mix_is_told_where_it_is_not_the_target():
    lots = [lot(usable=400), lot("A1", "abaca", 600)]
    asked = promise(furnish=[part("linter", "abaca")])
    assert "It is made of 40 % linter and 60 % abaca, within the limits of its furnish." in (
        standing(lots, [asked], "C1")
    )


# --- ways out


def ways(*found, answer=None, **reader):
    answer = answer or first([lot(usable=600)], [promise()])
    said = wording.ways_out(found, answer, wording.Reader(TODAY, **reader))
    return [(plain(way.deed), plain(way.why)) for way in said]


BUY = Buy(("linter",), 380_000, 400_000, date(2027, 3, 4), is_looked_up=True)
TAKE = OfferToTake("O-1", "Sallow", "linter", 2, 250_000, 1900)


def test_buying_says_the_mass_as_is_at_its_usual_moisture():
    # By hand: 0.4 kg oven-dry at 20 % moisture is 0.5 kg as is.
    assert ways(BUY, usual_moisture={"linter": Decimal("0.20")}) == [
        (
            "Buy 0.400 kg oven-dry of linter, to be in the store by Thu 4 Mar.",
            "0.500 kg as is, at its usual moisture of 20 %. No offer of it is known.",
        )
    ]


def test_buying_names_the_offer_and_its_price_to_who_sees_money_alone():
    buy = replace(BUY, order_by=date(2027, 3, 2), arrives_on=date(2027, 3, 4), take=TAKE)
    ((_, said),) = ways(buy, currency="GBP")
    assert said == (
        "Cheapest in time: 2 packs of linter from Sallow, £19.00 with freight, ordered by Tue "
        "2 Mar."
    )
    ((_, said),) = ways(buy)
    assert said == "Ordered by Tue 2 Mar it is in time."
    ((_, said),) = ways(replace(buy, order_by=TODAY))
    assert said == "Ordered today it is in time."


def test_buying_too_late_says_when_it_comes():
    ((_, said),) = ways(replace(BUY, arrives_on=date(2027, 4, 1)))
    assert said == "No order is in time any more; the first arrives on Thu 1 Apr."
    ((_, said),) = ways(replace(BUY, is_looked_up=False))
    assert said == ""


def test_only_by_buying_is_no_way_of_its_own():
    (said,) = wording.ways_out([OnlyByBuying()], first([], [promise()]), wording.Reader(TODAY))
    assert said.deed == "There is no plan without a purchase."
    assert not said.is_way


def test_in_two_says_how_many_and_when():
    parts = InTwo(6, 4, date(2027, 3, 15), is_bought=False)
    assert ways(parts) == [
        (
            "Send 6 good sheets by Sat 6 Mar and 4 by Mon 15 Mar.",
            "The rest is of fibre on its way.",
        )
    ]
    assert ways(replace(parts, is_bought=True))[0][1] == "The rest is of fibre bought at once."
    assert ways(replace(parts, later_on=date(2027, 3, 5)))[0][0] == (
        "Make 6 good sheets first and the other 4 by Fri 5 Mar, still in time."
    )
    assert ways(replace(parts, later_on=None))[0][0] == (
        "Send 6 good sheets by Sat 6 Mar and 4 later."
    )


def test_another_mix_is_for_the_client_to_allow():
    mix = FurnishChange((("linter", Decimal("0.7")), ("abaca", Decimal("0.3"))))
    assert ways(mix)[0][0] == "Make it of 70 % linter and 30 % abaca, if the client agrees."
    mix = FurnishChange((("linter", Decimal(1)), ("abaca", Decimal(0))))
    assert ways(mix)[0][0] == "Make it of 100 % linter, with no abaca, if the client agrees."


def test_another_turn_says_who_loses_and_what():
    worse = first([lot(usable=600)], [promise("C1")])
    assert ways(SwapOrder("C1", (worse,))) == [
        (
            "Serve it before C1.",
            "Others lose by it: C1 would be short, with 6 of 10 good sheets, and 0.400 g oven-dry "
            "of linter is missing.",
        )
    ]
    assert ways(SwapOrder("C1", ())) == [("Serve it before C1.", "Nobody else stands worse then.")]


def test_another_day_says_from_when_the_fibre_is_there():
    assert ways(AnotherDay(date(2027, 3, 15), date(2027, 3, 12))) == [
        (
            "Ask for Mon 15 Mar in place of Sat 6 Mar.",
            "Its fibre is all there from Fri 12 Mar.",
        )
    ]


# --- one more sheet


def test_how_many_more_is_worded_for_none_one_and_many():
    by = date(2027, 3, 20)
    assert wording.how_many_more(0, "Text A4", by, TODAY) == (
        "No more good sheets of Text A4 could be promised by Sat 20 Mar with what is in store and "
        "free."
    )
    assert wording.how_many_more(1, "Text A4", by, TODAY).startswith("1 more good sheet of Text")
    assert wording.how_many_more(12, "", by, TODAY) == (
        "12 more good sheets could be promised by Sat 20 Mar, with no promise made worse."
    )


def test_a_day_that_is_too_soon_is_not_promised_although_there_is_fibre():
    said = wording.how_many_more(12, "Text A4", date(2027, 3, 20), TODAY, is_too_soon=True)
    assert said == "There is fibre for 12 more good sheets of Text A4, with no promise made worse."


# --- all promises


def test_the_lede_tells_what_is_covered_only_just():
    near = promise(safe_need_mg=1100)
    assert wording.lede(answer([lot()], [near])) == (
        "The store covers the one promise, but only just."
    )
    other = promise("C2", furnish=[share("abaca", "1")])
    both = [lot(), lot("A1", "abaca")]
    assert wording.lede(answer(both, [near, other])) == (
        "The store covers all 2 promises, C1 only just."
    )
    tight = {**other, "safe_need_mg": 1100}
    assert wording.lede(answer(both, [near, tight])) == (
        "The store covers all 2 promises, 2 of them only just."
    )


def test_the_lede_tells_a_late_one_from_a_short_one():
    lots = [lot(usable=600), lot("L2", usable=400, **{"from": "2027-03-12"})]
    assert plain(wording.lede(answer(lots, [promise()]))) == (
        "C1 is covered from Fri 12 Mar, too late for Sat 6 Mar: until then 0.400 g oven-dry of "
        "linter is missing."
    )


def test_the_lede_for_none_one_and_several():
    two = [promise("C1"), promise("C2", furnish=[share("abaca", "1")])]
    assert wording.lede(answer([], [])) == "Nothing is promised yet."
    assert wording.lede(answer([lot()], [promise()])) == "The store covers the one promise."
    both = [lot(), lot("A1", "abaca")]
    assert wording.lede(answer(both, two)) == "The store covers all 2 promises."
    assert plain(wording.lede(answer([lot()], two))) == (
        "C2 is short: 1.00 g oven-dry of abaca is missing by Sat 6 Mar."
    )
    assert plain(wording.lede(answer([], two))).startswith(
        "2 of 2 promises are short, first C1: 1.00 g oven-dry of linter"
    )


def test_what_is_left_out_hides_no_shortage_of_the_others():
    out = [{"ref": "C8", "why": "Its furnish has no fibre."}]
    short = plain(wording.lede(answer([], [promise()], left_out=out)))
    assert short == (
        "C8 cannot be reckoned: Its furnish has no fibre. "
        "C1 is short: 1.00 g oven-dry of linter is missing by Sat 6 Mar."
    )
    covered = wording.lede(answer([lot()], [promise()], left_out=out))
    assert covered.endswith("no fibre. The store covers the one other promise.")
    assert wording.lede(answer([], [], left_out=out)).endswith("no fibre.")
    out.append({"ref": "C9", "why": "Nor has this."})
    assert "no fibre. 1 more cannot be reckoned. The store covers" in (
        wording.lede(answer([lot()], [promise()], left_out=out))
    )
