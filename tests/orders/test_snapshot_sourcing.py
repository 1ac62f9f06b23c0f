"""What planning reads of purchases on their way and of what can be bought."""

import json
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fibres.models import Offer, OfferBreak, Purchase, PurchaseLine
from orders import snapshot, sourcing
from orders.calc import plan
from orders.calc.cover import allocate
from tests.builders import (
    KG,
    day,
    make_commission,
    make_fibre,
    make_furnish,
    make_lot,
    make_sheet,
    make_source,
    make_studio,
)

pytestmark = pytest.mark.django_db

TODAY = date(2027, 3, 1)


def read(**changes):
    return snapshot.read(TODAY, **{"with_sourcing": True, **changes})


def make_offer(fibre=None, source=None, *, breaks=(), **changes):
    offer = Offer(
        fibre=fibre or make_fibre(),
        source=source or make_source(),
        **{"pack_mg": 2 * KG, "moisture": Decimal("0.10"), "minor_per_kg": 750, **changes},
    )
    offer.full_clean()
    offer.save()
    for packs, minor in breaks:
        OfferBreak.objects.create(offer=offer, from_packs=packs, minor_per_kg=minor)
    return offer


def make_ordered(*fibres, expected_on, state="ordered", freight_minor=0, **line):
    purchase = Purchase.objects.create(
        ref=f"P-{Purchase.objects.count() + 1:03d}",
        source=make_source(),
        state=state,
        ordered_on=TODAY - timedelta(days=5),
        expected_on=expected_on,
        freight_minor=freight_minor,
    )
    usual = {"packs": 3, "pack_mg": 2 * KG, "moisture": Decimal("0.10"), "goods_minor": 5400}
    for fibre in fibres:
        PurchaseLine.objects.create(purchase=purchase, fibre=fibre, **{**usual, **line})
    return purchase


# --- purchases on their way


def test_what_is_ordered_is_a_lot_from_the_day_it_is_expected():
    # By hand: 3 packs of 2 kg less 10 % are 5.4 kg, of which 95 % is 5.13 kg; 54.00 over it is
    # 10.53 a kilogram.
    fibre = make_fibre(family="broke")
    make_ordered(fibre, expected_on=date(2027, 3, 9))
    (lot,) = read().lots
    assert (lot.ref, lot.fibre, lot.usable_from, lot.until) == (
        "P-001/1", fibre.name, date(2027, 3, 9), None,
    )  # fmt: skip
    assert (lot.as_is_mg, lot.oven_dry_mg, lot.usable_mg) == (6 * KG, 5_400_000, 5_130_000)
    assert lot.cost_minor_per_kg == 1053
    assert lot.marks == {"scrap"}
    # One point of moisture, as on a label, over nine tenths.
    assert lot.spread == Decimal("0.011111")


@pytest.mark.parametrize(
    ("expected", "usable"),
    [
        (date(2027, 2, 20), date(2027, 3, 2)),
        (date(2027, 3, 1), date(2027, 3, 1)),
        (date(2027, 3, 2), date(2027, 3, 2)),
    ],
)
def test_what_should_have_come_is_looked_for_tomorrow(expected, usable):
    make_ordered(make_fibre(), expected_on=expected)
    assert read().lots[0].usable_from == usable


def test_only_what_has_not_come_is_still_to_come():
    make_ordered(make_fibre(), expected_on=TODAY, state="part received", packs_received=2, packs=3)
    assert read().lots[0].as_is_mg == 2 * KG


@pytest.mark.parametrize("state", ["planned", "received", "closed"])
def test_what_is_not_ordered_or_has_come_is_not_on_its_way(state):
    make_ordered(make_fibre(), expected_on=TODAY, state=state)
    assert read().lots == ()


def test_lines_of_one_purchase_are_told_apart():
    make_ordered(make_fibre(), make_fibre(), expected_on=TODAY)
    assert [lot.ref for lot in read().lots] == ["P-001/1", "P-001/2"]


# --- terms and offers


def test_the_horizon_is_in_days():
    assert read(weeks=4).sourcing.horizon_days == 28


def test_nothing_is_read_of_offers_where_it_was_not_asked_for():
    make_offer()
    assert read(with_sourcing=False).sourcing is None


def test_an_offer_is_read_by_the_pack_in_usable_fibre():
    # By hand: 2 kg less 10 % is 1.8 kg, of which 95 % is 1.71 kg. 2 kg at 7.50 is 15.00 a pack;
    # from 4 packs on at 5.75 it is 11.50.
    offer = make_offer(breaks=[(4, 575)], least_packs=2, valid_to=date(2027, 3, 31))
    (found,) = read().sourcing.offers
    assert found == plan.PackOffer(
        ref=sourcing.offer_ref(offer.pk),
        source=offer.source.name,
        fibre=offer.fibre.name,
        pack_usable_mg=1_710_000,
        breaks=((2, 1500), (4, 1150)),
        breaks_are="all units",
        least_packs=2,
        valid_to=date(2027, 3, 31),
    )
    assert sourcing.offer_pk(found.ref) == offer.pk


