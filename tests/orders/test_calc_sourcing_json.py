"""What buying reads, as JSON: written and read back, every fault told with its path."""

import json
from datetime import date
from decimal import Decimal

import pytest

from orders.calc.plan import from_json, from_text, to_json
from studio.errors import SnapshotError
from tests.orders.plans import lot, plan, promise

SOURCE = {"ref": "S1", "lead_days": 7}
OFFER = {
    "ref": "O1",
    "source": "S1",
    "fibre": "linter",
    "pack_usable_mg": 2_000_000,
    "breaks": [[1, 1500], [4, 1150]],
}


def sourcing(sources=(SOURCE,), offers=(OFFER,), **changes):
    return {"horizon_days": 91, "sources": list(sources), "offers": list(offers), **changes}


def faults(changed):
    with pytest.raises(SnapshotError, match=r".") as caught:
        from_json(plan(sourcing=changed))
    return dict(caught.value.faults)


EVERYTHING = sourcing(
    sources=[
        {
            "ref": "S1",
            "lead_days": 7,
            "freight_minor": 1200,
            "order_minimum_minor": 3000,
            "free_freight_from_minor": 9000,
            "season": ["11-01", "02-29"],
        },
        {"ref": "S2", "lead_days": 0, "freight_minor": [["2027-03-01", 85], ["2027-03-02", 102]]},
        {"ref": "S3", "lead_days": 0, "freight_minor": [["2027-03-01", 85]]},
    ],
    offers=[
        {**OFFER, "breaks_are": "incremental", "valid_from": "2027-01-01", "valid_to": None},
        {**OFFER, "ref": "O2", "least_packs": 5, "breaks": [[5, 900]], "valid_to": "2027-05-01"},
    ],
    minimum_mg={"linter": 500, "abaca": 0},
    holding_minor_per_kg_day={"linter": "0.25"},
    demand=[{"fibre": "linter", "on": "2027-03-09", "mg": 12}],
)


@pytest.mark.parametrize(
    "given", [{"horizon_days": 1}, sourcing(), EVERYTHING, sourcing(demand=[])]
)
def test_sourcing_reads_back_as_it_was_written(given):
    snapshot = from_json(plan(sourcing=given))
    assert from_text(json.dumps(to_json(snapshot))) == snapshot


def test_spreads_and_the_day_of_need_read_back_as_they_were_written():
    given = plan(
        [lot(spread="0.02")], [promise(needed_on="2027-02-27")], yield_spread={"linter": "0.01"}
    )
    snapshot = from_json(given)
    assert snapshot.lots[0].spread == Decimal("0.02")
    assert snapshot.commissions[0].fibre_day == date(2027, 2, 27)
    assert snapshot.yield_spread == {"linter": Decimal("0.01")}
    assert from_text(json.dumps(to_json(snapshot))) == snapshot


def test_what_is_left_out_stands_for_the_least():
    found = from_json(plan(sourcing=sourcing())).sourcing
    source, offer = found.sources[0], found.offers[0]
    assert source.freight == ((date.min, 0),)
    assert (source.order_minimum_minor, source.free_freight_from_minor) == (0, None)
    assert (source.season, found.demand) == (None, None)
    assert (offer.least_packs, offer.breaks_are) == (1, "all units")
    assert (offer.valid_from, offer.valid_to) == (None, None)


def of_source(**changes):
    return sourcing(sources=[{**SOURCE, **changes}])


def of_offer(**changes):
    return sourcing(offers=[{**OFFER, **changes}])


