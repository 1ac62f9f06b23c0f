"""What pages of the store say of their figures, against sums done by hand.

A pound is 0.45359237 kg, the international avoirdupois pound.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from fibres import services, stocktaking
from fibres.explained import standing as standing_sums
from fibres.explained import water
from fibres.models import Movement, Stocktake
from fibres.standing import Standing
from studio.explaining import Reader
from tests.builders import (
    KG,
    arrived,
    day,
    make_fibre,
    make_furnish,
    make_lot,
    make_mould,
    make_offer,
    make_purchase,
    make_source,
    make_stocktake,
    make_studio,
    make_vat,
)
from tests.worked import Worked, section_of, worked

pytestmark = pytest.mark.django_db


def take(lot, kilograms):
    services.take_out(
        lot,
        as_is_mg=kilograms * KG,
        kind=Movement.Kind.ISSUED,
        happened_on=day(),
        why="Trial",
        by=None,
    )


def of(browser: Client, route: str, *args: object) -> dict[str, Worked]:
    return worked(browser, reverse(route, args=args))


# --- by hand ------------------------------------------------------------------------------------


def test_a_lot(owner_client):
    lot = make_lot(make_fibre(preparation_yield=Decimal("0.8")), paid_minor=4_600)
    take(lot, 1)
    told = of(owner_client, "lot", lot.ref)
    # 10 kg at 8 % hold 9.20 kg; of it 1 kg at 8 %, which is 0.92 kg, went out.
    assert told["Left"].lines == {
        "Went in": "9.20 kg",
        "Less what went out": "−0.920 kg",
        "Left, oven-dry": "8.28 kg",
    }
    # 8.28 / 0.92 = 9 kg; 8.28 × 0.8 = 6.624 kg.
    assert told["Oven-dry and as is"].lines["Weighs now, as is"] == "9.00 kg"
    assert told["Usable"].lines["Usable"] == "6.62 kg"
    # 46.00 for 9.2 kg.
    assert told["Paid, oven-dry"].lines["Oven-dry costs"] == "£5.00 a kg"
    assert told["Oven-dry and as is"].source.startswith("ISO 287")


def test_a_lot_whose_sample_was_wetter_says_how_it_came(owner_client):
    lot = make_lot()
    services.weigh_moisture(
        lot, wet_mg=100_000, dry_mg=80_000, tare_mg=0, tested_on=day(), has_dried=False, by=None
    )
    lines = of(owner_client, "lot", lot.ref)["Oven-dry and as is"].lines
    # The book was wrong: 10 kg as is stay, and 20 % of them are water.
    assert (lines["Left, oven-dry"], lines["Weighs now, as is"]) == ("8.00 kg", "10.00 kg")
    assert lines["Moisture now"] == "20 %"


def test_the_list_of_lots_adds_up(owner_client):
    make_lot(), make_lot(as_is_mg=5 * KG, moisture="0.1")
    told = of(owner_client, "lots")
    # 9.2 kg and 4.5 kg; the newest row is the one of 5 kg.
    assert told["Left"].lines == {"Left, in these lots": "13.70 kg"}
    assert told["Oven-dry"].lines == {
        "As it is": "5.00 kg",
        "Moisture": "10 %",
        "Oven-dry": "4.50 kg",
    }


def test_the_total_of_a_list_is_left_out_where_a_page_is_not_all_of_it(owner_client):
    for _ in range(2):
        make_lot()
    assert worked(owner_client, reverse("lots") + "?per_page=1")["Left"].lines == {}


def test_what_is_free():
    # 12 kg less 1 kg at the vat less 3 kg promised are 8 kg; of 2 kg less 5 kg nothing is free.
    rows = [
        Standing(make_fibre(), 12 * KG, 3 * KG, None, at_the_vat_mg=KG),
        Standing(make_fibre(minimum_mg=KG), 2 * KG, 5 * KG, None, on_its_way_mg=4 * KG),
    ]
    reader = Reader()
    free = {line.label: line.value for line in standing_sums.free(reader, rows).lines}
    assert free == {
        "On hand, all fibre": "14.00\u00a0kg",
        "Less what lies weighed out at the vat": "−1.00\u00a0kg",
        "Less promised": "−8.00\u00a0kg",
        "Back what some fibres lack": "3.00\u00a0kg",
        "Free": "8.00\u00a0kg",
    }
    # 2 − 5 = −3 kg, and 4 kg come in time.
    state = {line.label: line.value for line in standing_sums.state(reader, rows[1:]).lines}
    assert (state["Free"], state["State"]) == ("−3.00\u00a0kg", "Comes in time")


def test_the_store(owner_client):
    make_lot(make_fibre(minimum_mg=10 * KG))
    told = of(owner_client, "store")
    assert told["Free"].lines["Free"] == "9.20 kg"
    assert told["State"].lines["State"] == "Below minimum"
    assert told["Promised"].lines == {}


def test_an_offer(owner_client):
    offer = make_offer()
    for told in (of(owner_client, "offers"), of(owner_client, "offer", offer.pk)):
        # 5 kg at 8 % hold 4.6 kg; 9.40 / 0.92 = 10.2174.
        assert told["Oven-dry in a pack"].lines["Oven-dry in a pack"] == "4.60 kg"
        assert told["Price of dry fibre"].lines["Oven-dry costs"] == "£10.22 a kg"
        assert told["Price of dry fibre"].source.startswith("ISO 801")


def test_an_air_dry_price(owner_client):
    make_offer(price_per="air-dry", minor_per_kg=900, moisture=Decimal("0.2"))
    # Air-dry is 90 % fibre, whatever water the pack holds: 9.00 / 0.90.
    price = of(owner_client, "offers")["Price of dry fibre"]
    assert price.lines["Oven-dry costs"] == "£10.00 a kg"


def test_offers_compared(owner_client):
    source = make_source(freight_minor=1_400)
    offer = make_offer(make_fibre(preparation_yield=Decimal("0.5")), source)
    asked = f"?fibre={offer.fibre_id}&want=5"
    told = worked(owner_client, reverse("offers_compare") + asked)
    # 4.6 kg to the pack: two for 5 kg. 2 × 47.00 + 14.00; 9.2 kg, of which 4.6 kg are usable.
    assert told["Packs"].lines == {
        "Packs that cover it": "2",
        "Packs": "2",
        "Oven-dry": "9.20 kg",
    }
    ways = told["Three ways to be the cheapest"].lines
    assert ways["Cash"] == "£108.00"
    # 108 / 4.6 = 23.478 and 94 / 9.2 = 10.217.
    assert ways["Delivered, usable"] == "£23.48 a kg"
    assert ways["Before freight, oven-dry"] == "£10.22 a kg"


def test_a_purchase(owner_client):
    purchase = make_purchase(received=1)
    told = of(owner_client, "purchase", purchase.ref)
    # Two packs of 5 kg at 8 % are to come; 3 × 47.00 and 10.00 of freight.
    assert told["To come"].lines["To come"] == "9.20 kg"
    assert told["In all"].lines["In all"] == "£151.00"
    assert told["Freight of a lot"].lines["Freight"] == "£10.00"
    assert of(owner_client, "purchases")["To come"].lines["To come"] == "9.20 kg"


def test_a_claim_names_the_rule(owner_client):
    from fibres import purchasing

    purchase = make_purchase(packs=1)
    (line,) = purchase.lines.all()
    came = arrived(line, 1, moisture=Decimal("0.172"), moisture_known="weighed")
    purchasing.receive(purchase, [came], received_on=day(1), by=None)
    claim = of(owner_client, "purchase", purchase.ref)["To claim"]
    # 4.14 kg of 4.60 kg came: 10 % of 47.00.
    assert list(claim.lines.values()) == ["£4.70"]
    assert "Trade press" in claim.source


def test_a_count(owner_client, owner):
    lot = make_lot()
    stocktake: Stocktake = make_stocktake(lot)
    told = of(owner_client, "countline", stocktake.lines.get().pk)
    assert told["Difference"].lines["In the book, as is"] == "10.00 kg"
    stocktaking.count_lot(
        stocktake, lot, as_is_mg=9_500_000, moisture=None, reason="spilt", by=owner
    )
    told = of(owner_client, "stocktake", stocktake.ref)
    # 9.5 kg at 8 % are 8.74 kg.
    assert told["Found, oven-dry"].lines["Oven-dry"] == "8.74 kg"
    assert told["Difference"].lines == {
        "Found, oven-dry": "8.74 kg",
        "Less what the book has": "−9.20 kg",
        "Difference": "−0.460 kg",
    }


def test_a_furnish(owner_client):
    furnish = make_furnish({make_fibre(): "0.6", make_fibre(): "0.4"}, shrinkage=("0.03", "0.02"))
    furnish.additions.create(name="Chalk", kind="filler", dose=Decimal("0.05"))
    told = of(owner_client, "furnish", furnish.pk)
    assert told["Shares"].lines["In all"] == "100 %"
    # 0.6 / 0.95 = 0.631579 kg.
    issued = told["Out of the store"].lines["Out of the store for 1.00 kg in the vat"]
    assert issued == "0.632 kg"
    assert told["Additions"].lines["On 1.00 kg of dry fibre"] == "50.00 g"
    assert told["Shrinkage"].lines["Left of the side across"] == "97 %"
    assert told["Shrinkage"].lines["Left of the side along"] == "98 %"


def test_a_fibre(owner_client):
    fibre = make_fibre(usual_moisture=Decimal("0.1"), preparation_yield=Decimal("0.5"))
    make_lot(fibre), make_lot(fibre)
    told = of(owner_client, "fibre", fibre.pk)
    assert told["On hand"].lines["On hand, oven-dry"] == "18.40 kg"
    # 1 kg × 0.9 × 0.5.
    usable = told["From as it is to usable"].lines["Usable, of a kilogram as it is"]
    assert usable == "0.450 kg"


def test_vat_and_studio(owner_client):
    vat = make_vat()
    make_studio(hourly_rate_minor=2_000, overhead_minor_per_hour=550, price_rate=Decimal("0.2"))
    assert of(owner_client, "vat", vat.pk)["What a vat holds"].lines["Holds"] == "60 L"
    told = of(owner_client, "studio")
    assert told["An hour"].lines["An hour"] == "£25.50"
    # The margin of 20 % of the reference chart [MARKUP]: 100 / 0.8.
    assert told["Price from cost"].lines["Price"] == "£125.00"


# --- who reads ----------------------------------------------------------------------------------


@pytest.mark.parametrize("route", ["lots", "store", "lot", "source", "offers", "purchase"])
@pytest.mark.parametrize("role", ["hand", "viewer"])
def test_money_is_not_told_to_who_may_not_see_it(request, owner_client, role, route):
    offer = make_offer(source=make_source(freight_minor=1_400))
    purchase = make_purchase(offer, received=1)
    lot = purchase.lines.get().arrivals.get().lot
    named = {"lot": lot.ref, "source": offer.source_id, "purchase": purchase.ref}
    address = reverse(route, args=[named[route]] if route in named else [])
    seen = request.getfixturevalue(f"{role}_client").get(address).content.decode()
    assert section_of(seen)
    assert not {"£", "freight", "price"} & set(section_of(seen).lower().split())
    assert "£" not in section_of(seen)
    assert "£" in section_of(owner_client.get(address).content.decode())


def test_pounds_and_inches(owner_client):
    make_studio(units="US", currency="USD")
    lot = make_lot(as_is_mg=4_535_924, moisture="0.1", paid_minor=900)
    told = of(owner_client, "lot", lot.ref)
    # 10 lb at 10 % hold 9 lb, of which 95 % is 8.55 lb; 9.00 for 9 lb.
    assert told["Oven-dry and as is"].lines["Weighs now, as is"] == "10 lb 0.0 oz"
    assert told["Left"].lines["Left, oven-dry"] == "9 lb 0.0 oz"
    assert told["Usable"].lines["Usable"] == "8 lb 8.8 oz"
    assert told["Paid, oven-dry"].lines["Oven-dry costs"] == "$1.00 a lb"
    assert " kg" not in section_of(
        owner_client.get(lot.get_absolute_url()).content.decode().replace("\u00a0", " ")
    )
    # 600 × 500 mm in inches.
    inside = of(owner_client, "vat", make_vat().pk)["What a vat holds"].lines["Inside"]
    assert inside.startswith("23.62 × 19.69")


def test_one_of_a_fibre_is_a_pound_where_masses_are_read_in_pounds():
    told = water.usable_of_one(
        Reader("US"), moisture=Decimal("0.1"), share=Decimal("0.5"), name="Abaca"
    )
    # 16 oz × 0.9 × 0.5.
    assert told.lines[-1].value == "7.20\u00a0oz"
    assert told.lines[-1].label == "Usable, of a pound as it is"


def test_a_new_form_says_the_rule_alone(owner_client):
    for route in ("fibre_new", "source_new", "offer_new", "vat_new", "lot_receive"):
        told = of(owner_client, route)
        assert told
        assert not any(part.lines for part in told.values()), route


# --- forms --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("route", "make"),
    [
        ("fibre_edit", make_fibre),
        ("source_edit", make_source),
        ("offer", make_offer),
        ("furnish_edit", make_furnish),
        ("mould", make_mould),
        ("vat", make_vat),
    ],
)
def test_a_form_that_is_refused_says_the_rule_too(owner_client, route, make):
    answer = owner_client.post(reverse(route, args=[make().pk]), {"name": ""})
    assert answer.status_code == 200
    assert section_of(answer.content.decode())


def test_a_sum_that_was_asked_for_stands_in_both_places(hand_client):
    asked = {
        "work_out": "1",
        "request_key": "1" * 32,
        "fibre": make_fibre().pk,
        "source": make_source().pk,
        "mass": "10 kg",
        "moisture": "8",
        "moisture_known": "label",
        "received_on": day().isoformat(),
    }
    answer = hand_client.post(reverse("lot_receive"), asked)
    html = answer.content.decode().replace("\u00a0", " ")
    # 9.20 kg oven-dry, and 95 % of it: 8.74 kg.
    for figure in ("9.20 kg", "8.74 kg"):
        assert figure in section_of(html)
        assert figure in html.replace(section_of(html), "")
