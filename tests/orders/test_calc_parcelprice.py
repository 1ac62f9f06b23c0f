"""What the sheets of a parcel come to, and that it reads back as it was kept."""

import json
from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orders.calc.costing import Cost, CostPart
from orders.calc.parcelprice import ParcelPrice, parcel_price
from studio.errors import RangeError


def cost(minor="700", by="margin", rate="0.3", price=1000):
    """A good sheet that costs 7.00 and, with 30 % of the price kept, is sold at 10.00."""
    part = CostPart("fibre", "Fibre", Decimal(minor), "1 kg in the vat")
    free = CostPart("packing", "Packing", Decimal(0), "£0.00 a sheet")
    return Cost(
        "GBP", 60, 70, (part, free), by, Decimal(rate), price, 0, Decimal(0), ("chalk",), ("x",)
    )


def priced(good=40, retree=2, share="0.9", **agreed):
    return parcel_price(cost(), good=good, retree=retree, retree_share=Decimal(share), **agreed)


def test_each_price_is_rounded_once_and_taken_as_often_as_there_are_sheets():
    # 40 at 10.00 are 400.00, 2 at nine tenths of that 18.00.
    price = priced()
    assert (price.good_minor, price.retree_minor, price.total_minor) == (1000, 900, 41_800)


def test_a_price_that_was_agreed_stands_before_that_of_the_cost():
    # 40 at 8.55 are 342.00, 2 at 7.695, rounded half to even 7.70, 15.40.
    price = priced(agreed_minor=855)
    assert (price.good_minor, price.retree_minor, price.total_minor) == (855, 770, 35_740)
    assert price.lines()[0].because == "as agreed with the client"


def test_the_client_is_not_told_what_is_kept_of_the_price():
    ours, told = priced().lines(), priced().told_lines()
    assert [line.value for line in told] == [line.value for line in ours]
    assert "kept" in ours[0].because
    assert not any("kept" in line.because or "margin" in line.because for line in told)


def test_lines_name_only_what_is_in_the_parcel():
    labels = [line.label for line in priced(retree=0).lines()]
    assert labels == ["Good, 40 at £10.00", "Price of the sheets"]


def test_the_working_names_the_parts_the_cost_and_both_prices():
    lines = {line.label: (line.value, line.because) for line in priced().working()}
    assert lines == {
        "Fibre": ("£7.00", "1 kg in the vat"),
        "Cost of a good sheet": ("£7.00", "at 60 good sheets"),
        "Price of a good sheet": ("£10.00", "30\u00a0% of the price kept as margin"),
        "Price of a retree sheet": ("£9.00", "90\u00a0% of the price of good"),
    }


def test_a_markup_is_called_one():
    price = parcel_price(cost(by="markup"), good=1, retree=0, retree_share=Decimal(1))
    assert price.rate_words == "30\u00a0% of the cost added as markup"


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"good": -1}, "good"), ({"retree": -1}, "retree"), ({"share": "1.01"}, "retree_share")],
)
def test_what_cannot_be_priced_is_refused(changes, field):
    with pytest.raises(RangeError) as no:
        priced(**changes)
    assert no.value.field == field


@given(
    st.integers(0, 10**6),
    st.integers(0, 10**6),
    st.decimals(0, 1, places=6),
    st.decimals(0, 10**7, places=9),
    st.none() | st.integers(0, 10**9),
)
def test_a_kept_price_reads_back_as_it_was(good, retree, share, minor, agreed):
    asked = replace(cost(), parts=(CostPart("fibre", "Fibre", minor, "why"),))
    price = parcel_price(asked, good=good, retree=retree, retree_share=share, agreed_minor=agreed)
    kept = json.loads(json.dumps(price.as_json()))
    amounts = {
        name: getattr(price, name) for name in ("good_minor", "retree_minor", "total_minor")
    }
    assert ParcelPrice.from_json(kept, **amounts) == price
    assert price.total_minor == good * price.good_minor + retree * price.retree_minor
