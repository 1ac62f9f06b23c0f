from datetime import date

from fibres.models import Fibre
from orders import wording
from tests.orders.plans import answer, lot, promise, share

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
        "Covered from Fri 12 Mar, not by Sat 6 Mar: until then 0.400 g oven-dry of linter is "
        "missing and 6 of 10 good sheets can be made."
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


def test_ways_out_are_the_mass_to_get_as_is_and_fewer_sheets_first():
    found = first([lot(usable=600_000)], [promise(need=KG, pull_mg=100_000)])
    fibre = Fibre(name="linter", usual_moisture="0.20")
    fibre.clean_fields(exclude=["family", "source_class", "closed_on"])
    ways = [plain(way.deed) for way in wording.ways_out(found, TODAY, {"linter": fibre})]
    # By hand: 0.4 kg oven-dry at 20 % moisture is 0.5 kg as is.
    assert ways == [
        "Get 0.500 kg of linter as is, in time to make the sheets by Sat 6 Mar.",
        "Send 6 good sheets by the day and 4 later.",
    ]


def test_nothing_short_needs_no_way_out():
    assert wording.ways_out(first([lot()], [promise()]), TODAY, {}) == []


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
