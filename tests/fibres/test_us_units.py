"""A studio that weighs in pounds: what its pages show can be typed back, and refusals fit it."""

import pytest
from django.urls import reverse

from fibres import gifts, ledger, services
from fibres.calc.scrap import from_pile, from_weight, worth_of
from fibres.gifts import Measure
from fibres.models import Lot, Movement
from studio.entries import enter
from studio.errors import NotEnoughError, RangeError
from studio.sizes import size_named
from studio.units import Q
from tests.builders import KG, day, make_fibre, make_lot, make_offer, make_source, make_studio
from tests.fibres.pages import Sheet, faults, see, send, told

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def american(db):
    return make_studio(units="US")


def plain(words):
    return words.replace("\u00a0", " ")


def test_whole_lot_as_the_page_shows_it_leaves_nothing(hand_client):
    # 500.9 g is 17.669 oz (28.349523125 g to the ounce: the international avoirdupois ounce),
    # shown as 1 lb 1.7 oz, which is 0.9 g more than there is.
    lot = make_lot(as_is_mg=500_900, moisture="0")
    take = reverse("lot_take", args=[lot.ref])
    assert "It weighs 1 lb 1.7 oz as is" in told(see(hand_client, take))
    send(hand_client, take, mass="1 lb 1.7 oz", why="Trial")
    assert Lot.objects.get(pk=lot.pk).oven_dry_mg == 0
    assert lot.movements.last().as_is_mg == -500_900


def test_more_than_there_is_is_refused_in_pounds(hand_client):
    lot = make_lot(as_is_mg=500_900, moisture="0")
    response = send(hand_client, reverse("lot_take", args=[lot.ref]), mass="2", why="Trial")
    assert "holds 1 lb 1.7 oz as is and 2 lb 0.0 oz is asked for" in plain(faults(response))


def test_ledger_and_receipt_refuse_in_pounds():
    lot = make_lot(as_is_mg=500_900, moisture="0")
    entry = enter("test", "Tested", page="/", key=None, by=None)
    with pytest.raises(NotEnoughError) as lack:
        ledger.post(lot, Movement.Kind.ISSUED, -KG, happened_on=day(), entry=entry)
    assert "holds 1 lb 1.7 oz oven-dry and 2 lb 3.3 oz is asked for" in plain(str(lack.value))
    with pytest.raises(RangeError) as nothing:
        make_lot(as_is_mg=1, moisture="0.9")
    assert plain(str(nothing.value)).startswith("0.000035 oz at 90 % moisture holds no fibre")
    with pytest.raises(RangeError) as grain:
        services.take_out(
            make_lot(moisture="0.9"), as_is_mg=1, kind="issued", happened_on=day(), why="x",
            by=None,
        )  # fmt: skip
    assert plain(str(grain.value)).startswith("0.000035 oz at 90 % moisture")


def test_gift_beyond_all_measure_is_refused_in_pounds():
    with pytest.raises(RangeError) as lack:
        gifts.estimate(Measure("weighed", mass=Q(200_000, "kg")))
    assert "lb" in str(lack.value)
    assert "kg" not in str(lack.value)


def test_panel_works_a_counted_gift_out_in_inches_and_ounces(hand_client):
    white = make_fibre(name="Office white", is_scrap=True)
    response = send(
        hand_client, "/scrap/log/", fibre=white.pk, measured="counted", number="500",
        size="Letter", grammage="75.2", work_out="1",
    )  # fmt: skip
    words = plain(Sheet(response.content.decode()).told)
    # By hand: 0.2159 m × 0.2794 m × 75.2 g/m² is 4.536 g, 0.16 oz; 500 of them 5.00 lb.
    assert "Size of a sheet 8.5 × 11 in" in words
    assert "One sheet size × grammage 0.1600 oz" in words
    worked = words.partition("How the mass is worked out")[2].partition("Caution")[0]
    assert "As-is mass ± 3 %, counted 5 lb 0.0 oz" in worked
    assert " kg" not in worked
    assert " mm" not in worked


def test_pile_and_worth_are_worded_in_either_system():
    pile = from_pile(Q(10, "cm"), size=size_named("Letter"), grammage=Q(80, "g/m2"))
    american = {line.label: plain(line.value) for line in pile.lines("US")}
    assert american["Height of the pile"] == "3.94 in"
    # By hand: 0.1 mm ÷ 25.4 is 0.0039 in.
    assert american["Thickness of a sheet"] == "0.0039 in"
    assert "0.0039 in at 80 g/m², in proportion" in [
        plain(line.because) for line in pile.lines("US")
    ]
    metric = {line.label: plain(line.value) for line in pile.working}
    assert (metric["Height of the pile"], metric["Thickness of a sheet"]) == ("100 mm", "0.1 mm")
    worth = worth_of(from_weight(Q(1, "lb")), moisture=0, usable_share=1)
    assert plain(worth.lines("US")[0].value) == "1 lb 0.0 oz"
    assert plain(worth.working[0].value) == "0.454 kg"


def test_offer_and_lot_are_priced_by_the_pound(owner_client):
    # £10 a kilogram: 10 × 0.45359237 (the international pound) is £4.54 a pound.
    offer = make_offer(minor_per_kg=1_000, price_per="oven-dry", moisture="0")
    page = plain(told(see(owner_client, reverse("offer", args=[offer.pk]))))
    assert "A pound oven-dry £4.54" in page
    assert "A kilogram" not in page
    lot = make_lot(as_is_mg=10 * KG, moisture="0", paid_minor=10_000)
    assert "Paid, oven-dry £4.54 per lb" in plain(told(see(owner_client, lot.get_absolute_url())))


def test_offers_are_compared_and_listed_by_the_pound(owner_client):
    # 10.00 and 8.50 a kilogram × 0.45359237 kg, the international avoirdupois pound.
    fibre = make_fibre(name="Linter", preparation_yield="1")
    offer = make_offer(
        fibre, make_source(freight_minor=0), pack_mg=10 * KG, minor_per_kg=1000, moisture="0"
    )
    offer.breaks.create(from_packs=4, minor_per_kg=850)
    page = told(see(owner_client, f"{reverse('offers_compare')}?fibre={fibre.pk}&want=2 lb"))
    assert "£4.54 a usable lb: " in page
    assert "£4.54 a dry lb: " in page
    assert "from 4: £3.86" in told(see(owner_client, reverse("offers")))