@pytest.mark.parametrize(
    ("price_per", "pack_minor"), [("as-is", 2000), ("air-dry", 1600), ("oven-dry", 1440)]
)
def test_the_price_of_a_pack_goes_by_what_it_is_per(price_per, pack_minor):
    # By hand, 2 kg at 28 % moisture and 10.00 a kilogram: 2 kg as is, 1.44 kg oven-dry, and
    # 1.44 / 0.9 = 1.6 kg air-dry.
    make_offer(moisture=Decimal("0.28"), minor_per_kg=1000, price_per=price_per)
    assert read().sourcing.offers[0].breaks == ((1, pack_minor),)


def test_a_source_brings_its_terms():
    source = make_source(
        name="Hill Bark", lead_days=70, freight_minor=1950, order_minimum_minor=5000,
        free_freight_from_minor=20000, season_from=2, season_to=4,
    )  # fmt: skip
    make_offer(source=source)
    (found,) = read().sourcing.sources
    assert (found.ref, found.lead_days, found.season) == ("Hill Bark", 70, ("02-01", "04-30"))
    assert [minor for _, minor in found.freight] == [1950]
    assert (found.order_minimum_minor, found.free_freight_from_minor) == (5000, 20000)


def test_a_source_without_an_open_offer_is_not_read():
    make_source()
    make_offer(closed_on=TODAY)
    assert read().sourcing.sources == ()


@pytest.mark.parametrize(
    ("offer", "source", "fibre"),
    [
        ({"closed_on": TODAY}, {}, {}),
        ({"valid_to": date(2027, 2, 28)}, {}, {}),
        ({}, {"closed_on": TODAY}, {}),
        # A supplier that gives by now: nothing can be ordered there.
        ({}, {"kind": "donor"}, {}),
        ({}, {}, {"closed_on": TODAY}),
        ({}, {}, {"is_refused": True, "refusals": "Thermal."}),
    ],
)
def test_what_cannot_be_bought_is_no_offer(offer, source, fibre):
    make_offer(make_fibre(**fibre), make_source(**source), **offer)
    assert read().sourcing.offers == ()


def test_an_offer_that_begins_later_is_one():
    make_offer(valid_from=date(2027, 4, 1))
    assert read().sourcing.offers[0].valid_from == date(2027, 4, 1)


def test_the_minimum_is_in_usable_fibre_and_none_is_kept_of_what_is_closed():
    kept = make_fibre(minimum_mg=2 * KG, preparation_yield=Decimal("0.97"))
    make_fibre(minimum_mg=2 * KG, closed_on=TODAY)
    make_fibre()
    assert read().sourcing.minimum_mg == {kept.name: 1_940_000}


# --- money, queries, JSON


def test_without_money_no_price_of_an_offer_is_read_and_every_day_is():
    source = make_source(lead_days=9, freight_minor=1950, free_freight_from_minor=20000)
    make_offer(source=source, breaks=[(4, 575)])
    with CaptureQueriesContext(connection) as asked:
        found = read(with_money=False)
    columns = " ".join(query["sql"] for query in asked)
    offered = columns.replace('"fibres_purchase"."freight_minor"', "")
    for money in ("freight_minor", "order_minimum_minor", "minor_per_kg", "free_freight"):
        assert f'"{money}' not in offered
    assert [offer.breaks for offer in found.sourcing.offers] == [((1, 0),)]
    (terms,) = found.sourcing.sources
    assert terms.lead_days == 9
    assert [minor for _, minor in terms.freight] == [0]
    assert (terms.order_minimum_minor, terms.free_freight_from_minor) == (0, None)


def test_who_sees_no_prices_is_told_the_same_lots_to_weigh_out():
    fibre = make_fibre()
    dear, cheap = make_lot(fibre, paid_minor=90_000), make_lot(fibre, paid_minor=100)
    make_commission(make_sheet(make_furnish({fibre: "1"})), good_quantity=10)
    told = [
        [pick.lot for pick in allocate(read(with_money=money)).commissions[0].picks]
        for money in (True, False)
    ]
    assert told == [[cheap.ref], [cheap.ref]] != [[dear.ref], [dear.ref]]


@pytest.mark.parametrize("rows", [1, 20])
def test_offers_take_the_same_queries_for_1_and_20(django_assert_num_queries, rows):
    for _ in range(rows):
        make_offer(breaks=[(4, 575)])
        make_ordered(make_fibre(), expected_on=TODAY)
    with django_assert_num_queries(17):
        read()


def test_all_of_it_survives_json():
    source = make_source(season_from=11, season_to=2, freight_minor=1950)
    make_offer(make_fibre(minimum_mg=KG), source, breaks=[(4, 575)], breaks_are="incremental")
    make_ordered(make_fibre(), expected_on=TODAY)
    found = read()
    assert plan.from_text(json.dumps(plan.to_json(found))) == found


def test_the_command_writes_what_can_be_bought_as_well():
    make_studio()
    offer = make_offer()
    make_ordered(make_fibre(), expected_on=day(-9))
    out = StringIO()
    call_command("snapshot", stdout=out)
    written = json.loads(out.getvalue())
    assert [row["ref"] for row in written["sourcing"]["offers"]] == [f"O-{offer.pk}"]
    assert written["sourcing"]["horizon_days"] == 91
    assert written["lots"][0]["ref"] == "P-001/1"