IN_SOURCE, IN_OFFER = "sourcing.sources[0]", "sourcing.offers[0]"
FAULTS = [
    ([], "sourcing", "must be an object, got []"),
    ({}, "sourcing.horizon_days", "is missing"),
    (sourcing(horizon_days=0), "sourcing.horizon_days", "of days from 1 to 3660, got 0"),
    (sourcing(horizon_days=3661), "sourcing.horizon_days", "got 3661"),
    (sourcing(wishes=1), "sourcing.wishes", "is not a key of the schema"),
    (sourcing(sources=[SOURCE, SOURCE]), "sourcing.sources[1].ref", "“S1” is given twice"),
    (sourcing(offers=[OFFER, OFFER]), "sourcing.offers[1].ref", "“O1” is given twice"),
    ({"horizon_days": 9, "sources": {}}, "sourcing.sources", "must be a list"),
    (sourcing(minimum_mg=[]), "sourcing.minimum_mg", "must be an object"),
    (sourcing(minimum_mg={"linter": -1}), "sourcing.minimum_mg.linter", "whole number of milli"),
    (
        sourcing(holding_minor_per_kg_day={"linter": 0.5}),
        "sourcing.holding_minor_per_kg_day.linter",
        "must be a number as text",
    ),
    (
        sourcing(holding_minor_per_kg_day={"linter": "-1"}),
        "sourcing.holding_minor_per_kg_day.linter",
        "must be a number as text",
    ),
    (sourcing(demand=[{"fibre": "linter", "mg": 1}]), "sourcing.demand[0].on", "is missing"),
    (sourcing(demand={}), "sourcing.demand", "must be a list"),
    (
        sourcing(demand=[{"fibre": "linter", "on": "2027-03-09", "mg": -1}]),
        "sourcing.demand[0].mg",
        "whole number of milligrams",
    ),
    (sourcing(sources=[{"ref": "S1"}]), f"{IN_SOURCE}.lead_days", "is missing"),
    (of_source(lead_days=-1), f"{IN_SOURCE}.lead_days", "of days from 0"),
    (of_source(freight_minor=-5), f"{IN_SOURCE}.freight_minor", "of minor units from 0"),
    (of_source(freight_minor="5"), f"{IN_SOURCE}.freight_minor", "of minor units from 0"),
    (of_source(freight_minor=[]), f"{IN_SOURCE}.freight_minor", "at least one [date, price]"),
    (of_source(freight_minor=[5]), f"{IN_SOURCE}.freight_minor[0]", "a list of two, the date and"),
    (of_source(freight_minor=[["x", 5]]), f"{IN_SOURCE}.freight_minor[0][0]", "must be a date"),
    (
        of_source(freight_minor=[["2027-03-01", None]]),
        f"{IN_SOURCE}.freight_minor[0][1]",
        "minor units",
    ),
    (
        of_source(freight_minor=[["2027-03-02", 5], ["2027-03-02", 6]]),
        f"{IN_SOURCE}.freight_minor[1][0]",
        "must be later than the date before it",
    ),
    (of_source(order_minimum_minor=-1), f"{IN_SOURCE}.order_minimum_minor", "minor units"),
    (
        of_source(free_freight_from_minor="x"),
        f"{IN_SOURCE}.free_freight_from_minor",
        "minor units",
    ),
    (of_source(season=["02-01"]), f"{IN_SOURCE}.season", "the first and the last month-day"),
    (
        of_source(season=["02-01", "02-30"]),
        f"{IN_SOURCE}.season[1]",
        "month and day such as 02-01",
    ),
    (of_source(season=["2-1", "04-30"]), f"{IN_SOURCE}.season[0]", "month and day such as 02-01"),
    (of_source(colour=1), f"{IN_SOURCE}.colour", "is not a key of the schema"),
    (of_offer(source="S9"), f"{IN_OFFER}.source", "“S9” is not among the sources"),
    (of_offer(pack_usable_mg=0), f"{IN_OFFER}.pack_usable_mg", "from 1 to"),
    (of_offer(least_packs=0), f"{IN_OFFER}.least_packs", "from 1 to"),
    (
        of_offer(breaks_are="some"),
        f"{IN_OFFER}.breaks_are",
        "must be one of all units, incremental",
    ),
    (of_offer(breaks_are=[]), f"{IN_OFFER}.breaks_are", "must be one of all units, incremental"),
    (of_offer(breaks=[]), f"{IN_OFFER}.breaks", "at least one [packs, price of a pack]"),
    (of_offer(breaks=None), f"{IN_OFFER}.breaks", "must be a list, got None"),
    (of_offer(breaks=[[1]]), f"{IN_OFFER}.breaks[0]", "a list of two, a number of packs"),
    (of_offer(breaks=[[2, 5]]), f"{IN_OFFER}.breaks[0][0]", "must start at 1, got 2"),
    (
        of_offer(breaks=[[2, 5]], least_packs=3),
        f"{IN_OFFER}.breaks[0][0]",
        "must start at 1 or the least packs, 3, got 2",
    ),
    (
        of_offer(breaks=[[1, 5], [1, 4]]),
        f"{IN_OFFER}.breaks[1][0]",
        "more than the 1 before it, got 1",
    ),
    (of_offer(breaks=[["one", 5]]), f"{IN_OFFER}.breaks[0][0]", "got 'one'"),
    (
        sourcing(holding_minor_per_kg_day={"linter": "dear"}),
        "sourcing.holding_minor_per_kg_day.linter",
        "must be a number as text",
    ),
    (of_offer(breaks=[[1, -5]]), f"{IN_OFFER}.breaks[0][1]", "minor units"),
    (
        of_offer(valid_from="2027-03-02", valid_to="2027-03-01"),
        f"{IN_OFFER}.valid_to",
        "must not lie before valid_from 2027-03-02",
    ),
    (of_offer(valid_to="soon"), f"{IN_OFFER}.valid_to", "must be a date"),
]


@pytest.mark.parametrize(("given", "path", "sentence"), FAULTS)
def test_a_fault_of_sourcing_is_told_with_its_path_and_alone(given, path, sentence):
    found = faults(given)
    assert list(found) == [path]
    assert sentence in found[path]


def test_a_missing_key_of_an_offer_is_told():
    for key in ("ref", "source", "fibre", "pack_usable_mg", "breaks"):
        row = {name: value for name, value in OFFER.items() if name != key}
        assert f"{IN_OFFER}.{key}" in faults(sourcing(offers=[row]))


def test_all_faults_of_sourcing_are_told_at_once():
    given = sourcing(
        sources=[{**SOURCE, "lead_days": -1}],
        offers=[{**OFFER, "source": "S9", "least_packs": 0}],
        horizon_days="long",
    )
    assert set(faults(given)) == {
        "sourcing.horizon_days",
        f"{IN_SOURCE}.lead_days",
        f"{IN_OFFER}.source",
        f"{IN_OFFER}.least_packs",
    }


@pytest.mark.parametrize(
    ("given", "path"),
    [
        (plan([lot(spread="2")]), "lots[0].spread"),
        (plan([lot(spread=0.1)]), "lots[0].spread"),
        (plan([], [promise(needed_on="soon")]), "commissions[0].needed_on"),
        (plan(yield_spread=[]), "yield_spread"),
        (plan(yield_spread={"linter": "x"}), "yield_spread.linter"),
    ],
)
def test_a_fault_of_a_spread_or_a_day_of_need_is_told(given, path):
    with pytest.raises(SnapshotError, match=r".") as caught:
        from_json(given)
    assert [where for where, _ in caught.value.faults] == [path]
