"""Why a plan buys from more than one source: only what the figures prove is said."""

from datetime import date

from orders.calc import buying
from orders.calc.plan import from_json
from orders.reorderreasons import not_from_one
from tests.orders.plans import plan, promise

KG = 1_000_000


def shot(**other):
    """Abaca is wanted in 10 days and linter in 30; Slow sells both, and Swift abaca alone.

    Slow takes 20 days and 9.00 a kilogram for abaca, Swift 5 days and 10.10.
    """
    sourcing = {
        "horizon_days": 91,
        "sources": [
            {"ref": "Slow", "lead_days": other.get("lead", 20), "freight_minor": 500},
            {"ref": "Swift", "lead_days": 5, "freight_minor": 500},
        ],
        "offers": [
            offer("O-1", "Slow", "linter", 800),
            offer("O-2", "Slow", "abaca", other.get("price", 900), other.get("pack", KG)),
            offer("O-3", "Swift", "abaca", 1010),
        ],
    }
    abaca = [{"fibres": ["abaca"], "least": "1", "target": "1", "most": "1"}]
    promises = [
        promise("C1", 2 * KG, due="2027-03-11", furnish=abaca),
        promise("C2", 2 * KG, due="2027-03-31"),
    ]
    return from_json(plan([], promises, sourcing=sourcing))


def offer(ref, source, fibre, price, pack=KG):
    return {
        "ref": ref,
        "source": source,
        "fibre": fibre,
        "pack_usable_mg": pack,
        "breaks": [[1, price]],
    }


def reasons(snapshot):
    return not_from_one(buying.plan(snapshot), snapshot, "GBP")


def test_a_cheaper_source_that_delivers_too_late_is_named_with_its_first_day():
    assert buying.plan(shot()).today == date(2027, 3, 1)
    # By hand: 10.10 − 9.00 a kilogram; 1 March and 20 days is 21 March, wanted on the 11th.
    assert reasons(shot()) == [
        "Slow sells abaca for £1.10 less a usable kilogram before freight, but nothing from "
        "there arrives before Sun 21 Mar; from Swift it is there on Thu 11 Mar."
    ]


def test_in_a_studio_that_weighs_in_pounds_it_is_so_much_a_pound():
    # 1.10 a kilogram × 0.45359237 kg, the international avoirdupois pound, is 0.50 a pound.
    told = not_from_one(buying.plan(shot()), shot(), "GBP", "US")
    assert told[0].startswith("Slow sells abaca for £0.50 less a usable pound before freight, but")


def test_a_source_that_is_no_cheaper_is_no_reason():
    assert reasons(shot(price=1010)) == []


def test_where_all_is_from_one_there_is_nothing_to_explain():
    assert reasons(shot(lead=2)) == []


def test_a_source_that_is_in_time_and_sells_too_much_at_once_is_not_called_late():
    snapshot = shot(lead=2, price=9000, pack=10 * KG)
    assert len(buying.plan(snapshot).purchases) == 2
    assert reasons(snapshot) == []
